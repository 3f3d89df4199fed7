"""A run's folder: what it holds, stopping and resuming, locks, foreign folders, cut lines, crashes."""

from __future__ import annotations

import io
import json
import os
import signal
import socket
import subprocess
import sys
import textwrap
from pathlib import Path

import numpy as np
import pandas as pd
import pyarrow.parquet as pq
import pytest

from objectives.variables import VARIABLES
from sweep.archive import RunFolder, State, open_run, to_parquet
from sweep.errors import BadInput, SweepFailure
from sweep.front import OBJECTIVES, costs_of, nondominated
from sweep.location import Location
from sweep.population import Population
from sweep.runner import run
from sweep.study import read_study
from tests.problems import toy_score, toy_study

SETTINGS = {"evaluations": 2400, "islands": 2}
RESOLUTION = np.array([0.05, 0.02, 0.1, 0.02, 0.01])


@pytest.fixture(scope="module")
def whole(tmp_path_factory):
    place = tmp_path_factory.mktemp("whole") / "run"
    return run(toy_study(**SETTINGS), place, score=toy_score)


def contents(folder: RunFolder) -> dict[str, bytes]:
    return {name: folder.location.read(name) for name in folder.location.names() if name.endswith(".parquet")}


def test_the_folder_holds_what_it_should(whole):
    names = whole.folder.location.names()
    assert {"study.toml", "run.json", "front.parquet", "progress.jsonl", "epochs/island=01/epoch=000003.parquet"} <= set(names)
    assert any(name.startswith("state/") for name in names)
    assert "lock" not in names
    assert not [name for name in names if ".tmp" in name]
    study = toy_study(**SETTINGS)
    assert whole.folder.study_text() == study.text
    about = whole.folder.about()
    assert about["state"] == whole.state == "done"
    assert about["seed"] == 3
    assert about["study_hash"] == study.hash
    assert about["host"] == socket.gethostname()
    assert about["evaluations_done"] == about["evaluations"] == 2400
    assert set(about["versions"]) >= {"wheelfront", "python", "numpy", "optuna", "moocore"}
    progress = whole.folder.progress()
    assert progress[-1]["evaluations"] == 2400
    assert [line["hypervolume"] for line in progress] == sorted(line["hypervolume"] for line in progress)


def test_the_front_says_what_it_holds(whole):
    schema = pq.read_schema(io.BytesIO(whole.folder.location.read("front.parquet")))
    assert schema.metadata[b"study_hash"] == toy_study(**SETTINGS).hash.encode()
    assert schema.metadata[b"phases"] == b"8"
    assert schema.metadata[b"version"]
    for name in schema.names:
        assert {b"unit", b"meaning"} <= set(schema.field(name).metadata)
    assert schema.field("wheel_diameter_mm").metadata[b"unit"] == b"mm"
    assert schema.field("torque_capacity_Nm").metadata[b"unit"] == b"N m"
    assert set(schema.names) >= {"design", *(v.name for v in VARIABLES), *(o.name for o in OBJECTIVES)}
    column = pq.ParquetFile(io.BytesIO(whole.folder.location.read("front.parquet"))).metadata.row_group(0).column(0)
    assert column.compression == "SNAPPY"


def test_the_front_is_a_front_scored_with_the_front_phases(whole):
    front = whole.front
    assert len(front) > 20
    assert front["feasible"].all()
    costs = costs_of(front)
    assert nondominated(costs).all()
    assert len({tuple(box) for box in np.floor(costs / RESOLUTION)}) >= len(front) - len(OBJECTIVES)
    variables = [variable.name for variable in VARIABLES]
    pd.testing.assert_frame_equal(
        front[[o.name for o in OBJECTIVES]], toy_score(front[variables], 8)[[o.name for o in OBJECTIVES]]
    )


def test_parts_hold_what_the_study_keeps(tmp_path, whole):
    kept = pd.concat(whole.folder.parts())
    assert kept["feasible"].all()
    assert len(kept) < 2400
    assert sorted(kept["island"].unique()) == [0, 1]
    everything = run(toy_study(keep="all", name="all", **SETTINGS), tmp_path / "all", score=toy_score)
    assert sum(len(part) for part in everything.folder.parts()) == 2400
    feasible = run(toy_study(keep="feasible", name="feasible", **SETTINGS), tmp_path / "feasible", score=toy_score)
    parts = pd.concat(feasible.folder.parts())
    assert parts["feasible"].all()
    assert len(parts) == round(feasible.feasible_share * 2400)
    pd.testing.assert_frame_equal(everything.front, whole.front)


