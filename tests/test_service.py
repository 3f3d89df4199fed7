"""The service: what it tells of runs, fronts and designs, and how it says no."""

from __future__ import annotations

import io
import json
import os
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pandas as pd
import pyarrow.ipc as ipc
import pytest
from fastapi.testclient import TestClient

from sweep.location import replace_file
from sweep.locks import LOCK, identity
from sweep.progress import Snapshot
from sweep.service.desk import Desk, Kept, NotNow, NotThere
from sweep.service.names import without_paths
from sweep.service.processes import write_record
from sweep.service.tables import as_json, rows_of
from tests.command_line import SHIPPED
from tests.service_calls import client, copied, front_of, waiting_process

TEXT = {"content-type": "text/plain"}


@pytest.fixture(scope="module")
def reading(toy: Path) -> Iterator[TestClient]:
    """A service over that run, for what changes nothing."""
    with client(Desk(toy.parent)) as calls:
        yield calls


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
    with waiting_process() as process:
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
