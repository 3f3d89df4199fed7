"""The search against its peers: hypervolume of the archive of everything scored, at equal evaluations and at equal time.

    python -m tests.bench.search_peers run FILE [WORD ...]     # one JSON line a reading; goes on where FILE ends
    python -m tests.bench.search_peers tables FILE

The words, names of problems or methods, restrict what is run. What follows was written down on 2026-11-25, before the
first run; the bounds of the studies are round numbers about the fronts of earlier short sweeps.

| problem | best | worst | resolution | charged |
|---|---|---|---|---|
| balancing | 25 N m, 4.5, 1.5 W, 0.9 kg, 1 | 0 N m, 1, 15 W, 2.8 kg, 0.3 | the study's | 1.7 ms |
| castered | 25 N m, 2.5, 4 W, 1.6 kg, 1 | 0 N m, 1, 24 W, 3.8 kg, 0.2 | the study's | 1.7 ms |
| dtlz2: 5 objectives, 16 axes | 0 each | 1 each | 0.02 each | 1.5 ms |
| inverted: 5 objectives, 16 axes | 0 each | 1 each | 0.02 each | 1.5 ms |

- Hypervolume: ``sweep.front.hypervolume``, the share of the box from best to a tenth beyond worst; exact up to 2000 points,
  beyond by 8192 directions. Archive: ``sweep.front.thin`` of all that was scored and is feasible.
- Evaluations read at 200, 1000, 3000 and 10000; a table at 10000 lists who got that far, one at a lower number all who got
  that far. Time read at 5, 10 and 20 s.
- Time is processor time of one process with one thread that the method itself takes, plus what is charged a candidate in the
  table above, the same for everybody: how a batch is scored and what else the machine does have no part in it. What is not
  counted: scoring, the archive, compiling and loading a method.
- Methods stop at 10000 evaluations and 20 s, whichever is later, but no later than 30 s. TPE is given 200 evaluations.
- Seeds 11 to 15. Medians, lowest and highest.
- All see the same genes: real axes, integers, choices. Where a method knows reals alone, the rest is rounded. All see the
  same violation; ours alone asks how far each constraint is from breaking, where peers have no use for more than the sum. None
  is given the baseline.
- ours: as a sweep of so many evaluations plans itself, with as many islands as the study ships with, 1 on the functions. Where
  its plan follows from the budget, it runs once for each: the words behind its name tell which.
- pymoo's algorithms: 126 directions (5 parts of the simplex) and a population of 126, all else as pymoo has it; RVEA turns
  from converging to spreading by a plan, so it too runs once for each budget, in whole generations: 1100, 3100, 10200, and
  12500, all that 20 s allow. Optuna's NSGA-III: population 126, 5 parts, simulated binary crossover, polynomial mutation, one
  growing study, a population asked at a time. TPE: as Optuna has it, 10 asked at a time. Sobol: scrambled.

This is the second comparison. In the first, with seeds 1 to 5, ours was first at 10000 evaluations and behind others at 1000.
What was changed in the search after it was tried on seeds 21 to 25. Peers of the second ran first, and ours once, after that.
RVEA's other plans and even draws, far behind on both studies in the first, were left out there. On 2026-11-27 ours planned for
1000 and for 3000 ran again, after a surrogate model had been made on seeds 31 and up, and more than once: a review found what
made it blind at times, then it was made quicker, and then one of these seeds (13) was led into a corner of the castered study
for good, after which searches like that begin anew. That was tried on seeds 101 to 124. The last run stands. Medians after 200
were 0.396, 0.088, 0.104 and 0.104 in the first and 0.321, 0.088, 0.086 and 0.235 in the second.
"""

from __future__ import annotations

import contextlib
import json
import statistics
import sys
import time
import warnings
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np

from sweep.breeding import draw
from sweep.front import OBJECTIVES, hypervolume, thin
from sweep.planning import spread
from sweep.population import Evaluated, Population, Problem, as_population
from sweep.problem import scoring_of, study_problem
from sweep.search import step
from sweep.study import Search, load_study
from tests.problems import dtlz2, inverted_dtlz2, problem

EVALUATIONS = (200, 1000, 3000, 10_000)
SECONDS = (5.0, 10.0, 20.0)
LONGEST = 30.0
SEEDS = (11, 12, 13, 14, 15)
TPE_EVALUATIONS = 200
PARTS, MEMBERS = 5, 126
STUDIES = Path(__file__).parent.parent.parent / "studies"
#: cost that stands for a missing objective where a peer takes no nan; such a candidate is infeasible
MISSING = 1e6
EXACT, DIRECTIONS = 2000, 8192


