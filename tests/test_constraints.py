"""Constraints against beam theory, statics and the tables they come from; heat against lumped closed forms."""

import math
import warnings
from dataclasses import replace

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from objectives import constraints, geometry_constraints, heat
from objectives.constraints import CONSTRAINT, CONSTRAINTS, geometry_slacks, shortfall, slacks, violation
from objectives.geometry_constraints import GEOMETRY_CONSTRAINTS, GeometryPlan
from objectives.layout import layout
from objectives.mass import tyre_mass
from objectives.units import MM
from tests.plausible import DESIGN, assessment, scenario, wheels

PLAIN = assessment()


def room(name, *changes, **of_scenario):
    judged_by = scenario(**of_scenario)
    wheel = wheels(*changes)
    return CONSTRAINT[name].slack(GeometryPlan(wheel, judged_by, layout(wheel, judged_by)))


def test_every_constraint_has_a_name_of_its_own_a_meaning_and_a_scale():
    assert len(CONSTRAINT) == len(CONSTRAINTS)
    assert all(constraint.meaning and constraint.scale > 0 for constraint in CONSTRAINTS)
    assert set(slacks(PLAIN)) == set(CONSTRAINT)


def test_geometry_constraints_need_no_mechanics_and_agree_with_the_whole():
    plan = GeometryPlan(PLAIN.wheel, PLAIN.scenario, PLAIN.layout)
    early, whole = geometry_slacks(plan), slacks(PLAIN)
    assert set(early) == {constraint.name for constraint in GEOMETRY_CONSTRAINTS}
    for name, value in early.items():
        assert value == pytest.approx(whole[name], nan_ok=True)


def test_violation_adds_shortfalls_over_scales():
    slack = {name: np.array([1.0, 0.0]) for name in CONSTRAINT}
    slack["arm_neck"] = np.array([-1.0, 0.0])  # mm; scale 2
    slack["coverage"] = np.array([-4.5, 0.0])  # deg; scale 3
    assert violation(slack) == pytest.approx([0.5 + 1.5, 0.0])
    slack["pull_in"] = np.array([np.nan, np.nan])  # what cannot be told counts 1
    assert violation(slack) == pytest.approx([0.5 + 1.5 + 1, 1.0])


def test_a_shortfall_is_never_endless():
    assert shortfall(np.array([-np.inf, np.inf, -1e9]), 1.0).tolist() == [1000.0, 0.0, 1000.0]


# geometry


def test_arm_neck_in_millimetres():
    """14 rollers of 30 mm on 200 mm, fill 0.8, washers 0.5 mm, play 0.2 mm, clearance 0.25 mm, less 3 mm.

    Between the corners of two windows: 2 * (69.55 sin(pi/14) - (0.8 * 70 tan(pi/14) + 0.5) cos(pi/14)).
    """
    sine, cosine = math.sin(math.pi / 14), math.cos(math.pi / 14)
    assert room("arm_neck")[0] == pytest.approx(2 * (69.55 * sine - (0.8 * 70 * sine / cosine + 0.5) * cosine) - 3)


def test_preload_after_wear():
    """120 N on 20 N/mm keep 118 N; on 1300 N/mm nothing is left."""
    assert room("preload_after_wear", {}, {"preload_stiffness_N_per_mm": 1300.0}) == pytest.approx([118, -10])


def test_pull_in_ratio_and_wedge_factor_where_the_text_gives_them():
    """Soft on soft at 0.6, 45/45 degrees: normal forces N0/(1 -+ mu sin(gamma) tan(beta)) are 1.7 and 0.7 times N0."""
    wheel = wheels({"hub_tyre": "soft", "hub_roller_length_mm": 1e-3})
    wedge = geometry_constraints.wedge_factor(wheel)[0]
    assert 1 / (1 - wedge) == pytest.approx(1.737, abs=2e-3)
    assert 1 / (1 + wedge) == pytest.approx(0.702, abs=2e-3)
    assert geometry_constraints.pull_in_ratio(wheel)[0] == pytest.approx(1 / (0.6 * math.sqrt(0.5)))


