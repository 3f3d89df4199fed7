"""Every formula says the unit and shape of each parameter, its range and its source, and its example runs."""

from __future__ import annotations

import doctest
import importlib
import inspect
import re
from collections.abc import Callable
from typing import Any

import pytest

#: modules of formulas; add further ones here
MODULES = (
    "objectives.hertz",
    "objectives.thin_layer",
    "objectives.kalker",
    "objectives.traction",
    "objectives.rolling",
    "objectives.elements",
    "objectives.soft_parts",
    "objectives.wear",
)
UNIT = r"\[(-|Pa|N|m|rad|1/m|m\^2|N/m|N m|s|rad/s|N/m\^1\.5|m\^2/N|m\^3|Shore A|N/m per m, which is Pa)\]"
SHAPE = r"scalar|any shape"


def formulas(name: str) -> list[Callable[..., Any]]:
    module = importlib.import_module(name)
    plain = [inspect.unwrap(value) for key, value in vars(module).items() if callable(value) and not key.startswith("_")]
    return [value for value in plain if inspect.isfunction(value) and value.__module__ == name]


def section(doc: str, title: str) -> str:
    match = re.search(rf"\n{title}\n-+\n(.*?)(?=\n\n\S|\Z)", doc, re.DOTALL)
    return match.group(1) if match else ""


def faults(function: Callable[..., Any]) -> list[str]:
    """What a formula's docstring leaves out."""
    doc = inspect.getdoc(function) or ""
    listed = {
        entry.group(1): entry.group(2)
        for entry in re.finditer(r"^(\w+) : \w+\n((?: +.*\n?)+)", section(doc, "Parameters") + "\n", re.MULTILINE)
    }
    parameters = list(inspect.signature(function).parameters)
    found = [f"{name} is not described" for name in parameters if name not in listed]
    found += [f"{name} is described but is no parameter" for name in listed if name not in parameters]
    for name, text in listed.items():
        found += [f"{name} has no unit"] * (not re.search(UNIT, text)) + [f"{name} has no shape"] * (not re.search(SHAPE, text))
    found += ["the result has no unit"] * (not re.search(UNIT, section(doc, "Returns")))
    found += [f"{part} is missing" for part in ("Validity:", "Source:", ">>>") if part not in doc]
    return found


@pytest.mark.parametrize("name", MODULES)
def test_every_formula_is_described_in_full(name: str) -> None:
    functions = formulas(name)
    assert functions
    assert {function.__name__: faults(function) for function in functions if faults(function)} == {}


@pytest.mark.parametrize("name", MODULES)
def test_every_example_runs(name: str) -> None:
    result = doctest.testmod(importlib.import_module(name))
    assert result.attempted >= len(formulas(name))
    assert result.failed == 0


def test_a_missing_unit_is_found() -> None:
    def bare(length: float, angle: float) -> float:
        """A formula.

        Parameters
        ----------
        length : float
            of something, scalar
        angle : float
            of something [rad], scalar

        Returns
        -------
        float
            area [m^2]

        Validity: none.

        Source: none.

        >>> 1
        1
        """
        return length * angle

    assert faults(bare) == ["length has no unit"]
