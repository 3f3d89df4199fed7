"""Which rollers touch which, and how the output rollers stand on the floor."""

from __future__ import annotations

import math
from typing import NamedTuple

from objectives.compiled import kernel
from objectives.contact_pass import PassGeometry, contact_at, touches
from objectives.workspace import (
    ALONG_C,
    ALONG_T,
    AXIAL,
    CONTACT,
    EMPTY,
    FLOOR_COSINE,
    FLOOR_FORCE,
    FLOOR_ROLLERS,
    FLOOR_STIFFNESS,
    GAP,
    INWARD,
    LEVER_C,
    LEVER_T,
    PASS_ALONG_C,
    PASS_ALONG_T,
    PASS_AXIAL,
    PASS_COSINE,
    PASS_GAP,
    PASS_INWARD,
    PASS_LEVER_C,
    PASS_LEVER_T,
    PASS_ROLLER,
    PASS_SINE,
    PASS_TOUCHES,
    ROW,
    SIDE,
    SLOTS,
    U,
    Workspace,
    padded,
)

#: pitches from straight down within which a roller may stand on the floor; short of 1.5, so that a tie adds none
WINDOW = 1.5 * (1 - 1e-9)
#: N/m, a spring so weak that it decides nothing but which of many equal states is taken
CENTRING = 1.0


class Laws(NamedTuple):
    """Stiffness, friction and load of one candidate. SI units."""

    output_count: int
    hub_count: int
    contact_stiffness: float  # N/m^1.5, k of N = k delta^1.5
    floor_stiffness: float  # N/m^2, force per length and depth of a slice
    stop_stiffness: float  # N/m, of an output roller on its axle beyond the play
    play: float  # m
    preload: float  # N
    preload_stiffness: float  # N/m
    wheel_load: float  # N
    friction_roller: float  # while hub rollers stand still
    friction_turning: float  # along the hub roller's axis while hub rollers turn
    drag_turning: float  # force across that axis over the normal force at that limit
    friction_floor: float
    bore_drag: float  # mu_bore r_axle / r_o: rim force on an output roller over its axle reaction
    rolling: float  # N^(-1/3), resistance of a turning hub roller on an output roller at 1 N over the normal force
    floor_rolling: float  # rim force over the floor load of an output roller that rolls sideways


@kernel
def meet(g: PassGeometry, laws: Laws, side: int, phase: float, work: Workspace) -> int:
    """Fill the contacts of one side with a hub roller at ``phase`` [rad] from output roller 0; returns how many touch.

    A hub roller touches only the output roller nearest to it.
    """
    contacts, passes = work.contacts, work.passes
    work.slots[side] = 0
    pitch = 2.0 * math.pi / laws.output_count
    for j in range(laws.hub_count):
        angle = phase + 2.0 * math.pi * j / laws.hub_count
        nearest = math.floor(angle / pitch + 0.5)
        eps = angle - nearest * pitch
        passes[PASS_SINE + j] = math.sin(eps)
        passes[PASS_COSINE + j] = math.cos(eps)
        passes[PASS_ROLLER + j] = nearest % laws.output_count
    for j in range(padded(laws.hub_count)):
        touching = contact_at(g, passes[PASS_SINE + j], passes[PASS_COSINE + j])
        passes[PASS_TOUCHES + j] = 1.0 if touches(g, touching) else 0.0
        passes[PASS_GAP + j] = touching.gap
        passes[PASS_INWARD + j] = touching.inward
        passes[PASS_AXIAL + j] = touching.axial
        passes[PASS_ALONG_C + j] = touching.along_c
        passes[PASS_ALONG_T + j] = touching.along_t
        passes[PASS_LEVER_T + j] = touching.lever_t
        passes[PASS_LEVER_C + j] = touching.lever_c
    found = 0
    for j in range(laws.hub_count):
        if passes[PASS_TOUCHES + j] == 0.0:
            continue
        roller = int(passes[PASS_ROLLER + j])
        slot = 0
        while slot < work.slots[side] and contacts[side * SIDE + slot * CONTACT + GAP + roller] < EMPTY:
            slot += 1
        if slot == SLOTS:
            continue
        contact = contacts[side * SIDE + slot * CONTACT : side * SIDE + (slot + 1) * CONTACT]
        if slot == work.slots[side]:
            work.slots[side] += 1
            contact[:] = 0.0
            contact[GAP : GAP + ROW] = EMPTY
        contact[GAP + roller] = passes[PASS_GAP + j]
        contact[INWARD + roller] = passes[PASS_INWARD + j]
        contact[AXIAL + roller] = passes[PASS_AXIAL + j]
        contact[ALONG_C + roller] = passes[PASS_ALONG_C + j]
        contact[ALONG_T + roller] = passes[PASS_ALONG_T + j]
        contact[LEVER_T + roller] = passes[PASS_LEVER_T + j]
        contact[LEVER_C + roller] = passes[PASS_LEVER_C + j]
        found += 1
    return found


