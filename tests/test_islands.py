"""Islands as a dataflow: the same run whatever runs it and whatever happens to it."""

from __future__ import annotations

import multiprocessing
import os
import re
import signal
import time
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from objectives.scoring import slack_scales
from objectives.variables import VARIABLES
from sweep.archive import RunFolder, State, open_run
from sweep.designs import read_designs
from sweep.errors import SweepFailure
from sweep.executors import Inline
from sweep.front import OBJECTIVES
from sweep.guarding import PIECE, guarded
from sweep.islands import AHEAD, Plan, Setup, epochs
from sweep.population import Population
from sweep.progress import Snapshot
from sweep.runner import Result, run
from sweep.search import step
from tests.bench.kill_statistics import ISLANDS, Tally, kill_drivers, kill_workers, lasting, remove_machine, started
from tests.problems import toy_score, toy_study
from tests.toy_sweep import deadly_score

pytestmark = pytest.mark.alone

SETTINGS = {"evaluations": 2900, "islands": 3}


@pytest.fixture(scope="module")
def whole(tmp_path_factory: pytest.TempPathFactory) -> Result:
    return run(toy_study(**SETTINGS), tmp_path_factory.mktemp("whole") / "run", score=toy_score)


def quiet(scored: int) -> None:
    pass


def test_counts_share_out_all_evaluations() -> None:
    for plan in (Plan(1, 1000, 3, 192), Plan(1, 1, 1, 192), Plan(1, 577, 4, 96), Plan(1, 576, 3, 192)):
        counts = np.array([[plan.count(island, epoch) for epoch in range(plan.epochs)] for island in range(plan.islands)])
        assert counts.sum() == plan.evaluations
        assert counts[:, -1].any()
        assert counts.max() <= plan.epoch
        assert np.ptp(counts.sum(axis=1)) <= 1


def test_an_epoch_takes_what_its_neighbour_sent_the_epoch_before() -> None:
    """Against the epochs written out one after the other."""
    study = toy_study(islands=3)
    setup, plan = Setup(study, toy_score), Plan(5, 1000, 3, 192)
    problem = setup.problem(quiet)
    empty = (Population.empty(problem),) * 3
    own, sent = list(empty), list(empty)
    for epoch, landed in enumerate(epochs(Inline(quiet), setup, plan, State(0, 0, 0, empty, empty))):
        done = [
            step(problem, own[i], sent[(i + 2) % 3], 5, i, epoch, min(192, 333 + (i == 0) - 192 * epoch)) for i in range(3)
        ]
        own, sent = [each[0] for each in done], [each[1] for each in done]
        for island in range(3):
            np.testing.assert_array_equal(landed[island].population.genes, own[island].genes)
            np.testing.assert_array_equal(landed[island].emigrants.genes, sent[island].genes)
            assert landed[island].outcome.evaluations == sum(len(part) for part in done[island][2])
    assert epoch == 1


def test_a_model_proposes_an_islands_first_evaluations() -> None:
    plan = Plan(1, 3000, 1, 768, 48, 1000)
    assert [plan.modelled_in(epoch) for epoch in range(plan.epochs)] == [768, 232, 0, 0]
    assert [plan.count(epoch=epoch, island=0) for epoch in range(plan.epochs)] == [768, 768, 768, 696]


def known_score(designs: pd.DataFrame, phases: int) -> pd.DataFrame:
    """The toy with a slack that the search knows by name."""
    outputs = toy_score(designs, phases)
    return outputs.assign(slack_wedging=outputs["slack_room"])


def test_a_sweep_led_by_a_model_is_the_same_after_a_stop_and_on_a_worker(tmp_path: Path) -> None:
    """1200 evaluations of one island: epochs of 512; the model leads 1000 of them, children of parents the rest."""
    study, done = toy_study(evaluations=1200, islands=1), [0]
    whole = run(study, tmp_path / "whole", score=known_score)
    assert {name: whole.folder.about()[name] for name in ("islands", "epoch", "modelled")} == {
        "islands": 1, "epoch": 512, "modelled": 1000,
    }

    def progress(snapshot: Snapshot) -> None:
        done[0] = snapshot.done

    stopped = run(study, tmp_path / "stopped", score=known_score, progress=progress, stop=lambda: done[0] >= 512)
    assert stopped.folder.about()["evaluations_done"] == 512
    state = stopped.folder.state()
    assert state is not None
    assert [population.slacks.shape for population in state.populations] == [(512, len(slack_scales(study.scenario)))]
    resumed = run(study, tmp_path / "stopped", score=known_score, resume=True)
    worked = run(study, tmp_path / "worked", score=known_score, workers=1)
    assert lasting(resumed.folder) == lasting(worked.folder) == lasting(whole.folder)


class Counting(Inline):
    """Counts tasks that were handed out and not taken."""

    handed = taken = most = 0

    def submit(self, *arguments, **options):
        self.handed += 1
        self.most = max(self.most, self.handed - self.taken)
        return super().submit(*arguments, **options)


