"""The slow reference against closed forms, statics in vectors, linear programming and its own conservation laws."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from scipy.optimize import approx_fprime, linprog

from tests.reference.slow_contact import crossed_contact_stiffness, floor_line_stiffness, hertz_ellipse
from tests.reference.slow_equilibrium import EnergyModel, Loads, equilibrium
from tests.reference.slow_friction import contact_friction, roller_capacities
from tests.reference.slow_geometry import (
    closing_travel,
    common_perpendicular,
    engaged_contacts,
    pass_contact,
    roller_angles,
    surface_gap,
)
from tests.reference.slow_limit import (
    FORWARD,
    FORWARD_DIAGONAL,
    REVERSE,
    REVERSE_DIAGONAL,
    SIDEWAYS,
    limit_state,
    use_friction,
)
from tests.reference.slow_running import CreepConstants, running_state
from tests.reference.slow_wheel import SlowWheel, typical_wheel

PHASE = (0.3 * 2 * math.pi / 15, 0.2 * 2 * math.pi / 22, 0.7 * 2 * math.pi / 22)
CREEP = CreepConstants(kalker_c22=3.5, shear_modulus=20e6 / (2 * 1.48), plane_modulus=20e6 / (1 - 0.48**2) / 2)
NO_DRAG = {"hub_bore_friction": 0.0, "washer_friction": 0.0, "friction_bore": 0.0}
MATCHED = NO_DRAG | {"M": 15, "play": 0.0, "axle_stop_stiffness": 1e9, "preload_stiffness": 0.0}


def matched_wheel(**changes: float) -> SlowWheel:
    """As many hub rollers as output rollers, so that all meet alike; rollers held tight; preload that does not change."""
    return typical_wheel(**(MATCHED | changes))


# geometry


def small_wheel(**changes: float) -> SlowWheel:
    return typical_wheel(wheel_radius=72e-3, hub_roller_radius=4.5e-3, **changes)


def test_gap_off_the_middle_of_straight_rollers() -> None:
    gaps = [pass_contact(small_wheel(), math.radians(eps)).gap * 1e3 for eps in (-9, 9)]
    assert gaps == pytest.approx([0.31, 0.33], abs=0.005)


@pytest.mark.parametrize("side", [1, -1])
@pytest.mark.parametrize("eps_deg", [-11.0, -4.0, 2.0, 9.0])
@pytest.mark.parametrize(("beta", "gamma"), [(45, 45), (60, 35), (20, 60)])
def test_search_finds_the_common_perpendicular(side: int, eps_deg: float, beta: float, gamma: float) -> None:
    wheel = small_wheel(contact_angle=math.radians(beta), skew_angle=math.radians(gamma))
    z_o, gap = common_perpendicular(wheel, math.radians(eps_deg), side)
    found = pass_contact(wheel, math.radians(eps_deg), side)
    assert found.gap == pytest.approx(gap, abs=1e-12)
    assert found.z_o == pytest.approx(z_o, abs=1e-8)


@pytest.mark.parametrize(("beta", "gamma"), [(45, 45), (60, 35), (30, 55)])
def test_gap_opens_with_the_square_of_a_small_angle(beta: float, gamma: float) -> None:
    wheel = small_wheel(contact_angle=math.radians(beta), skew_angle=math.radians(gamma))
    sin = math.sin(wheel.contact_angle)
    both = wheel.output_roller_radius + wheel.hub_roller_radius
    series = 0.5 * sin * (wheel.pitch_radius - both * sin / math.sin(wheel.skew_angle) ** 2)
    eps = 1e-3
    mean = (pass_contact(wheel, eps).gap + pass_contact(wheel, -eps).gap) / 2
    assert mean / eps**2 == pytest.approx(series, rel=1e-4)


def test_sides_mirror_each_other() -> None:
    left, right = pass_contact(typical_wheel(crown=0.7), 0.11, 1), pass_contact(typical_wheel(crown=0.7), 0.11, -1)
    mirror = np.array([1, 1, -1])
    for name in ("normal", "a", "c", "across", "point"):
        assert getattr(right, name) == pytest.approx(getattr(left, name) * mirror, abs=1e-8), name
    assert (right.gap, right.ratio) == pytest.approx((left.gap, left.ratio), abs=1e-9)


@pytest.mark.parametrize("crown", [0.0, 0.5, 1.0])
def test_contact_directions_are_perpendicular_and_spin_moves_the_surface_along_c(crown: float) -> None:
    for eps in (-0.15, 0.0, 0.1):
        found = pass_contact(typical_wheel(crown=crown), eps)
        frame = np.array([found.normal, found.a, found.across])
        assert frame @ frame.T == pytest.approx(np.eye(3), abs=1e-9)
        assert found.c @ found.normal == pytest.approx(0.0, abs=1e-9)
        assert found.c[1] == pytest.approx(0.0, abs=1e-12)


def test_axis_rule_understates_the_gap_of_a_barrel_by_a_few_percent() -> None:
    # a sphere of radius r(z) about each axis point reaches further than the barrel, by about r (dr/dz)^2 / 2
    for eps in (-0.14, 0.07, 0.14):
        wheel = typical_wheel(crown=1.0)
        found = pass_contact(wheel, eps)
        slope = found.z_o / wheel.wheel_radius
        lost = surface_gap(wheel, eps) - found.gap
        assert lost == pytest.approx(wheel.output_roller_radius * slope**2 / 2, rel=0.2)
        assert surface_gap(typical_wheel(), eps) == pytest.approx(pass_contact(typical_wheel(), eps).gap, abs=1e-9)


def test_closing_travel_leaves_no_gap() -> None:
    travel = closing_travel(typical_wheel(crown=1.0), 0.1)
    assert pass_contact(typical_wheel(crown=1.0), 0.1, closure=travel).gap == pytest.approx(0.0, abs=1e-10)


def test_every_hub_roller_belongs_to_one_output_roller() -> None:
    wheel = typical_wheel(output_roller_length=0.05, hub_roller_length=0.05)
    placed = engaged_contacts(wheel, PHASE)
    assert len(placed) == 2 * wheel.M
    assert max(abs(p.contact.eps) for p in placed) <= math.pi / wheel.N
    # shifting a hub by a whole pitch of its own rollers changes nothing but the order
    shifted = engaged_contacts(wheel, (PHASE[0], PHASE[1] + 2 * math.pi / 22, PHASE[2]))
    assert sorted((p.roller, round(p.contact.gap, 9)) for p in placed) == sorted(
        (p.roller, round(p.contact.gap, 9)) for p in shifted
    )


# contact laws


def test_equal_crossed_cylinders_are_a_sphere_on_a_flat() -> None:
    ellipse = hertz_ellipse(20e6, 10e-3, 10e-3, math.pi / 2)
    radius = (3 * 20.0 * 10e-3 / (4 * 20e6)) ** (1 / 3)
    assert ellipse.major * 20 ** (1 / 3) == pytest.approx(radius, rel=1e-6)
    assert ellipse.approach * 20 ** (2 / 3) == pytest.approx(radius**2 / 10e-3, rel=1e-6)


def test_crossed_cylinders_satisfy_the_elliptic_equations() -> None:
    # published ratio of semi-axes at B/A = 2: 1.585802; crossed cylinders R and 2R at right angles have it
    assert hertz_ellipse(1e7, 10e-3, 20e-3, math.pi / 2).ratio == pytest.approx(1.585802, abs=1e-6)
    k = crossed_contact_stiffness(20e6, 10e-3, 30e-3, math.radians(45))
    assert (20 / k) ** (2 / 3) == pytest.approx(0.2675808e-3, rel=1e-6)


@pytest.mark.parametrize(("crown", "power"), [(0.0, 1.0), (1.0, 1.5)])
def test_floor_load_of_one_roller(crown: float, power: float) -> None:
    wheel = typical_wheel(
        crown=crown, axle_stop_stiffness=1e12, play=0.0, floor_stiffness=floor_line_stiffness(26e6), wheel_load=20.0
    )
    state = equilibrium(wheel, (0.0, *PHASE[1:]))
    depth = wheel.wheel_radius - state.h
    if crown:
        expected = wheel.floor_stiffness * 4 / 3 * math.sqrt(2 * wheel.wheel_radius) * depth**1.5
    else:
        expected = wheel.floor_stiffness * wheel.output_roller_length * depth
    assert expected == pytest.approx(wheel.wheel_load, rel=2e-3)
    # the force law's power, by a heavier wheel
    heavier = equilibrium(replace(wheel, wheel_load=40.0), (0.0, *PHASE[1:]))
    assert ((wheel.wheel_radius - heavier.h) / depth) ** power == pytest.approx(2.0, rel=5e-3)


# equilibrium


@pytest.mark.parametrize("crown", [0.0, 1.0])
def test_gradient_and_hessian_against_differences(crown: float) -> None:
    model = EnergyModel(typical_wheel(crown=crown), PHASE)
    model.x_rest = np.array([0.6e-3, 0.7e-3])
    draw = np.random.default_rng(1)
    loads = Loads(draw.normal(size=15), draw.normal(size=15), draw.normal(size=2))
    q = model.start()
    q[:30] += 0.2 * draw.normal(size=30)
    gradient, hessian = model.gradient(q, loads), model.hessian(q, loads)
    assert approx_fprime(q, model.energy, 1e-6, loads) == pytest.approx(gradient, abs=1e-5 * np.max(np.abs(gradient)))
    differences = approx_fprime(q, lambda place: model.gradient(place, loads), 1e-7)
    assert differences == pytest.approx(hessian, abs=1e-5 * np.max(np.abs(hessian)))


def test_minimum_does_not_depend_on_the_start() -> None:
    model = EnergyModel(typical_wheel(), PHASE)
    start = model.start()
    start[:30] += 0.3 * np.random.default_rng(2).normal(size=30)
    assert model.solve(Loads.none(model.wheel), start) == pytest.approx(model.solve(Loads.none(model.wheel)), abs=1e-9)


@pytest.mark.parametrize("crown", [0.0, 1.0])
def test_forces_at_rest_balance_as_vectors(crown: float) -> None:
    wheel = typical_wheel(crown=crown)
    state = equilibrium(wheel, PHASE)
    assert state.residual < 1e-9
    assert np.sum(state.floor_load) == pytest.approx(wheel.wheel_load, abs=1e-8)
    angles = roller_angles(wheel, PHASE)
    on_hub = np.zeros(2)
    on_roller = np.zeros((wheel.N, 3))
    for placed, force in zip(state.contacts, state.normal_force, strict=True):
        on_roller[placed.roller] -= force * placed.contact.normal
        on_hub[0 if placed.contact.side > 0 else 1] += force * placed.contact.normal[2]
    assert on_hub == pytest.approx([wheel.preload, -wheel.preload], abs=1e-8)
    for j in range(wheel.N):
        place = np.array([-state.u[j], state.v[j]])
        out = place / np.linalg.norm(place)
        held = on_roller[j, [0, 2]] - (state.stop_force[j] + np.linalg.norm(place)) * out
        held[0] -= state.floor_load[j] * math.cos(angles[j])
        assert held == pytest.approx([0, 0], abs=1e-8)


def test_preload_is_shared_by_matched_rollers() -> None:
    wheel = matched_wheel(wheel_load=1e-3)
    state = equilibrium(wheel, (0.0, 0.0, 0.0))
    share = wheel.preload / (wheel.N * math.cos(wheel.contact_angle))
    assert state.normal_force == pytest.approx(np.full(30, share), rel=1e-4)


def test_play_lets_the_wheel_load_press_the_floor_roller_onto_the_hubs() -> None:
    wheel = matched_wheel(play=1e-3, axle_stop_stiffness=2e5)
    state = equilibrium(wheel, (0.0, 0.0, 0.0))
    assert state.floor_load[0] == pytest.approx(wheel.wheel_load)
    assert state.stop_force[0] == 0
    on_it = [n for p, n in zip(state.contacts, state.normal_force, strict=True) if p.roller == 0]
    assert on_it == pytest.approx([wheel.wheel_load / (2 * math.sin(wheel.contact_angle))] * 2, rel=1e-4)


# limits


@pytest.mark.parametrize(("direction", "sign"), [(FORWARD, -1), (REVERSE, 1)])
@pytest.mark.parametrize(("beta", "gamma", "mu"), [(45, 45, 0.6), (60, 30, 0.4), (40, 55, 0.5)])
def test_matched_wheel_draws_its_hubs_in_or_pushes_them_off(
    direction: tuple[float, float], sign: int, beta: float, gamma: float, mu: float
) -> None:
    beta, gamma = math.radians(beta), math.radians(gamma)
    wheel = matched_wheel(contact_angle=beta, skew_angle=gamma, friction_roller=mu)
    share = wheel.preload / (wheel.N * math.cos(beta)) / (1 + sign * mu * math.sin(gamma) * math.tan(beta))
    expected = 2 * wheel.N * mu * share * math.cos(gamma) * wheel.contact_circle_radius / wheel.wheel_radius
    found = limit_state(wheel, (0.0, 0.0, 0.0), direction)
    assert found.status == ""
    assert found.force == pytest.approx(expected, rel=1e-3)  # the floor roller's stop gives way a little
    assert found.forward_exact == pytest.approx(found.forward, rel=1e-9)  # at the middle both levers are the same


def test_stiff_preload_evens_forward_and_reverse() -> None:
    soft = [limit_state(matched_wheel(), (0.0, 0.0, 0.0), d).force for d in (FORWARD, REVERSE)]
    stiff = [limit_state(matched_wheel(preload_stiffness=1e9), (0.0, 0.0, 0.0), d).force for d in (FORWARD, REVERSE)]
    assert soft[0] / soft[1] > 2.3
    assert stiff[0] / stiff[1] == pytest.approx(1.0, abs=1e-3)


DIRECTIONS = [FORWARD, REVERSE, SIDEWAYS, FORWARD_DIAGONAL, REVERSE_DIAGONAL, (0.6, -0.8)]


@pytest.mark.parametrize("direction", DIRECTIONS)
def test_limit_state_obeys_friction_and_balances_every_roller(direction: tuple[float, float]) -> None:
    wheel = typical_wheel(crown=0.5)
    found = limit_state(wheel, PHASE, direction)
    state = found.equilibrium
    assert found.status == ""
    assert state.residual < 1e-8
    assert (found.forward, found.side) == pytest.approx((found.force * direction[0], found.force * abs(direction[1])), abs=1e-6)
    used = np.hypot(found.along, found.across) / np.maximum(0.6 * state.normal_force, 1e-12)
    touching = state.normal_force > 1e-3
    assert np.all(used[touching] <= 1 + 1e-6)
    assert np.max(used[touching]) == pytest.approx(1.0, abs=1e-6)
    # moment about each roller's own axle, as vectors: positive turns r towards y
    for j in range(wheel.N):
        moment = 0.0
        for placed, f, g in zip(state.contacts, found.along, found.across, strict=True):
            if placed.roller == j:
                contact = placed.contact
                moment += np.cross(contact.normal, f * contact.a + g * contact.across)[1] / np.linalg.norm(
                    np.cross([0, 1, 0], contact.normal)
                )
        # y x r = t: a floor that pushes along -y at +r turns the roller towards +t
        side_sign = -1 if direction[1] < 0 else 1
        bore = wheel.friction_bore * state.stop_force[j] * wheel.axle_radius / wheel.output_roller_radius
        floor = np.cross([1, 0, 0], [0, 0, -side_sign * found.side_force[j]])[1]
        resistance = floor + (side_sign * bore if direction[1] else 0.0)
        assert moment + resistance == pytest.approx(0.0, abs=1e-6)
    assert np.all(found.side_force <= wheel.friction_floor * state.floor_load + 1e-9)


@pytest.mark.parametrize("direction", DIRECTIONS)
@pytest.mark.parametrize("grip", [0.7, 0.12])
def test_reach_is_the_optimum_of_a_linear_program(direction: tuple[float, float], grip: float) -> None:
    """At given normal forces, without hub roller drag, the contacts' best is linear: usage per side and roller, one reach."""
    wheel = typical_wheel(hub_bore_friction=0.0, washer_friction=0.0, friction_floor=grip)
    state = equilibrium(wheel, PHASE)
    sign, rolling = (-1 if direction[1] < 0 else 1), direction[1] != 0
    capacities = roller_capacities(wheel, state, contact_friction(wheel, state, rolling), sign, False, rolling)
    usage = use_friction(wheel, state, capacities, direction)
    assert usage is not None
    reach = usage.reach
    count = wheel.N
    balance, right = np.zeros((count + 2, 3 * count + 1)), np.zeros(count + 2)  # left usages, right usages, side forces, reach
    for placed, normal in zip(state.contacts, state.normal_force, strict=True):
        contact, j = placed.contact, placed.roller
        column = j if contact.side > 0 else count + j
        force = 0.6 * normal * contact.a
        balance[j, column] += -sign * contact.side * (force @ contact.c)
        balance[count, column] += force[1] * wheel.contact_circle_radius / wheel.wheel_radius
    for j in range(count):
        balance[j, 2 * count + j] = -1.0
        bore = wheel.friction_bore * state.stop_force[j] * wheel.axle_radius / wheel.output_roller_radius
        right[j] = bore if rolling else 0.0
    balance[count, -1] = -direction[0]
    balance[count + 1, 2 * count : 3 * count], balance[count + 1, -1] = 1.0, -abs(direction[1])
    bounds = [(-1, 1)] * (2 * count) + [(0, grip * load) for load in state.floor_load] + [(0, None)]
    best = linprog(np.r_[np.zeros(3 * count), -1.0], A_eq=balance, b_eq=right, bounds=bounds)
    assert best.success
    assert reach == pytest.approx(-best.fun, rel=1e-7)


