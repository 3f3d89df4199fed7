"""A study over HTTP with a real server, real sweeps and real kills, from submission to a front in four formats."""

from __future__ import annotations

import io
import json
import os
import signal
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import httpx
import pandas as pd
import pyarrow.ipc as ipc
import pytest

from sweep.locks import alive, identity
from sweep.service.processes import read_record, write_record
from tests.bench.service_load import load, report
from tests.command_line import small_study
from tests.service_calls import TOKEN, copied, toy_run
from tests.service_process import Server, no_sweep_left, until

pytestmark = pytest.mark.alone

EVALUATIONS = 2600


def events(calls: httpx.Client, run: str) -> Iterator[tuple[str, dict[str, Any]]]:
    """Kind and run of each event, until the stream ends."""
    kind = ""
    with calls.stream("GET", f"/api/runs/{run}/events", timeout=300) as answer:
        assert answer.headers["content-type"].startswith("text/event-stream")
        for line in answer.iter_lines():
            name, _, value = line.partition(": ")
            if name == "event":
                kind = value
            elif name == "data":
                yield kind, json.loads(value)["run"]


@pytest.mark.slow
def test_a_sweep_outlives_its_servers(tmp_path: Path) -> None:
    results, text = tmp_path / "results", small_study(tmp_path, evaluations=EVALUATIONS).read_text(encoding="utf-8")
    record = results / ".service/scout/sweep.json"
    with no_sweep_left(results):
        first = Server(results)
        try:
            with first.calls() as calls:
                answer = calls.post("/api/runs?name=scout", content=text, headers={"content-type": "application/toml"})
                assert (answer.status_code, answer.json()["state"]) == (201, "starting")
                for _, run in events(calls, "scout"):
                    assert run["state"] in ("starting", "searching")
                    if run["state"] == "searching":
                        break
            # a fast machine would finish the search before the next server listens
            sweep = read_record(record)
            os.kill(int(sweep["pid"]), signal.SIGSTOP)
        finally:
            assert first.end(signal.SIGKILL) == -signal.SIGKILL
        assert alive(sweep)

        second = Server(results)
        try:
            with second.calls() as calls:
                assert calls.get("/api/runs").json()["runs"][0]["state"] == "searching"
                assert (
                    calls.post("/api/runs?name=scout", content=text, headers={"content-type": "text/plain"}).status_code == 409
                )
                assert calls.post("/api/runs/scout/resume").status_code == 409
                assert calls.post("/api/runs/scout/stop").json()["message"] == "stopping"
                os.kill(int(sweep["pid"]), signal.SIGCONT)
                until(lambda: calls.get("/api/runs/scout").json()["state"] == "stopped")
                assert not alive(sweep)
                stopped = calls.get("/api/runs/scout").json()
                assert (stopped["evaluations"] < EVALUATIONS, stopped["message"]) == (True, "")
                assert calls.post("/api/runs/scout/stop").status_code == 409
                assert calls.post("/api/runs/scout/resume").status_code == 202
        finally:
            assert second.end(signal.SIGTERM) == 0
        resumed = read_record(record)
        assert (alive(resumed), resumed["pid"] == sweep["pid"]) == (True, False)

        third = Server(results)
        try:
            with third.calls() as calls:
                *_, before, (kind, run) = events(calls, "scout")
                assert (before[0], kind, run["state"], run["evaluations"]) == ("run", "end", "finished", EVALUATIONS)
                assert_fronts_agree(calls, results / "scout", run["front_size"])
                knee = calls.get("/api/runs/scout/designs/knee").json()["design"]
                sheet = calls.get("/api/runs/scout/designs/knee/sheet.html").text
                assert (f"Design {knee}" in sheet, str(tmp_path) in sheet) == (True, False)
                matter = calls.get("/api/runs/scout/designs/knee/matter").json()
                assert (matter["design"], 0 < len(matter["measure"]) <= 3) == (knee, True)
                assert all(entry["how"] for entry in matter["measure"])
        finally:
            assert third.end() == 0


def assert_fronts_agree(calls: httpx.Client, run: Path, count: int) -> None:
    stored = pd.read_parquet(run / "front.parquet")
    got = {kind: calls.get(f"/api/runs/scout/front{kind}").content for kind in ("", ".csv", ".parquet", ".arrow")}
    tables = (
        pd.DataFrame(json.loads(got[""])["designs"]),
        pd.read_csv(io.BytesIO(got[".csv"]), keep_default_na=False, na_values={"mass_kg": ""}),
        pd.read_parquet(io.BytesIO(got[".parquet"])),
        ipc.open_file(got[".arrow"]).read_all().to_pandas(),
    )
    numbers = ["mass_kg", "slip_margin", "torque_capacity_Nm", "output_roller_count"]
    for table in tables:
        assert len(table) == len(stored) == count
        assert table["design"].tolist() == stored["design"].tolist()
        pd.testing.assert_frame_equal(table[numbers], stored[numbers], check_dtype=False)


def test_a_server_for_others_asks_for_its_token(tmp_path: Path) -> None:
    server = Server(tmp_path, "--host", "127.0.0.2", "--token", TOKEN)
    try:
        with server.calls() as calls:
            assert calls.get("/api/health").status_code == 200
            assert calls.get("/api/runs").status_code == 401
            assert calls.get("/api/runs", headers={"authorization": f"Bearer {TOKEN}"}).json() == {"runs": []}
    finally:
        assert server.end() == 0


def test_a_server_ends_with_streams_open(tmp_path: Path) -> None:
    write_record(tmp_path / ".service/a/sweep.json", {"study": "a", **identity(os.getpid())})  # as if this were a sweep
    server = Server(tmp_path)
    with server.calls() as calls, calls.stream("GET", "/api/runs/a/events") as answer:
        lines = answer.iter_lines()
        assert next(lines) == "event: run"
        os.kill(server.process.pid, signal.SIGTERM)
        assert "event: end" not in list(lines)
    assert server.process.stderr is not None
    assert server.process.stderr.read() == ""
    assert server.end() == 0


def test_many_clients_at_once(tmp_path: Path) -> None:
    """A short load; ``python -m tests.bench.service_load`` is the long one."""
    toy = toy_run(tmp_path)
    copied(toy, tmp_path, "half", state="stopped")
    found = load(tmp_path, clients=20, seconds=4.0)
    told = report(found)
    assert found.errors == [], told
    assert found.count > 100, told
    assert found.megabytes[-1] - found.megabytes[0] < 60, told
