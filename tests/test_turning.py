"""Wheels that drive sideways: the kernel against the slow reference, substituted back into statics, and where no state is."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
import pytest

from objectives.phases import phase_lattice
from objectives.running import DELIVERED, LEFT_SPEED, LEFT_TORQUE, MISSED, RESIDUAL, RIGHT_SPEED, RIGHT_TORQUE
from objectives.states import solve_states
from objectives.traction import axis_friction
from tests.exact_reference import SurfaceModel, with_constant_drag
from tests.kernel_inputs import kernel_row, slow_phase
from tests.reference.slow_equilibrium import Loads
from tests.reference.slow_friction import friction_loads
from tests.reference.slow_running import RunningContacts, running_state
from tests.reference.slow_wheel import SlowWheel, typical_wheel
from tests.running_inputs import CREEP, creep_laws, exact_running_state, run_cases, turning_state

PHASE = (0.3, 0.2, 0.7)  # two rollers can stand on the floor
ONE_STANDS = (0.0, 0.3552, 0.7485)
SPEED = 0.4
DIAGONAL = math.sqrt(0.5)
DIRECTIONS = {
    "sideways": (0.0, 1.0),
    "forward diagonal": (DIAGONAL, DIAGONAL),
    "reverse diagonal": (-DIAGONAL, DIAGONAL),
    "20 deg": (math.cos(math.radians(20)), math.sin(math.radians(20))),
    "160 deg": (-math.cos(math.radians(20)), math.sin(math.radians(20))),
}
WHEELS: dict[str, dict[str, Any]] = {
    "typical": {},
    "N = M, tight, stiff preload": {"M": 15, "play": 0.0, "preload_stiffness": 200e3},
    "play 0.5 mm, soft preload": {"N": 12, "M": 17, "play": 0.5e-3, "preload": 60.0, "preload_stiffness": 5e3},
    "60/35 degrees, hard rollers": {
        "contact_angle": math.radians(60), "skew_angle": math.radians(35), "contact_stiffness": 1e7, "friction_roller": 0.4,
    },
    "two on the floor": {"friction_floor": 0.3, "wheel_load": 300.0, "N": 20, "M": 31, "preload": 60.0},
    "barrels": {"crown": 1.0},
}  # fmt: skip


@dataclass(frozen=True)
class Case:
    """A wheel under a floor force [N] along a direction; ``speeds`` (over the ideal) and ``torque`` [N m] are tolerances."""

    wheel: str
    direction: str
    force: float
    speeds: float = 2e-6
    torque: float = 1e-5
    slow: bool = False

    def __str__(self) -> str:
        return f"{self.wheel}, {self.direction}, {self.force} N"


# the kernel stops at 1e-3 N: near the limit, where speeds run away with the force, that shows
AGAINST_REFERENCE = [
    Case("typical", "sideways", 0.0),
    Case("typical", "sideways", 14.8),
    Case("typical", "sideways", 26.0, speeds=2e-2, torque=1e-3),
    Case("typical", "forward diagonal", 16.0),
    Case("typical", "reverse diagonal", 16.0),
    Case("play 0.5 mm, soft preload", "sideways", 30.3, speeds=2e-5, torque=5e-5),
    Case("60/35 degrees, hard rollers", "sideways", 9.4),
    Case("two on the floor", "sideways", 16.2, speeds=2e-5),
    Case("N = M, tight, stiff preload", "sideways", 9.1),
    # normals of barrels keep within their cross-section in the kernels
    Case("barrels", "sideways", 13.4, speeds=6e-3, torque=2e-2),
    Case("typical", "20 deg", 30.0, speeds=1e-5, slow=True),
    Case("typical", "160 deg", 16.0, slow=True),
    Case("typical", "reverse diagonal", 30.0, slow=True),
    Case("N = M, tight, stiff preload", "sideways", 0.0, slow=True),
    Case("N = M, tight, stiff preload", "forward diagonal", 9.0, slow=True),
    Case("play 0.5 mm, soft preload", "sideways", 0.0, slow=True),
    Case("play 0.5 mm, soft preload", "reverse diagonal", 12.0, slow=True),
    Case("60/35 degrees, hard rollers", "sideways", 0.0, slow=True),
    Case("60/35 degrees, hard rollers", "20 deg", 20.0, slow=True),
    Case("two on the floor", "sideways", 0.0, speeds=2e-5, slow=True),
    Case("two on the floor", "forward diagonal", 20.0, speeds=2e-5, slow=True),
    Case("barrels", "sideways", 0.0, speeds=6e-3, torque=2e-2, slow=True),
]


def crosswise(wheel: SlowWheel, sideways_speed: float) -> float:
    """Hub speed against the carrier that is asked for a sideways speed [rad/s]."""
    return sideways_speed * math.tan(wheel.skew_angle) / wheel.contact_circle_radius


@pytest.mark.parametrize(
    "case", [pytest.param(case, marks=pytest.mark.slow if case.slow else ()) for case in AGAINST_REFERENCE], ids=str
)
def test_running_state_is_that_of_the_reference(case: Case) -> None:
    wheel, direction = typical_wheel(**WHEELS[case.wheel]), DIRECTIONS[case.direction]
    expected = exact_running_state(wheel, slow_phase(wheel, np.array(PHASE)), direction, case.force, SPEED, CREEP)
    found = turning_state(wheel, PHASE, (case.force * direction[0], case.force * direction[1]), creep_laws(wheel))
    assert expected.status == ""
    assert found.steps > 0
    assert found.residual < 1e-3
    unit, ideal = crosswise(wheel, SPEED * direction[1]), SPEED * direction[1]
    assert found.roller_speed * unit == pytest.approx(expected.roller_speed, abs=case.speeds * ideal)
    assert found.torque == pytest.approx(expected.hub_torque, abs=case.torque)
    carrier = (SPEED * direction[0] / wheel.wheel_radius - expected.carrier_speed) / unit
    assert found.common == pytest.approx(carrier, abs=2 * case.speeds)


def test_running_state_is_that_of_the_reference_as_it_stands() -> None:
    """The reference's contact points lie midway in the gap."""
    wheel = typical_wheel()
    expected = running_state(wheel, slow_phase(wheel, np.array(PHASE)), (0.0, 1.0), 12.0, SPEED, CREEP)
    (found,) = run_cases([wheel], [creep_laws(wheel)], np.array(PHASE), [(0.0, 12.0)])[0]
    assert found[DELIVERED] / wheel.contact_circle_radius == pytest.approx(expected.speed_ratio, abs=5e-4)
    assert found[[LEFT_TORQUE, RIGHT_TORQUE]] == pytest.approx(expected.hub_torque, abs=5e-4)
    losses = found[[0, 1, 3]] * expected.speed_ratio * SPEED
    reference = [expected.creep_loss, expected.output_bore_loss, expected.hub_bore_loss]
    assert losses == pytest.approx(reference, rel=5e-3)


