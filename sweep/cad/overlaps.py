"""Which parts would cut into each other: parts that stand still to one another once, the others over phases.

Two kinds can meet only where the rings that they keep within as they turn about the shaft meet. Left and right mirror
each other, and what stands round the shaft repeats: one place of each stands for all.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from sweep.cad.assembly import Shift, assemble
from sweep.cad.dimensions import Dimensions
from sweep.cad.parts import Part
from sweep.cad.shapes import toroid

#: what turns together
CARRIER, HUB, FIXED = "carrier", "hub", "fixed"
GROUPS = {
    "carrier_half_left": CARRIER, "carrier_half_right": CARRIER, "output_axle": CARRIER, "side_shim": CARRIER,
    "output_core": CARRIER, "core_bushing": CARRIER, "core_bearing": CARRIER, "output_roller": CARRIER,
    "clamp_screw": CARRIER, "clamp_nut": CARRIER, "hub_left": HUB, "hub_right": HUB, "hub_roller": HUB, "hub_bolt": HUB,
    "hub_washer": HUB, "shaft": FIXED, "radial_bearing": FIXED, "thrust_washer": FIXED, "thrust_cage": FIXED,
    "preload_spring": FIXED, "preload_cap": FIXED, "preload_nut": FIXED, "motor": FIXED, "pinion": FIXED,
}  # fmt: skip
#: parts that stand still and are not round about the shaft: what turns past them is looked at in every phase
NOT_ROUND = ("motor", "preload_nut", "pinion")
#: mm^3, what counts as an overlap: numerical noise of faces that touch stays below
NOISE = 1e-2
#: mm, left off boxes and added to rings, more than the meshes and boxes are in error
MARGIN = 0.05


@dataclass(frozen=True)
class Ring:
    """The ring about the shaft that a part keeps within, wherever it turns."""

    inside: float
    outside: float
    low: float
    high: float

    def meets(self, other: Ring) -> bool:
        return (
            self.inside < other.outside and other.inside < self.outside and self.low < other.high and other.low < self.high
        )


@dataclass(frozen=True)
class Overlap:
    """Two parts that share a volume [mm^3]."""

    first: str
    second: str
    volume: float
    phase: tuple[float, float, float] | None = None

    def __str__(self) -> str:
        where = "" if self.phase is None else f" in the phase {', '.join(f'{share:.3f}' for share in self.phase)}"
        return f"{self.first} and {self.second} share {self.volume:.3g} mm^3{where}"


def common_volume(first: Any, second: Any) -> float:
    """Volume that two solids share [mm^3]."""
    shared = first.intersect(second)
    return sum((shape.volume for shape in shared), 0.0) if shared else 0.0


def still_overlaps(d: Dimensions, shapes: Mapping[str, Any], shift: Shift) -> tuple[list[Overlap], int]:
    """Overlaps of parts that do not turn past each other, and how many pairs were cut.

    Screws are drawn with the core of their thread, so that they do not cut into what they hold in.

    Left side, with one place of each kind that repeats round the shaft, against all places of the other kind. The output
    rollers stand in the middle of their play, the hubs are closed.
    """
    assembly = assemble(d, (0.0, 0.0, 0.0), Shift(closure=shift.closure), shapes)
    placed = [item for part in assembly.parts if part.name != "hub_right" for item in _left(d, part)]
    boxes = [item[2].bounding_box() for item in placed]
    found, pairs = [], 0
    for i, (name, first, solid, repeats) in enumerate(placed):
        for j in range(i):
            other, other_first, other_solid, other_repeats = placed[j]
            if not (first and other_first) and not (repeats and other_repeats and (first or other_first)):
                continue
            if _apart(name, other) or not _boxes_meet(boxes[i], boxes[j]):
                continue
            pairs += 1
            volume = common_volume(solid, other_solid)
            if volume > NOISE:
                found.append(Overlap(other, name, volume))
    return found, pairs


def turning_overlaps(
    d: Dimensions, shapes: Mapping[str, Any], phases: list[tuple[tuple[float, float, float], Shift]]
) -> tuple[list[Overlap], int]:
    """Overlaps of rigid parts that turn past each other, over phases, and how many pairs were cut.

    The right hub mirrors the left one. A pair whose rings do not meet is clear in every phase. So is one whose hub part is
    clear of all that an output roller sweeps about the shaft; the others are cut phase by phase. Teeth are looked at elsewhere.
    """
    furthest = _furthest([shift for _, shift in phases])
    at_rest = assemble(d, (0.0, 0.0, 0.0), furthest, shapes)
    rings = {part.name: _ring(part) for part in at_rest.parts if part.name in NOT_ROUND or GROUPS[part.name] != FIXED}
    kinds = [
        (a, b) for a in rings for b in rings
        if rings[a].meets(rings[b]) and not _allowed(a, b) and "hub_right" not in (a, b)
        and ((GROUPS[a], GROUPS[b]) == (CARRIER, HUB) or (GROUPS[a] != FIXED and b in NOT_ROUND))
    ]  # fmt: skip
    moved = [math.hypot(u, v) for _, shift in phases for u, v in zip(shift.inwards, shift.left, strict=True)]
    sweep = swept_roller(d, max(moved, default=0.0))
    clear: dict[str, bool] = {}
    found, pairs = [], 0
    for a, b in kinds:
        if GROUPS[a] == CARRIER and a.startswith(("output_", "core_")):
            if b not in clear:
                pairs += 1
                part = at_rest.part(b)
                clear[b] = common_volume(part.shape.moved(part.places[0]), sweep) <= NOISE
            if clear[b]:
                continue
        for phase, shift in phases:
            assembly = assemble(d, phase, shift, shapes)
            for first in _all(assembly.part(a)):
                for second in _all(assembly.part(b)):
                    if _boxes_meet(first.bounding_box(), second.bounding_box()):
                        pairs += 1
                        volume = common_volume(first, second)
                        if volume > NOISE:
                            found.append(Overlap(a, b, volume, phase))
    return found, pairs


def swept_roller(d: Dimensions, moved: float) -> Any:
    """All that an output roller, ``moved`` from its axle [mm], sweeps as it turns about the shaft."""
    from build123d import Axis, revolve

    reach = math.hypot(d["pitch_radius_mm"], d["output_roller_length_mm"] / 2)
    return revolve(toroid(d["pitch_radius_mm"], d["output_roller_radius_mm"] + moved, reach), Axis.Y).solid()


def _left(d: Dimensions, part: Part) -> Iterator[tuple[str, bool, Any, bool]]:
    """Places of a part on the left side or in the middle: name, whether it is the first, solid, whether it repeats."""
    around = {CARRIER: d.count("output_roller_count"), HUB: d.count("hub_roller_count"), FIXED: 1}[GROUPS[part.name]]
    count = part.count // 2 if GROUPS[part.name] == HUB and part.count > 1 else part.count
    repeats = count >= around > 1
    for k in range(count):
        if GROUPS[part.name] == FIXED and part.places[k].position.Y < -1.0:
            continue
        yield part.name, not repeats or k < count // around, part.shape.moved(part.places[k]), repeats


def _apart(first: str, second: str) -> bool:
    """Pairs that are not looked at here: rollers pressed into each other, teeth, and what turns past each other."""
    return _allowed(first, second) or {GROUPS[first], GROUPS[second]} == {CARRIER, HUB}


def _allowed(first: str, second: str) -> bool:
    pair = {first, second}
    return pair == {"output_roller", "hub_roller"} or ("pinion" in pair and bool(pair & {"hub_left", "hub_right"}))


def _furthest(shifts: list[Shift]) -> Shift:
    """Both hubs closed as far as in any of the phases."""
    return Shift(closure=(max((s.closure[0] for s in shifts), default=0.0), max((s.closure[1] for s in shifts), default=0.0)))


def _ring(part: Part) -> Ring:
    """The ring of the first place of a part: of the left side where it has two."""
    points, _ = part.shape.moved(part.places[0]).tessellate(0.02, 0.2)
    radii = [math.hypot(point.X, point.Z) for point in points]
    heights = [point.Y for point in points]
    # flat faces and large meshes come nearer to the shaft than their corners
    box = part.shape.bounding_box().size
    nearest = min(radii) - max(box) / 4 if GROUPS[part.name] == FIXED else min(radii) * math.cos(math.pi / 8)
    return Ring(nearest - MARGIN, max(radii) + MARGIN, min(heights) - MARGIN, max(heights) + MARGIN)


def _all(part: Part) -> list[Any]:
    return [part.shape.moved(place) for place in part.places]


def _boxes_meet(one: Any, two: Any) -> bool:
    return all(
        getattr(one.min, axis) + MARGIN < getattr(two.max, axis) and getattr(two.min, axis) + MARGIN < getattr(one.max, axis)
        for axis in ("X", "Y", "Z")
    )

