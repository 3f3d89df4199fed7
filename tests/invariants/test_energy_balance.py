"""Where the hubs' power goes: floor and losses by name, each recomputed on its own; and which way losses and speeds move."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from objectives.creeping import CreepLaws
from objectives.phases import phase_lattice
from objectives.running import CREEP as CREEP_LOSS
from objectives.running import (
    DELIVERED,
    DRILLING,
    FLOOR_HYSTERESIS,
    HUB_BORE,
    LEFT_SPEED,
    LEFT_TORQUE,
    MISSED,
    OUTPUT_BORE,
    OUTPUT_FACE,
    RESIDUAL,
    RIGHT_SPEED,
    RIGHT_TORQUE,
    ROLLER_HYSTERESIS,
    ROLLER_PEAK,
)
from tests.exact_reference import SurfaceModel
from tests.kernel_inputs import slow_phase
from tests.reference.slow_contact import crossed_contact_stiffness, floor_line_stiffness, hertz_ellipse
from tests.reference.slow_running import CreepConstants, RunningContacts
from tests.reference.slow_wheel import SlowWheel, typical_wheel
from tests.running_inputs import CREEP, creep_laws, run_cases, turning_state
from tests.test_running import ANGLES, LATTICE, baseline, both_studies, cases

PHASE = (0.3, 0.2, 0.7)
NO_DRAG = {"hub_bore_friction": 0.0, "washer_friction": 0.0, "friction_bore": 0.0}
MATCHED = NO_DRAG | {"M": 15, "play": 0.0, "axle_stop_stiffness": 1e9, "preload_stiffness": 0.0}
#: W, of the 1e-3 N that the solver may leave forwards at up to 0.3 m/s
FORWARD_TOLERANCE = 3e-4
FORCES = [(0.0, 0.0), (0.0, 10.0), (6.0, 6.0), (-8.0, 3.0)]


def all_losses(wheel: SlowWheel, **changes: float) -> CreepLaws:
    """Every loss at work, of the size that real wheels have."""
    usual = {"hysteresis": 7e-3, "spin_linear": 1.4e-5, "spin_full": 3e-4, "face_drag": 0.05, "floor_hysteresis": 0.012}
    return creep_laws(wheel, **(usual | changes))


# the balance


@pytest.mark.parametrize("crown", [0.0, 0.6])
def test_hub_power_is_floor_power_and_losses(crown: float) -> None:
    """From the kernel's torques and speeds against the carrier, one phase at a time, per unit of sideways speed."""
    wheel = typical_wheel(crown=crown)
    for share in phase_lattice(8):
        found = run_cases([wheel], [all_losses(wheel)], share, FORCES)[0]
        assert np.all(found[:, MISSED] == 0)
        power = found[:, LEFT_TORQUE] * found[:, LEFT_SPEED] + found[:, RIGHT_TORQUE] * found[:, RIGHT_SPEED]
        sideways = np.array([force[1] for force in FORCES])
        # what the solver may leave: 1e-5 N at the rim of each of 15 rollers, over at least 30 N
        assert power == pytest.approx(sideways + found[:, :7].sum(axis=1), rel=5e-6)
        assert np.all(found[:, RESIDUAL] < 5e-6)
        assert np.all(found[:, :7] > 0)


@both_studies
def test_reported_powers_of_sideways_cases_balance(study_name: str) -> None:
    """hub_torque . hub_speed = force . speed + the sum of the losses, of what is reported for one phase."""
    for k in range(len(LATTICE)):
        asked = cases(angles=np.radians([90.0, -90.0, 90.0, -90.0, 90.0, 90.0, -90.0]))
        found = baseline(study_name).run(asked, LATTICE[k : k + 1])
        power = np.sum(found.hub_torque * found.hub_speed, axis=2)
        assert power == pytest.approx(asked.force * asked.speed + sum(found.losses.values()), rel=1.5e-6)
        assert np.all(found.residual < 1.5e-6)


@both_studies
def test_reported_powers_straight_ahead_balance(study_name: str) -> None:
    found, asked = baseline(study_name).run(cases()), cases()
    power = np.sum(found.hub_torque * found.hub_speed, axis=2)
    straight = [0, 1]
    total = asked.force * asked.speed + sum(found.losses.values())
    assert power[0, straight] == pytest.approx(total[0, straight], rel=1e-12)


