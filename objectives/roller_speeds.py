"""How fast the output rollers of a wheel that drives sideways turn, at given displacements and a given speed of the carrier.

Each roller turns at the speed at which what its contacts push with along its rim meets its drags and the side force that it
passes to the floor; the rollers on the floor share the side force by their loads. Derived here.
"""

from __future__ import annotations

import math

import numpy as np

from objectives.compiled import kernel
from objectives.creeping import (
    ROLL_FORCE,
    ROLL_FORCE_V,
    ROLL_THRUST,
    ROLL_THRUST_V,
    THRUST,
    CreepLaws,
    load_contacts,
    rim_force,
)
from objectives.engagement import Laws
from objectives.workspace import (
    ALONG_C,
    ALONG_T,
    AXIAL,
    CONTACT,
    FLOOR_FORCE,
    GAP,
    INWARD,
    ROW,
    SPEED,
    U,
    V,
    Workspace,
)
from objectives.workspace import SIDE as SIDE_OF_CONTACTS

#: N, rim balance of a roller at which its speed counts as found, and the tries for it
RIM_TOLERANCE = 1e-7
RIM_TRIES = 40
#: share of the largest speed below which a roller stands still
STANDING = 1e-9
#: share of its friction that a floor roller's contacts may use: at all of it they slide and its speed is anyone's guess
CREEPING = 0.995

# rows per output roller in Workspace.step; the first 13 are the solver's own
(
    REACTION,  # N, of the axle
    SIDE,  # N, the floor's side force
    DRAG,  # N, rim force of bore and rolling on the floor
    LOW,  # bracket of the roller's speed
    HIGH,
    CAPACITY,  # N, side force that a floor roller can pass on
    SIDE_BY_LOAD,  # derivative of the side force by the roller's floor load, the sum of all loads being given
) = (k * ROW for k in range(13, 20))


@kernel
def drags(laws: Laws, creep: CreepLaws, n: int, work: Workspace) -> None:
    """Axle reactions, and the rim force that bore and the floor's rolling resistance take from each roller."""
    for i in range(n):
        u, v = work.unknowns[U + i], work.unknowns[V + i]
        beyond = math.sqrt(u * u + v * v) - laws.play
        reaction = laws.stop_stiffness * (beyond if beyond > 0.0 else 0.0)
        work.step[REACTION + i] = reaction
        work.step[DRAG + i] = creep.bore_drag * reaction + creep.floor_hysteresis * work.floor[FLOOR_FORCE + i]


@kernel
def roll_speeds(
    laws: Laws, creep: CreepLaws, n: int, third: float, tolerance: float, work: Workspace, border: np.ndarray, common: float,
    fastest: float,
) -> bool:  # fmt: skip
    """Find every roller's speed from its torque balance, within ``tolerance`` [N] and between 0 and ``fastest``.

    Newton from the speeds in ``work``, kept inside a bracket: the rim force falls as the roller speeds up. A roller whose
    drag is more than its contacts can turn stands still. Returns False where one stands that the floor should push.
    """
    step, rim, unknowns = work.step, work.share, work.unknowns
    for side in range(2):
        load_contacts(
            work.contacts, side, work.slots[side], n, laws.contact_stiffness, third, creep, border[side], common, unknowns
        )
    for i in range(n):
        step[LOW + i] = 0.0
        step[HIGH + i] = fastest
    for _ in range(RIM_TRIES):
        for i in range(n):
            rim[ROLL_FORCE + i] = 0.0
            rim[ROLL_FORCE_V + i] = 0.0
            rim[ROLL_THRUST + i] = 0.0
            rim[ROLL_THRUST_V + i] = 0.0
        for side in range(2):
            rim_force(work.contacts, side, work.slots[side], n, creep, unknowns, rim)
        unsettled = 0.0
        for i in range(n):
            face = creep.face_drag if rim[ROLL_THRUST + i] > 0.0 else -creep.face_drag
            balance = rim[ROLL_FORCE + i] - face * rim[ROLL_THRUST + i] - step[DRAG + i] - step[SIDE + i]
            speed = unknowns[SPEED + i]
            low = speed if balance > 0.0 else step[LOW + i]
            high = step[HIGH + i] if balance > 0.0 else speed
            slope = rim[ROLL_FORCE_V + i] - face * rim[ROLL_THRUST_V + i]
            slope = slope if slope < -1e-9 else -1e-9
            trial = speed - balance / slope
            middle = 0.5 * (low + high)
            inside = (trial > low) & (trial < high)
            size = balance if balance > 0.0 else -balance
            settled = size < tolerance
            step[LOW + i] = low
            step[HIGH + i] = high
            unknowns[SPEED + i] = speed if settled else (trial if inside else middle)
            unsettled += 0.0 if settled or high - low < 1e-12 else 1.0
        if unsettled == 0.0:
            break
    for i in range(laws.output_count):
        if unknowns[SPEED + i] < STANDING * fastest:
            unknowns[SPEED + i] = 0.0
            if step[SIDE + i] > 0.0:
                return False
    return True


