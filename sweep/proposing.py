"""Candidates that a surrogate model of the known ones expects to be good: for searches of few evaluations.

What is scored costs milliseconds to choose here, and so has to be worth it: in a long search children of parents get further.
The counts and shares below were chosen by trial (decision 55 in DEVELOPERS.md).
"""

from __future__ import annotations

import numpy as np

from sweep.breeding import draw, even
from sweep.population import Population, Problem, gathered
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
#: share of a tier's candidates that one of its slacks may be missing for, and of its slacks that a candidate may miss
RARELY = 0.1
#: violation below which nothing is broken: sums of shortfalls are rounded
NOTHING = 1e-6


def batch(known: Population) -> int:
    """How many candidates to propose at once."""
    return max(SMALLEST_BATCH, int(BATCH_SHARE * len(known))) if len(known) >= EVENLY else EVENLY


def proposed(problem: Problem, known: Population, count: int, rng: np.random.Generator) -> np.ndarray:
    """``count`` candidates to score, shape (count, d); an even draw where fewer than 40 are known.

    ``known`` is in the order in which it was scored, each candidate with as many slacks. Children of the best are bred for
    some generations as if what the model says were true, and of those at the end the ones that spread best are proposed. None
    is known and all differ, unless the space has hardly any left.
    """
    if len(known) < EVENLY:
        return even(problem.genes, count, rng)
    expect = _Expectation(problem, known, rng)
    parents = max(PARENTS, int(PARENTS_OVER_BATCH * count))
    best = known.take(survivors(known.costs, known.violation, parents, rng)).bare
    population = best
    for _ in range(GENERATIONS):
        both = gathered(population, expect(draw(problem.genes, population, 2 * parents, rng)))
        population = both.take(survivors(both.costs, both.violation, parents, rng))
    fresh = population.take(_fresh(population.genes, known.genes))
    led = min(count - int(rng.binomial(count, CHILDREN)), len(fresh))
    chosen = fresh.genes[survivors(fresh.costs, fresh.violation, led, rng)]
    others = np.concatenate([draw(problem.genes, best, 4 * count, rng), even(problem.genes, 4 * count, rng)])
    others = others[_fresh(others, np.concatenate([known.genes, chosen]))]
    chosen = np.concatenate([chosen, others])[:count]
    return np.concatenate([chosen, even(problem.genes, count, rng)])[:count]


def _fresh(genes: np.ndarray, known: np.ndarray) -> np.ndarray:
    """Rows of ``genes`` that are not among ``known``, the first of each."""
    held = {row.tobytes() for row in known + 0.0}  # a zero has no sign here
    rows = []
    for number, row in enumerate(genes + 0.0):
        if row.tobytes() not in held:
            held.add(row.tobytes())
            rows.append(number)
    return np.array(rows, dtype=int)


class _Expectation:
    """What candidates are expected to score: by models of the slacks in three tiers, and one of the costs.

    Geometry is judged first, what the mechanics say of the rest ends where a wheel has no running state, and where percentiles
    are the objectives only feasible candidates have costs. So each tier is known of fewer candidates than the one before. A
    slack that is missing within its tier counts as -1, as it does in the violation, and what is in the violation besides
    shortfalls counts as one more slack. A candidate whose scoring failed tells nothing. What there is no model of is 0.
    """

    def __init__(self, problem: Problem, known: Population, rng: np.random.Generator) -> None:
        self._problem = problem
        slacks = known.slacks[:, ~np.isnan(known.slacks).all(axis=0)]
        if not slacks.shape[1]:
            slacks = -known.violation[:, None]
        missing = np.isnan(slacks)
        slacks = np.where(missing, -1.0, slacks)
        besides = known.violation - np.maximum(-slacks, 0.0).sum(axis=1)
        besides = np.where(besides > NOTHING, -besides, 0.0)
        features = Features.of(problem.genes, known.genes)

        def model(rows: np.ndarray, outputs: np.ndarray) -> Surrogate | None:
            chosen = _telling(known, np.flatnonzero(rows), rng)
            return Surrogate(features.take(chosen), outputs[chosen]) if len(chosen) >= FEWEST else None

        told = ~missing.all(axis=1)
        geometry = missing[told].mean(axis=0) <= RARELY
        judged = told & ~missing[:, ~geometry].all(axis=1)
        mechanics = ~geometry & (missing[judged].mean(axis=0) <= RARELY if judged.any() else False)
        running = ~geometry & ~mechanics
        runs = told & (missing[:, running].sum(axis=1) <= RARELY * running.sum())
        tiers = (
            (told, slacks[:, geometry]), (judged, slacks[:, mechanics]), (runs, np.column_stack([slacks[:, running], besides]))
        )
        models = [model(rows, np.clip(outputs, -FARTHEST, FARTHEST)) for rows, outputs in tiers if outputs.shape[1]]
        self._slacks = [each for each in models if each is not None]
        self._costs = model(np.isfinite(known.costs).all(axis=1), known.costs)

    def __call__(self, genes: np.ndarray) -> Population:
        features = Features.of(self._problem.genes, genes)
        short = np.zeros(len(genes))
        for model in self._slacks:
            short = short + np.maximum(-model(features), 0.0).sum(axis=1)
        costs = np.zeros((len(genes), len(self._problem.maximise))) if self._costs is None else self._costs(features)
        return Population(genes, costs, short, np.empty((len(genes), 0)))


def _telling(known: Population, rows: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    """The rows that a model is made of, ascending: the last of these and the best of the others."""
    if len(rows) <= MOST:
        return rows
    before, last = rows[:-LAST], rows[-LAST:]
    best = survivors(known.costs[before], known.violation[before], MOST - LAST, rng)
    return np.concatenate([before[best], last])