@both_studies
def test_reported_powers_of_diagonals_balance(study_name: str) -> None:
    known, asked = baseline(study_name), cases()
    diagonals = np.flatnonzero((np.abs(np.cos(ANGLES)) > 0.1) & (np.abs(np.sin(ANGLES)) > 0.1))
    for k in range(len(LATTICE)):
        found = known.run(asked, LATTICE[k : k + 1])
        power = np.sum(found.hub_torque * found.hub_speed, axis=2)
        left_over = power - asked.force * asked.speed - sum(found.losses.values())
        assert np.all(np.abs(left_over[0, diagonals]) < FORWARD_TOLERANCE)


@pytest.mark.parametrize("force", [(0.0, 0.0), (0.0, 10.0), (6.0, 6.0)])
def test_every_loss_is_that_of_its_contacts(force: tuple[float, float]) -> None:
    """Slips, rolling speeds and normal forces in the reference's vectors, and each loss from them by hand."""
    wheel = typical_wheel()
    laws = all_losses(wheel)
    state = turning_state(wheel, PHASE, force, laws)
    (found,) = run_cases([wheel], [laws], np.array(PHASE), [force])[0]
    assert state.steps > 0
    model = SurfaceModel(wheel, slow_phase(wheel, np.array(PHASE)))
    q = np.concatenate([np.column_stack([state.u, state.v]).ravel(), state.closure, [state.height]]) * 1e3
    normal = model.normal_forces(q)
    contacts = RunningContacts(wheel, model, 1, CREEP)
    contacts.set_normal_forces(normal, wheel.friction(1) * normal)
    hubs = np.array([state.common - 1.0, state.common + 1.0])
    slip, rolling = contacts.slips(state.roller_speed, 0.0, hubs)
    along, across = contacts.forces(state.roller_speed, 0.0, hubs)
    turning = np.abs(hubs[contacts.hub])
    about_normal = np.array([abs(placed.contact.normal[2]) for placed in model.contacts]) * turning
    moment = np.minimum(laws.spin_linear * about_normal / np.abs(rolling), laws.spin_full) * normal ** (4 / 3)
    expected = {
        CREEP_LOSS: np.sum(-along * slip),
        HUB_BORE: np.sum(-across * rolling),
        ROLLER_HYSTERESIS: laws.hysteresis * np.sum(normal ** (4 / 3) * np.abs(rolling)),
        DRILLING: np.sum(moment * about_normal),
        OUTPUT_BORE: laws.bore_drag * np.sum(state.reaction * state.roller_speed),
        OUTPUT_FACE: laws.face_drag * np.sum(np.abs(state.thrust) * state.roller_speed),
        FLOOR_HYSTERESIS: laws.floor_hysteresis * np.sum(state.floor_load * state.roller_speed),
    }
    for loss, value in expected.items():
        assert found[loss] * found[DELIVERED] == pytest.approx(value, rel=2e-3 if loss == OUTPUT_FACE else 1e-4), loss
    # the hardest-working roller has at least its share and at most all of what warms output rollers
    warming = sum(expected[k] for k in (CREEP_LOSS, ROLLER_HYSTERESIS, DRILLING)) / 2
    warming += sum(expected[k] for k in (OUTPUT_BORE, OUTPUT_FACE, FLOOR_HYSTERESIS))
    assert warming / wheel.N < found[ROLLER_PEAK] * found[DELIVERED] < warming


SWITCHES: dict[str, tuple[int, dict[str, float], dict[str, float]]] = {
    "output bore": (OUTPUT_BORE, {"friction_bore": 0.0}, {}),
    "output faces": (OUTPUT_FACE, {}, {"face_drag": 0.0}),
    "hub rollers' bores": (HUB_BORE, {"hub_bore_friction": 0.0, "washer_friction": 0.0}, {}),
    "drilling": (DRILLING, {}, {"spin_full": 0.0}),
    "roller hysteresis": (ROLLER_HYSTERESIS, {}, {"hysteresis": 0.0}),
    "floor hysteresis": (FLOOR_HYSTERESIS, {}, {"floor_hysteresis": 0.0}),
}


