"""Dimensions, springs and gears of the solids against outside numbers; no CAD library is needed."""

import dataclasses
import math

import numpy as np
import pytest

from objectives.hub_body import bolt_path_room, hub_body
from objectives.layout import layout
from sweep.cad import hardware
from sweep.cad.dimensions import dimensions_of
from sweep.cad.gears import Teeth, fillet_half_angle, half_angle, involute_half_angle
from sweep.cad.springs import helical_spring, shear_stress, working_coils
from sweep.designs import baseline_designs
from sweep.errors import BadInput
from sweep.study import load_study
from tests.plausible import scenario, wheels


@pytest.fixture(scope="module", params=["balancing", "castered"])
def dimensions(request):
    study = load_study(f"studies/{request.param}.toml")
    return dimensions_of(study, baseline_designs(study).iloc[0])


def test_units_are_the_ends_of_names(dimensions):
    for entry in dimensions.entries.values():
        ending = {"mm": "_mm", "deg": "_deg", "N": "_N", "N/mm": "_N_per_mm", "": ""}[entry.unit]
        assert entry.name.endswith(ending), entry.name
        assert entry.meaning
        assert math.isfinite(entry.value), entry.name


def test_contact_circle_by_hand():
    """180 mm wheel, 30 mm rollers, 45 degrees: R_p = 75, R_c = 75 - 15 sin 45 = 64.393, R_h = 75 - 21 sin 45 = 60.151 mm."""
    study = load_study("studies/balancing.toml")
    found = dimensions_of(study, baseline_designs(study).iloc[0])
    assert found["contact_circle_radius_mm"] == pytest.approx(64.393, abs=1e-3)
    assert found["hub_roller_centre_radius_mm"] == pytest.approx(60.151, abs=1e-3)
    assert found["centre_distance_mm"] == 57.0  # 1.5 (20 + 56)/2


def test_bearings_of_a_hub_have_their_seats(dimensions):
    d = dimensions
    length = d["barrel_outside_offset_mm"] - d["barrel_inside_offset_mm"]
    assert length >= 2 * d["radial_bearing_width_mm"] + d["bearing_land_mm"] + d["clearance_mm"] - 1e-9
    assert d["bearing_spacing_mm"] == pytest.approx(length - d["radial_bearing_width_mm"] - d["clearance_mm"])


def test_a_study_without_a_bearing_for_its_shaft_is_named():
    study = load_study("studies/balancing.toml")
    build = dataclasses.replace(study.scenario.build, shaft_diameter=0.011)
    lame = dataclasses.replace(study.scenario, build=build)
    with pytest.raises(BadInput, match="radial_bearing_outside_mm must be a number"):
        dimensions_of(lame, baseline_designs(study).iloc[0])


def test_spring_of_a_printed_table():
    """EN 13906-1 worked by hand: d 2 mm, D 16 mm, 5 coils: K = 81.5e9 0.002^4/(8 0.016^3 5) = 7959 N/m."""
    stiffness = 81.5e9 * 0.002**4 / (8 * 0.016**3 * 5)
    assert stiffness == pytest.approx(7959, abs=1)
    assert working_coils(stiffness, 0.002, 0.016) == pytest.approx(5)
    # c = 8, Wahl's factor 31/28 + 0.615/8 = 1.1840
    assert shear_stress(50.0, 0.002, 0.016) == pytest.approx(8 * 50 * 0.016 * 1.1840 / (math.pi * 8e-9), rel=1e-4)


def test_spring_fits_its_room_or_there_is_none():
    found = helical_spring(110.0, 15e3, 11.3e-3, 10.6e-3, 19e-3)
    assert found is not None
    assert found.mean_diameter - found.wire >= 10.6e-3 - 1e-9
    assert found.mean_diameter + found.wire <= 19e-3 + 1e-9
    assert (found.coils + 2) * found.wire <= 11.3e-3
    assert helical_spring(400.0, 300e3, 5.3e-3, 10.6e-3, 19e-3) is None


def teeth(count, thinned=0.0):
    return Teeth(2.0, count, 2.0, 2.5, 20.0, thinned)


def test_tooth_thickness_on_and_off_the_pitch_circle():
    """Thickness at radius r: 2 r (s/(2 r_p) + inv 20 - inv alpha), inv 20 deg = 0.014904 (any table of involutes)."""
    gear = teeth(40)
    assert 2 * 40 * half_angle(gear, np.array([40.0]))[0] == pytest.approx(math.pi, abs=1e-6)
    at_tip = math.acos(gear.base_radius / 42.0)
    asked = 42.0 * 2 * (math.pi / 80 + 0.0149043838 - (math.tan(at_tip) - at_tip))
    assert 2 * 42.0 * half_angle(gear, np.array([42.0]))[0] == pytest.approx(asked, abs=1e-6)


