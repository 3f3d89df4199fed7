"""A wheel that drives sideways at a load case: every roller's speed, the carrier's own, and the normal forces, together.

Each output roller's surface speed solves its torque balance with creeping contacts; the carrier's own speed settles where
the torque left on it is zero; the normal forces follow the friction forces. Newton on the equilibrium and the carrier's
speed, with every roller's speed found afresh at each step and eliminated like the roller's displacements.
"""

from __future__ import annotations

import math

import numpy as np

from objectives.compiled import kernel
from objectives.contact_pass import PassGeometry
from objectives.creeping import (
    FORCE_U,
    FORCE_UC,
    FORCE_UU,
    FORCE_UV,
    FORCE_UX,
    FORCE_X,
    FORCE_XC,
    FORCE_XU,
    FORCE_XV,
    FORCE_XX,
    RIM_C,
    RIM_U,
    RIM_V,
    RIM_X,
    THRUST,
    THRUST_C,
    THRUST_U,
    THRUST_V,
    THRUST_X,
    TORQUE,
    TORQUE_C,
    TORQUE_U,
    TORQUE_V,
    TORQUE_X,
    CreepLaws,
    creep_sums,
)
from objectives.engagement import CENTRING, Laws, press_floor
from objectives.limits import solve_small
from objectives.roller_speeds import RIM_TOLERANCE, SIDE, SIDE_BY_LOAD, drags, roll_speeds, share_side_force
from objectives.workspace import (
    FLOOR_COSINE,
    FLOOR_FORCE,
    FLOOR_STIFFNESS,
    ROW,
    SPEED,
    U,
    V,
    Workspace,
    padded,
)

#: N, 2-norm of the residual at which a state counts as found; a torque counts as its force at the rim
TOLERANCE = 1e-3
STEPS = 80
#: steps after which they are damped
CALM = 10
STEP_LIMIT = 5e-4  # m
COMMON_LIMIT = 0.2  # of half the hubs' counter-rotation
#: share of the residual that the rim balances of rollers may be off, between roller_speeds.RIM_TOLERANCE and the coarsest [N]
RIM_SHARE = 1e-5
RIM_COARSEST = 1e-3

# rows per output roller in Workspace.step, before those of objectives.roller_speeds
(
    MOVE_U,
    MOVE_V,
    FREE_U,
    FREE_V,
    LEFT_U,
    LEFT_V,
    RIGHT_U,
    RIGHT_V,
    HEIGHT_U,
    HEIGHT_V,
    COMMON_U,
    COMMON_V,
    MOVE_SPEED,
) = (k * ROW for k in range(13))
#: rows of Workspace.share, after those of ``rim_force``: how the speed follows what else is unknown
SPEED_BY_U, SPEED_BY_V, SPEED_BY_LEFT, SPEED_BY_RIGHT, SPEED_BY_HEIGHT, SPEED_BY_COMMON = (k * ROW for k in range(4, 10))


