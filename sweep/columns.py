"""Unit and meaning of a column, for whoever reads a table without this package."""

from __future__ import annotations

import importlib
from collections.abc import Mapping
from functools import cache
from typing import Any

from objectives.variables import VARIABLE

#: what a name ends with, and the unit it stands for; longer endings first
UNITS = {
    "_N_per_mm15": "N/mm^1.5",
    "_N_per_mm": "N/mm",
    "_m_per_s": "m/s",
    "_mm": "mm",
    "_deg": "deg",
    "_Nm": "N m",
    "_kg": "kg",
    "_MPa": "MPa",
    "_rpm": "1/min",
    "_N": "N",
    "_W": "W",
    "_K": "K",
    "_A": "A",
    "_V": "V",
    "_h": "h",
}
WORDS = {"design", "status", "validity", "feasible"}
HOLDING = "share_holding"
SPREADS = {"_p05": "5th percentile of ", "_p95": "95th percentile of "}


@cache
def described(name: str) -> tuple[str, str]:
    """Unit and meaning of a column. Numbers without a unit have "1", words none; the meaning may be empty.

    >>> described("wheel_diameter_mm")
    ('mm', 'over the middle of an output roller')
    """
    for ending, words in SPREADS.items():
        if name.endswith(ending):
            unit, meaning = described(name.removesuffix(ending))
            return unit, words + (meaning or name.removesuffix(ending))
    if name == HOLDING:
        return "1", "share of the samples in which every limit and constraint holds and nothing binds"
    if name in VARIABLE:
        variable = VARIABLE[name]
        return "" if variable.names else _unit(name), variable.meaning
    column = _columns().get(name)
    if column is not None:
        return column.unit, column.meaning
    return "" if name in WORDS else _unit(name), ""


def _unit(name: str) -> str:
    return next((unit for ending, unit in UNITS.items() if name.endswith(ending)), "1")


def _columns() -> Mapping[str, Any]:
    """The output columns with unit and meaning, as scoring states them."""
    try:
        columns = importlib.import_module("objectives.scoring").COLUMNS
    except (ImportError, AttributeError):
        return {}
    return columns if isinstance(columns, Mapping) else {}
