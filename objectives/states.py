"""Normal and limit states of a batch over its phases: the kernels of equilibrium and limits, run and summed up."""

from __future__ import annotations

import math

import numpy as np

from objectives.assessment import LimitStates, NormalStates
from objectives.compiled import kernel, outer_kernel
from objectives.contact_pass import PassGeometry, pass_contact, touches
from objectives.contacts import Contacts
from objectives.engagement import Laws, meet, press_floor, stand
from objectives.equilibrium import FORCE_X, cold_start, press_side, solve_equilibrium
from objectives.settling import limit_state
from objectives.sharing import DRIVE_U, REACTION, SHARE_L, SHARE_R
from objectives.wheel import WheelBatch
from objectives.workspace import (
    AXIAL,
    CONTACT,
    EMPTY,
    FLOOR_FORCE,
    FLOOR_STIFFNESS,
    GAP,
    INWARD,
    LEVER_C,
    ROW,
    SIDE,
    U,
    V,
    Workspace,
    copy,
    new_workspace,
    padded,
)

#: real root of g^4 = g + 1, whose powers spread the phases evenly in three directions at once
LATTICE_ROOT = 1.2207440846057596
#: N, 2-norm of the residual at which an equilibrium counts as found
TOLERANCE = 1e-6
#: share of the largest contact force below which a contact counts as unloaded
LOADED = 1e-3

# what is summed up of a candidate's equilibria and limit states
(
    FORCE_MAX,
    FORCE_SUM,
    FORCE_COUNT,
    ENGAGED_MIN,
    GAP_MAX,
    CLOSURE_MIN,
    CLOSURE_MAX,
    HEIGHT_MIN,
    HEIGHT_MAX,
    REACTION_MAX,
    FLOOR_MAX,
    DEPTH_MAX,
    SHIFT_MAX,
    TILT_MAX,
    COGGING_LOW,
    COGGING_HIGH,
    FLOOR_ENERGY,
    CONTACT_ENERGY,
    UNSETTLED,
    DRIVE_FORCE_MAX,
    DRIVE_TILT_MAX,
    DRIVE_REACTION_MAX,
    UNRESOLVED,
    WITHOUT_CONTACT,
) = range(24)
SUMMARY = 24

GEOMETRY_INPUTS = 11
LAW_INPUTS = 14


def phase_lattice(count: int) -> np.ndarray:
    """Phases (count, 3) as shares of one pitch: phase_k(p) = frac((p + 1) alpha_k), alpha_k = g^-k, g^4 = g + 1.

    Columns: carrier against floor (of 2 pi/N), left and right hub against carrier (of 2 pi/M). A Kronecker lattice: every
    count covers the pitches evenly, and a larger one contains the smaller.
    """
    steps = np.arange(1, count + 1)[:, None]
    return (steps * LATTICE_ROOT ** -np.arange(1.0, 4.0)) % 1.0


def kernel_inputs(wheel: WheelBatch, contacts: Contacts, wheel_load: np.ndarray) -> np.ndarray:
    """One row of numbers a candidate for the kernels, shape (n, GEOMETRY_INPUTS + LAW_INPUTS): PassGeometry, then Laws."""
    columns = [
        wheel.pitch_radius,
        wheel.wheel_radius,
        wheel.output_roller_radius,
        wheel.crown,
        wheel.hub_roller_radius,
        wheel.output_roller_length / 2,
        wheel.hub_roller_length / 2,
        np.sin(wheel.contact_angle),
        np.cos(wheel.contact_angle),
        np.sin(wheel.skew_angle),
        np.cos(wheel.skew_angle),
        wheel.output_roller_count,
        wheel.hub_roller_count,
        contacts["contact_stiffness"],
        contacts["floor_stiffness"],
        wheel.axle_stop_stiffness,
        wheel.bore_play,
        wheel.preload,
        wheel.preload_stiffness,
        wheel_load,
        wheel.friction_roller,
        contacts["friction_turning"],
        contacts["drag_turning"],
        wheel.friction_floor,
        contacts["bore_drag"],
    ]
    return np.ascontiguousarray(np.column_stack(columns))