def test_fillet_ends_at_the_root_and_joins_the_flank_without_a_step():
    """Form circle of a gear cut by a rack: r_F^2 = r_b^2 + (r sin a - h/sin a)^2, h = 1.25 m - 0.38 m (1 - sin a).

    ISO 21771 (from memory); there the fillet touches the involute.
    """
    gear = teeth(40)
    radius = np.linspace(gear.root_radius, gear.tip_radius, 4001)
    fillet, flank = fillet_half_angle(gear, radius), involute_half_angle(gear, radius)
    join = np.flatnonzero(np.isfinite(fillet))[-1]
    assert fillet[join] == pytest.approx(flank[join], abs=1e-4)
    sine = math.sin(math.radians(20))
    form = math.hypot(gear.base_radius, 40 * sine - (2.5 - 0.76 * (1 - sine)) / sine)
    assert radius[join] == pytest.approx(form, abs=2 * (radius[1] - radius[0]))


@pytest.mark.parametrize("count", [12, 14, 17, 40])
def test_teeth_against_a_rack_that_is_rolled_step_by_step(count):
    """What no position of the rack of ISO 53 (20 deg, depth 1.25 m, tip rounded by 0.38 m) takes away is the tooth."""
    gear, alpha, rho = teeth(count), math.radians(20), 0.76
    radius = np.linspace(gear.root_radius + 0.05, gear.tip_radius - 0.05, 12)
    angle = np.linspace(0, math.pi / count, 500)
    rolled = np.linspace(-1.2, 1.2, 1601)[:, None, None] * 4 / math.sqrt(count) / 2
    turned = angle[None, None, :] + rolled
    x = radius[None, :, None] * np.sin(turned) - gear.pitch_radius * rolled
    y = radius[None, :, None] * np.cos(turned) - gear.pitch_radius
    flank = gear.thickness / 2 - y * math.tan(alpha)
    cut = (x > flank) & (x < 2 * math.pi - flank) & (y > -2.5)
    low = 2.5 - rho
    middle = gear.thickness / 2 + low * math.tan(alpha) + rho / math.cos(alpha)
    corner = (y < -low - rho * math.sin(alpha)) & ((x < middle) | (x > 2 * math.pi - middle))
    apart = np.minimum(np.hypot(x - middle, y + low), np.hypot(x - 2 * math.pi + middle, y + low))
    cut &= ~corner | (apart < rho)
    first = np.argmax(cut.any(axis=0), axis=1)
    assert half_angle(gear, radius) == pytest.approx(angle[first], abs=3 * angle[1])


def test_backlash_comes_off_both_flanks():
    whole, thin = half_angle(teeth(40), np.array([40.0])), half_angle(teeth(40, 0.1), np.array([40.0]))
    assert 2 * 40 * (whole - thin)[0] == pytest.approx(0.1)


def test_screw_lengths():
    assert hardware.next_length(23.0) == 25.0
    assert hardware.next_length(9.3, below=True) == 8.0


def test_bolt_path_against_points_on_the_bolts_way():
    """The way of the head, a cylinder along the bolt's axis, sampled beyond the gear's inner face."""
    wheel = wheels({}, {"contact_angle_deg": 60.0, "gear_teeth": 90}, {"skew_angle_deg": 30.0})
    plan = layout(wheel, scenario())
    room = bolt_path_room(wheel, plan, hub_body(wheel, plan, scenario()), scenario())
    for row in range(len(wheel)):
        beta, gamma = wheel.contact_angle[row], wheel.skew_angle[row]
        axis = np.array([math.cos(gamma), math.sin(gamma) * math.cos(beta), math.sin(gamma) * math.sin(beta)])
        one = np.cross(axis, [0.0, 0.0, 1.0])
        one /= np.linalg.norm(one)
        head = 0.9 * wheel.hub_axle_diameter[row] + scenario().printer.clearance
        turn = np.linspace(0, 2 * math.pi, 181)
        ring = head * (np.cos(turn)[:, None] * one + np.sin(turn)[:, None] * np.cross(axis, one))
        centre = np.array([0.0, wheel.hub_roller_centre_radius[row], wheel.hub_roller_centre_offset[row]])
        start = wheel.hub_roller_length[row] / 2
        way = centre + np.linspace(start, 0.3, 3000)[:, None] * axis
        points = (way[:, None] + ring).reshape(-1, 3)
        beyond = points[points[:, 2] > plan.gear_offset[row] - plan.gear_width[row] / 2]
        tip = plan.gear_pitch_radius[row] + wheel.gear_module[row]
        nearest = np.hypot(beyond[:, 0], beyond[:, 1]).min() - tip
        assert room[row] <= nearest + 1e-6
        assert room[row] == pytest.approx(nearest, abs=2 * head)
