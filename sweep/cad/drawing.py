"""The drawing of a wheel unit: front view, section through the shaft, a hub from inside, a pocket. Drawn from the solids."""

from __future__ import annotations

import math
import textwrap
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from objectives.units import DEG, MM
from sweep.cad.choice import Choice
from sweep.cad.meshes import matrix_of
from sweep.cad.paper import A3, LETTER_WIDTH, LETTERS, MARGIN, SMALL, THIN, TITLE_SIZE, Paper, Point
from sweep.cad.parts import BOUGHT, STOCK, TYRE, Assembly, Part
from sweep.cad.shapes import placed
from sweep.cad.views import Cut, Frame, cut, seen

A2 = (594.0, 420.0)
#: scales in the order of wish (ISO 5455), and how they are written
SCALES = ((1.0, "1:1"), (0.5, "1:2"), (0.2, "1:5"), (0.1, "1:10"))
DETAIL_SCALES = ((5.0, "5:1"), (2.0, "2:1"), (1.0, "1:1"), (0.5, "1:2"))
#: from the right of the wheel, its front to the right; from behind, its left to the left; a hub from the wheel
FRONT = Frame((0.0, 0.0, 0.0), (1.0, 0.0, 0.0), (0.0, 0.0, 1.0))
SECTION = Frame((0.0, 0.0, 0.0), (0.0, -1.0, 0.0), (0.0, 0.0, 1.0))
#: mm of paper about a view, for its dimensions
ABOUT = 22.0
#: mm of paper that the notes take beside the section
NOTES_WIDTH = 62.0
#: what is seen from the right without the right hub; of the left hub from the wheel
FROM_RIGHT = ("carrier_half_right", "output_", "side_shim", "clamp_nut", "radial_bearing", "shaft")
LEFT_HUB = ("hub_left", "hub_roller")
#: mm, of the parts list: a row and its letters
ROW, ROW_LETTERS = 3.3, 1.8
#: letters that a row of the parts list holds; longer words are written smaller
FULL_ROW = 78
#: parts that are not hatched where a plane cuts them lengthwise, and motors, whose inside is not ours
WHOLE = ("shaft", "motor", "spring")


@dataclass(frozen=True)
class View:
    """Part of the paper that shows a frame."""

    paper: Paper
    frame: Frame
    centre: Point  # of the frame's origin, on paper
    scale: float

    def at(self, point: Sequence[float]) -> Point:
        """Where a point of the unit is on paper."""
        x, y = self.frame.flat(np.array([point]))[0] * self.scale + self.centre
        return float(x), float(y)

    def on(self, x: float, y: float) -> Point:
        """Where a point of the frame is on paper."""
        return self.centre[0] + x * self.scale, self.centre[1] + y * self.scale

    def edges(self, lines: Sequence[np.ndarray], width: float = 0.35) -> None:
        self.paper.lines([line * self.scale + self.centre for line in lines], width)

    def cuts(self, cuts: Sequence[Cut]) -> None:
        names = sorted({found.part.name for found in cuts})
        for found in cuts:
            order = names.index(found.part.name)
            soft = found.part.make == TYRE
            gap = 0.0 if found.part.name.startswith(WHOLE) else 1.2 if soft else 1.5 + 0.5 * (order % 3)
            loops = [loop * self.scale + self.centre for loop in found.loops]
            self.paper.hatched(loops, 45.0 if order % 2 else 135.0, gap)

    def name(self, words: str, below: float, reach: float | None = None) -> None:
        """What the view is, below it: in its middle, or from its left end at ``reach``."""
        align, x = ("center", self.centre[0]) if reach is None else ("left", self.on(-reach, 0)[0] - ABOUT + 4)
        self.paper.text((x, self.centre[1] - below), words, 3.0, align=align, bold=True)

    def note(self, radius: float, degrees: float, elbow: Point, words: str) -> None:
        """A note to a circle about the view's middle."""
        turn = math.radians(degrees)
        self.paper.leader(self.on(radius * math.cos(turn), radius * math.sin(turn)), elbow, words)


