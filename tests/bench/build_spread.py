"""Builds a spread of designs over the fronts of both shipped studies, extremes included, and prints what came of each.

``python -m tests.bench.build_spread [--runs DIR] [--each N] [--evaluations E]`` sweeps the studies into DIR unless their runs
are there, then builds N designs of each front: the best of each objective, the knee, the ends of the variables that shape
solids, and others drawn evenly. A line a design; at the end how many were built and which proofs failed. Takes an hour.
"""

from __future__ import annotations

import argparse
import os
import subprocess
import sys
import tempfile
import time
from itertools import chain
from pathlib import Path

import numpy as np
import pandas as pd

from sweep.archive import open_run
from sweep.cad.build import build
from sweep.errors import BadInput, SweepFailure
from sweep.front import OBJECTIVES, knee
from sweep.run_study import BASELINE

STUDIES = ("balancing", "castered")
ROOT = Path(__file__).parent.parent.parent
#: variables whose smallest and largest values are built
SHAPING = ("output_roller_count", "hub_roller_count", "wheel_diameter_mm", "crown", "contact_angle_deg", "skew_angle_deg",
           "hub_roller_diameter_mm", "gear_module_mm")  # fmt: skip
HEAD = ("design", "study", "why", "N", "M", "crown", "bore", "s", "cpu s", "proofs", "mass %", "failed")
WIDTHS = (12, 10, 34, 3, 3, 6, 7, 5, 6, 7, 7, 0)


def chosen(front: pd.DataFrame, count: int) -> dict[str, str]:
    """Ids of designs to build and why: extremes and knee first, then every so-many-th; each id once."""
    picks: dict[str, str] = {}

    def pick(row: int, why: str) -> None:
        picks.setdefault(str(front["design"].iloc[row]), why)

    for entry in OBJECTIVES:
        values = front[entry.name].to_numpy()
        pick(int(values.argmax() if entry.maximise else values.argmin()), f"best {entry.name}")
    pick(knee(front), "knee")
    for bore in sorted(set(front["bore"])):
        pick(int(np.flatnonzero(front["bore"] == bore)[0]), f"bore {bore}")
    for name in SHAPING:
        values = front[name].to_numpy()
        pick(int(values.argmin()), f"least {name}")
        pick(int(values.argmax()), f"most {name}")
    for row in np.linspace(0, len(front) - 1, 4 * count).astype(int):
        if len(picks) >= count:
            break
        pick(int(row), "spread")
    return dict(list(picks.items())[:count])


def processor_time() -> float:
    """s, of this process and of those that it has ended."""
    spent = os.times()
    return spent.user + spent.system + spent.children_user + spent.children_system


def line(cells: tuple[object, ...]) -> str:
    return " ".join(str(cell).ljust(width) for cell, width in zip(cells, WIDTHS, strict=True)).rstrip()


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--runs", type=Path, help="folder of the runs; else a temporary one")
    parser.add_argument("--each", type=int, default=16, help="designs of each study, the baseline among them")
    parser.add_argument("--evaluations", type=int, default=8000, help="of a sweep that is not there yet")
    options = parser.parse_args()
    with tempfile.TemporaryDirectory() as temporary:
        runs = options.runs or Path(temporary)
        print(line(HEAD), flush=True)
        built = failed = 0
        picks: list[list[tuple[str, str, str]]] = []
        for study in STUDIES:
            run = runs / study
            if not (run / "run.json").exists():
                words = ["sweep", f"studies/{study}.toml", "--evaluations", str(options.evaluations), "--out", str(run)]
                subprocess.run([sys.executable, "-m", "sweep.cli", *words], cwd=ROOT, check=True)
            front = open_run(run).front()
            assert front is not None
            found = {BASELINE: BASELINE} | chosen(front, options.each - 1)
            picks.append([(study, name, why) for name, why in found.items()])
        # both fronts in turn, so that a spread that is ended early has looked at both
        for study, name, why in chain.from_iterable(zip(*picks, strict=True)):
            began, used = time.monotonic(), processor_time()
            try:
                done = build(runs / study, name, lambda stage: None)
            except (BadInput, SweepFailure) as error:
                failed += 1
                print(line((name, study, why, *[""] * 8, str(error).splitlines()[0])), flush=True)
                continue
            except Exception as error:  # whatever a solid may raise: the spread goes on
                failed += 1
                print(line((name, study, why, *[""] * 8, f"{type(error).__name__}: {error}"[:120])), flush=True)
                continue
            own = done.choice.design
            mass = next(check.measured for check in done.checks if check.name == "mass")
            built += not done.failures
            failed += bool(done.failures)
            print(line((
                own["design"], study, why, int(own["output_roller_count"]), int(own["hub_roller_count"]),
                f"{own['crown']:.2f}", own["bore"], f"{time.monotonic() - began:.0f}", f"{processor_time() - used:.0f}",
                "fail" if done.failures else "hold", f"{100 * mass:+.2f}", "; ".join(done.failures),
            )), flush=True)  # fmt: skip
        print(f"{built} built with all proofs, {failed} not")


if __name__ == "__main__":
    main()
