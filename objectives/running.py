"""The wheel running under its load cases: hub torques and speeds, delivered sideways speed, every loss by name.

Cases with a sideways part are solved phase by phase (objectives.turning). Straight ahead nothing turns against the carrier:
hubs, carrier and output rollers go round as one; the tyres roll on the floor along the rim, and the roller contacts lose
what they are squeezed once a roller's pass.
"""

from __future__ import annotations

import math
from collections.abc import Mapping

import numpy as np

from objectives.assessment import LoadCases, NormalStates, RunningStates
from objectives.compiled import kernel, outer_kernel
from objectives.contact_pass import PassGeometry
from objectives.contacts import Contacts
from objectives.creeping import THRUST, TORQUE, CreepLaws
from objectives.engagement import Laws
from objectives.phases import GEOMETRY_INPUTS, LAW_INPUTS, WHEEL_LOAD, begin_phase, geometry_of, laws_of
from objectives.roller_speeds import REACTION, SIDE
from objectives.states import solve_states
from objectives.turning import TOLERANCE, newton_turning
from objectives.wheel import WheelBatch
from objectives.workspace import (
    ALONG_C,
    ALONG_T,
    AXIAL,
    CONTACT,
    EMPTY,
    EQUILIBRIUM,
    FLOOR_FORCE,
    GAP,
    INWARD,
    LEVER_C,
    LEVER_T,
    ROW,
    SPEED,
    U,
    V,
    Workspace,
    copy,
    new_workspace,
)
from objectives.workspace import SIDE as SIDE_OF_CONTACTS

#: losses that this module reports, in the order of the kernel's sums
LOSSES = ("creep", "output_bore", "output_face", "hub_bore", "drilling", "roller_hysteresis", "floor_hysteresis")
CREEP, OUTPUT_BORE, OUTPUT_FACE, HUB_BORE, DRILLING, ROLLER_HYSTERESIS, FLOOR_HYSTERESIS = range(7)
#: what the kernel sums up of a case, after the losses (all at the hubs' unit counter-rotation)
LEFT_TORQUE, RIGHT_TORQUE, LEFT_SPEED, RIGHT_SPEED, DELIVERED = range(7, 12)
DELIVERED_LOW, DELIVERED_HIGH, ROLLER_PEAK, RESIDUAL, MISSED = range(12, 17)
SUMS_OF_CASE = 17
#: mean radius of an output roller's end faces over its axle's radius (washer of twice the axle's diameter)
FACE_RADIUS_SHARE = 1.5
#: friction of the end faces of a cored roller against its side washers (common practice, plastic on steel)
FACE_FRICTION = 0.25
#: share of the swing of the roller contacts' elastic energy that a pass costs, over sin(delta) (see objectives.rolling)
PASS_LOSS = math.pi
#: demands are solved over this share of the phases: they size the motors and need no fine mean
DEMAND_PHASES = 0.25

#: share of the wheel's load that a wheel held off the floor is given, so that some roller stands for its speed
IDLE_LOAD = 1e-3

CREEP_INPUTS = 10
#: shares of its force at which a case is solved one after the other where the whole of it at once makes Newton cycle
STEPWISE = (0.3, 0.6, 0.8, 0.9, 1.0)


def creep_inputs(wheel: WheelBatch, contacts: Contacts | Mapping[str, np.ndarray]) -> np.ndarray:
    """One row of CreepLaws a candidate, shape (n, CREEP_INPUTS)."""
    face_friction = np.where(wheel.bore == 0, wheel.friction_bore, FACE_FRICTION * wheel.friction_bore_factor)
    face = face_friction * FACE_RADIUS_SHARE * wheel.axle_diameter / 2 / wheel.output_roller_radius
    columns = [
        contacts["friction_turning"],
        contacts["hub_drag_of_load"],
        contacts["hub_drag_of_force"],
        contacts["creep_saturation"],
        contacts["hysteresis"],
        contacts["spin_linear"],
        contacts["spin_full"],
        contacts["bore_drag"],
        face,
        contacts["floor_hysteresis"],
    ]
    return np.ascontiguousarray(np.column_stack(columns))


