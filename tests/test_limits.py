"""Limit states: the kernels against the slow reference, substituted back into statics, and against closed forms."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from scipy.optimize import linprog

from objectives.limits import solve_small
from objectives.phases import phase_lattice
from objectives.sharing import split
from objectives.states import solve_states
from objectives.traction import axis_friction
from tests.exact_reference import SurfaceModel, exact_limit_state, with_constant_drag
from tests.kernel_inputs import KernelState, kernel_row, kernel_rows, kernel_state, slow_phase
from tests.reference.slow_equilibrium import Loads
from tests.reference.slow_friction import friction_loads
from tests.reference.slow_limit import limit_state
from tests.reference.slow_wheel import SlowWheel, typical_wheel

PHASE = (0.3, 0.2, 0.7)
DIAGONAL = math.sqrt(0.5)
ODD = math.cos(math.radians(20)), math.sin(math.radians(20))
DIRECTIONS = {
    "forward": (1.0, 0.0),
    "reverse": (-1.0, 0.0),
    "sideways": (0.0, 1.0),
    "forward diagonal": (DIAGONAL, DIAGONAL),
    "reverse diagonal": (-DIAGONAL, DIAGONAL),
    "20 deg": ODD,
    "160 deg": (-ODD[0], ODD[1]),
}
WHEELS: dict[str, dict[str, Any]] = {
    "typical": {},
    "N = M, tight, stiff preload": {"M": 15, "play": 0.0, "preload_stiffness": 200e3},
    "play 0.5 mm, soft preload": {"N": 12, "M": 17, "play": 0.5e-3, "preload": 60.0, "preload_stiffness": 5e3},
    "60/35 degrees, hard rollers": {
        "contact_angle": math.radians(60), "skew_angle": math.radians(35), "contact_stiffness": 1e7, "friction_roller": 0.4,
    },
    "slippery floor": {"friction_floor": 0.15},
    "slippery floor, two rollers on it": {"friction_floor": 0.3, "wheel_load": 300.0, "N": 20, "M": 31, "preload": 60.0},
}  # fmt: skip
MATCHED = {
    "M": 15, "play": 0.0, "axle_stop_stiffness": 1e9, "hub_bore_friction": 0.0, "washer_friction": 0.0, "friction_bore": 0.0,
}  # fmt: skip


def without_washers(**changes: Any) -> SlowWheel:
    """A wheel whose hub rollers drag in proportion to their load alone, as much as with washers at full friction."""
    return with_constant_drag(typical_wheel(**changes))


def limit_forces(wheel: SlowWheel, directions_deg: list[float], shares: np.ndarray) -> np.ndarray:
    """Forces (directions, phases) of the whole chain."""
    _, limits = solve_states(kernel_row(wheel), np.radians(directions_deg), np.atleast_2d(shares))
    return limits.force[0]


# against the reference

FAST = [("typical", key) for key in DIRECTIONS] + [
    ("N = M, tight, stiff preload", "sideways"),
    ("play 0.5 mm, soft preload", "reverse diagonal"),
    ("60/35 degrees, hard rollers", "20 deg"),
    ("slippery floor", "forward diagonal"),
    ("slippery floor, two rollers on it", "sideways"),
]
ALL = [(wheel, direction) for wheel in WHEELS for direction in DIRECTIONS]


@pytest.mark.parametrize(
    ("wheel_name", "direction_name"),
    [pytest.param(*case, marks=() if case in FAST else pytest.mark.slow) for case in ALL],
)
def test_limit_is_that_of_the_reference(wheel_name: str, direction_name: str) -> None:
    wheel, direction = without_washers(**WHEELS[wheel_name]), DIRECTIONS[direction_name]
    found = kernel_state(wheel, PHASE, direction)
    expected = exact_limit_state(wheel, slow_phase(wheel, np.array(PHASE)), direction)
    assert expected.status == ""
    assert found.steps >= 0
    assert found.residual < 1e-3
    assert found.force == pytest.approx(expected.force, rel=3e-5)
    assert np.sum(found.side_force) == pytest.approx(expected.side, abs=2e-3)


@pytest.mark.parametrize("direction_name", ["forward", "sideways"])
def test_limit_is_that_of_the_reference_as_it_stands(direction_name: str) -> None:
    # contact point midway in the gap, and no drag of turning hub rollers
    wheel = typical_wheel(hub_bore_friction=0.0, washer_friction=0.0)
    direction = DIRECTIONS[direction_name]
    expected = limit_state(wheel, slow_phase(wheel, np.array(PHASE)), direction, exact_lever=True)
    assert kernel_state(wheel, PHASE, direction).force == pytest.approx(expected.force, rel=1e-3)


def test_the_other_way_is_that_of_the_reference() -> None:
    """The reference is given the negative direction itself, without mirroring the wheel."""
    wheel = without_washers()
    expected = exact_limit_state(wheel, slow_phase(wheel, np.array(PHASE)), (0.0, -1.0))
    assert limit_forces(wheel, [-90.0], np.array(PHASE))[0, 0] == pytest.approx(expected.force, rel=1e-5)
    assert limit_forces(wheel, [90.0], np.array(PHASE))[0, 0] != pytest.approx(expected.force, rel=1e-3)


@pytest.mark.parametrize(
    "direction_name",
    [pytest.param(key, marks=() if key in ("forward", "sideways") else pytest.mark.slow) for key in DIRECTIONS],
)
def test_limit_of_barrels(direction_name: str) -> None:
    # normals keep within their cross-section: up to 0.72 % was measured
    wheel, direction = without_washers(crown=1.0), DIRECTIONS[direction_name]
    expected = exact_limit_state(wheel, slow_phase(wheel, np.array(PHASE)), direction)
    assert kernel_state(wheel, PHASE, direction).force == pytest.approx(expected.force, rel=0.009)


@pytest.mark.parametrize(
    ("direction_name", "below", "above"),
    [
        ("sideways", 0.025, 0.0),
        ("forward diagonal", 0.04, 0.01),
        pytest.param("reverse diagonal", 0.11, 0.0, marks=pytest.mark.slow),
        pytest.param("160 deg", 0.12, 0.0, marks=pytest.mark.slow),
    ],
)
@pytest.mark.parametrize("wheel_name", ["typical", "play 0.5 mm, soft preload"])
def test_washers_that_always_drag_as_at_full_friction_make_the_limit_too_low(
    wheel_name: str, direction_name: str, below: float, above: float
) -> None:
    """A washer drags by the force its roller carries; the kernels take it at full friction on every contact."""
    wheel, direction = typical_wheel(**WHEELS[wheel_name]), DIRECTIONS[direction_name]
    expected = exact_limit_state(wheel, slow_phase(wheel, np.array(PHASE)), direction).force
    assert (1 - below) * expected < kernel_state(wheel, PHASE, direction).force < (1 + above) * expected


def test_where_newton_cycles_damped_steps_lead_to_the_same_state() -> None:
    wheel = without_washers(
        M=29, play=0.46357627753393373e-3, preload=77.24903011305192, preload_stiffness=251245.95943863055,
        friction_roller=0.5249531161594412, friction_floor=0.4976600373943529, wheel_load=201.25549752399823,
        contact_stiffness=19595412.418790698, contact_angle=1.0249200267889855, skew_angle=0.7714512859728097,
    )  # fmt: skip
    shares = (0.6383450267923287, 0.3420872134075783, 0.09940095580394037)
    found = kernel_state(wheel, shares, DIRECTIONS["forward diagonal"])
    expected = exact_limit_state(wheel, slow_phase(wheel, np.array(shares)), DIRECTIONS["forward diagonal"])
    assert found.steps > 0  # rounds of damped steps
    assert found.force == pytest.approx(expected.force, rel=3e-5)


# substituted back


def substituted(wheel: SlowWheel, found: KernelState, turning: bool) -> tuple[np.ndarray, np.ndarray, float, Loads]:
    """Normal forces and leftover forces [N] of a kernel's state in the reference's vectors; forward force; friction loads."""
    model = SurfaceModel(wheel, slow_phase(wheel, np.array(PHASE)))
    model.x_rest = found.rest
    q = np.concatenate([np.column_stack([found.u, found.v]).ravel(), found.closure, [found.height]]) * 1e3
    normal = model.normal_forces(q)
    drag = wheel.hub_bore_friction * wheel.hub_bolt_radius / wheel.hub_roller_radius if turning else 0.0
    grip = math.sqrt(wheel.friction(1) ** 2 - drag**2)
    side = np.array([0 if placed.contact.side > 0 else 1 for placed in model.contacts])
    roller = np.array([placed.roller for placed in model.contacts])
    along = found.share[side, roller] * grip * normal
    across = np.where(side == 0, 1.0, -1.0) * drag * normal  # the left side turns rollers along -c
    loads = friction_loads(wheel, model.state(q, Loads.none(wheel)), along, across, found.side_force, 1)
    forward = sum(
        f * placed.contact.lever + g * placed.contact.lever_across
        for placed, f, g in zip(model.contacts, along, across, strict=True)
    )
    assert np.all(np.abs(found.share) <= 1 + 1e-9)
    assert np.all(found.side_force <= wheel.friction_floor * found.floor_load + 1e-9)
    for j in range(wheel.N):  # moment about each roller's own axle
        own = roller == j
        turned = sum(
            f * (placed.contact.a @ placed.contact.c) + g * (placed.contact.across @ placed.contact.c)
            for placed, f, g, mine in zip(model.contacts, along, across, own, strict=True)
            if mine and placed.contact.side < 0
        ) - sum(
            f * (placed.contact.a @ placed.contact.c) + g * (placed.contact.across @ placed.contact.c)
            for placed, f, g, mine in zip(model.contacts, along, across, own, strict=True)
            if mine and placed.contact.side > 0
        )
        stop = wheel.axle_stop_stiffness * max(math.hypot(found.u[j], found.v[j]) - wheel.play, 0.0)
        bore = wheel.friction_bore * stop * wheel.axle_radius / wheel.output_roller_radius if turning else 0.0
        capacity = np.sum(grip * normal[own])
        if bore < 0.5 * capacity:  # else the roller stalls
            assert turned == pytest.approx(found.side_force[j] + bore, abs=1e-3)
    return normal, model.gradient(q, loads), forward / wheel.wheel_radius, loads


@pytest.mark.parametrize("direction_name", DIRECTIONS)
@pytest.mark.parametrize("wheel_name", WHEELS)
def test_limit_state_is_at_rest(wheel_name: str, direction_name: str) -> None:
    """Equilibrium, friction and direction hold in the reference's vectors, and its own solver stays where the kernel is."""
    wheel, direction = without_washers(**WHEELS[wheel_name]), DIRECTIONS[direction_name]
    found = kernel_state(wheel, PHASE, direction)
    normal, leftover, forward, loads = substituted(wheel, found, direction[1] > 0)
    assert np.linalg.norm(leftover) < 1.5e-3  # 1e-3 and the reference's 1201 floor slices
    assert forward == pytest.approx(found.force * direction[0], abs=2e-3)
    assert np.sum(found.side_force) == pytest.approx(found.force * direction[1], abs=1e-6)
    model = SurfaceModel(wheel, slow_phase(wheel, np.array(PHASE)))
    model.x_rest = found.rest
    q = np.concatenate([np.column_stack([found.u, found.v]).ravel(), found.closure, [found.height]]) * 1e3
    again = model.normal_forces(model.solve(loads, q))
    assert again == pytest.approx(normal, abs=0.02)  # 1e-3 N over weak spots: rollers on their centring spring alone


