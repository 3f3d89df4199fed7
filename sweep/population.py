"""Candidates of a search: the axes they lie on, how they scored, and those that may become parents."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Protocol

import numpy as np
import pandas as pd

#: violation of a candidate that breaks nothing but has an objective that is not a number
UNKNOWN = 1e30


class Gene(Protocol):
    """One axis of the search: ``real`` or ``integer`` from ``low`` to ``high``, or ``choice`` of ``options`` positions."""

    @property
    def name(self) -> str: ...
    @property
    def kind(self) -> str: ...
    @property
    def low(self) -> float: ...
    @property
    def high(self) -> float: ...
    @property
    def options(self) -> int: ...


@dataclass(frozen=True)
class Evaluated:
    """Candidates and how they scored. ``columns`` is what is to be stored of them, one row each."""

    genes: np.ndarray  # (n, d)
    objectives: np.ndarray  # (n, m), each in its own unit and sense
    violation: np.ndarray  # (n,) 0 where feasible
    slacks: np.ndarray  # (n, k) of each constraint over its scale, nan where it is not known; k may be 0
    columns: pd.DataFrame

    def __len__(self) -> int:
        return len(self.genes)

    @property
    def feasible(self) -> np.ndarray:
        """No constraint broken and every objective a number, (n,)."""
        known = np.asarray(np.isfinite(self.objectives).all(axis=1))
        return known & (self.violation <= 0)


@dataclass(frozen=True)
class Problem:
    """What is searched: the axes, the senses of the objectives and how a batch of candidates is scored."""

    genes: Sequence[Gene]
    maximise: tuple[bool, ...]
    evaluate: Callable[[np.ndarray], Evaluated]


@dataclass(frozen=True)
class Population:
    """Candidates that may become parents, in a fixed order, each once. Costs are minimised and finite where feasible."""

    genes: np.ndarray  # (n, d)
    costs: np.ndarray  # (n, m)
    violation: np.ndarray  # (n,)
    slacks: np.ndarray  # (n, k), for a surrogate; k is 0 where none is made

    def __len__(self) -> int:
        return len(self.genes)

    def take(self, rows: np.ndarray) -> Population:
        return Population(*(part[rows] for part in self.parts))

    @property
    def parts(self) -> tuple[np.ndarray, ...]:
        """The arrays, by candidate."""
        return self.genes, self.costs, self.violation, self.slacks

    @property
    def bare(self) -> Population:
        """Without slacks."""
        return Population(self.genes, self.costs, self.violation, self.slacks[:, :0])

    @staticmethod
    def empty(problem: Problem) -> Population:
        none = np.empty((0, 0))
        return Population(np.empty((0, len(problem.genes))), np.empty((0, len(problem.maximise))), np.empty(0), none)


def joined(*populations: Population) -> Population:
    """One population of several, in their order; empty ones may lack slacks."""
    some = [population for population in populations if len(population)] or [populations[0]]
    return Population(*map(np.concatenate, zip(*(population.parts for population in some), strict=True)))


def gathered(*populations: Population) -> Population:
    """One population of several, sorted by genes and without repetitions: the order of the parts does not matter."""
    together = joined(*populations)
    return together.take(in_order(together.genes))


def in_order(genes: np.ndarray) -> np.ndarray:
    """Rows sorted by genes, the first of each."""
    order = np.lexsort(genes.T[::-1]) if genes.shape[1] else np.arange(len(genes))[:1]
    fresh = np.ones(len(order), dtype=bool)
    fresh[1:] = np.any(genes[order][1:] != genes[order][:-1], axis=1)
    return order[fresh]


def as_population(problem: Problem, evaluated: Evaluated) -> Population:
    """Costs and violations as the search takes them: a missing objective makes all costs infinite and breaks a constraint, by
    ``UNKNOWN`` where no other violation is told."""
    costs = np.where(problem.maximise, -evaluated.objectives, evaluated.objectives)
    known = np.asarray(np.isfinite(costs).all(axis=1))
    violation = np.where(np.isnan(evaluated.violation), UNKNOWN, np.maximum(evaluated.violation, 0.0))
    return Population(
        np.array(evaluated.genes, dtype=float),
        np.where(known[:, None], costs, np.inf),
        np.where(known | (violation > 0), np.minimum(violation, UNKNOWN), UNKNOWN),
        np.array(evaluated.slacks, dtype=float),
    )
