"""A surrogate model: what candidates would score, told from those that were scored.

Kernel ridge regression, which is the mean of a Gaussian process (Rasmussen and Williams, "Gaussian Processes for Machine
Learning", MIT Press 2006, equations 2.25 and 2.26). There is nothing in it but sums, products, quotients and roots: the
same bits whatever library of linear algebra and threads there are. Its weights
were chosen by trial (decision 55 in DEVELOPERS.md).
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


@dataclass(frozen=True)
class Features:
    """Candidates as the kernel takes them. Features have a mean of 0 over the space, of integers nearly so."""

    linear: np.ndarray  # (n, f) reals and integers along their axes, with a variance of 1; choices by option, of 1 together
    curved: np.ndarray  # (n, g) Legendre polynomials of reals and integers, of degrees 2 and 3
    axes: int

    @staticmethod
    def of(genes: Sequence[Gene], values: np.ndarray) -> Features:
        """Of ``values`` (n, d), each in its gene's own unit, on the d axes ``genes``."""
        linear, curved = [], []
        for gene, value in zip(genes, values.T, strict=True):
            if gene.kind == CHOICE:
                shares = (value[:, None] == np.arange(gene.options)) - 1.0 / gene.options
                linear.append(shares * np.sqrt(gene.options / max(gene.options - 1.0, 1.0)))
            else:
                at = 2.0 * (value - gene.low) / max(gene.high - gene.low, 1e-12) - 1.0
                linear.append(np.sqrt(3.0) * at[:, None])
                second, third = 1.5 * at * at - 0.5, (2.5 * at * at - 1.5) * at
                curved.append(np.sqrt([5.0 * QUADRATIC, 7.0 * CUBIC]) * np.column_stack([second, third]))
        none = np.empty((len(values), 0))
        return Features(np.hstack([none, *linear]), np.hstack([none, *curved]), max(len(genes), 1))

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
    """A model of ``outputs`` (n, q), finite, of known candidates; each output is scaled to a variance of 1 meanwhile."""

    def __init__(self, known: Features, outputs: np.ndarray) -> None:
        self._known = known
        self._mean, self._scale = outputs.mean(axis=0), np.maximum(outputs.std(axis=0), 1e-12)
        matrix = kernel(known, known)
        matrix[np.diag_indices(len(matrix))] += NOISE
        self._weights = solved(matrix, (outputs - self._mean) / self._scale)

    def __call__(self, asked: Features) -> np.ndarray:
        """Outputs of candidates, (k, q)."""
        return np.asarray(product(kernel(asked, self._known), self._weights) * self._scale + self._mean)


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
