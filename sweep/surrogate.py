"""A surrogate model: what candidates would score, told from those that were scored.

Kernel ridge regression, which is the mean of a Gaussian process (Rasmussen and Williams, "Gaussian Processes for Machine
Learning", MIT Press 2006, equations 2.25 and 2.26). There is nothing in it but sums, products, quotients and roots: the
same bits whatever library of linear algebra and threads there are. Its weights were chosen by trial (decision 55 in
DEVELOPERS.md).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from objectives.compiled import compiled
from objectives.variables import CHOICE
from sweep.population import Gene

#: what noise adds to the kernel of a candidate with itself, which is about 10
NOISE = 0.01
#: weight of effects of single axes against effects of all together
SINGLE = 5.0
#: variance of the quadratic and the cubic effect of an axis, where the linear one has 1
QUADRATIC, CUBIC = 1.0 / 3.0, 1.0 / 9.0
#: weight of the squared distance in the rational quadratic kernel
STEEPNESS = 0.75
#: known candidates that a model of an output needs
FEWEST = 10


@dataclass(frozen=True)
class Features:
    """Candidates as the kernel takes them. Features have a mean of 0 over the space, of integers nearly so."""

    linear: np.ndarray  # (n, f) reals and integers along their axes, with a variance of 1; choices by option, of 1 together
    curved: np.ndarray  # (n, g) Legendre polynomials of reals and integers, of degrees 2 and 3
    axes: int

    @staticmethod
    def of(genes: Sequence[Gene], values: np.ndarray) -> Features:
        """Of ``values`` (n, d), each in its gene's own unit, on the d axes ``genes``."""
        numbers = [place for place, gene in enumerate(genes) if gene.kind != CHOICE]
        low, high = (np.array([getattr(genes[place], end) for place in numbers], dtype=float) for end in ("low", "high"))
        at = 2.0 * (values[:, numbers] - low) / np.maximum(high - low, 1e-12) - 1.0
        second, third = 1.5 * at * at - 0.5, (2.5 * at * at - 1.5) * at
        curved = np.hstack([np.sqrt(5.0 * QUADRATIC) * second, np.sqrt(7.0 * CUBIC) * third])
        options = [(place, option) for place, gene in enumerate(genes) if gene.kind == CHOICE for option in range(gene.options)]
        places, numbered = np.array(options, dtype=int).reshape(-1, 2).T
        many = np.array([genes[place].options for place in places], dtype=float)
        shares = ((values[:, places] == numbered) - 1.0 / many) * np.sqrt(many / np.maximum(many - 1.0, 1.0))
        return Features(np.hstack([np.sqrt(3.0) * at, shares]), curved, max(len(genes), 1))

    def take(self, rows: np.ndarray) -> Features:
        return Features(self.linear[rows], self.curved[rows], self.axes)


def kernel(first: Features, second: Features) -> np.ndarray:
    """How alike candidates are, (n, k) of n and k: single axes' effects, products of two, and nearness.

    The last is a rational quadratic kernel (Rasmussen and Williams, equation 4.19, exponent 1), which needs no exponential.
    """
    along = product(first.linear, np.ascontiguousarray(second.linear.T)) / first.axes
    single = along + product(first.curved, np.ascontiguousarray(second.curved.T)) / first.axes
    own, other = (np.sum(each.linear**2, axis=1) / each.axes for each in (first, second))
    distance = np.maximum(own[:, None] + other[None, :] - 2.0 * along, 0.0)
    return np.asarray(SINGLE * single + (1.0 + along / 3.0) ** 2 + 1.0 / (1.0 + STEEPNESS * distance))


class Surrogate:
    """A model of ``outputs`` (n, q) of known candidates, each made of those it is not nan for, and scaled to a variance of 1.

    One that is known of fewer than ``FEWEST`` candidates is 0 everywhere.
    """

    def __init__(self, known: Features, outputs: np.ndarray) -> None:
        self._known, self._mean, self._weights = known, np.zeros(outputs.shape[1]), np.zeros(outputs.shape)
        matrix = kernel(known, known)
        matrix[np.diag_indices(len(matrix))] += NOISE
        told_of: dict[bytes, list[int]] = {}  # outputs that are known of the same candidates share a factor
        for column, those in enumerate(~np.isnan(outputs).T):
            told_of.setdefault(those.tobytes(), []).append(column)
        for candidates, together in told_of.items():
            rows, columns = np.flatnonzero(np.frombuffer(candidates, dtype=bool)), np.array(together)
            if len(rows) >= FEWEST:
                told = outputs[np.ix_(rows, columns)]
                mean, scale = told.mean(axis=0), np.maximum(told.std(axis=0), 1e-12)
                self._mean[columns] = mean
                self._weights[np.ix_(rows, columns)] = solved(matrix[np.ix_(rows, rows)], (told - mean) / scale) * scale

    def __call__(self, asked: Features) -> np.ndarray:
        """Outputs of candidates, (k, q)."""
        return np.asarray(product(kernel(asked, self._known), self._weights) + self._mean)


@compiled
def product(left: np.ndarray, right: np.ndarray) -> np.ndarray:
    """The matrix product of (n, k) and (k, m), summed in the order of k.

    >>> product(np.array([[1.0, 2.0]]), np.array([[3.0], [4.0]]))
    array([[11.]])
    """
    found = np.zeros((len(left), right.shape[1]))
    for row in range(len(left)):
        for k in range(left.shape[1]):
            factor = left[row, k]
            for column in range(right.shape[1]):
                found[row, column] += factor * right[k, column]
    return found


@compiled
def solved(matrix: np.ndarray, right: np.ndarray) -> np.ndarray:
    """x of matrix x = right, (n, q), by Cholesky's factors of the symmetric positive definite (n, n), which is changed.

    >>> solved(np.array([[4.0, 2.0], [2.0, 3.0]]), np.array([[8.0], [7.0]]))
    array([[1.25],
           [1.5 ]])
    """
    size, columns = right.shape
    found = right.copy()
    for pivot in range(size):
        root = np.sqrt(matrix[pivot, pivot])
        for column in range(pivot, size):
            matrix[pivot, column] /= root
        for row in range(pivot + 1, size):
            factor = matrix[pivot, row]
            for column in range(row, size):
                matrix[row, column] -= factor * matrix[pivot, column]
        for column in range(columns):
            found[pivot, column] /= root
        for row in range(pivot + 1, size):
            for column in range(columns):
                found[row, column] -= matrix[pivot, row] * found[pivot, column]
    for pivot in range(size - 1, -1, -1):
        for column in range(columns):
            found[pivot, column] /= matrix[pivot, pivot]
        for row in range(pivot):
            for column in range(columns):
                found[row, column] -= matrix[row, pivot] * found[pivot, column]
    return found
