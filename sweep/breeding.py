"""Children of parents: a generation drawn as arrays."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from objectives.variables import CHOICE, INTEGER
from sweep.population import Gene, Population

#: shape of simulated binary crossover and of polynomial mutation: larger keeps children nearer to their parents
CROSSOVER_SHAPE = 20.0
MUTATION_SHAPE = 10.0
EXCHANGE_SHARE = 0.5
#: parents that a generation needs; with fewer it is drawn evenly over the space
LEAST_PARENTS = 8


def draw(genes: Sequence[Gene], parents: Population, size: int, rng: np.random.Generator) -> np.ndarray:
    """A generation, shape (size, d): children of pairs of parents, or a Latin hypercube where they are few.

    Numbers: simulated binary crossover (Deb and Agrawal 1995) and polynomial mutation, both bounded (as in Deb's NSGA-II
    code); integers are drawn as reals and rounded. Choices: exchanged, and mutated to any other option.
    """
    if len(parents) < LEAST_PARENTS:
        return even(genes, size, rng)
    low, high, whole, choice = _axes(genes)
    father, mother = _pairs(parents.violation, size, rng)
    children = _crossed(parents.genes[father], parents.genes[mother], low, high, choice, rng)
    children = _mutated(children, low, high, whole, choice, rng)
    return np.clip(np.where(whole, np.rint(children), children), low, high)


def even(genes: Sequence[Gene], size: int, rng: np.random.Generator) -> np.ndarray:
    """A Latin hypercube over the whole space, shape (size, d)."""
    low, high, whole, _ = _axes(genes)
    shares = (rng.permuted(np.tile(np.arange(size), (len(low), 1)), axis=1).T + rng.random((size, len(low)))) / size
    edge = np.where(whole, 0.5, 0.0)
    drawn = low - edge + shares * (high - low + 2 * edge)
    return np.clip(np.where(whole, np.rint(drawn), drawn), low, high)


def _axes(genes: Sequence[Gene]) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """Least and most of each axis, and which hold whole numbers and which choices."""
    low = np.array([0.0 if gene.kind == CHOICE else gene.low for gene in genes])
    high = np.array([gene.options - 1.0 if gene.kind == CHOICE else gene.high for gene in genes])
    whole = np.array([gene.kind in (INTEGER, CHOICE) for gene in genes], dtype=bool)
    return low, high, whole, np.array([gene.kind == CHOICE for gene in genes], dtype=bool)


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
    chance, exchanged, lower = rng.random(shape), rng.random(shape) < EXCHANGE_SHARE, rng.random(shape) < 0.5
    exchanged &= father != mother
    children = np.where(exchanged, mother, father)
    at = np.nonzero(exchanged & ~choice)  # powers take long: none is worked out in vain
    one, other, lower, axis = father[at], mother[at], lower[at], at[1]
    near, far = np.minimum(one, other), np.maximum(one, other)
    gap = np.maximum(far - near, 1e-14)
    room = np.where(lower, near - low[axis], high[axis] - far)
    reachable = 2.0 - (1.0 + 2.0 * room / gap) ** -(CROSSOVER_SHAPE + 1.0)
    scaled = chance[at] * reachable
    outward = 1.0 / np.maximum(2.0 - scaled, 1e-14)
    spread = np.where(scaled <= 1.0, scaled, outward) ** (1.0 / (CROSSOVER_SHAPE + 1.0))
    middle = 0.5 * (near + far)
    children[at] = np.where(lower, middle - 0.5 * spread * gap, middle + 0.5 * spread * gap)
    return children


def _mutated(
    genes: np.ndarray, low: np.ndarray, high: np.ndarray, whole: np.ndarray, choice: np.ndarray, rng: np.random.Generator
) -> np.ndarray:
    """``genes``, changed."""
    hit = rng.random(genes.shape) < 1.0 / max(genes.shape[1], 1)
    chance, other = rng.random(genes.shape), rng.random(genes.shape)
    at = np.nonzero(hit)
    found, chance, other, axis = genes[at], chance[at], other[at], at[1]
    low, high, whole, choice = low[axis], high[axis], whole[axis], choice[axis]
    width = np.maximum(high - low, 1e-14)
    place = np.clip((found - low) / width, 0.0, 1.0)
    power = MUTATION_SHAPE + 1.0
    down = (2 * chance + (1 - 2 * chance) * (1 - place) ** power) ** (1 / power) - 1
    up = 1 - (2 * (1 - chance) + (2 * chance - 1) * place**power) ** (1 / power)
    move = np.where(chance < 0.5, down, up) * width
    # a whole number moves by one at least, or small moves would be rounded away
    move = np.where(whole & (np.abs(move) < 1), np.where(chance < 0.5, -1.0, 1.0), move)
    start = np.where(whole, np.rint(found), found)
    moved = np.clip(start + move, low, high)
    # any other option, each as likely
    option = np.floor(other * width)
    genes[at] = np.where(choice, np.where(option >= start, option + 1, option), moved)
    return genes