@pytest.mark.parametrize("force", [(0.0, -12.0), (5.0, -7.0)])
def test_driving_left_is_that_of_the_reference(force: tuple[float, float]) -> None:
    """The reference is given the negative direction itself, without mirroring the wheel; the kernel exchanges the hubs."""
    wheel, total = typical_wheel(), math.hypot(*force)
    direction = (force[0] / total, force[1] / total)
    expected = exact_running_state(wheel, slow_phase(wheel, np.array(PHASE)), direction, total, SPEED, CREEP)
    left, right = run_cases([wheel], [creep_laws(wheel)], np.array(PHASE), [force, (force[0], -force[1])])[0]
    assert left[[RIGHT_TORQUE, LEFT_TORQUE]] == pytest.approx(expected.hub_torque, abs=1e-5)
    assert left[DELIVERED] / wheel.contact_circle_radius == pytest.approx(expected.speed_ratio, abs=2e-6)
    # at one and the same phase left and right differ
    assert right[DELIVERED] != pytest.approx(left[DELIVERED], rel=1e-4)
    # for the speed delivered both hubs turn faster than ideal, against the carrier that now turns forwards ideally
    unit = crosswise(wheel, abs(SPEED * direction[1]))
    speeds = (expected.hub_speed[::-1] - expected.carrier_speed) / (unit * expected.speed_ratio * wheel.contact_circle_radius)
    assert left[[LEFT_SPEED, RIGHT_SPEED]] == pytest.approx(speeds, rel=2e-6)


# substituted back

STRAIGHT = [name for name in WHEELS if name != "barrels"]
SUBSTITUTED = [(name, direction, force) for name in STRAIGHT for direction in DIRECTIONS for force in (0.0, 8.0)]


