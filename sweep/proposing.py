"""Candidates that a surrogate model of the known ones expects to be good: for searches of few evaluations.

What is scored costs milliseconds to choose here, and so has to be worth it: in a long search children of parents get further.
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
SMALLEST_BATCH, BATCH_SHARE = 10, 0.05
#: known candidates that a model is made of: half of them the best, half the last
MOST, LAST = 200, 100
#: generations that are bred on the model for a batch, and the population of that, at least and over a batch
GENERATIONS = 10
PARENTS, PARENTS_OVER_BATCH = 24, 1.0
#: chance of a candidate to be a child of the best known ones whatever the model says, which may be wrong
CHILDREN = 0.1
#: slacks count no further than this, in their scales
FARTHEST = 3.0
#: known candidates that a model needs
FEWEST = 10


def batch(known: Population) -> int:
    """How many candidates to propose at once."""
    return max(SMALLEST_BATCH, int(BATCH_SHARE * len(known))) if len(known) >= EVENLY else EVENLY


def proposed(problem: Problem, known: Population, count: int, rng: np.random.Generator) -> np.ndarray:
    """``count`` candidates to score, shape (count, d), none of them known; an even draw where fewer than 40 are.

    ``known`` is in the order in which it was scored, each candidate with as many slacks. Children of the best are bred for
    some generations as if what the model says were true, and of those at the end the ones that spread best are proposed.
    """
    if len(known) < EVENLY:
        return even(problem.genes, count, rng)
    expect = _Expectation(problem, known, rng)
    parents = max(PARENTS, int(PARENTS_OVER_BATCH * count))
    population = known.take(survivors(known.costs, known.violation, parents, rng)).bare
    for _ in range(GENERATIONS):
        both = joined(population, expect(draw(problem.genes, population, 2 * parents, rng)))
        population = both.take(survivors(both.costs, both.violation, parents, rng))
    held = {genes.tobytes() for genes in known.genes}
    fresh = population.take(np.flatnonzero([genes.tobytes() not in held for genes in population.genes]))
    bred = int(rng.binomial(count, CHILDREN))
    chosen = fresh.genes[survivors(fresh.costs, fresh.violation, min(count - bred, len(fresh)), rng)]
    if len(chosen) == count:
        return chosen
    best = known.take(survivors(known.costs, known.violation, parents, rng))
    return np.concatenate([chosen, draw(problem.genes, best, count - len(chosen), rng)])


class _Expectation:
    """What candidates are expected to score: by a model of the slacks that all have, and one of the rest.

    Geometry is judged first, so costs and most slacks are known of some candidates only. Before there are enough of these, all
    costs are expected to be 0.
    """

    def __init__(self, problem: Problem, known: Population, rng: np.random.Generator) -> None:
        self._problem, self._objectives = problem, len(problem.maximise)
        slacks = known.slacks if known.slacks.shape[1] else -known.violation[:, None]
        slacks = np.clip(slacks, -FARTHEST, FARTHEST)
        always = ~np.isnan(slacks).any(axis=0)
        features = Features.of(problem.genes, known.genes)
        rows = _telling(known, np.arange(len(known)), rng)
        self._always = Surrogate(features.take(rows), slacks[rows][:, always])
        whole = np.flatnonzero(np.isfinite(known.costs).all(axis=1))
        self._sometimes = None
        if len(whole) >= FEWEST:
            rows = _telling(known, whole, rng)
            # what cannot be told counts as 1 in a violation
            others = np.nan_to_num(slacks[rows][:, ~always], nan=-1.0)
            self._sometimes = Surrogate(features.take(rows), np.hstack([known.costs[rows], others]))

    def __call__(self, genes: np.ndarray) -> Population:
        features = Features.of(self._problem.genes, genes)
        rest = np.zeros((len(genes), self._objectives)) if self._sometimes is None else self._sometimes(features)
        costs, slacks = rest[:, : self._objectives], np.hstack([self._always(features), rest[:, self._objectives :]])
        return Population(genes, costs, np.maximum(-slacks, 0.0).sum(axis=1), np.empty((len(genes), 0)))


def _telling(known: Population, rows: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    """The rows that a model is made of, ascending: the last of these and the best of the others."""
    if len(rows) <= MOST:
        return rows
    before, last = rows[:-LAST], rows[-LAST:]
    best = survivors(known.costs[before], known.violation[before], MOST - LAST, rng)
    return np.concatenate([before[best], last])
