"""Which parts would cut into each other: parts that stand still to one another once, the others over phases.

Two kinds can meet only where the rings that they keep within as they turn about the shaft meet. Left and right mirror
each other, and what stands round the shaft repeats: one place of each stands for all.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from sweep.cad.assembly import Shift, assemble
from sweep.cad.dimensions import Dimensions
from sweep.cad.meshes import Mesh, matrix_of, mesh_of
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
#: mm and rad, of the meshes that boxes and rings are taken from; they lie within the solids by so much
MESH = (0.02, 0.2)
#: mm, added to rings, more than the meshes are in error; mm, by which boxes must share a length to be looked at
MARGIN, SLACK = 0.05, 0.01


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


def meshes_of(shapes: Mapping[str, Any], known: Mapping[str, Mesh]) -> dict[str, Mesh]:
    """Meshes to take boxes and rings from, those known already or new ones; the right hub mirrors the left and needs none."""
    return {name: known.get(name) or mesh_of(shape, *MESH) for name, shape in shapes.items() if name != "hub_right"}


def still_overlaps(
    d: Dimensions, shapes: Mapping[str, Any], meshes: Mapping[str, Mesh], shift: Shift
) -> tuple[list[Overlap], int]:
    """Overlaps of parts that do not turn past each other, and how many pairs were cut.

    Screws are drawn with the core of their thread, so that they do not cut into what they hold in.

    Left side, with one place of each kind that repeats round the shaft, against all places of the other kind. The output
    rollers stand in the middle of their play, the hubs are closed.
    """
    assembly = assemble(d, (0.0, 0.0, 0.0), Shift(closure=shift.closure), shapes)
    placed = [item for part in assembly.parts if part.name != "hub_right" for item in _left(d, part)]
    corners = {name: _corners(mesh) for name, mesh in meshes.items()}
    boxes = [_box(corners[item[0]], item[2]) for item in placed]
    found, pairs = [], 0
    for i, (name, first, place, repeats) in enumerate(placed):
        for j in range(i):
            other, other_first, other_place, other_repeats = placed[j]
            if not (first and other_first) and not (repeats and other_repeats and (first or other_first)):
                continue
            if _apart(name, other) or not _boxes_meet(boxes[i], boxes[j]):
                continue
            pairs += 1
            volume = common_volume(shapes[name].moved(place), shapes[other].moved(other_place))
            if volume > NOISE:
                found.append(Overlap(other, name, volume))
    return found, pairs


def turning_overlaps(
    d: Dimensions, shapes: Mapping[str, Any], meshes: Mapping[str, Mesh], phases: list[tuple[tuple[float, float, float], Shift]]
) -> tuple[list[Overlap], int]:
    """Overlaps of rigid parts that turn past each other, over phases, and how many pairs were cut.

    The right hub mirrors the left one. A pair whose rings do not meet is clear in every phase. So is one whose hub part is
    clear of all that an output roller sweeps about the shaft; the others are cut phase by phase. Teeth are looked at elsewhere.
    """
    furthest = _furthest([shift for _, shift in phases])
    at_rest = assemble(d, (0.0, 0.0, 0.0), furthest, shapes)
    turning = [part for part in at_rest.parts if part.name in NOT_ROUND or GROUPS[part.name] != FIXED]
    rings = {part.name: _ring(part, meshes[part.name]) for part in turning if part.name in meshes}
    kinds = [
        (a, b) for a in rings for b in rings
        if rings[a].meets(rings[b]) and not _allowed(a, b)
        and ((GROUPS[a], GROUPS[b]) == (CARRIER, HUB) or (GROUPS[a] != FIXED and b in NOT_ROUND))
    ]  # fmt: skip
    moved = [math.hypot(u, v) for _, shift in phases for u, v in zip(shift.inwards, shift.left, strict=True)]
    sweep = swept_roller(d, max(moved, default=0.0))
    clear: dict[str, bool] = {}
    found, pairs, close = [], 0, []
    for a, b in kinds:
        if GROUPS[a] == CARRIER and a.startswith(("output_", "core_")):
            if b not in clear:
                pairs += 1
                part = at_rest.part(b)
                clear[b] = common_volume(part.shape.moved(part.places[0]), sweep) <= NOISE
            if clear[b]:
                continue
        close.append((a, b))
    corners = {name: _corners(meshes[name]) for name in sorted({name for kind in close for name in kind})}
    for phase, shift in phases:
        assembly = assemble(d, phase, shift, shapes)
        boxes = {name: [_box(corners[name], place) for place in assembly.part(name).places] for name in corners}
        for a, b in close:
            for first, one in zip(assembly.part(a).places, boxes[a], strict=True):
                for second, two in zip(assembly.part(b).places, boxes[b], strict=True):
                    if _boxes_meet(one, two):
                        pairs += 1
                        volume = common_volume(shapes[a].moved(first), shapes[b].moved(second))
                        if volume > NOISE:
                            found.append(Overlap(a, b, volume, phase))
    return found, pairs


def swept_roller(d: Dimensions, moved: float) -> Any:
    """All that an output roller, ``moved`` from its axle [mm], sweeps as it turns about the shaft."""
    from build123d import Axis, revolve

    reach = math.hypot(d["pitch_radius_mm"], d["output_roller_length_mm"] / 2)
    return revolve(toroid(d["pitch_radius_mm"], d["output_roller_radius_mm"] + moved, reach), Axis.Y).solid()


def _left(d: Dimensions, part: Part) -> Iterator[tuple[str, bool, Any, bool]]:
    """Places of a part on the left side or in the middle: name, whether it is the first, place, whether it repeats."""
    around = {CARRIER: d.count("output_roller_count"), HUB: d.count("hub_roller_count"), FIXED: 1}[GROUPS[part.name]]
    count = part.count // 2 if GROUPS[part.name] == HUB and part.count > 1 else part.count
    repeats = count >= around > 1
    for k in range(count):
        if GROUPS[part.name] == FIXED and part.places[k].position.Y < -1.0:
            continue
        yield part.name, not repeats or k < count // around, part.places[k], repeats


def _apart(first: str, second: str) -> bool:
    """Pairs that are not looked at here: rollers pressed into each other, teeth, and what turns past each other."""
    return _allowed(first, second) or {GROUPS[first], GROUPS[second]} == {CARRIER, HUB}


def _allowed(first: str, second: str) -> bool:
    pair = {first, second}
    return pair == {"output_roller", "hub_roller"} or ("pinion" in pair and bool(pair & {"hub_left", "hub_right"}))


def _furthest(shifts: list[Shift]) -> Shift:
    """Both hubs closed as far as in any of the phases."""
    return Shift(closure=(max((s.closure[0] for s in shifts), default=0.0), max((s.closure[1] for s in shifts), default=0.0)))


def _ring(part: Part, mesh: Mesh) -> Ring:
    """The ring of the first place of a part: of the left side where it has two."""
    points = mesh.moved(matrix_of(part.places[0])).vertices
    radii, heights = np.hypot(points[:, 0], points[:, 2]), points[:, 1]
    # flat faces and large meshes come nearer to the shaft than their corners
    nearest = radii.min()
    nearest = nearest - np.ptp(points, axis=0).max() / 4 if GROUPS[part.name] == FIXED else nearest * math.cos(math.pi / 8)
    return Ring(nearest - MARGIN, radii.max() + MARGIN, heights.min() - MARGIN, heights.max() + MARGIN)


def _corners(mesh: Mesh) -> np.ndarray:
    """The corners of a mesh that stand out, (k, 3): its box in any place follows from them."""
    from scipy.spatial import ConvexHull

    return mesh.vertices[ConvexHull(mesh.vertices).vertices]


def _box(corners: np.ndarray, place: Any) -> np.ndarray:
    """Lowest and highest x, y and z of corners in a place, (2, 3)."""
    matrix = matrix_of(place)
    there = corners @ matrix[:3, :3].T + matrix[:3, 3]
    return np.array([there.min(axis=0), there.max(axis=0)])


def _boxes_meet(one: np.ndarray, two: np.ndarray) -> bool:
    return bool((one[0] + SLACK < two[1]).all() and (two[0] + SLACK < one[1]).all())