def test_pushing_the_other_way_is_the_mirrored_wheel() -> None:
    wheel, mirrored_phase = typical_wheel(), (PHASE[0], PHASE[2], PHASE[1])
    assert limit_state(wheel, PHASE, (0.0, -1.0)).force == pytest.approx(
        limit_state(wheel, mirrored_phase, SIDEWAYS).force, rel=1e-6
    )


def test_floor_grip_caps_the_side_force() -> None:
    found = limit_state(typical_wheel(friction_floor=0.1), PHASE, SIDEWAYS)
    assert found.force == pytest.approx(10.0, abs=1e-5)


def test_no_state_without_contact_on_a_side() -> None:
    assert limit_state(typical_wheel(hub_roller_length=1e-6), PHASE, FORWARD).status == "no contact on a side"


# steady drive


@pytest.mark.parametrize(
    ("direction", "force"), [((0.0, 1.0), 0.0), ((0.0, 1.0), 12.0), ((0.6, 0.8), 15.0), ((-0.6, -0.8), 15.0)]
)
def test_hub_power_is_floor_power_and_losses(direction: tuple[float, float], force: float) -> None:
    found = running_state(typical_wheel(crown=0.5), PHASE, direction, force, 0.4, CREEP)
    assert found.status == ""
    assert found.imbalance == pytest.approx(0.0, abs=1e-9 * found.hub_power)
    assert min(found.creep_loss, found.output_bore_loss, found.hub_bore_loss) > 0
    # no moment is left on the carrier
    assert np.sum(found.hub_torque) == pytest.approx(force * direction[0] * 90e-3, abs=1e-9)


