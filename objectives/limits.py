"""Friction-coupled limit states: the ground force in a direction at which all friction that counts is used up.

Friction along a hub roller's axis pushes the output roller in or out and draws the hub in or off, so the normal forces and
the friction they allow are found together: a semismooth Newton step on equilibrium and friction at once (3 to 5 steps).
Unknowns are those of the equilibrium and, with a sideways part, a fourth border unknown: how far the rollers lean to
extreme sharing, or the level of the side forces (see objectives.sharing.share_out). There is no line search, which would
stall at the kinks of stops and contacts: steps are capped.
"""

from __future__ import annotations

import math

import numpy as np

from objectives.compiled import kernel
from objectives.contact_pass import PassGeometry
from objectives.engagement import Laws, press_floor
from objectives.sharing import (
    AXLE_U,
    AXLE_UU,
    AXLE_UV,
    AXLE_V,
    AXLE_VV,
    BY_HEIGHT_L,
    BY_HEIGHT_R,
    BY_LEFT_L,
    BY_LEFT_R,
    BY_LEVEL_L,
    BY_LEVEL_R,
    BY_RIGHT_L,
    BY_RIGHT_R,
    BY_U_L,
    BY_U_R,
    BY_V_L,
    BY_V_R,
    CAP,
    CAP_U,
    CAP_X,
    DRAG,
    DRAG_U,
    DRAG_X,
    DRIVE_U,
    DRIVE_UU,
    DRIVE_UX,
    DRIVE_X,
    DRIVE_XX,
    FORCE_U,
    FORCE_X,
    NONE,
    SHARE_L,
    SHARE_R,
    SIDE_BY_HEIGHT,
    SIDE_BY_LEFT,
    SIDE_BY_LEVEL,
    SIDE_BY_RIGHT,
    SIDE_BY_U,
    SIDE_BY_V,
    SIDE_FORCE,
    STIFF_UU,
    STIFF_UX,
    STIFF_XU,
    STIFF_XX,
    TURN,
    TURN_U,
    TURN_X,
    TWIST,
    TWIST_U,
    TWIST_X,
    share_out,
)
from objectives.workspace import (
    ALONG_C,
    ALONG_T,
    AXIAL,
    CONTACT,
    FLOOR_COSINE,
    FLOOR_FORCE,
    FLOOR_STIFFNESS,
    GAP,
    INWARD,
    LEVER_C,
    LEVER_T,
    ROW,
    SIDE,
    U,
    V,
    Workspace,
    padded,
)

#: m, the most that a step may move anything
STEP_LIMIT = 5e-4
STEPS = 16

# rows per output roller in Workspace.step that belong to the elimination, around those of objectives.sharing
MOVE_U, MOVE_V, FREE_U, FREE_V, LEFT_U, LEFT_V, RIGHT_U, RIGHT_V, HEIGHT_U, HEIGHT_V = (k * ROW for k in range(10))
LEVEL_U, LEVEL_V = (k * ROW for k in range(31, 33))