# closed forms


@pytest.mark.parametrize(("direction", "sign"), [((1.0, 0.0), -1), ((-1.0, 0.0), 1)])
@pytest.mark.parametrize(("beta", "gamma", "mu"), [(45, 45, 0.6), (60, 30, 0.4), (40, 55, 0.5)])
def test_friction_draws_hubs_in_forwards_and_pushes_them_off_in_reverse(
    direction: tuple[float, float], sign: int, beta: float, gamma: float, mu: float
) -> None:
    """N = N_0/(1 -+ mu sin(gamma) tan(beta)) on every contact of a matched wheel with a preload that does not change."""
    beta, gamma = math.radians(beta), math.radians(gamma)
    wheel = typical_wheel(
        **MATCHED, preload_stiffness=0.0, contact_angle=beta, skew_angle=gamma, friction_roller=mu, wheel_load=1e-2
    )
    found = kernel_state(wheel, (0.0, 0.0, 0.0), direction)
    share = wheel.preload / (wheel.N * math.cos(beta)) / (1 + sign * mu * math.sin(gamma) * math.tan(beta))
    assert [contact.force for contact in found.contacts] == pytest.approx([share] * 30, rel=1e-4)
    expected = 2 * wheel.N * mu * share * math.cos(gamma) * wheel.contact_circle_radius / wheel.wheel_radius
    assert found.force == pytest.approx(expected, rel=1e-5)