def test_a_steeper_contact_wedges_and_a_flatter_one_pulls_in():
    steep = {"contact_angle_deg": 68.0, "skew_angle_deg": 60.0, "hub_tyre": "soft"}
    flat = {"contact_angle_deg": 25.0, "skew_angle_deg": 60.0, "hub_tyre": "soft"}
    assert (room("wedging", {}, steep) >= 0).tolist() == [True, False]
    assert (room("pull_in", {}, flat) >= 0).tolist() == [True, False]


def test_friction_pulls_in_first_at_the_end_of_a_pass():
    """Few long rollers: the middle passes with 2.7, at the ends of a pass friction in reverse wins over the normal force."""
    long = {"output_roller_count": 8, "output_roller_fill": 0.95, "contact_angle_deg": 22.0, "skew_angle_deg": 30.0,
            "hub_roller_length_mm": 30.0}
    wheel = wheels(long)
    assert geometry_constraints.pull_in_ratio_min(wheel)[0] < 1 < geometry_constraints.pull_in_ratio(wheel)[0]
    assert (room("pull_in_pass", {}, long) >= 0).tolist() == [True, False]


def test_undercut_keeps_fourteen_teeth():
    assert (room("undercut", {"pinion_teeth": 13}, {"pinion_teeth": 14}, {"pinion_teeth": 15}) >= 0).tolist() == [
        False, True, True,
    ]


def test_motor_beside_the_shaft():
    """Module 1, 20 and 60 teeth: 40 mm apart; motor 37 mm, barrel 9.5 + 3.6 mm, 0.25 mm: 8.15 mm left. In the pinion,
    10 mm less 1.25 mm less 3 mm of shaft and 0.9 mm of wall: 4.85 mm."""
    assert room("motor_fits")[0] == pytest.approx(4.85)
    assert room("motor_fits", {"gear_teeth": 48})[0] == pytest.approx(34 - 18.5 - 13.1 - 0.25)


def test_gear_must_clear_its_barrel_and_the_output_rollers():
    """Root of 30 teeth of module 1: 13.75 mm, barrel 13.1 mm. A pinion that reaches past the rollers' axles needs a gear whose
    face lies beyond a roller's radius, its play of 0.2 mm and 0.25 mm."""
    assert room("gear_bore", {"gear_teeth": 30})[0] == pytest.approx(0.65)
    face = PLAIN.layout.gear_offset[0] - PLAIN.layout.gear_width[0] / 2
    far = room("gear_standoff", {"gear_teeth": 140})[0]
    assert far == pytest.approx(face / MM - 15 - 0.2 - 0.25)
    # 20 and 60 teeth reach 51 mm; the corner lies 34 mm inside the axles
    assert room("gear_standoff")[0] == pytest.approx(math.hypot(34, face / MM) - 15.45)


def test_axles_covered_by_their_halves():
    """A carrier of 8 mm on axles of 4 mm leaves 2 mm, two lines of 0.45 mm less."""
    assert room("axle_cover")[0] == pytest.approx(1.1)


def test_hub_rollers_stand_out_of_washers_too():
    """M3, boss 1.5 + 1.8 mm, washer 6.6 mm: the same; with two walls the washer counts."""
    assert room("hub_roller_standout")[0] == pytest.approx(6 - 3.3 - 0.25)
    slim = replace(scenario().build, walls=2)
    assert room("hub_roller_standout", build=slim)[0] == pytest.approx(6 - 3.3 - 0.25)


def test_a_gear_larger_than_the_rim_bars_the_way_of_the_bolts():
    few, many = room("bolt_access", {}, {"gear_teeth": 180})
    assert few > 0 > many


def test_a_shaft_without_bearings_is_never_feasible():
    thick = replace(scenario().build, shaft_diameter=11 * MM)
    assert room("hub_bore", build=thick)[0] == -11.0


def test_large_gear_scrapes_the_floor_and_misses_the_bed():
    small, large = room("inside_rim", {}, {"gear_teeth": 250})
    assert small > 0 > large
    assert large == pytest.approx(100 - 126 - 3)
    assert room("bed_fit", {"gear_teeth": 250})[0] == pytest.approx(220 - 252)