def drawing(choice: Choice, assembly: Assembly) -> Paper:
    """The sheet."""
    wheel, layout = choice.assessment.wheel, choice.assessment.layout
    radius = float(wheel.wheel_radius[0]) / MM
    half_width = float(layout.unit_width[0]) / 2 / MM
    hub_radius = float(np.maximum(layout.hub_outside_radius, layout.gear_pitch_radius + wheel.gear_module)[0]) / MM
    size, scale, words = _fit(radius, half_width, hub_radius)
    paper = Paper(size)
    high = size[1] - MARGIN - 18 - radius * scale
    front = View(paper, FRONT, (MARGIN + ABOUT + radius * scale, high), scale)
    section = View(paper, SECTION, (front.centre[0] + (radius + half_width) * scale + 2 * ABOUT - 4, high), scale)
    _front(front, choice)
    front.edges(seen(_shapes(assembly, FROM_RIGHT), FRONT))
    _section(section, choice, assembly)
    low = high - (radius + hub_radius) * scale - 38
    hub = View(paper, FRONT, (MARGIN + ABOUT + hub_radius * scale, low), scale)
    _hub(hub, choice)
    hub.edges(seen(_shapes(assembly, LEFT_HUB), FRONT), 0.3)
    left, top = hub.centre[0] + hub_radius * scale + 14, high - radius * scale - 38
    _pocket(paper, (left, MARGIN + 6, size[0] - MARGIN - TITLE_SIZE[0] - 6, top), choice, assembly)
    _notes(paper, (section.centre[0] + half_width * scale + 16, size[1] - MARGIN - 8), choice)
    _parts_list(paper, assembly)
    own = choice.design
    paper.title_block(
        [
            ("Scale", words),
            ("Units", "mm, degrees"),
            ("Tolerances", "ISO 2768-m, printed ±0.2"),
            ("Sheet", f"{'A3' if size == A3 else 'A2'}, first angle"),
            ("Mass", f"{float(own['mass_kg']):.2f} kg"),
            ("Printed of", choice.study.scenario.build.material),
        ],
        f"Wheel unit {own['design']}",
        f"{choice.study.name}: front view, section, hub, pocket",
    )
    return paper


def _fit(radius: float, half_width: float, hub_radius: float) -> tuple[tuple[float, float], float, str]:
    """Paper, scale and its words: the largest scale on A3, from 1:2 on, that all views fit at, else on A2."""
    for size, scales in ((A3, SCALES[1:2]), (A2, SCALES[1:])):
        for scale, words in scales:
            wide = (2 * radius + 2 * half_width) * scale + 4 * ABOUT + 2 * MARGIN + NOTES_WIDTH
            high = (2 * radius + 2 * hub_radius) * scale + 70 + 2 * MARGIN
            if wide <= size[0] and high <= size[1]:
                return size, scale, words
    return A2, *SCALES[-1]


def _shapes(assembly: Assembly, starts: tuple[str, ...]) -> list[Any]:
    """Copies of the parts whose names begin so, on the left hub only those on the left."""
    found = []
    for one in assembly.parts:
        if one.name.startswith(starts):
            places = one.places if starts is not LEFT_HUB else [place for place in one.places if place.position.Y >= 0]
            found += [placed(one.shape, place) for place in places]
    return found


def part(assembly: Assembly, *starts: str) -> Part:
    """The first part whose name begins with one of these."""
    for start in starts:
        for one in assembly.parts:
            if one.name.startswith(start):
                return one
    raise KeyError(starts[0])


