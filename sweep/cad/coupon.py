"""The coupon: a small print that tells, before a week of printing, what a study should count with.

An output roller on its axle in a cradle, a piece of a hub with one pocket and its hub roller, a strip of the tyre's material.
"""

from __future__ import annotations

import copy
import math
from dataclasses import dataclass
from typing import Any

from objectives.layout import hub_roller_mount, wall_thickness
from objectives.scenario import Scenario
from objectives.units import MM
from objectives.wheel import WheelBatch
from sweep.cad.choice import Choice
from sweep.cad.meshes import matrix_of
from sweep.cad.parts import PRINTED, TYRE, Assembly, Part

#: mm: length between the strip's marks, its thickness and largest width; of the tabs at its ends and their holes
MARKS, STRIP_THICKNESS, STRIP_WIDTH, TAB, TAB_HOLE = 80.0, 1.2, 10.0, 14.0, 5.0
#: mm per side, of the holes that the axle's rod is tried in
GAUGE_CLEARANCES = (0.1, 0.15, 0.2, 0.25, 0.3, 0.4)
#: mm, of the tongue that a clamp holds to a table's edge
TONGUE = 60.0
#: mm, floor of the cradle; least cheek
FLOOR, LEAST_CHEEK = 4.0, 5.0
#: thickness of the ear that a hub roller is clamped to, over its screw's diameter: what the screw is too long by, about
EAR_PER_SCREW = 1.0
#: mm of the hub's web that the pocket keeps as a foot to stand on the bed
FOOT = 16.0
COLOUR = (0.80, 0.62, 0.25)
SOFT_COLOUR = (0.25, 0.27, 0.30)


@dataclass(frozen=True)
class Sizes:
    """What the coupon is cut to, mm."""

    roller_length: float
    roller_radius: float
    outline_radius: float  # of the roller's outline along it, at its middle; inf for a straight one
    axle_diameter: float
    axle_length: float
    play: float  # radial
    side_washer: float
    screw_diameter: float
    hub_roller_length: float
    strip_width: float
    cheek: float
    clearance: float

    @staticmethod
    def of(choice: Choice) -> Sizes:
        wheel, scenario = choice.assessment.wheel, choice.assessment.scenario
        length = float(wheel.hub_roller_length[0]) / MM
        crown = float(wheel.crown[0])
        cheek = max(LEAST_CHEEK, 2 * wall_thickness(scenario) / MM)
        between = float(wheel.output_roller_length[0] + 2 * scenario.build.side_washer) / MM
        return Sizes(
            roller_length=float(wheel.output_roller_length[0]) / MM,
            roller_radius=float(wheel.output_roller_radius[0]) / MM,
            outline_radius=float(wheel.wheel_radius[0]) / MM / crown if crown > 0 else math.inf,
            axle_diameter=float(wheel.axle_diameter[0]) / MM,
            axle_length=between + 2 * cheek,
            play=float(wheel.bore_play[0]) / MM,
            side_washer=scenario.build.side_washer / MM,
            screw_diameter=float(wheel.hub_axle_diameter[0]) / MM,
            hub_roller_length=length,
            strip_width=strip_width(wheel, scenario),
            cheek=cheek,
            clearance=scenario.printer.clearance / MM,
        )


def strip_width(wheel: WheelBatch, scenario: Scenario) -> float:
    """Width of the strip [mm]: it lies on a hub roller between its washers, and within an output roller's length."""
    between = float(wheel.output_roller_length[0] + 2 * scenario.build.side_washer) / MM
    washer = float(hub_roller_mount(wheel, scenario).washer_thickness[0]) / MM
    return min(STRIP_WIDTH, float(wheel.hub_roller_length[0]) / MM - 2 * washer, 0.8 * between)


def coupon(choice: Choice, assembly: Assembly) -> tuple[Part, ...]:
    """The parts of the coupon that the wheel does not have: cradle, pocket and strip."""
    from build123d import Location

    sizes = Sizes.of(choice)
    plastic = choice.assessment.scenario.build.material
    here = Location()
    piece = pocket(choice, assembly)
    hub = assembly.part("hub_left")
    return (
        Part("coupon_cradle", "cradle of the coupon", PRINTED, plastic, "", cradle(sizes), (here,), here, COLOUR),
        Part("coupon_pocket", "one pocket of a hub", PRINTED, plastic, "", piece, (here,), on_bed(piece, hub.plate), COLOUR),
        Part("coupon_strip", "strip of the tyre's material", TYRE, str(choice.design["output_tyre"]), "", strip(sizes), (here,),
             here, SOFT_COLOUR),
    )  # fmt: skip