def test_roller_core_by_hand():
    """Straight roller of 30 mm, tyre 3 mm, bearing 9 mm with 0.2 mm of play, two lines of 0.45 mm: 15 - 3 - 4.7 - 0.9."""
    assert room("roller_core", {"crown": 0.0, "bore": "ball"})[0] == pytest.approx(6.4)
    assert room("roller_core", {"crown": 0.0})[0] == pytest.approx(15 - 2 - 0.9)


def test_longer_hub_rollers_cover_more_and_leave_more():
    short, long = room("hub_roller_length", {}, {"hub_roller_length_mm": 20.0})
    assert long - short == pytest.approx(1.0)
    narrow, wide = room("coverage", {"hub_roller_length_mm": 6.0}, {"hub_roller_length_mm": 12.0})
    assert narrow < wide


# mechanics


def test_axle_bending_is_beam_theory():
    """Handbook: simply supported, load F in the middle, M = F l/4; round rod W = pi d^3/32. Numbers in N and mm."""
    length = PLAIN.wheel.output_roller_length[0] / MM + 2 * 0.5
    stress = (60 * length / 4) / (math.pi * 4**3 / 32)
    assert constraints.axle_bending_stress(PLAIN)[0] / 1e6 == pytest.approx(stress)
    assert CONSTRAINT["axle_bending"].slack(PLAIN)[0] == pytest.approx(250 - stress)


def test_contact_pressure_of_crossed_cylinders():
    """Like cylinders crossed at 90 degrees are a sphere on a flat: p0 = (6 N E*^2/(pi^3 R^2))^(1/3) (Hertz)."""
    wheel = wheels({"hub_roller_diameter_mm": 30.0, "skew_angle_deg": 89.999999, "hub_tyre": "soft"})
    found = constraints.contact_pressure(assessment(wheel))[0]
    modulus = 25e6 / (1 - 0.48**2) / 2
    assert found == pytest.approx((6 * 30 * modulus**2 / (math.pi**3 * 0.015**2)) ** (1 / 3), rel=1e-4)


def test_a_thin_tyre_presses_harder():
    soft, thick, thin = constraints.contact_pressure(
        assessment(wheels({}, {"bore": "bushed", "tyre_thickness_mm": 8.0}, {"bore": "bushed", "tyre_thickness_mm": 2.0}))
    )
    assert soft < thick < thin


def test_tilting_moment_by_hand():
    """120 N at (10 + 24)/4 mm, and 900 N of static rating over 2 at the bearing spacing; 4 N m asked."""
    held = 120 * 8.5e-3 + 450 * PLAIN.layout.bearing_spacing[0]
    assert CONSTRAINT["tilting_moment"].slack(PLAIN)[0] == pytest.approx(held - 4)


def test_floor_grip_is_coulomb():
    """0.7 times the weight over the largest force."""
    mass = 9 + PLAIN.mass.total[0]
    asked = PLAIN.cases.force.max()
    assert CONSTRAINT["floor_grip"].slack(PLAIN)[0] == pytest.approx(0.7 * mass * 9.80665 / asked - 1)


def test_motor_margin_is_zero_where_limit_meets_force():
    even = replace(PLAIN, drive=replace(PLAIN.drive, motor_limit=PLAIN.cases.force.copy()))
    assert CONSTRAINT["motor_margin"].slack(even)[0] == pytest.approx(0)


def test_closure_and_flattening_take_their_room():
    closed = replace(PLAIN, normal=replace(PLAIN.normal, closure_max=np.array([1.4 * MM]), axle_height_min=np.array([80 * MM])))
    before, after = slacks(PLAIN), slacks(closed)
    assert before["standoff_closed"][0] - after["standoff_closed"][0] == pytest.approx(1.0)
    assert after["floor_clearance"][0] < 0 < before["floor_clearance"][0]


# heat


