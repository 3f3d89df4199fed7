"""Masses against cylinders worked by hand, and the way they move with the variables."""

import warnings
from dataclasses import replace

import numpy as np
import pytest
from scipy.integrate import quad

from objectives.layout import layout, wall_thickness
from objectives.mass import (
    carrier_second_moment,
    mass,
    mass_breakdown,
    output_roller_volume,
    printed_volume,
    ring,
    window_area,
)
from tests.plausible import DESIGN, assessment, scenario, wheels


def masses(*changes, **of_scenario):
    judged_by = scenario(**of_scenario)
    wheel = wheels(*changes)
    return mass_breakdown(wheel, layout(wheel, judged_by), judged_by)


def test_ring_is_a_thick_cylinder():
    """Handbook: V = pi (R^2 - r^2) h, I = m (R^2 + r^2)/2; surface of all four sides. 10 and 30 mm, 5 mm high."""
    one = ring(np.array([0.01]), np.array([0.03]), np.array([0.005]))
    assert one.volume[0] == pytest.approx(np.pi * 8e-4 * 5e-3)
    assert one.surface[0] == pytest.approx(2 * np.pi * 8e-4 + 2 * np.pi * 0.04 * 0.005)
    assert one.square_radius[0] == pytest.approx(5e-4)


def test_window_area_is_the_integral_over_its_width():
    inside, outside, half = 0.06, 0.09, 0.017
    exact, _ = quad(lambda t: np.sqrt(outside**2 - t**2) - inside, -half, half)
    assert window_area(*(np.array([value]) for value in (inside, outside, half)))[0] == pytest.approx(exact, rel=1e-12)


def test_printed_volume_of_a_cube():
    """20 mm cube, 1 mm walls, 25 % infill: shell 6 * 400 * 1 = 2400, within 5600 * 0.25 = 1400 mm^3."""
    assert printed_volume(np.array([8e-6]), np.array([2.4e-3]), 1e-3, 0.25)[0] == pytest.approx(3.8e-6)


@pytest.mark.parametrize("crown", [0.0, 0.5, 1.0])
def test_output_roller_volume(crown):
    wheel = wheels({"crown": crown})
    half = wheel.output_roller_length[0] / 2
    exact, _ = quad(lambda z: np.pi * ((1 - crown) * 0.015 + crown * (np.sqrt(0.1**2 - z**2) - 0.085)) ** 2, -half, half)
    assert output_roller_volume(wheel, np.zeros(1))[0] == pytest.approx(exact, rel=1e-9)


def test_parts_worked_by_hand():
    """200 mm wheel, 14 straight rollers of 30 mm on rods of 4 mm; 18 + 18 hub rollers of 12 x 18 mm on M3."""
    parts = masses({"crown": 0.0}).parts
    length = 0.8 * 2 * 70e-3 * np.tan(np.pi / 14)
    assert parts["output_tyres"][0] == pytest.approx(14 * np.pi * (0.015**2 - 0.002**2) * length * 1200)
    assert parts["hub_rollers"][0] == pytest.approx(36 * np.pi * (0.006**2 - 0.0015**2) * 0.018 * 1250)
    rod = 2 * (83e-3 * np.tan(np.pi / 14) - 0.5e-3 / np.cos(np.pi / 14))
    assert parts["output_axles"][0] == pytest.approx(14 * 7850 * np.pi * 0.002**2 * rod)
    assert parts["hub_bearings"][0] == pytest.approx(5 * 0.010 + 2 * 0.010)
    assert parts["motors"][0] == 0.8
    # a spring that stores F^2/(2 K) = 0.36 J in each hub: 4.5 g each at 80 J/kg
    assert parts["springs"][0] == pytest.approx(2 * 0.36 / 80)
    # pinion of 20 teeth, module 1, 8 mm wide, solid but for a shaft of 6 mm
    assert parts["pinions"][0] == pytest.approx(2 * np.pi * (0.01**2 - 0.003**2) * 0.008 * 1250)
    # shims of 4 x 8 x 0.5 mm; bolts of 26 mm with four fifths of a rod's steel, no nuts
    assert parts["side_shims"][0] == pytest.approx(28 * 7850 * np.pi / 4 * (0.008**2 - 0.004**2) * 0.5e-3)
    bolt = 0.8 * 0.003**2 * (0.018 + 2 * 0.0005 + 2 * 0.003) + 0.9 * 0.0054**2 * 0.003
    washer = (0.0066**2 - 0.003**2) * 0.0005
    assert parts["hub_roller_bolts"][0] == pytest.approx(36 * 7850 * np.pi / 4 * (bolt + 2 * washer))


def test_a_printed_core_is_walls_and_infill():
    """The core of a straight roller, a tube: shell and infill by moving all its sides inwards by the walls, in closed form.

    The objective takes walls as surface times thickness, which counts what lies within a wall of two sides twice: at both
    ends two rings as wide and as high as a wall. It makes the core 7 % heavier than it is, the unit a few tenths of a percent.
    """
    judged_by = scenario()
    wheel = wheels({"crown": 0.0, "bore": "ball", "tyre_thickness_mm": 3.0})
    wall, infill = wall_thickness(judged_by), judged_by.build.infill
    outside, inside = 0.012, (2 * 4e-3 + 1e-3) / 2  # under the tyre of 3 mm; a bearing of 2 d + 1 mm
    length = 0.8 * 2 * 70e-3 * np.tan(np.pi / 14)
    whole = np.pi * (outside**2 - inside**2) * length
    within = np.pi * ((outside - wall) ** 2 - (inside + wall) ** 2) * (length - 2 * wall)
    exact = whole - (1 - infill) * within
    twice = (1 - infill) * 2 * wall * np.pi * (outside**2 - (outside - wall) ** 2 + (inside + wall) ** 2 - inside**2)
    found = mass_breakdown(wheel, layout(wheel, judged_by), judged_by).parts["output_cores"][0]
    assert found == pytest.approx(14 * (exact + twice) * 1250, rel=1e-6)
    assert twice < 0.07 * exact


