"""What a sweep costs besides scoring: shares of processor time, and whether they grow with the length of a run.

Run as ``python -m tests.bench.search_overhead [evaluations]``, or ``... whole STUDY EVALUATIONS`` for the share of all that a
command does. All times are of one process, so that what else the machine does counts for little; pin the threads of linear
algebra (OPENBLAS_NUM_THREADS=1) or they count too.
"""

from __future__ import annotations

import sys
import tempfile
import time
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np
import pandas as pd

from sweep.designs import baseline_designs
from sweep.population import Population, Problem
from sweep.problem import Score, scoring_of
from sweep.progress import Snapshot
from sweep.runner import run
from sweep.search import SIZE, advance
from sweep.study import Study, load_study
from tests.problems import Axis, dtlz2, problem, toy_score, toy_study

STUDIES = ("balancing", "castered")
ROOT = Path(__file__).parent.parent.parent


@dataclass
class Watch:
    """Adds up the processor time [s] of a scoring function, and notes both times at each report of progress."""

    score: Score
    scoring: float = 0.0
    reports: list[tuple[int, float]] = field(default_factory=list)  # evaluations, time besides scoring

    def __call__(self, designs: pd.DataFrame, phases: int) -> pd.DataFrame:
        began = time.process_time()
        outputs = self.score(designs, phases)
        self.scoring += time.process_time() - began
        return outputs

    def report(self, snapshot: Snapshot) -> None:
        if snapshot.stage == "searching":
            self.reports.append((snapshot.done, time.process_time() - self.scoring))


def watched(study: Study, score: Score, evaluations: int) -> tuple[Watch, float]:
    """A whole sweep, from the study to the front scored again; and its processor time besides scoring [s]."""
    watch = Watch(score)
    with tempfile.TemporaryDirectory() as folder:
        began = time.process_time()
        run(study, f"{folder}/run", evaluations=evaluations, score=watch, progress=watch.report)
        return watch, time.process_time() - began - watch.scoring


def share_besides_scoring(name: str, evaluations: int) -> float:
    """Share of a sweep's processor time that is not spent in ``objectives.evaluate``, compiling left out.

    The front is not scored again with more phases, which would be scoring alone.
    """
    study = load_study(ROOT / "studies" / f"{name}.toml")
    study = replace(study, search=replace(study.search, front_phases=study.search.phases))
    score = scoring_of(study)
    designs = baseline_designs(study)
    assert designs is not None
    score(designs, study.search.phases)
    watch, besides = watched(study, score, evaluations)
    return besides / (besides + watch.scoring)


def share_of_a_whole_sweep(name: str, evaluations: int) -> float:
    """Share of the processor time of this process, a new one, that its sweep spends besides scoring.

    Loading, and scoring the front again with ``front_phases``, are in the whole: what who starts a sweep waits for. The first
    on a machine compiles the search besides, some seconds that no later one takes.
    """
    study = load_study(ROOT / "studies" / f"{name}.toml")
    _, besides = watched(study, scoring_of(study), evaluations)
    return besides / time.process_time()


def costs_over_a_run(evaluations: int) -> np.ndarray:
    """Milliseconds a candidate besides scoring in each tenth of a run, shape (10,), of a study scored by arithmetic.

    What is paid once an epoch comes in lumps: look at several tenths together.
    """
    watch, _ = watched(toy_study(), toy_score, evaluations)
    done = np.array([report[0] for report in watch.reports])
    besides = np.array([report[1] for report in watch.reports])
    edges = np.interp(np.linspace(0, evaluations, 11), done, besides)
    return np.diff(edges) / (evaluations / 10) * 1e3


def mixed_problem() -> Problem:
    """Fourteen real axes, four of integers and six of choices, scored by arithmetic."""
    axes = [Axis(f"x{i}") for i in range(14)] + [Axis(f"n{i}", "integer", 8, 40) for i in range(4)]
    axes += [Axis(f"c{i}", "choice", options=5) for i in range(6)]
    scale = np.array([1.0] * 14 + [40.0] * 4 + [4.0] * 6)
    function: Callable[[np.ndarray], np.ndarray] = lambda genes: dtlz2(genes / scale, 5)  # noqa: E731
    return problem(function, axes, 5)


def search_alone(generations: int) -> list[float]:
    """Milliseconds a candidate of each generation of a search without studies, tables and files."""
    what = mixed_problem()
    population, spent = Population.empty(what), []
    for generation in range(generations):
        began = time.process_time()
        _, population = advance(what, population, np.random.SeedSequence([1, 0, generation]))
        spent.append((time.process_time() - began) / SIZE * 1e3)
    return spent


def main(evaluations: int) -> None:
    for name in STUDIES:
        print(f"{name}: {share_besides_scoring(name, evaluations):.1%} of {evaluations} evaluations is not scoring")
    for count in (evaluations, 10 * evaluations):
        tenths = costs_over_a_run(count)
        print(f"scored by arithmetic, {count} evaluations: {tenths[:5].mean():.3f} and {tenths[5:].mean():.3f} ms a candidate "
              "in the first and second half")
    spent = search_alone(100)
    print(f"search alone: {np.mean(spent):.3f} ms a candidate; generations 2 to 11 {np.mean(spent[1:11]):.3f} ms, "
          f"the last ten {np.mean(spent[-10:]):.3f} ms")


if __name__ == "__main__":
    if sys.argv[1:2] == ["whole"]:
        print(f"{share_of_a_whole_sweep(sys.argv[2], int(sys.argv[3])):.1%} of the command is search, tables and files")
    else:
        main(int(sys.argv[1]) if len(sys.argv) > 1 else 4000)