def _front(view: View, choice: Choice) -> None:
    """The wheel from the right, its right hub and motors taken off."""
    wheel, layout = choice.assessment.wheel, choice.assessment.layout
    paper, scale = view.paper, view.scale
    radius, pitch = float(wheel.wheel_radius[0]) / MM, float(wheel.pitch_radius[0]) / MM
    count, length = int(wheel.output_roller_count[0]), float(wheel.output_roller_length[0]) / MM
    paper.cross(view.centre, (radius + 6) * scale)
    for circle in (pitch, radius):
        paper.circle(view.centre, circle * scale, THIN, "centre")
    paper.distance(view.on(-length / 2, -radius), view.on(length / 2, -radius), f"{length:.2f}", -7.0)
    corner = (view.on(radius, 0)[0] - 12, view.on(0, radius)[1])
    view.note(radius, 50, (corner[0], corner[1] - 1), f"⌀{2 * radius:.1f} over rollers")
    view.note(pitch, 128, (view.on(-radius, 0)[0] + 16, corner[1] - 1), f"⌀{2 * pitch:.2f} axles")
    rim = float(layout.carrier_outside_radius[0]) / MM
    arm = -90 + 360 / count * (math.floor(count / 8) + 0.5)
    beside = max(corner[0] - 2, view.on(rim * math.cos(math.radians(arm)), 0)[0] + 2)  # its words outside the rollers
    view.note(rim, arm, (beside, view.on(0, -radius)[1] + 2), f"⌀{2 * rim:.1f} carrier")
    for sign in (-1, 1):  # the plane of the section, seen from behind
        y = view.centre[1] + sign * (radius * scale + 8)
        x = view.centre[0]
        paper.line([(x, y - 2 * sign), (x, y + 3 * sign)], 0.7)
        paper.line([(x, y + 3 * sign), (x - 8, y + 3 * sign)], THIN)
        paper.arrow((x, y + 3 * sign), 0.0)
        paper.text((x - 10.5, y + 3 * sign), "A", 3.5, align="center", over="center", bold=True)
    view.name(f"From the right, right hub off: {count} rollers, {360 / count:.4g}° apart", radius * scale + 17, radius)


def _section(view: View, choice: Choice, assembly: Assembly) -> None:
    """All parts cut along the shaft, upright."""
    wheel, layout = choice.assessment.wheel, choice.assessment.layout
    paper, scale = view.paper, view.scale
    view.cuts(cut(sorted(assembly.parts, key=lambda one: one.make in (BOUGHT, STOCK)), view.frame))
    radius, pitch = float(wheel.wheel_radius[0]) / MM, float(wheel.pitch_radius[0]) / MM
    half_width = float(layout.unit_width[0]) / 2 / MM
    half_shaft = float(layout.unit_half_width[0]) / MM
    paper.line([view.on(-half_width - 6, 0), view.on(half_width + 6, 0)], THIN, "centre")
    paper.line([view.on(0, -radius - 5), view.on(0, radius + 5)], THIN, "centre")
    centres = float(layout.centre_distance[0]) / MM
    gear = float(layout.gear_offset[0]) / MM
    for side in (-1, 1):
        paper.line([view.on(side * (gear - 12), centres), view.on(side * (half_width + 4), centres)], THIN, "centre")
    low = -radius * scale
    bottom = view.on(0, -radius)[1]
    roller = float(wheel.output_roller_radius[0]) / MM
    paper.distance(view.on(-half_shaft, 0), view.on(half_shaft, 0), f"{2 * half_shaft:.1f} shaft", low - 15)
    ends = view.on(-half_width, centres), view.on(half_width, centres)
    paper.distance(*ends, f"{2 * half_width:.1f}", bottom - 22 - ends[0][1])
    # at the bottom, where a roller stands whatever their number
    sides = view.on(-roller, roller - radius), view.on(roller, roller - radius)
    paper.distance(*sides, f"⌀{2 * roller:.1f}", -roller * scale - 8)
    paper.distance(view.on(half_width, 0), view.on(half_width, centres), f"{centres:.2f}", -8.0, math.pi / 2)
    paper.distance(view.on(-half_width, -radius), view.on(-half_width, radius), f"⌀{2 * radius:.1f}", 8.0, math.pi / 2)
    # contact normal and angle at the lowest roller, left side
    beta = float(wheel.contact_angle[0])
    hub = float(wheel.hub_roller_radius[0]) / MM
    centre = view.on(0, -pitch)
    reach = (roller + 2 * hub) * scale + 13
    end = (centre[0] - reach * math.cos(beta), centre[1] + reach * math.sin(beta))
    paper.line([centre, end], THIN, "centre")
    paper.line([centre, (centre[0] - reach, centre[1])], THIN, "centre")
    paper.angle(centre, reach - 3, math.pi - beta, math.pi, f"{beta / DEG:.1f}°")
    view.name("A–A", radius * scale + 31)