@kernel
def _creep_laws(row: np.ndarray) -> CreepLaws:
    return CreepLaws(row[0], row[1], row[2], row[3], row[4], row[5], row[6], row[7], row[8], row[9])


@outer_kernel
def _sum_up(
    g: PassGeometry,
    laws: Laws,
    creep: CreepLaws,
    standing: int,
    work: Workspace,
    border: np.ndarray,
    common: float,
    losses: np.ndarray,
    result: np.ndarray,
) -> None:
    """Take a running state into the sums of its case. ``losses`` (7,) is worked in; powers are per unit of counter-rotation."""
    unknowns, step = work.unknowns, work.step
    for k in range(7):
        losses[k] = 0.0
    heat = work.share
    for i in range(ROW):
        heat[i] = 0.0
    torque_left = torque_right = 0.0
    for i in range(laws.output_count):
        torque_left += work.left[TORQUE + i]
        torque_right += work.right[TORQUE + i]
    for side in range(2):
        sign = 1.0 - 2.0 * side
        sigma = -sign
        omega = common + sigma
        for slot in range(work.slots[side]):
            at = side * SIDE_OF_CONTACTS + slot * CONTACT
            for i in range(laws.output_count):
                if work.contacts[at + GAP + i] >= EMPTY:
                    continue
                axial = work.contacts[at + AXIAL + i]
                shift = border[side] + sign * unknowns[V + i]
                overlap = work.contacts[at + INWARD + i] * unknowns[U + i] + axial * shift - work.contacts[at + GAP + i]
                if overlap <= 0.0:
                    continue
                a_c = work.contacts[at + ALONG_C + i]
                a_t = work.contacts[at + ALONG_T + i]
                lever_t = work.contacts[at + LEVER_T + i]
                lever_c = work.contacts[at + LEVER_C + i]
                force = laws.contact_stiffness * overlap * math.sqrt(overlap)
                cube = force ** (1.0 / 3.0)
                slip = sigma * omega * (a_t * lever_t + a_c * lever_c) - unknowns[SPEED + i] * a_c
                roll = abs(unknowns[SPEED + i] * a_t - sigma * omega * (a_t * lever_c - a_c * lever_t))
                ratio = abs(slip) / ((roll + 1e-12) * creep.creep_saturation * cube)
                left_over = max(1.0 - ratio, 0.0)
                pull = creep.friction * force * (1.0 - left_over**3)
                creeping = pull * abs(slip)
                bore = (creep.drag_of_load * force + creep.drag_of_force * pull) * roll
                rolling = creep.hysteresis * force * cube * roll
                spin = creep.spin_linear * abs(omega) * axial / (roll + 1e-12)
                drilling = min(spin, creep.spin_full) * force * cube * axial * abs(omega)
                losses[CREEP] += creeping
                losses[HUB_BORE] += bore
                losses[ROLLER_HYSTERESIS] += rolling
                losses[DRILLING] += drilling
                heat[i] += 0.5 * (creeping + rolling + drilling)  # the other half warms the hub roller
    sideways = 0.0
    delivered = 0.0
    weight = 0.0
    for i in range(laws.output_count):
        speed = unknowns[SPEED + i]
        bore = creep.bore_drag * step[REACTION + i] * speed
        floor = creep.floor_hysteresis * work.floor[FLOOR_FORCE + i] * speed
        face = creep.face_drag * abs(work.left[THRUST + i] + work.right[THRUST + i]) * speed
        losses[OUTPUT_BORE] += bore
        losses[OUTPUT_FACE] += face
        losses[FLOOR_HYSTERESIS] += floor
        heat[i] += bore + face + floor
        sideways += step[SIDE + i] * speed
    for k in range(standing):
        i = work.floor_roller[k]
        share = step[SIDE + i] if sideways > 0.0 else work.floor[FLOOR_FORCE + i]
        delivered += share * unknowns[SPEED + i]
        weight += share
    delivered = delivered / weight if weight > 0.0 else 0.0
    if not delivered > 0.0:
        result[MISSED] += 1.0
        return
    per_speed = 1.0 / delivered  # to unit sideways speed
    used = sideways
    hottest = 0.0
    for k in range(7):
        result[k] += losses[k] * per_speed
        used += losses[k]
    for i in range(laws.output_count):
        hottest = max(hottest, heat[i])
    power = torque_left * (common - 1.0) + torque_right * (common + 1.0)
    result[LEFT_TORQUE] += torque_left
    result[RIGHT_TORQUE] += torque_right
    result[LEFT_SPEED] += (common - 1.0) * per_speed
    result[RIGHT_SPEED] += (common + 1.0) * per_speed
    result[DELIVERED] += delivered
    result[DELIVERED_LOW] = min(result[DELIVERED_LOW], delivered)
    result[DELIVERED_HIGH] = max(result[DELIVERED_HIGH], delivered)
    result[ROLLER_PEAK] += hottest * per_speed
    result[RESIDUAL] = max(result[RESIDUAL], abs(power - used) / abs(power))