def test_a_very_stiff_preload_leaves_the_uncoupled_rule() -> None:
    wheel = typical_wheel(**MATCHED, preload_stiffness=1e9, friction_floor=5.0)
    share = wheel.preload / (wheel.N * math.cos(wheel.contact_angle))
    forward = 2 * wheel.N * 0.6 * share * math.cos(wheel.skew_angle) * wheel.contact_circle_radius / wheel.wheel_radius
    sideways = 2 * 0.6 * share * math.sin(wheel.skew_angle)
    for direction, expected in (((1.0, 0.0), forward), ((-1.0, 0.0), forward), ((0.0, 1.0), sideways)):
        assert kernel_state(wheel, (0.0, 0.0, 0.0), direction).force == pytest.approx(expected, rel=2e-3)


def test_floor_grip_caps_the_side_force() -> None:
    assert kernel_state(typical_wheel(friction_floor=0.1), PHASE, (0.0, 1.0)).force == pytest.approx(10.0, abs=1e-3)


def test_phase_without_contact_has_no_state_and_the_batch_says_so() -> None:
    touching, bare = typical_wheel(), typical_wheel(hub_roller_length=1e-6)
    normal, limits = solve_states(kernel_rows(touching, bare), np.array([0.0, math.pi / 2]), phase_lattice(3))
    assert limits.without_contact.tolist() == [0, 3]
    assert np.isnan(limits.worst[1]).all()
    assert np.isnan(limits.force[1]).all()
    assert np.isnan(normal.contact_force_max[1])
    assert np.isfinite(limits.force[0]).all()


