"""A sweep from a study to a folder with its front: epochs, checkpoints, stopping, resuming, scoring the front again."""

from __future__ import annotations

import contextlib
import datetime
import platform
import socket
import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from os import PathLike
from typing import Any

import numpy as np
import pandas as pd

from sweep.archive import RunFolder, State, versions
from sweep.designs import baseline_designs
from sweep.errors import BadInput, Fault, SweepFailure
from sweep.front import OBJECTIVES, bounds_of, costs_of, hypervolume, thin
from sweep.location import Location
from sweep.locks import LOCK
from sweep.problem import Score, baseline_genes, measured_rate, scored, scoring_of, study_problem
from sweep.progress import Snapshot
from sweep.search import SIZE, Evaluated, Population, first, step
from sweep.stopping import Stopped, signals
from sweep.study import Study

#: an epoch is a fortieth of an island's share, at least and at most so many generations
EPOCHS = 40
SHORTEST_EPOCH, LONGEST_EPOCH = 2, 20
#: generations that an island needs to be worth having
LEAST_GENERATIONS = 10
#: of the hours asked for, the share that the search may plan with; the rest is for the front and for writing
PLANNED_SHARE = 0.9
CHUNK = 256
#: points up to which the hypervolume is exact, and directions beyond: while searching, where it must cost little, and at last
PROGRESS_EXACT, PROGRESS_SAMPLES = 400, 2048
FINAL_EXACT, FINAL_SAMPLES = 5000, 65_536
#: designs that the front must hold for its bounds to be taken; before, the hypervolume is told as 0
BOUNDED_BY = 20


@dataclass(frozen=True)
class Result:
    """What a sweep leaves. ``state`` is "done" or "stopped"."""

    folder: RunFolder
    state: str
    front: pd.DataFrame
    evaluations: int
    feasible_share: float
    hypervolume: float
    broken: Mapping[str, float]  # share of candidates that broke each constraint, the most broken first


def run(
    study: Study,
    out: str | PathLike[str] | None = None,
    *,
    evaluations: int | None = None,
    hours: float | None = None,
    seed: int | None = None,
    resume: bool = False,
    progress: Callable[[Snapshot], None] | None = None,
    stop: Callable[[], bool] | None = None,
    score: Score | None = None,
) -> Result:
    """Search a study's space and keep the front in a folder.

    ``out`` is ``results/<study name>`` if not given; ``evaluations``, ``hours`` and ``seed`` replace the study's. The front
    follows from study, seed and evaluations alone: it is the same after a kill or a stop and ``resume``. ``stop`` is asked
    between generations; so are Ctrl-C and SIGTERM. The study's baseline, where the space contains it, is one of the first
    parents. Raises BadInput where the folder is not this study's, SweepFailure where the run cannot go on.
    """
    folder = RunFolder(Location.at(out or f"results/{study.slug}"))
    _refuse_strangers(folder)
    with folder.locked(), signals() as signalled:
        _check_run(folder, study, resume)
        folder.location.sweep_up()
        sweep = _Sweep(study, folder, score or scoring_of(study), progress, lambda: signalled() or bool(stop and stop()))
        return sweep.go(evaluations, hours, seed)


def _refuse_strangers(folder: RunFolder) -> None:
    """A folder with files but without a run is somebody's: nothing is written there."""
    strangers = [name for name in folder.location.names() if name.partition("/")[0] != LOCK]
    if strangers and "run.json" not in strangers and set(strangers) != {"study.toml"}:
        held = f"a folder that holds {strangers[0]}"
        raise BadInput([Fault("--out", "must be a new folder or a run's", held, str(folder.location), "give another --out")])


def _check_run(folder: RunFolder, study: Study, resume: bool) -> None:
    about, place = folder.about(), str(folder.location)
    if about is None:
        if resume:
            raise BadInput([Fault("--resume", "needs a run to go on with, none is here", "", place, "leave --resume out")])
        return
    if about["study_hash"] != study.hash:
        held = f"a run of {about['study']!r} ({about['study_hash'][:10]})"
        rule = f"must hold a run of {study.name!r} ({study.hash[:10]}) or nothing"
        remedy = "give another --out" if about["study"] != study.name else "the study has changed since: give another --out"
        raise BadInput([Fault("--out", rule, held, place, remedy)])
    if not resume:
        rule = "must not hold a run already"
        held = f"a run of this study, {about['state']} at {about['evaluations_done']} of {about['evaluations']} evaluations"
        raise BadInput([Fault("--out", rule, held, place, "add --resume to go on with it, or give another --out")])


