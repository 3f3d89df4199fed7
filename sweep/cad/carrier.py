"""The carrier's halves: a disc with a window for each output roller and arms that hold the axles' ends between them.

About the y axis, the parting plane at y = 0, the first window on +z.
"""

from __future__ import annotations

import math
from typing import Any

from sweep.cad.dimensions import Dimensions
from sweep.cad.hardware import CLAMP_HEAD, CLAMP_HEAD_DEPTH, CLAMP_HOLE, CLAMP_NUT
from sweep.cad.shapes import about_shaft, evenly, frame, rectangle, rod, turned

#: mm, room about a nut in its pocket, across flats
NUT_ROOM = 0.15


def carrier_half(d: Dimensions, side: int) -> Any:
    """The left half (side +1), which takes the screws' heads, or the right one (-1), which takes the nuts."""
    count, pitch = d.count("output_roller_count"), 360.0 / d.count("output_roller_count")
    half, bulge = d["carrier_thickness_mm"] / 2, d["carrier_half_width_mm"]
    outside, seat = d["carrier_outside_radius_mm"], d["radial_bearing_outside_mm"] / 2
    width = d["radial_bearing_width_mm"] / 2
    outlines = [rectangle(0.0, outside, 0.0, half)]
    if bulge > half + 1e-6:
        outlines.append(rectangle(0.0, d["carrier_boss_radius_mm"], 0.0, bulge))
    holes = [
        rectangle(0.0, seat, -1.0, width),
        rectangle(0.0, seat - d["bearing_shoulder_mm"], -1.0, bulge + 1),
    ]
    body = turned(outlines, holes)
    at = evenly(count)
    tools = [about_shaft(angle) * tool for angle in at for tool in (window(d), groove(d))]
    screw = clamp_hole(d) if side > 0 else nut_hole(d)
    tools += [about_shaft(angle + pitch / 2) * screw for angle in at]
    body = body.cut(*tools).solid()
    return body if side > 0 else _mirrored(body)


def window(d: Dimensions) -> Any:
    """What one output roller takes out of both halves, at the top: open to the outside."""
    from build123d import Box, Pos

    inner, outer = d["window_inner_radius_mm"], d["carrier_outside_radius_mm"] + 1
    return Pos(0, 0, (inner + outer) / 2) * Box(
        2 * d["window_half_width_mm"], 4 * d["carrier_half_width_mm"], outer - inner
    )


def groove(d: Dimensions) -> Any:
    """What one axle takes out, at the top."""
    half = d["axle_length_mm"] / 2 + d["axle_end_gap_mm"] / 4
    return frame((0.0, 0.0, d["pitch_radius_mm"]), (1.0, 0.0, 0.0)) * rod(d["axle_diameter_mm"] / 2, -half, half)


def clamp_hole(d: Dimensions) -> Any:
    """Hole and countersink of a clamping screw at the top, its head flush with the left face or sunk below it."""
    from build123d import Cone, Pos

    face, head = d["carrier_thickness_mm"] / 2 - d["clamp_head_sunk_mm"], CLAMP_HEAD / 2
    cone = Pos(0, 0, face - head / 2) * Cone(0.0, head, head)
    sunk = rod(head, face, face + d["carrier_half_width_mm"])
    return _at_screw(d) * rod(CLAMP_HOLE / 2, -1.0, face - CLAMP_HEAD_DEPTH / 2).fuse(cone.solid(), sunk)


def nut_hole(d: Dimensions) -> Any:
    """Hole and hexagon pocket of a clamping screw at the top, in the right half as mirrored to the left."""
    from build123d import Plane, RegularPolygon, Solid, Vector

    half, deep = d["carrier_thickness_mm"] / 2, d["clamp_nut_pocket_mm"]
    across = (CLAMP_NUT + NUT_ROOM) / 2
    hexagon = Plane.XY.offset(half - deep) * RegularPolygon(across, 6, major_radius=False)
    pocket = Solid.extrude(hexagon.face(), Vector(0, 0, deep + d["carrier_half_width_mm"]))
    return _at_screw(d) * rod(CLAMP_HOLE / 2, -1.0, half).fuse(pocket)


def _at_screw(d: Dimensions) -> Any:
    """Where a clamping screw's axis stands at the top: z of the location along +y, a flat of the nut towards the shaft."""
    return frame((0.0, 0.0, d["clamp_screw_radius_mm"]), (0.0, 1.0, 0.0), (1.0, 0.0, 0.0))


def _mirrored(body: Any) -> Any:
    from build123d import Plane

    return body.mirror(Plane.XZ)


def lies_flat(d: Dimensions) -> bool:
    """Whether a half's outer face is flat, so that it prints with its grooves up."""
    return math.isclose(d["carrier_half_width_mm"], d["carrier_thickness_mm"] / 2, abs_tol=1e-6)
