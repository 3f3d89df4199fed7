"""Drilling contacts: full slip by quadrature over Hertz's pressure; Mindlin 1949 (from memory)."""

from __future__ import annotations

import math

import numpy as np
import pytest

from objectives.kalker import kalker_c33
from objectives.traction import (
    mindlin_stiffness_ratio,
    slide_spin_force_ratio,
    slide_spin_moment_ratio,
    spin_moment,
    spin_moment_full_slip,
)

# pressure over the unit circle, with rho = sin t so that its root at the rim is smooth
_T, _W = np.polynomial.legendre.leggauss(200)
RHO = np.sin((_T + 1) * math.pi / 4)
WEIGHT = 3 * RHO * np.cos((_T + 1) * math.pi / 4) ** 2 * _W * math.pi / 4
ANGLE = (np.arange(2000) + 0.5) * math.pi / 2000
X, Y = RHO[:, None] * np.cos(ANGLE), RHO[:, None] * np.sin(ANGLE)


def slide_and_spin(s: float) -> tuple[float, float]:
    """F/(mu N) and M/(mu N a) of a circle that slides along y at s and spins at 1."""
    speed = np.hypot(s + X, Y)
    return float(WEIGHT @ ((s + X) / speed).mean(1)), float(WEIGHT @ ((X * (s + X) + Y**2) / speed).mean(1))


@pytest.mark.parametrize(
    ("s", "force", "moment"), [(0.2, 0.2333, 0.9606), (0.5, 0.5522, 0.7734), (1, 0.8836, 0.3750), (2, 0.9743, 0.1730)]
)
def test_printed_values(s: float, force: float, moment: float) -> None:
    assert slide_spin_force_ratio(s) == pytest.approx(force, abs=0.0008)
    assert slide_spin_moment_ratio(s) == pytest.approx(moment, abs=0.0042)


def test_fits_keep_their_stated_error() -> None:
    for s in np.concatenate([np.linspace(0.01, 3, 120), np.geomspace(3, 100, 20)]):
        force, moment = slide_and_spin(float(s))
        assert slide_spin_force_ratio(s) == pytest.approx(force, abs=0.0008)
        assert slide_spin_moment_ratio(s) == pytest.approx(moment / (3 * math.pi / 16), abs=0.0042)


def test_ends_of_the_fits() -> None:
    assert (slide_spin_force_ratio(0.0), slide_spin_moment_ratio(0.0)) == (0.0, 1.0)
    assert slide_spin_force_ratio(9999.0) == pytest.approx(slide_spin_force_ratio(10001.0), abs=1e-7)
    assert slide_spin_moment_ratio(9999.0) == pytest.approx(slide_spin_moment_ratio(10001.0), rel=1e-3)
    assert slide_spin_force_ratio(1e-3) == pytest.approx(3 * math.pi / 8 * 1e-3, rel=1e-4)


@pytest.mark.parametrize(("a", "b", "moment"), [(1.0, 1.0, 5.890486), (2.0, 1.0, 9.082920)])  # mm, N mm; mu = 0.5, N = 20 N
def test_full_slip_of_an_ellipse(a: float, b: float, moment: float) -> None:
    for first, second in ((a, b), (b, a)):
        assert spin_moment_full_slip(0.5, 20.0, first * 1e-3, second * 1e-3) * 1e3 == pytest.approx(moment, rel=1e-6)
    arm = WEIGHT @ np.hypot(a * X, b * Y).mean(1)
    assert moment == pytest.approx(0.5 * 20.0 * arm, rel=1e-4)


def test_spin_moment_is_linear_then_capped() -> None:
    small = spin_moment(0.5, 20.0, 2e-3, 1e-3, 10e6, 0.5, 1.0)
    assert small == pytest.approx((2e-6) ** 2 * 10e6 * kalker_c33(2.0, 0.5))
    assert spin_moment(0.5, 20.0, 2e-3, 1e-3, 10e6, 0.5, -1.0) == small
    assert spin_moment(0.5, 20.0, 2e-3, 1e-3, 10e6, 0.5, 1e6) == spin_moment_full_slip(0.5, 20.0, 2e-3, 1e-3)


@pytest.mark.parametrize(("nu", "ratio"), [(0.5, 2 / 3), (0.3, 0.82353)])
def test_mindlin(nu: float, ratio: float) -> None:
    """k_t = 8 a G* over k_n = 2 a E*, with 1/G* = sum (2 - nu)/G: a = 1 mm and G = 5 MPa on a rigid body give 26 666.7 N/m."""
    assert mindlin_stiffness_ratio(nu) == pytest.approx(ratio, rel=1e-5)
    modulus = 2 * 5e6 * 1.5 / (1 - 0.5**2)
    assert mindlin_stiffness_ratio(0.5) * 2 * 1e-3 * modulus == pytest.approx(26666.7, abs=0.05)
