"""The folder of a build: written beside its place, moved there whole."""

from __future__ import annotations

import contextlib
import os
import re
import shutil
import tempfile
from collections.abc import Iterator
from pathlib import Path

from sweep.archive import RunFolder
from sweep.errors import BadInput, Fault, SweepFailure
from sweep.location import LocalFolder

#: what a design's id may be made of to become a folder's name
ID = re.compile(r"\w[\w.-]*", re.ASCII)


def build_place(run: RunFolder, design: str) -> Path:
    """Where the build of a design goes. Raises BadInput where the run is not in a local folder, or the id would leave it."""
    if not ID.fullmatch(design):
        rule = "must be made of letters, digits, dots, dashes and underscores to name a folder"
        raise BadInput([Fault("design", rule, repr(design), f"{run.location}/front.parquet", "sweep anew")])
    if not isinstance(run.location, LocalFolder):
        remedy = "copy the run into a folder and build it there"
        raise BadInput([Fault("RUN", "must be a local folder to build in", str(run.location), "", remedy)])
    return run.location.root / "builds" / design


@contextlib.contextmanager
def replacing(place: Path) -> Iterator[Path]:
    """A new folder that takes the place of ``place`` once its files are written; nothing changes there if they are not.

    Raises SweepFailure where the disk does not take it.
    """
    work: Path | None = None
    try:
        place.parent.mkdir(parents=True, exist_ok=True)
        work = Path(tempfile.mkdtemp(prefix=f".{place.name}.", suffix=".tmp", dir=place.parent))
        work.chmod(0o755)
        yield work
        _take_place(work, place)
    except OSError as error:
        earlier = f"the earlier build in {place} is whole" if place.exists() else "nothing was left half-written"
        raise SweepFailure(
            f"{place} could not be written: {error.strerror or error}",
            safe=f"the run; {earlier}",
            go_on="free space or change permissions, then build again",
        ) from error
    finally:
        if work is not None:
            shutil.rmtree(work, ignore_errors=True)


def _take_place(work: Path, place: Path) -> None:
    """Move a folder to its place; an older one there goes."""
    aside = work.with_suffix(".old")
    if place.exists():
        os.rename(place, aside)
    try:
        os.rename(work, place)
    except OSError:
        if aside.exists():
            os.rename(aside, place)
        raise
    shutil.rmtree(aside, ignore_errors=True)