@pytest.mark.parametrize("eps", [-0.1, 0.0, 0.1])
def test_matched_wheel_without_drag_follows_the_pass_ratio(eps: float) -> None:
    found = running_state(matched_wheel(), (0.0, eps, eps), SIDEWAYS, 0.0, 0.3, CREEP)
    assert found.status == ""
    assert found.speed_ratio == pytest.approx(pass_contact(matched_wheel(), eps).ratio, rel=1e-6)
    assert found.hub_power == pytest.approx(0.0, abs=1e-6)


def test_without_drag_and_nearly_without_creep_torque_is_ideal() -> None:
    wheel, force = matched_wheel(skew_angle=math.radians(40)), 0.02
    stiff = CreepConstants(kalker_c22=3.5e4, shear_modulus=CREEP.shear_modulus, plane_modulus=CREEP.plane_modulus)
    found = running_state(wheel, (0.0, 0.0, 0.0), SIDEWAYS, force, 0.3, stiff)
    ideal = force / math.tan(wheel.skew_angle) * wheel.contact_circle_radius / 2
    # V tan(gamma) = Omega R_c, so torque times speed on both hubs is the power at the floor
    ideal_by_power = force * 0.3 / (2 * found.hub_speed[1])
    assert ideal_by_power == pytest.approx(ideal, rel=1e-12)
    assert found.hub_torque == pytest.approx([-ideal, ideal], rel=1e-3)


