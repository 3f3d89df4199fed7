"""Equilibrium of the normal forces: the minimum of one convex energy, by Newton's method on an arrow-shaped Hessian.

Unknowns: every output roller's displacement (u towards the shaft, v along +y), the closure x of each hub towards the
mid-plane, the height h of the axle over the floor: 2 N + 3 numbers. With y = x + s v (s = +1 left, -1 right) the overlap
of a contact is delta = inward u + axial y - gap and its force k delta^1.5 (Hertz). The Hessian couples rollers only
through x and h, so a step costs O(N): 2x2 blocks are eliminated one by one and three unknowns are left.

Signs: gradients are "energy per unknown"; a load is a force along the unknown, so it is subtracted.
"""

from __future__ import annotations

import math

import numpy as np

from objectives.compiled import kernel
from objectives.contact_pass import PassGeometry
from objectives.engagement import CENTRING, Laws, press_floor
from objectives.workspace import (
    AXIAL,
    CONTACT,
    EMPTY,
    FLOOR_COSINE,
    FLOOR_FORCE,
    FLOOR_STIFFNESS,
    GAP,
    INWARD,
    ROW,
    SIDE,
    U,
    V,
    Workspace,
    padded,
)

#: m, the most that a Newton step may move anything
STEP_LIMIT = 2e-3
STEPS = 100
#: steps after which a full step must not end uphill: on a convex energy that cannot cycle
CALM = 25
#: N, 2-norm of the residual that passes after all steps: rollers that hardly touch have next to no stiffness of their own
ACCEPTED = 1e-3


# rows of the sums over the contacts of a side
FORCE_U, FORCE_X, STIFF_UU, STIFF_UX, STIFF_XX = (k * ROW for k in range(5))
# rows of the step
STEP_U, STEP_V, GRAD_U, GRAD_V, BY_LEFT_U, BY_LEFT_V, BY_RIGHT_U, BY_RIGHT_V, BY_FLOOR_U, BY_FLOOR_V, FREE_U, FREE_V = (
    k * ROW for k in range(12)
)


@kernel
def press_side(
    contacts: np.ndarray,
    side: int,
    slots: int,
    n: int,
    stiffness: float,
    closure: float,
    unknowns: np.ndarray,
    sums: np.ndarray,
) -> None:
    """Normal forces of one side and their stiffness, summed for each roller."""
    sign = 1.0 - 2.0 * side
    for i in range(5 * ROW):
        sums[i] = 0.0
    for slot in range(slots):
        at = side * SIDE + slot * CONTACT
        contact = contacts[at : at + CONTACT]
        for i in range(n):
            inward = contact[INWARD + i]
            axial = contact[AXIAL + i]
            overlap = inward * unknowns[U + i] + axial * (closure + sign * unknowns[V + i]) - contact[GAP + i]
            overlap = overlap if overlap > 0.0 else 0.0
            root = stiffness * math.sqrt(overlap)
            force = root * overlap
            slope = 1.5 * root
            sums[FORCE_U + i] += force * inward
            sums[FORCE_X + i] += force * axial
            sums[STIFF_UU + i] += slope * inward * inward
            sums[STIFF_UX + i] += slope * inward * axial
            sums[STIFF_XX + i] += slope * axial * axial


@kernel
def cold_start(g: PassGeometry, laws: Laws, standing: int, work: Workspace, border: np.ndarray) -> None:
    """A first guess made of the preload: rollers drawn in against their axles, hubs closed by what the preload needs.

    ``border`` (3,) takes the closures left and right and the axle's height [m].
    """
    inwards = laws.play
    for side in range(2):
        closest = EMPTY
        for k in range(work.slots[side] * CONTACT):
            if (k % CONTACT) < ROW:
                closest = min(closest, work.contacts[side * SIDE + k])
        engaged = 0
        gap = 0.0
        inward = 0.0
        axial = 0.0
        for slot in range(work.slots[side]):
            at = side * SIDE + slot * CONTACT
            for i in range(laws.output_count):
                if work.contacts[at + GAP + i] < closest + 3e-4:
                    engaged += 1
                    gap += work.contacts[at + GAP + i]
                    inward += work.contacts[at + INWARD + i]
                    axial += work.contacts[at + AXIAL + i]
        if engaged == 0:
            border[side] = 1e-3
            continue
        gap /= engaged
        inward /= engaged
        axial /= engaged
        overlap = (laws.preload / (engaged * axial * laws.contact_stiffness)) ** (2.0 / 3.0)
        inwards = laws.play + 2.0 * laws.preload / engaged * inward / axial / laws.stop_stiffness
        border[side] = (overlap + gap + inward * inwards) / axial
    for i in range(ROW):
        work.unknowns[V + i] = 0.0
        touched = 0
        for side in range(2):
            if work.slots[side] and work.contacts[side * SIDE + GAP + i] < EMPTY:
                touched += 1
        work.unknowns[U + i] = -inwards if touched == 2 else 0.0
    height = 0.0
    for k in range(standing):
        work.unknowns[U + work.floor_roller[k]] = 0.0
        lowest = g.wheel_radius * work.floor_angle[k, 1]
        if g.crown == 0.0:
            lowest += abs(work.floor_angle[k, 2]) * g.half_output_length
        height = max(height, lowest)
    border[2] = (height if height > 0.0 else g.wheel_radius) - 1e-3


