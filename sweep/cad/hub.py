"""A hub: rim with pockets for the hub rollers, web, drum with the gear, barrel with the bearings' seats.

The left hub, about the y axis, as it stands before closure; the right one mirrors it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

from sweep.cad.dimensions import Dimensions
from sweep.cad.gears import Teeth, spur_gear
from sweep.cad.shapes import Point, Vector3, about_shaft, evenly, frame, rectangle, rod, toroid

#: stations along a bolt at which the rim's plan has a corner, over the half lengths
STATIONS = (1.0,)
#: mm, by which the gear's seat stands out of the drum
SEAT_STEP = 0.2
#: shares of a pitch at which the hub is parted to be cut, and the angle within which pockets reach a pitch's middle [deg]
CUTS = (0.13, 0.61, 0.37, 0.83)
NEAR = 70.0
#: mm, a pocket's mouth beyond the rim's face
MOUTH = 2.0


@dataclass(frozen=True)
class HubAxis:
    """The axis of the hub roller at the top (x = 0 in the roller's middle), left side."""

    centre: Vector3
    along: Vector3  # a, from the inner to the outer end
    normal: Vector3  # n, out of the output roller

    def at(self, distance: float) -> Vector3:
        """A point on the axis."""
        c, a = self.centre, self.along
        return c[0] + distance * a[0], c[1] + distance * a[1], c[2] + distance * a[2]

    def plan(self, distance: float) -> Point:
        """Radius and y of that point: the axis swept about the shaft, a hyperbola."""
        x, y, z = self.at(distance)
        return math.hypot(x, z), y


def hub_axis(d: Dimensions) -> HubAxis:
    """a = cos(gamma) t + sin(gamma) c, c = cos(beta) r + sin(beta) y, n = -sin(beta) r + cos(beta) y, at the top."""
    beta, gamma = math.radians(d["contact_angle_deg"]), math.radians(d["skew_angle_deg"])
    return HubAxis(
        centre=(0.0, d["hub_roller_centre_offset_mm"], d["hub_roller_centre_radius_mm"]),
        along=(math.cos(gamma), math.sin(gamma) * math.sin(beta), math.sin(gamma) * math.cos(beta)),
        normal=(0.0, math.cos(beta), -math.sin(beta)),
    )


def gear_teeth(d: Dimensions, count: str) -> Teeth:
    """The teeth of hub gear or pinion."""
    return Teeth(
        d["gear_module_mm"], d.count(count), d["addendum_mm"], d["dedendum_mm"], d["pressure_angle_deg"], d["backlash_mm"] / 2
    )


def rim_outline(d: Dimensions) -> list[Point]:
    """Plan of the rim: half as thick as a boss on both sides of the swept axis, a boss's breadth beyond the bolt's ends."""
    axis, boss = hub_axis(d), d["hub_boss_radius_mm"]
    gamma, beta = math.radians(d["skew_angle_deg"]), math.radians(d["contact_angle_deg"])
    inner, outer = d["hub_bolt_inner_mm"], d["hub_bolt_outer_mm"]
    normal = (-math.sin(beta), math.cos(beta))
    # at both ends at least a wall beyond the corners of the pockets, so that the rim stays in one piece
    corner = d["hub_pocket_reach_mm"] + d["wall_mm"]
    inwards, outwards = (max(boss * math.cos(gamma), corner - end * math.sin(gamma)) for end in (inner, outer))
    stations = [-share * inner for share in STATIONS] + [0.0] + [share * outer for share in reversed(STATIONS)]
    line = [axis.plan(station) for station in stations]
    first, last = line[0], line[-1]
    line.insert(0, (first[0] - inwards * math.cos(beta), first[1] - inwards * math.sin(beta)))
    line.append((last[0] + outwards * math.cos(beta), last[1] + outwards * math.sin(beta)))
    low = [(r - boss * normal[0], y - boss * normal[1]) for r, y in line]
    high = [(r + boss * normal[0], y + boss * normal[1]) for r, y in line]
    return low + high[::-1]


def hub_plan(d: Dimensions) -> Any:
    """Half plan (radius, y) of the hub before pockets and teeth."""
    from build123d import Pos, Rectangle

    from sweep.cad.shapes import flat

    inside, outside = d["barrel_inside_offset_mm"], d["barrel_outside_offset_mm"]
    barrel, web = d["barrel_radius_mm"], d["hub_web_mm"]
    seat, width = d["radial_bearing_outside_mm"] / 2, d["radial_bearing_width_mm"]
    land = seat - d["bearing_shoulder_mm"]
    sunk = outside - d["clearance_mm"] - width
    top = d["gear_offset_mm"] + d["gear_width_mm"] / 2
    bottom = top - d["gear_width_mm"]
    ring = gear_seat(d)
    drum, drum_inside = min(d["drum_outside_radius_mm"], ring - SEAT_STEP), d["drum_inside_radius_mm"]
    lip = (d["thrust_bearing_outside_mm"] + d["clearance_mm"]) / 2

    # rim, kept clear of carrier, pinion and output rollers
    low, high, reach = d["hub_inside_offset_mm"], d["hub_outside_offset_mm"], d["hub_outside_radius_mm"]
    rim = flat([rim_outline(d)])
    box = Pos(reach / 2, (low + high) / 2) * Rectangle(reach, high - low)
    half = d["output_roller_length_mm"] / 2
    rollers = toroid(
        d["pitch_radius_mm"], d["output_roller_radius_mm"] + d["hub_roller_radius_mm"] - d["hub_boss_radius_mm"],
        math.hypot(d["pitch_radius_mm"], half),
    )
    rim = (rim & box) - rollers
    # web, as far as the middle of the rim's inner end
    axis = hub_axis(d)
    web_reach = axis.plan(-d["hub_bolt_inner_mm"])[0]
    outlines = [
        rectangle(land, barrel, inside, outside),
        rectangle(lip, barrel, outside - 0.5, outside + d["thrust_washer_mm"]),
        rectangle(land, web_reach, inside, inside + web),
    ]
    if drum > drum_inside:
        outlines.append(rectangle(drum_inside, drum, inside, top))
    rim_of_gear = max(ring - d["gear_module_mm"] * 2.25, min(drum_inside, drum))
    outlines += [rectangle(min(drum_inside, drum), ring, bottom, bottom + web), rectangle(rim_of_gear, ring, bottom, top)]
    holes = [
        rectangle(0.0, seat, inside - 1, inside + width),
        rectangle(0.0, seat, sunk, outside + 20),
        rectangle(0.0, land, inside - 1, outside + 20),
    ]
    return flat(outlines, holes) + rim


def pocket(d: Dimensions) -> Any:
    """What one hub roller and its bolt take out of the hub, about z, its outer end up, the output roller's side at -x."""
    from build123d import Box, Pos

    radius, half = d["hub_pocket_radius_mm"], d["hub_pocket_length_mm"] / 2
    inner, seat = d["hub_bolt_inner_mm"], d["hub_bolt_inner_mm"]
    bolt, pilot = d["hub_axle_diameter_mm"] / 2, d["hub_pilot_hole_mm"] / 2
    head = d["hub_bolt_head_diameter_mm"] / 2 + d["clearance_mm"]
    # open towards the output rollers, so that the roller can be put in
    depth = d["hub_boss_radius_mm"] + MOUTH
    mouth = Pos(-depth / 2, 0, 0) * Box(depth, 2 * radius, 2 * half)
    way = d["hub_bolt_outer_mm"] + (d["hub_pocket_reach_mm"] + d["wall_mm"]) / math.sin(math.radians(d["skew_angle_deg"]))
    return rod(radius, -half, half).fuse(
        mouth.solid(), rod(pilot, -inner - 3, 0.0), rod(bolt, 0.0, seat), rod(head, seat, way)
    )


def hub(d: Dimensions) -> Any:
    """The left hub."""
    from build123d import Rot

    gear = Rot(-90, 0, 0) * spur_gear(gear_teeth(d, "gear_teeth"), d["gear_width_mm"], gear_seat(d))
    gear = gear.moved(_along(d["gear_offset_mm"] - d["gear_width_mm"] / 2))
    return joined(body(d), gear, gear_seat(d))


def body(d: Dimensions) -> Any:
    """The hub without its teeth: one pitch of it is cut, and its copies are sewn together, a fifth of the time of the whole.

    Where a plane between two pitches grazes a pocket the cut may come out unlike on both its sides; then it is laid elsewhere.
    """
    from build123d import Axis, Shell, Solid, revolve

    plan, axis, tool = hub_plan(d), hub_axis(d), pocket(d)
    count = d.count("hub_roller_count")
    pitch, place = 360.0 / count, frame(axis.centre, axis.along, axis.normal)
    sector = revolve(plan, Axis.Y, revolution_arc=pitch).solid()
    middle = math.degrees(math.atan2(sector.center().X, sector.center().Z))
    sides = (90.0, 2 * middle - 90.0)  # the plan stands on +x
    for share in CUTS:
        angles = [angle for angle in evenly(count, share * pitch) if abs((angle - middle + 180) % 360 - 180) < NEAR]
        piece = sector.cut(*(about_shaft(angle) * place * tool for angle in angles))
        ends = [[face for face in piece.faces() if _stands_at(face, angle)] for angle in sides]
        if _areas(ends[0]) != _areas(ends[1]):
            continue
        faces = [face for face in piece.faces() if not any(_stands_at(face, angle) for angle in sides)]
        copies = [face.moved(about_shaft(angle)) for angle in evenly(count, -share * pitch) for face in faces]
        whole = Solid(Shell(copies))
        if whole.is_valid and math.isclose(whole.volume, count * piece.volume, rel_tol=1e-4):
            return unified(whole)
    tools = [about_shaft(angle) * place * tool for angle in evenly(count)]
    return revolve(plan, Axis.Y).solid().cut(*tools).solid()


def unified(solid: Any) -> Any:
    """A solid with neighbouring faces of one surface made one, and edges of one curve where that leaves it sound.

    Where the pieces of a long edge of a cone or cylinder are made one, the new curve can miss the face by more than the kernel
    allows. Then they stay in pieces.
    """
    from build123d import Solid
    from OCP.ShapeUpgrade import ShapeUpgrade_UnifySameDomain

    for edges in (True, False):
        work = ShapeUpgrade_UnifySameDomain(solid.wrapped, edges, True, False)
        work.Build()
        simpler = Solid(work.Shape())
        if simpler.is_valid and math.isclose(simpler.volume, solid.volume, rel_tol=1e-4):
            return simpler
    return solid


def _stands_at(face: Any, angle: float) -> bool:
    """Whether a face lies in the half plane through the shaft at an angle from +z towards +x."""
    from build123d import GeomType

    across = math.cos(math.radians(angle)), -math.sin(math.radians(angle))
    return face.geom_type == GeomType.PLANE and all(
        abs(vertex.X * across[0] + vertex.Z * across[1]) < 1e-5 for vertex in face.vertices()
    )


def _areas(faces: list[Any]) -> list[float]:
    return sorted(round(face.area, 2) for face in faces)


def joined(carrying: Any, gear: Any, seat: float) -> Any:
    """A body and a gear that fills its seat, a cylinder of that radius, as one solid.

    Their other faces are sewn together: a tenth of the time of a fusion, which would compare every tooth with every face.
    """
    from build123d import Shell, Solid

    faces = [face for solid in (carrying, gear) for face in solid.faces() if not _is_seat(face, seat)]
    return Solid(Shell(faces))


def _is_seat(face: Any, seat: float) -> bool:
    from build123d import GeomType

    if face.geom_type != GeomType.CYLINDER:
        return False
    return all(abs(math.hypot(vertex.X, vertex.Z) - seat) < 1e-6 for vertex in face.vertices())


def gear_seat(d: Dimensions) -> float:
    """Radius within the teeth's roots at which the gear grows out of what carries it."""
    return d["gear_root_radius_mm"] - 0.2 * d["gear_module_mm"]


def _along(distance: float) -> Any:
    from build123d import Location

    return Location((0, distance, 0))
