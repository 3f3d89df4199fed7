"""Which candidates survive: niches along directions first, then the share of dominated space that each alone holds.

Costs are minimised, rows are candidates. Everything is a pure function of its arguments; ties go to the earlier row, so a
caller that sorts its rows gets the same survivors whatever the order they came in.
"""

from __future__ import annotations

from functools import lru_cache
from itertools import combinations
from math import comb

import moocore
import numpy as np

from objectives.compiled import compiled

#: directions along which dominated space is measured
RAYS = 1024
#: of the survivors, the share that niches may claim
NICHE_SHARE = 0.4
#: weight of the angle to a niche's direction against the distance from the ideal point
ANGLE_WEIGHT = 1.0
#: the reference point, in units of the front's span beyond the ideal point
REFERENCE = 1.1
#: rounds in which span and niches settle
ROUNDS = 3
TINY = 1e-300


def survivors(
    costs: np.ndarray, violation: np.ndarray, count: int, rng: np.random.Generator, rays: int = RAYS
) -> np.ndarray:
    """Rows of the ``count`` candidates to keep, ascending.

    ``costs`` (n, m) [any unit], m of 2 at least, finite where feasible; ``violation`` (n,) [1], 0 where feasible. Feasible
    candidates come before all others; those are ordered by violation. Where there are no more than ``count``, all stay.
    Dominated space is measured along so many ``rays``.

    >>> costs = np.array([[0.0, 1.0], [1.0, 0.0], [1.0, 1.0], [0.4, 0.4]])
    >>> survivors(costs, np.array([0.0, 0.0, 0.0, 2.0]), 2, np.random.default_rng(0)).tolist()
    [0, 1]
    """
    if len(costs) <= count:
        return np.arange(len(costs))
    feasible = np.flatnonzero(violation <= 0)
    if len(feasible) > count:
        return feasible[_best_spread(costs[feasible], count, rng, rays)]
    others = np.flatnonzero(violation > 0)
    nearest = others[np.argsort(violation[others], kind="stable")]
    return np.sort(np.concatenate([feasible, nearest[: count - len(feasible)]]))


def _best_spread(costs: np.ndarray, count: int, rng: np.random.Generator, rays: int) -> np.ndarray:
    """``count`` rows that converge and spread; all rows feasible and finite.

    The best of each niche stays, dominated or not: a part of the front that is hard to reach is not lost to one that is
    easy. Then whole ranks of dominance, and within the last one the rows that alone hold the most dominated space.
    """
    rank = moocore.pareto_rank(costs)
    last = np.sort(rank)[count - 1]
    scaled, winners = _niches(costs, rank, count)
    kept = np.zeros(len(costs), dtype=bool)
    kept[winners[:count]] = True
    inner = rank < last
    if np.count_nonzero(kept | inner) <= count:
        kept |= inner
    pool = np.flatnonzero(kept | (rank <= last))
    return pool[_thin_out(scaled[pool], kept[pool], count, rng, rays)]


def _niches(costs: np.ndarray, rank: np.ndarray, count: int) -> tuple[np.ndarray, np.ndarray]:
    """Costs scaled to [0, 1] over the front, and the rows that stay: the best of each niche and of each objective.

    A row belongs to the direction that it makes the smallest angle with; the best is nearest to the ideal point, an angle
    counted as distance (the angle-penalised distance of Cheng, Jin, Olhofer and Sendhoff, "A reference vector guided
    evolutionary algorithm for many-objective optimization", IEEE Trans. Evol. Comput. 20 (2016) 773, with a constant
    weight). Niches are told apart on the span of the winners, not of all rows that nothing dominates: those include rows that
    are good in one objective and absurd in another, and would stretch the scale. The costs given back are scaled over all of
    them, and the best of each objective stays, or the ends of the front would be lost.
    """
    size = costs.shape[1]
    directions, widths = _lattice(size, max(int(NICHE_SHARE * count), size))
    ideal = costs.min(axis=0)
    full = costs.max(axis=0) - ideal
    worst = front_worst = costs[rank == 0].max(axis=0)
    winners = np.arange(0)
    for turn in range(ROUNDS):
        floor = (1e-3 if turn == 0 else 1e-12) * full + TINY
        scaled = (costs - ideal) / np.maximum(worst - ideal, floor)
        distance = np.sqrt(np.sum(scaled**2, axis=1))
        # a sum of products written out: the same bits whatever the linear algebra library and its threads
        cosine = sum(scaled[:, k, None] * directions[None, :, k] for k in range(size)) / np.maximum(distance, TINY)[:, None]
        niche = np.argmax(cosine, axis=1)
        angle = np.arccos(np.clip(cosine[np.arange(len(costs)), niche], -1.0, 1.0))
        penalised = (1.0 + ANGLE_WEIGHT * size * angle / widths[niche]) * distance
        order = np.lexsort((penalised, niche))
        first = np.ones(len(order), dtype=bool)
        first[1:] = niche[order][1:] != niche[order][:-1]
        winners = np.sort(order[first])
        worst = costs[winners].max(axis=0)
    scaled = (costs - ideal) / np.maximum(front_worst - ideal, 1e-12 * full + TINY)
    total = np.sum(scaled, axis=1)
    ends = [np.lexsort((total, costs[:, k]))[0] for k in range(size)]
    return scaled, np.unique(np.concatenate([winners, ends]))


