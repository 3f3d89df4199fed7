"""What every executor keeps: values, order, references between tasks, errors as they were raised, an end when asked."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import tempfile
import textwrap
import time
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from sweep import executors
from sweep.errors import BadInput, Fault, SweepFailure
from sweep.executors import Executor, Pulse, TaskDied, executor, fingerprint
from sweep.stopping import Stopped

pytestmark = pytest.mark.alone

ROOT = Path(__file__).parent.parent.parent
ASKED = {"to stop": False}


def pulse(scored: int) -> None:
    if ASKED["to stop"]:
        raise Stopped


@pytest.fixture(scope="module", params=[None, pytest.param(2, marks=pytest.mark.slow)], ids=["inline", "two workers"])
def runs(request: pytest.FixtureRequest) -> Iterator[Executor]:
    with executor(request.param, None, pulse) as given:
        yield given


def total(pulse: Pulse, *numbers: float) -> float:
    pulse(len(numbers))
    return sum(numbers)


def both(pulse: Pulse, first: object, second: object) -> tuple[object, object]:
    return second, first


def table(pulse: Pulse, rows: int) -> pd.DataFrame:
    return pd.DataFrame({"x": np.arange(rows) / 7, "name": [f"r{i}" for i in range(rows)], "n": range(rows)})


def refuse(pulse: Pulse, error: Exception) -> None:
    raise error


def process(pulse: Pulse) -> int:
    return os.getpid()


def end(pulse: Pulse, marks: str) -> str:
    """Kills its own process as often as there are files named for it."""
    left = sorted(Path(marks).glob("again*"))
    if left:
        left[0].unlink()
        os.kill(os.getpid(), signal.SIGKILL)
    return "through"


def threads(pulse: Pulse) -> list[str | None]:
    return [os.environ.get(name) for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "NUMBA_NUM_THREADS")]


def niceness(pulse: Pulse) -> int:
    return os.nice(0)


def nap(pulse: Pulse, seconds: float) -> float:
    time.sleep(seconds)
    return seconds


def test_values_come_back_in_whatever_order_they_are_asked_for(runs: Executor) -> None:
    references = [runs.submit(total, number, 1)[0] for number in range(20)]
    assert [runs.value(reference) for reference in reversed(references)] == [number + 1 for number in reversed(range(20))]
    assert runs.value(references[3]) == 4


def test_references_are_taken_as_arguments(runs: Executor) -> None:
    (one,) = runs.submit(total, 1, 2)
    two, three = runs.submit(both, one, runs.share("shared"), results=2)
    assert (runs.value(two), runs.value(three)) == ("shared", 3)
    reference = one
    for _ in range(30):
        (reference,) = runs.submit(total, reference, one)
    assert runs.value(reference) == 93


def test_tables_and_arrays_come_back_as_they_were(runs: Executor) -> None:
    pd.testing.assert_frame_equal(runs.value(runs.submit(table, 40_000)[0]), table(pulse, 40_000), check_exact=True)
    shared = runs.share(np.linspace(0, 1, 100_000))
    back, _ = runs.submit(both, 0, shared, results=2)
    np.testing.assert_array_equal(runs.value(back), np.linspace(0, 1, 100_000))


@pytest.mark.parametrize(
    "error",
    [ZeroDivisionError("by nought"), SweepFailure("what", "safe", "on"), BadInput([Fault("mass_kg", "must be over 0", "-1")])],
)
def test_errors_are_raised_as_they_were(runs: Executor, error: Exception) -> None:
    (reference,) = runs.submit(refuse, error)
    with pytest.raises(type(error)) as caught:
        runs.value(reference)
    assert str(caught.value) == str(error)


def test_waiting_ends_when_asked(runs: Executor) -> None:
    (reference,) = runs.submit(nap, 0.0) if runs.workers == 1 else runs.submit(nap, 4.0)
    (after,) = runs.submit(total, reference, 2)
    ASKED["to stop"] = True
    began = time.monotonic()
    try:
        with pytest.raises(Stopped):
            runs.value(after)
        assert time.monotonic() - began < 3
    finally:
        ASKED["to stop"] = False
    assert runs.value(after) == runs.value(reference) + 2


def test_what_is_cancelled_may_be_cancelled(runs: Executor) -> None:
    references = [runs.submit(nap, 0.01)[0] for _ in range(6)]
    for reference in references:
        runs.cancel(reference)
    assert runs.value(runs.submit(total, 1, 1)[0]) == 2


@pytest.fixture(scope="module")
def workers(runs: Executor) -> Executor:
    if runs.workers == 1:
        pytest.skip("tasks in this process have no worker")
    return runs


def test_workers_are_as_many_as_asked_and_no_more_than_their_share(workers: Executor) -> None:
    import ray

    assert workers.workers == ray.cluster_resources()["CPU"] == 2
    assert workers.value(workers.submit(threads)[0]) == ["1", "1", "1"]
    assert workers.value(workers.submit(niceness)[0]) == os.nice(0)
    assert workers.value(workers.submit(process)[0]) != os.getpid()


def test_a_task_outlives_its_worker(workers: Executor, tmp_path: Path) -> None:
    for count in range(3):
        (tmp_path / f"again{count}").touch()
    (reference,) = workers.submit(end, str(tmp_path))
    (after,) = workers.submit(both, reference, 1, results=1)
    assert workers.value(reference) == "through"
    assert workers.value(after) == (1, "through")
    assert not list(tmp_path.iterdir())


def test_a_task_that_keeps_killing_its_worker_is_given_up(workers: Executor, tmp_path: Path) -> None:
    for count in range(9):
        (tmp_path / f"again{count}").touch()
    (reference,) = workers.submit(end, str(tmp_path))
    with pytest.raises(TaskDied):
        workers.value(reference)
    assert len(list(tmp_path.iterdir())) == 5  # once, and three times again
    assert workers.value(workers.submit(total, 1, 1)[0]) == 2


SPEAKING = textwrap.dedent("""
    import os, signal, sys
    from sweep.executors import executor
    from tests.contract.test_executors import process, total
    with executor(1, None, lambda scored: None) as runs:
        before = runs.value(runs.submit(process)[0])
        os.kill(before, signal.SIGKILL)
        assert runs.value(runs.submit(process)[0]) != before
        print(signal.getsignal(signal.SIGTERM) == signal.SIG_DFL, runs.value(runs.submit(total, 1, 2)[0]))
