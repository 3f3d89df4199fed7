"""Starting, stopping and resuming sweeps."""

from __future__ import annotations

import threading
from pathlib import Path
from typing import TYPE_CHECKING, Any

from sweep.errors import BadInput, Fault
from sweep.location import replace_file
from sweep.service import summaries as told
from sweep.service.limits import Limits
from sweep.service.names import OWN, RUN, can_be_written, fits
from sweep.service.processes import Processes, end, write_record
from sweep.service.runs import Place, Runs
from sweep.service.summaries import NotNow

if TYPE_CHECKING:
    from sweep.study import Study

#: s to wait for others whose studies are read
PATIENCE = 10.0
#: how often a free name is looked for
NAMES = 1000


class Sweeps:
    """Sweeps of a results folder. One thread at a time starts or stops one."""

    def __init__(self, runs: Runs, processes: Processes, limits: Limits) -> None:
        self._runs, self._processes, self._limits = runs, processes, limits
        self._mutex = threading.Lock()
        self._readings = threading.BoundedSemaphore(limits.readings)

    def faults_of(self, text: str) -> list[Fault]:
        """What is wrong with a study, or beyond what one server allows."""
        try:
            return self._beyond(self._read(text))
        except BadInput as error:
            return list(error.faults)

    def submit(self, text: str, name: str | None, evaluations: int | None, seed: int | None, workers: int | None) -> str:
        study = self._read(text)
        faults = self._beyond(study, evaluations, workers, seed)
        if name is not None and not fits(RUN, name):
            rule = "must begin with a letter or digit and hold up to 80 letters, digits, dots, dashes and underscores"
            faults.append(Fault("name", rule, repr(name[:80]), "", "leave it out to take the study's"))
        if faults:
            raise BadInput(faults)
        options = {"study": study.name, "planned": evaluations or study.search.evaluations, "evaluations": evaluations,
                   "seed": seed, "workers": workers}  # fmt: skip
        with self._mutex:
            self._room()
            place = self._named(name) if name is not None else self._free(study.slug)
            place.own.mkdir(parents=True, exist_ok=True)
            replace_file(place.study, text.encode())
            self._start(place, options, resume=False)
        return place.name

    def stop(self, name: str) -> None:
        with self._mutex:
            self._processes.reap()
            place = self._runs.place(name)
            holder = self._runs.holder(place)
            if not holder:
                raise NotNow(f"{name} is not at work: it is {self._runs.summary(name).state}")
            end(holder)
            if holder.get("started"):  # ours
                write_record(place.record, {**holder, "stopping": True})

    def resume(self, name: str, evaluations: int | None) -> None:
        with self._mutex:
            self._processes.reap()
            place, run = self._runs.place(name), self._runs.summary(name)
            if run.at_work:
                raise NotNow(f"{name} is at work already; follow it, or stop it first")
            if run.state == told.FINISHED:
                raise NotNow(f"{name} is finished; submit its study anew for more evaluations")
            if run.state == told.DAMAGED:
                raise NotNow(f"{name} cannot go on: {run.message}")
            if evaluations is not None and evaluations != run.planned:
                rule = f"must be {run.planned}, as the run began"
                raise BadInput([Fault("evaluations", rule, str(evaluations), name, "leave it out, or submit the study anew")])
            self._room()
            self._start(place, self._runs.known(place.record), resume=(place.folder / "run.json").exists())

    def _start(self, place: Place, options: dict[str, Any], resume: bool) -> None:
        """Names are told below the results folder, so that no message holds a path of this machine."""
        study = f"{place.name}/study.toml" if resume else f"{OWN}/{place.name}/study.toml"
        arguments = ["sweep", study, "--out", place.name]
        kept = {key: options.get(key) for key in ("study", "planned", "evaluations", "seed", "workers")}
        for key in ("workers",) if resume else ("evaluations", "seed", "workers"):
            if kept[key] is not None:
                arguments += [f"--{key}", str(kept[key])]
        if resume:
            arguments.append("--resume")
        self._processes.start(arguments, self._runs.results, place.log, place.record, kept)

    def _room(self) -> None:
        self._processes.reap()
        busy = [run.name for run in self._runs.all() if run.at_work]
        if len(busy) >= self._limits.sweeps:
            count = f"{len(busy)} sweep{'' if len(busy) == 1 else 's'} at once is as many as this server allows"
            raise NotNow(f"{count}; wait for {', '.join(busy[:5])}, or stop one")

    def _named(self, name: str) -> Place:
        place = self._runs.place_for(name)
        if _taken(place.folder):
            raise NotNow(f"there is a run {name!r} already; resume it, or give another name")
        if place.record.exists() and self._runs.holder(place):
            raise NotNow(f"a run {name!r} is starting; give another name")
        return place

    def _free(self, slug: str) -> Place:
        stem = slug[:70] if fits(RUN, slug[:70]) else "study"
        for number in range(1, NAMES):
            place = self._runs.place_for(stem if number == 1 else f"{stem}-{number}")
            if not _taken(place.folder) and not place.own.exists():
                return place
        raise NotNow(f"there are {NAMES - 1} runs {stem!r} already; give a name")

    def _read(self, text: str) -> Study:
        from sweep.study import read_study

        if "\x00" in text or not can_be_written(text):
            raise BadInput([Fault("study", "must be text in UTF-8 without null bytes", "", "", "is it the right file?")])
        size, most = len(text.encode()), self._limits.study_bytes
        if size > most:
            remedy = "leave out what it does not use, or sweep on the machine itself with the command line"
            raise BadInput([Fault("study", f"must have at most {most} bytes on this server", str(size), "", remedy)])
        if not self._readings.acquire(timeout=PATIENCE):
            raise NotNow("many studies are being read; try again in some seconds")
        try:
            return read_study(text)
        finally:
            self._readings.release()

    def _beyond(
        self, study: Study, evaluations: int | None = None, workers: int | None = None, seed: int | None = None
    ) -> list[Fault]:
        limits, search = self._limits, study.search
        place = f"{study.path}, [search]"
        asked = (
            ("evaluations", evaluations or search.evaluations, 1, limits.evaluations, "" if evaluations else place),
            ("hours", None if evaluations else search.hours, 0, limits.hours, place),
            ("islands", search.islands, 1, limits.islands, place),
            ("phases", search.phases, 1, limits.phases, place),
            ("front_phases", search.front_phases, 1, limits.phases, place),
            ("samples", study.uncertainty.samples, 1, limits.samples, f"{study.path}, [uncertainty]"),
            ("workers", workers, 1, limits.workers, ""),
            ("seed", seed, 0, 2**32 - 1, ""),
        )
        remedy = "ask for less, or sweep on the machine itself with the command line"
        return [
            Fault(name, f"must lie between {least:g} and {most:g} on this server", _shown(value), where, remedy)
            for name, value, least, most, where in asked
            if value is not None and not least <= value <= most
        ]


def _taken(folder: Path) -> bool:
    try:
        return any(folder.iterdir())
    except FileNotFoundError:
        return False
    except NotADirectoryError:
        return True


def _shown(value: float) -> str:
    return f"{value:g}" if abs(value) < 1e15 else "a very large number"