def test_the_same_study_and_seed_give_the_same_bytes(tmp_path, whole):
    again = run(toy_study(**SETTINGS), tmp_path / "again", score=toy_score)
    assert contents(again.folder) == contents(whole.folder)
    other = run(toy_study(**SETTINGS), tmp_path / "other", seed=4, score=toy_score)
    assert other.folder.about()["seed"] == 4
    assert contents(other.folder)["front.parquet"] != contents(whole.folder)["front.parquet"]


@pytest.mark.parametrize("batches", [0, 1, 9, 17])
def test_stopping_and_resuming_changes_nothing(tmp_path, whole, batches):
    asked = iter(range(1000))
    stopped = run(toy_study(**SETTINGS), tmp_path / "run", score=toy_score, stop=lambda: next(asked) >= batches)
    assert stopped.state == stopped.folder.about()["state"] == "stopped"
    assert stopped.evaluations < 2400
    assert stopped.folder.front() is None or nondominated(costs_of(stopped.folder.front())).all()
    resumed = run(toy_study(**SETTINGS), tmp_path / "run", resume=True, score=toy_score)
    assert resumed.state == "done"
    assert contents(resumed.folder) == contents(whole.folder)
    assert resumed.hypervolume == whole.hypervolume
    lines = [{k: v for k, v in line.items() if k != "seconds"} for line in resumed.folder.progress()]
    assert lines == [{k: v for k, v in line.items() if k != "seconds"} for line in whole.folder.progress()]


@pytest.mark.parametrize("write", [4, 5, 9, 10, 20])
def test_a_crash_at_any_write_is_mended_by_resuming(tmp_path, whole, monkeypatch, write):
    """The n-th replacement does not happen and the process is gone: nothing after it is written either."""
    replace, count = os.replace, iter(range(1000))

    def dying(*paths):
        if next(count) >= write:
            raise KeyboardInterrupt
        replace(*paths)

    monkeypatch.setattr(os, "replace", dying)
    with pytest.raises(KeyboardInterrupt):
        run(toy_study(**SETTINGS), tmp_path / "run", score=toy_score)
    monkeypatch.undo()
    resumed = run(toy_study(**SETTINGS), tmp_path / "run", resume=True, score=toy_score)
    assert contents(resumed.folder) == contents(whole.folder)
    assert not [name for name in resumed.folder.location.names() if ".tmp" in name]


CHILD = textwrap.dedent("""
    import os, signal, sys
    from sweep.runner import run
    from tests.problems import toy_score, toy_study
    count = iter(range(1000))
    def score(designs, phases):
        if next(count) == int(sys.argv[3]):
            os.kill(os.getpid(), getattr(signal, sys.argv[2]))
        return toy_score(designs, phases)
    result = run(toy_study(evaluations=2400, islands=2), sys.argv[1], score=score)
    print(result.state)
""")


@pytest.mark.parametrize("number", ["SIGKILL", "SIGTERM", "SIGINT"])
def test_a_killed_process_is_resumed(tmp_path, whole, number):
    ended = subprocess.run(
        [sys.executable, "-c", CHILD, str(tmp_path / "run"), number, "11"], capture_output=True, text=True, check=False
    )
    folder = open_run(tmp_path / "run")
    if number == "SIGKILL":
        assert ended.returncode == -signal.SIGKILL
        assert folder.location.exists("lock")
        assert folder.about()["state"] == "running"
    else:
        assert (ended.returncode, ended.stdout.strip()) == (0, "stopped"), ended.stderr
        assert not folder.location.exists("lock")
    resumed = run(toy_study(**SETTINGS), tmp_path / "run", resume=True, score=toy_score)
    assert contents(resumed.folder) == contents(whole.folder)


def test_a_second_sweep_is_refused_while_the_first_goes_on(tmp_path):
    study, refused = toy_study(**SETTINGS), []

    def score(designs, phases):
        if not refused:
            with pytest.raises(BadInput) as caught:
                run(study, tmp_path / "run", resume=True, score=toy_score)
            refused.append(str(caught.value))
        return toy_score(designs, phases)

    assert run(study, tmp_path / "run", score=score).state == "done"
    assert f"process {os.getpid()} on {socket.gethostname()}" in refused[0]
    assert "--out" in refused[0]