def test_tasks_are_handed_out_ahead_but_not_without_end() -> None:
    setup, plan = Setup(toy_study(islands=2), toy_score), Plan(5, 4000, 2, 96)
    empty = (Population.empty(setup.problem(quiet)),) * 2
    runs = Counting(quiet)
    for _ in epochs(runs, setup, plan, State(0, 0, 0, empty, empty)):
        runs.taken += 2
    assert runs.handed == 2 * plan.epochs == 42
    assert runs.most == 2 * (AHEAD + 1)


def fragile(designs: pd.DataFrame, phases: int) -> pd.DataFrame:
    """Cannot stand some designs."""
    if (designs["pinion_teeth"] == 17).any():
        raise ValueError("seventeen teeth")
    return toy_score(designs, phases)


def avoiding(designs: pd.DataFrame, phases: int) -> pd.DataFrame:
    """The same without raising: what must come out."""
    outputs = toy_score(designs, phases)
    lost = (designs["pinion_teeth"] == 17).to_numpy()
    outputs.loc[lost, [objective.name for objective in OBJECTIVES]] = np.nan
    outputs.loc[lost, "slack_room"] = np.nan
    return outputs.assign(feasible=outputs["feasible"] & ~lost, violation=np.where(lost, 1e30, outputs["violation"]))


def test_a_candidate_that_breaks_scoring_is_recorded_and_passed_over(tmp_path: Path, whole: Result) -> None:
    result = run(toy_study(**SETTINGS), tmp_path / "run", score=fragile)
    assert result.state == "done"
    failed = result.folder.failed()
    assert 0 < len(failed) == result.folder.about()["failed"] < 2900
    assert (failed["pinion_teeth"] == 17).all()
    assert set(failed["status"]) == {"failed: ValueError: seventeen teeth"}
    assert {variable.name for variable in VARIABLES} | {"design", "island", "epoch"} <= set(failed.columns)
    expected = run(toy_study(**SETTINGS), tmp_path / "expected", score=avoiding)
    pd.testing.assert_frame_equal(result.front, expected.front)
    assert expected.folder.about()["failed"] == 0
    assert not expected.folder.location.exists("failed.parquet")
    # stopped in between, nothing is recorded twice
    asked = iter(range(1000))
    run(toy_study(**SETTINGS), tmp_path / "again", score=fragile, stop=lambda: next(asked) >= 14)
    resumed = run(toy_study(**SETTINGS), tmp_path / "again", score=fragile, resume=True)
    assert lasting(resumed.folder) == lasting(result.folder)


def test_scoring_can_be_stopped_within_a_generation() -> None:
    """However many phases are asked for, little is scored between two looks at whether to stop; pieces change nothing."""
    designs = toy_study().space.decode(np.random.default_rng(0).random((96, len(toy_study().space.genes))))
    for phases in (4, 64, 4096):
        told: list[int] = []
        whole = guarded(toy_score, told.append)(designs, phases)
        assert sum(told) == 96
        assert max(told) * phases <= max(PIECE, phases)
        pd.testing.assert_frame_equal(whole, toy_score(designs, phases))


def test_scoring_that_always_raises_ends_the_sweep(tmp_path: Path) -> None:
    def broken(designs: pd.DataFrame, phases: int) -> pd.DataFrame:
        raise ZeroDivisionError("by nought")

    with pytest.raises(SweepFailure, match="ZeroDivisionError: by nought"):
        run(toy_study(**SETTINGS), tmp_path / "run", score=broken)