@pytest.mark.parametrize("name", SWITCHES)
def test_a_loss_vanishes_with_its_coefficient_and_the_others_stay(name: str) -> None:
    loss, changed_wheel, changed_laws = SWITCHES[name]
    wheel = typical_wheel(**changed_wheel)
    with_all = run_cases([typical_wheel()], [all_losses(typical_wheel())], LATTICE, FORCES)[0]
    without = run_cases([wheel], [all_losses(wheel, **changed_laws)], LATTICE, FORCES)[0]
    assert np.all(without[:, MISSED] == 0)
    assert without[:, loss] == pytest.approx(np.zeros(4), abs=1e-12 * len(LATTICE))
    others = [k for k in range(7) if k != loss]
    assert np.all(without[:, others] > 0)
    assert np.all(without[:, RESIDUAL] < 2e-5)
    # what is not dragged needs less power
    assert np.all(without[:, :7].sum(axis=1) < with_all[:, :7].sum(axis=1))


# closed forms


@pytest.mark.parametrize("shares", [(0.0, 0.0, 0.0), (0.0, 0.7, 0.7), (0.3, 0.25, 0.25), (0.0, 0.3, 0.7), (0.4, 0.1, 0.6)])
def test_matched_wheel_without_drag_turns_by_itself(shares: tuple[float, float, float]) -> None:
    """N = M: all rollers meet alike, and where the sides' ratios differ a free carrier makes up for it. No slip, no torque."""
    wheel = typical_wheel(**MATCHED)
    (found,) = run_cases([wheel], [creep_laws(wheel)], np.array(shares), [(0.0, 0.0)])[0]
    assert found[MISSED] == 0
    assert found[[LEFT_TORQUE, RIGHT_TORQUE]] == pytest.approx([0.0, 0.0], abs=1e-4)  # 1e-3 N at the rim
    assert found[:7] == pytest.approx(np.zeros(7), abs=1e-4)
    common = (found[LEFT_SPEED] + found[RIGHT_SPEED]) / (found[RIGHT_SPEED] - found[LEFT_SPEED])
    assert common == pytest.approx(0.0, abs=1e-4) if shares[1] == shares[2] else abs(common) > 0.02


def test_a_wheel_of_unlike_counts_creeps_without_load() -> None:
    """Its rollers meet at different places of a pass: they cannot all keep up with both hubs."""
    wheel = typical_wheel(**NO_DRAG)
    for share in LATTICE:
        (found,) = run_cases([wheel], [creep_laws(wheel)], share, [(0.0, 0.0)])[0]
        assert found[CREEP_LOSS] > 0.1
        assert found[RIGHT_TORQUE] > 1e-3


@pytest.mark.parametrize(("gamma", "c22"), [(45.0, 3.98), (35.0, 3.67), (60.0, 3.14)])
def test_small_side_forces_creep_by_kalkers_law(gamma: float, c22: float) -> None:
    """Two contacts carry F/2 along c, f = C22 G a b xi, xi = (1 - V/V_ideal) sin(gamma) cos(gamma) at first order.

    So 1 - V/V_ideal = F/(2 sin^2(gamma) cos(gamma) C22 G a b). Kalker's C22: 3.98 and 3.67 of a circle at nu = 0.5 and 0.25,
    3.14 at a/b = 0.5.
    """
    wheel = typical_wheel(**MATCHED, skew_angle=math.radians(gamma), wheel_load=1.0)
    creep = CreepConstants(c22, CREEP.shear_modulus, CREEP.plane_modulus)
    force = 0.02
    (found,) = run_cases([wheel], [creep_laws(wheel, creep)], np.zeros(3), [(0.0, force)])[0]
    state = turning_state(wheel, (0.0, 0.0, 0.0), (0.0, force), creep_laws(wheel, creep))
    (standing,) = np.flatnonzero(state.floor_load > 0)
    normal = wheel.preload / (wheel.N * math.cos(wheel.contact_angle))  # held tight: no wheel load
    ellipse = hertz_ellipse(creep.plane_modulus, wheel.output_roller_radius, wheel.hub_roller_radius, wheel.skew_angle)
    stiffness = c22 * creep.shear_modulus * ellipse.major * ellipse.minor * normal ** (2 / 3)
    sine, cosine = math.sin(wheel.skew_angle), math.cos(wheel.skew_angle)
    deficit = 1 - found[DELIVERED] / (wheel.contact_circle_radius * cosine / sine)
    assert standing == 0
    assert deficit == pytest.approx(force / (2 * sine**2 * cosine * stiffness), rel=0.03)
    # its loss is the floor's power times that deficit
    assert found[CREEP_LOSS] == pytest.approx(force * deficit / (1 - deficit), rel=0.02)


