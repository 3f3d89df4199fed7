"""Limit states found whatever the start: Newton, and where it cycles, damped steps to a better start and Newton again."""

from __future__ import annotations

import math

import numpy as np

from objectives.compiled import kernel, outer_kernel
from objectives.contact_pass import PassGeometry
from objectives.engagement import Laws
from objectives.equilibrium import solve_equilibrium
from objectives.limits import newton_limit
from objectives.sharing import (
    CAP,
    DRAG,
    DRIVE_U,
    DRIVE_X,
    FORCE_U,
    FORCE_X,
    SHARE_L,
    SHARE_R,
    SIDE_FORCE,
    TURN,
    TWIST,
    share_out,
)
from objectives.workspace import (
    ALONG_C,
    ALONG_T,
    AXIAL,
    CONTACT,
    GAP,
    INWARD,
    LEVER_C,
    LEVER_T,
    RELAXED,
    ROW,
    SIDE,
    SUMS,
    U,
    V,
    Workspace,
    copy,
    padded,
)

#: N, 2-norm of the residual at which a state counts as found
TOLERANCE = 1e-3
#: rounds of damped steps before a state is given up, and the steps of one
ROUNDS = 6
DAMPED_STEPS = 8
DAMPING = 0.5


@kernel
def relax(laws: Laws, weight: float, work: Workspace, border: np.ndarray) -> None:
    """Move the remembered normal forces by ``weight`` of the way to those of the present state."""
    for side in range(2):
        sign = 1.0 - 2.0 * side
        for slot in range(work.slots[side]):
            at = side * SIDE + slot * CONTACT
            for i in range(laws.output_count):
                inward = work.contacts[at + INWARD + i]
                axial = work.contacts[at + AXIAL + i]
                shift = border[side] + sign * work.unknowns[V + i]
                overlap = max(inward * work.unknowns[U + i] + axial * shift - work.contacts[at + GAP + i], 0.0)
                force = laws.contact_stiffness * overlap * math.sqrt(overlap)
                work.contacts[at + RELAXED + i] += weight * (force - work.contacts[at + RELAXED + i])


@kernel
def _drive(g: PassGeometry, friction: float, drag: float, rolling: float, count: int, work: Workspace) -> None:
    """Friction that the remembered normal forces allow, summed for each side and roller; derivatives are left at 0.

    Rows FORCE_U and FORCE_X take the loads of the drag across the hub rollers' axes alone.
    """
    for side in range(2):
        sign = 1.0 - 2.0 * side
        sums = work.left if side == 0 else work.right
        for i in range(SUMS):
            sums[i] = 0.0
        for slot in range(work.slots[side]):
            at = side * SIDE + slot * CONTACT
            for i in range(count):
                along_c = work.contacts[at + ALONG_C + i]
                along_t = work.contacts[at + ALONG_T + i]
                force = work.contacts[at + RELAXED + i]
                lever = along_t * work.contacts[at + LEVER_T + i] + along_c * work.contacts[at + LEVER_C + i]
                pull = drag * along_t * force
                twist = along_t * work.contacts[at + LEVER_C + i] - along_c * work.contacts[at + LEVER_T + i]
                rim = (drag + rolling * max(force, 0.0) ** (1.0 / 3.0)) * force
                sums[TWIST + i] += sign * twist * rim / g.wheel_radius
                sums[CAP + i] += friction * along_c * force
                sums[TURN + i] += friction * lever * force / g.wheel_radius
                sums[DRIVE_U + i] += friction * along_c * force * work.contacts[at + INWARD + i]
                sums[DRIVE_X + i] += friction * along_c * force * work.contacts[at + AXIAL + i]
                sums[DRAG + i] += along_t * rim
                sums[FORCE_U + i] += sign * pull * work.contacts[at + AXIAL + i]
                sums[FORCE_X + i] += sign * pull * work.contacts[at + INWARD + i]


@outer_kernel
def damped_steps(
    g: PassGeometry,
    laws: Laws,
    d_x: float,
    d_y: float,
    standing: int,
    work: Workspace,
    border: np.ndarray,
    rest: np.ndarray,
    side_load: np.ndarray,
) -> None:
    """A few rounds of: friction of the remembered normal forces, equilibrium under its loads, half-way to the new forces."""
    n = padded(laws.output_count)
    sideways = d_y > 0.0
    friction = laws.friction_turning if sideways else laws.friction_roller
    drag = laws.drag_turning if sideways else 0.0
    rolling = laws.rolling if sideways else 0.0
    left, right, step, share = work.left, work.right, work.step, work.share
    for _ in range(DAMPED_STEPS):
        _drive(g, friction, drag, rolling, laws.output_count, work)
        share_out(laws, d_x, d_y, standing, n, work)
        side_load[0] = 0.0
        side_load[1] = 0.0
        for i in range(n):
            f_l, f_r = share[SHARE_L + i], share[SHARE_R + i]
            x_l = f_l * left[DRIVE_U + i] + left[FORCE_X + i]
            x_r = f_r * right[DRIVE_U + i] + right[FORCE_X + i]
            u_l = f_l * left[DRIVE_X + i] + left[FORCE_U + i]
            u_r = f_r * right[DRIVE_X + i] + right[FORCE_U + i]
            work.load[U + i] = -u_l - u_r
            work.load[V + i] = x_l - x_r - step[SIDE_FORCE + i]
            side_load[0] += x_l
            side_load[1] += x_r
        solve_equilibrium(g, laws, standing, work, border, laws.preload_stiffness, rest, side_load, 1e-6)
        relax(laws, DAMPING, work, border)
    for i in range(2 * ROW):
        work.load[i] = 0.0


@outer_kernel
def limit_state(
    g: PassGeometry,
    laws: Laws,
    d_x: float,
    d_y: float,
    standing: int,
    work: Workspace,
    border: np.ndarray,
    still: np.ndarray,
    still_border: np.ndarray,
    scratch: np.ndarray,
    matrix: np.ndarray,
) -> tuple[float, int, float]:
    """Ground force [N] of the limit state in the direction (d_x, d_y >= 0), a unit vector.

    Newton starts from the state in ``work`` and ``border``; ``still`` and ``still_border`` (3,) hold the equilibrium without
    drive. Returns the force, the rounds of damped steps it took (negative: not found) and the residual's 2-norm [N].
    ``scratch`` (like work.unknowns, then 3 and 2 numbers) and ``matrix`` (4, 5) are worked in.
    """
    force, steps, residual = newton_limit(
        g, laws, d_x, d_y, standing, work, border, still_border[:2], TOLERANCE, matrix
    )
    if steps >= 0:
        return force, 0, residual
    size = len(still)
    kept = scratch[:size]
    kept_border = scratch[size : size + 3]
    copy(still, kept)
    copy(still_border, kept_border)
    for round_ in range(1, ROUNDS + 1):
        copy(kept, work.unknowns)
        copy(kept_border, border)
        if round_ == 1:
            relax(laws, 1.0, work, border)
        damped_steps(g, laws, d_x, d_y, standing, work, border, still_border[:2], scratch[size + 3 :])
        copy(work.unknowns, kept)
        copy(border, kept_border)
        force, steps, residual = newton_limit(
            g, laws, d_x, d_y, standing, work, border, still_border[:2], TOLERANCE, matrix
        )
        if steps >= 0:
            return force, round_, residual
    return force, -1, residual
