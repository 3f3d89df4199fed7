"""One generation as a pure function, on Optuna; and an epoch of an island, made of generations and of what a model proposes.

Nothing is remembered between calls: what is not in the arguments has no influence, so a run may be stopped, repeated or
moved to another process after any generation and gives the same result.
"""

from __future__ import annotations

import datetime
from typing import Any

import numpy as np
import optuna
from optuna.distributions import BaseDistribution
from optuna.samplers import BaseGASampler
from optuna.study import Study
from optuna.trial import FrozenTrial, TrialState

from sweep.breeding import draw
from sweep.population import Evaluated, Population, Problem, as_population, gathered, in_order, joined
from sweep.proposing import batch, proposed
from sweep.selection import survivors

#: candidates of a generation, and of a population
SIZE = 96
#: share of an island's population that its neighbour is sent
EMIGRANT_SHARE = 0.25
#: when every trial was: Optuna wants to know and nobody else does
EPOCH = datetime.datetime(2000, 1, 1)

optuna.logging.set_verbosity(optuna.logging.WARNING)


class Kept(FrozenTrial):
    """A trial that stays one: Optuna copies every trial deeply, again and again, which costs more than drawing it."""

    def __copy__(self) -> Kept:
        return self

    def __deepcopy__(self, memo: object) -> Kept:
        return self


class GenerationSampler(BaseGASampler):
    """Draws whole generations from a population at once, and selects by ``survivors`` who is left of both.

    Trials are told of when they are scored. Asking Optuna for each, with 24 parameters, and telling it the values costs ten
    times as much as drawing.
    """

    def __init__(self, problem: Problem, population: Population) -> None:
        super().__init__(population_size=max(len(population), 1))
        self._problem, self.population = problem, gathered(population.bare)
        self._study = optuna.create_study(directions=["minimize"] * len(problem.maximise), sampler=self)
        self._generation = 0
        self._members = self._told(self.population)

    def advance(self, seed: np.random.SeedSequence, size: int, count: int) -> Evaluated:
        """Score ``count`` children of the population in one batch, and let the ``size`` best of both be the population."""
        self._rng, self.population_size = np.random.default_rng(seed), size
        evaluated = self._problem.evaluate(draw(self._problem.genes, self.population, count, self._rng))
        children = as_population(self._problem, evaluated).bare
        self.population = joined(self.population, children)
        self._generation += 1
        self._members += self._told(children)
        place = {trial.number: row for row, trial in enumerate(self._members)}
        rows = np.array([place[trial.number] for trial in self.select_parent(self._study, self._generation)], dtype=int)
        rows = rows[in_order(self.population.genes[rows])]
        self.population, self._members = self.population.take(rows), [self._members[row] for row in rows]
        return evaluated

    def _told(self, members: Population) -> list[FrozenTrial]:
        """Trials of scored members of this generation, known to the study."""
        first, key = len(self._study.get_trials(deepcopy=False)), self._get_generation_key()
        for costs, violation in zip(members.costs.tolist(), members.violation.tolist(), strict=True):
            trial = Kept(0, TrialState.COMPLETE, None, EPOCH, EPOCH, {}, {}, {}, {key: self._generation}, {}, 0, values=costs)
            trial.set_constraint("violation", violation)
            self._study.add_trial(trial)
        return self._study.get_trials(deepcopy=False)[first:]

    def infer_relative_search_space(self, study: Study, trial: FrozenTrial) -> dict[str, BaseDistribution]:
        return {}

    def sample_relative(
        self, study: Study, trial: FrozenTrial, search_space: dict[str, BaseDistribution]
    ) -> dict[str, Any]:
        return {}

    def sample_independent(
        self, study: Study, trial: FrozenTrial, param_name: str, param_distribution: BaseDistribution
    ) -> Any:
        raise KeyError(f"{param_name} is drawn with its generation")

    def select_parent(self, study: Study, generation: int) -> list[FrozenTrial]:
        """The trials of the population and of the last generation that survive, as many as a population holds."""
        # what the trials were told stands in the population's arrays
        costs, violation = self.population.costs, self.population.violation
        return [self._members[row] for row in survivors(costs, violation, self.population_size or SIZE, self._rng)]


def advance(
    problem: Problem,
    population: Population,
    seed: np.random.SeedSequence,
    size: int = SIZE,
    count: int | None = None,
) -> tuple[Evaluated, Population]:
    """One generation: ``count`` children of ``population`` scored in one batch, and the ``size`` best of both.

    Pure: the same arguments give the same result, and none is changed. With fewer than
    ``LEAST_PARENTS`` parents the generation is a Latin hypercube.
    """
    sampler = GenerationSampler(problem, population)
    evaluated = sampler.advance(seed, size, size if count is None else count)
    return evaluated, sampler.population


def first(problem: Problem, genes: np.ndarray) -> tuple[Evaluated, Population]:
    """Given candidates, scored: a population to begin from."""
    evaluated = problem.evaluate(genes)
    return evaluated, gathered(as_population(problem, evaluated))


def step(
    problem: Problem,
    population: Population,
    immigrants: Population,
    seed: int,
    island: int,
    epoch: int,
    evaluations: int,
    size: int = SIZE,
    modelled: int = 0,
) -> tuple[Population, Population, list[Evaluated]]:
    """An epoch of one island: its population, what it sends to its neighbour, and all it scored, a part per batch.

    Pure, and all that islands share is what is passed: ``SeedSequence([seed, island, epoch])`` gives a seed to each
    generation. The last generation is cut to the number of evaluations. The first ``modelled`` evaluations are proposed by a
    surrogate model of all that was scored: while it lasts nothing is forgotten and there are no neighbours.
    """
    modelled = min(modelled, evaluations)
    counts = [min(size, evaluations - done) for done in range(modelled, evaluations, size)]
    seeds = np.random.SeedSequence([seed, island, epoch]).spawn(len(counts) + 2)
    scored: list[Evaluated] = []
    rng, done = np.random.default_rng(seeds[-1]), 0
    while done < modelled:
        scored.append(problem.evaluate(proposed(problem, population, min(batch(population), modelled - done), rng)))
        population, done = joined(population, as_population(problem, scored[-1])), done + len(scored[-1])
    if counts:
        if len(population) > size:  # all that a model was made of: the best are the parents
            population = population.take(survivors(population.costs, population.violation, size, rng))
        sampler = GenerationSampler(problem, gathered(population.bare, immigrants.bare))
        scored += [sampler.advance(own_seed, size, count) for count, own_seed in zip(counts, seeds[:-2], strict=True)]
        population = sampler.population
    sent = survivors(population.costs, population.violation, int(size * EMIGRANT_SHARE), np.random.default_rng(seeds[-2]))
    return population, population.take(sent), scored