# which way it goes


def ratios(wheel: SlowWheel, forces: list[float], creep: CreepConstants = CREEP) -> np.ndarray:
    """Delivered over ideal speed, mean over phases."""
    found = run_cases([wheel], [creep_laws(wheel, creep)], LATTICE, [(0.0, force) for force in forces])[0]
    assert np.all(found[:, MISSED] == 0)
    return found[:, DELIVERED] / len(LATTICE) * math.tan(wheel.skew_angle) / wheel.contact_circle_radius


@pytest.mark.parametrize("crown", [0.0, 1.0])
def test_ratio_falls_and_loss_grows_with_side_force(crown: float) -> None:
    wheel = typical_wheel(crown=crown)
    forces = [(0.0, force) for force in (0.0, 2.0, 5.0, 8.0, 11.0, 14.0)]
    for share in LATTICE:
        found = run_cases([wheel], [all_losses(wheel)], share, forces)[0]
        assert np.all(found[:, MISSED] == 0)
        assert np.all(np.diff(found[:, DELIVERED]) < 0)
        assert np.all(np.diff(found[:, CREEP_LOSS]) > 0)
        assert np.all(np.diff(found[:, RIGHT_TORQUE]) > 0)


def test_more_and_shorter_rollers_deliver_more_speed() -> None:
    found = []
    for count, hub_count in ((12, 17), (15, 22), (18, 26), (21, 31)):
        length = 0.85 * 2 * 66e-3 * math.tan(math.pi / count)
        found.append(ratios(typical_wheel(N=count, M=hub_count, output_roller_length=length), [0.0, 5.0, 10.0]))
    assert np.all(np.diff(found, axis=0) > 0)


def test_larger_contact_angles_deliver_more_speed() -> None:
    found = [ratios(typical_wheel(contact_angle=math.radians(beta)), [0.0, 5.0, 10.0]) for beta in (30, 40, 50, 60)]
    assert np.all(np.diff(found, axis=0) > 0)


def of_modulus(youngs: float, **changes: Any) -> tuple[SlowWheel, CreepConstants]:
    """The typical wheel with both tyres of another modulus [Pa]; everything that comes from it goes along."""
    plane, wheel = youngs / (1 - 0.48**2), typical_wheel(**changes)
    stiffness = crossed_contact_stiffness(plane / 2, wheel.output_roller_radius, wheel.hub_roller_radius, wheel.skew_angle)
    stop = youngs * wheel.output_roller_length * 2 * wheel.axle_radius / (wheel.output_roller_radius - wheel.axle_radius)
    soft = replace(
        wheel, contact_stiffness=stiffness, floor_stiffness=floor_line_stiffness(plane), axle_stop_stiffness=stop
    )
    return soft, CreepConstants(CREEP.kalker_c22, youngs / (2 * 1.48), plane / 2)


@pytest.mark.parametrize("drag", [{}, NO_DRAG], ids=["with drag", "without drag"])
def test_softer_tyres_creep_more_and_deliver_less_under_load(drag: dict[str, float]) -> None:
    """G a b falls with E^(1/3): the slip that a force takes grows by 26 % where the modulus halves."""
    for force in (5.0, 12.0):
        tyres = [of_modulus(youngs, **drag) for youngs in (5e6, 10e6, 20e6, 40e6)]
        found = [ratios(wheel, [force], creep)[0] for wheel, creep in tyres]
        assert np.all(np.diff(found) > 0)


def test_softer_contacts_alone_lose_more() -> None:
    """Creep held as it is: softer contacts let hub rollers press that are further off the middle of their pass."""
    wheel = typical_wheel(**NO_DRAG)
    softer = [replace(wheel, contact_stiffness=factor * wheel.contact_stiffness) for factor in (4.0, 2.0, 1.0, 0.5, 0.25)]
    found = [run_cases([soft], [creep_laws(wheel)], LATTICE, [(0.0, 0.0)])[0, 0] for soft in softer]
    assert [one[MISSED] for one in found] == [0] * 5
    assert np.all(np.diff([one[CREEP_LOSS] for one in found]) > 0)