@kernel
def press_and_drive(
    contacts: np.ndarray,
    side: int,
    slots: int,
    n: int,
    laws: Laws,
    friction: float,
    drag: float,
    rolling: float,
    per_radius: float,
    closure: float,
    unknowns: np.ndarray,
    sums: np.ndarray,
) -> None:
    """Normal forces of one side with the drive friction they allow, summed for each roller (rows of objectives.sharing).

    ``friction`` is the share of a normal force available along the hub roller's axis, ``drag`` the share that drags across
    it and ``rolling`` the rolling resistance over the normal force at 1 m of overlap, which grows with its square root (both 0
    while hub rollers stand still). The drag's part along c turns the roller and loads it in and out; rolling resistance is a
    moment of the pressure and only turns it. ``per_radius`` [1/m] is 1 over the wheel's radius. ``sums`` must hold finite
    numbers when it comes in.
    """
    sign = 1.0 - 2.0 * side
    for slot in range(slots):
        contact = contacts[side * SIDE + slot * CONTACT : side * SIDE + (slot + 1) * CONTACT]
        keep = 0.0 if slot == 0 else 1.0
        for i in range(n):
            inward = contact[INWARD + i]
            axial = contact[AXIAL + i]
            along_c = contact[ALONG_C + i]
            along_t = contact[ALONG_T + i]
            overlap = inward * unknowns[U + i] + axial * (closure + sign * unknowns[V + i]) - contact[GAP + i]
            overlap = overlap if overlap > 0.0 else 0.0
            root = math.sqrt(overlap)
            resistance = rolling * root
            root *= laws.contact_stiffness
            force = root * overlap
            slope = 1.5 * root
            slope_u = slope * inward
            slope_x = slope * axial
            pull = drag * along_t
            rim = drag + resistance
            rim_slope = drag + 4.0 / 3.0 * resistance
            part_u = inward + sign * pull * axial
            part_x = axial - sign * pull * inward
            limit = friction * along_c
            lever = friction * (along_t * contact[LEVER_T + i] + along_c * contact[LEVER_C + i]) * per_radius
            sums[FORCE_U + i] = keep * sums[FORCE_U + i] + force * part_u
            sums[FORCE_X + i] = keep * sums[FORCE_X + i] + force * part_x
            sums[STIFF_UU + i] = keep * sums[STIFF_UU + i] + part_u * slope_u
            sums[STIFF_UX + i] = keep * sums[STIFF_UX + i] + part_u * slope_x
            sums[STIFF_XU + i] = keep * sums[STIFF_XU + i] + part_x * slope_u
            sums[STIFF_XX + i] = keep * sums[STIFF_XX + i] + part_x * slope_x
            sums[DRIVE_U + i] = keep * sums[DRIVE_U + i] + limit * force * inward
            sums[DRIVE_X + i] = keep * sums[DRIVE_X + i] + limit * force * axial
            sums[DRIVE_UU + i] = keep * sums[DRIVE_UU + i] + limit * slope_u * inward
            sums[DRIVE_UX + i] = keep * sums[DRIVE_UX + i] + limit * slope_u * axial
            sums[DRIVE_XX + i] = keep * sums[DRIVE_XX + i] + limit * slope_x * axial
            sums[CAP + i] = keep * sums[CAP + i] + limit * force
            sums[CAP_U + i] = keep * sums[CAP_U + i] + limit * slope_u
            sums[CAP_X + i] = keep * sums[CAP_X + i] + limit * slope_x
            sums[TURN + i] = keep * sums[TURN + i] + lever * force
            sums[TURN_U + i] = keep * sums[TURN_U + i] + lever * slope_u
            sums[TURN_X + i] = keep * sums[TURN_X + i] + lever * slope_x
            sums[DRAG + i] = keep * sums[DRAG + i] + rim * along_t * force
            sums[DRAG_U + i] = keep * sums[DRAG_U + i] + rim_slope * along_t * slope_u
            sums[DRAG_X + i] = keep * sums[DRAG_X + i] + rim_slope * along_t * slope_x
            # across the axis: along -c_part t + t_part c, to the left side's sense
            twist = sign * (along_t * contact[LEVER_C + i] - along_c * contact[LEVER_T + i]) * per_radius
            sums[TWIST + i] = keep * sums[TWIST + i] + twist * rim * force
            sums[TWIST_U + i] = keep * sums[TWIST_U + i] + twist * rim_slope * slope_u
            sums[TWIST_X + i] = keep * sums[TWIST_X + i] + twist * rim_slope * slope_x


