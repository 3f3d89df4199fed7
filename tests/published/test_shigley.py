"""Shigley, *Mechanical Engineering Design*, Table 14-2 (20 degrees full depth, printed) and gear geometry of ISO 53."""

from __future__ import annotations

import math

import numpy as np
import pytest

from objectives.elements import (
    addendum_contact_ratio,
    lewis_bending_stress,
    lewis_form_factor,
    spur_mesh_efficiency,
    tightening_torque,
    undercut_limit_teeth,
)

TABLE_14_2 = {
    12: 0.245, 13: 0.261, 14: 0.277, 15: 0.290, 16: 0.296, 17: 0.303, 18: 0.309, 19: 0.314, 20: 0.322, 21: 0.328, 22: 0.331,
    24: 0.337, 26: 0.346, 28: 0.353, 30: 0.359, 34: 0.371, 38: 0.384, 43: 0.397, 50: 0.409, 60: 0.422, 75: 0.435, 100: 0.447,
    150: 0.460, 300: 0.472, 400: 0.480,
}  # fmt: skip


def test_form_factor_table() -> None:
    assert lewis_form_factor(np.array(list(TABLE_14_2))) == pytest.approx(np.array(list(TABLE_14_2.values())), abs=5e-4)


def test_form_factor_between_and_outside() -> None:
    teeth = np.arange(10, 401)
    values = lewis_form_factor(teeth)
    assert (np.diff(values) > 0).all()
    assert lewis_form_factor(5) == lewis_form_factor(10)
    assert lewis_form_factor(1000) == pytest.approx(0.480)
    assert lewis_form_factor(1000) < 0.485  # the rack's
    assert np.isnan(lewis_form_factor(math.nan))


def test_bending_stress_in_the_book_units() -> None:
    """Example 14-1 (from memory): 16 teeth, 8 teeth per inch, face 1.5 in; 365 lbf times K_v = 1.52 gives 10 kpsi."""
    psi, inch, pound = 6894.757, 0.0254, 4.4482216
    stress = lewis_bending_stress(1.52 * 365 * pound, 1.5 * inch, inch / 8, 16)
    assert stress / psi == pytest.approx(10_000, rel=2e-3)


@pytest.mark.parametrize(("z1", "z2", "efficiency"), [(20, 40, 0.983394), (17, 51, 0.982507)])
def test_mesh_efficiency(z1: int, z2: int, efficiency: float) -> None:
    assert spur_mesh_efficiency(z1, z2, 0.1) == pytest.approx(efficiency, abs=5e-7)


def test_mesh_efficiency_against_the_mean_of_sliding() -> None:
    """Friction times sliding speed, averaged over the path of contact with the load shared evenly in double contact."""
    z1, z2, friction = 20, 40, 0.1
    ahead, behind = float(addendum_contact_ratio(z1)), float(addendum_contact_ratio(z2))
    place = np.linspace(-behind, ahead, 400001)  # along the path in base pitches, 0 at the pitch point
    another_pair_touches = (place - 1 > -behind) | (place + 1 < ahead)
    share = np.where(another_pair_touches, 0.5, 1.0)
    loss = friction * np.trapezoid(share * np.abs(place), place) * 2 * math.pi * (1 / z1 + 1 / z2)
    assert 1 - loss == pytest.approx(float(spur_mesh_efficiency(z1, z2, friction)), abs=2e-6)


def test_undercut() -> None:
    assert undercut_limit_teeth() == pytest.approx(17.097, abs=5e-4)
    assert undercut_limit_teeth(math.radians(25)) == pytest.approx(11.2, abs=0.05)


def test_tightening_torque() -> None:
    assert tightening_torque(0.2, 1000.0, 6e-3) == pytest.approx(1.2)
