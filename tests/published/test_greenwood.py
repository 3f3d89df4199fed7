"""Greenwood, Minshall & Tabor 1961; Johnson 1985, section 9.4 (from memory), and the loss by integrating over the patch."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.special import spherical_jn

from objectives.hertz import effective_modulus
from objectives.rolling import (
    combined_loss_sine,
    line_resistance_ratio,
    loss_fraction_cylinder,
    loss_fraction_sphere,
    loss_sine,
    rolling_moment_cylinder,
    rolling_moment_ellipse,
    rolling_resistance_ratio,
    rolling_shape_factor,
)


def test_moments_of_the_paper() -> None:
    """alpha = 0.4, a/R = 0.1."""
    assert rolling_moment_cylinder(0.4, 1.0, 0.1) == pytest.approx(0.00848826, rel=1e-6)
    assert rolling_moment_ellipse(0.4, 1.0, 0.1) == pytest.approx(0.0075, rel=1e-9)


def test_loss_fraction_of_a_loss_tangent() -> None:
    assert loss_fraction_sphere(loss_sine(0.1)) == pytest.approx(0.32262, abs=5e-6)
    assert loss_fraction_cylinder(loss_sine(0.1)) == pytest.approx(0.39801, abs=5e-6)


def test_both_ways_agree_on_a_sphere_and_on_a_cylinder() -> None:
    """p0/E* = 2 a/(pi R) for a sphere; a patch long across the rolling direction adds up cylinders of the local chord."""
    sine, a, radius = loss_sine(0.12), 1e-3, 1e-2
    sphere = rolling_resistance_ratio(sine, 2 * a / (math.pi * radius) * 10e6, 10e6, 1.0)
    assert rolling_moment_ellipse(loss_fraction_sphere(sine), 1.0, a) / radius == pytest.approx(sphere, rel=1e-9)
    line = line_resistance_ratio(sine, a, radius)
    assert rolling_moment_cylinder(loss_fraction_cylinder(sine), 1.0, a) / radius == pytest.approx(line, rel=1e-9)
    mean_chord = 9 * math.pi / 32  # of sqrt(1 - y^2), weighted by the load of the slice, 1 - y^2
    slender = rolling_resistance_ratio(sine, a / (2 * radius) * 10e6, 10e6, 1e-6)
    assert slender == pytest.approx(line * mean_chord, rel=1e-5)


@pytest.mark.parametrize("aspect", [0.2, 0.7, 1.0, 1.6, 6.0])
def test_shape_factor_from_the_spectrum(aspect: float) -> None:
    """Every wave of the pressure loses sin(delta) of its work: summed over the spectrum of Hertz's pressure.

    u = 2 P/(E* k), so F = sin(delta)/(2 pi^2 E*) integral P^2 |k_x|/k. Hertz: P = 3 N j1(c)/c with k_x = c cos(t)/a and
    k_y = c sin(t)/b. The radial part is integral j1^2/c dc = 1/4, which leaves F/N = 1.5 sin(delta) p0/E* times the mean
    of |k_x|/k over t.
    """
    assert quad(lambda c: spherical_jn(1, c) ** 2 / c, 0, 200, limit=400)[0] == pytest.approx(0.25, rel=1e-4)
    mean = quad(lambda t: math.cos(t) / math.hypot(math.cos(t), aspect * math.sin(t)), 0, math.pi / 2)[0] * 2 / math.pi
    assert rolling_shape_factor(aspect) == pytest.approx(mean, rel=1e-6)


def test_shape_factor_is_smooth_at_the_circle() -> None:
    around = [rolling_shape_factor(1 + step) for step in np.linspace(-2e-4, 2e-4, 9)]
    assert np.diff(around) == pytest.approx(np.full(8, -2 / math.pi / 3 * 5e-5), rel=1e-2)


def test_loss_of_a_pair_is_weighted_by_compliance() -> None:
    soft, hard = 20e6 / (1 - 0.48**2), 2e9 / (1 - 0.38**2)
    pair = combined_loss_sine(0.12, soft, 0.02, hard)
    modulus = effective_modulus(20e6, 0.48, 2e9, 0.38)
    assert pair == pytest.approx(0.12 * modulus / soft + 0.02 * modulus / hard, rel=1e-12)
    assert combined_loss_sine(0.12, soft, 0.0, math.inf) == pytest.approx(0.12)
