"""Builds: started as processes of their own, followed by what they say, handed out as files and as an archive."""

from __future__ import annotations

import contextlib
import json
import os
import re
import threading
import zipfile
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from sweep.locks import alive
from sweep.service import summaries as told
from sweep.service.cache import Cache, stamp_of
from sweep.service.limits import Limits
from sweep.service.names import OWN, check_design, one_line, without_paths
from sweep.service.processes import Processes, is_here, last_words
from sweep.service.runs import Runs
from sweep.service.summaries import BuildSummary, NotNow, NotThere

#: a stage as a build tells it
STAGE = re.compile(r"^(?P<number>\d+) of (?P<count>\d+), after \d+ s: (?P<name>.+)$")
#: the same for every archive, so that the same build gives the same bytes
ZIP_DATE = (2026, 1, 1, 0, 0, 0)


@dataclass(frozen=True)
class _Place:
    folder: Path
    record: Path
    log: Path
    archive: Path

    @property
    def about(self) -> Path:
        return self.folder / "build.json"


class Builds:
    """Builds of the designs of a results folder."""

    def __init__(self, runs: Runs, processes: Processes, limits: Limits) -> None:
        self._runs, self._processes, self._limits = runs, processes, limits
        self._abouts: Cache[dict[str, Any]] = Cache(200)
        self._mutex, self._writing = threading.Lock(), threading.Lock()

    def start(self, name: str, design: str) -> None:
        """Start a build, unless the design is built already by this version."""
        from sweep.archive import versions

        place = self._place(name, design)
        with self._mutex:
            self._processes.reap()
            if self._working(place):
                raise NotNow(f"{design} is being built already; follow it")
            about = self._about(place)
            if about.get("versions") == dict(versions()) and about.get("study_hash") == self._runs.study(name).hash:
                return
            busy = self._busy()
            if len(busy) >= self._limits.builds:
                raise NotNow(f"as many builds as this server allows are at work; wait for {', '.join(busy[:5])}")
            self._processes.start(["build", name, design], self._runs.results, place.log, place.record, {"design": design})

    def summary(self, name: str, design: str) -> BuildSummary:
        place = self._place(name, design)
        about, words = self._about(place), last_words(place.log)
        files, holds = _files_of(about), bool(about.get("holds")) if about else None
        if self._working(place):
            stages = [found for found in map(STAGE.match, words) if found]
            step = stages[-1] if stages else None
            share = (int(step["number"]) - 1) / max(int(step["count"]), 1) if step else 0.0
            return BuildSummary(design, told.BUILDING, share, step["name"] if step else "starting", holds, files)
        began = stamp_of([place.record])[0]
        built = stamp_of([place.about])[0]
        if began is not None and (built is None or built[0] < began[0]):  # what was started since has made nothing
            return BuildSummary(design, told.FAILED, 0.0, self._said(words), holds, files)
        if not about:
            return BuildSummary(design, told.NONE, 0.0, "", None, ())
        failures = [str(_dict(proof).get("name")) for proof in _list(about.get("proofs")) if not _dict(proof).get("holds")]
        failures += [str(entry) for entry in _list(_dict(about.get("geometry")).get("failures"))]
        message = "" if holds else one_line(f"not everything that was to be proven holds: {'; '.join(failures)}")
        return BuildSummary(design, told.DONE, 1.0, message, holds, files)

    def known(self, name: str, design: str) -> bool:
        """Whether a build of a design is there or was begun."""
        place = self._place(name, design)
        return place.folder.is_dir() or place.record.exists()

    def file(self, name: str, design: str, file: str) -> Path:
        """A file of a build. Only what the build itself lists can be asked for."""
        place = self._place(name, design)
        files = _files_of(self._about(place))
        if file not in files:
            raise NotThere(f"the build of {design} has no such file; {self._there(files)}")
        found = place.folder / file
        if not found.is_file() or not found.resolve().is_relative_to(place.folder.resolve()):
            raise NotThere(f"{file} of the build of {design} is gone; build it again")
        return found

    def archive(self, name: str, design: str) -> Path:
        """All files of a build as a zip archive."""
        place = self._place(name, design)
        files = _files_of(self._about(place))
        if not files:
            raise NotThere(f"there is no build of {design}; start one")
        with self._writing:
            built, packed = stamp_of([place.about, place.archive])
            if packed is None or built is None or packed[0] <= built[0]:
                _write_archive(place, design, files)
        return place.archive

    def _place(self, name: str, design: str) -> _Place:
        folder = self._runs.place(name).folder / "builds" / check_design(design)
        own = self._runs.results / OWN / name / "builds"
        return _Place(folder, own / f"{design}.json", own / f"{design}.log", own / f"{design}.zip")

    def _working(self, place: _Place) -> bool:
        record = self._runs.known(place.record)
        return bool(record) and is_here(record) and alive(record)

    def _busy(self) -> list[str]:
        found = []
        for record in (self._runs.results / OWN).glob("*/builds/*.json"):
            known = self._runs.known(record)
            if known and is_here(known) and alive(known):
                found.append(f"{record.stem} of {record.parent.parent.name}")
        return sorted(found)

    def _about(self, place: _Place) -> dict[str, Any]:
        def read() -> dict[str, Any]:
            with contextlib.suppress(OSError, ValueError):
                return _dict(json.loads(place.about.read_bytes()))
            return {}

        return self._abouts.get(place.about, stamp_of([place.about]), read)

    def _said(self, words: list[str]) -> str:
        said = [line for line in words if not STAGE.match(line)]
        return one_line(without_paths("\n".join(said[-6:]), self._runs.results)) or "the build ended without a word"

    def _there(self, files: tuple[str, ...]) -> str:
        return f"it has {', '.join(files[:8])}{', ...' if len(files) > 8 else ''}" if files else "there is no build"


def _write_archive(place: _Place, design: str, files: tuple[str, ...]) -> None:
    """Written beside its place and renamed, so that whoever reads the one before goes on reading it."""
    place.archive.parent.mkdir(parents=True, exist_ok=True)
    work = place.archive.with_name(f".{place.archive.name}.{os.getpid()}.tmp")
    root = place.folder.resolve()
    try:
        with zipfile.ZipFile(work, "w", zipfile.ZIP_DEFLATED, compresslevel=5) as archive:
            for file in files:
                source = place.folder / file
                if source.is_file() and source.resolve().is_relative_to(root):
                    entry = zipfile.ZipInfo(f"{design}/{file}", ZIP_DATE)
                    entry.compress_type, entry.external_attr = zipfile.ZIP_DEFLATED, 0o644 << 16
                    archive.writestr(entry, source.read_bytes())
        os.replace(work, place.archive)
    finally:
        work.unlink(missing_ok=True)


def _files_of(about: dict[str, Any]) -> tuple[str, ...]:
    return tuple(file for file in _list(about.get("files")) if isinstance(file, str))


def _dict(value: object) -> dict[str, Any]:
    return value if isinstance(value, dict) else {}


def _list(value: object) -> list[Any]:
    return value if isinstance(value, list) else []
