"""How the drive forces share the friction there is: what one state of the normal forces can carry in a direction.

Forces along c (in the contact plane across the output roller) turn a roller: the left side's against the right side's.
So on every roller C_right - C_left = demand, the floor's side force plus the drag of bores; forwards the parts along t
count. With side limits S_left, S_right the contacts of a side scale together. Derived here.

Forces are those of the hubs on the rollers, for a floor that pushes along -y; the mirrored wheel gives the other way.
"""

from __future__ import annotations

import math

import numpy as np

from objectives.compiled import kernel
from objectives.engagement import CENTRING, Laws
from objectives.workspace import FLOOR_COSINE, FLOOR_FORCE, FLOOR_STIFFNESS, ROW, U, V, Workspace

# sums over the contacts of a side, each a row; *_U and *_X are derivatives by the roller's u and by y = x + s v
(
    FORCE_U,  # N, on u: normal force and turning drag
    FORCE_X,  # N, on y
    DRIVE_U,  # N, friction limit along c times the normal's part along u; and below along y
    DRIVE_X,
    STIFF_UU,  # N/m, of FORCE_U by u, by y; of FORCE_X by u, by y
    STIFF_UX,
    STIFF_XU,
    STIFF_XX,
    DRIVE_UU,  # N/m, of the drive rows
    DRIVE_UX,
    DRIVE_XX,
    CAP,  # N, friction limit along c, and its derivatives
    CAP_U, CAP_X,
    TURN,  # N at the floor, forward force of that friction limit
    TURN_U, TURN_X,
    DRAG,  # N, rim drag on the roller of hub rollers that turn
    DRAG_U, DRAG_X,
    TWIST,  # N at the floor, forward force of that drag
    TWIST_U, TWIST_X,
) = (k * ROW for k in range(23))

# rows per output roller in Workspace.step that the sharing fills; the first ten are the solver's own
(
    REACTION,  # N, of the axle
    AXLE_U,  # N, gradient of axle and centring, and its derivatives
    AXLE_V,
    AXLE_UU,
    AXLE_UV,
    AXLE_VV,
    DEMAND,  # N, drag that the sides must turn the roller against; and its derivatives
    DEMAND_U,
    DEMAND_V,
    DEMAND_LEFT,
    DEMAND_RIGHT,
    DEMAND_HEIGHT,
    PASSED,  # N, side force that a floor roller can pass on
    SIDE_FORCE,  # N, side force that it does pass on, along -y; and its derivatives
    SIDE_BY_U,
    SIDE_BY_V,
    SIDE_BY_LEFT,
    SIDE_BY_RIGHT,
    SIDE_BY_HEIGHT,
    SIDE_BY_LEVEL,
    SATURATED,  # 1 where the contacts of a roller are used up
) = (k * ROW for k in range(10, 31))

# rows of Workspace.share: share of its limit that each side pushes with along c, and its derivatives by u, v, the closures,
# the axle's height and the fourth unknown
(
    SHARE_L,
    BY_U_L,
    BY_V_L,
    BY_LEFT_L,
    BY_RIGHT_L,
    BY_HEIGHT_L,
    BY_LEVEL_L,
    SHARE_R,
    BY_U_R,
    BY_V_R,
    BY_LEFT_R,
    BY_RIGHT_R,
    BY_HEIGHT_R,
    BY_LEVEL_R,
) = (k * ROW for k in range(14))

#: what the fourth unknown of a state is: nothing, how far rollers lean from even to extreme sharing, the side forces' level
NONE, LEAN, LEVEL = range(3)

#: level above every breakpoint: all friction is used up
ALL_USED = 1e300


@kernel
def split(sense: float, lean: float, cap_left: float, cap_right: float, demand: float) -> tuple[float, float]:
    """Forces along c of the two sides, C_right - C_left = demand, or what their limits leave of it.

    ``lean`` 0 shares in proportion to the limits, 1 uses friction up forwards (``sense`` +1) or in reverse (-1).
    """
    both = cap_left + cap_right
    demand = demand if demand < both else both
    even = -demand * cap_left / both if both > 0.0 else 0.0
    beside = cap_right - sense * demand
    extreme = sense * (cap_left if cap_left <= beside else beside)
    force = even + lean * (extreme - even)
    return force, force + demand


@kernel
def forward_share(sense: float, left: np.ndarray, right: np.ndarray, i: int, demand: float) -> float:
    """Forward force at the floor of roller ``i``, positive in the ``sense``, when it also meets ``demand`` [N]."""
    cap_left, cap_right = left[CAP + i], right[CAP + i]
    c_left, c_right = split(sense, 1.0, cap_left, cap_right, demand)
    force = left[TWIST + i] + right[TWIST + i]
    if cap_left > 0.0:
        force += c_left / cap_left * left[TURN + i]
    if cap_right > 0.0:
        force += c_right / cap_right * right[TURN + i]
    return sense * force


