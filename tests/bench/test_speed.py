"""How fast scoring is, and how much memory it takes.

``pytest tests/bench --benchmark-enable`` times it, ``python -m tests.bench.test_speed`` prints a summary. Times
are processor times, so that what else the machine does counts for little.
"""

from __future__ import annotations

import os
import resource
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest

from objectives import contacts, robot
from objectives.columns import DIRECTIONS
from objectives.compiled import numba
from objectives.equilibrium import cold_start, solve_equilibrium
from objectives.layout import layout
from objectives.limits import newton_limit
from objectives.mass import mass_breakdown
from objectives.phases import begin_phase, geometry_of, kernel_inputs, laws_of, phase_lattice
from objectives.scoring import evaluate
from objectives.settling import TOLERANCE
from objectives.states import solve_states, unit_vectors
from objectives.wheel import wheel_batch
from objectives.workspace import new_workspace
from tests.drawn import like_fifteen, study

pytestmark = pytest.mark.alone

ROOT = Path(__file__).parent.parent.parent
SCENARIO = study().scenario
PHASES = 16
COUNT = 200
FIVE = np.array(sorted(angle for angles in DIRECTIONS.values() for angle in angles))

FIRST_SCORE = """
from objectives.scoring import evaluate
from tests.drawn import baseline, study
evaluate(baseline(), study().scenario)
"""
#: compiled functions that this process has not read back but compiled itself
COMPILED_HERE = """
import sys
from objectives.compiled import numba
found = {value for name in list(sys.modules) if name.startswith("objectives.") for value in vars(sys.modules[name]).values()
         if isinstance(value, numba.core.registry.CPUDispatcher) and value.stats.cache_misses}
print(sorted(value.__name__ for value in found))
"""
#: what any process pays that uses these libraries: a measure of the machine
IMPORTS = "import numba, pandas"
#: peak memory from /proc: what getrusage tells a process counts the one that started it
MEMORY = """
import pandas as pd
from objectives.scoring import evaluate
from tests.drawn import like_fifteen, study
def peak():
    with open("/proc/self/status") as status:
        return next(int(line.split()[1]) / 1024 for line in status if line.startswith("VmHWM"))
some = like_fifteen(1000)
designs = pd.concat([some] * 10, ignore_index=True)
evaluate(some, study().scenario, phases=4)
before = peak()
evaluate(designs, study().scenario, phases=4)
print(before, peak())
"""


@cache
def wheels() -> pd.DataFrame:
    """Designs around 15 output rollers and 22 hub rollers that can be put together."""
    designs = like_fifteen(2 * COUNT)
    status = evaluate(designs, SCENARIO, phases=1)["status"]
    return designs[~status.str.startswith("geometry")].iloc[:COUNT]


@cache
def inputs() -> np.ndarray:
    wheel = wheel_batch(wheels(), SCENARIO.catalogue, SCENARIO.robot.floor)
    masses = mass_breakdown(wheel, layout(wheel, SCENARIO), SCENARIO)
    load = robot.load_cases(wheel, masses.total, masses.wheel_inertia, SCENARIO).wheel_load
    return kernel_inputs(wheel, contacts.contact_constants(wheel, load), load)


def limits() -> None:
    """Equilibria and limit states in five directions."""
    solve_states(inputs(), FIVE, phase_lattice(PHASES))


def equilibria() -> None:
    """Equilibria and pass geometry alone."""
    solve_states(inputs(), np.empty(0), phase_lattice(PHASES))


def everything() -> None:
    """The whole way from designs to scores."""
    evaluate(wheels(), SCENARIO, phases=PHASES)


def fastest(run: Callable[[], None], times: int = 3) -> float:
    """Shortest of some processor times of ``run`` [s], after one run that does not count."""
    run()
    spent = []
    for _ in range(times):
        began = time.process_time()
        run()
        spent.append(time.process_time() - began)
    return min(spent)


@contextmanager
def timed_kernels() -> Iterator[list[float]]:
    """Adds up the processor time [s] spent in compiled functions that are called from outside with arrays."""
    spent = [0.0]
    replaced = []

    def timed(function: Callable[..., Any]) -> Callable[..., Any]:
        def call(*values: Any) -> Any:
            if not any(isinstance(value, np.ndarray) for value in values):
                return function(*values)
            began = time.process_time()
            result = function(*values)
            spent[0] += time.process_time() - began
            return result

        return call

    dispatcher = numba.core.registry.CPUDispatcher
    modules = [module for name, module in sys.modules.items() if name.startswith("objectives.")]
    for module in modules:
        for name, value in list(vars(module).items()):
            if isinstance(value, dispatcher):
                replaced.append((module, name, value))
                setattr(module, name, timed(value))
    try:
        yield spent
    finally:
        for module, name, value in replaced:
            setattr(module, name, value)


def share_outside_kernels() -> float:
    """Share of the processor time of scoring that is not spent in kernels."""
    everything()
    with timed_kernels() as spent:
        began = time.process_time()
        everything()
        whole = time.process_time() - began
    return 1 - spent[0] / whole


