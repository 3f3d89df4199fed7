"""ISO 281 basic rating life and bearing makers' friction rule (from memory)."""

from __future__ import annotations

import math

import numpy as np
import pytest

from objectives.elements import bearing_friction_moment, bearing_life

RPM = 2 * math.pi / 60


def test_ball_bearing_in_hours() -> None:
    """C = 3300 N, P = 100 N, 300 rpm: 10^6/(60 n) (C/P)^3 = 1 996 500 h."""
    assert bearing_life(3300.0, 100.0, 300 * RPM) / 3600 == pytest.approx(1_996_500, rel=1e-9)


def test_roller_bearing_in_hours() -> None:
    """C = 12 000 N, P = 1000 N, 100 rpm, exponent 10/3: (12^(10/3)) 10^6/6000 h."""
    assert bearing_life(12e3, 1e3, -100 * RPM, 10 / 3) / 3600 == pytest.approx(12 ** (10 / 3) * 1e6 / 6000, rel=1e-9)


def test_at_rest_or_unloaded_it_lasts() -> None:
    assert np.isinf(bearing_life(3300.0, np.array([0.0, 100.0]), np.array([10.0, 0.0]))).all()


def test_friction_moment() -> None:
    """mu = 0.0015, 100 N, 8 mm bore: 0.6 N mm."""
    assert bearing_friction_moment(0.0015, 100.0, 8e-3) * 1e3 == pytest.approx(0.6)