def test_conductance_by_hand():
    """Roller 30 x 25.56 mm: surface 2 pi r (l + r) at 12 W/(m^2 K); rod and arm in series, twice."""
    length = PLAIN.wheel.output_roller_length[0]
    air = 12 * 2 * math.pi * 0.015 * (length + 0.015)
    rod = 50 * math.pi * 0.002**2 / (length / 4 + 0.0005)
    held = 83e-3 * math.tan(math.pi / 14) - 0.5e-3 / math.cos(math.pi / 14) - length / 2 - 0.5e-3
    arm = 2 * math.pi * 0.2 * held / math.log(3)
    assert heat.roller_conductance(PLAIN.wheel, PLAIN.scenario)[0] == pytest.approx(air + 2 / (1 / rod + 1 / arm))


def test_steady_rise_is_power_over_conductance():
    """0.3 W in every case of the duty."""
    rise = heat.roller_temperature_rise(PLAIN)[0]
    assert rise == pytest.approx(0.3 / heat.roller_conductance(PLAIN.wheel, PLAIN.scenario)[0])
    hub_rise = heat.hub_roller_temperature_rise(PLAIN)[0]
    assert CONSTRAINT["roller_temperature"].slack(PLAIN)[0] == pytest.approx(min(70 - 25 - rise, 65 - 25 - hub_rise))


def test_hub_rollers_take_their_bores_and_half_of_the_contacts():
    """0.1 W a loss in every case: 0.1 + 3 x 0.05 W over 2 x 18 rollers of 12 x 18 mm on 3 mm bolts with 0.5 mm washers."""
    air = 12 * 2 * math.pi * 0.006 * (0.018 + 0.006)
    bolt = 50 * math.pi * 0.0015**2 / (0.018 / 4 + 0.0005)
    boss = 2 * math.pi * 0.2 * 0.006 / math.log(3)
    assert heat.hub_roller_temperature_rise(PLAIN)[0] == pytest.approx(0.25 / 36 / (air + 2 / (1 / bolt + 1 / boss)))


@pytest.mark.parametrize(
    ("changed", "constraint"), [("closure_max", "standoff_closed"), ("axle_height_min", "floor_clearance")]
)
def test_drive_counts_in_what_must_stay_clear(changed: str, constraint: str):
    worse = getattr(PLAIN.limits, changed) + (1e-3 if changed == "closure_max" else -1e-3)
    driven = replace(PLAIN, limits=replace(PLAIN.limits, **{changed: worse}))
    assert CONSTRAINT[constraint].slack(driven)[0] == pytest.approx(CONSTRAINT[constraint].slack(PLAIN)[0] - 1.0)


def test_time_to_service_temperature_by_integration():
    """C dT/dt = P - G T, integrated until 45 K over the air."""
    power = heat.stalled_roller_power(PLAIN)[0]
    conductance = heat.roller_conductance(PLAIN.wheel, PLAIN.scenario)[0]
    capacity = tyre_mass(PLAIN.wheel)[0] * 1700

    def reached(_, rise):
        return rise[0] - 45

    reached.terminal = True
    run = solve_ivp(lambda _, rise: (power - conductance * rise) / capacity, (0, 1e5), [0.0], events=reached, rtol=1e-9)
    assert heat.time_to_service_temperature(PLAIN)[0] == pytest.approx(run.t[-1], rel=1e-6)


def test_a_cool_stop_lasts_for_ever():
    weak = replace(PLAIN, limits=replace(PLAIN.limits, mean=np.full_like(PLAIN.limits.mean, 0.1)))
    assert heat.time_to_service_temperature(weak)[0] == np.inf


# nan


@pytest.mark.parametrize("column", [name for name, value in DESIGN.items() if not isinstance(value, str)])
def test_nan_stays_with_its_candidate(column):
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        found = slacks(assessment(wheels({}, {column: np.nan})))
    for value in found.values():
        assert np.isfinite(value[0])
    if column not in ("tyre_thickness_mm", "bore_play_mm"):
        assert any(np.isnan(value[1]) for value in found.values())


def test_nan_mechanics_give_nan_slack():
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        broken = replace(PLAIN, normal=replace(PLAIN.normal, contact_force_max=np.array([np.nan])))
        found = slacks(broken)
    assert np.isnan(found["contact_pressure"][0])
