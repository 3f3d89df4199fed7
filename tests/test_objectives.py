"""The objectives that read limits and losses, on hand-made states."""

import math
import warnings
from dataclasses import replace

import numpy as np
import pytest

from objectives.friction_loss import friction_loss, losses_by_name
from objectives.slip_margin import case_margins, slip_margin
from objectives.torque_capacity import torque_capacity
from tests.plausible import assessment, wheels

PLAIN = assessment()


def limited(**worst):
    """The plausible assessment with some worst limits replaced, by direction in degrees."""
    limits = PLAIN.limits
    values = limits.worst.copy()
    for name, value in worst.items():
        values[:, limits.of(math.radians(float(name[1:])))] = value
    return replace(PLAIN, limits=replace(limits, worst=values))


def test_capacity_is_the_weakest_of_four_times_the_radius():
    """100 mm radius; drive limits 50 and 40 N, motor limits 45 and 42 N: 4 N m."""
    motors = replace(PLAIN.drive, top_speed_motor_limit=np.array([[45.0, 42.0]]))
    assert torque_capacity(replace(limited(d0=50.0, d180=40.0), drive=motors))[0] == pytest.approx(4.0)
    assert torque_capacity(replace(limited(d0=44.0, d180=60.0), drive=motors))[0] == pytest.approx(4.2)


def test_margin_is_taken_in_the_case_s_own_direction():
    """Only the sideways cases see a low sideways limit."""
    low = limited(d90=20.0)
    margins = case_margins(low)[0]
    sideways = np.isclose(low.cases.direction, math.pi / 2)
    assert margins[sideways] == pytest.approx(20 / low.cases.force[0, sideways])
    assert margins[~sideways] == pytest.approx(60 / low.cases.force[0, ~sideways])
    assert slip_margin(low)[0] == margins.min()


def test_a_direction_that_was_not_solved_is_an_error():
    cases = replace(PLAIN.cases, direction=PLAIN.cases.direction + 0.01)
    with pytest.raises(KeyError, match="was not solved"):
        slip_margin(replace(PLAIN, cases=cases))


def test_losses_are_weighted_by_the_duty():
    """Seven contact losses of 0.1 W in every case; the drive's own losses case by case."""
    expected = 7 * 0.1 + sum((loss * PLAIN.cases.share).sum() for loss in PLAIN.drive.losses.values())
    assert friction_loss(PLAIN)[0] == pytest.approx(expected)
    assert set(losses_by_name(PLAIN)) >= {"creep", "gear_mesh", "gearbox", "thrust_bearing", "radial_bearing"}


def test_demands_cost_nothing():
    share = np.zeros_like(PLAIN.cases.share)
    assert friction_loss(replace(PLAIN, cases=replace(PLAIN.cases, share=share)))[0] == 0


@pytest.mark.parametrize("objective", [torque_capacity, slip_margin, friction_loss])
def test_nan_stays_with_its_candidate(objective):
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        found = objective(assessment(wheels({}, {"wheel_diameter_mm": np.nan})))
    assert np.isfinite(found[0])
    assert np.isnan(found[1])