@kernel
def solve_equilibrium(
    g: PassGeometry,
    laws: Laws,
    standing: int,
    work: Workspace,
    border: np.ndarray,
    spring: float,
    rest: np.ndarray,
    side_load: np.ndarray,
    tolerance: float,
) -> tuple[int, float, int]:
    """Newton on the convex energy from the state in ``work`` and ``border``, which it moves to the equilibrium.

    ``spring`` [N/m] and ``rest`` (2,) [m]: preload F = F_a - spring (x - rest) on each hub. ``work.load`` and ``side_load``
    (2,) [N] are forces given from outside on u, v and on the closures. A full step is halved (by the secant of its slope)
    while the slope along it has turned and grown; on a convex energy that needs no energy. Where that cycles, later steps are
    halved while they end uphill.
    Returns steps (negative: not converged), the 2-norm of the residual [N] and evaluations.
    """
    n = padded(laws.output_count)
    unknowns, floor, left, right, step, load = work.unknowns, work.floor, work.left, work.right, work.step, work.load
    play, stop = laws.play, laws.stop_stiffness
    move0 = move1 = move_h = 0.0
    slope0 = 0.0
    scale = 1.0
    steps = 0
    trials = 0
    evaluations = 0
    for i in range(n):
        step[STEP_U + i] = 0.0
        step[STEP_V + i] = 0.0
    while True:
        evaluations += 1
        floor_force, floor_stiffness = press_floor(g, laws, standing, border[2], work)
        for side in range(2):
            sums = left if side == 0 else right
            press_side(work.contacts, side, work.slots[side], n, laws.contact_stiffness, border[side], unknowns, sums)
        g0 = spring * (border[0] - rest[0]) - laws.preload - side_load[0]
        g1 = spring * (border[1] - rest[1]) - laws.preload - side_load[1]
        gh = laws.wheel_load - floor_force
        d00 = d11 = spring + 1e-9
        d22 = floor_stiffness + 1e-9
        d01 = d02 = d12 = 0.0
        r0 = r1 = r2 = 0.0
        squares = 0.0
        slope1 = 0.0
        for i in range(n):
            u = unknowns[U + i]
            v = unknowns[V + i]
            xu0, xx0 = left[STIFF_UX + i], left[STIFF_XX + i]
            xu1, xx1 = right[STIFF_UX + i], right[STIFF_XX + i]
            cosine = floor[FLOOR_COSINE + i]
            by_floor = floor[FLOOR_STIFFNESS + i] * cosine
            # the axle: free within the play, a linear stop beyond
            distance = math.sqrt(u * u + v * v) + 1e-30
            beyond = distance - play
            beyond = beyond if beyond > 0.0 else 0.0
            cu = u / distance
            cv = v / distance
            reaction = stop * beyond
            ring = reaction / distance
            radial = (stop if beyond > 0.0 else 0.0) - ring
            gu = CENTRING * u - load[U + i] + left[FORCE_U + i] + right[FORCE_U + i] + reaction * cu
            gu -= floor[FLOOR_FORCE + i] * cosine
            gv = CENTRING * v - load[V + i] + left[FORCE_X + i] - right[FORCE_X + i] + reaction * cv
            auu = CENTRING + left[STIFF_UU + i] + right[STIFF_UU + i] + ring + radial * cu * cu + by_floor * cosine
            auv = xu0 - xu1 + radial * cu * cv
            avv = CENTRING + xx0 + xx1 + ring + radial * cv * cv
            g0 += left[FORCE_X + i]
            g1 += right[FORCE_X + i]
            squares += gu * gu + gv * gv
            slope1 += gu * step[STEP_U + i] + gv * step[STEP_V + i]
            inverse = 1.0 / (auu * avv - auv * auv)
            iuu = avv * inverse
            iuv = -auv * inverse
            ivv = auu * inverse
            s0u = iuu * xu0 + iuv * xx0
            s0v = iuv * xu0 + ivv * xx0
            s1u = iuu * xu1 - iuv * xx1
            s1v = iuv * xu1 - ivv * xx1
            shu = iuu * by_floor
            shv = iuv * by_floor
            fu = iuu * gu + iuv * gv
            fv = iuv * gu + ivv * gv
            step[GRAD_U + i] = gu
            step[GRAD_V + i] = gv
            step[BY_LEFT_U + i] = s0u
            step[BY_LEFT_V + i] = s0v
            step[BY_RIGHT_U + i] = s1u
            step[BY_RIGHT_V + i] = s1v
            step[BY_FLOOR_U + i] = shu
            step[BY_FLOOR_V + i] = shv
            step[FREE_U + i] = fu
            step[FREE_V + i] = fv
            d00 += xx0 - (xu0 * s0u + xx0 * s0v)
            d01 -= xu0 * s1u + xx0 * s1v
            d11 += xx1 - (xu1 * s1u - xx1 * s1v)
            d02 -= xu0 * shu + xx0 * shv
            d12 -= xu1 * shu - xx1 * shv
            d22 -= by_floor * shu
            r0 += xu0 * fu + xx0 * fv
            r1 += xu1 * fu - xx1 * fv
            r2 += by_floor * fu
        residual = math.sqrt(squares + g0 * g0 + g1 * g1 + gh * gh)
        if not residual < 1e100:  # also nan
            return -steps - 1, np.inf, evaluations
        if residual < tolerance:
            return steps, residual, evaluations
        if steps > 0:
            slope1 += g0 * move0 + g1 * move1 + gh * move_h
            if slope1 > (1e3 if steps < CALM else 0.5) * abs(slope0) and trials < 30:
                fraction = min(max(slope0 / (slope0 - slope1), 0.1), 0.9)
                back = scale * (1.0 - fraction)
                scale *= fraction
                trials += 1
                for i in range(n):
                    unknowns[U + i] -= back * step[STEP_U + i]
                    unknowns[V + i] -= back * step[STEP_V + i]
                border[0] -= back * move0
                border[1] -= back * move1
                border[2] -= back * move_h
                continue
        if steps >= STEPS:
            return (steps if residual < ACCEPTED else -steps - 1), residual, evaluations
        # three unknowns are left: symmetric elimination
        t0, t1, t2 = r0 - g0, r1 - g1, r2 - gh
        l1 = d01 / d00
        l2 = d02 / d00
        d11 -= l1 * d01
        d12 -= l1 * d02
        d22 -= l2 * d02
        t1 -= l1 * t0
        t2 -= l2 * t0
        l3 = d12 / d11
        move_h = (t2 - l3 * t1) / (d22 - l3 * d12)
        move1 = (t1 - d12 * move_h) / d11
        move0 = (t0 - d01 * move1 - d02 * move_h) / d00
        slope0 = g0 * move0 + g1 * move1 + gh * move_h
        for i in range(n):
            mu = -step[FREE_U + i] - step[BY_LEFT_U + i] * move0 - step[BY_RIGHT_U + i] * move1 - step[BY_FLOOR_U + i] * move_h
            mv = -step[FREE_V + i] - step[BY_LEFT_V + i] * move0 - step[BY_RIGHT_V + i] * move1 - step[BY_FLOOR_V + i] * move_h
            step[STEP_U + i] = mu
            step[STEP_V + i] = mv
            slope0 += step[GRAD_U + i] * mu + step[GRAD_V + i] * mv
        largest = max(abs(move0), abs(move1), abs(move_h))
        for i in range(n):
            largest = max(largest, abs(step[STEP_U + i]), abs(step[STEP_V + i]))
        scale = min(1.0, STEP_LIMIT / largest)
        steps += 1
        trials = 0
        for i in range(n):
            unknowns[U + i] += scale * step[STEP_U + i]
            unknowns[V + i] += scale * step[STEP_V + i]
        border[0] += scale * move0
        border[1] += scale * move1
        border[2] += scale * move_h
