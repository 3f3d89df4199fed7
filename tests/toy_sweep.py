"""A sweep that costs little in a process of its own, to be stopped and killed: ``python -m tests.toy_sweep FOLDER``."""

from __future__ import annotations

import argparse
import os
import time
from collections.abc import Callable
from functools import partial
from pathlib import Path

import pandas as pd

from sweep.runner import run
from tests.problems import toy_score, toy_study


def slow_score(designs: pd.DataFrame, phases: int, *, delay: float, beside: Path | None = None) -> pd.DataFrame:
    """The toy's scores, ``delay`` seconds later. Leaves the number of its process in a folder, for whoever wants to kill it."""
    if beside is not None:
        (beside / str(os.getpid())).touch()
    time.sleep(delay)
    return toy_score(designs, phases)


def deadly_score(designs: pd.DataFrame, phases: int) -> pd.DataFrame:
    """Ends its process at some designs."""
    if ((designs["pinion_teeth"] == 18) & (designs["gear_teeth"] > 45)).any():
        os._exit(77)
    return toy_score(designs, phases)


def scoring(delay: float, beside: Path | None) -> Callable[[pd.DataFrame, int], pd.DataFrame]:
    if beside is not None:
        beside.mkdir(parents=True, exist_ok=True)
    return partial(slow_score, delay=delay, beside=beside)


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("folder", type=Path)
    parser.add_argument("--workers", type=int)
    parser.add_argument("--ray")
    parser.add_argument("--evaluations", type=int, default=4000)
    parser.add_argument("--islands", type=int, default=3)
    parser.add_argument("--delay", type=float, default=0.0)
    parser.add_argument("--beside", type=Path)
    given = parser.parse_args()
    result = run(
        toy_study(evaluations=given.evaluations, islands=given.islands),
        given.folder,
        score=scoring(given.delay, given.beside),
        workers=given.workers,
        ray=given.ray,
        resume=(given.folder / "run.json").exists(),
    )
    print(result.state, result.evaluations)


if __name__ == "__main__":
    main()
