"""Least squares with intervals: how well each parameter is told by the data, and which ones cannot be told apart."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

#: share of cases that an interval is meant to hold
CONFIDENCE = 0.95
#: singular values below this share of the largest are taken for none: differences of the model carry no more digits
RANK_TOLERANCE = 1e-7
#: correlation from which two parameters count as one
ALIKE = 0.95
#: part of a parameter in a direction of the parameters that counts as taking part
PART = 0.1
#: step of the central differences, as a share of a parameter's scale
STEP = 1e-4


@dataclass(frozen=True)
class Fit:
    """Parameters found by least squares. p parameters, m residuals; everything in the parameters' own units.

    ``residuals`` are weighted: over the standard deviation that each reading was said to have.
    """

    names: tuple[str, ...]
    values: np.ndarray  # (p,)
    covariance: np.ndarray  # (p, p); inf where the data do not tell a parameter
    residuals: np.ndarray  # (m,)
    singular: np.ndarray  # (p,) of the scaled Jacobian, falling
    directions: np.ndarray  # (p, p) rows: what each singular value belongs to, in shares of the scales
    at_bound: tuple[str, ...]  # parameters that ended at a limit of what they may be
    converged: bool

    @property
    def freedom(self) -> int:
        """Readings beyond the number of parameters."""
        return len(self.residuals) - len(self.values)

    @property
    def residual_deviation(self) -> float:
        """Residual standard deviation sqrt(RSS/(m - p)), of weighted residuals: near 1 where readings are as good as said."""
        return float(np.sqrt(np.sum(self.residuals**2) / self.freedom)) if self.freedom > 0 else float("nan")

    @property
    def deviations(self) -> np.ndarray:
        """Standard deviations of the parameters, shape (p,)."""
        return np.sqrt(np.diag(self.covariance))

    @property
    def intervals(self) -> np.ndarray:
        """95 % intervals, shape (p, 2): value -+ t_(0.975, m - p) deviation, linear about the optimum."""
        from scipy.stats import t

        half = t.ppf(0.5 + CONFIDENCE / 2, self.freedom) * self.deviations if self.freedom > 0 else np.inf
        return np.column_stack([self.values - half, self.values + half])

    @property
    def correlation(self) -> np.ndarray:
        """Correlation of the parameters, shape (p, p); nan with one that the data do not tell."""
        deviations = self.deviations
        with np.errstate(invalid="ignore"):
            return self.covariance / np.outer(deviations, deviations)

    def entangled(self) -> list[tuple[str, ...]]:
        """Groups of parameters that the data cannot tell apart: named together.

        Those that share a direction of the scaled Jacobian without a singular value, and pairs with a correlation above
        ``ALIKE``.
        """
        groups: list[tuple[str, ...]] = []
        for size, direction in zip(self.singular, self.directions, strict=True):
            members = tuple(name for name, part in zip(self.names, direction, strict=True) if abs(part) > PART)
            if size <= RANK_TOLERANCE * self.singular[0] and len(members) > 1:
                groups.append(members)
        correlation = self.correlation
        for i, first in enumerate(self.names):
            for j, second in enumerate(self.names[:i]):
                told = any(first in group and second in group for group in groups)
                if not told and abs(correlation[i, j]) > ALIKE:
                    groups.append((second, first))
        return groups


def fit(
    residuals: Callable[[np.ndarray], np.ndarray],
    names: Sequence[str],
    start: Sequence[float],
    low: Sequence[float],
    high: Sequence[float],
    scale: Sequence[float] | None = None,
) -> Fit:
    """Minimise the sum of squares of ``residuals`` (p,) -> (m,) between ``low`` and ``high``, from ``start``.

    Covariance s^2 (J^T J)^-1 with s^2 = RSS/(m - p): intervals are linear about the optimum and symmetric, which a model that
    is strongly bent within them is not (Seber and Wild, *Nonlinear Regression*, 1989, sections 2.1 and 5.1, from memory;
    profiles of the sum of squares would tell). ``scale`` (p,) is the size of a change that counts as large, the start unless
    given. A parameter that moves no residual, or moves them only together with others, has an infinite variance.
    """
    from scipy.optimize import least_squares

    begin = np.asarray(start, dtype=float)
    sizes = np.abs(begin) if scale is None else np.asarray(scale, dtype=float)
    bounds = np.asarray(low, dtype=float) / sizes, np.asarray(high, dtype=float) / sizes

    def scaled(shares: np.ndarray) -> np.ndarray:
        return residuals(shares * sizes)

    def slopes(shares: np.ndarray) -> np.ndarray:
        return jacobian(scaled, shares, *bounds)

    inside = np.clip(begin / sizes, bounds[0], bounds[1])
    found = least_squares(scaled, inside, jac=slopes, bounds=bounds, xtol=1e-12, ftol=1e-12, gtol=1e-12, max_nfev=200)
    shares, rest = found.x, found.fun
    steep = slopes(shares)
    _, singular, directions = np.linalg.svd(steep, full_matrices=True)
    singular = np.concatenate([singular, np.zeros(len(shares) - len(singular))])
    freedom = len(rest) - len(shares)
    variance = float(np.sum(rest**2) / freedom) if freedom > 0 else float("nan")
    told = singular > RANK_TOLERANCE * max(float(singular[0]), 1e-300)
    covariance = variance * (directions[told].T / singular[told] ** 2) @ directions[told]
    lost = np.any(np.abs(directions[~told]) > 1e-4, axis=0)
    covariance[lost] = np.inf
    covariance[:, lost] = np.inf
    edge = 1e-6 * np.maximum(np.abs(shares), 1.0)
    at_bound = (shares - bounds[0] < edge) | (bounds[1] - shares < edge)
    return Fit(
        names=tuple(names),
        values=shares * sizes,
        covariance=covariance * np.outer(sizes, sizes),
        residuals=rest,
        singular=singular,
        directions=directions,
        at_bound=tuple(name for name, there in zip(names, at_bound, strict=True) if there),
        converged=bool(found.success),
    )


def jacobian(
    function: Callable[[np.ndarray], np.ndarray], at: np.ndarray, low: np.ndarray, high: np.ndarray
) -> np.ndarray:
    """Slopes of ``function`` (p,) -> (m,) by central differences, shape (m, p); one-sided at a bound."""
    columns = []
    for k, value in enumerate(at):
        up, down = at.copy(), at.copy()
        up[k], down[k] = min(value + STEP, high[k]), max(value - STEP, low[k])
        columns.append((function(up) - function(down)) / (up[k] - down[k]))
    return np.column_stack(columns)
