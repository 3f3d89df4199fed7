"""One generation as a pure function, on Optuna; and an epoch of an island made of generations.

Nothing is remembered between calls: what is not in the arguments has no influence, so a run may be stopped, repeated or
moved to another process after any generation and gives the same result.
"""

from __future__ import annotations

import datetime
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any, Protocol

import numpy as np
import optuna
import pandas as pd
from optuna.distributions import BaseDistribution
from optuna.samplers import BaseGASampler
from optuna.study import Study
from optuna.trial import FrozenTrial, TrialState

from objectives.variables import CHOICE, INTEGER
from sweep.selection import survivors

#: candidates of a generation, and of a population
SIZE = 96
#: shape of simulated binary crossover and of polynomial mutation: larger keeps children nearer to their parents
CROSSOVER_SHAPE = 20.0
MUTATION_SHAPE = 10.0
EXCHANGE_SHARE = 0.5
#: violation of a candidate that breaks nothing but has an objective that is not a number
UNKNOWN = 1e30
#: parents that a generation needs; with fewer it is drawn evenly over the space
LEAST_PARENTS = 8
#: share of an island's population that its neighbour is sent
EMIGRANT_SHARE = 0.25
#: when every trial was: Optuna wants to know and nobody else does
EPOCH = datetime.datetime(2000, 1, 1)

optuna.logging.set_verbosity(optuna.logging.WARNING)


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

    def __len__(self) -> int:
        return len(self.genes)

    def take(self, rows: np.ndarray) -> Population:
        return Population(self.genes[rows], self.costs[rows], self.violation[rows])

    @staticmethod
    def empty(problem: Problem) -> Population:
        return Population(np.empty((0, len(problem.genes))), np.empty((0, len(problem.maximise))), np.empty(0))


def gathered(*parts: Population) -> Population:
    """One population of several, sorted by genes and without repetitions: the order of the parts does not matter."""
    together = Population(*(np.concatenate(fields) for fields in zip(*map(_fields, parts), strict=True)))
    return together.take(_in_order(together.genes))


def _in_order(genes: np.ndarray) -> np.ndarray:
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
    )


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
        self._problem, self.population = problem, gathered(population)
        self._study = optuna.create_study(directions=["minimize"] * len(problem.maximise), sampler=self)
        self._generation = 0
        self._members = self._told(self.population)

    def advance(self, seed: np.random.SeedSequence, size: int, count: int) -> Evaluated:
        """Score ``count`` children of the population in one batch, and let the ``size`` best of both be the population."""
        self._rng, self.population_size = np.random.default_rng(seed), size
        evaluated = self._problem.evaluate(draw(self._problem.genes, self.population, count, self._rng))
        children = as_population(self._problem, evaluated)
        both = Population(*map(np.concatenate, zip(_fields(self.population), _fields(children), strict=True)))
        self._generation += 1
        self._members += self._told(children)
        place = {trial.number: row for row, trial in enumerate(self._members)}
        rows = np.array([place[trial.number] for trial in self.select_parent(self._study, self._generation)], dtype=int)
        rows = rows[_in_order(both.genes[rows])]
        self.population, self._members = both.take(rows), [self._members[row] for row in rows]
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
        costs = np.array([trial.values for trial in self._members], dtype=float)  # noqa: PD011
        violation = np.array([trial.constraints["violation"] for trial in self._members], dtype=float)
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
) -> tuple[Population, Population, list[Evaluated]]:
    """An epoch of one island: its population, what it sends to its neighbour, and all it scored, a part per generation.

    Pure, and all that islands share is what is passed: ``SeedSequence([seed, island, epoch])`` gives a seed to each
    generation. The last generation is cut to the number of evaluations.
    """
    counts = [min(size, evaluations - done) for done in range(0, evaluations, size)]
    seeds = np.random.SeedSequence([seed, island, epoch]).spawn(len(counts) + 1)
    sampler = GenerationSampler(problem, gathered(population, immigrants))
    scored = [sampler.advance(own_seed, size, count) for count, own_seed in zip(counts, seeds[:-1], strict=True)]
    population = sampler.population
    sent = survivors(population.costs, population.violation, int(size * EMIGRANT_SHARE), np.random.default_rng(seeds[-1]))
    return population, population.take(sent), scored