@kernel
def stand(laws: Laws, phase: float, work: Workspace) -> int:
    """Find the rollers that can stand on the floor: those within one and a half pitches of straight down.

    ``phase`` [rad] is the angle of output roller 0 from straight down. Returns how many; under a heavy load on many soft
    rollers both neighbours of the lowest carry a share.
    """
    count = 0
    for i in range(ROW):
        work.floor[FLOOR_FORCE + i] = 0.0
        work.floor[FLOOR_STIFFNESS + i] = 0.0
        work.floor[FLOOR_COSINE + i] = 0.0
    turn = 2.0 * math.pi
    for i in range(laws.output_count):
        angle = phase + turn * i / laws.output_count + math.pi
        angle -= turn * math.floor(angle / turn) + math.pi
        if abs(angle) < WINDOW * turn / laws.output_count and count < FLOOR_ROLLERS:
            work.floor_roller[count] = i
            work.floor_angle[count, 0] = angle
            work.floor_angle[count, 1] = math.cos(angle)
            work.floor_angle[count, 2] = math.sin(angle)
            work.floor[FLOOR_COSINE + i] = math.cos(angle)
            count += 1
    return count


@kernel
def floor_contact(
    g: PassGeometry, stiffness: float, cosine: float, sine: float, u: float, height: float
) -> tuple[float, float]:
    """Force [N] and stiffness [N/m] of one output roller on the floor.

    Slices along the roller, each a linear spring of ``stiffness`` [N/m^2]; the depth of slice z of a roller at angle theta
    from straight down, displaced ``u`` [m] inwards, is (R_p - u + r(z)) cos(theta) + z sin(theta) - h. A straight roller in
    closed form; a crowned one over the exact ends of its patch with four Gauss points (error below 1e-7 of the force).
    """
    half = g.half_output_length
    depth = (g.pitch_radius - u + (1.0 - g.crown) * g.output_radius - g.crown * g.pitch_radius) * cosine - height
    if g.crown == 0.0:
        low = depth - sine * half
        high = depth + sine * half
        if low > 0.0 and high > 0.0:
            return stiffness * depth * 2.0 * half, stiffness * 2.0 * half
        deepest = max(low, high)
        if deepest <= 0.0:
            return 0.0, 0.0
        length = deepest / abs(sine)
        return stiffness * 0.5 * deepest * length, stiffness * length
    radius2 = g.wheel_radius**2
    bulge = g.crown * cosine
    at_end = bulge * math.sqrt(radius2 - half * half)
    low = depth - sine * half + at_end
    high = depth + sine * half + at_end
    start = -half
    stop = half
    if low <= 0.0 or high <= 0.0:
        across = bulge * bulge + sine * sine
        root = across * radius2 - depth * depth
        if root <= 0.0:
            return 0.0, 0.0
        root = bulge * math.sqrt(root)
        top = min(max(g.wheel_radius * sine / math.sqrt(across), -half), half)
        if depth + sine * top + bulge * math.sqrt(radius2 - top * top) <= 0.0:
            return 0.0, 0.0
        if low <= 0.0:
            start = (-depth * sine - root) / across
        if high <= 0.0:
            stop = (-depth * sine + root) / across
    middle = 0.5 * (start + stop)
    reach = 0.5 * (stop - start)
    near = 0.3399810435848563 * reach
    far = 0.8611363115940526 * reach
    mean = 0.6521451548625461 * (
        math.sqrt(radius2 - (middle + near) ** 2) + math.sqrt(radius2 - (middle - near) ** 2)
    ) + 0.3478548451374538 * (math.sqrt(radius2 - (middle + far) ** 2) + math.sqrt(radius2 - (middle - far) ** 2))
    return stiffness * reach * (2.0 * (depth + sine * middle) + bulge * mean), stiffness * 2.0 * reach


@kernel
def press_floor(g: PassGeometry, laws: Laws, standing: int, height: float, work: Workspace) -> tuple[float, float]:
    """Put the floor forces and stiffnesses into their rows; returns their sums."""
    force = 0.0
    stiffness = 0.0
    for k in range(standing):
        i = work.floor_roller[k]
        f, s = floor_contact(
            g, laws.floor_stiffness, work.floor_angle[k, 1], work.floor_angle[k, 2], work.unknowns[U + i], height
        )
        work.floor[FLOOR_FORCE + i] = f
        work.floor[FLOOR_STIFFNESS + i] = s
        force += f
        stiffness += s
    return force, stiffness