def test_total_is_the_sum_of_the_parts():
    found = masses()
    assert found.total[0] == pytest.approx(sum(value[0] for value in found.parts.values()))
    assert all(value[0] >= 0 for value in found.parts.values())
    assert mass(assessment()) == pytest.approx(found.total)


def test_a_printed_part_weighs_no_more_than_solid_and_no_less_than_its_infill():
    light, plain, solid = (masses(build=replace(scenario().build, walls=1, infill=fill)).parts for fill in (0.0, 0.3, 1.0))
    for name in ("carrier", "hub_bodies"):
        assert light[name][0] < plain[name][0] < solid[name][0]


def test_carrier_worked_by_sampling():
    """Solid carrier, its volume and second moment by counting points of a fine grid."""
    judged_by = scenario(build=replace(scenario().build, infill=1.0))
    wheel = wheels()
    plan = layout(wheel, judged_by)
    outside, thickness = plan.carrier_outside_radius[0], wheel.carrier_thickness[0]
    step = outside / 1500
    x = np.arange(-outside, outside, step) + step / 2
    t, r = np.meshgrid(x, x)
    radius = np.hypot(t, r)
    angle = np.arctan2(t, r)
    pitch = 2 * np.pi / 14
    local = angle - pitch * np.round(angle / pitch)
    half = wheel.output_roller_length[0] / 2 + 0.5e-3
    window = (np.abs(radius * np.sin(local)) < half) & (radius * np.cos(local) > 0.1 - 0.03 - 0.2e-3 - 0.25e-3)
    there = (radius < outside) & (radius > 9.5e-3) & ~window
    printed = masses(build=judged_by.build).parts["carrier"][0]
    assert printed == pytest.approx(there.sum() * step**2 * thickness * 1250, rel=2e-3)
    half_width = np.array([half])
    inner = np.array([0.06955])
    second = carrier_second_moment(
        ring(np.array([9.5e-3]), plan.carrier_outside_radius, wheel.carrier_thickness),
        window_area(inner, plan.carrier_outside_radius, half_width), inner, plan, wheel,
    )
    assert second[0] == pytest.approx(np.sum(radius[there] ** 2) * step**2 * thickness, rel=0.02)


def test_inertia_lies_between_a_disc_and_a_hoop_of_what_turns():
    found = masses()
    still = ("shaft", "shaft_nuts", "springs", "motors", "caps", "pinions", "hub_bearings")
    turning = found.total[0] - sum(found.parts[name][0] for name in still)
    assert 0.3 * turning * 0.1**2 < found.wheel_inertia[0] < turning * 0.1**2


@pytest.mark.parametrize(
    ("light", "heavy"),
    [
        ({"carrier_thickness_mm": 8.0}, {"carrier_thickness_mm": 12.0}),
        ({"axle_diameter_mm": 3.0}, {"axle_diameter_mm": 5.0}),
        ({"gear_teeth": 60}, {"gear_teeth": 100}),
        ({"hub_roller_diameter_mm": 12.0}, {"hub_roller_diameter_mm": 13.0}),
    ],
)
def test_more_of_it_weighs_more(light, heavy):
    total = masses(light, heavy).total
    assert total[0] < total[1]


def test_more_walls_are_heavier_and_take_longer():
    thin, thick = (masses(build=replace(scenario().build, walls=walls)) for walls in (2, 4))
    assert thin.parts["carrier"][0] < thick.parts["carrier"][0]
    assert thin.print_time[0] < thick.print_time[0]


def test_print_time_of_a_known_volume():
    """A slower tyre material costs its volume over the difference in flow, at 0.7 of the flow."""
    plain = scenario()
    materials = dict(plain.catalogue.materials)
    materials["soft"] = replace(materials["soft"], flow_limit=1.6e-9)
    slow = scenario(catalogue=replace(plain.catalogue, materials=materials))
    wheel = wheels()
    times = [mass_breakdown(wheel, layout(wheel, one), one) for one in (plain, slow)]
    volume = times[0].parts["output_tyres"][0] / 1200
    assert times[1].print_time[0] - times[0].print_time[0] == pytest.approx(volume * (1 / 1.6e-9 - 1 / 3.2e-9) / 0.7)


@pytest.mark.parametrize("column", [name for name, value in DESIGN.items() if not isinstance(value, str)])
def test_nan_stays_with_its_candidate(column):
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        found = masses({}, {column: np.nan})
    assert np.isfinite([found.total[0], found.wheel_inertia[0], found.print_time[0]]).all()
    if column not in ("tyre_thickness_mm", "bore_play_mm"):  # of no weight in a plain bore
        assert np.isnan(found.total[1])
