"""Contacts that creep: forces, drags and moments between turning hub rollers and spinning output rollers.

Speeds are taken relative to the carrier and in units of half the hubs' counter-rotation: the left hub turns at c - 1, the
right hub at c + 1, with c common to both. Every law here depends on ratios of speeds alone, so a state found in these
units holds at any speed. A roller's surface speed is V, positive in the sense in which such hubs drive it.

For a contact of side sigma (-1 left, +1 right), hub speed omega, levers of the hub roller's axis (a) and across it (b):
slip along the axis  s = sigma omega lever_a - V a_c;   rolling across it  w = V a_t - sigma omega lever_b;
creep force  g = mu' N sat((s/|w|)/xi_s) along sigma a, xi_s growing with N^(1/3) as the patch does;
drag of the hub roller's bore and washers  f_x = d_N N + d_f |g|, and rolling resistance h N^(4/3), both across the axis
against w; drilling moment min(linear in the spin, full slip) about the normal. Derived here.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np

from objectives.compiled import kernel
from objectives.workspace import (
    ALONG_C,
    ALONG_T,
    AXIAL,
    BESIDE,
    CONTACT,
    GAP,
    INWARD,
    LEVER_C,
    LEVER_T,
    PRESSED,
    ROW,
    SIDE,
    SPEED,
    STILL,
    TOWARDS,
    WIDTH,
    U,
    V,
)


class CreepLaws(NamedTuple):
    """Constants of one candidate's creeping contacts; units in objectives.contacts.COLUMNS."""

    friction: float  # along the axis
    drag_of_load: float
    drag_of_force: float
    creep_saturation: float  # at 1 N
    hysteresis: float  # at 1 N
    spin_linear: float  # at 1 N
    spin_full: float  # at 1 N
    bore_drag: float
    face_drag: float  # rim force on an output roller over the force along its axle
    floor_hysteresis: float


# sums over the contacts of a side, each a row; *_U, *_X, *_V, *_C: by the roller's u, by y, by its speed, by c
(
    FORCE_U,  # N, on u
    FORCE_X,  # N, on y
    FORCE_UU,
    FORCE_UX,
    FORCE_XU,
    FORCE_XX,
    FORCE_UV,
    FORCE_XV,
    FORCE_UC,
    FORCE_XC,
    RIM,  # N, rim force that turns the roller
    RIM_U,
    RIM_X,
    RIM_V,
    RIM_C,
    TORQUE,  # N m, of the hub
    TORQUE_U,
    TORQUE_X,
    TORQUE_V,
    TORQUE_C,
    THRUST,  # N, along the roller's axle
    THRUST_U,
    THRUST_X,
    THRUST_V,
    THRUST_C,
) = (k * ROW for k in range(25))
#: rows of what a roller's speed is found from: rim force, thrust, and their derivatives by the speed
ROLL_FORCE, ROLL_THRUST, ROLL_FORCE_V, ROLL_THRUST_V = (k * ROW for k in range(4))

#: smallest rolling speed, in m per rad, that a contact is given, so that a ratio exists
SLOWEST = 1e-9
#: N^(1/3), added to the cube root of a contact's force so that creep exists where there is none
NO_FORCE = 1e-12