@kernel
def drag_of_axles(laws: Laws, n: int, sideways: bool, work: Workspace) -> None:
    """Axle reactions with their derivatives, and the drag they and the hub rollers put on each roller's turning."""
    unknowns, left, right, step, floor = work.unknowns, work.left, work.right, work.step, work.floor
    turning = 1.0 if sideways else 0.0
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
        step[REACTION + i] = reaction
        step[AXLE_U + i] = CENTRING * u + reaction * cu
        step[AXLE_V + i] = CENTRING * v + reaction * cv
        step[AXLE_UU + i] = CENTRING + ring + radial * cu * cu
        step[AXLE_UV + i] = radial * cu * cv
        step[AXLE_VV + i] = CENTRING + ring + radial * cv * cv
        floor_rolling = turning * laws.floor_rolling
        by_height = -floor_rolling * floor[FLOOR_STIFFNESS + i]
        drag = turning * (laws.bore_drag * reaction + left[DRAG + i] + right[DRAG + i]) + floor_rolling * floor[FLOOR_FORCE + i]
        by_stop = laws.bore_drag * stop
        step[DEMAND + i] = drag
        by_u = by_stop * cu + left[DRAG_U + i] + right[DRAG_U + i]
        step[DEMAND_U + i] = turning * by_u + by_height * floor[FLOOR_COSINE + i]
        step[DEMAND_V + i] = turning * (by_stop * cv + left[DRAG_X + i] - right[DRAG_X + i])
        step[DEMAND_LEFT + i] = turning * left[DRAG_X + i]
        step[DEMAND_RIGHT + i] = turning * right[DRAG_X + i]
        step[DEMAND_HEIGHT + i] = by_height
        step[SATURATED + i] = 1.0 if drag > 0.0 and drag >= left[CAP + i] + right[CAP + i] else 0.0
        step[SIDE_FORCE + i] = 0.0
        step[SIDE_BY_U + i] = 0.0
        step[SIDE_BY_V + i] = 0.0
        step[SIDE_BY_LEFT + i] = 0.0
        step[SIDE_BY_RIGHT + i] = 0.0
        step[SIDE_BY_HEIGHT + i] = 0.0
        step[SIDE_BY_LEVEL + i] = 0.0


@kernel
def side_forces(laws: Laws, level: float, standing: int, work: Workspace) -> None:
    """Side forces of the rollers on the floor at a level, with their derivatives."""
    left, right, step, floor = work.left, work.right, work.step, work.floor
    for k in range(standing):
        i = work.floor_roller[k]
        load = floor[FLOOR_FORCE + i]
        spare = left[CAP + i] + right[CAP + i] - step[DEMAND + i]
        share = min(level, laws.friction_floor)
        by_height = -share * floor[FLOOR_STIFFNESS + i]
        step[SIDE_FORCE + i] = min(step[PASSED + i], level * load)
        step[SIDE_BY_U + i] = by_height * floor[FLOOR_COSINE + i]
        step[SIDE_BY_V + i] = 0.0
        step[SIDE_BY_LEFT + i] = 0.0
        step[SIDE_BY_RIGHT + i] = 0.0
        step[SIDE_BY_HEIGHT + i] = by_height
        step[SIDE_BY_LEVEL + i] = load if level < laws.friction_floor else 0.0
        step[SATURATED + i] = 0.0
        if spare <= share * load:  # the contacts are used up, by the drag alone or with the side force
            alone = 0.0 if step[DEMAND + i] > 0.0 and spare <= 0.0 else 1.0
            step[SATURATED + i] = 1.0
            step[SIDE_BY_U + i] = alone * (left[CAP_U + i] + right[CAP_U + i] - step[DEMAND_U + i])
            step[SIDE_BY_V + i] = alone * (left[CAP_X + i] - right[CAP_X + i] - step[DEMAND_V + i])
            step[SIDE_BY_LEFT + i] = alone * (left[CAP_X + i] - step[DEMAND_LEFT + i])
            step[SIDE_BY_RIGHT + i] = alone * (right[CAP_X + i] - step[DEMAND_RIGHT + i])
            step[SIDE_BY_HEIGHT + i] = -alone * step[DEMAND_HEIGHT + i]
            step[SIDE_BY_LEVEL + i] = 0.0