@kernel
def geometry_of(row: np.ndarray) -> PassGeometry:
    """The geometry in a row of kernel_inputs."""
    return PassGeometry(row[0], row[1], row[2], row[3], row[4], row[5], row[6], row[7], row[8], row[9], row[10])


@kernel
def laws_of(row: np.ndarray) -> Laws:
    """The laws in a row of kernel_inputs."""
    return Laws(
        int(row[11]), int(row[12]), row[13], row[14], row[15], row[16], row[17], row[18], row[19], row[20], row[21], row[22],
        row[23], row[24],
    )  # fmt: skip


@outer_kernel
def begin_phase(g: PassGeometry, laws: Laws, phase: np.ndarray, mirrored: bool, work: Workspace) -> int:
    """Contacts and floor of one phase (3 shares of a pitch); the mirrored wheel has its hubs exchanged.

    Returns how many rollers may stand on the floor; -1 where a side touches nothing.
    """
    touching = True
    for side in range(2):
        hub = 2 - side if mirrored else 1 + side
        found = meet(g, laws, side, phase[hub] * 2.0 * math.pi / laws.hub_count, work)
        touching = touching and found > 0
    standing = stand(laws, phase[0] * 2.0 * math.pi / laws.output_count, work)
    return standing if touching else -1


@kernel
def _tilt(sums: np.ndarray, share: np.ndarray, at: int, drive: bool, laws: Laws, circle: float) -> float:
    """Tilting moment of a hub [N m]: the axial forces of its contacts about the middle of its contact circle."""
    cosine = 0.0
    sine = 0.0
    for i in range(laws.output_count):
        force = sums[FORCE_X + i]
        if drive:
            force -= share[at + i] * sums[DRIVE_U + i]
        angle = 2.0 * math.pi * i / laws.output_count
        cosine += force * math.cos(angle)
        sine += force * math.sin(angle)
    return circle * math.hypot(cosine, sine)


@kernel
def _sum_up_equilibrium(
    g: PassGeometry, laws: Laws, standing: int, work: Workspace, border: np.ndarray, summary: np.ndarray
) -> None:
    """Take an equilibrium into the summary of its candidate."""
    n = padded(laws.output_count)
    press_floor(g, laws, standing, border[2], work)
    circle = g.pitch_radius - g.output_radius * g.sin_contact
    largest = 0.0
    energy = work.step
    for i in range(n):
        energy[i] = 0.0
    for side in range(2):
        sign = 1.0 - 2.0 * side
        sums = work.left if side == 0 else work.right
        press_side(work.contacts, side, work.slots[side], n, laws.contact_stiffness, border[side], work.unknowns, sums)
        summary[TILT_MAX] = max(summary[TILT_MAX], _tilt(sums, sums, 0, False, laws, circle))
        cogging = 0.0
        for pass_ in range(2):  # the loaded ones can be counted only when the largest is known
            engaged = 0
            for slot in range(work.slots[side]):
                at = side * SIDE + slot * CONTACT
                for i in range(laws.output_count):
                    if work.contacts[at + GAP + i] >= EMPTY:
                        continue
                    inward = work.contacts[at + INWARD + i]
                    axial = work.contacts[at + AXIAL + i]
                    shift = border[side] + sign * work.unknowns[V + i]
                    overlap = inward * work.unknowns[U + i] + axial * shift - work.contacts[at + GAP + i]
                    if overlap <= 0.0:
                        continue
                    force = laws.contact_stiffness * overlap * math.sqrt(overlap)
                    if pass_ == 0:
                        largest = max(largest, force)
                        cogging -= force * inward * work.contacts[at + LEVER_C + i] / axial
                        energy[i] += 0.4 * force * overlap
                        summary[FORCE_SUM] += force
                        summary[FORCE_COUNT] += 1.0
                    elif force > LOADED * largest:
                        engaged += 1
        summary[ENGAGED_MIN] = min(summary[ENGAGED_MIN], engaged)
        summary[CLOSURE_MIN] = min(summary[CLOSURE_MIN], border[side])
        summary[CLOSURE_MAX] = max(summary[CLOSURE_MAX], border[side])
        summary[COGGING_LOW] = min(summary[COGGING_LOW], cogging)
        summary[COGGING_HIGH] = max(summary[COGGING_HIGH], cogging)
    summary[FORCE_MAX] = max(summary[FORCE_MAX], largest)
    summary[HEIGHT_MIN] = min(summary[HEIGHT_MIN], border[2])
    summary[HEIGHT_MAX] = max(summary[HEIGHT_MAX], border[2])
    free_energy = 0.0
    free_rollers = 0
    for i in range(laws.output_count):
        distance = math.hypot(work.unknowns[U + i], work.unknowns[V + i])
        summary[REACTION_MAX] = max(summary[REACTION_MAX], laws.stop_stiffness * (distance - laws.play))
        summary[SHIFT_MAX] = max(summary[SHIFT_MAX], abs(work.unknowns[U + i]))
        if work.floor[FLOOR_FORCE + i] == 0.0:
            free_energy += energy[i]
            free_rollers += 1
    for k in range(standing):
        i = work.floor_roller[k]
        force = work.floor[FLOOR_FORCE + i]
        if force > 0.0:
            summary[FLOOR_MAX] = max(summary[FLOOR_MAX], force)
            summary[FLOOR_ENERGY] = max(summary[FLOOR_ENERGY], 0.5 * force * force / work.floor[FLOOR_STIFFNESS + i])
            depth = g.wheel_radius * work.floor_angle[k, 1] - work.unknowns[U + i] - border[2]
            summary[DEPTH_MAX] = max(summary[DEPTH_MAX], depth)
            if free_rollers > 0:
                swing = abs(energy[i] - free_energy / free_rollers)
                summary[CONTACT_ENERGY] = max(summary[CONTACT_ENERGY], swing)


