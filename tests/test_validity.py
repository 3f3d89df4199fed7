"""Ranges of validity: each is marked when it is left, and only then."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from objectives import validity
from objectives.assessment import Assessment
from objectives.layout import layout
from objectives.phases import phase_lattice
from objectives.scoring import assess
from objectives.units import DEG
from objectives.validity import RANGES, ranges_left
from objectives.wheel import wheel_batch
from tests.drawn import baseline, study

SCENARIO = study().scenario


def known(**columns) -> Assessment:
    designs = pd.concat([baseline()] * 2, ignore_index=True).assign(**columns)
    wheel = wheel_batch(designs, SCENARIO.catalogue, SCENARIO.robot.floor)
    return assess(wheel, layout(wheel, SCENARIO), SCENARIO, phase_lattice(2))


PLAIN = known()


def extra(name: str, second: float) -> Assessment:
    """The plain pair with one of the contact figures changed for the second."""
    return replace(PLAIN, extra=PLAIN.extra | {name: np.array([PLAIN.extra[name][0], second])})


def of(part: str, name: str, second: float) -> Assessment:
    """The plain pair with one number of the mechanics changed for the second."""
    values = getattr(getattr(PLAIN, part), name).copy()
    values[1] = second
    return replace(PLAIN, **{part: replace(getattr(PLAIN, part), **{name: values})})


RADIUS = PLAIN.wheel.output_roller_radius[0]
#: force at which output roller and hub roller together give way by a tenth of the output roller's radius and a little more
DEEP = PLAIN.extra["contact_stiffness"][0] * (0.101 * RADIUS / PLAIN.extra["compliance_share"][0]) ** 1.5

LEFT = {
    "compression": of("limits", "contact_force_max", DEEP),
    "thin_tyre": extra("layer_chi", 2.01),
    "floor_thin_tyre": extra("floor_chi", 0.11),
    "floor_compression": of("normal", "floor_depth_max", 0.101 * RADIUS),
    "energy_balance": of("running", "residual", 0.03),
}


def test_the_baseline_leaves_none():
    assert ranges_left(PLAIN) == ["", ""]


@pytest.mark.parametrize("name", LEFT)
def test_a_range_that_is_left_is_named(name):
    first, second = ranges_left(LEFT[name])
    assert first == ""
    assert name in second.split(";")


def test_several_are_joined():
    both = replace(LEFT["thin_tyre"], normal=LEFT["floor_compression"].normal)
    assert ranges_left(both)[1] == "thin_tyre;floor_compression"


def test_an_unknown_pair_of_tyre_and_floor():
    materials = dict(SCENARIO.catalogue.materials)
    name = baseline()["output_tyre"].iloc[0]
    materials[name] = replace(materials[name], friction_floor={})
    bare = replace(PLAIN, scenario=replace(SCENARIO, catalogue=replace(SCENARIO.catalogue, materials=materials)))
    assert ranges_left(bare) == ["floor_friction"] * 2


def test_a_lean_that_is_not_small():
    """At 14.3 degrees the sine is 1 % below the angle."""
    assert math.sin(validity.LEAN) == pytest.approx(0.99 * validity.LEAN, rel=1e-3)
    wild = replace(SCENARIO, robot=replace(SCENARIO.robot, recover_lean=15 * DEG))
    assert ranges_left(replace(PLAIN, scenario=wild)) == ["large_lean"] * 2
    castered = study("castered").scenario
    assert ranges_left(replace(PLAIN, scenario=replace(SCENARIO, robot=castered.robot)))[0] == ""


def test_missing_numbers_leave_no_range():
    lost = of("normal", "floor_depth_max", np.nan)
    assert ranges_left(lost) == ["", ""]


def test_a_patch_hangs_over_the_end_of_a_short_roller_only():
    """A hub roller as short as the patch is long (and a half): wherever it touches, the patch hangs over its ends."""
    assert ranges_left(known(hub_roller_length_mm=[18.0, 2.0]))[1].split(";")[0] == "patch_at_edge"
    assert not validity.at_edge(PLAIN).any()


def test_the_share_of_a_patch_beyond_half_its_axis():
    """Integral of Hertz's pressure over the cap of an ellipse, along the axis: 3/4 (1 - x^2) from x to 1."""
    x = np.linspace(validity.PATCH_SHARE, 1, 100_001)
    share = np.trapezoid(0.75 * (1 - x**2), x)
    assert share == pytest.approx((1 - 0.5) ** 2 * (2 + 0.5) / 4, rel=1e-6)
    assert share == pytest.approx(0.16, abs=0.005)


def test_names_are_unique_and_explained():
    assert len({range_.name for range_ in RANGES}) == len(RANGES)
    assert all(range_.meaning for range_ in RANGES)