@dataclass(frozen=True)
class Case:
    """A problem, what its archive is measured by, and what a candidate is charged [s]."""

    name: str
    problem: Problem
    best: Sequence[float]
    worst: Sequence[float]
    resolution: Sequence[float]
    charged: float
    islands: int = 1


def study_case(name: str, best: Sequence[float], worst: Sequence[float]) -> Case:
    study = load_study(STUDIES / f"{name}.toml")
    what = study_problem(study, study.search.phases, scoring_of(study))
    sense = [-1.0 if objective.maximise else 1.0 for objective in OBJECTIVES]
    resolution = [study.search.resolution[objective.name] for objective in OBJECTIVES]
    ends = [[sign * value for sign, value in zip(sense, end, strict=True)] for end in (best, worst)]
    return Case(name, what, ends[0], ends[1], resolution, 1.7e-3, study.search.islands)


def function_case(name: str, function: Callable[[np.ndarray, int], np.ndarray]) -> Case:
    what = problem(lambda x: function(x, 5), 16, 5)
    return Case(name, what, [0.0] * 5, [1.0] * 5, [0.02] * 5, 1.5e-3)


CASES: dict[str, Callable[[], Case]] = {
    "dtlz2": lambda: function_case("dtlz2", dtlz2),
    "inverted": lambda: function_case("inverted", inverted_dtlz2),
    "balancing": lambda: study_case("balancing", (25, 4.5, 1.5, 0.9, 1), (0, 1, 15, 2.8, 0.3)),
    "castered": lambda: study_case("castered", (25, 2.5, 4, 1.6, 1), (0, 1, 24, 3.8, 0.2)),
}


class Enough(Exception):  # noqa: N818
    """A method has had its budget."""


