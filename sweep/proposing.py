"""Candidates that a surrogate model of the known ones expects to be good: for searches of few evaluations.

What is scored costs a millisecond to choose here, and so has to be worth it: in a long search children of parents get further.
The counts and shares below were chosen by trial (decisions 55, 58 and 59 in DEVELOPERS.md).
"""

from __future__ import annotations

import numpy as np

from sweep.breeding import draw, even
from sweep.population import Population, Problem, joined
from sweep.selection import survivors
from sweep.surrogate import Features, Surrogate

#: candidates that are drawn evenly over the space before there is a model
EVENLY = 40
#: candidates of a batch, at least, and as a share of those known
SMALLEST_BATCH, BATCH_SHARE = 10, 0.06
#: known candidates that a model is made of: half of them the best, half the last
MOST, LAST = 200, 100
#: generations that are bred on the model for a batch, children of each parent, and the parents, at least and over a batch
GENERATIONS, BROOD = 5, 4
PARENTS, PARENTS_OVER_BATCH = 24, 1.0
#: directions along which the selection looks here, where it is done often and of few
RAYS = 128
#: where nothing is feasible and the violation has not come down by this share in so many candidates, the search begins anew
PATIENCE, PROGRESS = 100, 0.01
#: chance of a candidate to be a child of the best known ones whatever the model says, which may be wrong
CHILDREN = 0.1
#: slacks count no further than this, in their scales
FARTHEST = 3.0
#: share of a tier's candidates that one of its slacks may be missing for, and of its slacks that a candidate may miss
RARELY = 0.1
#: violation below which nothing is broken: sums of shortfalls are rounded
NOTHING = 1e-6


def batch(known: Population) -> int:
    """How many candidates to propose at once."""
    count = len(known) - _begun(known.violation)
    return max(SMALLEST_BATCH, int(BATCH_SHARE * count)) if count >= EVENLY else EVENLY - count


def proposed(problem: Problem, known: Population, count: int, rng: np.random.Generator) -> np.ndarray:
    """``count`` candidates to score, shape (count, d); an even draw where fewer than 40 are known.

    ``known`` is in the order in which it was scored, each candidate with as many slacks. Children of the best are bred for
    some generations as if what the model says were true, and of those at the end the ones that spread best are proposed. None
    is known and all differ, unless the space has hardly any left.
    """
    held, known = known.genes, known.take(np.arange(_begun(known.violation), len(known)))
    if len(known) < EVENLY:
        return even(problem.genes, count, rng)
    expect = _Expectation(problem, known, rng)
    parents = max(PARENTS, int(PARENTS_OVER_BATCH * count))
    telling = known.take(expect.rows)
    best = telling.take(survivors(telling.costs, telling.violation, parents, rng, RAYS)).bare
    population = best
    for _ in range(GENERATIONS):
        children = draw(problem.genes, population, BROOD * parents, rng)
        both = joined(population, expect(children[_fresh(children, population.genes)]))
        population = both.take(survivors(both.costs, both.violation, parents, rng, RAYS))
    fresh = population.take(_fresh(population.genes, held))
    led = min(count - int(rng.binomial(count, CHILDREN)), len(fresh))
    chosen = fresh.genes[survivors(fresh.costs, fresh.violation, led, rng, RAYS)]
    others = np.concatenate([draw(problem.genes, best, 4 * count, rng), even(problem.genes, 4 * count, rng)])
    others = others[_fresh(others, np.concatenate([held, chosen]))]
    chosen = np.concatenate([chosen, others])[:count]
    return np.concatenate([chosen, even(problem.genes, count, rng)])[:count]


def _begun(violation: np.ndarray) -> int:
    """Where the search last began, of violations (n,) in the order in which they were scored.

    Its model knows the corner that it is led to and little else; where there is no way out, another beginning leads elsewhere.
    """
    begun, lowest, since = 0, np.inf, 0
    for row, found in enumerate(violation):
        if found <= 0:
            break
        if found < (1.0 - PROGRESS) * lowest:
            lowest, since = found, row
        elif row - since >= PATIENCE:
            begun, lowest, since = row + 1, np.inf, row + 1
    return begun


def _fresh(genes: np.ndarray, known: np.ndarray) -> np.ndarray:
    """Rows of ``genes`` that are not among ``known``, the first of each."""
    first = {row: number for number, row in reversed(list(enumerate(_names(genes))))}
    for row in _names(known):
        first.pop(row, None)
    return np.array(sorted(first.values()), dtype=int)


def _names(genes: np.ndarray) -> list[bytes]:
    """A name for each row, the same where all numbers are."""
    plain = np.ascontiguousarray(genes + 0.0)  # a zero has no sign here
    return plain.view(f"V{plain[:1].nbytes}").ravel().tolist() if plain.size else [b""] * len(genes)


class _Expectation:
    """What candidates are expected to score: by a model of the slacks, in three tiers, and of the costs.

    Geometry is judged first, what the mechanics say of the rest ends where a wheel has no running state, and where percentiles
    are the objectives only feasible candidates have costs. So each tier is known of fewer candidates than the one before. A
    slack that is missing within its tier counts as -1, as it does in the violation, and what is in the violation besides
    shortfalls counts as one more slack. A candidate whose scoring failed tells nothing. What there is no model of is 0.
    """

    def __init__(self, problem: Problem, known: Population, rng: np.random.Generator) -> None:
        slacks = known.slacks[:, ~np.isnan(known.slacks).all(axis=0)]
        if not slacks.shape[1]:
            slacks = -known.violation[:, None]
        missing = np.isnan(slacks)
        slacks = np.where(missing, -1.0, slacks)
        besides = known.violation - np.maximum(-slacks, 0.0).sum(axis=1)
        besides = np.where(besides > NOTHING, -besides, 0.0)

        told = ~missing.all(axis=1)
        geometry = missing[told].mean(axis=0) <= RARELY
        judged = told & ~missing[:, ~geometry].all(axis=1)
        mechanics = ~geometry & (missing[judged].mean(axis=0) <= RARELY if judged.any() else False)
        running = ~geometry & ~mechanics
        runs = told & (missing[:, running].sum(axis=1) <= RARELY * running.sum())
        slacks = np.clip(np.column_stack([slacks, besides]), -FARTHEST, FARTHEST)
        for tier, rows in ((geometry, told), (mechanics, judged), (running, runs)):
            slacks[np.ix_(~rows, np.append(tier, False))] = np.nan
        slacks[~runs, -1] = np.nan
        costs = np.where(np.isfinite(known.costs).all(axis=1)[:, None], known.costs, np.nan)
        self.rows = _telling(known, np.flatnonzero(told), rng)  # those that the model is made of
        self._problem, self._count = problem, slacks.shape[1]
        self._model = Surrogate(Features.of(problem.genes, known.genes[self.rows]), np.hstack([slacks, costs])[self.rows])

    def __call__(self, genes: np.ndarray) -> Population:
        expected = self._model(Features.of(self._problem.genes, genes))
        slacks, costs = np.split(expected, [self._count], axis=1)
        return Population(genes, costs, np.maximum(-slacks, 0.0).sum(axis=1), np.empty((len(genes), 0)))


def _telling(known: Population, rows: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    """The rows that a model is made of, ascending: the last of these and the best of the others."""
    if len(rows) <= MOST:
        return rows
    before, last = rows[:-LAST], rows[-LAST:]
    best = survivors(known.costs[before], known.violation[before], MOST - LAST, rng, RAYS)
    return np.concatenate([before[best], last])