@kernel
def side_capacity(laws: Laws, creep: CreepLaws, i: int, third: float, work: Workspace, border: np.ndarray) -> float:
    """Side force [N] that roller ``i`` can pass to the floor: its contacts' friction less its drags, or the floor's grip."""
    thrust = work.left[THRUST + i] + work.right[THRUST + i]
    carried = -work.step[DRAG + i] - creep.face_drag * abs(thrust)
    for side in range(2):
        sign = 1.0 - 2.0 * side
        for slot in range(work.slots[side]):
            at = side * SIDE_OF_CONTACTS + slot * CONTACT
            overlap = work.contacts[at + INWARD + i] * work.unknowns[U + i] - work.contacts[at + GAP + i]
            overlap += work.contacts[at + AXIAL + i] * (border[side] + sign * work.unknowns[V + i])
            if overlap > 0.0:
                root = math.sqrt(overlap)
                force = laws.contact_stiffness * overlap * root
                across = creep.drag_of_load + creep.drag_of_force * creep.friction + creep.hysteresis * third * root
                carried += force * (creep.friction * work.contacts[at + ALONG_C + i] - across * work.contacts[at + ALONG_T + i])
    return min(max(CREEPING * carried, 0.0), laws.friction_floor * work.floor[FLOOR_FORCE + i])


@kernel
def share_side_force(
    laws: Laws, creep: CreepLaws, force: float, standing: int, n: int, third: float, work: Workspace, border: np.ndarray
) -> bool:
    """Share the side force by the floor loads; a roller that is used up keeps its limit and passes the rest on.

    Returns False where all of them together cannot carry it.
    """
    for i in range(n):
        work.step[SIDE + i] = 0.0
        work.step[SIDE_BY_LOAD + i] = 0.0
    for k in range(standing):
        i = work.floor_roller[k]
        loaded = work.floor[FLOOR_FORCE + i] > 0.0
        work.step[CAPACITY + i] = side_capacity(laws, creep, i, third, work, border) if loaded else 0.0
    left_over = force
    for _ in range(standing):
        open_load = 0.0
        for k in range(standing):
            i = work.floor_roller[k]
            if work.step[SIDE + i] < work.step[CAPACITY + i]:
                open_load += work.floor[FLOOR_FORCE + i]
        if left_over <= 0.0 or open_load <= 0.0:
            break
        part = left_over / open_load
        for k in range(standing):
            i = work.floor_roller[k]
            room = work.step[CAPACITY + i] - work.step[SIDE + i]
            if room > 0.0:
                more = min(part * work.floor[FLOOR_FORCE + i], room)
                work.step[SIDE + i] += more
                left_over -= more
    for k in range(standing):
        i = work.floor_roller[k]
        load = work.floor[FLOOR_FORCE + i]
        free = work.step[SIDE + i] < work.step[CAPACITY + i] or work.step[CAPACITY + i] == laws.friction_floor * load
        work.step[SIDE_BY_LOAD + i] = work.step[SIDE + i] / load if load > 0.0 and free else 0.0
    return left_over <= 1e-9 * force