# the parts


@pytest.mark.parametrize("n", [3, 4])
def test_small_systems_are_solved(n: int) -> None:
    draw = np.random.default_rng(5)
    for _ in range(50):
        matrix = np.zeros((4, 5))
        matrix[:n, :n] = draw.normal(size=(n, n)) * 10.0 ** draw.integers(-4, 6, size=(n, 1))
        matrix[0, 0] = 0.0  # wants a pivot
        matrix[:n, 4] = draw.normal(size=n)
        expected = np.linalg.solve(matrix[:n, :n], matrix[:n, 4])
        solve_small(matrix, n)
        assert matrix[:n, 4] == pytest.approx(expected, rel=1e-8)


@pytest.mark.parametrize("sense", [1, -1])
def test_split_is_the_most_that_linear_programming_finds(sense: int) -> None:
    draw = np.random.default_rng(6)
    for _ in range(40):
        left, right = draw.uniform(0.1, 2, size=2)
        demand = draw.uniform(0, left + right)
        found = split(float(sense), 1.0, left, right, demand)
        best = linprog([-sense, -sense], A_eq=[[-1, 1]], b_eq=[demand], bounds=[(-left, left), (-right, right)])
        assert found == pytest.approx(tuple(best.x), abs=1e-9)


def test_even_split_uses_both_sides_alike() -> None:
    left, right = split(1.0, 0.0, 2.0, 3.0, 1.5)
    assert (right - left, -left / 2.0) == pytest.approx((1.5, right / 3.0))
    assert split(1.0, 0.0, 0.0, 0.0, 1.0) == (0.0, 0.0)


def test_friction_of_a_turning_hub_roller_stays_on_its_circle() -> None:
    for mu, load, force in ((0.6, 0.06, 0.09), (0.3, 0.0, 0.2), (0.8, 0.2, 0.0), (0.6, 0.0, 0.0)):
        along, across = axis_friction(mu, load, force)
        assert math.hypot(along, across) == pytest.approx(mu, rel=1e-12)
        assert across == pytest.approx(load + force * along, rel=1e-12)
    assert axis_friction(0.1, 0.3, 0.1)[0] == 0.0  # bore holds the roller: nothing is left along its axis


def test_no_limit_is_left_open_over_many_phases() -> None:
    wheels = [without_washers(**changes) for changes in WHEELS.values()]
    angles = np.radians([0.0, 180.0, 90.0, -90.0, 45.0, 135.0, -45.0, 20.0, 160.0])
    _, limits = solve_states(kernel_rows(*wheels, replace(wheels[0], crown=1.0)), angles, phase_lattice(16))
    assert limits.unresolved.tolist() == [0] * 7
    assert limits.force[:, :, :] == pytest.approx(np.abs(limits.force))