@outer_kernel
def _run_candidate(
    row: np.ndarray,
    creep_row: np.ndarray,
    phases: np.ndarray,
    phase_counts: np.ndarray,
    forces: np.ndarray,
    equilibria: np.ndarray,
    work: Workspace,
    scratch: np.ndarray,
    matrix: np.ndarray,
    results: np.ndarray,
) -> None:
    """Every sideways case of one candidate: ``forces`` (k, 2) forwards and sideways [N], ``phase_counts`` (k,) phases each.

    Newton starts from the ``equilibria`` (P, EQUILIBRIUM) [m] of objectives.states.
    """
    g = geometry_of(row)
    laws = laws_of(row)
    creep = _creep_laws(creep_row)
    size = 3 * ROW
    still = scratch[:size]
    still_border = scratch[size : size + 3]
    border = scratch[size + 3 : size + 6]
    losses = scratch[size + 6 : size + 13]
    circle = g.pitch_radius - g.output_radius * g.sin_contact
    ideal = circle * g.cos_skew / g.sin_skew
    for k in range(len(forces)):
        for j in range(SUMS_OF_CASE):
            results[k, j] = 0.0
        results[k, DELIVERED_LOW] = np.inf
    for p in range(len(phases)):
        for turn in range(2):
            mirrored = turn == 1
            needed = False
            for k in range(len(forces)):
                needed = needed or (p < phase_counts[k] and (forces[k, 1] < 0.0) == mirrored)
            if not needed:
                continue
            standing = begin_phase(g, laws, phases[p], mirrored, work)
            found = standing >= 0 and not math.isnan(equilibria[p, 2 * ROW])
            for i in range(ROW):
                still[U + i] = equilibria[p, i]
                still[V + i] = -equilibria[p, ROW + i] if mirrored else equilibria[p, ROW + i]
                still[SPEED + i] = ideal
            still_border[0] = equilibria[p, 2 * ROW + (1 if mirrored else 0)]
            still_border[1] = equilibria[p, 2 * ROW + (0 if mirrored else 1)]
            still_border[2] = equilibria[p, 2 * ROW + 2]
            for k in range(len(forces)):
                if p >= phase_counts[k] or (forces[k, 1] < 0.0) != mirrored:
                    continue
                if not found:
                    results[k, MISSED] += 1.0
                    continue
                common, steps = 0.0, -1
                for attempt in range(1 + len(STEPWISE)):
                    share = 1.0 if attempt == 0 else STEPWISE[attempt - 1]
                    if attempt < 2:
                        copy(still, work.unknowns)
                        copy(still_border, border)
                    ahead, across = share * forces[k, 0], share * abs(forces[k, 1])
                    common, steps, residual = newton_turning(
                        g, laws, creep, ahead, across, standing, work, border, still_border[:2], matrix
                    )
                    # what settles and cannot be carried, or fails at a share, is not found at more
                    if (steps >= 0 and attempt == 0) or (steps < 0 and (attempt > 0 or residual < TOLERANCE)):
                        break
                if steps < 0:
                    results[k, MISSED] += 1.0
                    continue
                _sum_up(g, laws, creep, standing, work, border, common, losses, results[k])