def _hub(view: View, choice: Choice) -> None:
    """The left hub and its rollers from the wheel."""
    wheel, layout = choice.assessment.wheel, choice.assessment.layout
    outside, ring = float(layout.hub_outside_radius[0]) / MM, float(wheel.hub_roller_centre_radius[0]) / MM
    count = int(wheel.hub_roller_count[0])
    view.paper.cross(view.centre, (outside + 6) * view.scale)
    view.paper.circle(view.centre, ring * view.scale, THIN, "centre")
    top = view.on(0, outside)[1]
    view.note(outside, 40, (view.on(outside, 0)[0] + 2, top - 3), f"⌀{2 * outside:.1f}")
    view.note(ring, 75, (view.centre[0] + 8, top + 2), f"⌀{2 * ring:.2f} roller centres")
    view.name(f"Left hub from the wheel: {count} rollers, {360 / count:.4g}° apart", outside * view.scale + 8, outside)


def _pocket(paper: Paper, room: tuple[float, float, float, float], choice: Choice, assembly: Assembly) -> None:
    """A cut along a hub roller's axis and its contact normal, in a room of the paper: left, bottom, right, top."""
    wheel = choice.assessment.wheel
    roller = part(assembly, "hub_roller")
    radius, length = float(wheel.hub_roller_radius[0]) / MM, float(wheel.hub_roller_length[0]) / MM
    output, screw = float(wheel.output_roller_radius[0]) / MM, float(wheel.hub_axle_diameter[0]) / MM
    place = _lowest_left(roller)
    origin, axis = place[:3, 3], place[:3, 2]
    beta = float(wheel.contact_angle[0])
    normal = np.array([0.0, math.cos(beta), math.sin(beta)])  # out of the lowest output roller, up to the left
    frame = Frame(tuple(origin), tuple(axis), tuple(-normal))
    half = 0.5 * length + 3 * screw + 2
    low, high = -radius - 2, radius + 0.8 * output
    scale, words = next(
        (entry for entry in DETAIL_SCALES
         if 2 * half * entry[0] + 30 < room[2] - room[0] and (high - low) * entry[0] + 30 < room[3] - room[1]),
        DETAIL_SCALES[-1],
    )  # fmt: skip
    view = View(paper, frame, ((room[0] + room[2]) / 2, room[1] + 22 - low * scale), scale)
    box = (-half, half, low, high)
    near = [one for one in assembly.parts if one.name.startswith(("hub_left", "hub_", "output_", "side_shim"))]
    near = [one for one in near if one.name != "hub_right"]
    view.cuts([_clipped(found, box) for found in cut(near, frame) if _inside(found, box)])
    paper.line([view.on(-half - 2 / scale, 0), view.on(half + 2 / scale, 0)], THIN, "centre")
    paper.distance(view.on(-length / 2, -radius), view.on(length / 2, -radius), f"{length:.2f}", -9)
    paper.distance(view.on(-half, -screw / 2), view.on(-half, screw / 2), f"M{screw:g}", 4, math.pi / 2)
    paper.distance(view.on(half, -radius), view.on(half, radius), f"⌀{2 * radius:.2f}", -9, math.pi / 2)
    paper.text((room[0] - 8, view.on(0, low)[1] - 18), f"Pocket {words}, along axis and contact normal", 3.0, bold=True)


def _lowest_left(roller: Part) -> np.ndarray:
    """The place of the left hub roller that is nearest to straight down."""
    places = [matrix_of(place) for place in roller.places]
    left = [place for place in places if place[1, 3] > 0]
    return min(left, key=lambda place: (abs(place[0, 3]) if place[2, 3] < 0 else 1e9))


