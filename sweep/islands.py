"""Epochs and ring migration as a dataflow, and the tasks that a sweep is made of.

An epoch of an island needs the island's own population and what the one before it in the ring sent, both of the epoch before,
and nothing else: so islands run as far ahead of each other as that allows, on whatever workers there are.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Generator, Iterator, Mapping
from dataclasses import dataclass, replace
from functools import partial
from typing import Any

import numpy as np
import pandas as pd

from objectives.compiling import compile_apart
from sweep.archive import State, to_parquet
from sweep.executors import Executor, Pulse, TaskDied
from sweep.front import OBJECTIVES, Objective, thinned
from sweep.guarding import failures, guarded, piece
from sweep.population import Evaluated, Population, Problem
from sweep.problem import Score, measured_rate, scored, scoring_of, study_problem
from sweep.search import SIZE, first, step
from sweep.study import Study
from sweep.uncertainty import ROBUST, base_of, robust, score_differing, spread_names, with_spread

#: epochs that are handed out beyond the one whose results are taken: enough to keep workers busy, few enough for memory
AHEAD = 3
#: pieces that a task scores which takes designs over samples
SPREAD_PIECES = 8


@dataclass(frozen=True)
class Setup:
    """What every task is given. Without ``score`` the mechanics score against the study's scenario.

    ``samples`` is how many samples of the unknowns the front is scored over, 0 for none; with ``robust`` percentiles over some
    of them are the objectives of the search.
    """

    study: Study
    score: Score | None = None
    samples: int = 0
    robust: bool = False

    def unknowns(self) -> dict[str, Any] | None:
        """What run.json says of them; None where they are not looked at."""
        if not self.samples:
            return None
        told = self.study.uncertainty
        spreads = {name: str(spread) for name, spread in told.spreads.items()}
        return {"samples": self.samples, "robust": self.robust, "spreads": spreads, "floor_condition": dict(told.floor)}

    @property
    def objectives(self) -> tuple[Objective, ...]:
        return ROBUST if self.robust else OBJECTIVES

    @property
    def resolution(self) -> dict[str, float]:
        """The study's resolution by the names of the objectives."""
        return {entry.name: self.study.search.resolution[base_of(entry.name)] for entry in self.objectives}

    def scoring(self, pulse: Pulse) -> Score:
        if self.score is not None:
            return guarded(self.score, pulse)
        score = guarded(scoring_of(self.study), pulse)

        def compiled_first(designs: pd.DataFrame, phases: int) -> pd.DataFrame:
            compile_apart(designs, self.study.scenario, lambda: pulse(0))
            return score(designs, phases)

        return compiled_first

    def differing_score(self, pulse: Pulse) -> Score:
        """Scoring of designs that differ from their tables."""
        return guarded(self.score or partial(score_differing, study=self.study), pulse)

    def problem(self, pulse: Pulse) -> Problem:
        score = self.scoring(pulse)
        if self.robust:  # samples are no candidates: they are not counted

            def uncounted(scored: int) -> None:
                pulse(0)

            score = robust(score, self.differing_score(uncounted), self.study)
        return study_problem(self.study, self.study.search.phases, score, self.objectives)

    def thinned(self, table: pd.DataFrame) -> pd.DataFrame:
        """The front of a table of scored designs."""
        return thinned(table, self.resolution, self.objectives)

    def facts(self, phases: int) -> dict[str, str]:
        """What is stored with each table."""
        return {"study": self.study.name, "study_hash": self.study.hash, "phases": str(phases)}


