"""Faults of storage as a user meets them: what is said, which status, and that the way on leads on."""

from __future__ import annotations

import ctypes
import json
import os
import resource
import shutil
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pandas as pd
import pytest

from sweep.location import Location
from tests.command_line import ROOT, Outcome, call, small_study

pytestmark = pytest.mark.alone

#: bytes; more than the first parts of the small study's run take, less than later ones
LITTLE_ROOM = 200_000
CAPABILITY_DAC_OVERRIDE, DROP_FROM_BOUNDING_SET = 1, 24


@pytest.fixture(scope="module")
def study(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return small_study(tmp_path_factory.mktemp("study"), evaluations=2000, phases=1)


@pytest.fixture(scope="module")
def whole(study: Path) -> Path:
    """A run that nothing happened to."""
    place = study.parent / "whole"
    assert call("sweep", study, "--out", place).status == 0
    return place


def in_process(before: Callable[[], None], *arguments: object) -> Outcome:
    """``wheelfront`` in a process of its own that ``before`` prepares."""
    command = [sys.executable, "-m", "sweep.cli", *map(str, arguments)]
    done = subprocess.run(command, cwd=ROOT, text=True, capture_output=True, check=False, preexec_fn=before)
    return Outcome(done.returncode, done.stdout, done.stderr)


def assert_same_front(place: Path, other: Path) -> None:
    """But for last digits, in which a process that compiled the kernels may differ from one that loaded them."""
    fronts = [pd.read_parquet(folder / "front.parquet") for folder in (place, other)]
    pd.testing.assert_frame_equal(*fronts, rtol=1e-9, atol=1e-9)


def little_room() -> None:
    resource.setrlimit(resource.RLIMIT_FSIZE, (LITTLE_ROOM, LITTLE_ROOM))


def as_anybody() -> None:
    """Root is held to the rights of files as others are."""
    if os.geteuid() == 0:
        ctypes.CDLL(None, use_errno=True).prctl(DROP_FROM_BOUNDING_SET, CAPABILITY_DAC_OVERRIDE)


def test_a_disk_that_fills_and_rights_that_are_lost_in_the_middle(study: Path, whole: Path, tmp_path: Path) -> None:
    place = tmp_path / "run"
    told = in_process(little_room, "sweep", study, "--out", place)
    assert (told.status, told.out) == (1, "")
    assert "could not be written: File too large\n" in told.err
    assert f"Safe: what {place} held before is whole\nTo go on: free space, then --resume\n" in told.err
    assert len(pd.read_parquet(place / "front.parquet")) > 0
    assert json.loads((place / "run.json").read_text())["state"] == "failed"
    assert [name for name in os.listdir(place) if name.startswith(".")] == []
    assert call("front", place).status == 0
    os.chmod(place / "epochs" / "island=00", 0o555)
    told = in_process(as_anybody, "sweep", study, "--out", place, "--resume")
    os.chmod(place / "epochs" / "island=00", 0o755)
    assert told.status == 1
    assert "could not be written: Permission denied\n" in told.err
    assert "To go on: give yourself the right to write there, then --resume\n" in told.err
    assert call("sweep", study, "--out", place, "--resume").status == 0
    assert_same_front(place, whole)


def test_a_disk_that_is_full_when_a_table_is_written(whole: Path, tmp_path: Path) -> None:
    (tmp_path / "best.csv").write_text("old")
    told = in_process(lambda: resource.setrlimit(resource.RLIMIT_FSIZE, (1000, 1000)), "front", whole, "--out",
                      tmp_path / "best.csv")
    assert (told.status, told.out) == (1, "")
    assert told.err == (
        f"{tmp_path / 'best.csv'} could not be written: File too large\nTo go on: free space, then repeat the command\n"
    )
    assert os.listdir(tmp_path) == ["best.csv"]
    assert (tmp_path / "best.csv").read_text() == "old"


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="there is no device that is always full")
def test_a_full_disk_behind_stdout(whole: Path) -> None:
    with open("/dev/full", "w") as full:
        command = [sys.executable, "-m", "sweep.cli", "front", str(whole)]
        done = subprocess.run(command, cwd=ROOT, stdout=full, stderr=subprocess.PIPE, text=True, check=False)
    assert done.returncode == 1
    assert done.stderr.splitlines()[-1] == "wheelfront could not read or write: [Errno 28] No space left on device."


def test_a_folder_without_the_right_to_write(study: Path, whole: Path, tmp_path: Path) -> None:
    closed = tmp_path / "closed"
    closed.mkdir(mode=0o555)
    told = in_process(as_anybody, "sweep", study, "--out", closed / "run")
    assert (told.status, told.out) == (2, "")
    assert (
        f"--out must be a folder that can be made and written to, got Permission denied ({closed / 'run'}); "
        "give another --out, or yourself the right to write there\n"
    ) in told.err
    assert os.listdir(closed) == []
    told = in_process(as_anybody, "front", whole, "--out", closed / "best.csv")
    assert told.status == 2
    assert "--out must be where you may write, got Permission denied" in told.err


