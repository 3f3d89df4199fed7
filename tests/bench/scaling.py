"""How a sweep scales over workers, how many the driver can feed, and what its memory does over a long run.

Run as ``python -m tests.bench.scaling pairs [rounds] [evaluations]``, ``... feeding [workers]...`` or
``... memory [evaluations]``, from the project's folder.

pairs: the shipped study of a balancing robot on two workers, against two sweeps of one process each that run side by side and
share its islands and evaluations; in turns, so that a change of the machine's load hits both. Candidates a second of wall time
from when there are workers to the last checkpoint. Not from the first: workers are epochs ahead by then. A sweep before all
others compiles what is not compiled yet.

feeding: a toy whose scoring sleeps, with an island for each worker. How busy the workers are, and the processor time that the
driver takes for a task; the time of an epoch over that is how many workers it can feed.

memory: a toy with a small front, resident memory of the driver after a tenth of the run and at its end.
"""

from __future__ import annotations

import os
import re
import statistics
import subprocess
import sys
import tempfile
import time
from functools import partial
from pathlib import Path

import numpy as np
import pandas as pd

from sweep.archive import open_run
from sweep.front import OBJECTIVES
from sweep.progress import Snapshot
from sweep.runner import run
from sweep.search import SIZE
from tests.command_line import SHIPPED
from tests.problems import toy_score, toy_study
from tests.toy_sweep import slow_score

ROOT = Path(__file__).parent.parent.parent
#: s, what an epoch of 20 generations of the shipped study takes on one core
EPOCH_SECONDS = 7.0


def study_file(folder: Path, islands: int, evaluations: int) -> Path:
    text = SHIPPED.read_text(encoding="utf-8")
    more = f"{evaluations}\nisland_evaluations = {SIZE}\nfront_phases = 16"  # what comes after the search is not looked at
    for name, value in {"islands": islands, "evaluations": more}.items():
        text = re.sub(f"^{name} = .*$", f"{name} = {value}", text, flags=re.MULTILINE)
    path = folder / f"scaling-{islands}.toml"
    path.write_text(text, encoding="utf-8")
    return path


def sweeping(study: Path, out: Path, *options: object) -> subprocess.Popen[bytes]:
    command = [sys.executable, "-m", "sweep.cli", "sweep", str(study), "--out", str(out), *map(str, options)]
    return subprocess.Popen(command, cwd=ROOT, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)


def rate(out: Path) -> float:
    """Candidates a second up to the last checkpoint."""
    last = open_run(out).progress()[-1]
    return last["evaluations"] / last["seconds"]


def pairs(rounds: int, evaluations: int) -> None:
    ratios = []
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        whole, half = study_file(folder, 4, evaluations), study_file(folder, 2, evaluations // 2)
        sweeping(half, folder / "first", "--evaluations", SIZE).wait()
        for each in range(rounds):
            sweeping(whole, folder / f"w{each}", "--workers", 2, "--seed", each).wait()
            both = [sweeping(half, folder / f"s{each}{k}", "--seed", 100 * k + each) for k in range(2)]
            for process in both:
                process.wait()
            workers, singles = rate(folder / f"w{each}"), sum(rate(folder / f"s{each}{k}") for k in range(2))
            ratios.append(workers / singles)
            print(f"two workers {workers:.0f}/s, two sweeps {singles:.0f}/s, ratio {ratios[-1]:.3f}", flush=True)
    print(f"median of {rounds}: {statistics.median(ratios):.3f}, load {os.getloadavg()[0]:.1f} of {os.cpu_count()} processors")


def feeding(workers: int, delay: float = 0.5, epochs: int = 8) -> None:
    """With two generations an epoch, as a short sweep has them."""
    evaluations = workers * epochs * 2 * SIZE
    score = partial(slow_score, delay=delay)
    with tempfile.TemporaryDirectory() as name:
        marks: list[tuple[float, float, int]] = []

        def told(snapshot: Snapshot) -> None:
            if snapshot.stage == "searching":
                marks.append((time.monotonic(), time.process_time(), snapshot.done))

        study = toy_study(evaluations=evaluations, islands=workers, front_phases=4)
        run(study, Path(name) / "run", score=score, workers=workers, progress=told)
    (began, spent, first), (ended, spent_then, last) = marks[0], marks[-1]
    tasks = (last - first) / (2 * SIZE)
    busy = tasks * 2 * delay / (workers * (ended - began))
    own = (spent_then - spent) / tasks
    print(
        f"{workers} workers: {100 * busy:.0f} % busy, driver {1e3 * own:.1f} ms of processor time a task; with epochs of "
        f"{EPOCH_SECONDS:.0f} s it feeds {EPOCH_SECONDS / own:.0f}, load {os.getloadavg()[0]:.1f}"
    )


def coarse(designs: pd.DataFrame, phases: int) -> pd.DataFrame:
    """The toy's scores in steps that keep the front small."""
    outputs = toy_score(designs, phases)
    names = [objective.name for objective in OBJECTIVES]
    return outputs.assign(**{name: np.round(outputs[name] * 4) / 4 for name in names})


def resident() -> float:
    """MB that this process holds now."""
    return int(Path("/proc/self/statm").read_text().split()[1]) * os.sysconf("SC_PAGE_SIZE") / 1e6


def memory(evaluations: int) -> None:
    held: list[tuple[int, float, int]] = []

    def told(snapshot: Snapshot) -> None:
        if snapshot.stage == "searching":
            held.append((snapshot.done, resident(), snapshot.front))

    with tempfile.TemporaryDirectory() as name:
        run(toy_study(evaluations=evaluations, islands=4), Path(name) / "run", score=coarse, workers=2, progress=told)
        size = sum(path.stat().st_size for path in Path(name).rglob("*") if path.is_file())
    for share in (0.05, 0.1, 0.25, 0.5, 1.0):
        done, megabytes, front = next(each for each in held if each[0] >= share * evaluations)
        print(f"{done:8d} evaluations: driver {megabytes:.0f} MB, front {front}")
    print(f"folder {size / evaluations:.0f} bytes a candidate")


if __name__ == "__main__":
    what, numbers = sys.argv[1], [int(word) for word in sys.argv[2:]]
    if what == "pairs":
        pairs(*(numbers or (5, 60_000)))
    elif what == "memory":
        memory(*(numbers or (100_000,)))
    else:
        for count in numbers or (2, 4, 8):
            feeding(count)