def test_locks_of_other_hosts_hold_and_those_of_the_dead_do_not(tmp_path):
    folder = RunFolder(Location.at(tmp_path))
    folder.location.write("lock", json.dumps({"pid": 1, "host": "elsewhere", "began": "5"}).encode())
    with pytest.raises(BadInput, match="process 1 on elsewhere"), folder.locked():
        pass
    assert folder.location.exists("lock")
    dead = subprocess.run([sys.executable, "-c", "import os; print(os.getpid())"], capture_output=True, text=True, check=True)
    # a number that was given away again is told from its first owner by when it began
    for content in (
        json.dumps({"pid": int(dead.stdout), "host": socket.gethostname(), "began": "5"}).encode(),
        json.dumps({"pid": os.getpid(), "host": socket.gethostname(), "began": "another time"}).encode(),
        b'{"pid": 12',
    ):
        folder.location.write("lock", content)
        with folder.locked():
            assert json.loads(folder.location.read("lock"))["pid"] == os.getpid()
        assert not folder.location.exists("lock")


def test_a_folder_of_another_study_is_refused(tmp_path, whole):
    place = whole.folder.location.root
    before = whole.folder.location.read("run.json")
    for resume in (False, True):
        with pytest.raises(BadInput) as caught:
            run(toy_study(name="another"), place, resume=resume, score=toy_score)
        text = str(caught.value)
        assert "'toy'" in text
        assert "'another'" in text
        assert "give another --out" in text
    with pytest.raises(BadInput, match="the study has changed"):
        run(toy_study(evaluations=2401), place, resume=True, score=toy_score)
    assert whole.folder.location.read("run.json") == before
    assert not whole.folder.location.exists("lock")


def test_a_run_is_not_written_over_or_changed(whole):
    place, study = whole.folder.location.root, toy_study(**SETTINGS)
    with pytest.raises(BadInput, match=r"done at 2400 of 2400 evaluations.*--resume"):
        run(study, place, score=toy_score)
    with pytest.raises(BadInput, match="--seed must be 3, as the run began, got 9"):
        run(study, place, resume=True, seed=9, score=toy_score)
    with pytest.raises(BadInput, match="--evaluations must be 2400"):
        run(study, place, resume=True, evaluations=99, score=toy_score)
    before = contents(whole.folder)
    again = run(study, place, resume=True, score=lambda *unused: pytest.fail("a run that is done was scored again"))
    assert (again.state, len(again.front)) == ("done", len(whole.front))
    assert contents(whole.folder) == before


def test_a_stranger_s_folder_is_left_alone(tmp_path):
    (tmp_path / "thesis.txt").write_text("mine")
    with pytest.raises(BadInput, match=r"holds thesis\.txt"):
        run(toy_study(), tmp_path, score=toy_score)
    assert [path.name for path in tmp_path.iterdir()] == ["thesis.txt"]
    with pytest.raises(BadInput, match="needs a run"):
        run(toy_study(), tmp_path / "new", resume=True, score=toy_score)
    with pytest.raises(BadInput, match="folder of a run"):
        open_run(tmp_path)


def test_a_failing_score_says_what_is_safe(tmp_path, whole):
    count = iter(range(1000))

    def score(designs, phases):
        if next(count) >= 9:
            raise ZeroDivisionError("a kernel broke")
        return toy_score(designs, phases)

    with pytest.raises(SweepFailure) as caught:
        run(toy_study(**SETTINGS), tmp_path / "run", score=score)
    assert "ZeroDivisionError: a kernel broke" in str(caught.value)
    assert str(tmp_path / "run") in str(caught.value)
    assert open_run(tmp_path / "run").about()["state"] == "failed"
    resumed = run(toy_study(**SETTINGS), tmp_path / "run", resume=True, score=toy_score)
    assert contents(resumed.folder) == contents(whole.folder)


def test_a_cut_progress_line_is_passed_over(tmp_path):
    folder = RunFolder(Location.at(tmp_path))
    assert folder.progress() == []
    folder.add_progress({"evaluations": 1})
    folder.add_progress({"evaluations": 2})
    folder.location.append("progress.jsonl", b'{"evaluat')
    assert [line["evaluations"] for line in folder.progress()] == [1, 2]
    folder.cut_progress(1)
    folder.add_progress({"evaluations": 5})
    assert [line["evaluations"] for line in folder.progress()] == [1, 5]


def test_state_comes_back_as_it_was():
    rng = np.random.default_rng(0)
    populations = tuple(
        Population(rng.random((n, 3)), np.full((n, 2), np.inf), rng.random(n), rng.random((n, 4))) for n in (4, 0)
    )
    state = State(3, 500, 17, populations, populations[::-1], ([0.1, 0.2], [1.0, 2.0]), {"slack_a": 4})
    back = State.unpack(state.pack())
    assert (back.epoch, back.evaluations, back.feasible, back.bounds, back.broken) == (3, 500, 17, state.bounds, {"slack_a": 4})
    for one, two in zip((*state.populations, *state.emigrants), (*back.populations, *back.emigrants), strict=True):
        for part in ("genes", "costs", "violation", "slacks"):
            np.testing.assert_array_equal(getattr(one, part), getattr(two, part))


