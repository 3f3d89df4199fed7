"""What the solids themselves say: axes, contact, pockets and teeth, measured on their faces and edges."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from sweep.cad.assembly import SIDES, Shift, assemble
from sweep.cad.dimensions import Dimensions
from sweep.cad.parts import Assembly
from sweep.cad.resting import Meeting
from sweep.cad.shapes import placed


def axis_line(solid: Any, radius: float) -> tuple[np.ndarray, np.ndarray]:
    """Point and direction of the axis of the cylinder of a radius [mm] among a solid's faces. Raises LookupError."""
    for point, along in _cylinders(solid, radius):
        return point, along
    raise LookupError(f"no cylinder of radius {radius:g} mm")


def cylinder_axes(solid: Any, radius: float) -> list[tuple[np.ndarray, np.ndarray]]:
    """The axes of all cylinders of a radius [mm], each once."""
    found: list[tuple[np.ndarray, np.ndarray]] = []
    for point, along in _cylinders(solid, radius):
        if all(off_line(point, *other) > 1e-6 or leaning(along, other[1]) > 1e-6 for other in found):
            found.append((point, along))
    return found


def off_line(place: np.ndarray, point: np.ndarray, along: np.ndarray) -> float:
    """Distance of a place from a line [mm]."""
    return float(np.linalg.norm(np.cross(place - point, along)))


def leaning(along: np.ndarray, other: np.ndarray) -> float:
    """Angle between two lines [deg]."""
    return math.degrees(math.asin(min(float(np.linalg.norm(np.cross(along, other))), 1.0)))


def contact_geometry(d: Dimensions, shapes: Mapping[str, Any]) -> dict[str, float]:
    """Contact angle, skew and contact circle of both sides, from solids that touch in their middles, less the design's.

    The normal runs from the place of the output roller nearest to the hub roller's axis to that axis. Largest differences
    of both sides, mm and degrees.
    """
    assembly = assemble(d, (0.0, 0.0, 0.0), Shift(), shapes)
    output = assembly.part("output_roller")
    roller = output.shape.moved(output.places[0])
    bore = d["output_roller_bore_mm"] / 2 if d.words["bore"] == "plain" else 0.0
    tangent = np.array([-1.0, 0.0, 0.0])  # t at the bottom
    outward = np.array([0.0, 0.0, -1.0])
    if bore:
        tangent = axis_line(roller, bore)[1] * np.sign(axis_line(roller, bore)[1] @ tangent)
    worst = {"gap_mm": 0.0, "contact_angle_deg": 0.0, "skew_angle_deg": 0.0, "contact_circle_radius_mm": 0.0}
    for side in SIDES.values():
        hub_roller = _hub_roller(assembly, side, 0)
        line, along = _axis_edge(d, hub_roller)
        distance, on_axis, on_roller = line.distance_to_with_closest_points(roller)
        normal = (_array(on_axis) - _array(on_roller)) / distance
        along = along * np.sign(along @ tangent)
        angle = math.degrees(math.atan2(-normal @ outward, side * normal[1]))
        climb = np.cross(np.cross(normal, along), normal)
        climbed = (climb @ outward) * math.cos(math.radians(angle)) + side * climb[1] * math.sin(math.radians(angle))
        skew = math.degrees(math.atan2(climbed, along @ tangent))
        place = _array(on_roller)
        for name, got, asked in (
            ("gap_mm", distance, d["hub_roller_radius_mm"]),
            ("contact_angle_deg", angle, d["contact_angle_deg"]),
            ("skew_angle_deg", skew, d["skew_angle_deg"]),
            ("contact_circle_radius_mm", math.hypot(place[0], place[2]), d["contact_circle_radius_mm"]),
        ):
            worst[name] = max(worst[name], abs(got - asked))
    return worst


def pockets(d: Dimensions, shapes: Mapping[str, Any]) -> dict[str, float]:
    """How many pockets both hubs have, and how far their axes are from those of their rollers: mm, degrees."""
    assembly = assemble(d, (0.0, 0.0, 0.0), Shift(), shapes)
    count, off, lean = 0, 0.0, 0.0
    for name, side in SIDES.items():
        part = assembly.part(f"hub_{name}")
        axes = cylinder_axes(part.shape.moved(part.places[0]), d["hub_pocket_radius_mm"])
        count += len(axes)
        for k in range(d.count("hub_roller_count")):
            roller = _hub_roller(assembly, side, k)
            middle = _array(roller.center())
            _, along = axis_line(roller, d["hub_roller_radius_mm"])
            nearest = min(axes, key=lambda axis: off_line(middle, *axis))
            off = max(off, off_line(middle, *nearest))
            lean = max(lean, leaning(nearest[1], along))
    return {"count": float(count), "off_mm": off, "lean_deg": lean}


@dataclass(frozen=True)
class Pressed:
    """How deep a hub roller presses into an output roller [mm]: its radius less the distance of its axis from the solid."""

    depth: float
    endless: float  # if the hub roller were longer
    past_end: float  # how far past the roller's end that would press deepest; 0 where it is within its length
    inside: bool  # whether the deepest place lies within the roller's length, not at its end


