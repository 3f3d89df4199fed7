"""Output rollers and hub rollers, each about the z axis with its middle at the origin."""

from __future__ import annotations

import math
from typing import Any

from sweep.cad.dimensions import Dimensions
from sweep.cad.shapes import rectangle, rod, tube

#: how far a core's hole narrows between its two ball bearings, over their ring's height (common practice)
CORE_SHOULDER = 0.3


def roller_outline(d: Dimensions, inwards: float = 0.0) -> Any:
    """Half plan (radius, z) of an output roller whose surface lies ``inwards`` of the true one, filled to the axis.

    r(z) = (1 - crown) r_o + crown (sqrt(R_w^2 - z^2) - R_p): an arc of the ellipse with half axes crown R_w and R_w.
    """
    from build123d import Edge, EllipticalCenterArc, Face, Wire

    half, crown = d["output_roller_length_mm"] / 2, d["crown"]
    middle = d["output_roller_radius_mm"] - inwards
    end = d["output_roller_end_radius_mm"] - inwards
    corners = [(0.0, -half), (end, -half), (end, half), (0.0, half)]
    if crown * (middle - end) < 1e-6:
        outer = Edge.make_line(corners[1], corners[2])
    else:
        centre = (1 - crown) * d["output_roller_radius_mm"] - crown * d["pitch_radius_mm"] - inwards
        turn = math.degrees(math.asin(half / d["wheel_radius_mm"]))
        outer = EllipticalCenterArc(
            (centre, 0), crown * d["wheel_radius_mm"], d["wheel_radius_mm"], start_angle=-turn, arc_size=2 * turn
        ).edge()
    lines = [Edge.make_line(corners[k], corners[(k + 1) % 4]) for k in (0, 2, 3)]
    return Face(Wire([lines[0], outer, lines[1], lines[2]]))


def roller_body(d: Dimensions, inwards: float = 0.0) -> Any:
    """An output roller without its hole."""
    from build123d import Axis, Rot, revolve

    return (Rot(90, 0, 0) * revolve(roller_outline(d, inwards), Axis.Y)).solid()


def soft_roller(d: Dimensions) -> Any:
    """The soft part of an output roller: all of it on a plain bore, else the tyre on the core."""
    half = d["output_roller_length_mm"] / 2 + 1
    if d.words["bore"] == "plain":
        inside = rod(d["output_roller_bore_mm"] / 2, -half, half)
    else:
        inside = roller_body(d, d["tyre_thickness_mm"])
    return roller_body(d).cut(inside).solid()


def core(d: Dimensions) -> Any:
    """The printed core within the tyre, with the seats of its bushing or ball bearings."""
    half = d["output_roller_length_mm"] / 2
    body, radius = roller_body(d, d["tyre_thickness_mm"]), d["core_bore_mm"] / 2
    if d.words["bore"] == "bushed":
        return body.cut(rod(radius, -half - 1, half + 1)).solid()
    seat = radius + d["bore_play_mm"]
    width = min(d["roller_bearing_width_mm"], half)
    shoulder = radius - CORE_SHOULDER * (radius - d["axle_diameter_mm"] / 2)
    return body.cut(
        rod(seat, half - width, half + 1), rod(seat, -half - 1, width - half), rod(shoulder, -half, half)
    ).solid()


def bushing(d: Dimensions) -> Any:
    """The bushing in a core, as long as the roller."""
    half = d["output_roller_length_mm"] / 2
    return tube(d["output_roller_bore_mm"] / 2, d["core_bore_mm"] / 2, -half, half)


def hub_roller(d: Dimensions) -> Any:
    """A hub roller with its hole."""
    half = d["hub_roller_length_mm"] / 2
    return tube(d["hub_roller_bore_mm"] / 2, d["hub_roller_radius_mm"], -half, half)


def axle(d: Dimensions) -> Any:
    """The rod that an output roller turns on."""
    half = d["axle_length_mm"] / 2
    return rod(d["axle_diameter_mm"] / 2, -half, half)


def shim(d: Dimensions) -> Any:
    """The ring beside an output roller, standing on z = 0."""
    return tube(d["axle_diameter_mm"] / 2, d["shim_outside_mm"] / 2, 0.0, d["side_washer_mm"])


def ball_bearing(inside: float, outside: float, width: float) -> Any:
    """A ball bearing about the z axis, its middle at the origin: rings with a sunk shield, in one piece."""
    from build123d import Rot

    from sweep.cad.shapes import turned

    height = outside - inside
    sunk = [
        rectangle(inside + 0.3 * height, outside - 0.25 * height, side * 0.45 * width, side * width) for side in (-1, 1)
    ]
    whole = [rectangle(inside, outside, -width / 2, width / 2)]
    return (Rot(90, 0, 0) * turned(whole, [sorted_outline(hole) for hole in sunk])).solid()


def sorted_outline(outline: list[tuple[float, float]]) -> list[tuple[float, float]]:
    """An outline counter-clockwise."""
    area = sum(a[0] * b[1] - a[1] * b[0] for a, b in zip(outline, outline[1:] + outline[:1], strict=True))
    return outline if area > 0 else outline[::-1]