@kernel
def _sum_up_limit(g: PassGeometry, laws: Laws, work: Workspace, border: np.ndarray, summary: np.ndarray) -> None:
    """Take a limit state into the summary of its candidate."""
    circle = g.pitch_radius - g.output_radius * g.sin_contact
    largest = 0.0
    for side in range(2):
        sign = 1.0 - 2.0 * side
        for slot in range(work.slots[side]):
            at = side * SIDE + slot * CONTACT
            for i in range(laws.output_count):
                shift = border[side] + sign * work.unknowns[V + i]
                overlap = work.contacts[at + INWARD + i] * work.unknowns[U + i] + work.contacts[at + AXIAL + i] * shift
                largest = max(largest, overlap - work.contacts[at + GAP + i])
    force = laws.contact_stiffness * largest * math.sqrt(largest)
    summary[DRIVE_FORCE_MAX] = max(summary[DRIVE_FORCE_MAX], force)
    tilt = max(_tilt(work.left, work.share, SHARE_L, True, laws, circle), _tilt(work.right, work.share, SHARE_R, True, laws, circle))
    summary[DRIVE_TILT_MAX] = max(summary[DRIVE_TILT_MAX], tilt)
    for i in range(laws.output_count):
        summary[DRIVE_REACTION_MAX] = max(summary[DRIVE_REACTION_MAX], work.step[REACTION + i])


@kernel
def _gap_max(g: PassGeometry, laws: Laws) -> float:
    """Largest opening [m] of a pass against its middle, over the places where both rollers reach."""
    middle = pass_contact(g, 0.0).gap
    largest = 0.0
    for k in range(9):
        contact = pass_contact(g, (k - 4) / 4.0 * math.pi / laws.output_count)
        if touches(g, contact):
            largest = max(largest, contact.gap - middle)
    return largest