@kernel
def newton_turning(
    g: PassGeometry,
    laws: Laws,
    creep: CreepLaws,
    forward: float,
    sideways: float,
    standing: int,
    work: Workspace,
    border: np.ndarray,
    rest: np.ndarray,
    matrix: np.ndarray,
) -> tuple[float, int, float]:
    """The running state under ground forces ``forward`` (signed) and ``sideways`` (>= 0) [N] from the state in ``work``.

    ``work.unknowns`` holds displacements and speeds, ``border`` (3,) the closures and the axle's height, ``rest`` (2,) the
    closures without drive. Returns the hubs' common speed c, steps (negative: not found) and the residual's 2-norm [N].
    """
    n = padded(laws.output_count)
    unknowns, floor, left, right, step, share = work.unknowns, work.floor, work.left, work.right, work.step, work.share
    circle = g.pitch_radius - g.output_radius * g.sin_contact
    fastest = 4.0 * circle * g.cos_skew / g.sin_skew
    third = laws.contact_stiffness ** (1.0 / 3.0)
    common = 0.0
    left[:] = 0.0
    right[:] = 0.0
    steps = 0
    residual = np.inf
    while True:
        floor_force, floor_stiffness = press_floor(g, laws, standing, border[2], work)
        drags(laws, creep, n, work)
        carried = share_side_force(laws, creep, sideways, standing, n, third, work, border)
        finest = min(max(RIM_SHARE * residual, RIM_TOLERANCE), RIM_COARSEST)
        rolling = roll_speeds(laws, creep, n, third, finest, work, border, common, fastest) and carried
        for side in range(2):
            sums = left if side == 0 else right
            creep_sums(
                work.contacts, side, work.slots[side], n, laws.contact_stiffness, third, creep, border[side], common, unknowns,
                sums,
            )  # fmt: skip
        g0 = laws.preload_stiffness * (border[0] - rest[0]) - laws.preload
        g1 = laws.preload_stiffness * (border[1] - rest[1]) - laws.preload
        gh = laws.wheel_load - floor_force
        gt = -forward * g.wheel_radius
        d00 = d11 = laws.preload_stiffness + 1e-9
        d22 = floor_stiffness + 1e-9
        d01 = d02 = d03 = d10 = d12 = d13 = d20 = d21 = d23 = d30 = d31 = d32 = d33 = 0.0
        r0 = r1 = r2 = r3 = 0.0
        squares = 0.0
        for i in range(n):
            u = unknowns[U + i]
            v = unknowns[V + i]
            distance = math.sqrt(u * u + v * v) + 1e-30
            beyond = distance - laws.play
            stop = laws.stop_stiffness if beyond > 0.0 else 0.0
            beyond = beyond if beyond > 0.0 else 0.0
            cu = u / distance
            cv = v / distance
            reaction = stop * beyond
            ring = reaction / distance
            radial = stop - ring
            cosine = floor[FLOOR_COSINE + i]
            by_floor = floor[FLOOR_STIFFNESS + i] * cosine
            gu = CENTRING * u + reaction * cu + left[FORCE_U + i] + right[FORCE_U + i] - floor[FLOOR_FORCE + i] * cosine
            gv = CENTRING * v + reaction * cv + left[FORCE_X + i] - right[FORCE_X + i] + step[SIDE + i]
            g0 += left[FORCE_X + i]
            g1 += right[FORCE_X + i]
            gt += left[TORQUE + i] + right[TORQUE + i]
            squares += gu * gu + gv * gv
            # the roller's speed is eliminated first: dV = -(row . d)/rim_v
            by_load = step[SIDE_BY_LOAD + i]
            floor_drag = creep.floor_hysteresis + by_load
            thrust = left[THRUST + i] + right[THRUST + i]
            face = creep.face_drag if thrust > 0.0 else -creep.face_drag
            rim_v = left[RIM_V + i] + right[RIM_V + i] - face * (left[THRUST_V + i] + right[THRUST_V + i])
            rim_v = rim_v if rim_v < -1e-9 else -1e-9
            free = 1.0 / rim_v if unknowns[SPEED + i] > 0.0 else 0.0
            rim_u = left[RIM_U + i] + right[RIM_U + i] - face * (left[THRUST_U + i] + right[THRUST_U + i])
            rim_0 = left[RIM_X + i] - face * left[THRUST_X + i]
            rim_1 = right[RIM_X + i] - face * right[THRUST_X + i]
            v_u = (rim_u - creep.bore_drag * stop * cu + floor_drag * by_floor) * free
            v_v = (rim_0 - rim_1 - creep.bore_drag * stop * cv) * free
            v_0 = rim_0 * free
            v_1 = rim_1 * free
            v_h = floor_drag * floor[FLOOR_STIFFNESS + i] * free
            v_c = (left[RIM_C + i] + right[RIM_C + i] - face * (left[THRUST_C + i] + right[THRUST_C + i])) * free
            share[SPEED_BY_U + i] = v_u
            share[SPEED_BY_V + i] = v_v
            share[SPEED_BY_LEFT + i] = v_0
            share[SPEED_BY_RIGHT + i] = v_1
            share[SPEED_BY_HEIGHT + i] = v_h
            share[SPEED_BY_COMMON + i] = v_c
            pu = left[FORCE_UV + i] + right[FORCE_UV + i]
            pv = left[FORCE_XV + i] - right[FORCE_XV + i]
            p0 = left[FORCE_XV + i]
            p1 = right[FORCE_XV + i]
            pt = left[TORQUE_V + i] + right[TORQUE_V + i]
            uu = left[FORCE_UU + i] + right[FORCE_UU + i]
            auu = CENTRING + ring + radial * cu * cu + uu + by_floor * cosine - pu * v_u
            auv = radial * cu * cv + left[FORCE_UX + i] - right[FORCE_UX + i] - pu * v_v
            avu = radial * cu * cv + left[FORCE_XU + i] - right[FORCE_XU + i] - by_load * by_floor - pv * v_u
            avv = CENTRING + ring + radial * cv * cv + left[FORCE_XX + i] + right[FORCE_XX + i] - pv * v_v
            bu0 = left[FORCE_UX + i] - pu * v_0
            bu1 = right[FORCE_UX + i] - pu * v_1
            buh = by_floor - pu * v_h
            buc = left[FORCE_UC + i] + right[FORCE_UC + i] - pu * v_c
            bv0 = left[FORCE_XX + i] - pv * v_0
            bv1 = -right[FORCE_XX + i] - pv * v_1
            bvh = -by_load * floor[FLOOR_STIFFNESS + i] - pv * v_h
            bvc = left[FORCE_XC + i] - right[FORCE_XC + i] - pv * v_c
            c0u = left[FORCE_XU + i] - p0 * v_u
            c0v = left[FORCE_XX + i] - p0 * v_v
            c1u = right[FORCE_XU + i] - p1 * v_u
            c1v = -right[FORCE_XX + i] - p1 * v_v
            ctu = left[TORQUE_U + i] + right[TORQUE_U + i] - pt * v_u
            ctv = left[TORQUE_X + i] - right[TORQUE_X + i] - pt * v_v
            d00 += left[FORCE_XX + i] - p0 * v_0
            d01 -= p0 * v_1
            d02 -= p0 * v_h
            d03 += left[FORCE_XC + i] - p0 * v_c
            d10 -= p1 * v_0
            d11 += right[FORCE_XX + i] - p1 * v_1
            d12 -= p1 * v_h
            d13 += right[FORCE_XC + i] - p1 * v_c
            d30 += left[TORQUE_X + i] - pt * v_0
            d31 += right[TORQUE_X + i] - pt * v_1
            d32 -= pt * v_h
            d33 += left[TORQUE_C + i] + right[TORQUE_C + i] - pt * v_c
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
            scu = iuu * buc + iuv * bvc
            scv = ivu * buc + ivv * bvc
            step[FREE_U + i] = fu
            step[FREE_V + i] = fv
            step[LEFT_U + i] = s0u
            step[LEFT_V + i] = s0v
            step[RIGHT_U + i] = s1u
            step[RIGHT_V + i] = s1v
            step[HEIGHT_U + i] = shu
            step[HEIGHT_V + i] = shv
            step[COMMON_U + i] = scu
            step[COMMON_V + i] = scv
            d00 -= c0u * s0u + c0v * s0v
            d01 -= c0u * s1u + c0v * s1v
            d02 -= c0u * shu + c0v * shv
            d03 -= c0u * scu + c0v * scv
            d10 -= c1u * s0u + c1v * s0v
            d11 -= c1u * s1u + c1v * s1v
            d12 -= c1u * shu + c1v * shv
            d13 -= c1u * scu + c1v * scv
            d20 -= by_floor * s0u
            d21 -= by_floor * s1u
            d22 -= by_floor * shu
            d23 -= by_floor * scu
            d30 -= ctu * s0u + ctv * s0v
            d31 -= ctu * s1u + ctv * s1v
            d32 -= ctu * shu + ctv * shv
            d33 -= ctu * scu + ctv * scv
            r0 += c0u * fu + c0v * fv
            r1 += c1u * fu + c1v * fv
            r2 += by_floor * fu
            r3 += ctu * fu + ctv * fv
        residual = math.sqrt(squares + g0 * g0 + g1 * g1 + gh * gh + (gt / g.wheel_radius) ** 2)
        if not residual < 1e100:  # also nan
            return common, -steps - 1, np.inf
        if residual < TOLERANCE and finest == RIM_TOLERANCE:
            return common, steps if rolling else -steps - 1, residual
        if steps >= STEPS:
            return common, -steps - 1, residual
        matrix[0, 0], matrix[0, 1], matrix[0, 2], matrix[0, 3], matrix[0, 4] = d00, d01, d02, d03, r0 - g0
        matrix[1, 0], matrix[1, 1], matrix[1, 2], matrix[1, 3], matrix[1, 4] = d10, d11, d12, d13, r1 - g1
        matrix[2, 0], matrix[2, 1], matrix[2, 2], matrix[2, 3], matrix[2, 4] = d20, d21, d22, d23, r2 - gh
        matrix[3, 0], matrix[3, 1], matrix[3, 2], matrix[3, 3], matrix[3, 4] = d30, d31, d32, d33, r3 - gt
        solve_small(matrix, 4)
        m0, m1, mh, mc = matrix[0, 4], matrix[1, 4], matrix[2, 4], matrix[3, 4]
        for i in range(n):
            mu = -step[FREE_U + i] - step[LEFT_U + i] * m0 - step[RIGHT_U + i] * m1 - step[HEIGHT_U + i] * mh
            mv = -step[FREE_V + i] - step[LEFT_V + i] * m0 - step[RIGHT_V + i] * m1 - step[HEIGHT_V + i] * mh
            mu -= step[COMMON_U + i] * mc
            mv -= step[COMMON_V + i] * mc
            step[MOVE_U + i] = mu
            step[MOVE_V + i] = mv
            faster = -share[SPEED_BY_U + i] * mu - share[SPEED_BY_V + i] * mv - share[SPEED_BY_LEFT + i] * m0
            faster -= share[SPEED_BY_RIGHT + i] * m1 + share[SPEED_BY_HEIGHT + i] * mh + share[SPEED_BY_COMMON + i] * mc
            step[MOVE_SPEED + i] = faster
        largest = max(abs(m0), abs(m1), abs(mh))
        for i in range(n):
            largest = max(largest, abs(step[MOVE_U + i]), abs(step[MOVE_V + i]))
        scale = min(1.0, STEP_LIMIT / largest, COMMON_LIMIT / (abs(mc) + 1e-30))
        if steps >= CALM:  # what cycles about a kink is damped, more and more
            scale *= 0.5 if steps < 3 * CALM else 0.25
        steps += 1
        for i in range(n):
            unknowns[U + i] += scale * step[MOVE_U + i]
            unknowns[V + i] += scale * step[MOVE_V + i]
            speed = unknowns[SPEED + i]
            ahead = speed + scale * step[MOVE_SPEED + i]
            unknowns[SPEED + i] = ahead if (ahead > 0.5 * speed) & (ahead < 2.0 * speed) else speed
        border[0] += scale * m0
        border[1] += scale * m1
        border[2] += scale * mh
        common = min(max(common + scale * mc, -0.9), 0.9)
