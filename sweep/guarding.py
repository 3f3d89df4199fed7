"""Scoring that can be stopped, and that a candidate which breaks the kernel does not end."""

from __future__ import annotations

from collections.abc import Callable

import pandas as pd

from sweep.front import OBJECTIVES
from sweep.population import UNKNOWN
from sweep.problem import Score

#: candidates times phases that are scored at once: less than a second of work
PIECE = 2048
#: how ``status`` begins for a candidate that made scoring raise
FAILED = "failed: "
#: where so many candidates of a piece fail and none is left, scoring is broken and not the candidates
FEWEST = 8
LONGEST_MESSAGE = 300


def piece(phases: int) -> int:
    """How many candidates are scored at once."""
    return max(1, PIECE // phases)


def guarded(score: Score, pulse: Callable[[int], None]) -> Score:
    """``score`` in pieces, with ``pulse`` told the size of each after it.

    A candidate that makes ``score`` raise gets no numbers, is infeasible and says why in ``status``. Raises where all of a
    piece do.
    """

    def scoring(designs: pd.DataFrame, phases: int) -> pd.DataFrame:
        size = piece(phases)
        parts = []
        for start in range(0, len(designs), size):
            some = designs.iloc[start : start + size].reset_index(drop=True)
            try:
                parts.append(score(some, phases).reset_index(drop=True))
            except Exception as error:
                parts.append(_one_by_one(score, some, phases, error))
            pulse(len(some))
        return parts[0] if len(parts) == 1 else pd.concat(parts, ignore_index=True)

    return scoring


def failures(table: pd.DataFrame) -> pd.DataFrame:
    """The rows of scored candidates that made scoring raise."""
    if "status" not in table:
        return table.iloc[:0]
    return table[table["status"].astype(str).str.startswith(FAILED)]


def _one_by_one(score: Score, designs: pd.DataFrame, phases: int, error: Exception) -> pd.DataFrame:
    scored, messages = {}, {}
    for row in range(len(designs)):
        try:
            scored[row] = score(designs.iloc[[row]].reset_index(drop=True), phases).iloc[0]
        except Exception as own:
            messages[row] = f"{FAILED}{type(own).__name__}: {own}"[:LONGEST_MESSAGE]
    if not scored and len(designs) >= FEWEST:
        raise error
    lost = {"violation": UNKNOWN, "feasible": False, **{objective.name: float("nan") for objective in OBJECTIVES}}
    rows = [scored[row] if row in scored else pd.Series({**lost, "status": messages[row]}) for row in range(len(designs))]
    return pd.DataFrame(rows).reset_index(drop=True).infer_objects()