@outer_kernel
def _solve_directions(
    g: PassGeometry,
    laws: Laws,
    directions: np.ndarray,
    mirrored: bool,
    standing: int,
    work: Workspace,
    still: np.ndarray,
    still_border: np.ndarray,
    scratch: np.ndarray,
    matrix: np.ndarray,
    phase: int,
    forces: np.ndarray,
    summary: np.ndarray,
) -> None:
    """Limit states of one phase in every direction that is sideways the same way; diagonals start from the sideways state."""
    size = len(still)
    border = scratch[:3]
    sideways = scratch[3 : 3 + size]
    sideways_border = scratch[3 + size : 6 + size]
    rest = scratch[6 + size :]
    warm = False
    for d in range(len(directions)):
        d_x = directions[d, 0]
        d_y = directions[d, 1]
        if (d_y < 0.0) != mirrored:
            continue
        if warm and d_x != 0.0 and d_y != 0.0:
            copy(sideways, work.unknowns)
            copy(sideways_border, border)
        else:
            copy(still, work.unknowns)
            copy(still_border, border)
        force, rounds, _ = limit_state(g, laws, d_x, abs(d_y), standing, work, border, still, still_border, rest, matrix)
        if rounds < 0 or not abs(force) < 1e100:
            summary[UNRESOLVED] += 1.0
            forces[d, phase] = np.nan
            continue
        forces[d, phase] = force
        _sum_up_limit(g, laws, work, border, summary)
        if d_x == 0.0:
            warm = True
            copy(work.unknowns, sideways)
            copy(border, sideways_border)


@outer_kernel
def solve_candidate(
    row: np.ndarray,
    phases: np.ndarray,
    directions: np.ndarray,
    work: Workspace,
    scratch: np.ndarray,
    matrix: np.ndarray,
    forces: np.ndarray,
    summary: np.ndarray,
) -> None:
    """Equilibria and limit states of one candidate over its phases.

    ``row`` of kernel_inputs; ``phases`` (P, 3); ``directions`` (d, 2) unit vectors; writes ``forces`` (d, P) [N] and
    ``summary`` (SUMMARY,). ``scratch`` (4 * 3 * ROW + 32,) and ``matrix`` (4, 5) are worked in.
    """
    g = geometry_of(row)
    laws = laws_of(row)
    size = 3 * ROW
    still = scratch[:size]
    still_border = scratch[size : size + 3]
    rest = scratch[size + 3 : size + 5]
    no_load = scratch[size + 5 : size + 7]
    inner = scratch[size + 7 :]
    for k in range(SUMMARY):
        summary[k] = 0.0
    summary[ENGAGED_MIN] = 1e9
    summary[CLOSURE_MIN] = summary[HEIGHT_MIN] = summary[COGGING_LOW] = np.inf
    summary[CLOSURE_MAX] = summary[HEIGHT_MAX] = summary[COGGING_HIGH] = -np.inf
    any_mirrored = False
    for d in range(len(directions)):
        any_mirrored = any_mirrored or directions[d, 1] < 0.0
    for p in range(len(phases)):
        standing = begin_phase(g, laws, phases[p], False, work)
        if standing < 0:
            summary[WITHOUT_CONTACT] += 1.0
            for d in range(len(directions)):
                forces[d, p] = np.nan
            continue
        cold_start(g, laws, standing, work, still_border)
        no_load[0] = no_load[1] = 0.0
        steps, _, _ = solve_equilibrium(g, laws, standing, work, still_border, 0.0, rest, no_load, TOLERANCE)
        if steps < 0:
            summary[UNSETTLED] += 1.0
            for d in range(len(directions)):
                forces[d, p] = np.nan
            continue
        copy(work.unknowns, still)
        _sum_up_equilibrium(g, laws, standing, work, still_border, summary)
        _solve_directions(
            g, laws, directions, False, standing, work, still, still_border, inner, matrix, p, forces, summary
        )
        if any_mirrored:
            standing = begin_phase(g, laws, phases[p], True, work)
            for i in range(ROW):
                still[V + i] = -still[V + i]
            still_border[0], still_border[1] = still_border[1], still_border[0]
            _solve_directions(
                g, laws, directions, True, standing, work, still, still_border, inner, matrix, p, forces, summary
            )
    summary[GAP_MAX] = _gap_max(g, laws)


