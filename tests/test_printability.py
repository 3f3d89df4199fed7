"""Desirabilities at the ends of their ramps, and their geometric mean."""

import math
import warnings
from dataclasses import replace

import numpy as np
import pytest

from objectives import printability as of
from objectives.printability import DESIRABILITIES, printability, ramp
from objectives.units import HOUR, MM
from tests.plausible import assessment, scenario, wheels

PLAIN = assessment()


def with_layout(**changes):
    return replace(PLAIN, layout=replace(PLAIN.layout, **{name: np.array([value]) for name, value in changes.items()}))


def test_ramp_runs_from_worst_to_best_either_way():
    """Derringer and Suich: d = ((y - L)/(T - L))^r with r = 1."""
    assert ramp(np.array([1.0, 2.0, 3.0, 5.0]), 2, 4).tolist() == [0, 0, 0.5, 1]
    assert ramp(np.array([1.0, 3.0, 5.0]), 4, 2).tolist() == [1, 0.5, 0]


def test_walls_of_two_lines_are_the_least_that_prints():
    line = 0.45 * MM
    assert of.walls(with_layout(arm_neck=2 * line))[0] == pytest.approx(0, abs=1e-9)
    assert of.walls(with_layout(arm_neck=5 * line))[0] == pytest.approx(0.5)
    assert of.walls(with_layout(arm_neck=8 * line, hub_roller_room=8 * line + 0.5 * MM))[0] == pytest.approx(1)
    assert of.walls(with_layout(arm_neck=8 * line, hub_roller_room=5 * line + 0.5 * MM))[0] == pytest.approx(0.5)


def test_clearance_against_what_the_printer_needs():
    """0.25 mm needed; a plain bore's play counts, a bought bearing's does not."""
    assert of.clearances(assessment(wheels({"bore_play_mm": 0.25})))[0] == pytest.approx(1)
    assert of.clearances(assessment(wheels({"bore_play_mm": 0.25 * 2 / 3})))[0] == pytest.approx(0.5)
    assert of.clearances(assessment(wheels({"bore_play_mm": 0.05})))[0] == 0
    assert of.clearances(assessment(wheels({"bore_play_mm": 0.05, "bore": "ball"})))[0] == pytest.approx(1)


def test_overhang_at_forty_five_degrees_is_free():
    """The roller's axis leaves the bed's plane by asin(sin(gamma) sin(beta))."""
    assert of.overhang(assessment(wheels({"contact_angle_deg": 45.0, "skew_angle_deg": 80.0})))[0] == pytest.approx(1)
    steep = assessment(wheels({"contact_angle_deg": 60.0, "skew_angle_deg": 89.99999}))
    assert of.overhang(steep)[0] == pytest.approx(0.5, abs=1e-4)


def test_a_wheel_larger_than_the_bed_does_not_print():
    half = 0.22 / 2
    assert of.bed_fit(with_layout(carrier_outside_radius=0.9 * half))[0] == pytest.approx(1)
    assert of.bed_fit(with_layout(carrier_outside_radius=0.95 * half))[0] == pytest.approx(0.5)
    large = with_layout(carrier_outside_radius=half)
    assert of.bed_fit(large)[0] == pytest.approx(0, abs=1e-12)
    assert printability(large)[0] == pytest.approx(0, abs=1e-3)


def test_print_time_on_a_logarithmic_scale():
    def lasting(hours):
        return of.print_time(replace(PLAIN, mass=replace(PLAIN.mass, print_time=np.array([hours * HOUR]))))[0]

    assert (lasting(10), lasting(300)) == (1, 0)
    assert lasting(math.sqrt(12 * 200)) == pytest.approx(0.5)


def test_soft_wall_and_part_count():
    assert of.soft_wall(assessment(wheels({"bore": "ball", "tyre_thickness_mm": 5 * 0.45})))[0] == pytest.approx(0.5)
    assert of.part_count(replace(PLAIN, mass=replace(PLAIN.mass, part_count=np.array([115]))))[0] == pytest.approx(0.5)


def test_weighted_geometric_mean():
    """Independently: exp of the weighted mean of logarithms."""
    values = [(function(PLAIN)[0], weight) for function, weight in DESIRABILITIES]
    expected = math.exp(sum(w * math.log(d) for d, w in values) / sum(w for _, w in values))
    assert printability(PLAIN)[0] == pytest.approx(expected)
    assert 0 < expected < 1


def test_bounded_for_any_wheel():
    found = printability(assessment(wheels(*({"output_roller_fill": fill, "hub_roller_count": count}
                                             for fill in (0.6, 0.8, 0.97) for count in (10, 20, 40)))))
    assert ((found >= 0) & (found <= 1)).all()


def test_a_finer_printer_does_no_harm():
    fine = scenario(printer=replace(scenario().printer, clearance=0.15 * MM))
    assert of.clearances(assessment(None, fine))[0] >= of.clearances(PLAIN)[0]


def test_nan_stays_with_its_candidate():
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        found = printability(assessment(wheels({}, {"output_roller_fill": np.nan})))
    assert np.isfinite(found[0])
    assert np.isnan(found[1])