class _Sweep:
    """One call of ``run``: what it is about, and what changes while it goes on."""

    def __init__(
        self,
        study: Study,
        folder: RunFolder,
        score: Score,
        progress: Callable[[Snapshot], None] | None,
        stop: Callable[[], bool],
    ) -> None:
        self.study, self.folder, self.score, self.progress, self.stop = study, folder, score, progress, stop
        self.resolution = [study.search.resolution[objective.name] for objective in OBJECTIVES]
        self.unwatched = study_problem(study, study.search.phases, score)
        self.problem = replace(self.unwatched, evaluate=self._watched)
        self.about: dict[str, Any] = {}
        self.state: State | None = None
        self.front = pd.DataFrame()
        self.volume = 0.0
        self.since_checkpoint, self.done_here, self.began = 0, 0, time.monotonic()

    def go(self, evaluations: int | None, hours: float | None, seed: int | None) -> Result:
        about, self.state = self.folder.about(), self.folder.state()
        self.about = self._planned(evaluations, hours, seed) if about is None else self._continued(about, evaluations, seed)
        if self.about["state"] == "done":
            return self._result()
        self.about["state"] = "running"
        self.folder.write_about(self.about)
        self.began = time.monotonic()
        try:
            self._baseline()
            self._search()
            self._score_front_again()
            self._finish("done")
        except Stopped:
            self._finish("stopped")
        except (BadInput, SweepFailure):
            self._fail()
            raise
        except Exception as error:
            self._fail()
            raise SweepFailure(
                f"the sweep failed: {type(error).__name__}: {error}",
                safe=f"{self.folder.location}, up to {self.state.evaluations if self.state else 0} evaluations",
                go_on="mend the cause, then --resume",
            ) from error
        return self._result()

    def _planned(self, evaluations: int | None, hours: float | None, seed: int | None) -> dict[str, Any]:
        search, rate = self.study.search, None
        if evaluations is None:
            hours = hours if hours is not None else search.hours
            if hours is not None:
                rate = measured_rate(self.unwatched)
                evaluations = max(SIZE, int(PLANNED_SHARE * hours * 3600 * rate))
        total = evaluations if evaluations is not None else search.evaluations
        assert total is not None  # a study gives evaluations or hours
        islands = max(1, min(search.islands, total // (LEAST_GENERATIONS * SIZE)))
        generations = -(-total // (islands * EPOCHS * SIZE))
        self.folder.write_study(self.study.text)
        return {
            "study": self.study.name,
            "study_hash": self.study.hash,
            "seed": search.seed if seed is None else seed,
            "evaluations": total,
            "hours": hours if rate else None,
            "measured_rate_per_s": rate,
            "islands": islands,
            "generation": SIZE,
            "epoch": SIZE * min(max(generations, SHORTEST_EPOCH), LONGEST_EPOCH),
            "phases": search.phases,
            "front_phases": search.front_phases,
            "keep": search.keep,
            "versions": {"python": platform.python_version(), **versions()},
            "host": socket.gethostname(),
            "started": _now(),
            "state": "planned",
            "evaluations_done": 0,
        }

    def _continued(self, about: dict[str, Any], evaluations: int | None, seed: int | None) -> dict[str, Any]:
        where = str(self.folder.location)
        remedy = "leave it out, or give another --out"
        for name, value in (("seed", seed), ("evaluations", evaluations)):
            if value is not None and value != about[name]:
                raise BadInput([Fault(f"--{name}", f"must be {about[name]}, as the run began", str(value), where, remedy)])
        front = self.folder.front()
        if front is not None:
            self.front = front
        if self.state and about["state"] != "done":
            self.folder.cut_progress(self.state.evaluations)
        self.volume = float(about.get("hypervolume") or 0.0)
        return {**about, "host": socket.gethostname()}

    def _baseline(self) -> None:
        designs = baseline_designs(self.study)
        if designs is None or "baseline" in self.about:
            return
        table = scored(designs, self.study.search.front_phases, self.score)
        self.folder.write_baseline(table, self._facts(self.study.search.front_phases))
        kept = {objective.name: _plain(table[objective.name].iloc[0]) for objective in OBJECTIVES}
        self.about["baseline"] = {
            "design": table["design"].iloc[0],
            "feasible": bool(table["feasible"].iloc[0]),
            "status": str(table["status"].iloc[0]) if "status" in table else "",
            "first_parent": baseline_genes(self.study) is not None,
            **kept,
        }
        self.folder.write_about(self.about)

    def _search(self) -> None:
        islands, total, length = self.about["islands"], self.about["evaluations"], self.about["epoch"]
        shares = [total // islands + (island < total % islands) for island in range(islands)]
        state = self.state or self._start(islands)
        self.state = state
        while state.evaluations < total:
            populations, emigrants, scores = [], [], []
            for island, share in enumerate(shares):
                count = min(length, share - state.epoch * length)
                # the ring: an island takes in what the one before it sent after the last epoch
                own, arriving = state.populations[island], state.emigrants[island - 1]
                population, sent, part = step(self.problem, own, arriving, self.about["seed"], island, state.epoch, count)
                self._keep(island, state.epoch, part)
                populations.append(population)
                emigrants.append(sent)
                scores += part
            state = self._checkpoint(state, populations, emigrants, scores)

    def _start(self, islands: int) -> State:
        populations = [Population.empty(self.problem)] * islands
        genes = baseline_genes(self.study)
        if genes is not None:
            evaluated, populations[0] = first(self.unwatched, genes)
            self._take_in([evaluated])
        return State(0, 0, 0, tuple(populations), (Population.empty(self.problem),) * islands)

    def _keep(self, island: int, epoch: int, scores: list[Evaluated]) -> None:
        if not scores:  # the island's share is used up
            return
        every = self.about["keep"] == "all"
        table = pd.concat([part.columns if every else part.columns[part.feasible] for part in scores], ignore_index=True)
        if self.about["keep"] == "front":
            table = self._thinned(table)
        self.folder.write_part(island, epoch, table, self._facts(self.about["phases"]))

    def _take_in(self, scores: list[Evaluated]) -> None:
        parts = [part.columns[part.feasible] for part in scores]
        self.front = self._thinned(pd.concat([part for part in (self.front, *parts) if len(part.columns)], ignore_index=True))

    def _thinned(self, table: pd.DataFrame) -> pd.DataFrame:
        """The front of a table at the study's resolution, in an order that does not depend on the table's."""
        costs = costs_of(table)
        rows = thin(costs, table["design"].tolist(), self.resolution)
        ids = table["design"].to_numpy(dtype=str)[rows]
        return table.iloc[rows[np.lexsort((ids, *costs[rows].T[::-1]))]].reset_index(drop=True)

    def _checkpoint(
        self, state: State, populations: list[Population], emigrants: list[Population], scores: list[Evaluated]
    ) -> State:
        """Take an epoch in: front first, then the state, so that a kill in between repeats the epoch and changes nothing."""
        self._take_in(scores)
        broken = dict(state.broken)
        for part in scores:
            names = [name for name in part.columns.columns if name.startswith("slack_")]
            counts = (part.columns[names].to_numpy(dtype=float) < 0).sum(axis=0)
            broken |= {name: broken.get(name, 0) + int(count) for name, count in zip(names, counts, strict=True)}
        state = State(
            state.epoch + 1,
            state.evaluations + sum(len(part) for part in scores),
            state.feasible + sum(int(part.feasible.sum()) for part in scores),
            tuple(populations),
            tuple(emigrants),
            state.bounds,
            broken,
        )
        if state.bounds is None and len(self.front) >= BOUNDED_BY:
            state = self._bounded(state)
        self.volume = self._volume(state, PROGRESS_EXACT, PROGRESS_SAMPLES)
        self.folder.write_front(self.front, self._facts(self.about["phases"]))
        self.folder.write_state(state)
        self.state, self.since_checkpoint = state, 0
        self.folder.add_progress({
            "evaluations": state.evaluations,
            "epoch": state.epoch - 1,
            "feasible": state.feasible,
            "front": len(self.front),
            "hypervolume": self.volume,
            "seconds": round(time.monotonic() - self.began, 3),
        })
        return state

    def _bounded(self, state: State) -> State:
        """The hypervolume is measured between the bounds of the front as it is now, from here on."""
        ideal, nadir = bounds_of(costs_of(self.front))
        return replace(state, bounds=(ideal.tolist(), nadir.tolist()))

    def _volume(self, state: State, exact_up_to: int, samples: int) -> float:
        return hypervolume(costs_of(self.front), *state.bounds, exact_up_to, samples) if state.bounds else 0.0

    def _score_front_again(self) -> None:
        """Score the front with more phases and thin it again; what turns out infeasible leaves it."""
        phases = self.about["front_phases"]
        if phases != self.about["phases"] and len(self.front):
            designs = self.front[list(self.study.space.domains)]
            parts = []
            for start in range(0, len(designs), CHUNK):
                self._tell("scoring the front again", start, len(designs))
                if self.stop():
                    raise Stopped
                parts.append(scored(designs.iloc[start : start + CHUNK], phases, self.score))
            table = pd.concat(parts, ignore_index=True)
            self.front = self._thinned(table[table["feasible"].to_numpy(dtype=bool)].reset_index(drop=True))
        assert self.state is not None
        if self.state.bounds is None and len(self.front):
            self.state = self._bounded(self.state)
        self.volume = self._volume(self.state, FINAL_EXACT, FINAL_SAMPLES)
        self.folder.write_front(self.front, self._facts(phases))

    def _finish(self, state: str) -> None:
        reached = self.state
        self.about |= {
            "state": state,
            "ended": _now(),
            "evaluations_done": reached.evaluations if reached else 0,
            "feasible_share": reached.feasible / max(reached.evaluations, 1) if reached else 0.0,
            "front": len(self.front),
            "hypervolume": self.volume,
            "hypervolume_bounds": reached.bounds if reached else None,
            "broken": self._broken(),
        }
        self.folder.write_about(self.about)

    def _fail(self) -> None:
        with contextlib.suppress(SweepFailure):  # the disk may be what failed
            self._finish("failed")

    def _broken(self) -> dict[str, float]:
        if not self.state or not self.state.evaluations:
            return {}
        ranked = sorted(self.state.broken.items(), key=lambda item: (-item[1], item[0]))
        return {name: count / self.state.evaluations for name, count in ranked if count}

    def _result(self) -> Result:
        return Result(
            self.folder,
            self.about["state"],
            self.front,
            self.about["evaluations_done"],
            self.about.get("feasible_share", 0.0),
            self.about.get("hypervolume", 0.0),
            self.about.get("broken", {}),
        )

    def _watched(self, genes: np.ndarray) -> Evaluated:
        """Scoring that stops when asked to and tells how far it is."""
        if self.stop():
            raise Stopped
        evaluated = self.unwatched.evaluate(genes)
        self.done_here += len(genes)
        self.since_checkpoint += len(genes)
        done = (self.state.evaluations if self.state else 0) + self.since_checkpoint
        self._tell("searching", min(done, self.about["evaluations"]), self.about["evaluations"])
        return evaluated

    def _tell(self, stage: str, done: int, total: int) -> None:
        if self.progress is None:
            return
        seconds, reached = time.monotonic() - self.began, self.state
        share = reached.feasible / max(reached.evaluations, 1) if reached else 0.0
        self.progress(Snapshot(stage, done, total, self.done_here / max(seconds, 1e-9), share, self.volume, len(self.front)))

    def _facts(self, phases: int) -> dict[str, str]:
        return {"study": self.study.name, "study_hash": self.study.hash, "phases": str(phases)}


def _plain(value: float) -> float | None:
    return float(value) if np.isfinite(value) else None


def _now() -> str:
    return datetime.datetime.now(datetime.UTC).isoformat(timespec="seconds")
