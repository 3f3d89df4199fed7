"""The service: what it tells of runs, fronts and designs, what it starts, and how it says no."""

from __future__ import annotations

import io
import json
import os
import subprocess
import sys
import threading
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pandas as pd
import pyarrow.ipc as ipc
import pytest
from fastapi.testclient import TestClient

from sweep.cad.build import STAGES
from sweep.cad.progress import Steps
from sweep.errors import BadInput
from sweep.location import replace_file
from sweep.locks import LOCK, identity
from sweep.progress import Snapshot
from sweep.service.cache import Cache
from sweep.service.desk import Desk, Kept, NotNow, NotThere
from sweep.service.names import without_paths
from sweep.service.processes import TOKEN, Processes, end, environment, read_record, write_record
from sweep.service.sheets import SideProcess
from sweep.service.shortlist import TRIES, Shortlists
from sweep.service.tables import as_json, rows_of
from tests.command_line import SHIPPED
from tests.problems import toy_study
from tests.service_calls import NoProcesses, client, copied, desk_over, toy_run

BUILT = {
    "design": "d0123456789", "holds": True, "versions": {}, "study_hash": "", "files": ["build.json", "coupon/coupon.md"],
    "proofs": [{"name": "mass", "holds": True}], "geometry": {"failures": []},
}  # fmt: skip
TEXT = {"content-type": "text/plain"}