def _inside(found: Cut, box: tuple[float, float, float, float]) -> bool:
    points = np.vstack(found.loops)
    low, high = points.min(axis=0), points.max(axis=0)
    return bool(low[0] < box[1] and high[0] > box[0] and low[1] < box[3] and high[1] > box[2])


def _clipped(found: Cut, box: tuple[float, float, float, float]) -> Cut:
    """A cut area within a rectangle, by Sutherland and Hodgman's rule, loop by loop."""
    loops = []
    for loop in found.loops:
        for axis, bound, sign in ((0, box[0], 1.0), (0, box[1], -1.0), (1, box[2], 1.0), (1, box[3], -1.0)):
            depth = sign * (loop[:, axis] - bound)
            kept: list[np.ndarray] = []
            for p, q, a, b in zip(loop, np.roll(loop, -1, axis=0), depth, np.roll(depth, -1), strict=True):
                if a >= 0:
                    kept.append(p)
                if (a >= 0) != (b >= 0):
                    kept.append(p + (q - p) * a / (a - b))
            loop = np.array(kept).reshape(-1, 2)
            if len(loop) < 3:
                break
        if len(loop) >= 3:
            loops.append(loop)
    return Cut(found.part, tuple(loops))


def _notes(paper: Paper, corner: Point, choice: Choice) -> None:
    """What the views do not show, downwards from a corner."""
    wheel = choice.assessment.wheel
    gear, pinion = int(wheel.gear_teeth[0]), int(wheel.pinion_teeth[0])
    module = float(wheel.gear_module[0]) / MM
    notes = [
        f"Hub roller axes: skew {float(wheel.skew_angle[0]) / DEG:.2f}° out of the circumference in the plane of contact, "
        f"whose normal stands {float(wheel.contact_angle[0]) / DEG:.2f}° to the shaft.",
        f"Contact circle ⌀{2 * float(wheel.contact_circle_radius[0]) / MM:.2f}.",
        "The right hub is the mirror image of the left.",
        f"Gears: module {module:g}, {gear} and {pinion} teeth, 20°, ISO 53.",
        f"Output rollers: crown {float(wheel.crown[0]):.2f}, radial play on the axle {float(wheel.bore_play[0]) / MM:.2f}.",
        "Drawn as the rollers just touch, without load.",
        "Rollers, rims and gears pinch. Motor supply off before anything is turned by hand.",
        "All dimensions: parameters.csv.",
    ]
    room = paper.size[0] - MARGIN - 4 - corner[0]
    x, y = corner
    paper.text((x, y), "Notes", LETTERS, bold=True)
    for i, note in enumerate(notes, 1):
        for j, row in enumerate(textwrap.wrap(note, max(24, int((room - 4) / (SMALL * LETTER_WIDTH))))):
            y -= 4.2 if j else 5.4
            if j == 0:
                paper.text((x, y), f"{i}", SMALL)
            paper.text((x + 4, y), row, SMALL)


def _parts_list(paper: Paper, assembly: Assembly) -> None:
    """All parts with their counts, upwards from the title block."""
    width = TITLE_SIZE[0]
    left, y = paper.size[0] - MARGIN - width, MARGIN + TITLE_SIZE[1]
    columns = (0.0, 7.0, 18.5, 74.0)
    for i, one in enumerate(assembly.parts, 1):
        words = one.designation or f"printed, {one.material}"
        for x, cell in zip(columns, (str(i), str(one.count), one.title, words), strict=True):
            paper.text((left + 1.5 + x, y + 0.8), cell, ROW_LETTERS * min(1.0, FULL_ROW / len(cell)))
        y += ROW
        paper.line([(left, y), (left + width, y)], THIN * 0.6)
    for x, cell in zip(columns, ("No", "Count", "Part", "Designation"), strict=True):
        paper.text((left + 1.5 + x, y + 0.8), cell, ROW_LETTERS, bold=True)
    top = y + ROW
    paper.box(left, MARGIN + TITLE_SIZE[1], width, top - MARGIN - TITLE_SIZE[1], THIN)
    for x in columns[1:]:
        paper.line([(left + x, MARGIN + TITLE_SIZE[1]), (left + x, top)], THIN * 0.6)
