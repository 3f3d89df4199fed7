"""What every archive location must do. A new kind of location is one line in LOCATIONS."""

from __future__ import annotations

import os
import subprocess
import sys
import textwrap

import pytest

from sweep.archive import Location
from sweep.errors import BadInput, SweepFailure

LOCATIONS = {"local": lambda tmp_path: Location.at(tmp_path / "run")}


@pytest.fixture(params=LOCATIONS)
def location(request, tmp_path):
    return LOCATIONS[request.param](tmp_path)


def test_what_is_written_is_read(location):
    assert location.names() == []
    assert not location.exists("a")
    location.write("a", b"one")
    location.write("deep/er/b", b"")
    assert location.read("a") == b"one"
    assert location.read("deep/er/b") == b""
    assert location.exists("deep/er/b")
    assert not location.exists("deep")
    assert location.names() == ["a", "deep/er/b"]
    assert location.names("deep") == ["deep/er/b"]
    assert location.names("nothing") == []


def test_a_write_replaces_the_whole(location):
    location.write("a", b"a long first content")
    location.write("a", b"short")
    assert location.read("a") == b"short"
    assert location.names() == ["a"]


def test_append_adds_lines(location):
    location.write("a", b"")
    location.append("a", b"1\n")
    location.append("a", b"2\n")
    assert location.read("a") == b"1\n2\n"


def test_only_one_creates(location):
    assert location.create("lock", b"mine")
    assert not location.create("lock", b"yours")
    assert location.read("lock") == b"mine"
    location.remove("lock")
    location.remove("lock")
    assert location.create("lock", b"yours")


def test_a_missing_blob_is_told(location):
    with pytest.raises(FileNotFoundError):
        location.read("nothing")


def test_a_crash_between_writing_and_replacing_leaves_the_old(location, monkeypatch):
    location.write("front.parquet", b"old")

    def crash(*unused):
        raise KeyboardInterrupt

    monkeypatch.setattr(os, "replace", crash)
    with pytest.raises(KeyboardInterrupt):
        location.write("front.parquet", b"new")
    monkeypatch.undo()
    assert location.read("front.parquet") == b"old"
    location.sweep_up()
    assert location.names() == ["front.parquet"]


def test_a_process_killed_between_writing_and_replacing_leaves_the_old(tmp_path):
    location = Location.at(tmp_path)
    location.write("front.parquet", b"old")
    code = textwrap.dedent("""
        import os, signal, sys
        from sweep.archive import Location
        os.replace = lambda *unused: os.kill(os.getpid(), signal.SIGKILL)
        Location.at(sys.argv[1]).write("front.parquet", b"new")
    """)
    killed = subprocess.run([sys.executable, "-c", code, str(tmp_path)], check=False)
    assert killed.returncode == -9
    assert location.read("front.parquet") == b"old"
    location.sweep_up()
    assert location.names() == ["front.parquet"]


def test_a_full_disk_is_a_failure_that_says_how_to_go_on(location, monkeypatch):
    location.write("a", b"old")

    def full(*unused):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(SweepFailure) as caught:
        location.write("a", b"new")
    assert "No space left" in str(caught.value)
    assert "--resume" in str(caught.value)
    assert location.read("a") == b"old"


def test_a_uri_is_refused_by_name():
    with pytest.raises(BadInput, match="must be a local folder, got s3://bucket/run"):
        Location.at("s3://bucket/run")
