"""Fronts of different studies against each other: coverage, hypervolume between common bounds, who wins where."""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from objectives.scenario import Scenario
from sweep.front import OBJECTIVES, bounds_of, costs_of, hypervolume, nondominated

#: parts that each objective's common range is cut into
PARTS = 3
PART_NAMES = ("best third", "middle third", "worst third")
#: steps of the lattice of weights: with five objectives 126 weightings
LATTICE = 5
#: weight of the sum beside the largest weighted cost, so that no weakly dominated design is chosen
AUGMENTATION = 0.01


@dataclass(frozen=True)
class Front:
    """A front that takes part: what it is called, its designs, and what it was judged by."""

    name: str
    designs: pd.DataFrame
    scenario: Scenario
    phases: int

    @property
    def costs(self) -> np.ndarray:
        return costs_of(self.designs)


@dataclass(frozen=True)
class Comparison:
    """Fronts side by side. f fronts, m objectives; shares are 0 to 1, positions in the order of ``fronts``."""

    fronts: tuple[Front, ...]
    ideal: np.ndarray  # (m,) costs: best of all fronts
    nadir: np.ndarray  # (m,) worst of all fronts
    coverage: np.ndarray  # (f, f) share of the column's designs that some design of the row is no worse than
    hypervolume: np.ndarray  # (f,) share of the common box
    hypervolume_together: float
    alone: np.ndarray  # (f,) what the common hypervolume would lose without this front, as a share of it
    on_common_front: np.ndarray  # (f,) designs that no other front's design dominates
    thirds: np.ndarray  # (m, PARTS, f) hypervolume of the designs in that part of the objective's range, in the others
    weightings: np.ndarray  # (m + 1, f) share of weightings won: by the objective that weighs most, all of them last
    cautions: tuple[str, ...]

    @property
    def names(self) -> tuple[str, ...]:
        return tuple(front.name for front in self.fronts)

    def winner(self, objective: int, part: int) -> int | None:
        """The front with most hypervolume in a part of an objective's range, None where nobody is there or two are even."""
        shares = self.thirds[objective, part]
        best = int(np.argmax(shares))
        return best if shares[best] > 0 and np.sum(shares == shares[best]) == 1 else None


def compare(fronts: Sequence[Front]) -> Comparison:
    """Compare fronts, each with a design at least."""
    costs = [front.costs for front in fronts]
    together = np.concatenate(costs)
    ideal, nadir = bounds_of(together)
    volume = hypervolume(together, ideal, nadir)
    without = [
        hypervolume(np.concatenate([*costs[:k], *costs[k + 1 :]]), ideal, nadir) if len(costs) > 1 else 0.0
        for k in range(len(costs))
    ]
    best = nondominated(together)
    owner = np.repeat(np.arange(len(costs)), [len(one) for one in costs])
    return Comparison(
        fronts=tuple(fronts),
        ideal=ideal,
        nadir=nadir,
        coverage=np.array([[coverage(one, other) for other in costs] for one in costs]),
        hypervolume=np.array([hypervolume(one, ideal, nadir) for one in costs]),
        hypervolume_together=volume,
        alone=np.array([(volume - other) / volume if volume > 0 else 0.0 for other in without]),
        on_common_front=np.bincount(owner[best], minlength=len(costs)),
        thirds=_thirds(costs, ideal, nadir),
        weightings=_weightings(costs, ideal, nadir),
        cautions=tuple(_cautions(fronts)),
    )


def coverage(one: np.ndarray, other: np.ndarray) -> float:
    """Share of the designs of ``other`` that some design of ``one`` is no worse than in every objective [-].

    C(A, B) = |{b in B: some a in A weakly dominates b}|/|B|

    Parameters
    ----------
    one : array
        costs of A [each objective's own unit], shape (n, m)
    other : array
        costs of B [each objective's own unit], shape (k, m), k of 1 at least

    Returns
    -------
    float
        C [-], 0 to 1; 1 of a front with itself. C(A, B) + C(B, A) need not be 1.

    Validity: any two sets of the same objectives without nan.

    Source: Zitzler and Thiele, IEEE Trans. Evol. Comput. 3 (1999) 257.

    >>> coverage(np.array([[0.0, 1.0], [1.0, 0.0]]), np.array([[0.0, 2.0], [0.5, 0.5]]))
    0.5
    """
    covered = [bool(np.any(np.all(one <= design, axis=1))) for design in other]
    return float(np.mean(covered))


def _thirds(costs: Sequence[np.ndarray], ideal: np.ndarray, nadir: np.ndarray) -> np.ndarray:
    """Hypervolume in the other objectives of each front's designs within each part of an objective's range, (m, PARTS, f)."""
    count = len(ideal)
    found = np.zeros((count, PARTS, len(costs)))
    for k in range(count):
        rest = [j for j in range(count) if j != k]
        edges = np.linspace(ideal[k], nadir[k], PARTS + 1)
        for part, (front, one) in itertools.product(range(PARTS), enumerate(costs)):
            above = one[:, k] >= edges[part] if part == 0 else one[:, k] > edges[part]
            inside = one[above & (one[:, k] <= edges[part + 1])][:, rest]
            found[k, part, front] = hypervolume(inside, ideal[rest], nadir[rest])
    return found


