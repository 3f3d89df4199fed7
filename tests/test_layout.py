"""The layout against geometry done by brute force."""

import warnings
from dataclasses import fields, replace

import numpy as np
import pytest
from scipy.optimize import minimize

from objectives.layout import cylinder_gap, hub_roller_mount, layout, smallest_bearing
from objectives.units import MM
from tests.plausible import DESIGN, catalogue, scenario, wheels

RNG = np.random.default_rng(5)
SOME = [
    {"hub_roller_count": int(RNG.integers(10, 30)),
     "contact_angle_deg": RNG.uniform(20, 70), "skew_angle_deg": RNG.uniform(20, 70),
     "hub_roller_diameter_mm": RNG.uniform(7, 16), "hub_roller_length_mm": RNG.uniform(8, 30)}
    for _ in range(12)
]


def surface(centre, axis, half_length, radius, count=40):
    """Points on a flat-ended cylinder, its rims included: shape (points, 3)."""
    axis = axis / np.linalg.norm(axis)
    one = np.cross(axis, [0.3, 0.5, 0.81])
    one /= np.linalg.norm(one)
    two = np.cross(axis, one)
    turn = np.linspace(0, 2 * np.pi, 361)
    ring = radius * (np.cos(turn)[:, None] * one + np.sin(turn)[:, None] * two)
    along = np.linspace(-half_length, half_length, count)
    return (centre + along[:, None, None] * axis + ring[None]).reshape(-1, 3)


def hub_roller(wheel, row):
    """Centre and axis of a hub roller, components (t, r, y), from the angles alone."""
    beta, gamma = wheel.contact_angle[row], wheel.skew_angle[row]
    normal = np.array([0.0, -np.sin(beta), np.cos(beta)])
    climb = np.array([0.0, np.cos(beta), np.sin(beta)])
    distance = wheel.output_roller_radius[row] + wheel.hub_roller_radius[row]
    centre = np.array([0.0, wheel.pitch_radius[row], 0.0]) + distance * normal
    return centre, np.array([np.cos(gamma), 0, 0]) + np.sin(gamma) * climb


def test_standoff_is_where_the_innermost_point_of_roller_or_rim_lies():
    wheel = wheels(*SOME)
    plan, mount = layout(wheel, scenario()), hub_roller_mount(wheel, scenario())
    for row in range(len(wheel)):
        centre, axis = hub_roller(wheel, row)
        roller = surface(centre, axis, wheel.hub_roller_length[row] / 2, wheel.hub_roller_radius[row])
        boss = surface(centre, axis, mount.inner_half_length[row], mount.boss_radius[row])
        inmost = min(roller[:, 2].min(), boss[:, 2].min())
        assert plan.carrier_standoff[row] == pytest.approx(inmost - wheel.carrier_thickness[row] / 2, abs=2e-6)
        assert plan.hub_inside_offset[row] == pytest.approx(boss[:, 2].min(), abs=2e-6)


def test_rim_holds_every_boss():
    wheel = wheels(*SOME)
    plan, mount = layout(wheel, scenario()), hub_roller_mount(wheel, scenario())
    for row in range(len(wheel)):
        centre, axis = hub_roller(wheel, row)
        boss = surface(centre, axis, mount.outer_half_length[row], mount.boss_radius[row])
        radius = np.hypot(boss[:, 0], boss[:, 1]).max()
        roller = surface(centre, axis, wheel.hub_roller_length[row] / 2, wheel.hub_roller_radius[row])
        # a wall beyond the outer corners of the pocket, in the plane that the rim is laid in
        beta, gamma = wheel.contact_angle[row], wheel.skew_angle[row]
        climb = np.array([0.0, np.cos(beta), np.sin(beta)])
        across = np.cross(axis, [0.0, -np.sin(beta), np.cos(beta)])
        across *= np.sign(across @ climb)
        washer = mount.washer_thickness[row]
        corner = (wheel.hub_roller_length[row] / 2 + washer + 0.125e-3) * axis
        corner = centre + corner + (wheel.hub_roller_radius[row] + 0.25e-3) * across
        ring = np.hypot(corner[0], corner[1]) + 1.8e-3
        assert np.sin(gamma) >= 0
        assert plan.hub_outside_radius[row] >= max(radius, ring) - 1e-9
        assert plan.hub_outside_radius[row] - max(radius, ring) < mount.boss_radius[row]
        ring_face = corner[2] + 1.8e-3 * np.sin(beta) + mount.boss_radius[row] * np.cos(beta)
        assert plan.hub_outside_offset[row] == pytest.approx(max(boss[:, 2].max(), roller[:, 2].max(), ring_face), abs=3e-6)