@pytest.mark.parametrize(("name", "direction_name", "force"), SUBSTITUTED)
def test_running_state_is_at_rest(name: str, direction_name: str, force: float) -> None:
    """The kernel's displacements and speeds, put into the reference's vectors: every roller, both hubs, carrier and axle."""
    wheel, direction = typical_wheel(**WHEELS[name]), DIRECTIONS[direction_name]
    found = turning_state(wheel, PHASE, (force * direction[0], force * direction[1]), creep_laws(wheel))
    assert found.steps > 0
    model = SurfaceModel(wheel, slow_phase(wheel, np.array(PHASE)))
    model.x_rest = found.rest
    q = np.concatenate([np.column_stack([found.u, found.v]).ravel(), found.closure, [found.height]]) * 1e3
    state = model.state(q, Loads.none(wheel))
    contacts = RunningContacts(wheel, model, 1, CREEP)
    contacts.set_normal_forces(state.normal_force, wheel.friction(1) * state.normal_force)
    hubs = np.array([found.common - 1.0, found.common + 1.0])  # against the carrier
    along, across = contacts.forces(found.roller_speed, 0.0, hubs)
    drag = wheel.friction_bore * state.stop_force * wheel.axle_radius / wheel.output_roller_radius
    left_over = contacts.spin(found.roller_speed, 0.0, hubs) - drag - found.side_force
    turning = found.roller_speed > 0
    assert np.count_nonzero(turning) >= wheel.N - 2
    assert left_over[turning] == pytest.approx(np.zeros(np.count_nonzero(turning)), abs=3e-5)
    assert np.all(left_over[~turning] < 1e-5)
    torque = contacts.hub_torques(along, across)
    assert torque == pytest.approx(found.torque, abs=1e-6)
    assert np.sum(torque) == pytest.approx(force * direction[0] * wheel.wheel_radius, abs=1e-3 * wheel.wheel_radius)
    loads = friction_loads(wheel, state, along, across, found.side_force, 1)
    assert np.linalg.norm(model.gradient(q, loads)) < 1.5e-3  # 1e-3 and the reference's 1201 floor slices
    assert np.sum(found.side_force) == pytest.approx(force * direction[1], abs=1e-9)
    assert np.all(found.side_force <= wheel.friction_floor * found.floor_load + 1e-9)


def test_drags_follow_reaction_thrust_and_floor_load() -> None:
    """What turns against a roller, from the state's own forces; the thrust along its axle from the reference's vectors."""
    wheel = typical_wheel()
    laws = creep_laws(wheel, face_drag=0.05, floor_hysteresis=0.02)
    found = turning_state(wheel, PHASE, (4.0, 8.0), laws)
    assert found.steps > 0
    model = SurfaceModel(wheel, slow_phase(wheel, np.array(PHASE)))
    q = np.concatenate([np.column_stack([found.u, found.v]).ravel(), found.closure, [found.height]]) * 1e3
    normal = model.normal_forces(q)
    contacts = RunningContacts(wheel, model, 1, CREEP)
    contacts.set_normal_forces(normal, wheel.friction(1) * normal)
    forces = contacts.forces(found.roller_speed, 0.0, np.array([found.common - 1.0, found.common + 1.0]))
    along_axle = [
        f * placed.contact.a[1] + g * placed.contact.across[1] for placed, f, g in zip(model.contacts, *forces, strict=True)
    ]
    thrust = np.bincount(contacts.roller, along_axle, minlength=wheel.N)
    assert np.max(np.abs(thrust)) > 0.5
    assert found.thrust == pytest.approx(thrust, abs=1e-5)
    expected = laws.bore_drag * found.reaction + 0.05 * np.abs(thrust) + 0.02 * found.floor_load
    assert found.drag == pytest.approx(expected, abs=1e-6)
    assert found.rim == pytest.approx(expected + found.side_force, abs=1e-6)


@pytest.mark.parametrize("name", ["typical", "N = M, tight, stiff preload", "60/35 degrees, hard rollers", "barrels"])
def test_newton_squares_its_error_with_every_drag_at_work(name: str) -> None:
    """What is left out of the matrix shows as a residual that falls by a factor instead: five steps and more."""
    wheel = typical_wheel(**WHEELS[name])
    laws = creep_laws(wheel, face_drag=0.1, floor_hysteresis=0.02, hysteresis=7e-3)
    taken = [turning_state(wheel, tuple(share), (2.0, 6.0), laws).steps for share in phase_lattice(8)]
    assert min(taken) > 0
    assert np.median(taken) <= 4


# rollers that stand still, and cases without a state


def test_a_roller_whose_drag_its_contacts_cannot_turn_stands_still() -> None:
    wheel = typical_wheel(friction_bore=2.2)
    expected = exact_running_state(wheel, slow_phase(wheel, np.array(PHASE)), (0.0, 1.0), 0.0, SPEED, CREEP)
    found = turning_state(wheel, PHASE, (0.0, 0.0), creep_laws(wheel))
    assert expected.status == ""
    assert found.steps > 0
    still = found.roller_speed == 0
    assert 1 <= np.count_nonzero(still) < wheel.N
    assert np.array_equal(still, expected.roller_speed == 0)
    assert np.all((found.rim - found.drag)[still] < 0)
    assert found.torque == pytest.approx(expected.hub_torque, abs=1e-4)


