"""ISO 261/262 coarse threads, ISO 898-1 stress areas, ISO 54 modules: the catalogue against the standards (from memory)."""

from __future__ import annotations

import math

import pytest

from objectives.catalogue import shipped
from objectives.elements import nut_preload, thread_stress_area

COARSE_PITCH = {2.0: 0.4, 2.5: 0.45, 3.0: 0.5, 4.0: 0.7, 5.0: 0.8, 6.0: 1.0, 8.0: 1.25}  # mm
STRESS_AREA = {3.0: 5.03, 4.0: 8.78, 5.0: 14.2, 6.0: 20.1, 8.0: 36.6}  # mm^2, ISO 898-1 as printed
SERIES_I = [1, 1.25, 1.5, 2, 2.5, 3]  # mm


def test_coarse_pitches() -> None:
    assert {size: screw.pitch * 1e3 for size, screw in shipped().screws.items()} == pytest.approx(COARSE_PITCH)


@pytest.mark.parametrize(("size", "area"), STRESS_AREA.items())
def test_stress_areas(size: float, area: float) -> None:
    screw = shipped().screws[size]
    assert thread_stress_area(screw.diameter, screw.pitch) * 1e6 == pytest.approx(area, rel=2.5e-3)


def test_modules_of_series_one() -> None:
    assert [round(module * 1e3, 6) for module in shipped().gear_modules if module >= 1e-3] == SERIES_I


def test_preload_of_one_turn_is_stiffness_times_pitch() -> None:
    assert nut_preload(20e3, 1.25e-3, 2 * math.pi) == pytest.approx(25.0)
