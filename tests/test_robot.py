"""Load cases: what the robot asks."""

import math
from dataclasses import replace

import numpy as np
import pytest

from objectives.robot import load_cases
from objectives.scenario import Case
from objectives.units import DEG, GRAVITY
from tests.plausible import scenario, wheels

MASS, INERTIA = np.array([2.0]), np.array([0.006])


def cases_of(**changes):
    plain = scenario()
    return load_cases(wheels(), MASS, INERTIA, replace(plain, **changes))


def test_sideways_force_is_the_reserve_times_weight_times_lean():
    """A rigid body at rest against its weight: F = m g phi, 11 kg, 8 degrees, reserve 1.5, worked by hand."""
    cases = cases_of()
    right = cases.force[0, cases.names.index("recover right")]
    assert right == pytest.approx(1.5 * 11 * 9.80665 * 8 * math.pi / 180, rel=1e-12)


def test_wheel_load_is_the_weight_of_robot_and_unit_unless_given():
    assert cases_of().wheel_load[0] == pytest.approx(11 * GRAVITY)
    given = replace(scenario().robot, wheel_load=60.0)
    assert cases_of(robot=given).wheel_load[0] == 60.0


def test_shares_of_the_duty_add_up_to_one():
    assert cases_of().share.sum() == pytest.approx(1.0)
    listed = (Case("patrol", 0.0, 6.0, 0.6, 0.5), Case("shuffle", -math.pi / 2, 3.0, 0.2, 0.25))
    cases = cases_of(duty=listed)
    assert cases.share.sum() == pytest.approx(1.0)
    assert cases.share[cases.names.index("patrol")] == pytest.approx(2 / 3)
    assert "cruise forward" not in cases.names


def test_demands_count_for_limits_only():
    cases = cases_of(demand=(Case("kerb", math.pi / 2, 22.0, 0.2),))
    at = cases.names.index("kerb")
    assert (cases.share[at], cases.force[0, at], cases.speed[0, at]) == (0.0, 22.0, 0.2)


def test_a_diagonal_effort_is_the_vector_of_its_halves():
    """Equal efforts F along both axes at 45 degrees make a vector of length F."""
    castered = replace(scenario().robot, kind="castered", acceleration=1.0, slope=0.0, rolling_resistance=0.0)
    cases = cases_of(robot=castered)
    assert cases.force[0, :5] == pytest.approx(11.0)


def test_castered_robot_pushes_its_mass_up_the_slope():
    """11 kg, 0.8 m/s^2, 5 degrees, 2 % rolling resistance: 8.8 + 9.4019 + 2.1492 N."""
    castered = replace(scenario().robot, kind="castered", acceleration=0.8, slope=5 * DEG, rolling_resistance=0.02)
    cases = cases_of(robot=castered)
    at = cases.names.index("accelerate reverse")
    assert cases.force[0, at] == pytest.approx(8.8 + 9.4019 + 2.1492, abs=2e-4)
    assert cases.speed[0, at] == 0.9


def test_cruising_asks_a_quarter_of_what_holds_the_lean():
    cases = cases_of()
    cruise = cases.force[0, cases.names.index("cruise forward")]
    assert cases.force[0, cases.names.index("recover forward")] == pytest.approx(1.5 * 4 * cruise)


def test_nan_stays_with_its_candidate_and_a_low_robot_has_no_answer():
    low = replace(scenario().robot, centre_of_mass_height=0.05)  # below the axle
    assert np.isnan(cases_of(robot=low).force[0, 0])
    two = load_cases(wheels({}, {"wheel_diameter_mm": np.nan}), np.array([2.0, 2.0]), np.array([6e-3, 6e-3]), scenario())
    assert np.isfinite(two.force[0]).all()
    assert np.isnan(two.force[1, 0])