@kernel
def _run_batch(
    inputs: np.ndarray,
    creep_rows: np.ndarray,
    phases: np.ndarray,
    phase_counts: np.ndarray,
    forces: np.ndarray,
    equilibria: np.ndarray,
    work: Workspace,
    scratch: np.ndarray,
    matrix: np.ndarray,
    results: np.ndarray,
) -> None:
    for n in range(len(inputs)):
        _run_candidate(
            inputs[n], creep_rows[n], phases, phase_counts, forces[n], equilibria[n], work, scratch, matrix, results[n]
        )


def compile_running() -> None:
    """Compile the kernel, by giving it no candidate."""
    work, counts, phases = new_workspace(), np.zeros(1, dtype=np.int64), np.zeros((1, 3))
    inputs, creep = np.zeros((0, GEOMETRY_INPUTS + LAW_INPUTS)), np.zeros((0, CREEP_INPUTS))
    forces, equilibria, results = np.zeros((0, 1, 2)), np.zeros((0, 1, EQUILIBRIUM)), np.zeros((0, 1, SUMS_OF_CASE))
    _run_batch(inputs, creep, phases, counts, forces, equilibria, work, work.scratch, work.matrix, results)


def solve_running(
    wheel: WheelBatch,
    contacts: Contacts,
    inputs: np.ndarray,
    cases: LoadCases,
    normal: NormalStates,
    phases: np.ndarray,
) -> RunningStates:
    """The batch running under every load case.

    ``inputs`` of phases.kernel_inputs, ``phases`` (P, 3) those that ``normal`` was found at. Duty cases are averaged over all
    of them, demands (share 0) over the first quarter. A case is nan where it has no state in some phase: a side touches
    nothing, or the force asked is more than the contacts carry. Powers are in W at the case's own speed, torques in N m at
    the hubs.
    """
    count, case_count = len(wheel), len(cases.direction)
    cosine, sine = np.cos(cases.direction), np.sin(cases.direction)
    cosine[np.abs(cosine) < 1e-9] = 0.0
    sine[np.abs(sine) < 1e-9] = 0.0
    forward_speed = cases.speed * cosine / wheel.wheel_radius[:, None]
    # forwards the tyres roll on the floor along the rim, and the roller contacts are squeezed N times a turn: a force at the
    # floor that the hubs give besides
    passes = wheel.output_roller_count / (2 * math.pi)
    floor_loss = contacts["forward_rolling"] * cases.wheel_load * wheel.wheel_radius
    share = contacts["compliance_share"]
    sine_of_pair = share * np.sin(np.arctan(wheel.output_loss_tangent))
    sine_of_pair = sine_of_pair + (1 - share) * np.sin(np.arctan(wheel.hub_loss_tangent))
    roller_loss = PASS_LOSS * passes * normal.contact_energy_swing * sine_of_pair
    drag = ((floor_loss + roller_loss) / wheel.wheel_radius)[:, None] * np.sign(forward_speed)
    forward = cases.force * cosine + drag

    sideways = np.flatnonzero(sine)
    few = max(1, math.ceil(DEMAND_PHASES * len(phases)))
    phase_counts = np.where(cases.share[sideways] > 0.0, len(phases), few).astype(np.int64)
    forces = np.ascontiguousarray(np.stack([forward, cases.force * sine], axis=2)[:, sideways])
    results = np.zeros((count, len(sideways), SUMS_OF_CASE))
    work, creep = new_workspace(), creep_inputs(wheel, contacts)
    _run_batch(inputs, creep, phases, phase_counts, forces, normal.equilibria, work, work.scratch, work.matrix, results)
    with np.errstate(all="ignore"):
        mean = results / phase_counts[None, :, None]
    missed = results[:, :, MISSED] > 0
    mean[missed] = np.nan
    mirrored = sine[sideways] < 0.0

    torque = np.repeat((forward * wheel.wheel_radius[:, None] / 2)[:, :, None], 2, axis=2)
    speed = np.repeat(forward_speed[:, :, None], 2, axis=2)
    side_speed = np.abs(cases.speed * sine)[:, sideways]
    sides = np.stack([mean[:, :, LEFT_TORQUE], mean[:, :, RIGHT_TORQUE]], axis=2)
    turns = np.stack([mean[:, :, LEFT_SPEED], mean[:, :, RIGHT_SPEED]], axis=2) * side_speed[:, :, None]
    sides[:, mirrored], turns[:, mirrored] = sides[:, mirrored, ::-1], turns[:, mirrored, ::-1]
    torque[:, sideways] = sides
    speed[:, sideways] += turns

    losses = {name: np.zeros((count, case_count)) for name in LOSSES}
    for k, name in enumerate(LOSSES):
        losses[name][:, sideways] = mean[:, :, k] * side_speed
    turning = np.abs(forward_speed)
    losses["floor_hysteresis"] += floor_loss[:, None] * turning
    losses["roller_hysteresis"] += roller_loss[:, None] * turning

    ideal = (wheel.contact_circle_radius / np.tan(wheel.skew_angle))[:, None]
    ratio = np.full((count, case_count), np.nan)
    ripple = np.full((count, case_count), np.nan)
    peak = np.zeros((count, case_count))
    ratio[:, sideways] = mean[:, :, DELIVERED] / ideal
    with np.errstate(all="ignore"):
        ripple[:, sideways] = (results[:, :, DELIVERED_HIGH] - results[:, :, DELIVERED_LOW]) / 2 / mean[:, :, DELIVERED]
    peak[:, sideways] = mean[:, :, ROLLER_PEAK] * side_speed
    peak += ((floor_loss + roller_loss / 2) / wheel.output_roller_count)[:, None] * turning
    residual = np.zeros((count, case_count))
    residual[:, sideways] = np.where(missed, np.nan, results[:, :, RESIDUAL])
    return RunningStates(
        hub_torque=torque,
        hub_speed=speed,
        speed_ratio=ratio,
        speed_ripple=ripple,
        losses=losses,
        roller_loss_peak=peak,
        residual=residual,
        unresolved=results[:, :, MISSED].sum(axis=1).astype(np.int64),
    )