def draw(genes: Sequence[Gene], parents: Population, size: int, rng: np.random.Generator) -> np.ndarray:
    """A generation, shape (size, d): children of pairs of parents, or a Latin hypercube where they are few.

    Numbers: simulated binary crossover (Deb and Agrawal 1995) and polynomial mutation, both bounded (as in Deb's NSGA-II
    code); integers are drawn as reals and rounded. Choices: exchanged, and mutated to any other option.
    """
    low = np.array([0.0 if gene.kind == CHOICE else gene.low for gene in genes])
    high = np.array([gene.options - 1.0 if gene.kind == CHOICE else gene.high for gene in genes])
    whole = np.array([gene.kind in (INTEGER, CHOICE) for gene in genes], dtype=bool)
    choice = np.array([gene.kind == CHOICE for gene in genes], dtype=bool)
    if len(parents) >= LEAST_PARENTS:
        father, mother = _pairs(parents.violation, size, rng)
        children = _crossed(parents.genes[father], parents.genes[mother], low, high, choice, rng)
        children = _mutated(children, low, high, whole, choice, rng)
    else:
        spread = (rng.permuted(np.tile(np.arange(size), (len(low), 1)), axis=1).T + rng.random((size, len(low)))) / size
        edge = np.where(whole, 0.5, 0.0)
        children = low - edge + spread * (high - low + 2 * edge)
    return np.clip(np.where(whole, np.rint(children), children), low, high)


def _pairs(violation: np.ndarray, size: int, rng: np.random.Generator) -> tuple[np.ndarray, np.ndarray]:
    """Rows of both parents of each child: of two drawn, the one that violates less, the first where neither does."""
    turns = -(-4 * size // len(violation))
    drawn = np.concatenate([rng.permutation(len(violation)) for _ in range(turns)])[: 4 * size].reshape(4, size)
    better = np.where(violation[drawn[0::2]] <= violation[drawn[1::2]], drawn[0::2], drawn[1::2])
    return better[0], better[1]


def _crossed(
    father: np.ndarray, mother: np.ndarray, low: np.ndarray, high: np.ndarray, choice: np.ndarray, rng: np.random.Generator
) -> np.ndarray:
    shape = father.shape
    near, far = np.minimum(father, mother), np.maximum(father, mother)
    gap = np.maximum(far - near, 1e-14)
    chance, exchanged, lower = rng.random(shape), rng.random(shape) < EXCHANGE_SHARE, rng.random(shape) < 0.5
    room = np.where(lower, near - low, high - far)
    reachable = 2.0 - (1.0 + 2.0 * room / gap) ** -(CROSSOVER_SHAPE + 1.0)
    scaled = chance * reachable
    outward = 1.0 / np.maximum(2.0 - scaled, 1e-14)
    spread = np.where(scaled <= 1.0, scaled, outward) ** (1.0 / (CROSSOVER_SHAPE + 1.0))
    middle = 0.5 * (near + far)
    crossed = np.where(lower, middle - 0.5 * spread * gap, middle + 0.5 * spread * gap)
    crossed = np.where(choice, mother, crossed)
    return np.where(exchanged & (father != mother), crossed, father)


def _mutated(
    genes: np.ndarray, low: np.ndarray, high: np.ndarray, whole: np.ndarray, choice: np.ndarray, rng: np.random.Generator
) -> np.ndarray:
    width = np.maximum(high - low, 1e-14)
    hit = rng.random(genes.shape) < 1.0 / max(genes.shape[1], 1)
    chance, other = rng.random(genes.shape), rng.random(genes.shape)
    place = np.clip((genes - low) / width, 0.0, 1.0)
    power = MUTATION_SHAPE + 1.0
    down = (2 * chance + (1 - 2 * chance) * (1 - place) ** power) ** (1 / power) - 1
    up = 1 - (2 * (1 - chance) + (2 * chance - 1) * place**power) ** (1 / power)
    move = np.where(chance < 0.5, down, up) * width
    # a whole number moves by one at least, or small moves would be rounded away
    move = np.where(whole & (np.abs(move) < 1), np.where(chance < 0.5, -1.0, 1.0), move)
    start = np.where(whole, np.rint(genes), genes)
    moved = np.clip(start + move, low, high)
    # any other option, each as likely
    option = np.floor(other * width)
    moved = np.where(choice, np.where(option >= start, option + 1, option), moved)
    return np.where(hit, moved, genes)


def _fields(population: Population) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    return population.genes, population.costs, population.violation