def distance_of_cylinders(centre, axis, half, radius, other_centre, other_axis, other_half, other_radius):
    """Least distance of two solid cylinders by constrained minimisation over a point in each."""

    def point(values, centre, axis, half, radius):
        one = np.cross(axis, [0.3, 0.5, 0.81])
        one /= np.linalg.norm(one)
        return centre + half * values[0] * axis + radius * (values[1] * one + values[2] * np.cross(axis, one))

    scale = radius

    def squared(values):
        first = point(values[:3], centre, axis, half, radius)
        return np.sum((first - point(values[3:], other_centre, other_axis, other_half, other_radius)) ** 2) / scale**2

    discs = [{"type": "ineq", "fun": lambda v, i=i: 1 - v[i] ** 2 - v[i + 1] ** 2} for i in (1, 4)]
    found = minimize(squared, np.zeros(6), bounds=[(-1, 1)] * 6, constraints=discs, method="SLSQP",
                     options={"maxiter": 500, "ftol": 1e-14})
    return np.sqrt(found.fun) * scale


@pytest.mark.parametrize("row", range(len(SOME)))
def test_room_between_neighbouring_rollers(row):
    """Convex, so a local minimum of the distance is the distance. The fans of directions may miss 2 % of the radius."""
    wheel = wheels(SOME[row])
    centre, axis = hub_roller(wheel, 0)
    pitch = 2 * np.pi / wheel.hub_roller_count[0]
    turn = np.array([[np.cos(pitch), np.sin(pitch), 0], [-np.sin(pitch), np.cos(pitch), 0], [0, 0, 1.0]])
    size = (wheel.hub_roller_length[0] / 2, wheel.hub_roller_radius[0])
    exact = distance_of_cylinders(centre, axis, *size, turn @ centre, turn @ axis, *size)
    quick = cylinder_gap(centre[None], axis[None], *np.array(size)[:, None], (turn @ centre)[None], (turn @ axis)[None],
                         *np.array(size)[:, None])[0]
    if exact > 1e-5:
        assert quick <= exact + 1e-7
        assert quick == pytest.approx(exact, abs=0.02 * size[1])
    else:
        assert quick < 1e-5


def test_overlapping_cylinders_have_negative_room():
    along, one = np.array([[1.0, 0, 0]]), np.array([0.01])
    near = cylinder_gap(np.zeros((1, 3)), along, one, one, np.array([[0, 0.015, 0]]), along, one, one)
    assert near[0] == pytest.approx(-0.005)


def test_arms_vanish_where_rollers_fill_the_rim():
    """Roller ends of neighbours meet at the inside of the rim when the fill is 1, with no washer, play or clearance."""
    bare = scenario(
        build=replace(scenario().build, side_washer=0.0), printer=replace(scenario().printer, clearance=0.0)
    )
    tight = {"bore_play_mm": 0.0}
    necks = layout(wheels({"output_roller_fill": 1.0, **tight}, {"output_roller_fill": 0.8, **tight}), bare).arm_neck
    assert necks[0] == pytest.approx(0, abs=1e-12)
    # 14 rollers, 200 mm, rollers of 30 mm: (1 - 0.8) * 2 * 70 mm * sin(pi/14)
    assert necks[1] == pytest.approx(0.2 * 2 * 70 * MM * np.sin(np.pi / 14))


def test_smallest_bearing_of_its_kind_on_the_shaft():
    rows = list(catalogue().bearings)
    assert rows[smallest_bearing(catalogue(), "deep_groove", 10 * MM)] == "6800"
    assert rows[smallest_bearing(catalogue(), "needle_thrust", 10 * MM)] == "AXK1024"
    assert smallest_bearing(catalogue(), "needle_thrust", 11 * MM) == -1


def test_gears_mesh_at_the_sum_of_their_pitch_radii():
    plan = layout(wheels(), scenario())
    assert plan.centre_distance[0] == pytest.approx(1.0 * (20 + 60) / 2 * MM)
    assert plan.centre_distance[0] == pytest.approx(plan.gear_pitch_radius[0] + plan.pinion_pitch_radius[0])


def test_a_softer_spring_makes_the_unit_wider():
    plan = layout(wheels({}, {"preload_stiffness_N_per_mm": 10.0}), scenario())
    assert plan.unit_half_width[1] - plan.unit_half_width[0] == pytest.approx(120 / 10 * MM - 120 / 20 * MM)


@pytest.mark.parametrize("column", [name for name, value in DESIGN.items() if not isinstance(value, str)])
def test_nan_stays_with_its_candidate(column):
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        plan = layout(wheels({}, {column: np.nan}), scenario())
    for item in fields(plan):
        if item.name != "bearing_names":
            assert np.isfinite(getattr(plan, item.name)[0]).all()
