"""A hub: rim with pockets for the hub rollers, web, drum with the gear, barrel with the bearings' seats.

The left hub, about the y axis, as it stands before closure; the right one mirrors it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

from sweep.cad.dimensions import Dimensions
from sweep.cad.gears import Teeth, spur_gear
from sweep.cad.shapes import Point, Vector3, about_shaft, evenly, frame, rectangle, rod, toroid, turned

#: stations along a bolt at which the rim's plan has a corner, over the half lengths
STATIONS = (1.0, 0.5)


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
    """a = cos(gamma) t + sin(gamma) c, with t = x, r = z at the top; c = cos(beta) r + sin(beta) y, n = -sin(beta) r + cos(beta) y."""
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
    root, drum, drum_inside = d["gear_root_radius_mm"], d["drum_outside_radius_mm"], d["drum_inside_radius_mm"]
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
    if drum > barrel:
        outlines.append(rectangle(drum_inside, drum, inside, top))
        outlines.append(rectangle(land, drum, top - web, top) if drum_inside <= barrel else rectangle(drum_inside, drum, bottom, top))
    rim_of_gear = max(root - (d["drum_outside_radius_mm"] - drum_inside), barrel)
    if root > drum + 1e-6:
        outlines += [
            rectangle(min(rim_of_gear, drum_inside), root, bottom, bottom + web),
            rectangle(rim_of_gear, root, bottom, top),
        ]
    tip, depth = d["gear_tip_radius_mm"], d["gear_tip_radius_mm"] - root
    if tip <= d["rollers_inside_radius_mm"] and bottom - depth > inside + web:
        outlines.append([(root - 0.1, bottom - depth), (root, bottom - depth), (tip, bottom), (root - 0.1, bottom)])
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
    mouth = Pos(-radius, 0, 0) * Box(2 * radius, 2 * radius, 2 * half)
    way = d["hub_bolt_outer_mm"] + (d["hub_pocket_reach_mm"] + d["wall_mm"]) / math.sin(math.radians(d["skew_angle_deg"]))
    return rod(radius, -half, half).fuse(
        mouth.solid(), rod(pilot, -inner - 3, 0.0), rod(bolt, 0.0, seat), rod(head, seat, way)
    )


def hub(d: Dimensions) -> Any:
    """The left hub."""
    from build123d import Axis, Rot, revolve

    body = revolve(hub_plan(d), Axis.Y).solid()
    axis = hub_axis(d)
    place = frame(axis.centre, axis.along, axis.normal)
    tool = pocket(d)
    tools = [about_shaft(angle) * place * tool for angle in evenly(d.count("hub_roller_count"))]
    body = body.cut(*tools)
    gear = Rot(-90, 0, 0) * spur_gear(gear_teeth(d, "gear_teeth"), d["gear_width_mm"])
    gear = gear.moved(_along(d["gear_offset_mm"] - d["gear_width_mm"] / 2))
    bore = d["gear_root_radius_mm"] - 0.2 * d["gear_module_mm"]
    gear = gear.cut(turned([rectangle(0.0, bore, 0.0, d["barrel_outside_offset_mm"] + 20)]))
    return body.fuse(gear).solid()


def _along(distance: float) -> Any:
    from build123d import Location

    return Location((0, distance, 0))