def test_an_out_that_is_a_file_or_lies_below_one(study: Path, tmp_path: Path) -> None:
    (tmp_path / "notes").write_text("mine")
    told = call("sweep", study, "--out", tmp_path / "notes")
    assert (told.status, told.out) == (2, "")
    assert f"--out must be a folder, got a file ({tmp_path / 'notes'}); give another --out\n" in told.err
    told = call("sweep", study, "--out", tmp_path / "notes" / "run")
    assert told.status == 2
    assert "--out must be a folder that can be made and written to, got Not a directory" in told.err
    assert (tmp_path / "notes").read_text() == "mine"


def test_a_table_goes_only_where_a_folder_is(whole: Path, tmp_path: Path) -> None:
    told = call("front", whole, "--out", tmp_path / "no" / "such" / "best.csv")
    assert told.status == 2
    assert f"--out must name a file in a folder that exists, got {tmp_path}/no/such/best.csv; make" in told.err
    (tmp_path / "best.csv").mkdir()
    told = call("front", whole, "--out", tmp_path / "best.csv")
    assert told.status == 2
    assert "--out must name a file, got a folder" in told.err
    assert [path.name for path in tmp_path.rglob("*")] == ["best.csv"]


def test_a_second_sweep_on_the_same_folder(study: Path, tmp_path: Path) -> None:
    with Location.at(tmp_path / "run").locked():
        told = call("sweep", study, "--out", tmp_path / "run")
    assert (told.status, told.out) == (2, "")
    assert f"must not be written by two sweeps at once, got a lock of process {os.getpid()} on " in told.err
    assert "wait for it, give another --out, or delete the lock" in told.err
    assert os.listdir(tmp_path / "run") == []


def test_a_study_that_changed_since_the_run_began(study: Path, whole: Path, tmp_path: Path) -> None:
    changed = tmp_path / "small.toml"
    changed.write_text(study.read_text().replace("voltage_V = 24.0", "voltage_V = 36.0"))
    told = call("sweep", changed, "--out", whole, "--resume")
    assert (told.status, told.out) == (2, "")
    assert "the study has changed since: give another --out" in told.err


@pytest.mark.parametrize(
    ("name", "command"),
    [
        ("front.parquet", "front"),
        ("baseline.parquet", "front"),
        ("epochs/island=00/epoch=000001.parquet", "sheet"),
        ("run.json", "front"),
        ("run.json", "sweep"),
        ("front.parquet", "sweep"),
        ("state/populations.npz", "sweep"),
        ("study.toml", "sheet"),
    ],
)
def test_a_file_that_was_cut_short(study: Path, whole: Path, tmp_path: Path, name: str, command: str) -> None:
    place = tmp_path / "run"
    shutil.copytree(whole, place)
    content = (place / name).read_bytes()
    (place / name).write_bytes(content[: len(content) * 3 // 5])
    arguments = {
        "front": ("front", place), "sheet": ("sheet", place, "dffff"), "sweep": ("sweep", study, "--out", place, "--resume")
    }[command]
    told = call(*arguments)
    assert (told.status, told.out) == (2, "")
    if name == "study.toml":
        assert f"{place}/study.toml" in told.err
    else:
        assert f"{name} must be a whole {name.rpartition('.')[2]} file, got one that is damaged ({place}); copy" in told.err
    (place / name).write_bytes(content)
    assert "damaged" not in call(*arguments).err


def test_a_front_that_is_gone_is_not_begun_anew(study: Path, whole: Path, tmp_path: Path) -> None:
    place = tmp_path / "run"
    shutil.copytree(whole, place)
    (place / "front.parquet").unlink()
    told = call("sweep", study, "--out", place, "--resume")
    assert (told.status, told.out) == (2, "")
    assert f"front.parquet must be there beside the state, got nothing ({place}); copy the file back" in told.err


@pytest.mark.parametrize("arguments", [("front",), ("sheet", "knee")])
def test_a_reader_that_has_seen_a_line_is_no_failure(whole: Path, arguments: tuple[str, ...]) -> None:
    line = f"{sys.executable} -m sweep.cli {arguments[0]} {whole} {' '.join(arguments[1:])} | head -n 1"
    done = subprocess.run(["bash", "-o", "pipefail", "-c", line], cwd=ROOT, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    assert done.stdout.count("\n") == 1
    assert "rror" not in done.stderr


def test_closed_streams_are_no_failure(whole: Path, tmp_path: Path) -> None:
    out = tmp_path / "best.csv"
    line = f"{sys.executable} -m sweep.cli front {whole} --top 3 --out {out} >&-"
    done = subprocess.run(["bash", "-c", f"{line} && {line} 2>&-"], cwd=ROOT, capture_output=True, text=True, check=False)
    assert (done.returncode, done.stdout) == (0, "")
    assert done.stderr.splitlines()[0] == f"Wrote 3 designs to {out}."
    assert "rror" not in done.stderr
    assert len(pd.read_csv(out)) == 3  # nothing that was printed went there


def test_a_sweep_goes_on_when_nobody_reads_what_it_says(study: Path, whole: Path, tmp_path: Path) -> None:
    line = f"{sys.executable} -m sweep.cli sweep {study} --out {tmp_path}/run 2>&1 | true"
    assert subprocess.run(["bash", "-o", "pipefail", "-c", line], cwd=ROOT, check=False).returncode == 0
    assert_same_front(tmp_path / "run", whole)