@pytest.fixture(scope="module")
def toy(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A finished run; not to be changed."""
    return toy_run(tmp_path_factory.mktemp("results"))


@pytest.fixture(scope="module")
def reading(toy: Path) -> Iterator[TestClient]:
    """A service over that run, for what changes nothing."""
    with client(Desk(toy.parent)) as calls:
        yield calls


def started(tmp_path: Path) -> subprocess.Popen[bytes]:
    """A process that waits, in the place of a sweep."""
    return subprocess.Popen([sys.executable, "-c", "import time; time.sleep(60)"])


def front_of(run: Path) -> pd.DataFrame:
    return pd.read_parquet(run / "front.parquet")


# reading


def test_a_run_is_told(reading: TestClient, toy: Path) -> None:
    about = json.loads((toy / "run.json").read_text())
    listed = reading.get("/api/runs").json()["runs"]
    assert [run["name"] for run in listed] == ["toy"]
    run = reading.get("/api/runs/toy").json()
    assert run == listed[0]
    assert (run["state"], run["evaluations"], run["planned"], run["front_size"]) == ("finished", 300, 300, len(front_of(toy)))
    assert run["hypervolume"] == about["hypervolume"]
    assert 0 < run["feasible"] <= 300
    steps = reading.get("/api/runs/toy/progress").json()["steps"]
    assert steps[-1]["evaluations"] == 300
    assert reading.get("/api/runs/toy/study").text == (toy / "study.toml").read_text()


def test_the_front_is_the_same_in_every_format(reading: TestClient, toy: Path) -> None:
    stored = front_of(toy)
    told = reading.get("/api/runs/toy/front").json()
    tables = {
        "json": pd.DataFrame(told["designs"]),
        "csv": pd.read_csv(io.BytesIO(reading.get("/api/runs/toy/front.csv").content), keep_default_na=False),
        "parquet": pd.read_parquet(io.BytesIO(reading.get("/api/runs/toy/front.parquet").content)),
        "arrow": ipc.open_file(reading.get("/api/runs/toy/front.arrow").content).read_all().to_pandas(),
    }
    assert told["count"] == len(stored)
    assert told["columns"]["preload_N"]["unit"] == "N"
    for kind, table in tables.items():
        pd.testing.assert_frame_equal(table[stored.columns], stored, check_dtype=False, obj=kind)


def test_arrow_tells_units(reading: TestClient) -> None:
    schema = ipc.open_file(reading.get("/api/runs/toy/front.arrow").content).schema
    assert schema.field("mass_kg").metadata[b"unit"] == b"kg"
    assert schema.metadata[b"study"] == b"toy"


def test_some_of_the_front(reading: TestClient, toy: Path) -> None:
    stored = front_of(toy)
    half = float(stored["mass_kg"].median())
    asked = {"where": f"mass_kg < {half}", "sort": "slip_margin", "top": "3", "columns": "mass_kg,slip_margin"}
    designs = reading.get("/api/runs/toy/front", params=asked).json()["designs"]
    wanted = stored[stored["mass_kg"] < half].sort_values(["slip_margin", "design"], ascending=[False, True]).head(3)
    assert [entry["design"] for entry in designs] == wanted["design"].tolist()
    assert set(designs[0]) == {"design", "mass_kg", "slip_margin"}


@pytest.mark.parametrize(
    ("parameter", "value", "quantity"),
    [
        ("where", "__import__('os').getcwd()", "expression"),
        ("sort", "mas_kg", "mas_kg"),
        ("columns", "mass_kg,nope", "nope"),
        ("top", "0", "top"),
    ],
)
def test_what_is_asked_of_a_front_is_checked(reading: TestClient, parameter: str, value: str, quantity: str) -> None:
    answer = reading.get("/api/runs/toy/front", params={parameter: value})
    assert answer.status_code == 422
    assert answer.headers["content-type"] == "application/problem+json"
    assert quantity in [fault["quantity"] for fault in answer.json()["faults"]]


def test_missing_numbers_are_null() -> None:
    table = pd.DataFrame(
        {"design": ["a", "b"], "mass_kg": [1.5, np.nan], "slip_margin": [np.inf, 2.0], "feasible": [True, False]}
    )
    rows = json.loads(as_json(table, {}))["designs"]
    assert rows == [
        {"design": "a", "mass_kg": 1.5, "slip_margin": None, "feasible": True},
        {"design": "b", "mass_kg": None, "slip_margin": 2.0, "feasible": False},
    ]
    assert rows_of(pd.DataFrame()) == []


def test_a_design(reading: TestClient, toy: Path) -> None:
    stored = front_of(toy).iloc[4]
    told = reading.get(f"/api/runs/toy/designs/{stored['design']}").json()
    assert told["values"]["preload_N"] == stored["preload_N"]
    assert isinstance(told["values"]["feasible"], bool)
    assert list(told["columns"]) == list(stored.index)
    knee = reading.get("/api/runs/toy/designs/knee").json()
    assert knee["design"] in front_of(toy)["design"].tolist()
    for unknown in ("d0000000000", "baseline"):
        answer = reading.get(f"/api/runs/toy/designs/{unknown}")
        assert answer.status_code == 404
        assert unknown in answer.json()["detail"]


def test_a_design_that_left_the_front_is_found_among_what_the_search_kept(toy: Path, tmp_path: Path) -> None:
    place = copied(toy, tmp_path, "toy")
    from sweep.archive import RunFolder, to_parquet
    from sweep.location import LocalFolder

    folder = RunFolder(LocalFolder(place))
    front = front_of(place)
    folder.write_part(0, 99, to_parquet(front.head(1).assign(design="d0a0a0a0a0a"), {}))
    assert Desk(tmp_path).design("toy", "d0a0a0a0a0a")["mass_kg"] == front["mass_kg"].iloc[0]


def test_the_shipped_studies_are_told_and_sound(reading: TestClient) -> None:
    names = reading.get("/api/studies").json()["studies"]
    assert "balancing" in names
    text = reading.get("/api/studies/balancing").text
    assert text == SHIPPED.read_text(encoding="utf-8")
    assert reading.post("/api/studies/check", content=text, headers=TEXT).json() == {"sound": True, "faults": []}
    assert reading.get("/api/studies/nope").status_code == 404


# states


def write_lock(place: Path, holder: dict[str, object]) -> None:
    (place / LOCK).write_text(json.dumps(holder))


@pytest.mark.parametrize(
    ("about", "held", "state"),
    [
        ({"state": "done"}, False, "finished"),
        ({"state": "stopped"}, False, "stopped"),
        ({"state": "failed"}, False, "failed"),
        ({"state": "running"}, False, "stopped"),
        ({"state": "running", "epochs": 3}, True, "scoring the front again"),
        ({"state": "done", "epochs": 3}, True, "finished"),
        ({"state": "running"}, True, "searching"),
    ],
)
def test_states(toy: Path, tmp_path: Path, about: dict[str, object], held: bool, state: str) -> None:
    place = copied(toy, tmp_path, "toy", **about)
    if "epochs" not in about:
        told = json.loads((place / "run.json").read_text())
        told.pop("epochs")
        (place / "run.json").write_text(json.dumps(told))
    if held:
        write_lock(place, identity(os.getpid()))
    assert Desk(tmp_path).run("toy").state == state


def test_a_run_that_was_killed_says_how_to_go_on(toy: Path, tmp_path: Path) -> None:
    place = copied(toy, tmp_path, "toy", state="running")
    write_lock(place, {**identity(os.getpid()), "began": "another moment"})
    run = Desk(tmp_path).run("toy")
    assert (run.state, "resume" in run.message) == ("stopped", True)


def test_a_run_of_another_machine_is_taken_to_be_at_work(toy: Path, tmp_path: Path) -> None:
    place = copied(toy, tmp_path, "toy", state="running")
    write_lock(place, {"pid": 1, "host": "elsewhere", "began": ""})
    desk = Desk(tmp_path)
    assert desk.run("toy").at_work
    with pytest.raises(NotNow, match="elsewhere"):
        desk.stop("toy")


def test_a_run_with_no_word_yet_is_starting_then_failed_with_its_last_words(tmp_path: Path) -> None:
    desk, own = Desk(tmp_path), tmp_path / ".service" / "scout"
    with started(tmp_path) as process:
        write_record(own / "sweep.json", {"study": "scout study", "planned": 900, "started": "x", **identity(process.pid)})
        run = desk.run("scout")
        assert (run.state, run.study, run.planned, run.evaluations) == ("starting", "scout study", 900, 0)
        assert len(desk.front("scout")) == 0
        assert desk.progress("scout") == []
        process.kill()
    (own / "sweep.log").write_text(f"no space left in {tmp_path}/scout/front.parquet\nTo go on: free space\n")
    run = desk.run("scout")
    assert (run.state, run.message) == ("failed", "no space left in scout/front.parquet To go on: free space")


def test_rate_and_stage_come_from_what_the_sweep_says(toy: Path, tmp_path: Path) -> None:
    about = {key: value for key, value in json.loads((toy / "run.json").read_text()).items() if key != "epochs"}
    place = copied(toy, tmp_path, "toy")
    (place / "run.json").write_text(json.dumps({**about, "state": "running", "evaluations": 1300}))
    own = tmp_path / ".service" / "toy"
    write_record(own / "sweep.json", {"study": "toy", **identity(os.getpid())})
    said = Snapshot("searching", 310, 1300, 250.0, 0.31, 0.4, 87).line()
    (own / "sweep.log").write_text(f"a note\n{said}\n")
    run = Desk(tmp_path).run("toy")
    assert (run.stage, run.rate_per_s, run.seconds_left) == ("searching", 250.0, 4.0)
    (place / "run.json").write_text(json.dumps({**about, "state": "running", "evaluations": 1300, "epochs": 3}))
    assert Desk(tmp_path).run("toy").stage == "scoring the front again"  # the log says so only later
    (own / "sweep.log").write_text(Snapshot("scoring over samples", 10, 30, 4.0, 0.31, 0.4, 87).line())
    run = Desk(tmp_path).run("toy")
    assert (run.state, run.stage) == ("scoring the front again", "scoring over samples")
    assert (run.rate_per_s, run.seconds_left) == (None, 5.0)


@pytest.mark.parametrize(
    ("file", "address"),
    [("run.json", ""), ("front.parquet", "/front"), ("front.parquet", "/designs/knee")],
)
def test_damaged_files_are_no_failure_of_the_server(toy: Path, tmp_path: Path, file: str, address: str) -> None:
    place = copied(toy, tmp_path, "toy")
    (place / file).write_bytes(b"\x00 cut")
    with client(Desk(tmp_path)) as calls:
        answer = calls.get(f"/api/runs/toy{address}")
        assert answer.status_code == (409 if address else 200)
        assert "damaged" in answer.text
        assert str(tmp_path) not in answer.text
        assert calls.get("/api/runs").json()["runs"][0]["name"] == "toy"


def test_versions_change_with_front_state_and_shortlist(toy: Path, tmp_path: Path) -> None:
    place, desk = copied(toy, tmp_path, "toy"), Desk(tmp_path)
    seen = [desk.version("toy"), desk.version("toy")]
    assert seen[0] == seen[1]
    for change in (
        lambda: replace_file(place / "front.parquet", (place / "front.parquet").read_bytes()),
        lambda: write_lock(place, identity(os.getpid())),
        lambda: desk.set_shortlist("toy", [Kept("d1", "")]),
    ):
        change()
        seen.append(desk.version("toy"))
    assert len(set(seen)) == 4


def test_a_changed_front_is_read_anew(toy: Path, tmp_path: Path) -> None:
    place, desk = copied(toy, tmp_path, "toy"), Desk(tmp_path)
    count = len(desk.front("toy"))
    assert desk.front("toy") is desk.front("toy")
    front_of(place).head(5).to_parquet(tmp_path / "new.parquet")
    os.replace(tmp_path / "new.parquet", place / "front.parquet")
    assert (count > 5, len(desk.front("toy"))) == (True, 5)


def test_runs_are_listed_newest_first(toy: Path, tmp_path: Path) -> None:
    for name, day in (("a", 3), ("b", 5), ("c", 4)):
        copied(toy, tmp_path, name, started=f"2026-01-0{day}T00:00:00+00:00")
    assert [run.name for run in Desk(tmp_path).runs()] == ["b", "c", "a"]


# names


TRAVERSALS = [
    "..", ".", "..%2f..%2fsecret", "%2e%2e/secret", "..%5csecret", "....//secret", ".service", "toy/../../secret",
    "/etc/passwd", "toy%00", "a" * 200, "%0a", "toy%0a", "~root", "C:%5cWindows",
]  # fmt: skip


@pytest.mark.parametrize("name", TRAVERSALS)
def test_names_do_not_leave_the_results_folder(toy: Path, tmp_path: Path, name: str) -> None:
    results = tmp_path / "results"
    copied(toy, results, "toy")
    copied(toy, tmp_path, "secret", study="a secret study")
    with client(Desk(results)) as calls:
        for address in (
            f"/api/runs/{name}", f"/api/runs/{name}/study", f"/api/runs/{name}/front.csv", f"/api/runs/toy/designs/{name}",
            f"/api/runs/toy/designs/d0123456789/build/files/{name}", f"/api/studies/{name}",
        ):  # fmt: skip
            answer = calls.get(address)
            # an address with dots may have become another one of this server, on its way
            assert answer.status_code in (404, 405, 422) or answer.url.path in ("/api/runs", "/api/runs/toy", "/api/studies")
            assert "secret study" not in answer.text
            assert str(tmp_path) not in answer.text
        for address in (f"/api/runs/{name}/stop", f"/api/runs/{name}/resume"):
            assert calls.post(address).status_code in (404, 405, 422)


def test_a_link_out_of_the_results_folder_is_no_run(toy: Path, tmp_path: Path) -> None:
    results = tmp_path / "results"
    results.mkdir()
    outside = copied(toy, tmp_path, "outside")
    (results / "inside").symlink_to(outside, target_is_directory=True)
    desk = Desk(results)
    assert desk.runs() == []
    with pytest.raises(NotThere):
        desk.run("inside")


def test_places_are_left_out_of_messages() -> None:
    text = "cannot read /srv/runs/a/front.parquet or /usr/lib/python3/site.py: 3 m/s, 1/min, see https://example.org/a/b"
    assert without_paths(text, Path("/srv/runs")) == (
        "cannot read a/front.parquet or site.py: 3 m/s, 1/min, see https://example.org/a/b"
    )


# submitting


@pytest.fixture
def nothing_starts(monkeypatch: pytest.MonkeyPatch) -> NoProcesses:
    return NoProcesses(monkeypatch)


def test_a_study_is_submitted_as_text_or_json(tmp_path: Path, nothing_starts: NoProcesses) -> None:
    text = toy_study("my robot").text
    with client(Desk(tmp_path)) as calls:
        first = calls.post("/api/runs?seed=5", content=text, headers=TEXT)
        asked = {"study": text, "name": "second", "evaluations": 400, "workers": 1}
        second = calls.post("/api/runs", json=asked)
        third = calls.post("/api/runs", content=text, headers={"content-type": "application/toml"})
    assert [answer.status_code for answer in (first, second, third)] == [201, 201, 201]
    assert first.headers["location"] == "/api/runs/my-robot"
    assert (first.json()["study"], first.json()["planned"]) == ("my robot", 2000)
    assert (second.json()["name"], second.json()["planned"], third.json()["name"]) == ("second", 400, "my-robot-2")
    start = ["sweep", ".service/my-robot/study.toml", "--out", "my-robot", "--seed", "5"]
    assert nothing_starts.started[0] == start
    assert nothing_starts.started[1][3:] == ["second", "--evaluations", "400", "--workers", "1"]
    assert (tmp_path / ".service/my-robot/study.toml").read_text() == text


@pytest.mark.parametrize(
    ("change", "quantity"),
    [
        (("mass_kg = 9.0", "mass_kg = -9.0"), "mass_kg"),
        (("evaluations = 2000", "evaluations = 2000000"), "evaluations"),
        (("evaluations = 2000", "hours = 100"), "hours"),
        (("islands = 2", "islands = 200"), "islands"),
        (("front_phases = 8", "front_phases = 4000"), "front_phases"),
        (("mass_kg = 9.0", "mass_kg = \x00"), "study"),
        (("[search]", "[search"), "study"),
    ],
)
def test_a_bad_study_is_told_by_name(
    tmp_path: Path, nothing_starts: NoProcesses, change: tuple[str, str], quantity: str
) -> None:
    text = toy_study().text.replace(*change)
    with client(Desk(tmp_path)) as calls:
        answer = calls.post("/api/runs", content=text, headers=TEXT)
        checked = calls.post("/api/studies/check", content=text, headers=TEXT).json()
    assert answer.status_code == 422
    faults = answer.json()["faults"]
    assert quantity in [fault["quantity"] for fault in faults]
    assert all(set(fault) == {"quantity", "rule", "value", "where", "remedy"} for fault in faults)
    assert checked == {"sound": False, "faults": faults}
    assert nothing_starts.started == []
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize(
    ("content", "kind", "status"),
    [
        (b"<study/>", "application/xml", 415),
        (b"{", "application/json", 422),
        (b"[" * 100_000, "application/json", 422),
        (b'{"study": 5}', "application/json", 422),
        (b'{"study": "a", "shell": "b"}', "application/json", 422),
        (b'{"study": "\\ud800"}', "application/json", 422),
        (b'{"study": "a = 1", "name": "../up"}', "application/json", 422),
        (b"\xff\xfe", "text/plain", 422),
        (b"", "text/plain", 422),
        (b"a = 1" * 300_000, "text/plain", 413),
    ],
)
def test_bodies_that_cannot_be_read(
    tmp_path: Path, nothing_starts: NoProcesses, content: bytes, kind: str, status: int
) -> None:
    with client(Desk(tmp_path)) as calls:
        for address in ("/api/runs", "/api/studies/check"):
            answer = calls.post(address, content=content, headers={"content-type": kind})
            if answer.status_code == 200:  # it was read, and what was found is told
                assert (address, answer.json()["sound"]) == ("/api/studies/check", False)
                continue
            assert answer.status_code == status
            assert answer.headers["content-type"] == "application/problem+json"
    assert nothing_starts.started == []


def test_a_study_is_data_only(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """No key of a study opens a file: paths in it are words like any other."""
    text = SHIPPED.read_text(encoding="utf-8")
    for key, value in (("name", "/etc/passwd"), ("floor", "file:///etc/passwd"), ("material", "../../secret")):
        text = "\n".join(f'{key} = "{value}"' if line.startswith(f"{key} = ") else line for line in text.splitlines())
    desk = Desk(tmp_path)
    desk.faults_of(SHIPPED.read_text(encoding="utf-8"))  # whatever is read once is read
    opened: list[object] = []
    monkeypatch.setattr("builtins.open", lambda *given, **_: opened.append(given))
    monkeypatch.setattr(Path, "open", lambda *given, **_: opened.append(given))
    monkeypatch.setattr(os, "open", lambda *given, **_: opened.append(given))
    faults = desk.faults_of(text)
    monkeypatch.undo()
    assert opened == []
    assert {fault.quantity for fault in faults} >= {"floor", "material"}


def test_a_large_study_is_not_even_read(tmp_path: Path) -> None:
    text = toy_study().text + "".join(f"[materials.m{number}]\nrole = 'tyre'\n" for number in range(3000))
    (fault,) = Desk(tmp_path).faults_of(text)
    assert str(fault).startswith("study must have at most 65536 bytes on this server, got ")


def test_only_so_many_studies_are_read_at_once(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("sweep.service.sweeps.PATIENCE", 0.01)
    desk = desk_over(tmp_path, readings=1)
    assert desk.faults_of(toy_study().text) == []
    desk._sweeps._readings.acquire()
    with pytest.raises(NotNow, match="try again"):
        desk.faults_of(toy_study().text)


def test_so_many_sweeps_at_once(tmp_path: Path) -> None:
    with started(tmp_path) as process:
        write_record(tmp_path / ".service/busy/sweep.json", {"study": "busy", **identity(process.pid)})
        desk = desk_over(tmp_path, sweeps=1)
        with pytest.raises(NotNow, match=r"as many as this server allows; wait for busy, or stop one"):
            desk.submit(toy_study().text)
        process.kill()


def test_a_name_is_given_once(toy: Path, tmp_path: Path, nothing_starts: NoProcesses) -> None:
    copied(toy, tmp_path, "toy")
    (tmp_path / "mine").mkdir()
    (tmp_path / "mine" / "letter.txt").write_text("not a run")
    desk = Desk(tmp_path)
    for name in ("toy", "mine"):
        with pytest.raises(NotNow, match="already"):
            desk.submit(toy_study().text, name=name)
    assert desk.submit(toy_study("mine").text) == "mine-2"
    with pytest.raises(BadInput):
        desk.submit(toy_study().text, name=".service")


def test_resuming_goes_on_as_the_run_began(toy: Path, tmp_path: Path, nothing_starts: NoProcesses) -> None:
    copied(toy, tmp_path, "done")
    copied(toy, tmp_path, "half", state="stopped", evaluations=900)
    desk = Desk(tmp_path)
    write_record(tmp_path / ".service/half/sweep.json", {"study": "toy", "workers": 2, "seed": 8, "pid": 0})
    with pytest.raises(NotNow, match="finished"):
        desk.resume("done")
    with pytest.raises(BadInput, match="must be 900, as the run began, got 950"):
        desk.resume("half", evaluations=950)
    desk.resume("half", evaluations=900)
    assert nothing_starts.started == [["sweep", "half/study.toml", "--out", "half", "--workers", "2", "--resume"]]
    with pytest.raises(NotNow, match="is not at work"):
        desk.stop("half")


def test_a_run_that_wrote_nothing_begins_anew(tmp_path: Path, nothing_starts: NoProcesses) -> None:
    desk = Desk(tmp_path)
    desk.submit(toy_study().text, name="scout", seed=4)
    assert desk.run("scout").state == "failed"
    desk.resume("scout")
    assert nothing_starts.started[0] == nothing_starts.started[1]


# processes


def test_a_process_is_known_by_number_and_start_never_by_number_alone(toy: Path, tmp_path: Path) -> None:
    copied(toy, tmp_path, "toy", state="running")
    record = tmp_path / ".service/toy/sweep.json"
    desk = Desk(tmp_path)
    with started(tmp_path) as process:
        write_record(record, {"study": "toy", **identity(process.pid), "began": "1"})
        assert not desk.run("toy").at_work
        with pytest.raises(NotNow):
            desk.stop("toy")
        end({**identity(process.pid), "began": "1"})
        assert process.poll() is None
        write_record(record, {"study": "toy", "started": "x", **identity(process.pid)})
        assert desk.run("toy").at_work
        desk.stop("toy")
        assert process.wait(10) == -15
    assert read_record(record)["stopping"]
    assert desk.run("toy").state == "stopped"


def test_a_child_that_ended_is_not_at_work_before_anybody_asked_for_its_status() -> None:
    from sweep.locks import alive

    child = subprocess.Popen([sys.executable, "-c", ""], stdout=subprocess.PIPE)
    known = identity(child.pid)
    assert child.stdout is not None
    child.stdout.read()
    os.waitid(os.P_PID, child.pid, os.WEXITED | os.WNOWAIT)
    assert not alive(known)
    child.wait()
    child.stdout.close()


def test_a_process_does_not_know_the_token(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv(TOKEN, "an invented secret")
    assert "an invented secret" not in environment().values()
    assert set(os.environ) - {TOKEN} <= set(environment())


def test_a_process_of_its_own_says_what_it_does(tmp_path: Path) -> None:
    processes = Processes()
    (tmp_path / "numpy.py").write_text("raise SystemExit('a file of the results folder was taken for a library')")
    processes.start(["sweep", "nothing.toml"], tmp_path, tmp_path / "own/log", tmp_path / "own/record.json", {"study": "x"})
    record = read_record(tmp_path / "own/record.json")
    (child,) = processes._children
    assert (child.wait(60), record["pid"], os.getpgid(0) != record["pid"]) == (2, child.pid, True)
    assert "study must be a file that exists (nothing.toml)" in (tmp_path / "own/log").read_text()
    processes.reap()
    assert processes._children == []


# builds


def built(run: Path, **about: object) -> Path:
    place = run / "builds" / "d0123456789"
    (place / "coupon").mkdir(parents=True)
    (place / "coupon/coupon.md").write_text("# Coupon")
    (place / "unlisted.txt").write_text("not part of it")
    (place / "build.json").write_text(json.dumps({**BUILT, **about}))
    return place


def test_a_build_is_told_and_handed_out(toy: Path, tmp_path: Path) -> None:
    import zipfile

    built(copied(toy, tmp_path, "toy"))
    address = "/api/runs/toy/designs/d0123456789/build"
    with client(Desk(tmp_path)) as calls:
        assert calls.get(address).json() == {
            "design": "d0123456789", "state": "done", "share": 1.0, "message": "", "proof_holds": True, "files": BUILT["files"],
        }  # fmt: skip
        assert calls.get(f"{address}/files/coupon/coupon.md").text == "# Coupon"
        for other in ("unlisted.txt", "coupon/../unlisted.txt", "%2e%2e/%2e%2e/run.json", "/etc/passwd", "coupon"):
            assert calls.get(f"{address}/files/{other}").status_code == 404
        content = calls.get(f"{address}.zip").content
    with zipfile.ZipFile(io.BytesIO(content)) as archive:
        assert archive.namelist() == ["d0123456789/build.json", "d0123456789/coupon/coupon.md"]
        assert archive.read("d0123456789/coupon/coupon.md") == b"# Coupon"


def test_an_archive_is_made_anew_after_a_new_build(toy: Path, tmp_path: Path) -> None:
    place, desk = built(copied(toy, tmp_path, "toy")), Desk(tmp_path)
    archive = desk.build_zip("toy", "d0123456789")
    made = archive.stat().st_mtime_ns
    assert desk.build_zip("toy", "d0123456789").stat().st_mtime_ns == made
    os.utime(place / "build.json", ns=(made + 10, made + 10))
    assert desk.build_zip("toy", "d0123456789").stat().st_mtime_ns > made


def test_a_proof_that_does_not_hold_is_told(toy: Path, tmp_path: Path) -> None:
    built(
        copied(toy, tmp_path, "toy"), holds=False, proofs=[{"name": "mass", "holds": False}], geometry={"failures": ["it cuts"]}
    )
    build = Desk(tmp_path).build("toy", "d0123456789")
    assert (build.state, build.proof_holds) == ("done", False)
    assert build.message.endswith("mass; it cuts")


def test_a_build_is_followed_and_its_failure_told(toy: Path, tmp_path: Path) -> None:
    copied(toy, tmp_path, "toy")
    design = str(front_of(tmp_path / "toy")["design"].iloc[0])
    own, desk = tmp_path / ".service/toy/builds", Desk(tmp_path)
    assert desk.build("toy", design).state == "none"
    with started(tmp_path) as process:
        write_record(own / f"{design}.json", {"design": design, **identity(process.pid)})
        said: list[str] = []
        tell = Steps(said.append)
        for stage in STAGES[:4]:
            tell(stage)
        (own / f"{design}.log").write_text("\n".join(["At work.", *said]))
        build = desk.build("toy", design)
        assert (build.state, build.share, build.message) == ("building", 3 / len(STAGES), STAGES[3])
        for name in (design, str(front_of(tmp_path / "toy")["design"].iloc[1])):
            with pytest.raises(NotNow):
                desk.start_build("toy", name)
        process.kill()
    (own / f"{design}.log").write_text(f"4 of 9, after 7 s: masses\n{tmp_path}/toy could not be written: no space\n")
    build = desk.build("toy", design)
    assert (build.state, build.message) == ("failed", "toy could not be written: no space")


def test_a_design_is_built_once(toy: Path, tmp_path: Path, nothing_starts: NoProcesses) -> None:
    from sweep.archive import versions

    place = copied(toy, tmp_path, "toy")
    desk, design = Desk(tmp_path), str(front_of(place)["design"].iloc[0])
    desk.start_build("toy", design)
    assert nothing_starts.started == [["build", "toy", design]]
    about = {**BUILT, "design": design, "versions": dict(versions()), "study_hash": desk.study("toy").hash}
    (place / "builds" / design).mkdir(parents=True)
    (place / "builds" / design / "build.json").write_text(json.dumps(about))
    desk.start_build("toy", design)
    assert len(nothing_starts.started) == 1
    with pytest.raises(NotThere):
        desk.start_build("toy", "d9999999999")


# the shortlist


def test_a_shortlist_is_kept(toy: Path, tmp_path: Path) -> None:
    copied(toy, tmp_path, "toy")
    entries = [{"design": "d0123456789", "note": "light, façade"}, {"design": "knee", "note": ""}]
    with client(Desk(tmp_path)) as calls:
        assert calls.get("/api/runs/toy/shortlist").json() == {"designs": []}
        assert calls.put("/api/runs/toy/shortlist", json={"designs": entries}).json() == {"designs": entries}
    assert Desk(tmp_path).shortlist("toy") == [Kept(**entry) for entry in entries]


@pytest.mark.parametrize(
    "designs",
    [
        [{"design": f"d{number}", "note": ""} for number in range(7)],
        [{"design": "d1", "note": ""}, {"design": "d1", "note": "again"}],
        [{"design": "../up", "note": ""}],
        [{"design": "d1", "note": "x" * 501}],
        [{"design": "d1", "note": "\ud800"}],
        [{"design": "d1", "note": "", "more": 1}],
        "d1",
    ],
)
def test_a_shortlist_is_checked(toy: Path, tmp_path: Path, designs: object) -> None:
    copied(toy, tmp_path, "toy")
    with client(Desk(tmp_path)) as calls:
        content = json.dumps({"designs": designs})
        answer = calls.put("/api/runs/toy/shortlist", content=content, headers={"content-type": "application/json"})
        assert answer.status_code == 422
        assert answer.json()["faults"]
        assert calls.get("/api/runs/toy/shortlist").json() == {"designs": []}


def test_a_shortlist_is_written_again_where_a_sweep_swept_its_file_up(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    left = [FileNotFoundError()] * (TRIES - 1)

    def swept_up(target: Path, content: bytes) -> None:
        if left:
            raise left.pop()
        replace_file(target, content)

    monkeypatch.setattr("sweep.service.shortlist.replace_file", swept_up)
    lists = Shortlists(Desk(tmp_path).limits)
    lists.write(tmp_path, [Kept("d1", "")])
    assert lists.read(tmp_path) == [Kept("d1", "")]
    (tmp_path / "shortlist.json").write_text("[{]")
    assert lists.read(tmp_path) == []


# sheets


def test_sheets_are_kept_until_their_design_changes(toy: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    place, asked = copied(toy, tmp_path, "toy"), []

    def ask(_: SideProcess, request: dict[str, str]) -> dict[str, str]:
        asked.append((request["task"], request["design"]))
        return {"content": "c2hlZXQ="}

    monkeypatch.setattr(SideProcess, "ask", ask)
    front = front_of(place)
    name = str(front["design"].iloc[0])
    with client(Desk(tmp_path)) as calls:
        for kind in ("html", "html", "pdf"):
            answer = calls.get(f"/api/runs/toy/designs/{name}/sheet.{kind}")
            assert answer.content == b"sheet"
        assert "sandbox" in calls.get(f"/api/runs/toy/designs/{name}/sheet.html").headers["content-security-policy"]
        assert asked == [("html", name), ("pdf", name)]
        front.head(9).to_parquet(place / "front.parquet")
        calls.get(f"/api/runs/toy/designs/{name}/sheet.html")
        assert len(asked) == 2
        front.assign(mass_kg=9.0).to_parquet(place / "front.parquet")
        calls.get(f"/api/runs/toy/designs/{name}/sheet.html")
        assert len(asked) == 3


def test_only_so_many_wait_for_sheets(toy: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    at_it, go_on = threading.Event(), threading.Event()

    def ask(_: SideProcess, request: dict[str, str]) -> dict[str, str]:
        at_it.set()
        go_on.wait(20)
        return {"content": "YQ=="}

    monkeypatch.setattr(SideProcess, "ask", ask)
    desk = desk_over(toy.parent, sheets=1)
    first = threading.Thread(target=desk.sheet, args=("toy", "knee", "html"))
    first.start()
    at_it.wait(20)
    for kind in ("pdf", "html"):  # another one, and the same
        with pytest.raises(NotNow, match="try again"):
            desk.sheet("toy", "knee", kind)
    go_on.set()
    first.join()
    assert desk.sheet("toy", "knee", "pdf") == b"a"
    desk._sheets._places.acquire()
    assert desk.sheet("toy", "knee", "html") == b"a"  # what is kept is given at once


def test_what_works_out_sheets_answers_starts_anew_and_ends_with_the_server(tmp_path: Path) -> None:
    side = SideProcess(tmp_path, 60)
    request = {"task": "html", "run": "scout", "design": "knee"}
    answer = side.ask(request)
    assert answer["faults"][0]["quantity"] == "RUN"
    assert str(tmp_path) not in str(answer)
    first = side._process
    assert first is not None
    first.kill()
    first.wait()
    assert side.ask(request) == answer
    second = side._process
    assert second is not None
    assert second.pid != first.pid
    assert second.stdin is not None
    second.stdin.close()  # as the server's end would
    assert second.wait(30) == 0
    side.close()


# what is kept


def test_a_value_is_made_once_and_the_oldest_goes() -> None:
    cache, made = Cache[int](2), []

    def make(value: int) -> int:
        made.append(value)
        return value

    for key, stamp in (("a", 1), ("a", 1), ("b", 1), ("c", 1), ("a", 1)):
        assert cache.get(key, stamp, lambda: make(7)) == 7
    assert len(made) == 4
    with pytest.raises(ZeroDivisionError):
        cache.get("a", 2, lambda: 1 // 0)
    assert cache.get("a", 2, lambda: 3) == 3

