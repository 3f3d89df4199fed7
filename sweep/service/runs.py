"""Reading runs: what stands in their folders, kept in memory until the files change."""

from __future__ import annotations

import contextlib
import hashlib
import re
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from sweep.errors import BadInput
from sweep.locks import LOCK, alive
from sweep.service import summaries as told
from sweep.service.cache import Cache, stamp_of
from sweep.service.names import OWN, RUN, check_design, fits, one_line, place_of, shortened, without_paths
from sweep.service.processes import is_here, last_words, read_record
from sweep.service.summaries import NotNow, NotThere, RunSummary

if TYPE_CHECKING:
    import pandas as pd

    from sweep.archive import RunFolder
    from sweep.study import Study

#: runs whose tables are kept in memory
TABLES = 12
SUMMARIES = 1000
#: a line of progress as a sweep writes it where stderr is no terminal
STEP = re.compile(r"^(?P<stage>[a-z ]+) (?P<done>\d+) of (?P<total>\d+), (?:.* left, )?(?P<rate>[\d.e+-]+)/s, feasible ")
#: lines of progress that the rate is taken over where the log does not tell it
RATED = 6
BASELINE, KNEE = "baseline", "knee"
LARGEST = 1e300


@dataclass(frozen=True)
class Place:
    """Where the files of a run are, and those that the service keeps of it."""

    name: str
    folder: Path
    own: Path

    @property
    def record(self) -> Path:
        return self.own / "sweep.json"

    @property
    def log(self) -> Path:
        return self.own / "sweep.log"

    @property
    def study(self) -> Path:
        return self.own / "study.toml"

    @property
    def changing(self) -> list[Path]:
        """The files that a summary is made from."""
        names = ("run.json", "front.parquet", "progress.jsonl", LOCK)
        return [*(self.folder / name for name in names), self.record, self.log]