def overlap_of(d: Dimensions, assembly: Assembly, meeting: Meeting) -> Pressed:
    """How deep a hub roller presses into an output roller, as it is and if it were three times as long."""
    output = assembly.part("output_roller")
    hub_roller = _hub_roller(assembly, meeting.side, meeting.hub_roller)
    solid = placed(output.shape, output.places[meeting.output_roller])
    end = d["hub_roller_length_mm"] / 2

    def nearest(times: float) -> tuple[float, float]:
        line, along = _axis_edge(d, hub_roller, times)
        distance, on_axis, _ = line.distance_to_with_closest_points(solid)
        return d["hub_roller_radius_mm"] - distance, float(abs((_array(on_axis) - _array(line @ 0.5)) @ along))

    depth, station = nearest(1.0)
    if station < end - 1e-4:
        return Pressed(depth, depth, 0.0, True)
    endless, station = nearest(3.0)
    return Pressed(depth, endless, max(station - end, 0.0), False)


def floor_depth(assembly: Assembly, roller: int, height: float) -> float:
    """How deep an output roller reaches below a floor ``height`` [mm] under the shaft [mm]."""
    part = assembly.part("output_roller")
    return float(-placed(part.shape, part.places[roller]).bounding_box().min.Z) - height


def end_face(solid: Any, height: float) -> Any:
    """The widest flat face of a solid in the plane z = height: the end of a gear about the z axis."""
    from build123d import GeomType

    flat = [face for face in solid.faces() if face.geom_type == GeomType.PLANE]
    there = [face for face in flat if all(abs(vertex.Z - height) < 1e-6 for vertex in face.vertices())]
    return max(there, key=lambda face: face.bounding_box().diagonal)


def teeth_measured(face: Any, pitch_radius: float) -> dict[str, float]:
    """Tip and root radius, tooth thickness and pressure angle of a section through a gear about the origin, a tooth on +x.

    Thickness along the pitch circle, mean over the teeth; the pressure angle between the flank's tangent there and the radius.
    """
    from OCP.BRepAdaptor import BRepAdaptor_Curve

    outline = face.outer_wire()
    corners = [math.hypot(vertex.X, vertex.Y) for vertex in outline.vertices()]
    angles, pressures = [], []
    for edge in outline.edges():
        curve = BRepAdaptor_Curve(edge.wrapped)
        if _beyond(curve, curve.FirstParameter(), pitch_radius) * _beyond(curve, curve.LastParameter(), pitch_radius) < 0:
            point, radial = _crossing(curve, pitch_radius)
            angles.append(math.atan2(point[1], point[0]))
            pressures.append(math.degrees(math.acos(min(radial, 1.0))))
    pitch = 4 * math.pi / len(angles)
    half = [abs((angle + pitch / 2) % pitch - pitch / 2) for angle in angles]
    return {
        "tip_radius_mm": max(corners), "root_radius_mm": min(corners), "count": len(angles) / 2,
        "thickness_mm": 2 * float(np.mean(half)) * pitch_radius, "pressure_angle_deg": float(np.mean(pressures)),
    }  # fmt: skip


def _crossing(curve: Any, radius: float) -> tuple[tuple[float, float], float]:
    """Where a curve crosses a circle about the origin [mm], and the cosine of its angle with the radius there."""
    from OCP.gp import gp_Pnt, gp_Vec

    low, high = curve.FirstParameter(), curve.LastParameter()
    start = _beyond(curve, low, radius)
    for _ in range(50):
        middle = (low + high) / 2
        low, high = (middle, high) if _beyond(curve, middle, radius) * start > 0 else (low, middle)
    point, along = gp_Pnt(), gp_Vec()
    curve.D1(low, point, along)
    x, y = point.X(), point.Y()
    return (x, y), abs(along.X() * x + along.Y() * y) / along.Magnitude() / radius


def _beyond(curve: Any, at: float, radius: float) -> float:
    """How far a place of a curve is outside a circle about the origin [mm]."""
    point = curve.Value(at)
    return math.hypot(point.X(), point.Y()) - radius


def _hub_roller(assembly: Assembly, side: int, index: int) -> Any:
    part = assembly.part("hub_roller")
    return placed(part.shape, part.places[index + (0 if side > 0 else part.count // 2)])


def _axis_edge(d: Dimensions, roller: Any, times: float = 1.0) -> tuple[Any, np.ndarray]:
    """The axis of a hub roller within its length, or so many ``times`` as long, and its direction."""
    from build123d import Edge

    _, along = axis_line(roller, d["hub_roller_radius_mm"])
    middle, half = _array(roller.center()), times * d["hub_roller_length_mm"] / 2
    return Edge.make_line(tuple(middle - half * along), tuple(middle + half * along)), along


def _cylinders(solid: Any, radius: float) -> Iterator[tuple[np.ndarray, np.ndarray]]:
    """Point and direction of the axis of each cylindrical face of a radius."""
    from build123d import GeomType
    from OCP.BRepAdaptor import BRepAdaptor_Surface

    for face in solid.faces():
        if face.geom_type == GeomType.CYLINDER:
            cylinder = BRepAdaptor_Surface(face.wrapped).Cylinder()
            if abs(cylinder.Radius() - radius) < 1e-4:
                place, along = cylinder.Axis().Location(), cylinder.Axis().Direction()
                yield np.array([place.X(), place.Y(), place.Z()]), np.array([along.X(), along.Y(), along.Z()])


def _array(vector: Iterable[float]) -> np.ndarray:
    return np.array(tuple(vector))