@kernel
def newton_limit(
    g: PassGeometry,
    laws: Laws,
    d_x: float,
    d_y: float,
    standing: int,
    work: Workspace,
    border: np.ndarray,
    rest: np.ndarray,
    tolerance: float,
    matrix: np.ndarray,
) -> tuple[float, int, float]:
    """Newton to the limit state in the direction (d_x, d_y >= 0) from the state in ``work`` and ``border``.

    ``rest`` (2,) [m] is the hubs' closure without drive. Returns the ground force [N], steps (negative: not converged) and
    the 2-norm of the residual [N]. ``matrix`` (4, 5) is scratch.
    """
    n = padded(laws.output_count)
    unknowns, floor, left, right, step, share = work.unknowns, work.floor, work.left, work.right, work.step, work.share
    sideways = d_y > 0.0
    friction = laws.friction_turning if sideways else laws.friction_roller
    drag = laws.drag_turning if sideways else 0.0
    rolling = laws.rolling * laws.contact_stiffness ** (1.0 / 3.0) if sideways else 0.0
    per_radius = 1.0 / g.wheel_radius
    left[:] = 0.0
    right[:] = 0.0
    steps = 0
    while True:
        for side in range(2):
            sums = left if side == 0 else right
            slots, closure = work.slots[side], border[side]
            press_and_drive(
                work.contacts, side, slots, n, laws, friction, drag, rolling, per_radius, closure, unknowns, sums
            )
        floor_force, floor_stiffness = press_floor(g, laws, standing, border[2], work)
        force, fourth, sense, slope = share_out(laws, d_x, d_y, standing, n, work)
        g0 = laws.preload_stiffness * (border[0] - rest[0]) - laws.preload
        g1 = laws.preload_stiffness * (border[1] - rest[1]) - laws.preload
        gh = laws.wheel_load - floor_force
        d00 = d11 = laws.preload_stiffness + 1e-9
        d22 = floor_stiffness + 1e-9
        d01 = d02 = d03 = d10 = d12 = d13 = d20 = d21 = d23 = d30 = d31 = d32 = d33 = 0.0
        r0 = r1 = r2 = r3 = 0.0
        squares = 0.0
        by_share = 1.0 if fourth != NONE else 0.0
        for i in range(n):
            f_l, f_r = share[SHARE_L + i], share[SHARE_R + i]
            du_l, dx_l, du_r, dx_r = left[DRIVE_X + i], left[DRIVE_U + i], right[DRIVE_X + i], right[DRIVE_U + i]
            cosine = floor[FLOOR_COSINE + i]
            by_floor = floor[FLOOR_STIFFNESS + i] * cosine
            x_l = left[FORCE_X + i] - f_l * dx_l
            x_r = right[FORCE_X + i] - f_r * dx_r
            gu = step[AXLE_U + i] + left[FORCE_U + i] + f_l * du_l + right[FORCE_U + i] + f_r * du_r
            gu -= floor[FLOOR_FORCE + i] * cosine
            gv = step[AXLE_V + i] + x_l - x_r + step[SIDE_FORCE + i]
            g0 += x_l
            g1 += x_r
            squares += gu * gu + gv * gv
            ux_l = left[STIFF_UX + i] + f_l * left[DRIVE_XX + i]
            xu_l = left[STIFF_XU + i] - f_l * left[DRIVE_UU + i]
            xx_l = left[STIFF_XX + i] - f_l * left[DRIVE_UX + i]
            ux_r = right[STIFF_UX + i] + f_r * right[DRIVE_XX + i]
            xu_r = right[STIFF_XU + i] - f_r * right[DRIVE_UU + i]
            xx_r = right[STIFF_XX + i] - f_r * right[DRIVE_UX + i]
            uu = left[STIFF_UU + i] + f_l * left[DRIVE_UX + i] + right[STIFF_UU + i] + f_r * right[DRIVE_UX + i]
            l_u, l_v, l_0, l_1 = share[BY_U_L + i], share[BY_V_L + i], share[BY_LEFT_L + i], share[BY_RIGHT_L + i]
            r_u, r_v, r_0, r_1 = share[BY_U_R + i], share[BY_V_R + i], share[BY_LEFT_R + i], share[BY_RIGHT_R + i]
            l_h, l_s, r_h, r_s = share[BY_HEIGHT_L + i], share[BY_LEVEL_L + i], share[BY_HEIGHT_R + i], share[BY_LEVEL_R + i]
            auu = step[AXLE_UU + i] + uu + by_floor * cosine + du_l * l_u + du_r * r_u
            auv = step[AXLE_UV + i] + ux_l - ux_r + du_l * l_v + du_r * r_v
            avu = step[AXLE_UV + i] + xu_l - xu_r - dx_l * l_u + dx_r * r_u + step[SIDE_BY_U + i]
            avv = step[AXLE_VV + i] + xx_l + xx_r - dx_l * l_v + dx_r * r_v + step[SIDE_BY_V + i]
            bu0 = ux_l + du_l * l_0 + du_r * r_0
            bu1 = ux_r + du_l * l_1 + du_r * r_1
            bv0 = xx_l - dx_l * l_0 + dx_r * r_0 + step[SIDE_BY_LEFT + i]
            bv1 = -xx_r - dx_l * l_1 + dx_r * r_1 + step[SIDE_BY_RIGHT + i]
            buh = by_floor + du_l * l_h + du_r * r_h
            bvh = step[SIDE_BY_HEIGHT + i] - dx_l * l_h + dx_r * r_h
            bus = du_l * l_s + du_r * r_s
            bvs = step[SIDE_BY_LEVEL + i] - dx_l * l_s + dx_r * r_s
            c0u = xu_l - dx_l * l_u
            c0v = xx_l - dx_l * l_v
            c1u = xu_r - dx_r * r_u
            c1v = -xx_r - dx_r * r_v
            # the row of the level: forward force less slope times side force, of every roller
            t_l = by_share * sense * left[TURN + i]
            t_r = by_share * sense * right[TURN + i]
            k_l = by_share * sense * f_l
            k_r = by_share * sense * f_r
            y = by_share * slope
            w = by_share * sense
            x_l = k_l * left[TURN_X + i] + w * left[TWIST_X + i]
            x_r = k_r * right[TURN_X + i] + w * right[TWIST_X + i]
            c3u = t_l * l_u + t_r * r_u + k_l * left[TURN_U + i] + k_r * right[TURN_U + i] - y * step[SIDE_BY_U + i]
            c3u += w * (left[TWIST_U + i] + right[TWIST_U + i])
            c3v = t_l * l_v + t_r * r_v + x_l - x_r - y * step[SIDE_BY_V + i]
            d30 += t_l * l_0 + t_r * r_0 + x_l - y * step[SIDE_BY_LEFT + i]
            d31 += t_l * l_1 + t_r * r_1 + x_r - y * step[SIDE_BY_RIGHT + i]
            d32 += t_l * l_h + t_r * r_h - y * step[SIDE_BY_HEIGHT + i]
            d33 += t_l * l_s + t_r * r_s - y * step[SIDE_BY_LEVEL + i]
            d00 += xx_l - dx_l * l_0
            d01 -= dx_l * l_1
            d02 -= dx_l * l_h
            d03 -= dx_l * l_s
            d10 -= dx_r * r_0
            d11 += xx_r - dx_r * r_1
            d12 -= dx_r * r_h
            d13 -= dx_r * r_s
            # eliminate this roller
            inverse = 1.0 / (auu * avv - auv * avu)
            iuu = avv * inverse
            iuv = -auv * inverse
            ivu = -avu * inverse
            ivv = auu * inverse
            fu = iuu * gu + iuv * gv
            fv = ivu * gu + ivv * gv
            s0u = iuu * bu0 + iuv * bv0
            s0v = ivu * bu0 + ivv * bv0
            s1u = iuu * bu1 + iuv * bv1
            s1v = ivu * bu1 + ivv * bv1
            shu = iuu * buh + iuv * bvh
            shv = ivu * buh + ivv * bvh
            ssu = iuu * bus + iuv * bvs
            ssv = ivu * bus + ivv * bvs
            step[FREE_U + i] = fu
            step[FREE_V + i] = fv
            step[LEFT_U + i] = s0u
            step[LEFT_V + i] = s0v
            step[RIGHT_U + i] = s1u
            step[RIGHT_V + i] = s1v
            step[HEIGHT_U + i] = shu
            step[HEIGHT_V + i] = shv
            step[LEVEL_U + i] = ssu
            step[LEVEL_V + i] = ssv
            d00 -= c0u * s0u + c0v * s0v
            d01 -= c0u * s1u + c0v * s1v
            d02 -= c0u * shu + c0v * shv
            d03 -= c0u * ssu + c0v * ssv
            d10 -= c1u * s0u + c1v * s0v
            d11 -= c1u * s1u + c1v * s1v
            d12 -= c1u * shu + c1v * shv
            d13 -= c1u * ssu + c1v * ssv
            d20 -= by_floor * s0u
            d21 -= by_floor * s1u
            d22 -= by_floor * shu
            d23 -= by_floor * ssu
            d30 -= c3u * s0u + c3v * s0v
            d31 -= c3u * s1u + c3v * s1v
            d32 -= c3u * shu + c3v * shv
            d33 -= c3u * ssu + c3v * ssv
            r0 += c0u * fu + c0v * fv
            r1 += c1u * fu + c1v * fv
            r2 += by_floor * fu
            r3 += c3u * fu + c3v * fv
        residual = math.sqrt(squares + g0 * g0 + g1 * g1 + gh * gh)
        if not residual < 1e100:  # also nan
            return force, -steps - 1, np.inf
        if residual < tolerance:
            return force, steps, residual
        if steps >= STEPS:
            return force, -steps - 1, residual
        matrix[0, 0], matrix[0, 1], matrix[0, 2], matrix[0, 3], matrix[0, 4] = d00, d01, d02, d03, r0 - g0
        matrix[1, 0], matrix[1, 1], matrix[1, 2], matrix[1, 3], matrix[1, 4] = d10, d11, d12, d13, r1 - g1
        matrix[2, 0], matrix[2, 1], matrix[2, 2], matrix[2, 3], matrix[2, 4] = d20, d21, d22, d23, r2 - gh
        matrix[3, 0], matrix[3, 1], matrix[3, 2], matrix[3, 3], matrix[3, 4] = d30, d31, d32, d33, r3
        solve_small(matrix, 4 if fourth != NONE else 3)
        m0, m1, mh = matrix[0, 4], matrix[1, 4], matrix[2, 4]
        ms = matrix[3, 4] if fourth != NONE else 0.0
        largest = max(abs(m0), abs(m1), abs(mh))
        for i in range(n):
            mu = -step[FREE_U + i] - step[LEFT_U + i] * m0 - step[RIGHT_U + i] * m1 - step[HEIGHT_U + i] * mh
            mv = -step[FREE_V + i] - step[LEFT_V + i] * m0 - step[RIGHT_V + i] * m1 - step[HEIGHT_V + i] * mh
            step[MOVE_U + i] = mu - step[LEVEL_U + i] * ms
            step[MOVE_V + i] = mv - step[LEVEL_V + i] * ms
        for i in range(n):
            largest = max(largest, abs(step[MOVE_U + i]), abs(step[MOVE_V + i]))
        scale = min(1.0, STEP_LIMIT / largest)
        steps += 1
        for i in range(n):
            unknowns[U + i] += scale * step[MOVE_U + i]
            unknowns[V + i] += scale * step[MOVE_V + i]
        border[0] += scale * m0
        border[1] += scale * m1
        border[2] += scale * mh


@kernel
def solve_small(matrix: np.ndarray, n: int) -> None:
    """Gauss elimination with row pivoting of n equations in place; the right-hand side and the answer stand in column 4."""
    for p in range(n):
        pivot = p
        for r in range(p + 1, n):
            if abs(matrix[r, p]) > abs(matrix[pivot, p]):
                pivot = r
        if pivot != p:
            for c in range(5):
                matrix[p, c], matrix[pivot, c] = matrix[pivot, c], matrix[p, c]
        for r in range(p + 1, n):
            factor = matrix[r, p] / matrix[p, p]
            for c in range(p + 1, n):
                matrix[r, c] -= factor * matrix[p, c]
            matrix[r, 4] -= factor * matrix[p, 4]
    for p in range(n - 1, -1, -1):
        for c in range(p + 1, n):
            matrix[p, 4] -= matrix[p, c] * matrix[c, 4]
        matrix[p, 4] /= matrix[p, p]