@kernel
def share_friction(sense: float, lean: float, leaning: float, n: int, work: Workspace) -> None:
    """Share of its friction limit that each side of every roller pushes with along c, with its derivatives.

    The rule is that of ``split``; ``leaning`` is 1 where the lean is the fourth unknown, else 0.
    """
    left, right, step, share = work.left, work.right, work.step, work.share
    for i in range(n):
        cap_l = left[CAP + i]
        cap_r = right[CAP + i]
        both = cap_l + cap_r
        used = 1.0 if step[SATURATED + i] > 0.0 else 0.0
        demand = both if step[SATURATED + i] > 0.0 else step[DEMAND + i] + step[SIDE_FORCE + i]
        # forces C and their derivatives: by the left limit (p), the right limit (q), the demand (d); C_right = C_left + demand
        inverse = 1.0 / both if both > 0.0 else 0.0
        z = demand * inverse
        even = -z * cap_l
        beside = cap_r - sense * demand
        mine = cap_l <= beside
        extreme = sense * (cap_l if mine else beside)
        c_l = even + lean * (extreme - even)
        p = -z * cap_r * inverse
        q = z * cap_l * inverse
        d = -cap_l * inverse
        p += lean * ((sense if mine else 0.0) - p)
        q += lean * ((0.0 if mine else sense) - q)
        d += lean * ((0.0 if mine else -1.0) - d)
        inv_l = 1.0 / cap_l if cap_l > 0.0 else 0.0
        inv_r = 1.0 / cap_r if cap_r > 0.0 else 0.0
        f_l = c_l * inv_l
        f_r = (c_l + demand) * inv_r
        # where all is used up the demand follows the limits
        p_l = (p + used * d - f_l) * inv_l
        q_l = (q + used * d) * inv_l
        d_l = (1.0 - used) * d * inv_l
        p_r = (p + used * (1.0 + d)) * inv_r
        q_r = (q + used * (1.0 + d) - f_r) * inv_r
        d_r = (1.0 - used) * (1.0 + d) * inv_r
        by_lean = leaning * (extreme - even)
        lu, lx, ru, rx = left[CAP_U + i], left[CAP_X + i], right[CAP_U + i], right[CAP_X + i]
        demand_u = step[DEMAND_U + i] + step[SIDE_BY_U + i]
        demand_v = step[DEMAND_V + i] + step[SIDE_BY_V + i]
        demand_left = step[DEMAND_LEFT + i] + step[SIDE_BY_LEFT + i]
        demand_right = step[DEMAND_RIGHT + i] + step[SIDE_BY_RIGHT + i]
        demand_height = step[DEMAND_HEIGHT + i] + step[SIDE_BY_HEIGHT + i]
        demand_level = step[SIDE_BY_LEVEL + i]
        share[SHARE_L + i] = f_l
        share[SHARE_R + i] = f_r
        share[BY_U_L + i] = p_l * lu + q_l * ru + d_l * demand_u
        share[BY_V_L + i] = p_l * lx - q_l * rx + d_l * demand_v
        share[BY_LEFT_L + i] = p_l * lx + d_l * demand_left
        share[BY_RIGHT_L + i] = q_l * rx + d_l * demand_right
        share[BY_HEIGHT_L + i] = d_l * demand_height
        share[BY_LEVEL_L + i] = d_l * demand_level + by_lean * inv_l
        share[BY_U_R + i] = p_r * lu + q_r * ru + d_r * demand_u
        share[BY_V_R + i] = p_r * lx - q_r * rx + d_r * demand_v
        share[BY_LEFT_R + i] = p_r * lx + d_r * demand_left
        share[BY_RIGHT_R + i] = q_r * rx + d_r * demand_right
        share[BY_HEIGHT_R + i] = d_r * demand_height
        share[BY_LEVEL_R + i] = d_r * demand_level + by_lean * inv_r


@kernel
def forward_force(sense: float, lean: float, n: int, work: Workspace) -> tuple[float, float]:
    """Forward force at the floor [N] when friction is split so, of all rollers and of those without floor load alone."""
    left, right, step = work.left, work.right, work.step
    force = 0.0
    standing = 0.0
    for i in range(n):
        cap_l = left[CAP + i]
        cap_r = right[CAP + i]
        c_l, c_r = split(sense, lean, cap_l, cap_r, step[DEMAND + i] + step[SIDE_FORCE + i])
        part = left[TWIST + i] + right[TWIST + i]
        part += c_l * left[TURN + i] / cap_l if cap_l > 0.0 else 0.0
        part += c_r * right[TURN + i] / cap_r if cap_r > 0.0 else 0.0
        force += part
        standing += part if work.floor[FLOOR_FORCE + i] > 0.0 else 0.0
    return force, force - standing