def test_one_creeping_contact_pair_has_the_closed_form_speed() -> None:
    """Both contacts of the one roller on the floor carry half the side force; the law's inverse gives the slip."""
    wheel, force, speed = matched_wheel(), 4.0, 0.3
    found = running_state(wheel, (0.0, 0.0, 0.0), SIDEWAYS, force, speed, CREEP)
    gamma, ellipse = wheel.skew_angle, hertz_ellipse(CREEP.plane_modulus, 12e-3, 6e-3, wheel.skew_angle)
    state, sides = found.equilibrium, []
    for placed, normal in zip(state.contacts, state.normal_force, strict=True):
        if placed.roller == 0:
            grip = 0.6 * normal
            patch = ellipse.major * ellipse.minor * normal ** (2 / 3)
            full = 3 * grip / (CREEP.kalker_c22 * CREEP.shear_modulus * patch)
            sides.append((placed.contact.side, grip, full))
    # contact force along a from the slip each side actually has, at V and the carrier's speed found
    v, total = found.roller_speed[0], 0.0
    for side, grip, full in sides:
        turning = abs(found.hub_speed[0 if side > 0 else 1] - found.carrier_speed) * wheel.contact_circle_radius
        slip, rolling = turning * math.cos(gamma) - v * math.sin(gamma), turning * math.sin(gamma) + v * math.cos(gamma)
        total += grip * (1 - (1 - slip / rolling / full) ** 3) * math.sin(gamma)
    assert total == pytest.approx(force, rel=1e-6)
    assert v < speed


def test_running_state_meets_the_drive_limit() -> None:
    limit = limit_state(typical_wheel(), PHASE, SIDEWAYS).force
    assert running_state(typical_wheel(), PHASE, SIDEWAYS, 0.95 * limit, 0.4, CREEP).status == ""
    assert "more side force" in running_state(typical_wheel(), PHASE, SIDEWAYS, 1.1 * limit, 0.4, CREEP).status


def test_direction_without_a_sideways_part_is_refused() -> None:
    with pytest.raises(ValueError, match="sideways"):
        running_state(typical_wheel(), PHASE, FORWARD, 1.0, 0.4, CREEP)
