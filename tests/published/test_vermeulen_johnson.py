"""Vermeulen & Johnson 1964, with Kalker's coefficients after Shen, Hedrick & Elkins 1983 (law from memory)."""

from __future__ import annotations

import numpy as np
import pytest

from objectives.compiled import on_arrays
from objectives.kalker import kalker_c22
from objectives.traction import saturation, saturation_creep, saturation_of_creep


@pytest.mark.parametrize(("ratio", "share"), [(1.0, 19 / 27), (2.0, 26 / 27), (3.0, 1.0), (7.0, 1.0)])
def test_worked_values(ratio: float, share: float) -> None:
    assert saturation(ratio) == pytest.approx(share, rel=1e-12)


def test_both_forms_are_the_polynomial() -> None:
    u = np.linspace(0, 3, 61)
    assert on_arrays(saturation, u) == pytest.approx(u - u**2 / 3 + u**3 / 27, abs=1e-14)
    assert on_arrays(saturation_of_creep, u / 3) == pytest.approx(on_arrays(saturation, u), abs=1e-15)


def test_small_creep_gives_kalkers_force() -> None:
    friction, force, modulus, a, b, nu = 0.6, 20.0, 10e6, 2e-3, 1e-3, 0.48
    coefficient = kalker_c22(a / b, nu)
    creep = 1e-6
    full = saturation_creep(friction, force, coefficient, modulus, a, b)
    linear = a * b * modulus * coefficient * creep
    assert friction * force * saturation_of_creep(creep / full) == pytest.approx(linear, rel=1e-4)