class Runs:
    """The runs of a results folder. Safe to use from many threads; what it gives is shared and must not be changed."""

    def __init__(self, results: Path) -> None:
        self.results = results
        self._summaries: Cache[RunSummary] = Cache(SUMMARIES)
        self._records: Cache[dict[str, Any]] = Cache(2 * SUMMARIES)
        self._progress: Cache[list[dict[str, Any]]] = Cache(TABLES)
        self._fronts: Cache[pd.DataFrame] = Cache(TABLES)
        self._baselines: Cache[pd.Series | None] = Cache(TABLES)
        self._studies: Cache[Study] = Cache(TABLES)
        self._others: Cache[pd.Series | None] = Cache(64)

    def place(self, name: str) -> Place:
        """Raises NotThere where there is no such run."""
        place = self.place_for(name)
        if not (place.folder / "run.json").exists() and not place.record.exists():
            raise NotThere(f"there is no run {shortened(name)!r}; {self._listed()}")
        return place

    def place_for(self, name: str) -> Place:
        """Where a run of this name is or would be."""
        return Place(name, place_of(self.results, name), self.results / OWN / name)

    def folder(self, name: str) -> RunFolder:
        """The files of a run that has begun. Raises NotNow where it has written nothing yet."""
        from sweep.archive import RunFolder
        from sweep.location import LocalFolder

        place = self.place(name)
        if not (place.folder / "run.json").exists():
            raise NotNow(f"{name} has written nothing yet; wait until it searches")
        return RunFolder(LocalFolder(place.folder))

    def names(self) -> list[str]:
        """All runs, in no order that counts."""
        found = {entry.name for entry in _folders(self.results) if (entry / "run.json").exists()}
        found |= {entry.name for entry in _folders(self.results / OWN) if (entry / "sweep.json").exists()}
        kept = []
        for name in sorted(found):
            with contextlib.suppress(NotThere):
                place_of(self.results, name)
                kept.append(name)
        return kept

    def all(self) -> list[RunSummary]:
        found = []
        for name in self.names():
            with contextlib.suppress(NotThere):  # removed since
                found.append(self.summary(name))
        return sorted(found, key=lambda run: (run.began or "", run.name), reverse=True)

    def holder(self, place: Place) -> dict[str, Any]:
        """The process that is at work on a run; empty where there is none."""
        record, lock = self.known(place.record), self.known(place.folder / LOCK)
        if record and is_here(record) and alive(record):
            return record
        return lock if lock and (alive(lock) or not is_here(lock)) else {}

    def known(self, file: Path) -> dict[str, Any]:
        """What a record or lock says."""
        return self._records.get(file, stamp_of([file]), lambda: read_record(file))

    def summary(self, name: str) -> RunSummary:
        place = self.place(name)
        holder = self.holder(place)
        return self._summaries.get(name, (stamp_of(place.changing), bool(holder)), lambda: self._summary(place, holder))

    def version(self, name: str) -> str:
        """Changes whenever the files of a run, its process or its shortlist do."""
        place = self.place(name)
        files = [*place.changing, place.folder / "baseline.parquet", place.folder / "shortlist.json"]
        facts = repr((stamp_of(files), bool(self.holder(place))))
        return hashlib.sha256(facts.encode()).hexdigest()[:16]

    def progress(self, name: str) -> list[dict[str, Any]]:
        place = self.place(name)
        if not (place.folder / "run.json").exists():
            return []
        return self._progress.get(name, stamp_of([place.folder / "progress.jsonl"]), self.folder(name).progress)

    def front_stamp(self, name: str) -> object:
        return stamp_of([self.place(name).folder / "front.parquet"])

    def front(self, name: str) -> pd.DataFrame:
        place = self.place(name)

        def read() -> pd.DataFrame:
            import pandas as pd

            if not (place.folder / "front.parquet").exists():
                return pd.DataFrame()
            with _whole(self.results):
                table = self.folder(name).front()
            return pd.DataFrame() if table is None else table

        return self._fronts.get(name, stamp_of([place.folder / "front.parquet"]), read)

    def baseline(self, name: str) -> pd.Series | None:
        from sweep.run_study import baseline_of

        place = self.place(name)

        def read() -> pd.Series | None:
            with _whole(self.results):
                return baseline_of(self.folder(name))

        if not (place.folder / "baseline.parquet").exists():
            return None
        return self._baselines.get(name, stamp_of([place.folder / "baseline.parquet"]), read)

    def study(self, name: str) -> Study:
        from sweep.study import read_study

        text = self.study_text(name)

        def read() -> Study:
            with _whole(self.results):
                return read_study(text)

        return self._studies.get(name, text, read)

    def study_text(self, name: str) -> str:
        place = self.place(name)
        for file in (place.folder / "study.toml", place.study):
            with contextlib.suppress(FileNotFoundError):
                return file.read_text(encoding="utf-8", errors="replace")
        raise NotThere(f"{name} has no study")

    def design(self, name: str, design: str) -> pd.Series:
        """A design by its id, ``baseline`` or ``knee``; of the front, the baseline, or what else the search kept."""
        from sweep.front import knee

        check_design(design)
        front, baseline = self.front(name), self.baseline(name)
        if design == BASELINE and baseline is not None:
            return baseline
        if len(front):
            if design == KNEE:
                return front.iloc[knee(front)]
            rows = front.index[front["design"] == design]
            if len(rows):
                return front.loc[rows[0]]
        if baseline is not None and baseline["design"] == design:
            return baseline
        other = self._others.get((name, design), self.front_stamp(name), lambda: self._search_parts(name, design))
        if other is None:
            what = f"the front has {len(front)} designs" if len(front) else "the front is empty so far"
            raise NotThere(f"{name} has no design {design!r}; {what}")
        return other

    def _search_parts(self, name: str, design: str) -> pd.Series | None:
        if design in (BASELINE, KNEE) or not (self.place(name).folder / "epochs").is_dir():
            return None
        with _whole(self.results):
            for part in self.folder(name).parts():
                rows = part[part["design"] == design] if "design" in part else part[:0]
                if len(rows):
                    return rows.iloc[0]
        return None

    def _listed(self) -> str:
        names = self.names()
        return f"there are {', '.join(names[:8])}{', ...' if len(names) > 8 else ''}" if names else "there are none so far"

    def _summary(self, place: Place, holder: dict[str, Any]) -> RunSummary:
        record, words = self.known(place.record), last_words(place.log)
        about: dict[str, Any] = {}
        lines: list[dict[str, Any]] = []
        damaged = ""
        if (place.folder / "run.json").exists():
            try:
                about, lines = self.folder(place.name).about() or {}, self.progress(place.name)
            except (BadInput, NotNow, OSError) as error:
                damaged = self._clean(str(error))
        last = lines[-1] if lines else {}
        steps = [found for found in map(STEP.match, words) if found]
        step = steps[-1] if steps and holder and holder.get("pid") == record.get("pid") else None
        state = told.DAMAGED if damaged else _state(about, record, bool(holder), bool(last) or step is not None)
        at_last = about if "front" in about and state in (told.FINISHED, told.STOPPED, told.FAILED) else last
        done = _whole_number(at_last.get("evaluations_done" if at_last is about else "evaluations"))
        planned = _whole_number(about.get("evaluations") or record.get("planned"))
        told_rate = float(step["rate"]) if step and step["stage"] == state else 0.0
        rate = (told_rate or _rate(lines)) if state == told.SEARCHING else None
        left = (planned - done) / rate if rate and planned else None
        if state == told.SCORING and step and step["stage"].startswith("scoring") and float(step["rate"]) > 0:
            left = (int(step["total"]) - int(step["done"])) / float(step["rate"])
        return RunSummary(
            name=place.name,
            study=str(about.get("study") or record.get("study") or place.name),
            state=state,
            evaluations=done,
            planned=planned,
            feasible=_whole_number(last.get("feasible")),
            front_size=_whole_number(at_last.get("front")),
            hypervolume=_number(at_last.get("hypervolume")),
            rate_per_s=rate,
            seconds_left=left,
            began=_text(about.get("started")) or _text(record.get("started")),
            message=damaged or self._message(state, about, record, words, holder),
            # the log tells more than the state but comes later
            stage=str(step["stage"]) if step and step["stage"].split()[0] == state.split()[0] else state,
        )

    def _message(
        self, state: str, about: dict[str, Any], record: dict[str, Any], words: list[str], holder: dict[str, Any]
    ) -> str:
        said = [line for line in words if not STEP.match(line)]
        if holder and not is_here(holder):
            return f"a process on {holder.get('host')} holds its lock; delete the lock if that is gone"
        if holder:
            return "stopping" if record.get("stopping") else self._clean(said[-1]) if said and state == told.STARTING else ""
        if state == told.FAILED:
            return self._clean("\n".join(said[-6:])) or "it ended without a word; resume goes on from what it has kept"
        if state == told.STOPPED and not about:
            return "it was stopped before it wrote anything; resume begins anew"
        if state == told.STOPPED and about.get("state") != "stopped":
            return "its process ended before it was done; resume goes on from what it has kept"
        if state == told.FINISHED and not about.get("front"):
            return self._clean(said[-1]) if said else "none of its designs is feasible"
        return ""

    def _clean(self, text: str) -> str:
        return one_line(without_paths(text, self.results))


