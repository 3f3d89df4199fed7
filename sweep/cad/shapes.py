"""Shapes that several parts are made of. Lengths in mm, angles in degrees; build123d is imported late."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

Point = tuple[float, float]
Vector3 = tuple[float, float, float]


def turned(outlines: Iterable[Sequence[Point]], holes: Iterable[Sequence[Point]] = ()) -> Any:
    """The body that outlines, each of (radius, y), sweep about the y axis, less that of the holes."""
    from build123d import Axis, revolve

    face = flat(outlines, holes)
    return revolve(face, Axis.Y).solid()


def flat(outlines: Iterable[Sequence[Point]], holes: Iterable[Sequence[Point]] = ()) -> Any:
    """Outlines in the plane z = 0 fused into one, less the holes."""
    from build123d import Polygon

    bodies = [Polygon(*outline, align=None) for outline in outlines]
    face = bodies[0] if len(bodies) == 1 else bodies[0].fuse(*bodies[1:])
    cuts = [hole if not isinstance(hole, Sequence) else Polygon(*hole, align=None) for hole in holes]
    return face.cut(*cuts) if cuts else face


def rectangle(inside: float, outside: float, low: float, high: float) -> list[Point]:
    """Outline between two radii and two heights."""
    return [(inside, low), (outside, low), (outside, high), (inside, high)]


def ring(inside: float, outside: float, low: float, high: float) -> Any:
    """A flat ring about the y axis, or a disc."""
    return turned([rectangle(inside, outside, low, high)])


def rod(radius: float, low: float, high: float) -> Any:
    """A cylinder about the z axis."""
    from build123d import Plane, Solid

    return Solid.make_cylinder(radius, high - low, Plane.XY.offset(low))


def tube(inside: float, outside: float, low: float, high: float) -> Any:
    """A tube about the z axis."""
    return rod(outside, low, high).cut(rod(inside, low - 1, high + 1)).solid()


def frame(origin: Vector3, along: Vector3, across: Vector3 | None = None) -> Any:
    """The location whose z axis points ``along``, its x axis as near to ``across`` as it can."""
    from build123d import Location
    from OCP.gp import gp_Ax3, gp_Dir, gp_Pnt, gp_Trsf

    # a Plane gives the same at ten times the cost, and a unit has hundreds of places
    axes = (gp_Pnt(*origin), gp_Dir(*along)) if across is None else (gp_Pnt(*origin), gp_Dir(*along), gp_Dir(*across))
    motion = gp_Trsf()
    motion.SetTransformation(gp_Ax3(*axes), gp_Ax3())
    return Location(motion)


def placed(shape: Any, place: Any) -> Any:
    """A solid in a place, its geometry shared: to measure only, since a boolean leaves marks on what it is made from."""
    from build123d import Solid

    return Solid(shape.wrapped.Moved(place.wrapped))


def about_shaft(angle: float) -> Any:
    """The location turned about the shaft, from +z towards +x, as the wheel rolls forward."""
    from build123d import Rot

    return Rot(0, angle, 0)


def mirrored(vector: Vector3, side: int) -> Vector3:
    """A vector of the left side (+1) as it is, of the right side (-1) mirrored at the mid-plane."""
    return vector[0], side * vector[1], vector[2]


def evenly(count: int, start: float = 0.0) -> list[float]:
    """Angles of ``count`` places round the shaft."""
    return [start + 360.0 * k / count for k in range(count)]


def toroid(radius: float, section: float, reach: float) -> Any:
    """Half plan (radius, y) of what a roller sweeps about the shaft: a circle about (radius, 0), and about (reach, 0)."""
    from build123d import Circle, Pos, Rectangle

    middle = (radius + reach) / 2
    return (
        Pos(radius, 0) * Circle(section)
        + Pos(reach, 0) * Circle(section)
        + Pos(middle, 0) * Rectangle(max(reach - radius, 1e-6), 2 * section)
    )