def cradle(sizes: Sizes) -> Any:
    """Two cheeks that hold an axle, narrower than the roller; a tongue to clamp it by, with holes to try the axle's rod in; an
    ear to clamp a hub roller to. Stands on its floor, the axle along x."""
    from build123d import Box, Cylinder, Pos, Rot

    inside = sizes.roller_length + 2 * sizes.side_washer
    narrow = max(1.3 * sizes.roller_radius, 3 * sizes.axle_diameter)
    height = FLOOR + sizes.roller_radius + 2.0  # of the axle
    long = inside + 2 * sizes.cheek
    ear_height = max(12.0, 4 * sizes.screw_diameter)
    ear = EAR_PER_SCREW * sizes.screw_diameter
    body = Pos(0, 0, FLOOR / 2) * Box(long, narrow, FLOOR)
    top = height + 1.5 * sizes.axle_diameter
    for side in (-1, 1):
        body += Pos(side * (inside + sizes.cheek) / 2, 0, top / 2) * Box(sizes.cheek, narrow, top)
    body -= Pos(0, 0, height) * Rot(0, 90, 0) * Cylinder(sizes.axle_diameter / 2 + sizes.clearance / 2, 2 * long)
    start = long / 2
    wide = max(narrow, 2 * (sizes.axle_diameter + 5))
    body += Pos(start + TONGUE / 2, 0, FLOOR / 2) * Box(TONGUE, wide, FLOOR)
    pitch = sizes.axle_diameter + 5
    for i, gap in enumerate(GAUGE_CLEARANCES):
        at = start + 6 + (i // 2) * pitch, (i % 2 - 0.5) * pitch
        body -= Pos(*at, FLOOR / 2) * Cylinder(sizes.axle_diameter / 2 + gap, 2 * FLOOR)
    end = start + TONGUE - ear / 2
    body += Pos(end, 0, (FLOOR + ear_height) / 2) * Box(ear, wide, FLOOR + ear_height)
    body -= Pos(end, 0, FLOOR + ear_height / 2) * Rot(0, 90, 0) * Cylinder(sizes.screw_diameter / 2 + 0.1, 4 * ear)
    return body.solid()


def strip(sizes: Sizes) -> Any:
    """A flat strip with a tab and a hole at either end, lying on the bed, along x."""
    from build123d import Box, Cylinder, Pos

    long = MARKS + 40.0
    wide = max(TAB, sizes.strip_width)
    body = Pos(0, 0, STRIP_THICKNESS / 2) * Box(long, sizes.strip_width, STRIP_THICKNESS)
    for side in (-1, 1):
        at = side * (long + TAB) / 2
        body += Pos(at, 0, STRIP_THICKNESS / 2) * Box(TAB, wide, STRIP_THICKNESS)
        body -= Pos(at, 0, STRIP_THICKNESS / 2) * Cylinder(TAB_HOLE / 2, 2 * STRIP_THICKNESS)
    return body.solid()


def pocket(choice: Choice, assembly: Assembly) -> Any:
    """The part of the left hub about one of its pockets, in the hub's own frame: a sector of its rim with some of its web."""
    from build123d import Face, Plane, Polyline, Wire, extrude

    wheel = choice.assessment.wheel
    hub, roller = assembly.part("hub_left"), assembly.part("hub_roller")
    home = hub.places[0].inverse() * roller.places[0]
    centre = home.position
    mount = hub_roller_mount(wheel, choice.assessment.scenario)
    axis = _axis_of(hub)
    flat = Plane(origin=(0, 0, 0), z_dir=axis)
    local = flat.to_local_coords(centre)
    azimuth = math.atan2(local.Y, local.X)
    half_length = float(mount.outer_half_length[0]) / MM
    boss = float(mount.boss_radius[0]) / MM
    radius = math.hypot(local.X, local.Y)
    around = math.asin(min(1.0, (half_length * float(mount.axis_t[0]) + boss) / radius))
    inner = max(radius - half_length * float(mount.axis_r[0]) - boss - FOOT, 1.0)
    outer = 2 * radius
    corners = [
        (inner, -around), (outer / math.cos(around), -around), (outer / math.cos(around), around), (inner, around),
    ]  # fmt: skip
    points = [(r * math.cos(azimuth + turn), r * math.sin(azimuth + turn)) for r, turn in corners]
    outline = flat * Face(Wire(Polyline(*points, close=True).edges()))
    prism = extrude(outline, 1000, dir=axis, both=True)
    # a copy: the cut would leave marks on the shape that it is made from
    cut = copy.deepcopy(hub.shape).intersect(prism)
    solids = cut.solids() if hasattr(cut, "solids") else [one for part in cut for one in part.solids()]
    return max(solids, key=lambda solid: solid.volume)


def on_bed(shape: Any, plate: Any) -> Any:
    """A Location that lays a shape as ``plate`` would, its lowest point at z = 0 and its middle over the origin."""
    from build123d import Pos

    box = shape.moved(plate).bounding_box()
    middle = box.center()
    return Pos(-middle.X, -middle.Y, -box.min.Z) * plate


def _axis_of(hub: Part) -> tuple[float, float, float]:
    """The shaft's direction in a hub's own frame."""
    x, y, z = matrix_of(hub.places[0].inverse())[:3, 1]
    return float(x), float(y), float(z)
