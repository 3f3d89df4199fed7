"""The drawing of a wheel unit: front view, section through the shaft, a hub from inside, a pocket. Drawn from the solids."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from objectives.units import DEG, MM
from sweep.cad.choice import Choice
from sweep.cad.meshes import matrix_of
from sweep.cad.paper import A3, LETTERS, MARGIN, SMALL, THIN, TITLE_SIZE, Paper, Point
from sweep.cad.parts import BOUGHT, STOCK, TYRE, Assembly, Part
from sweep.cad.views import Cut, Frame, cut, placed, seen

A2 = (594.0, 420.0)
#: scales in the order of wish (ISO 5455), and how they are written
SCALES = ((1.0, "1:1"), (0.5, "1:2"), (0.2, "1:5"), (0.1, "1:10"))
DETAIL_SCALES = ((5.0, "5:1"), (2.0, "2:1"), (1.0, "1:1"), (0.5, "1:2"))
#: from the right of the wheel, its front to the right; from behind, its left to the left; a hub from the wheel
FRONT = Frame((0.0, 0.0, 0.0), (1.0, 0.0, 0.0), (0.0, 0.0, 1.0))
SECTION = Frame((0.0, 0.0, 0.0), (0.0, -1.0, 0.0), (0.0, 0.0, 1.0))
#: mm of paper about a view, for its dimensions
ABOUT = 24.0
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

    def name(self, words: str, below: float) -> None:
        self.paper.text((self.centre[0], self.centre[1] - below), words, 3.5, align="center", bold=True)


def drawing(choice: Choice, assembly: Assembly) -> Paper:
    """The sheet."""
    wheel, layout = choice.assessment.wheel, choice.assessment.layout
    radius = float(wheel.wheel_radius[0]) / MM
    half_width = float(layout.unit_width[0]) / 2 / MM
    hub_radius = float(np.maximum(layout.hub_outside_radius, layout.gear_pitch_radius + wheel.gear_module)[0]) / MM
    size, scale, words = _fit(radius, half_width, hub_radius)
    paper = Paper(size)
    top = size[1] - MARGIN - ABOUT - radius * scale
    front = View(paper, FRONT, (MARGIN + ABOUT + radius * scale, top), scale)
    section = View(paper, SECTION, (front.centre[0] + (radius + half_width) * scale + 2 * ABOUT, top), scale)
    _front(front, choice, assembly)
    _section(section, choice, assembly)
    low = MARGIN + 16 + hub_radius * scale
    _hub(View(paper, _hub_frame(assembly), (MARGIN + ABOUT + hub_radius * scale, low), scale), choice, assembly)
    _pocket(paper, (MARGIN + 2.4 * ABOUT + 2 * hub_radius * scale, MARGIN + 4), choice, assembly)
    _notes(paper, choice)
    own = choice.design
    paper.title_block(
        [
            ("Scale", words),
            ("Units", "mm, degrees"),
            ("Tolerances", "ISO 2768-m; printed +-0.2"),
            ("Sheet", f"{'A3' if size == A3 else 'A2'}, first angle"),
            ("Mass", f"{float(own['mass_kg']):.2f} kg"),
            ("Printed of", choice.study.scenario.build.material),
        ],
        f"Wheel unit {own['design']}",
        f"{choice.study.name}: front view, section, hub, pocket",
    )
    return paper


def _fit(radius: float, half_width: float, hub_radius: float) -> tuple[tuple[float, float], float, str]:
    """Paper, scale and its words: the first of A3 and A2 that all views fit on."""
    for size in (A3, A2):
        for scale, words in SCALES[1:] if size == A3 else SCALES:
            wide = (2 * radius + 2 * half_width) * scale + 4 * ABOUT + 2 * MARGIN
            high = (2 * radius + 2 * hub_radius) * scale + 2 * ABOUT + 30 + 2 * MARGIN
            if wide <= size[0] and high <= size[1] and scale >= (0.5 if size == A3 else 0.1):
                return size, scale, words
    return A2, *SCALES[-1]


def part(assembly: Assembly, *starts: str) -> Part:
    """The first part whose name begins with one of these."""
    for start in starts:
        for one in assembly.parts:
            if one.name.startswith(start):
                return one
    raise KeyError(starts[0])


def _front(view: View, choice: Choice, assembly: Assembly) -> None:
    """The wheel from the right, its right hub and motors taken off."""
    wheel, layout = choice.assessment.wheel, choice.assessment.layout
    paper, scale = view.paper, view.scale
    names = ("carrier_half_right", "output_", "side_shim", "clamp_nut", "radial_bearing", "shaft")
    shapes = [shape for one in assembly.parts if one.name.startswith(names) for shape in placed(one)]
    view.edges(seen(shapes, view.frame))
    radius, pitch = float(wheel.wheel_radius[0]) / MM, float(wheel.pitch_radius[0]) / MM
    paper.cross(view.centre, (radius + 8) * scale)
    paper.circle(view.centre, pitch * scale, THIN, "centre")
    count = int(wheel.output_roller_count[0])
    length = float(wheel.output_roller_length[0]) / MM
    low = view.on(0, -radius)
    paper.distance(view.on(-length / 2, -radius), view.on(length / 2, -radius), f"{length:.2f}", -7.0)
    turn = math.radians(52)
    tip = view.on(radius * math.cos(turn), radius * math.sin(turn))
    paper.leader(tip, (tip[0] + 8, tip[1] + 9), f"⌀{2 * radius:.1f} over rollers")
    turn = math.radians(128)
    tip = view.on(pitch * math.cos(turn), pitch * math.sin(turn))
    outside = view.on(radius * math.cos(turn), radius * math.sin(turn))
    paper.leader(tip, (outside[0] - 2, outside[1] + 9), f"⌀{2 * pitch:.2f} axles")
    rim = float(layout.carrier_outside_radius[0]) / MM
    turn = math.radians(90 + 180 / count) if count % 2 == 0 else math.radians(90)
    turn = -math.pi / 2 + 2 * math.pi / count * (math.floor(count / 8) + 0.5)
    tip = view.on(rim * math.cos(turn), rim * math.sin(turn))
    paper.leader(tip, (view.on(radius, 0)[0] - 6, low[1] + 4), f"⌀{2 * rim:.1f} carrier")
    # the section's plane
    for sign in (-1, 1):
        y = view.centre[1] + sign * (radius * scale + 9)
        paper.line([(view.centre[0], y - 2 * sign), (view.centre[0], y + 3 * sign)], 0.7)
        paper.line([(view.centre[0], y + 3 * sign), (view.centre[0] - 8, y + 3 * sign)], THIN)
        paper.arrow((view.centre[0] + 0.0, y + 3 * sign), 0.0)
        paper.text((view.centre[0] - 10.5, y + 3 * sign), "A", 3.5, align="center", over="center", bold=True)
    view.name(f"From the right, right hub off; {count} rollers, {360 / count:.4g}° apart", radius * scale + 17)


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
    paper.distance(view.on(-half_shaft, 0), view.on(half_shaft, 0), f"{2 * half_shaft:.1f} shaft", low - 8)
    paper.distance(view.on(-half_width, centres), view.on(half_width, centres), f"{2 * half_width:.1f}",
                   bottom - 15 - view.on(0, centres)[1])
    paper.distance(view.on(-roller, radius - roller), view.on(roller, radius - roller), f"⌀{2 * roller:.1f}", roller * scale + 6)
    paper.distance(view.on(half_width, 0), view.on(half_width, centres), f"{centres:.2f}", -8.0, math.pi / 2)
    paper.distance(view.on(-half_width, -radius), view.on(-half_width, radius), f"⌀{2 * radius:.1f}", 8.0, math.pi / 2)
    # contact normal and angle at the lowest roller, left side
    beta = float(wheel.contact_angle[0])
    hub = float(wheel.hub_roller_radius[0]) / MM
    centre = view.on(0, -pitch)
    reach = (roller + 2 * hub) * scale + 4
    end = (centre[0] - reach * math.cos(beta), centre[1] + reach * math.sin(beta))
    paper.line([centre, end], THIN, "centre")
    paper.line([centre, (centre[0] - reach, centre[1])], THIN, "centre")
    paper.angle(centre, reach - 3, math.pi - beta, math.pi, f"{beta / DEG:.1f}°")
    view.name("A–A", (radius + 0) * scale + 24)


def _hub_frame(assembly: Assembly) -> Frame:
    """The left hub from the wheel: upwards is up, forwards is right."""
    return Frame((0.0, 0.0, 0.0), (1.0, 0.0, 0.0), (0.0, 0.0, 1.0))


def _hub(view: View, choice: Choice, assembly: Assembly) -> None:
    """The left hub and its rollers from the wheel."""
    wheel, layout = choice.assessment.wheel, choice.assessment.layout
    paper, scale = view.paper, view.scale
    names = ("hub_left", "hub_roller")
    shapes = [
        shape for one in assembly.parts if one.name in names for shape, place in zip(placed(one), one.places, strict=True)
        if place.position.Y >= 0
    ]  # fmt: skip
    view.edges(seen(shapes, view.frame), 0.3)
    outside = float(layout.hub_outside_radius[0]) / MM
    ring = float(wheel.hub_roller_centre_radius[0]) / MM
    count = int(wheel.hub_roller_count[0])
    paper.cross(view.centre, (outside + 6) * scale)
    paper.circle(view.centre, ring * scale, THIN, "centre")
    turn = math.radians(35)
    tip = view.on(outside * math.cos(turn), outside * math.sin(turn))
    paper.leader(tip, (tip[0] + 6, tip[1] + 6), f"⌀{2 * outside:.1f}")
    turn = math.radians(145)
    tip = view.on(ring * math.cos(turn), ring * math.sin(turn))
    paper.leader(tip, (view.on(-outside, 0)[0] + 6, tip[1] + 22 * scale + 6), f"⌀{2 * ring:.2f} roller centres")
    view.name(f"Left hub from the wheel; {count} rollers, {360 / count:.4g}° apart", outside * scale + 9)


def _pocket(paper: Paper, corner: Point, choice: Choice, assembly: Assembly) -> None:
    """A cut along a hub roller's axis and its contact normal."""
    wheel = choice.assessment.wheel
    roller = part(assembly, "hub_roller")
    radius, length = float(wheel.hub_roller_radius[0]) / MM, float(wheel.hub_roller_length[0]) / MM
    output = float(wheel.output_roller_radius[0]) / MM
    place = _lowest_left(roller)
    origin, axis = place[:3, 3], place[:3, 2]
    beta = float(wheel.contact_angle[0])
    normal = np.array([0.0, math.cos(beta), math.sin(beta)])  # out of the lowest output roller, up to the left
    normal -= axis * (normal @ axis)
    normal /= np.linalg.norm(normal)
    frame = Frame(tuple(origin), tuple(axis), tuple(-normal))
    window = (1.2 * length + 20, 2 * radius + 2.2 * output)
    scale, words = next(
        ((s, w) for s, w in DETAIL_SCALES if s * window[0] < 105 and s * (window[1]) < 88), DETAIL_SCALES[-1]
    )
    half = 0.62 * length + 8
    view = View(paper, frame, (corner[0] + half * scale + 6, corner[1] + 26 + (radius + 6) * scale), scale)
    box = (-half, half, -radius - 5, radius + 0.9 * output)
    near = [one for one in assembly.parts if one.name.startswith(("hub_left", "hub_roller", "output_", "side_washer"))]
    view.cuts([_clipped(found, box) for found in cut(near, frame) if _inside(found, box)])
    paper.line([view.on(-half - 1, 0), view.on(half + 1, 0)], THIN, "centre")
    screw = float(wheel.hub_axle_diameter[0]) / MM
    paper.distance(view.on(-length / 2, 0), view.on(length / 2, 0), f"{length:.2f}", -(radius + 7) * scale - 3)
    paper.distance(view.on(-half, -screw / 2), view.on(-half, screw / 2), f"M{screw:g}", 4, math.pi / 2)
    paper.distance(view.on(half, -radius), view.on(half, radius), f"⌀{2 * radius:.2f}", -5, math.pi / 2)
    view.name(f"Pocket, along the roller's axis and the contact's normal ({words})", (radius + 5) * scale + 16)


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