def idle_torque(
    wheel: WheelBatch, contacts: Contacts | Mapping[str, np.ndarray], inputs: np.ndarray, phases: np.ndarray
) -> np.ndarray:
    """Torque of a hub that turns against the other with nothing to drive [N m], shape (n,): mean of both over the phases.

    The running states without force, the wheel so light on the floor (IDLE_LOAD) that more or less of it makes no difference.
    Bearings are not counted. nan where a state is missing. ``inputs`` and ``phases`` as in ``solve_running``.
    """
    light = inputs.copy()
    light[:, GEOMETRY_INPUTS + WHEEL_LOAD] *= IDLE_LOAD
    results, work = np.zeros((len(wheel), 1, SUMS_OF_CASE)), new_workspace()
    counts, nothing = np.array([len(phases)], dtype=np.int64), np.zeros((len(wheel), 1, 2))
    creep, phases = creep_inputs(wheel, contacts), np.ascontiguousarray(phases)
    equilibria = solve_states(light, np.zeros(0), phases)[0].equilibria
    _run_batch(light, creep, phases, counts, nothing, equilibria, work, work.scratch, work.matrix, results)
    torque = np.abs(results[:, 0, [LEFT_TORQUE, RIGHT_TORQUE]]).mean(axis=1) / len(phases)
    return np.where(results[:, 0, MISSED] > 0, np.nan, torque)
