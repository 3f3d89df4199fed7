"""Intervals of fits: how often they hold what is true, and what is said where the data do not tell."""

import numpy as np
import pytest

from sweep.workshop.fitting import CONFIDENCE, fit

X = np.linspace(0.0, 4.0, 12)


def line(seed, slope=2.0, offset=1.0, noise=0.3):
    y = offset + slope * X + noise * np.random.default_rng(seed).normal(size=len(X))
    return fit(lambda p: y - p[0] - p[1] * X, ("offset", "slope"), (0.5, 0.5), (-10, -10), (10, 10)), y


def test_a_straight_line_is_that_of_linear_regression():
    found, y = line(3)
    (slope, offset), covariance = np.polyfit(X, y, 1, cov=True)
    assert found.values == pytest.approx([offset, slope], rel=1e-8)
    assert found.covariance == pytest.approx(covariance[::-1, ::-1], rel=1e-6)


def test_intervals_hold_the_truth_as_often_as_they_say():
    """400 draws: at 95 % the count has a standard deviation of 1.1 %; four of them either way."""
    held = np.array([
        (found.intervals[:, 0] <= (1.0, 2.0)) & (found.intervals[:, 1] >= (1.0, 2.0))
        for found, _ in (line(seed) for seed in range(400))
    ])
    assert held.mean(axis=0) == pytest.approx(CONFIDENCE, abs=0.044)


def test_two_that_only_show_as_a_product_are_named_together():
    y = 6.0 * X
    found = fit(lambda p: y - p[0] * p[1] * X - p[2], ("a", "b", "c"), (1.0, 1.0, 0.5), (0.1, 0.1, -9), (9, 90, 9))
    assert found.entangled() == [("a", "b")]
    assert found.values[0] * found.values[1] == pytest.approx(6.0, rel=1e-6)
    assert np.isinf(found.deviations[:2]).all()
    assert np.isfinite(found.deviations[2])


def test_one_that_moves_nothing_is_not_told_and_named_with_nobody():
    y = 1.0 + X
    found = fit(lambda p: y - p[0] - X + 0 * p[1], ("a", "idle"), (0.3, 2.0), (-9, 0.1), (9, 9))
    assert found.entangled() == []
    assert np.isinf(found.deviations[1])
    assert np.isfinite(found.deviations[0])


def test_a_parameter_at_its_limit_is_named():
    y = 5.0 * X
    found = fit(lambda p: y - p[0] * X, ("slope",), (1.0,), (0.0,), (3.0,))
    assert found.at_bound == ("slope",)
    assert found.values[0] == pytest.approx(3.0)