@kernel
def creep_sums(
    contacts: np.ndarray,
    side: int,
    slots: int,
    n: int,
    stiffness: float,
    third: float,
    laws: CreepLaws,
    closure: float,
    common: float,
    unknowns: np.ndarray,
    sums: np.ndarray,
) -> None:
    """Forces of one side's creeping contacts and their derivatives, summed for each roller.

    ``third`` is the cube root of the contacts' ``stiffness``. ``sums`` must hold finite numbers when it comes in.
    """
    sign = 1.0 - 2.0 * side  # of v in y
    sigma = -sign
    omega = common + sigma
    turning = 1.0 if omega > 0.0 else -1.0
    for slot in range(slots):
        contact = contacts[side * SIDE + slot * CONTACT : side * SIDE + (slot + 1) * CONTACT]
        keep = 0.0 if slot == 0 else 1.0
        for i in range(n):
            inward = contact[INWARD + i]
            axial = contact[AXIAL + i]
            a_c = contact[ALONG_C + i]
            a_t = contact[ALONG_T + i]
            lever_a = a_t * contact[LEVER_T + i] + a_c * contact[LEVER_C + i]
            lever_b = a_t * contact[LEVER_C + i] - a_c * contact[LEVER_T + i]
            speed = unknowns[SPEED + i]
            overlap = inward * unknowns[U + i] + axial * (closure + sign * unknowns[V + i]) - contact[GAP + i]
            overlap = overlap if overlap > 0.0 else 0.0
            root = stiffness * math.sqrt(overlap)
            force = root * overlap
            slope = 1.5 * root
            slope_u = slope * inward
            slope_x = slope * axial
            cube = third * math.sqrt(overlap) + NO_FORCE
            slip = sigma * omega * lever_a - speed * a_c
            roll = speed * a_t - sigma * omega * lever_b
            roll_sign = 1.0 if roll > 0.0 else -1.0
            rolled = roll * roll_sign + SLOWEST
            inverse = 1.0 / (rolled * laws.creep_saturation * cube)
            creep = slip * inverse
            size = creep if creep > 0.0 else -creep
            slip_sign = 1.0 if creep > 0.0 else -1.0
            left_over = 1.0 - size if size < 1.0 else 0.0
            saturation = slip_sign * (1.0 - left_over * left_over * left_over)
            stiff = 3.0 * laws.friction * force * left_over * left_over
            g = laws.friction * force * saturation
            g_n = laws.friction * (saturation - left_over * left_over * creep)
            relative = creep * roll_sign * laws.creep_saturation * cube
            g_v = stiff * inverse * (-a_c - relative * a_t)
            g_c = stiff * inverse * sigma * (lever_a + relative * lever_b)
            by_g = laws.drag_of_force * slip_sign
            drag = laws.drag_of_load * force + by_g * g
            resistance = laws.hysteresis * force * cube
            across = roll_sign * (drag + resistance)
            across_n = roll_sign * (laws.drag_of_load + by_g * g_n + 4.0 / 3.0 * laws.hysteresis * cube)
            across_v = roll_sign * by_g * g_v
            across_c = roll_sign * by_g * g_c
            # traction along c on the roller: without the rolling resistance, which is a moment of the pressure
            c = sigma * (g * a_c - roll_sign * drag * a_t)
            c_n = sigma * (g_n * a_c - roll_sign * (laws.drag_of_load + by_g * g_n) * a_t)
            c_v = sigma * (g_v * a_c - across_v * a_t)
            c_c = sigma * (g_c * a_c - across_c * a_t)
            part_u = inward + axial * c_n
            part_x = axial - inward * c_n
            spin = turning * omega * axial / rolled
            drill = laws.spin_linear * spin
            drill = (drill if drill < laws.spin_full else laws.spin_full) * cube * axial * turning
            rim_n = g_n * a_c - across_n * a_t
            torque_n = sigma * (g_n * lever_a - across_n * lever_b) + 4.0 / 3.0 * drill
            sums[FORCE_U + i] = keep * sums[FORCE_U + i] + force * inward + axial * c
            sums[FORCE_X + i] = keep * sums[FORCE_X + i] + force * axial - inward * c
            sums[FORCE_UU + i] = keep * sums[FORCE_UU + i] + part_u * slope_u
            sums[FORCE_UX + i] = keep * sums[FORCE_UX + i] + part_u * slope_x
            sums[FORCE_XU + i] = keep * sums[FORCE_XU + i] + part_x * slope_u
            sums[FORCE_XX + i] = keep * sums[FORCE_XX + i] + part_x * slope_x
            sums[FORCE_UV + i] = keep * sums[FORCE_UV + i] + axial * c_v
            sums[FORCE_XV + i] = keep * sums[FORCE_XV + i] - inward * c_v
            sums[FORCE_UC + i] = keep * sums[FORCE_UC + i] + axial * c_c
            sums[FORCE_XC + i] = keep * sums[FORCE_XC + i] - inward * c_c
            sums[RIM + i] = keep * sums[RIM + i] + g * a_c - across * a_t
            sums[RIM_U + i] = keep * sums[RIM_U + i] + rim_n * slope_u
            sums[RIM_X + i] = keep * sums[RIM_X + i] + rim_n * slope_x
            sums[RIM_V + i] = keep * sums[RIM_V + i] + g_v * a_c - across_v * a_t
            sums[RIM_C + i] = keep * sums[RIM_C + i] + g_c * a_c - across_c * a_t
            torque = sigma * (g * lever_a - across * lever_b) + drill * force
            sums[TORQUE + i] = keep * sums[TORQUE + i] + torque
            sums[TORQUE_U + i] = keep * sums[TORQUE_U + i] + torque_n * slope_u
            sums[TORQUE_X + i] = keep * sums[TORQUE_X + i] + torque_n * slope_x
            sums[TORQUE_V + i] = keep * sums[TORQUE_V + i] + sigma * (g_v * lever_a - across_v * lever_b)
            sums[TORQUE_C + i] = keep * sums[TORQUE_C + i] + sigma * (g_c * lever_a - across_c * lever_b)
            thrust_n = sigma * (g_n * a_t + roll_sign * (laws.drag_of_load + by_g * g_n) * a_c)
            sums[THRUST + i] = keep * sums[THRUST + i] + sigma * (g * a_t + roll_sign * drag * a_c)
            sums[THRUST_U + i] = keep * sums[THRUST_U + i] + thrust_n * slope_u
            sums[THRUST_X + i] = keep * sums[THRUST_X + i] + thrust_n * slope_x
            sums[THRUST_V + i] = keep * sums[THRUST_V + i] + sigma * (g_v * a_t + across_v * a_c)
            sums[THRUST_C + i] = keep * sums[THRUST_C + i] + sigma * (g_c * a_t + across_c * a_c)


