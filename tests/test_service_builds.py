"""The service: builds, the shortlist, sheets, and what it keeps of them."""

from __future__ import annotations

import io
import json
import os
import threading
from pathlib import Path

import pytest

from sweep.cad.build import STAGES
from sweep.cad.progress import Steps
from sweep.location import replace_file
from sweep.locks import identity
from sweep.service.cache import Cache
from sweep.service.desk import Desk, Kept, NotNow, NotThere
from sweep.service.processes import write_record
from sweep.service.sheets import SideProcess
from sweep.service.shortlist import TRIES, Shortlists
from tests.service_calls import BUILT, NoProcesses, built, client, copied, desk_over, front_of, waiting_process

# builds


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
    with waiting_process() as process:
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
