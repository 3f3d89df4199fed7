"""The service: studies that are submitted, and the processes that sweep them."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

from sweep.errors import BadInput
from sweep.locks import identity
from sweep.service.desk import Desk, NotNow
from sweep.service.processes import TOKEN, Processes, end, environment, read_record, write_record
from tests.command_line import SHIPPED
from tests.problems import toy_study
from tests.service_calls import NoProcesses, client, copied, desk_over, waiting_process

TEXT = {"content-type": "text/plain"}


# submitting


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
    with waiting_process() as process:
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
    with waiting_process() as process:
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
