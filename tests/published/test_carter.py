"""Carter 1926; Johnson 1985, section 8.3 (from memory)."""

from __future__ import annotations

import math

import pytest

from objectives.hertz import line_half_width
from objectives.kalker import kalker_c11
from objectives.traction import carter


def test_worked_value() -> None:
    assert carter(0.5, 0.5, 0.1, 1.0) == pytest.approx(0.01464466, rel=1e-6)  # mu = 0.5, a/R = 0.1, Q/(mu P) = 0.5
    assert carter(0.0, 0.5, 0.1, 1.0) == 0.0
    assert math.isnan(carter(1.01, 0.5, 0.1, 1.0))


@pytest.mark.parametrize("nu", [0.25, 0.5])
def test_small_traction_has_kalkers_limit_slope(nu: float) -> None:
    """Q/xi = pi a G/(2 (1 - nu)) per length, which over an ellipse of chords a sqrt(1 - (y/b)^2) adds up to C11 a b G."""
    shear, radius, load, friction = 5e6, 0.01, 500.0, 0.6
    modulus = 2 * shear * (1 + nu) / (1 - nu**2) / 2  # bodies alike
    a = line_half_width(load, radius, modulus)
    ratio = 1e-7
    creep = carter(ratio, friction, a, radius)
    assert ratio * friction * load / creep == pytest.approx(math.pi * a * shear / (2 * (1 - nu)), rel=1e-5)
    assert math.pi / (2 * (1 - nu)) * math.pi / 2 == pytest.approx(kalker_c11(1e-3, nu), rel=0.02)