def test_a_standing_roller_that_cannot_turn_leaves_no_state() -> None:
    wheel = typical_wheel(friction_bore=6.0)
    (found,) = run_cases([wheel], [creep_laws(wheel)], np.array(ONE_STANDS), [(0.0, 5.0)])[0]
    assert found[MISSED] == 1


def own_limit_laws(wheel: SlowWheel) -> Any:
    """Friction along the axis as the limit states have it: what drag across the axis leaves."""
    laws = creep_laws(wheel)
    along, _ = axis_friction(wheel.friction(1), laws.drag_of_load, laws.drag_of_force)
    return creep_laws(wheel, friction=along, creep_saturation=laws.creep_saturation * along / laws.friction)


def sideways_limit(wheel: SlowWheel, shares: np.ndarray) -> np.ndarray:
    """Drive limit of every phase [N]."""
    _, limits = solve_states(kernel_row(wheel), np.array([math.pi / 2]), np.atleast_2d(shares))
    return limits.force[0, 0]


@pytest.mark.parametrize("name", ["typical", "play 0.5 mm, soft preload", "60/35 degrees, hard rollers", "barrels"])
def test_more_than_the_drive_limit_is_missed(name: str) -> None:
    """Limit states take the drag of washers at full friction everywhere, so hub rollers without washers are compared."""
    wheel = with_constant_drag(typical_wheel(**WHEELS[name]))
    for share in phase_lattice(8):
        (limit,) = sideways_limit(wheel, share)
        cases = [(0.0, 1.005 * limit), (0.0, 1.5 * limit), (0.0, 5 * limit)]
        assert run_cases([wheel], [own_limit_laws(wheel)], share, cases)[0, :, MISSED].tolist() == [1, 1, 1], share


@pytest.mark.parametrize("name", WHEELS)
def test_up_to_the_drive_limit_a_state_is_found(name: str) -> None:
    """Whether one roller stands on the floor or two share the force. In the last half per cent contacts slide: left out."""
    wheel = with_constant_drag(typical_wheel(**WHEELS[name]))
    for share in phase_lattice(8):
        (limit,) = sideways_limit(wheel, share)
        found = run_cases([wheel], [own_limit_laws(wheel)], share, [(0.0, x * limit) for x in (0.5, 0.8, 0.9, 0.98)])[0]
        assert found[:, MISSED].tolist() == [0] * 4, share
        assert np.all(found[:, RESIDUAL] < 1e-5)
        assert np.all(np.diff(found[:, RIGHT_TORQUE]) > 0)


@pytest.mark.parametrize(("name", "force"), [("typical", 28.0), ("N = M, tight, stiff preload", 16.4)])
def test_a_roller_that_is_used_up_passes_the_rest_on_to_the_other(name: str, force: float) -> None:
    """At its limit a roller's own speed has no meaning; forces and torques do. The kernel stops at 99.5 % of the friction."""
    wheel = with_constant_drag(typical_wheel(**WHEELS[name]))
    expected = exact_running_state(
        wheel, slow_phase(wheel, np.array(PHASE)), (0.0, 1.0), force, SPEED, CREEP, combined_cap=True
    )
    found = turning_state(wheel, PHASE, (0.0, force), own_limit_laws(wheel))
    by_load = force * found.floor_load / wheel.wheel_load
    assert expected.status == ""
    assert found.steps > 0
    assert np.max(by_load - found.side_force) > 0.5
    assert np.sum(found.side_force) == pytest.approx(force, rel=1e-9)
    assert found.side_force == pytest.approx(expected.side_force, abs=0.005 * force)
    assert found.torque == pytest.approx(expected.hub_torque, rel=1e-3)
    # the speed delivered is the one whose power is that of both rollers
    (case,) = run_cases([wheel], [own_limit_laws(wheel)], np.array(PHASE), [(0.0, force)])[0]
    assert case[DELIVERED] * force == pytest.approx(found.side_force @ found.roller_speed, rel=1e-5)


def test_more_than_the_floor_grips_is_missed() -> None:
    wheel = typical_wheel(friction_floor=0.1)  # under 100 N
    inside, beyond = run_cases([wheel], [creep_laws(wheel)], np.array(PHASE), [(0.0, 9.0), (0.0, 15.0)])[0]
    assert inside[MISSED] == 0
    assert beyond[MISSED] == 1


def test_a_side_that_touches_nothing_is_missed() -> None:
    bare = typical_wheel(hub_roller_length=1e-6)
    found = run_cases([typical_wheel(), bare], [creep_laws(bare)] * 2, np.array(PHASE), [(0.0, 0.0), (3.0, 5.0), (0.0, -5.0)])
    assert found[:, :, MISSED].tolist() == [[0, 0, 0], [1, 1, 1]]
