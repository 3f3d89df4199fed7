"""What every archive location must do. A new kind of location is one line in LOCATIONS."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import textwrap
from collections.abc import Callable
from pathlib import Path

import pytest

from sweep import locks
from sweep.errors import BadInput
from sweep.location import LocalFolder, Location
from sweep.object_store import ObjectStore

#: how a run's place is written, from a folder of the test and a bucket's URIs
LOCATIONS: dict[str, Callable[[Path, Callable[[str], Callable[[str], str]]], str]] = {
    "local": lambda folder, _: str(folder / "run"),
    "file": lambda folder, _: (folder / "a run").as_uri(),
    "s3": lambda _, bucket: bucket("bucket")("a%20place/run/"),
}


@pytest.fixture(params=LOCATIONS)
def place(request: pytest.FixtureRequest, tmp_path: Path) -> str:
    return LOCATIONS[request.param](tmp_path, request.getfixturevalue)


@pytest.fixture
def location(place: str) -> Location:
    return Location.at(place)


def interrupt(*_: object) -> None:
    raise KeyboardInterrupt


def break_off(location: Location, monkeypatch: pytest.MonkeyPatch) -> None:
    """From here on no write gets as far as its last step, which puts the new content into its place."""
    if isinstance(location, LocalFolder):
        monkeypatch.setattr(os, "replace", interrupt)
    else:
        assert isinstance(location, ObjectStore)
        monkeypatch.setattr(location, "_filesystem", Breaking(location._filesystem, "copy_file"))


class Breaking:
    """A file system of which one method is interrupted before it begins."""

    def __init__(self, filesystem: object, broken: str) -> None:
        self._filesystem, self._broken = filesystem, broken

    def __getattr__(self, name: str) -> object:
        return interrupt if name == self._broken else getattr(self._filesystem, name)


def test_what_is_written_is_read(location: Location) -> None:
    assert location.names() == []
    assert not location.exists("a")
    location.write("a", b"one")
    location.write("deep/er/b.gz", b"")
    assert location.read("a") == b"one"
    assert location.read("deep/er/b.gz") == b""
    assert location.exists("deep/er/b.gz")
    assert not location.exists("deep")
    assert location.names() == ["a", "deep/er/b.gz"]
    assert location.names("deep") == ["deep/er/b.gz"]
    assert location.names("nothing") == []


def test_what_it_is_called_leads_to_it_again(location: Location) -> None:
    location.write("a", b"one")
    assert Location.at(str(location)).read("a") == b"one"
    assert location.place_of("a").endswith("run/a")


def test_a_write_replaces_the_whole(location: Location) -> None:
    location.write("a", b"a long first content")
    location.write("a", b"short")
    assert location.read("a") == b"short"
    assert location.names() == ["a"]


def test_append_adds_lines(location: Location) -> None:
    location.write("other", b"")
    location.append("a", b"1\n")
    location.append("a", b"2\n")
    assert location.read("a") == b"1\n2\n"


def test_what_is_removed_is_gone(location: Location) -> None:
    location.write("deep/a", b"")
    location.remove("deep/a")
    location.remove("deep/a")
    assert location.names() == []


def test_a_missing_blob_is_told(location: Location) -> None:
    with pytest.raises(FileNotFoundError):
        location.read("nothing")


def test_an_interrupt_before_the_last_step_leaves_the_old(location: Location, monkeypatch: pytest.MonkeyPatch) -> None:
    location.write("deep/front", b"old")
    with monkeypatch.context() as patch:
        break_off(location, patch)
        with pytest.raises(KeyboardInterrupt):
            location.write("deep/front", b"new")
        assert location.read("deep/front") == b"old"
        assert location.names() == ["deep/front"]
    location.sweep_up()
    location.write("deep/front", b"new")
    assert location.read("deep/front") == b"new"


KILLED = textwrap.dedent("""
    import os, signal, sys, threading, time
    from sweep.location import Location
    location = Location.at(sys.argv[1])
    def kill():
        sys.stdin.readline()
        time.sleep(float(sys.argv[2]))
        os.kill(os.getpid(), signal.SIGKILL)
    content = b"new" * 10_000_000
    threading.Thread(target=kill).start()
    print("ready", flush=True)
    while True:
        location.write("deep/front", content)
""")


@pytest.mark.parametrize("delay", [0.02, 0.15])
def test_a_process_killed_while_it_writes_leaves_a_whole_blob(place: str, location: Location, delay: float) -> None:
    location.write("deep/front", b"old")
    command = [sys.executable, "-c", KILLED, place, str(delay)]
    with subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True) as killed:
        assert killed.stdout is not None
        assert killed.stdout.readline() == "ready\n"
        killed.communicate("go\n")
    assert killed.returncode == -signal.SIGKILL
    assert location.read("deep/front") in (b"old", b"new" * 10_000_000)
    assert location.names() == ["deep/front"]
    location.sweep_up()
    location.write("deep/front", b"newer")
    assert location.read("deep/front") == b"newer"


def test_only_one_holds_the_lock(place: str, location: Location, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(locks, "PAUSE", 0.01)
    other = Location.at(place)
    with location.locked():
        location.write("a", b"")
        with pytest.raises(BadInput, match=f"two sweeps at once, got a lock of process {os.getpid()} on"), other.locked():
            pytest.fail("two hold the lock")
    with other.locked():
        pass
    assert other.names() == ["a"]


def test_the_lock_of_a_process_that_died_here_is_taken_over(place: str, location: Location) -> None:
    code = "import os, sys; from sweep.location import Location\nwith Location.at(sys.argv[1]).locked(): os._exit(0)"
    subprocess.run([sys.executable, "-c", code, place], check=True)
    assert location.names() != []
    with location.locked():
        pass
    assert location.names() == []


@pytest.mark.parametrize("uri", ["ftp://host/run", "foo:/bar", "abfss://c@host/run"])
def test_other_uris_are_refused(uri: str) -> None:
    with pytest.raises(BadInput, match="must be a folder or begin with s3://, gs:// or file://, got"):
        Location.at(uri)


def test_a_file_of_another_machine_is_refused() -> None:
    with pytest.raises(BadInput, match="must be a file of this machine, got host 'nas'"):
        Location.at("file://nas/run")