def weights(count: int) -> np.ndarray:
    """All weightings of ``count`` objectives in steps of 1/LATTICE that add up to 1 (Das and Dennis 1998), shape (w, count).

    >>> weights(2).tolist()
    [[0.0, 1.0], [0.2, 0.8], [0.4, 0.6], [0.6, 0.4], [0.8, 0.2], [1.0, 0.0]]
    """
    bars = itertools.combinations(range(LATTICE + count - 1), count - 1)
    steps = [np.diff([-1, *bar, LATTICE + count - 1]) - 1 for bar in bars]
    return np.array(steps) / LATTICE


def _weightings(costs: Sequence[np.ndarray], ideal: np.ndarray, nadir: np.ndarray) -> np.ndarray:
    """Share of weightings that each front wins, by the objective that weighs most, (m + 1, f); even ones are shared.

    Of a weighting the best design is that with the smallest largest weighted cost (augmented Chebyshev).
    """
    spans = np.where(nadir > ideal, nadir - ideal, 1.0)
    scaled = [(one - ideal) / spans for one in costs]
    lattice = weights(len(ideal))
    reached = np.column_stack([
        [float(np.min(np.max(one * w, axis=1) + AUGMENTATION * one.sum(axis=1))) for w in lattice] for one in scaled
    ])
    won = reached <= reached.min(axis=1, keepdims=True)
    shares = won / won.sum(axis=1, keepdims=True)
    heaviest = lattice == lattice.max(axis=1, keepdims=True)
    alone = heaviest.sum(axis=1) == 1
    rows = [shares[alone & heaviest[:, k]].mean(axis=0) for k in range(len(ideal))]
    return np.array([*rows, shares.mean(axis=0)])


def _cautions(fronts: Sequence[Front]) -> list[str]:
    """What makes fronts hard to compare."""
    found = []
    first = fronts[0]
    for other in fronts[1:]:
        one, two = first.scenario, other.scenario
        asked = {
            "robots": (one.robot, two.robot),
            "duties or demands": ((one.duty, one.demand), (two.duty, two.demand)),
            "limits": (one.limits, two.limits),
        }
        differing = [words for words, (here, there) in asked.items() if repr(here) != repr(there)]  # nan counts as nan
        if differing:
            found.append(
                f"{first.name} and {other.name} have different {' and '.join(differing)}: slip margin and loss stand against "
                "what is asked, so they compare only as far as that is alike."
            )
        if first.phases != other.phases:
            found.append(
                f"{first.name} was scored at {first.phases} positions of the wheel, {other.name} at {other.phases}: limits "
                "fall with their number, by 8 % and more between 16 and 256."
            )
        if len(first.designs) == len(other.designs) and set(first.designs["design"]) == set(other.designs["design"]):
            found.append(f"{first.name} and {other.name} hold the same designs.")
    return found


def common_front(comparison: Comparison) -> pd.DataFrame:
    """The designs that no design of another front dominates, with ``front`` as their first column."""
    table = pd.concat([front.designs.assign(front=front.name) for front in comparison.fronts], ignore_index=True)
    table = table[["front", *(name for name in table.columns if name != "front")]]
    return table[nondominated(costs_of(table))].reset_index(drop=True)


def as_json(comparison: Comparison) -> dict[str, Any]:
    """A comparison as one document: what a page draws."""
    names = [objective.name for objective in OBJECTIVES]
    senses = np.array([-1.0 if objective.maximise else 1.0 for objective in OBJECTIVES])
    labels = list(comparison.names)

    def by_name(values: Sequence[Any] | np.ndarray) -> dict[str, Any]:
        return dict(zip(labels, values, strict=True))

    return {
        "fronts": [
            {
                "name": front.name,
                "phases": front.phases,
                "designs": front.designs["design"].tolist(),
                "objectives": front.designs[names].to_numpy(dtype=float).tolist(),
            }
            for front in comparison.fronts
        ],
        "objectives": names,
        "best": dict(zip(names, comparison.ideal * senses, strict=True)),
        "worst": dict(zip(names, comparison.nadir * senses, strict=True)),
        "coverage": {one: by_name(row) for one, row in zip(labels, comparison.coverage, strict=True)},
        "hypervolume": by_name(comparison.hypervolume),
        "hypervolume_together": comparison.hypervolume_together,
        "lost_without": by_name(comparison.alone),
        "on_common_front": by_name(comparison.on_common_front),
        "thirds": {
            name: [by_name(part) for part in parts] for name, parts in zip(names, comparison.thirds, strict=True)
        },
        "weightings": {
            name: by_name(row) for name, row in zip([*names, "all"], comparison.weightings, strict=True)
        },
        "cautions": list(comparison.cautions),
    }