@dataclass(frozen=True)
class Plan:
    """How a number of evaluations is spread over islands and epochs. Counts alone decide, no clock."""

    seed: int
    evaluations: int
    islands: int
    epoch: int  # evaluations of an island's epoch
    generation: int = SIZE  # candidates of a generation and of a population
    modelled: int = 0  # an island's first evaluations that a surrogate model proposes

    def count(self, island: int, epoch: int) -> int:
        """Evaluations of one epoch of one island; the first islands take what does not divide."""
        share = self.evaluations // self.islands + (island < self.evaluations % self.islands)
        return max(0, min(self.epoch, share - epoch * self.epoch))

    def modelled_in(self, epoch: int) -> int:
        """How many of an epoch's evaluations a surrogate model proposes."""
        return max(0, min(self.epoch, self.modelled - epoch * self.epoch))

    @property
    def epochs(self) -> int:
        return -(-self.evaluations // self.islands // self.epoch) if self.evaluations else 0


@dataclass(frozen=True)
class Outcome:
    """What is kept of some candidates: little, whatever their number."""

    part: bytes | None  # what the study keeps of them, as Parquet
    front: pd.DataFrame
    evaluations: int
    feasible: int
    broken: Mapping[str, int]  # how many candidates broke each constraint
    failed: pd.DataFrame  # designs that made scoring raise, and the message


@dataclass(frozen=True)
class Landed:
    """An epoch of an island that is done."""

    population: Population
    emigrants: Population
    outcome: Outcome


def epochs(executor: Executor, setup: Setup, plan: Plan, state: State) -> Generator[list[Landed], None, None]:
    """The epochs after ``state``, in order, each with all islands in order. At most ``AHEAD`` more are under way."""
    shared = executor.share(setup)
    own: list[object] = list(state.populations)
    sent: list[object] = list(state.emigrants)
    before = state.populations, state.emigrants
    under_way: deque[list[tuple[object, ...]]] = deque()

    def take(epoch: int) -> list[Landed]:
        nonlocal before
        landed: list[Landed] = []
        for island, references in enumerate(under_way[0]):
            try:
                landed.append(Landed(*(executor.value(reference) for reference in references)))
            except TaskDied as death:
                drop()
                designs = killers(executor, setup, plan, before[0][island], before[1][island - 1], island, epoch)
                raise Deadly(designs, f"epoch {epoch} of island {island}", str(death)) from death
        under_way.popleft()
        before = tuple(each.population for each in landed), tuple(each.emigrants for each in landed)
        return landed

    def drop() -> None:
        for tasks in under_way:
            for references in tasks:
                executor.cancel(references[0])
        under_way.clear()

    try:
        for epoch in range(state.epoch, plan.epochs):
            tasks = [
                # the ring: an island takes in what the one before it sent after the last epoch
                executor.submit(island_epoch, shared, own[i], sent[i - 1], plan, i, epoch, results=3)
                for i in range(plan.islands)
            ]
            own, sent = [task[0] for task in tasks], [task[1] for task in tasks]
            under_way.append(tasks)
            if len(under_way) > AHEAD:
                yield take(epoch - AHEAD)
        while under_way:
            yield take(plan.epochs - len(under_way))
    finally:
        drop()


class Deadly(Exception):  # noqa: N818
    """Candidates that keep killing their worker; none where a repetition found none."""

    def __init__(self, designs: pd.DataFrame, task: str, death: str) -> None:
        self.designs, self.task, self.death = designs, task, death
        super().__init__(designs, task, death)


def island_epoch(
    pulse: Pulse, setup: Setup, population: Population, immigrants: Population, plan: Plan, island: int, epoch: int
) -> tuple[Population, Population, Outcome]:
    """Task: an epoch of one island."""
    count = plan.count(island, epoch)
    evolved, emigrants, parts = step(
        setup.problem(pulse), population, immigrants, plan.seed, island, epoch, count, plan.generation, plan.modelled_in(epoch)
    )
    return evolved, emigrants, outcome(setup, parts)


def first_parents(pulse: Pulse, setup: Setup, genes: np.ndarray) -> tuple[Population, Outcome]:
    """Task: given candidates as a population to begin from."""
    evaluated, population = first(setup.problem(pulse), genes)
    return population, outcome(setup, [evaluated])


def score_designs(pulse: Pulse, setup: Setup, designs: pd.DataFrame, phases: int) -> pd.DataFrame:
    """Task: designs with their outputs beside them."""
    return scored(designs, phases, setup.scoring(pulse))


def spread_designs(pulse: Pulse, setup: Setup, table: pd.DataFrame) -> pd.DataFrame:
    """Task: scored designs with percentiles over the samples beside them."""
    bare = table.drop(columns=[name for name in spread_names(table.columns) if name in table])
    score = setup.differing_score(lambda scored: pulse(0))
    found = with_spread(bare, setup.study, setup.samples, setup.study.search.phases, score)
    pulse(len(table))
    return found


def score_genes(pulse: Pulse, setup: Setup, genes: np.ndarray) -> Evaluated:
    """Task: candidates of a generation."""
    return setup.problem(pulse).evaluate(genes)


def rate(pulse: Pulse, setup: Setup) -> float:
    """Task: candidates per second that a search scores here."""
    return measured_rate(setup.problem(pulse))


def outcome(setup: Setup, parts: list[Evaluated]) -> Outcome:
    """What is kept of generations."""
    if not parts:  # the island's share is used up
        return Outcome(None, pd.DataFrame(), 0, 0, {}, pd.DataFrame())
    search = setup.study.search
    table = pd.concat([part.columns for part in parts], ignore_index=True)
    feasible = table[np.concatenate([part.feasible for part in parts])].reset_index(drop=True)
    front = setup.thinned(feasible)
    kept = {"all": table, "feasible": feasible, "front": front}[search.keep]
    names = [str(name) for name in table.columns if str(name).startswith("slack_")]
    counts = (table[names].to_numpy(dtype=float) < 0).sum(axis=0)
    broken = {name: int(count) for name, count in zip(names, counts, strict=True) if count}
    failed = failures(table)[["design", *setup.study.space.domains, "status"]] if len(failures(table)) else pd.DataFrame()
    return Outcome(to_parquet(kept, setup.facts(search.phases)), front, len(table), len(feasible), broken, failed)


def scored_in_chunks(
    executor: Executor, setup: Setup, designs: pd.DataFrame, phases: int
) -> Iterator[pd.DataFrame]:
    """Designs scored on all workers, a table per chunk, in order."""
    return _in_chunks(executor, setup, designs, piece(phases), f"at {phases} phases", score_designs, phases)


def spread_in_chunks(executor: Executor, setup: Setup, table: pd.DataFrame) -> Iterator[pd.DataFrame]:
    """Scored designs with their percentiles, on all workers, a table per chunk, in order."""
    size = max(1, SPREAD_PIECES * piece(setup.study.search.phases) // setup.samples)
    return _in_chunks(executor, setup, table, size, f"over {setup.samples} samples", spread_designs)


def _in_chunks(
    executor: Executor, setup: Setup, designs: pd.DataFrame, size: int, how: str, task: Callable[..., pd.DataFrame],
    *more: object,
) -> Iterator[pd.DataFrame]:
    shared = executor.share(setup)
    under_way: deque[tuple[pd.DataFrame, object]] = deque()

    def taken() -> pd.DataFrame:
        chunk, reference = under_way.popleft()
        try:
            return executor.value(reference)
        except TaskDied as death:
            raise Deadly(chunk.reset_index(drop=True), f"a chunk of the front {how}", str(death)) from death

    for start in range(0, len(designs), size):
        chunk = designs.iloc[start : start + size]
        under_way.append((chunk, *executor.submit(task, shared, chunk, *more)))
        if len(under_way) > AHEAD * executor.workers:
            yield taken()
    while under_way:
        yield taken()


def total_rate(executor: Executor, setup: Setup, islands: int) -> float:
    """Candidates per second of all workers that islands can keep busy, measured on them at once."""
    shared = executor.share(setup)
    asked = [executor.submit(rate, shared)[0] for _ in range(min(executor.workers, islands))]
    return sum(executor.value(reference) for reference in asked)


def killers(
    executor: Executor, setup: Setup, plan: Plan, population: Population, immigrants: Population, island: int, epoch: int
) -> pd.DataFrame:
    """The candidates of an epoch that kill their worker; an empty table where they do not when they are scored alone.

    The epoch is repeated here, with its generations scored by tasks. One that dies is halved until the candidate is found.
    """
    shared = executor.share(setup)
    retries = 1

    class Found(Exception):  # noqa: N818
        pass

    def evaluate(genes: np.ndarray) -> Evaluated:
        nonlocal retries
        try:
            return executor.value(executor.submit(score_genes, shared, genes, retries=retries)[0])
        except TaskDied:
            retries = 0  # it is in here
            half = len(genes) // 2
            for part in (genes[:half], genes[half:]) if half else ():
                evaluate(part)
            raise Found(genes) from None

    problem = replace(setup.problem(lambda scored: None), evaluate=evaluate)
    try:
        count, modelled = plan.count(island, epoch), plan.modelled_in(epoch)
        step(problem, population, immigrants, plan.seed, island, epoch, count, plan.generation, modelled)
    except Found as found:
        return setup.study.space.decode(found.args[0])
    return setup.study.space.decode(np.empty((0, len(problem.genes))))
