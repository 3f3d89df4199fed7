"""What a sweep has gathered: the front, the state to go on from, what went wrong; and its way into the run's folder."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace
from typing import Any

import pandas as pd

from sweep.archive import RunFolder, State
from sweep.errors import BadInput, Fault
from sweep.front import bounds_of, costs_of, hypervolume
from sweep.islands import Landed, Outcome, Setup
from sweep.population import Population

#: designs that made scoring raise that are kept, the first ones
FAILED_KEPT = 1000
#: points up to which the hypervolume is exact, and directions beyond: while searching, where it must cost little, and at last
PROGRESS_EXACT, PROGRESS_SAMPLES = 400, 2048
FINAL_EXACT, FINAL_SAMPLES = 5000, 65_536
#: designs that the front must hold for its bounds to be taken; before, the hypervolume is told as 0
BOUNDED_BY = 20


class Gathered:
    """Front and state as they are now. Grows with the front alone, not with the number of evaluations."""

    def __init__(self, setup: Setup, folder: RunFolder) -> None:
        self.setup, self.folder = setup, folder
        self.state: State | None = folder.state()
        self.front = pd.DataFrame()
        self.failed = pd.DataFrame()
        self.volume = 0.0

    @property
    def evaluations(self) -> int:
        return self.state.evaluations if self.state else 0

    @property
    def feasible_share(self) -> float:
        return self.state.feasible / max(self.state.evaluations, 1) if self.state else 0.0

    def restore(self, about: dict[str, Any]) -> None:
        """Take up what the folder holds. What it says beyond the state was cut off in the writing and comes again."""
        front = self.folder.front()
        if front is not None:
            self.front = front
        elif self.evaluations:  # each epoch writes the front before the state
            rule, remedy = "must be there beside the state", "copy the file back, or sweep anew with another --out"
            raise BadInput([Fault("front.parquet", rule, "nothing", str(self.folder.location), remedy)])
        self.volume = float(about.get("hypervolume") or 0.0)
        if self.state and about["state"] != "done":
            self.folder.cut_progress(self.state.evaluations)
            failed = self.folder.failed()
            self.failed = failed[failed["epoch"] < self.state.epoch] if len(failed) else failed

    def begin(self, populations: list[Population], outcomes: list[Outcome]) -> State:
        """The state before the first epoch."""
        empty = Population.empty(self.setup.problem(lambda scored: None))
        self._take_in(outcomes)
        self.state = State(0, 0, 0, tuple(populations), (empty,) * len(populations))
        return self.state

    def checkpoint(self, landed: list[Landed], seconds: float) -> State:
        """Take an epoch in: front first, then the state, so that a kill in between repeats the epoch and changes nothing."""
        before, phases = self.state, self.setup.study.search.phases
        assert before is not None
        outcomes = [island.outcome for island in landed]
        for island, outcome in enumerate(outcomes):
            if outcome.part is not None:
                self.folder.write_part(island, before.epoch, outcome.part)
        self._take_in(outcomes)
        self._take_failed(outcomes, before.epoch)
        state = State(
            before.epoch + 1,
            before.evaluations + sum(outcome.evaluations for outcome in outcomes),
            before.feasible + sum(outcome.feasible for outcome in outcomes),
            tuple(island.population for island in landed),
            tuple(island.emigrants for island in landed),
            before.bounds,
            dict(sum((Counter(outcome.broken) for outcome in outcomes), Counter(before.broken))),
            before.failed + sum(len(outcome.failed) for outcome in outcomes),
        )
        if len(self.front) >= BOUNDED_BY:
            state = self._bounded(state)
        self.volume = self._volume(state, PROGRESS_EXACT, PROGRESS_SAMPLES)
        self.folder.write_front(self.front, self.setup.facts(phases))
        self.folder.write_state(state)
        self.folder.add_progress({
            "evaluations": state.evaluations,
            "epoch": before.epoch,
            "feasible": state.feasible,
            "front": len(self.front),
            "hypervolume": self.volume,
            "seconds": round(seconds, 3),
        })
        self.state = state
        return state

    def finish(self, front: pd.DataFrame, phases: int) -> None:
        """Take the front as it is left."""
        self.front = front
        assert self.state is not None
        if len(self.front):
            self.state = self._bounded(self.state)
        self.volume = self._volume(self.state, FINAL_EXACT, FINAL_SAMPLES)
        self.folder.write_front(self.front, self.setup.facts(phases))

    def facts(self) -> dict[str, Any]:
        """What run.json says of it."""
        return {
            "evaluations_done": self.evaluations,
            "feasible_share": self.feasible_share,
            "failed": self.state.failed if self.state else 0,
            "front": len(self.front),
            "hypervolume": self.volume,
            "hypervolume_bounds": self.state.bounds if self.state else None,
            "broken": self._broken(),
        }

    def _take_in(self, outcomes: list[Outcome]) -> None:
        """Thin parts, then their union: the same as thinning all there ever was."""
        parts = [part for part in (self.front, *(outcome.front for outcome in outcomes)) if len(part.columns)]
        if parts:
            self.front = self.setup.thinned(pd.concat(parts, ignore_index=True))

    def _take_failed(self, outcomes: list[Outcome], epoch: int) -> None:
        new = [part.failed.assign(island=island, epoch=epoch) for island, part in enumerate(outcomes) if len(part.failed)]
        if new and len(self.failed) < FAILED_KEPT:
            self.failed = pd.concat([part for part in (self.failed, *new) if len(part)], ignore_index=True)[:FAILED_KEPT]
            self.folder.write_failed(self.failed, self.setup.facts(self.setup.study.search.phases))

    def _bounded(self, state: State) -> State:
        """The hypervolume is measured between the bounds of the front as it was when they were first taken."""
        if state.bounds is not None:
            return state
        ideal, nadir = bounds_of(costs_of(self.front, self.setup.objectives))
        return replace(state, bounds=(ideal.tolist(), nadir.tolist()))

    def _volume(self, state: State, exact_up_to: int, samples: int) -> float:
        costs = costs_of(self.front, self.setup.objectives)
        return hypervolume(costs, *state.bounds, exact_up_to, samples) if state.bounds else 0.0

    def _broken(self) -> dict[str, float]:
        if not self.state or not self.state.evaluations:
            return {}
        ranked = sorted(self.state.broken.items(), key=lambda item: (-item[1], item[0]))
        return {name: count / self.state.evaluations for name, count in ranked if count}