def _thin_out(scaled: np.ndarray, kept: np.ndarray, count: int, rng: np.random.Generator, directions: int) -> np.ndarray:
    """Drop, one by one, the row that alone holds the least dominated space, until ``count`` are left.

    Dominated space is measured along rays from the reference point towards the ideal one: a row reaches
    ``min_k (reference - cost_k) / direction_k`` along a ray, and what it holds alone is by how much the square of its reach
    exceeds that of the next row, summed over the rays it reaches farthest on. The power is a compromise: the exponent m
    would give the volume itself (Deng and Zhang, "Approximating hypervolume and hypervolume contributions using polar
    coordinate", IEEE Trans. Evol. Comput. 23 (2019) 913), 1 an even cover.
    """
    rays = np.abs(rng.standard_normal((directions, scaled.shape[1])))
    rays /= np.sqrt(np.sum(rays**2, axis=1, keepdims=True))
    reach = _reaches(1.0 / np.maximum(rays, TINY), np.ascontiguousarray((REFERENCE - scaled).T))
    farthest = reach.max(axis=0)
    np.maximum(reach, 0.0, out=reach)
    np.square(reach, out=reach)
    # rows that hold no ray alone are told apart by how far they reach at all
    return np.flatnonzero(_left(reach, kept, 1e-9 * reach.max(axis=1).mean() * farthest, count))


@compiled
def _reaches(inverse: np.ndarray, room: np.ndarray) -> np.ndarray:
    """How far along each ray each row reaches, (rays, n), of one over the rays (rays, m) and the rows' room (m, n)."""
    reach = np.full((len(inverse), room.shape[1]), np.inf)
    for ray in range(len(inverse)):
        for k in range(len(room)):
            for row in range(room.shape[1]):
                reach[ray, row] = min(reach[ray, row], inverse[ray, k] * room[k, row])
    return reach


@compiled
def _left(reach: np.ndarray, kept: np.ndarray, faint: np.ndarray, count: int) -> np.ndarray:
    """Which ``count`` rows are left, shape (n,), of ``reach`` (rays, n), which is changed, and what each has besides (n,).

    Loops stand for whole rows and columns: as array expressions those take five seconds to compile.
    """
    rays, rows = reach.shape
    best, second = np.full(rays, -1), np.full(rays, -1)
    lead, alone, alive = np.empty(rays), np.empty(rows), np.full(rows, True)
    gone = -1
    for left in range(rows, count - 1, -1):
        for row in range(rows):
            alone[row] = faint[row]
        for ray in range(rays):
            if best[ray] == gone or second[ray] == gone:
                first = runner_up = -np.inf
                for row in range(rows):
                    far = reach[ray, row]
                    if far > first:
                        second[ray], runner_up, best[ray], first = best[ray], first, row, far
                    elif far > runner_up:
                        second[ray], runner_up = row, far
                lead[ray] = first - runner_up
            alone[best[ray]] += lead[ray]
        if left == count:
            break
        gone = -1
        for row in range(rows):
            if alive[row] and not kept[row] and (gone < 0 or alone[row] < alone[gone]):
                gone = row
        alive[gone] = False
        for ray in range(rays):
            reach[ray, gone] = -1.0
    return alive


@lru_cache(maxsize=32)
def _lattice(size: int, most: int) -> tuple[np.ndarray, np.ndarray]:
    """Unit directions on the finest simplex lattice (Das and Dennis) of at most ``most`` points, and each one's angle to
    the nearest other."""
    parts = 1
    while comb(parts + size, size - 1) <= most:
        parts += 1
    bars = np.array(list(combinations(range(parts + size - 1), size - 1)), dtype=float).reshape(-1, size - 1)
    edges = np.column_stack([np.full(len(bars), -1.0), bars, np.full(len(bars), float(parts + size - 1))])
    directions = np.diff(edges, axis=1) - 1.0
    directions /= np.sqrt(np.sum(directions**2, axis=1, keepdims=True))
    cosine = np.sum(directions[:, None, :] * directions[None, :, :], axis=2)
    np.fill_diagonal(cosine, -1.0)
    return directions, np.arccos(np.clip(cosine.max(axis=1), -1.0, 1.0))