@kernel
def side_level(sense: float, slope: float, others: float, standing: int, work: Workspace) -> tuple[float, float]:
    """Level of the side forces at which extreme sharing just gives the forward force that the direction asks.

    Side forces are min(passed_k, level G_k). ``others`` [N] is the forward force, in the ``sense``, of the rollers that
    carry no floor load; ``slope`` is forward over side force asked, in that sense. Forward force over the level is
    piecewise linear with at most two breakpoints a floor roller, so the answer is in closed form. Reads DEMAND as drag
    alone. Returns the level [-] and the sum of the side forces [N]; 0 where even without side force it cannot be had.
    """
    left, right, step, floor, breaks = work.left, work.right, work.step, work.floor, work.breaks
    count = 0
    for k in range(standing):
        i = work.floor_roller[k]
        if floor[FLOOR_FORCE + i] > 0.0:
            full = step[PASSED + i] / floor[FLOOR_FORCE + i]
            turn = (sense * (right[CAP + i] - left[CAP + i]) - step[DEMAND + i]) / floor[FLOOR_FORCE + i]
            breaks[count] = full
            breaks[count + 1] = turn if 0.0 < turn < full else 0.0
            count += 2
    breaks[count] = 0.0
    count += 1
    for j in range(1, count):  # into falling order
        at = j
        while at > 0 and breaks[at] > breaks[at - 1]:
            breaks[at], breaks[at - 1] = breaks[at - 1], breaks[at]
            at -= 1
    spare_before = 0.0
    level_before = 0.0
    for j in range(count):
        level = breaks[j]
        if j > 0 and level == level_before:
            continue
        forwards = others
        for k in range(standing):
            i = work.floor_roller[k]
            if floor[FLOOR_FORCE + i] > 0.0:
                passed = min(step[PASSED + i], level * floor[FLOOR_FORCE + i])
                forwards += forward_share(sense, left, right, i, passed + step[DEMAND + i])
        spare = forwards - slope * _passed_at(level, standing, work)
        if spare >= 0.0:
            if j > 0:
                level += spare / (spare - spare_before) * (level_before - level)
            return level, _passed_at(level, standing, work)
        spare_before = spare
        level_before = level
    return 0.0, 0.0


@kernel
def _passed_at(level: float, standing: int, work: Workspace) -> float:
    """Sum of the side forces at a level [N]."""
    sideways = 0.0
    for k in range(standing):
        i = work.floor_roller[k]
        sideways += min(work.step[PASSED + i], level * work.floor[FLOOR_FORCE + i])
    return sideways


@kernel
def share_out(laws: Laws, d_x: float, d_y: float, standing: int, n: int, work: Workspace) -> tuple[float, int, float, float]:
    """Ground force [N] that the present normal forces carry in the direction (d_x forwards, d_y >= 0 sideways, a unit vector).

    Forwards alone every roller gives its extreme. With a sideways part the rollers on the floor carry what they can pass
    on, shared by their floor loads, and all rollers lean from sharing evenly towards the forward or reverse extreme by one
    common share, so that the forward force is what the direction asks (none for pure sideways). Where even the extreme
    gives too little, the side forces come down to a lower level instead.

    Reads the sums of both sides and the floor forces; fills the rows of this module in ``work.step`` and ``work.share``.
    Returns the force, what the fourth unknown is (NONE, LEAN or LEVEL), the sense of the extreme and the slope, forward
    over side force in that sense.
    """
    left, right, step, floor = work.left, work.right, work.step, work.floor
    drag_of_axles(laws, n, d_y > 0.0, work)
    if d_y == 0.0:
        sense = 1.0 if d_x > 0.0 else -1.0
        share_friction(sense, 1.0, 0.0, n, work)
        force, _ = forward_force(sense, 1.0, n, work)
        return sense * force, NONE, sense, 0.0
    for k in range(standing):
        i = work.floor_roller[k]
        carried = left[CAP + i] + right[CAP + i] - step[DEMAND + i]
        step[PASSED + i] = min(max(carried, 0.0), laws.friction_floor * floor[FLOOR_FORCE + i])
    side_forces(laws, ALL_USED, standing, work)
    sideways = _passed_at(ALL_USED, standing, work)
    asked = d_x / d_y * sideways
    forward, _ = forward_force(1.0, 0.0, n, work)
    sense = 1.0 if asked > forward else -1.0
    extreme, others = forward_force(sense, 1.0, n, work)
    reach = extreme - forward
    slope = sense * d_x / d_y
    if abs(asked - forward) <= abs(reach):
        share_friction(sense, (asked - forward) / reach if reach != 0.0 else 0.0, 1.0, n, work)
        return sideways / d_y, LEAN, sense, slope
    level, sideways = side_level(sense, slope, sense * others, standing, work)
    side_forces(laws, level, standing, work)
    share_friction(sense, 1.0, 0.0, n, work)
    return sideways / d_y, LEVEL, sense, slope