def _state(about: dict[str, Any], record: dict[str, Any], working: bool, searched: bool) -> str:
    """The state of a run; ``searched`` where it has told of candidates."""
    if working and about.get("state") == "done":  # it ends in a moment
        return told.FINISHED
    if working and "epochs" in about and about.get("state") == "running":
        return told.SCORING
    if working:
        return told.SEARCHING if searched else told.STARTING
    if not about:
        return told.STOPPED if record.get("stopping") else told.FAILED
    # "running" without a process: it was killed
    return {"done": told.FINISHED, "failed": told.FAILED}.get(str(about.get("state")), told.STOPPED)


def _rate(lines: list[dict[str, Any]]) -> float | None:
    """Evaluations a second over the last lines of progress."""
    if len(lines) < 2:
        return None
    first, last = lines[max(0, len(lines) - RATED)], lines[-1]
    seconds = (_number(last.get("seconds")) or 0.0) - (_number(first.get("seconds")) or 0.0)
    done = _whole_number(last.get("evaluations")) - _whole_number(first.get("evaluations"))
    return done / seconds if seconds > 0 and done > 0 else None


def _number(value: object) -> float | None:
    return float(value) if isinstance(value, int | float) and abs(value) < LARGEST else None


def _whole_number(value: object) -> int:
    return int(_number(value) or 0)


def _text(value: object) -> str | None:
    return value if isinstance(value, str) and value else None


def _folders(root: Path) -> list[Path]:
    try:
        return [entry for entry in root.iterdir() if fits(RUN, entry.name) and entry.is_dir()]
    except OSError:
        return []


@contextlib.contextmanager
def _whole(results: Path) -> Iterator[None]:
    """What cannot be read of a run is not the fault of whoever asks for it."""
    try:
        yield
    except BadInput as error:
        raise NotNow(f"the run's files are damaged: {without_paths(str(error), results)}") from error
    except FileNotFoundError as error:
        raise NotThere(f"{Path(str(error.filename)).name} is not there") from error
