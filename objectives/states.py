"""Normal and limit states of a batch over its phases: the kernels of equilibrium and limits, run and summed up."""

from __future__ import annotations

import numpy as np

from objectives.assessment import LimitStates, NormalStates
from objectives.compiled import kernel, outer_kernel
from objectives.contact_pass import PassGeometry
from objectives.engagement import Laws
from objectives.equilibrium import cold_start, solve_equilibrium
from objectives.phases import begin_phase, geometry_of, laws_of
from objectives.settling import limit_state
from objectives.summary import (
    CLOSURE_MAX,
    CLOSURE_MIN,
    COGGING_HIGH,
    COGGING_LOW,
    CONTACT_ENERGY,
    DEPTH_MAX,
    DRIVE_CLOSURE_MAX,
    DRIVE_FORCE_MAX,
    DRIVE_HEIGHT_MIN,
    DRIVE_REACTION_MAX,
    DRIVE_TILT_MAX,
    ENGAGED_MIN,
    FLOOR_MAX,
    FORCE_COUNT,
    FORCE_MAX,
    FORCE_SUM,
    GAP_MAX,
    HEIGHT_MAX,
    HEIGHT_MIN,
    REACTION_MAX,
    SHIFT_MAX,
    SUMMARY,
    TILT_MAX,
    UNRESOLVED,
    UNSETTLED,
    WITHOUT_CONTACT,
    gap_max,
    sum_up_equilibrium,
    sum_up_limit,
)
from objectives.workspace import EQUILIBRIUM, ROW, V, Workspace, copy, new_workspace

#: N, 2-norm of the residual at which an equilibrium counts as found
TOLERANCE = 1e-6


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
        sum_up_limit(g, laws, work, border, summary)
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
    equilibria: np.ndarray,
    summary: np.ndarray,
) -> None:
    """Equilibria and limit states of one candidate over its phases.

    ``row`` of kernel_inputs; ``phases`` (P, 3); ``directions`` (d, 2) unit vectors; writes ``forces`` (d, P) [N],
    ``equilibria`` (P, EQUILIBRIUM) [m], nan where there is none, and ``summary`` (SUMMARY,). ``scratch`` (SCRATCH,) and
    ``matrix`` (4, 5) are worked in.
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
    summary[CLOSURE_MIN] = summary[HEIGHT_MIN] = summary[DRIVE_HEIGHT_MIN] = summary[COGGING_LOW] = np.inf
    summary[CLOSURE_MAX] = summary[DRIVE_CLOSURE_MAX] = summary[HEIGHT_MAX] = summary[COGGING_HIGH] = -np.inf
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
        copy(still[: 2 * ROW], equilibria[p])
        copy(still_border, equilibria[p, 2 * ROW :])
        sum_up_equilibrium(g, laws, standing, work, still_border, summary)
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
    summary[GAP_MAX] = gap_max(g, laws)


@kernel
def _solve_batch(
    inputs: np.ndarray,
    phases: np.ndarray,
    directions: np.ndarray,
    work: Workspace,
    scratch: np.ndarray,
    matrix: np.ndarray,
    forces: np.ndarray,
    equilibria: np.ndarray,
    summaries: np.ndarray,
) -> None:
    for n in range(len(inputs)):
        solve_candidate(inputs[n], phases, directions, work, scratch, matrix, forces[n], equilibria[n], summaries[n])


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
    inputs, phases = np.ascontiguousarray(inputs), np.ascontiguousarray(phases)
    count = len(inputs)
    forces = np.full((count, len(directions), len(phases)), np.nan)
    equilibria = np.full((count, len(phases), EQUILIBRIUM), np.nan)
    summaries = np.zeros((count, SUMMARY))
    # sideways before the diagonals, which start from it
    order = np.argsort(np.abs(np.cos(directions)) > 1e-9, kind="stable")
    vectors = unit_vectors(directions)[order]
    ordered = np.empty_like(forces)
    work = new_workspace()
    _solve_batch(inputs, phases, vectors, work, work.scratch, work.matrix, ordered, equilibria, summaries)
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
        contact_energy_swing=seen(CONTACT_ENERGY),
        equilibria=equilibria,
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
        closure_max=seen(DRIVE_CLOSURE_MAX),
        axle_height_min=seen(DRIVE_HEIGHT_MIN),
        unresolved=(summaries[:, UNRESOLVED] + summaries[:, UNSETTLED]).astype(np.int64),
        without_contact=summaries[:, WITHOUT_CONTACT].astype(np.int64),
    )
    return normal, limits