""")


@pytest.mark.slow
def test_ray_says_nothing_leaves_signals_alone_and_nothing_behind(tmp_path: Path) -> None:
    temporary = Path(tempfile.gettempdir())
    environment = {**os.environ, "HOME": str(tmp_path), "PYTHONPATH": str(ROOT)}
    before = set(temporary.glob("wheelfront-*"))
    done = subprocess.run(
        [sys.executable, "-c", SPEAKING], capture_output=True, text=True, check=False, env=environment, cwd=ROOT
    )
    assert (done.returncode, done.stdout, done.stderr) == (0, "True 3\n", "")
    assert set(temporary.glob("wheelfront-*")) <= before
    assert not (tmp_path / ".ray").exists()


def test_ray_is_not_imported_until_it_is_used() -> None:
    code = "import sys, sweep.runner; sys.exit('ray' in sys.modules)"
    assert subprocess.run([sys.executable, "-c", code], check=False, cwd=ROOT).returncode == 0


@pytest.mark.parametrize("address", ["", "here", "host:", ":6379", "host:99999", "ray://host:10001", "host:port"])
def test_an_address_must_be_one(address: str) -> None:
    with pytest.raises(BadInput, match="must be HOST:PORT"), executor(None, address, pulse):
        pass


def test_an_address_must_be_reachable() -> None:
    with pytest.raises(BadInput, match=r"--ray must be reachable: .*127\.0\.0\.1:9"), executor(None, "127.0.0.1:9", pulse):
        pass


def test_the_fingerprint_tells_what_results_depend_on() -> None:
    assert set(fingerprint()) >= {"python", "numpy", "numba", "optuna", "wheelfront", "sources"}


def test_machines_with_other_versions_are_named(workers: Executor, monkeypatch: pytest.MonkeyPatch) -> None:
    assert executors._checked_machines("here") == 2
    monkeypatch.setattr(executors, "fingerprint", lambda: fingerprint() | {"numpy": "0.1"})
    with pytest.raises(BadInput, match=r"machine .* must have the same wheelfront as this one, got numpy .* \(here 0\.1\)"):
        executors._checked_machines("here")
    # one that joins later is found out by its first task
    monkeypatch.setattr(workers, "_digest", "of other versions")
    with pytest.raises(BadInput, match="must have the same wheelfront"):
        workers.value(workers.submit(total, 1)[0])