@kernel
def _solve_batch(
    inputs: np.ndarray,
    phases: np.ndarray,
    directions: np.ndarray,
    work: Workspace,
    scratch: np.ndarray,
    matrix: np.ndarray,
    forces: np.ndarray,
    summaries: np.ndarray,
) -> None:
    for n in range(len(inputs)):
        solve_candidate(inputs[n], phases, directions, work, scratch, matrix, forces[n], summaries[n])


def unit_vectors(directions: np.ndarray) -> np.ndarray:
    """Directions [rad], shape (d,), as unit vectors (d, 2); a part below 1e-9 is 0."""
    vectors = np.column_stack([np.cos(directions), np.sin(directions)])
    vectors[np.abs(vectors) < 1e-9] = 0.0
    return vectors


def solve_states(inputs: np.ndarray, directions: np.ndarray, phases: np.ndarray) -> tuple[NormalStates, LimitStates]:
    """Equilibria and limit states of a batch.

    ``inputs`` of kernel_inputs; ``directions`` (d,) [rad], 0 forward, pi reverse, +pi/2 to the right (the floor pushes along
    -y); ``phases`` (P, 3) of phase_lattice. Where a state was not found its force is nan and the count says so.
    """
    count = len(inputs)
    forces = np.full((count, len(directions), len(phases)), np.nan)
    summaries = np.zeros((count, SUMMARY))
    # sideways before the diagonals, which start from it
    order = np.argsort(np.abs(np.cos(directions)) > 1e-9, kind="stable")
    vectors = unit_vectors(directions)[order]
    ordered = np.empty_like(forces)
    scratch = np.zeros(4 * 3 * ROW + 32)
    _solve_batch(inputs, phases, vectors, new_workspace(), scratch, np.zeros((4, 5)), ordered, summaries)
    forces[:, order] = ordered
    sound = (summaries[:, WITHOUT_CONTACT] + summaries[:, UNSETTLED]) == 0

    def seen(column: int) -> np.ndarray:
        return np.where(sound, summaries[:, column], np.nan)

    with np.errstate(invalid="ignore"):
        mean_force = seen(FORCE_SUM) / seen(FORCE_COUNT)
    normal = NormalStates(
        contact_force_max=seen(FORCE_MAX),
        contact_force_mean=mean_force,
        engaged_min=np.where(sound, summaries[:, ENGAGED_MIN], 0.0),
        pass_gap_max=summaries[:, GAP_MAX],
        closure_min=seen(CLOSURE_MIN),
        closure_max=seen(CLOSURE_MAX),
        axle_height_min=seen(HEIGHT_MIN),
        axle_height_max=seen(HEIGHT_MAX),
        axle_reaction_max=seen(REACTION_MAX),
        floor_force_max=seen(FLOOR_MAX),
        floor_depth_max=seen(DEPTH_MAX),
        roller_shift_max=seen(SHIFT_MAX),
        tilting_moment=seen(TILT_MAX),
        cogging_torque=(seen(COGGING_HIGH) - seen(COGGING_LOW)) / 2,
        floor_energy_peak=seen(FLOOR_ENERGY),
        contact_energy_swing=seen(CONTACT_ENERGY),
    )
    worst = forces.min(axis=2)  # nan where any phase is missing
    known = np.where(np.isnan(forces), np.inf, forces)
    limits = LimitStates(
        direction=directions,
        force=forces,
        worst=worst,
        mean=forces.mean(axis=2),
        worst_phase=known.argmin(axis=2),
        contact_force_max=seen(DRIVE_FORCE_MAX),
        tilting_moment=seen(DRIVE_TILT_MAX),
        axle_reaction_max=seen(DRIVE_REACTION_MAX),
        unresolved=(summaries[:, UNRESOLVED] + summaries[:, UNSETTLED]).astype(np.int64),
        without_contact=summaries[:, WITHOUT_CONTACT].astype(np.int64),
    )
    return normal, limits