def test_state_of_an_older_version_has_no_slacks():
    rng = np.random.default_rng(0)
    population = Population(rng.random((4, 3)), rng.random((4, 2)), rng.random(4), np.empty((4, 0)))
    packed = np.load(io.BytesIO(State(3, 500, 17, (population,), (population,)).pack()))
    old = io.BytesIO()
    np.savez(old, **{name: array for name, array in packed.items() if not name.endswith("_slacks")})
    back = State.unpack(old.getvalue()).populations[0]
    np.testing.assert_array_equal(back.genes, population.genes)
    assert back.slacks.shape == (4, 0)


def test_parquet_keeps_types_and_missing_numbers():
    table = pd.DataFrame({"design": ["a", None], "mass_kg": [1.5, np.nan], "count": [1, 2], "feasible": [True, False]})
    back = pq.read_table(io.BytesIO(to_parquet(table, {"study": "s"}))).to_pandas()
    assert back["design"].tolist() == ["a", ""]
    assert back["count"].dtype == np.int64
    assert back["feasible"].dtype == bool
    assert np.isnan(back["mass_kg"].iloc[1])


def test_hours_become_evaluations_at_the_start(tmp_path):
    folder = RunFolder(Location.at(tmp_path / "run"))

    def planned() -> bool:
        return (folder.about() or {}).get("evaluations") is not None

    about = run(toy_study(**SETTINGS), tmp_path / "run", hours=0.1, score=toy_score, stop=planned).folder.about()
    assert about["hours"] == 0.1
    assert about["evaluations"] == pytest.approx(0.9 * 360 * about["measured_rate_per_s"], abs=1)


def test_no_feasible_design_leaves_an_empty_front_and_names_the_constraint(tmp_path):
    def score(designs, phases):
        return toy_score(designs, phases).assign(feasible=False, violation=1.0, slack_room=-1.0, slack_other=1.0)

    result = run(toy_study(evaluations=200), tmp_path / "run", score=score)
    assert result.state == "done"
    assert len(result.front) == 0
    assert list(result.broken) == ["slack_room"]
    assert result.broken["slack_room"] == 1.0
    assert "torque_capacity_Nm" in result.folder.front().columns


def test_designs_that_fail_with_more_phases_leave_the_front(tmp_path, whole):
    def score(designs, phases):
        outputs = toy_score(designs, phases)
        outputs.loc[(phases == 8) & (outputs["mass_kg"] > 1.0), "feasible"] = False
        return outputs

    result = run(toy_study(**SETTINGS), tmp_path / "run", score=score)
    assert whole.front["mass_kg"].max() > 1.0
    assert len(result.front) > 0
    assert result.front["mass_kg"].max() <= 1.0


def test_small_budgets_use_fewer_islands(tmp_path):
    result = run(toy_study(evaluations=100, islands=4), tmp_path / "run", score=toy_score)
    assert result.folder.about()["islands"] == 1
    assert result.evaluations == 100


def test_the_baseline_is_scored_and_a_first_parent(tmp_path):
    study = toy_study(evaluations=300, islands=1)
    row = study.space.decode(np.full((1, len(study.space.genes)), 0.4)).iloc[0]
    lines = [f"{name} = {value!r}" if isinstance(value, str) else f"{name} = {value}" for name, value in row.items()]
    with_baseline = read_study(study.text + "[baseline]\n" + "\n".join(lines), "toy.toml")
    result = run(with_baseline, tmp_path / "run", score=toy_score)
    baseline = result.folder.baseline()
    assert len(baseline) == 1
    about = result.folder.about()["baseline"]
    assert about["first_parent"] is True
    assert about["mass_kg"] == pytest.approx(float(toy_score(baseline, 8)["mass_kg"].iloc[0]))
    assert baseline["design"].iloc[0] == about["design"]


def test_progress_reaches_the_end(tmp_path):
    told = []
    run(toy_study(**SETTINGS), tmp_path / "run", score=toy_score, progress=told.append)
    searching = [snapshot.done for snapshot in told if snapshot.stage == "searching"]
    assert searching == sorted(searching)
    assert searching[-1] == 2400
    assert told[-1].stage == "scoring the front again"
    assert told[-1].rate > 0


def test_nothing_is_written_beside_the_folder(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    result = run(toy_study(evaluations=100), score=toy_score)
    assert Path(str(result.folder.location)) == Path("results/toy")
    assert [path.name for path in tmp_path.iterdir()] == ["results"]