def fresh(code: str, **environment: str) -> tuple[float, str]:
    """Processor time of a fresh process [s] and what it prints. Python keeps what it has compiled, as it does by default."""
    kept = {name: value for name, value in os.environ.items() if name != "PYTHONDONTWRITEBYTECODE"}
    began = resource.getrusage(resource.RUSAGE_CHILDREN)
    run = subprocess.run(
        [sys.executable, "-c", code], cwd=ROOT, env=kept | environment, check=True, capture_output=True, text=True
    )
    ended = resource.getrusage(resource.RUSAGE_CHILDREN)
    return ended.ru_utime + ended.ru_stime - began.ru_utime - began.ru_stime, run.stdout


def newton_steps(wheels_looked_at: int = 10) -> tuple[float, float]:
    """Mean Newton steps of an equilibrium from cold, and of a limit state from the equilibrium (first try alone)."""
    work, border, matrix = new_workspace(), np.zeros(3), np.zeros((4, 5))
    still, limit = [], []
    for row in inputs()[:wheels_looked_at]:
        g, laws = geometry_of(row), laws_of(row)
        for phase in phase_lattice(PHASES):
            standing = begin_phase.py_func(g, laws, phase, False, work)
            cold_start(g, laws, standing, work, border)
            steps, _, _ = solve_equilibrium(g, laws, standing, work, border, 0.0, np.zeros(2), np.zeros(2), 1e-6)
            still.append(steps)
            at_rest, rest = work.unknowns.copy(), border.copy()
            for angle in FIVE:
                work.unknowns[:], border[:] = at_rest, rest
                ahead, across = unit_vectors(np.array([angle]))[0]
                _, steps, _ = newton_limit(g, laws, ahead, across, standing, work, border, rest[:2], TOLERANCE, matrix)
                limit.append(abs(steps))
    return float(np.mean(still)), float(np.mean(limit))


def memory() -> tuple[float, float]:
    """Peak memory [MB] of a process that has scored 1,000 designs, and then 10,000."""
    before, after = fresh(MEMORY)[1].split()
    return float(before), float(after)


@pytest.mark.parametrize("run", [equilibria, limits, everything], ids=lambda run: run.__name__)
def test_time_of(benchmark, run):
    run()
    benchmark(run)


def test_limit_states_cost_at_most_ten_equilibria():
    """Five directions a phase, each with three to five Newton steps of friction and equilibrium together."""
    assert fastest(limits) <= 10 * fastest(equilibria)


def test_states_take_few_newton_steps():
    """From cold five to eleven steps of the equilibrium, three to five of friction and equilibrium together."""
    still, limit = newton_steps(4)
    assert 3 < still < 11
    assert 2 < limit < 6


def test_little_time_is_spent_outside_the_kernels():
    assert share_outside_kernels() <= 0.2


@pytest.mark.slow
def test_first_score_of_a_fresh_process():
    """Two seconds on an idle machine: 1.8 times what it takes to import numba and pandas, however busy the cores are."""
    fresh(FIRST_SCORE)
    pairs = [(fresh(FIRST_SCORE)[0], fresh(IMPORTS)[0]) for _ in range(4)]
    assert min(score for score, _ in pairs) < 2.8 * min(imports for _, imports in pairs)


@pytest.mark.slow
def test_the_first_process_scores_like_those_after_it(tmp_path):
    """To the last bit, or a sweep that was killed in the first process on a machine would go on another way."""
    code = FIRST_SCORE.replace("evaluate(baseline()", "print(evaluate(baseline()").rstrip() + ".to_json(double_precision=15))"
    first, second = (fresh(code + "\n" + COMPILED_HERE, NUMBA_CACHE_DIR=str(tmp_path))[1] for _ in range(2))
    assert len(first) > 1000
    assert first == second
    assert first.endswith("\n[]\n")


@pytest.mark.slow
def test_memory_stays_flat():
    fresh(MEMORY)  # compiling takes memory of its own
    before, after = memory()
    assert after - before < 60
    assert after < 500


def main() -> None:
    fresh(FIRST_SCORE)
    print(f"first score of a process, compiled code at hand: {min(fresh(FIRST_SCORE)[0] for _ in range(3)):.2f} s")
    with tempfile.TemporaryDirectory() as folder:
        began = time.monotonic()
        spent = fresh(FIRST_SCORE, NUMBA_CACHE_DIR=folder)[0]
        print(f"the same, nothing compiled: {time.monotonic() - began:.0f} s, {spent:.0f} s of processor time")
    for run in (equilibria, limits, everything):
        spent = fastest(run) / COUNT
        print(f"{run.__name__}, {PHASES} phases: {spent * 1e6:.0f} microseconds a candidate, {1 / spent:.0f} a second")
    print(f"limits over equilibria: {fastest(limits) / fastest(equilibria):.1f}")
    print("Newton steps: {:.1f} an equilibrium, {:.1f} a limit state".format(*newton_steps()))
    print(f"outside the kernels: {share_outside_kernels():.1%}")
    print("memory: {:.0f} MB after 1,000 designs, {:.0f} MB after 10,000".format(*memory()))


if __name__ == "__main__":
    main()
