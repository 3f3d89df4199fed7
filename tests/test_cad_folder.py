"""A build's folder takes its place whole or not at all."""

from __future__ import annotations

import errno
from pathlib import Path
from types import SimpleNamespace

import pytest

from sweep.archive import RunFolder
from sweep.cad.folder import build_place, replacing
from sweep.errors import BadInput, SweepFailure
from sweep.location import LocalFolder


def test_an_older_build_is_replaced_whole(tmp_path: Path) -> None:
    place = tmp_path / "builds" / "d1"
    for name in ("first", "second"):
        with replacing(place) as work:
            (work / name).write_text(name)
            assert work.parent == place.parent
    assert [path.name for path in place.iterdir()] == ["second"]
    assert [path.name for path in place.parent.iterdir()] == ["d1"]


FULL = OSError(errno.ENOSPC, "No space left on device")


def write_and_fail(place: Path, error: BaseException) -> None:
    with replacing(place) as work:
        (work / "new").write_text("new")
        raise error


@pytest.mark.parametrize("error", [FULL, ValueError("a solid"), KeyboardInterrupt()])
def test_what_fails_leaves_the_older_build_and_nothing_else(tmp_path: Path, error: BaseException) -> None:
    place = tmp_path / "d1"
    with replacing(place) as work:
        (work / "old").write_text("old")
    expected = SweepFailure if isinstance(error, OSError) else type(error)
    with pytest.raises(expected) as caught:
        write_and_fail(place, error)
    assert [path.name for path in tmp_path.iterdir()] == ["d1"]
    assert [path.name for path in place.iterdir()] == ["old"]
    if isinstance(error, OSError):
        assert "No space left on device" in str(caught.value)
        assert "is whole" in str(caught.value)


def test_a_folder_that_cannot_be_made_is_named(tmp_path: Path) -> None:
    (tmp_path / "builds").write_text("a file in the way")
    with pytest.raises(SweepFailure, match="builds/d1 could not be written"), replacing(tmp_path / "builds" / "d1"):
        pass


def test_the_place_is_in_the_run(tmp_path: Path) -> None:
    assert build_place(RunFolder(LocalFolder(tmp_path)), "d44ed536e58") == tmp_path / "builds" / "d44ed536e58"


@pytest.mark.parametrize("name", ["../d1", "..", "/d1", "a/b", "", ".hidden", "d1\n", "a\\b"])
def test_no_id_leads_out_of_the_run(tmp_path: Path, name: str) -> None:
    with pytest.raises(BadInput, match="must be made of letters"):
        build_place(RunFolder(LocalFolder(tmp_path)), name)


def test_a_run_elsewhere_is_refused() -> None:
    elsewhere = SimpleNamespace(location=SimpleNamespace(__str__=lambda: "s3://bucket/run"))
    with pytest.raises(BadInput, match="must be a local folder to build in"):
        build_place(elsewhere, "d1")  # type: ignore[arg-type]