@dataclass
class Meter:
    """Scores for a method, keeps the archive, and reads its hypervolume at the counts and times that were fixed before."""

    case: Case
    evaluations: tuple[int, ...] = EVALUATIONS
    seconds: tuple[float, ...] = SECONDS
    longest: float = LONGEST
    readings: list[dict[str, Any]] = field(default_factory=list)
    done: int = 0
    clock: float = 0.0
    archive: np.ndarray = field(default_factory=lambda: np.empty((0, 5)))
    waiting: list[np.ndarray] = field(default_factory=list)
    resumed: float = field(default_factory=time.process_time)

    @property
    def problem(self) -> Problem:
        """The problem, scored through this meter."""
        return Problem(self.case.problem.genes, self.case.problem.maximise, self.evaluate)

    def evaluate(self, genes: np.ndarray) -> Evaluated:
        self.clock += time.process_time() - self.resumed + self.case.charged * len(genes)
        for limit in [limit for limit in self.seconds if limit < self.clock and not self._read("seconds", limit)]:
            self._note("seconds", limit)  # what was scored before this batch
        evaluated = self.case.problem.evaluate(genes)
        feasible = as_population(self.case.problem, evaluated)
        costs, sound = feasible.costs, feasible.violation <= 0
        start = 0
        for limit in [limit for limit in self.evaluations if self.done < limit <= self.done + len(genes)]:
            end = limit - self.done
            self.waiting.append(costs[start:end][sound[start:end]])
            self._note("evaluations", limit)
            start = end
        self.waiting.append(costs[start:][sound[start:]])
        self.done += len(genes)
        both = self.done >= max(self.evaluations) and self.clock > max(self.seconds, default=0.0)
        if both or self.clock > self.longest:
            raise Enough
        self.resumed = time.process_time()
        return evaluated

    def costs(self, genes: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Costs and violations of genes, all finite, for a peer."""
        population = as_population(self.case.problem, self.evaluate(genes))
        return np.where(np.isfinite(population.costs), population.costs, MISSING), population.violation

    def _read(self, kind: str, limit: float) -> bool:
        return any(reading["at"] == kind and reading["limit"] == limit for reading in self.readings)

    def _note(self, kind: str, limit: float) -> None:
        found = np.concatenate([self.archive, *self.waiting])
        ids = [f"{row:09d}" for row in range(len(found))]
        self.archive, self.waiting = found[thin(found, ids, self.case.resolution)], []
        volume = hypervolume(self.archive, self.case.best, self.case.worst, EXACT, DIRECTIONS)
        self.readings.append({
            "at": kind, "limit": limit, "hypervolume": volume, "archive": len(self.archive),
            "evaluations": self.done, "clock": round(self.clock, 3),
        })


def ours(planned: int, islands: int | None = None) -> Callable[[Meter, int], None]:
    """A sweep's epochs of a ring of islands, as it plans them for so many evaluations."""

    def method(meter: Meter, seed: int) -> None:
        what = meter.problem
        plan = spread(planned, Search(islands=islands or meter.case.islands, island_evaluations=960 if islands else 20_000))
        count, epoch = plan["islands"], plan["epoch"]
        populations, sent = [Population.empty(what)] * count, [Population.empty(what)] * count
        for number in range(10_000):
            steps = [
                step(
                    what, populations[i], sent[i - 1], seed, i, number, epoch, plan["generation"],
                    min(max(plan["modelled"] - number * epoch, 0), epoch),
                )
                for i in range(count)
            ]
            populations, sent = [s[0] for s in steps], [s[1] for s in steps]

    return method


def sobol(meter: Meter, seed: int) -> None:
    from scipy.stats import qmc

    low, high, whole = _box(meter.case.problem)
    drawn = qmc.Sobol(len(low), scramble=True, rng=np.random.default_rng(seed))
    while True:
        genes = low + drawn.random(128) * (high - low)
        meter.costs(np.where(whole, np.rint(genes), genes))


def _box(what: Problem) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Least and most of each axis as reals that are rounded where they must be whole, and which must."""
    whole = np.array([gene.kind != "real" for gene in what.genes])
    low = np.array([0.0 if gene.kind == "choice" else gene.low for gene in what.genes])
    high = np.array([gene.options - 1.0 if gene.kind == "choice" else gene.high for gene in what.genes])
    return low - 0.49 * whole, high + 0.49 * whole, whole


def pymoo(algorithm: Callable[[np.ndarray], Any], planned: int = 10**6) -> Callable[[Meter, int], None]:
    """A method that runs an algorithm of pymoo, made from its directions and told to plan with so many evaluations."""

    def method(meter: Meter, seed: int) -> None:
        from pymoo.core.problem import Problem as Posed
        from pymoo.optimize import minimize
        from pymoo.util.ref_dirs import get_reference_directions

        low, high, whole = _box(meter.case.problem)

        class Metered(Posed):
            def __init__(self) -> None:
                super().__init__(n_var=len(low), n_obj=5, n_ieq_constr=1, xl=low, xu=high)

            def _evaluate(self, x: np.ndarray, out: dict[str, Any], *args: Any, **others: Any) -> None:
                costs, violation = meter.costs(np.where(whole, np.rint(x), x))
                out["F"], out["G"] = costs, violation[:, None]

        directions = get_reference_directions("das-dennis", 5, n_partitions=PARTS)
        minimize(Metered(), algorithm(directions), ("n_eval", planned), seed=seed)

    return method


def rvea(directions: np.ndarray) -> Any:
    from pymoo.algorithms.moo.rvea import RVEA

    return RVEA(directions)


def nsga3(directions: np.ndarray) -> Any:
    from pymoo.algorithms.moo.nsga3 import NSGA3

    return NSGA3(directions)


def agemoea2(directions: np.ndarray) -> Any:
    from pymoo.algorithms.moo.age2 import AGEMOEA2

    return AGEMOEA2(pop_size=MEMBERS)


def optuna_nsga3(meter: Meter, seed: int) -> None:
    from optuna.samplers import NSGAIIISampler, nsgaii

    _asked(meter, MEMBERS, NSGAIIISampler(
        population_size=MEMBERS, dividing_parameter=PARTS, crossover=nsgaii.SBXCrossover(),
        mutation=nsgaii.PolynomialMutation(), seed=seed,
    ))


def tpe(meter: Meter, seed: int) -> None:
    from optuna.samplers import TPESampler

    _asked(meter, 10, TPESampler(seed=seed), TPE_EVALUATIONS)


def _asked(meter: Meter, batch: int, sampler: Any, most: int = 10**9) -> None:
    """One growing study of Optuna, ``batch`` candidates asked at a time."""
    import optuna

    axes: dict[str, optuna.distributions.BaseDistribution] = {}
    for gene in meter.case.problem.genes:
        if gene.kind == "choice":
            axes[gene.name] = optuna.distributions.CategoricalDistribution(range(gene.options))
        elif gene.kind == "integer":
            axes[gene.name] = optuna.distributions.IntDistribution(int(gene.low), int(gene.high))
        else:
            axes[gene.name] = optuna.distributions.FloatDistribution(gene.low, gene.high)
    study = optuna.create_study(directions=["minimize"] * 5, sampler=sampler)
    while meter.done < most:
        trials = [study.ask(axes) for _ in range(batch)]
        genes = np.array([[trial.params[name] for name in axes] for trial in trials], dtype=float)
        for trial, costs, violation in zip(trials, *meter.costs(genes), strict=True):
            trial.set_constraint("violation", float(violation))
            study.tell(trial, costs.tolist())


METHODS: dict[str, Callable[[Meter, int], None]] = {
    "ours for 1000": ours(1000),
    "ours for 3000": ours(3000),
    "ours": ours(10_000),
    "four islands": ours(10_000, 4),
    "RVEA for 1000": pymoo(rvea, 1_100),
    "RVEA for 3000": pymoo(rvea, 3_100),
    "RVEA": pymoo(rvea, 10_200),
    "RVEA for 20 s": pymoo(rvea, 12_500),
    "NSGA-III": pymoo(nsga3),
    "AGE-MOEA2": pymoo(agemoea2),
    "Optuna NSGA-III": optuna_nsga3,
    "TPE": tpe,
    "Sobol": sobol,
}


def measured(meter: Meter, method: Callable[[Meter, int], None], seed: int) -> Meter:
    """The meter after a method has used its budget up."""
    meter.resumed = time.process_time()
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        with contextlib.suppress(Enough):
            method(meter, seed)
    return meter


def wanted(words: Sequence[str]) -> Iterator[tuple[str, str, int]]:
    cases = [name for name in CASES if name in words] or list(CASES)
    methods = [name for name in METHODS if name in words] or list(METHODS)
    for seed in SEEDS:
        for case in cases:
            for method in methods:
                if method != "four islands" or method in words:  # a look, not a part of the comparison
                    yield case, method, seed


def run(path: Path, words: Sequence[str]) -> None:
    held = {(line["problem"], line["method"], line["seed"]) for line in _lines(path)}
    warmed: set[str] = set()
    for name, method, seed in wanted(words):
        if (name, method, seed) in held:
            continue
        case = CASES[name]()
        if name not in warmed:  # compiling and loading are not counted
            case.problem.evaluate(draw(case.problem.genes, Population.empty(case.problem), 8, np.random.default_rng(0)))
        if method not in warmed:
            measured(Meter(CASES["dtlz2"](), (300,), (), 2.0), METHODS[method], seed)
        warmed |= {name, method}
        meter = measured(Meter(case), METHODS[method], seed)
        with path.open("a") as file:
            for reading in meter.readings:
                file.write(json.dumps({"problem": name, "method": method, "seed": seed, **reading}) + "\n")
        print(name, method, seed, f"{meter.done} evaluations, {meter.clock:.1f} s", flush=True)


def tables(path: Path) -> str:
    """All tables, in Markdown: at each count and time the median and range of each method on each problem."""
    lines, shown = _lines(path), []
    for kind, limits in (("evaluations", EVALUATIONS), ("seconds", SECONDS)):
        for limit in limits:
            shown += [f"\nAt {limit:g} {kind}:\n", f"| method | {' | '.join(CASES)} |", "|---|" + "---|" * len(CASES)]
            for method in METHODS:
                cells = [_cell([
                    line["hypervolume"] for line in lines
                    if (line["problem"], line["method"], line["at"], line["limit"]) == (name, method, kind, limit)
                ]) for name in CASES]
                if any(cell != "-" for cell in cells):
                    shown.append(f"| {method} | " + " | ".join(cells) + " |")
    return "\n".join(shown)


def _cell(values: Sequence[float]) -> str:
    if not values:
        return "-"
    seeds = "" if len(values) == len(SEEDS) else f", {len(values)} seed{'s' * (len(values) > 1)}"
    return f"{statistics.median(values):.3f} ({min(values):.3f} to {max(values):.3f}{seeds})"


def _lines(path: Path) -> list[dict[str, Any]]:
    return [json.loads(line) for line in path.read_text().splitlines()] if path.exists() else []


if __name__ == "__main__":
    command, results, *others = sys.argv[1:]
    if command == "tables":
        print(tables(Path(results)))
    else:
        run(Path(results), others)