def test_more_workers_than_islands_are_told(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(Inline, "workers", 5)
    notes: list[str] = []
    run(toy_study(**SETTINGS), tmp_path / "three", score=toy_score, note=notes.append)
    run(toy_study(evaluations=2000, islands=3), tmp_path / "two", score=toy_score, note=notes.append)
    assert notes[0] == "5 workers for 3 islands, as the study's [search] says: 2 stay idle while searching."
    assert notes[1] == "5 workers for 2 islands, since an island has 960 evaluations at least: 3 stay idle while searching."


def test_hours_end_at_an_epoch_when_they_are_over(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The rate is told ten times too high: fewer epochs, a front all the same, and the run is done."""
    monkeypatch.setattr("sweep.runner.total_rate", lambda *unused: 20_000.0)

    def slow(designs: pd.DataFrame, phases: int) -> pd.DataFrame:
        time.sleep(0.02)
        return toy_score(designs, phases)

    began = time.monotonic()
    result = run(toy_study(**SETTINGS), tmp_path / "run", hours=6 / 3600, score=slow)
    assert time.monotonic() - began < 20  # all evaluations would sleep for longer than that
    about = result.folder.about()
    assert about["state"] == "done"
    assert about["evaluations"] == 0.9 * 6 * 20_000
    assert 0 < about["evaluations_done"] < about["evaluations"]
    assert about["epochs"] == len(result.folder.progress())
    # the front is that of the same epochs of a run of as many evaluations
    asked: list[int] = []

    def counted() -> bool:
        folder = RunFolder(result.folder.location.__class__(tmp_path / "again"))
        asked.append(len(folder.progress()))
        return asked[-1] >= about["epochs"]

    stopped = run(toy_study(**SETTINGS), tmp_path / "again", evaluations=about["evaluations"], score=toy_score, stop=counted)
    assert stopped.evaluations == about["evaluations_done"]
    for name in ("genes", "costs"):
        for one, two in zip(stopped.folder.state().populations, result.folder.state().populations, strict=True):
            np.testing.assert_array_equal(getattr(one, name), getattr(two, name))
    # it stays done
    assert run(toy_study(**SETTINGS), tmp_path / "run", resume=True, score=slow).evaluations == result.evaluations


def test_hours_are_measured_where_the_sweep_was_stopped_before(tmp_path: Path) -> None:
    stopped = run(toy_study(**SETTINGS), tmp_path / "run", hours=0.001, score=toy_score, stop=lambda: True)
    assert stopped.state == "stopped"
    assert stopped.folder.about()["evaluations"] is None
    again = run(toy_study(**SETTINGS), tmp_path / "run", resume=True, score=toy_score)
    assert again.state == "done"
    assert again.folder.about()["evaluations"] > 0


# on Ray, and killed: a few of what tests/bench/kill_statistics.py does many times

TOY = {"evaluations": 4000, "islands": ISLANDS}


@pytest.fixture(scope="module")
def undisturbed(tmp_path_factory: pytest.TempPathFactory) -> dict[str, bytes]:
    """What tests.toy_sweep must leave."""
    return lasting(run(toy_study(**TOY), tmp_path_factory.mktemp("undisturbed") / "run", score=toy_score).folder)


def nothing_lost(tally: Tally) -> None:
    assert tally.kills > 0
    assert tally.files > 10
    assert (tally.half, tally.lost, tally.same) == (0, 0, tally.runs)


@pytest.mark.slow
def test_one_worker_gives_the_same_files(tmp_path: Path, whole: Result) -> None:
    result = run(toy_study(**SETTINGS), tmp_path / "run", score=toy_score, workers=1)
    assert lasting(result.folder) == lasting(whole.folder)
    assert result.hypervolume == whole.hypervolume


@pytest.mark.slow
def test_killed_workers_change_nothing(tmp_path: Path, undisturbed: dict[str, bytes]) -> None:
    tally = Tally("workers")
    kill_workers(tmp_path, tally, 2, undisturbed)
    nothing_lost(tally)


@pytest.mark.slow
@pytest.mark.parametrize(("kills", "options"), [(3, ()), (1, ("--workers", 2))])
def test_a_killed_driver_changes_nothing(
    tmp_path: Path, undisturbed: dict[str, bytes], kills: int, options: tuple[object, ...], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("PYTHONHASHSEED", str(kills))
    tally = Tally("driver")
    kill_drivers(tmp_path, tally, kills, undisturbed, *options)
    nothing_lost(tally)


@pytest.mark.slow
def test_a_machine_that_goes_changes_nothing(tmp_path: Path, undisturbed: dict[str, bytes]) -> None:
    with ProcessPoolExecutor(1, mp_context=multiprocessing.get_context("spawn")) as process:
        nothing_lost(process.submit(remove_machine, tmp_path, Tally("machine"), undisturbed).result())


@pytest.mark.slow
def test_sigterm_ends_workers_within_seconds(tmp_path: Path) -> None:
    place = tmp_path / "run"
    with started(place, "--workers", 2, "--delay", 0.3, "--evaluations", 40_000) as process:
        deadline = time.monotonic() + 120
        while not (place / "front.parquet").exists() and process.poll() is None and time.monotonic() < deadline:
            time.sleep(0.05)
        time.sleep(1)
        asked = time.monotonic()
        process.send_signal(signal.SIGTERM)
        out, err = process.communicate()
    assert time.monotonic() - asked < 5 * max(1.0, os.getloadavg()[0] / (os.cpu_count() or 1))
    assert (process.returncode, out.split()[:1], err) == (0, ["stopped"], "")
    assert open_run(place).about()["state"] == "stopped"
    assert not (place / "lock").exists()


@pytest.mark.slow
def test_a_candidate_that_kills_its_worker_is_saved(tmp_path: Path) -> None:
    place, study = tmp_path / "run", toy_study(evaluations=200, islands=1)
    with pytest.raises(SweepFailure) as caught:
        run(study, place, score=deadly_score, workers=1)
    text = str(caught.value)
    assert f"the candidate that kills it is in {place}/killers.csv" in text
    assert re.search(r"epoch \d+ of island \d died 4 times", text)
    (killer,) = pd.read_csv(place / "killers.csv").to_dict("records")
    assert killer["pinion_teeth"] == 18
    assert killer["gear_teeth"] > 45
    assert len(read_designs(place / "killers.csv", study)) == 1
    assert open_run(place).about()["state"] == "failed"