@kernel
def load_contacts(
    contacts: np.ndarray,
    side: int,
    slots: int,
    n: int,
    stiffness: float,
    third: float,
    laws: CreepLaws,
    closure: float,
    common: float,
    unknowns: np.ndarray,
) -> None:
    """What the rim forces of one side depend on besides the rollers' speeds, into rows of the contacts.

    ``third`` is the cube root of the contacts' ``stiffness``.
    """
    sign = 1.0 - 2.0 * side
    turn = -sign * (common - sign)
    for slot in range(slots):
        contact = contacts[side * SIDE + slot * CONTACT : side * SIDE + (slot + 1) * CONTACT]
        for i in range(n):
            a_c = contact[ALONG_C + i]
            a_t = contact[ALONG_T + i]
            overlap = contact[INWARD + i] * unknowns[U + i] - contact[GAP + i]
            overlap += contact[AXIAL + i] * (closure + sign * unknowns[V + i])
            overlap = overlap if overlap > 0.0 else 0.0
            root = math.sqrt(overlap)
            force = stiffness * overlap * root
            cube = third * root + NO_FORCE
            contact[TOWARDS + i] = turn * (a_t * contact[LEVER_T + i] + a_c * contact[LEVER_C + i])
            contact[BESIDE + i] = turn * (a_t * contact[LEVER_C + i] - a_c * contact[LEVER_T + i])
            contact[PRESSED + i] = force
            contact[WIDTH + i] = laws.creep_saturation * cube
            contact[STILL + i] = (laws.drag_of_load + laws.hysteresis * cube) * force


@kernel
def rim_force(
    contacts: np.ndarray, side: int, slots: int, n: int, laws: CreepLaws, unknowns: np.ndarray, rim: np.ndarray
) -> None:
    """Add the rim force and the thrust on every roller from one side, and their derivatives by its speed, to the ROLL rows.

    The same laws as ``creep_sums``, without what only the equilibrium needs, from the rows of ``load_contacts``.
    """
    sigma = 2.0 * side - 1.0
    for slot in range(slots):
        contact = contacts[side * SIDE + slot * CONTACT : side * SIDE + (slot + 1) * CONTACT]
        for i in range(n):
            a_c = contact[ALONG_C + i]
            a_t = contact[ALONG_T + i]
            speed = unknowns[SPEED + i]
            slip = contact[TOWARDS + i] - speed * a_c
            roll = speed * a_t - contact[BESIDE + i]
            roll_sign = 1.0 if roll > 0.0 else -1.0
            width = contact[WIDTH + i]
            inverse = 1.0 / ((roll * roll_sign + SLOWEST) * width)
            creep = slip * inverse
            slip_sign = 1.0 if creep > 0.0 else -1.0
            size = creep * slip_sign
            left_over = 1.0 - size if size < 1.0 else 0.0
            square = left_over * left_over
            force = contact[PRESSED + i]
            limit = laws.friction * force
            g = limit * slip_sign * (1.0 - square * left_over)
            g_v = -3.0 * limit * square * inverse * (a_c + creep * roll_sign * width * a_t)
            turned_t = roll_sign * a_t
            turned_c = roll_sign * a_c
            by_g = laws.drag_of_force * slip_sign
            rim[ROLL_FORCE + i] += g * (a_c - by_g * turned_t) - turned_t * contact[STILL + i]
            rim[ROLL_FORCE_V + i] += g_v * (a_c - by_g * turned_t)
            rim[ROLL_THRUST + i] += sigma * (g * (a_t + by_g * turned_c) + turned_c * laws.drag_of_load * force)
            rim[ROLL_THRUST_V + i] += sigma * g_v * (a_t + by_g * turned_c)
