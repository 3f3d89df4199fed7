"""A sweep from a study to a folder with its front: checkpoints, stopping, resuming, scoring the front again."""

from __future__ import annotations

import contextlib
import socket
import time
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from os import PathLike
from typing import Any

import numpy as np
import pandas as pd

from sweep.archive import RunFolder, State
from sweep.columns import HOLDING
from sweep.designs import baseline_designs
from sweep.errors import BadInput, Fault, SweepFailure
from sweep.executors import RETRIES, Executor, TaskDied, executor
from sweep.front import OBJECTIVES
from sweep.gathering import Gathered
from sweep.islands import (
    Deadly,
    Plan,
    Setup,
    epochs,
    first_parents,
    score_designs,
    scored_in_chunks,
    spread_designs,
    spread_in_chunks,
    total_rate,
)
from sweep.location import Location
from sweep.locks import LOCK
from sweep.planning import evaluations_in, late, now, planned, spread, unknowns_of
from sweep.population import Population
from sweep.problem import Score, baseline_genes
from sweep.progress import Snapshot, duration
from sweep.stopping import Stopped, signals
from sweep.study import Study
from sweep.uncertainty import ROBUST_SAMPLES

#: designs that the cost of samples is told from
COST_DESIGNS = 16


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
    workers: int | None = None,
    ray: str | None = None,
    note: Callable[[str], None] | None = None,
    uncertainty: bool = False,
    robust: bool = False,
) -> Result:
    """Search a study's space and keep the front in a folder.

    ``out`` is ``results/<study name>`` if not given; ``evaluations``, ``hours`` and ``seed`` replace the study's. The front
    follows from study, seed and evaluations alone: it is the same after a kill or a stop and ``resume``, and with as many
    ``workers`` on this machine, or in Ray's cluster at the address ``ray``, as you like; with neither, the sweep runs in this
    process. Where ``hours`` are over before the evaluations are done, it also follows from the number of epochs that were,
    which run.json tells. ``stop`` is asked several times a second; so are Ctrl-C and SIGTERM. The study's baseline, where the
    space contains it, is one of the first parents. ``note`` is told what to know. With ``uncertainty``, or where the study has
    that table, the front is scored over a sample of the unknowns too; with ``robust`` the search goes for the percentiles.
    Either is fixed when the run begins, but samples of a finished run's front can be asked for later. Raises BadInput where
    the folder is not this study's, SweepFailure where the run cannot go on.
    """
    folder = RunFolder(Location.at(out or f"results/{study.slug}"))
    _refuse_strangers(folder)
    with folder.locked(), signals() as signalled:
        _check_run(folder, study, resume)
        folder.location.sweep_up()
        samples, robust = unknowns_of(folder, study, uncertainty, robust)
        setup = Setup(study, score, samples, robust)
        sweep = _Sweep(setup, folder, progress, lambda: signalled() or bool(stop and stop()), note)
        return sweep.go(evaluations, hours, seed, workers, ray)


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
        setup: Setup,
        folder: RunFolder,
        progress: Callable[[Snapshot], None] | None,
        stop: Callable[[], bool],
        note: Callable[[str], None] | None,
    ) -> None:
        self.setup, self.study, self.folder = setup, setup.study, folder
        self.progress, self.stop, self.note = progress, stop, note
        self.about: dict[str, Any] = {}
        self.gathered = Gathered(setup, folder)
        self.began, self.spent_before = time.monotonic(), 0.0
        self.stage = _Stage()

    def go(
        self, evaluations: int | None, hours: float | None, seed: int | None, workers: int | None, ray: str | None
    ) -> Result:
        about = self.folder.about()
        if about is None:
            self.about = planned(self.study, evaluations, hours, seed)
            self.about["uncertainty"] = self.setup.unknowns()
            if self.setup.robust:
                self._say(
                    f"Percentiles are the objectives: each feasible design is scored at {ROBUST_SAMPLES} samples of the "
                    f"unknowns too, which makes the search up to {1 + ROBUST_SAMPLES} times as long."
                )
        else:
            self.about = self._continued(about, evaluations, seed)
        if self.about["state"] == "done" and self.about.get("uncertainty") == self.setup.unknowns():
            return self._result()
        self.about["uncertainty"] = self.setup.unknowns()
        try:
            with executor(workers, ray, self._pulse) as runs:
                self.began = time.monotonic()
                self._write("running")
                self._baseline(runs)  # first, and alone: where nothing is compiled yet, one worker does it for all
                self._measure(runs)
                self._search(runs)
                self._score_front_again(runs)
            self._finish("done")
        except Stopped:
            self._finish("stopped")
        except Deadly as deadly:
            self._fail()
            raise self._killed(deadly) from deadly
        except (BadInput, SweepFailure):
            self._fail()
            raise
        except Exception as error:
            self._fail()
            raise SweepFailure(
                f"the sweep failed: {type(error).__name__}: {error}", self._safe(), "mend the cause, then --resume"
            ) from error
        return self._result()

    def _continued(self, about: dict[str, Any], evaluations: int | None, seed: int | None) -> dict[str, Any]:
        where = str(self.folder.location)
        remedy = "leave it out, or give another --out"
        for name, value in (("seed", seed), ("evaluations", evaluations)):
            if value is not None and value != about[name]:
                raise BadInput([Fault(f"--{name}", f"must be {about[name]}, as the run began", str(value), where, remedy)])
        self.gathered.restore(about)
        self.spent_before = max((float(line.get("seconds", 0)) for line in self.folder.progress()), default=0.0)
        return {**about, "host": socket.gethostname()}

    def _measure(self, runs: Executor) -> None:
        """Fix the number of evaluations, once for all, where hours were given; and with it islands and epochs."""
        about, search = self.about, self.study.search
        if about["evaluations"] is None:
            rate = total_rate(runs, self.setup, search.islands)
            about |= {"measured_rate_per_s": rate, "measured_on": runs.workers}
            each = rate / min(runs.workers, search.islands)
            about["evaluations"] = evaluations_in(about["hours"], each, runs.workers, search)
        if "epoch" not in about:
            about |= spread(about["evaluations"], search)
        about.setdefault("modelled", 0)  # of a run that an older version began
        self.folder.write_about(about)
        idle = runs.workers - about["islands"]
        if idle > 0:
            why = "as the study's [search] says"
            if about["islands"] < search.islands:
                why = f"since an island has {search.island_evaluations} evaluations at least"
            self._say(f"{runs.workers} workers for {about['islands']} islands, {why}: {idle} stay idle while searching.")

    def _baseline(self, runs: Executor) -> None:
        designs = baseline_designs(self.study)
        stored = self.folder.baseline() if "baseline" in self.about else None
        if designs is None or (stored is not None and (HOLDING in stored or not self.setup.samples)):
            return
        phases = self.study.search.front_phases
        table = _alone(runs, designs, score_designs, self.setup, designs, phases)
        if self.setup.samples:
            table = _alone(runs, designs, spread_designs, self.setup, table)
        self.folder.write_baseline(table, self.setup.facts(phases))
        kept = {objective.name: _plain(table[objective.name].iloc[0]) for objective in OBJECTIVES}
        self.about["baseline"] = {
            "design": table["design"].iloc[0],
            "feasible": bool(table["feasible"].iloc[0]),
            "status": str(table["status"].iloc[0]) if "status" in table else "",
            "first_parent": baseline_genes(self.study) is not None,
            **kept,
        }
        self.folder.write_about(self.about)

    def _search(self, runs: Executor) -> None:
        if "epochs" in self.about:  # the search is over
            return
        plan = Plan(*(self.about[name] for name in ("seed", "evaluations", "islands", "epoch", "generation", "modelled")))
        state, setup = self.gathered.state or self._first_parents(runs, plan), self.setup
        self.stage = _Stage("searching", plan.evaluations, state.evaluations)
        with contextlib.closing(epochs(runs, setup, plan, state)) as landing:
            for landed in landing:
                seconds = self.spent_before + time.monotonic() - self.began
                state = self.gathered.checkpoint(landed, seconds)
                self.stage.done = state.evaluations
                self._tell()
                if late(self.about, seconds, state.epoch, state.evaluations, len(self.gathered.front), setup.samples):
                    break
        self.about["epochs"] = state.epoch
        self.folder.write_about(self.about)

    def _first_parents(self, runs: Executor, plan: Plan) -> State:
        populations = [Population.empty(self.setup.problem(self._pulse))] * plan.islands
        genes, outcomes = baseline_genes(self.study), []
        if genes is not None:
            designs = self.study.space.decode(genes)
            populations[0], outcome = _alone(runs, designs, first_parents, self.setup, genes)
            outcomes.append(outcome)
        return self.gathered.begin(populations, outcomes)

    def _score_front_again(self, runs: Executor) -> None:
        """Score the front with more phases, and over samples, and thin it again; what turns out infeasible leaves it."""
        phases, front, setup = self.about["front_phases"], self.gathered.front, self.setup
        again = phases != self.about["phases"]
        if again and len(front):
            designs = front[list(self.study.space.domains)]
            front = self._staged("scoring the front again", len(front), scored_in_chunks(runs, setup, designs, phases))
            front = front[front["feasible"].to_numpy(dtype=bool)].reset_index(drop=True)
            if not setup.robust:
                front = setup.thinned(front)
        if setup.samples and len(front):
            self._say_cost(front, runs.workers)
            front = self._staged("scoring over samples", len(front), spread_in_chunks(runs, setup, front))
        if setup.robust and len(front):
            front = setup.thinned(front)
        self.gathered.finish(front, phases)

    def _staged(self, name: str, total: int, parts: Iterator[pd.DataFrame]) -> pd.DataFrame:
        """All parts of a table, told as they come."""
        self.stage, taken = _Stage(name, total), []
        for part in parts:
            taken.append(part)
            self.stage.done += len(part)
            self._tell()
        return pd.concat(taken, ignore_index=True)

    def _say_cost(self, front: pd.DataFrame, workers: int) -> None:
        """How long the samples will take, from scoring a few of the front's designs here."""
        designs, count = front[list(self.study.space.domains)].head(COST_DESIGNS), self.setup.samples + 1
        score = self.setup.scoring(lambda scored: None)
        score(designs.head(1), self.about["phases"])  # what happens only once is not counted
        began = time.perf_counter()
        score(designs, self.about["phases"])
        seconds = (time.perf_counter() - began) / len(designs) * len(front) * count / workers
        self._say(f"{len(front)} designs are scored at {count - 1} samples of the unknowns each: about {duration(seconds)}.")

    def _say(self, text: str) -> None:
        if self.note:
            self.note(text)

    def _write(self, state: str) -> None:
        self.about["state"] = state
        if not self.folder.location.exists("study.toml"):
            self.folder.write_study(self.study.text)
        self.folder.write_about(self.about)

    def _finish(self, state: str) -> None:
        self.about |= {"ended": now(), **self.gathered.facts()}
        self._write(state)

    def _fail(self) -> None:
        if self.about["state"] == "running":  # else nothing has begun
            with contextlib.suppress(SweepFailure):  # the disk may be what failed
                self._finish("failed")

    def _safe(self) -> str:
        return f"{self.folder.location}, up to {self.gathered.evaluations} evaluations"

    def _killed(self, deadly: Deadly) -> SweepFailure:
        """Save the candidates that keep killing their worker, and say where."""
        what = f"the worker of {deadly.task} died {RETRIES + 1} times"
        if not len(deadly.designs):
            remedy = "look whether memory ran out, then --resume"
            return SweepFailure(f"{what}, though each of its candidates can be scored alone", self._safe(), remedy)
        name = self.folder.write_killers(deadly.designs)
        count = len(deadly.designs)
        which = "the candidate that kills it is" if count == 1 else f"the {count} candidates that kill it are"
        remedy = f"keep such designs out of the study's space and give another --out, or report {name} with the study"
        return SweepFailure(f"{what}; {which} in {self.folder.location.place_of(name)}", self._safe(), remedy)

    def _result(self) -> Result:
        about = self.about
        return Result(
            self.folder,
            about["state"],
            self.gathered.front,
            about["evaluations_done"],
            about.get("feasible_share", 0.0),
            about.get("hypervolume", 0.0),
            about.get("broken", {}),
        )

    def _pulse(self, scored: int) -> None:
        """Told by tasks in this process after every few candidates, and while waiting for others."""
        if self.stop():
            raise Stopped
        if scored and self.stage.name == "searching":
            self.stage.done = min(self.stage.done + scored, self.stage.total)
            self._tell()

    def _tell(self) -> None:
        if self.progress is not None:
            stage, has = self.stage, self.gathered
            share = has.feasible_share
            self.progress(Snapshot(stage.name, stage.done, stage.total, stage.rate, share, has.volume, len(has.front)))


class _Stage:
    """What the sweep is at, and how fast it goes."""

    def __init__(self, name: str = "starting", total: int = 0, done: int = 0) -> None:
        self.name, self.total, self.done, self._from = name, total, done, done
        self._began = time.monotonic()

    @property
    def rate(self) -> float:
        return (self.done - self._from) / max(time.monotonic() - self._began, 1e-9)


def _alone(runs: Executor, designs: pd.DataFrame, task: Callable[..., Any], *arguments: Any) -> Any:
    """What a task returns that is about a few designs."""
    try:
        return runs.value(runs.submit(task, *arguments)[0])
    except TaskDied as death:
        raise Deadly(designs, "the baseline", str(death)) from death


def _plain(value: float) -> float | None:
    return float(value) if np.isfinite(value) else None