def _notes(paper: Paper, choice: Choice) -> None:
    """What the views do not show, above the title block."""
    wheel = choice.assessment.wheel
    gear, pinion = int(wheel.gear_teeth[0]), int(wheel.pinion_teeth[0])
    module = float(wheel.gear_module[0]) / MM
    rows = [
        f"Hub roller axes: skew {float(wheel.skew_angle[0]) / DEG:.2f}° out of the circumference, contact normal "
        f"{float(wheel.contact_angle[0]) / DEG:.2f}° from the shaft.",
        f"Contact circle ⌀{2 * float(wheel.contact_circle_radius[0]) / MM:.2f}. Right hub is the mirror image of the left.",
        f"Gears: module {module:g}, {gear} and {pinion} teeth, 20°, ISO 53.",
        f"Output rollers: crown {float(wheel.crown[0]):.2f}, radial play on the axle {float(wheel.bore_play[0]) / MM:.2f}.",
        "Drawn without load: where rollers touch, their soft surfaces overlap by what the preload presses them together.",
        "Hub rollers, gears and rims pinch. Motor supply off before turning anything by hand.",
    ]
    x = paper.size[0] - MARGIN - TITLE_SIZE[0] + 2
    y = MARGIN + TITLE_SIZE[1] + 4 + 4.6 * (len(rows) - 1)
    for i, row in enumerate(rows):
        paper.text((x, y - 4.6 * i), row, SMALL)
    paper.text((x, y + 5.2), "Notes", LETTERS, bold=True)
