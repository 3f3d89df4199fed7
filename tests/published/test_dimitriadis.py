"""Dimitriadis et al. 2002, *Biophys. J.* 82:2798 (from memory), against a numerical solver of the bonded layer."""

from __future__ import annotations

import math

import pytest

from objectives.thin_layer import THIN_LAYER_CHI_LARGEST, thin_layer_factor, thin_layer_factor_at_force


@pytest.mark.parametrize(("chi", "numerical"), [(0.30, 1.518), (0.50, 2.156), (0.90, 4.358)])
def test_against_a_layer_solver(chi: float, numerical: float) -> None:
    """Values of an FFT solver of a sphere on a layer of Poisson's ratio 0.4999 bonded to a rigid base."""
    assert thin_layer_factor(chi) == pytest.approx(numerical, rel=0.017)


def test_thick_layers_follow_the_published_polynomial() -> None:
    for chi in (0.02, 0.05, 0.1):
        published = 1 + 1.133 * chi + 1.283 * chi**2 + 0.769 * chi**3 + 0.0975 * chi**4
        assert thin_layer_factor(chi) == pytest.approx(published, rel=2e-3)


def test_beyond_the_range_it_stays() -> None:
    assert thin_layer_factor(0.0) == 1.0
    assert thin_layer_factor(5.0) == thin_layer_factor(THIN_LAYER_CHI_LARGEST)


@pytest.mark.parametrize("thickness", [1.5e-3, 4e-3, math.inf])
def test_force_is_met(thickness: float) -> None:
    force, stiffness, radius = 25.0, 3e6, 0.008
    factor, chi = thin_layer_factor_at_force(force, stiffness, radius, thickness)
    delta = (force / (factor * stiffness)) ** (2 / 3)
    assert math.sqrt(radius * delta) / thickness == pytest.approx(chi, rel=1e-9)
    assert factor == thin_layer_factor(chi)
    assert factor >= 1.0
