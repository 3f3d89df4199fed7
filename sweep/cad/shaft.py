"""What stands on the shaft, and the motor with its pinion. About the z axis."""

from __future__ import annotations

from typing import Any

from sweep.cad.dimensions import Dimensions
from sweep.cad.gears import spur_gear
from sweep.cad.hardware import hex_nut
from sweep.cad.hub import gear_teeth
from sweep.cad.rollers import ball_bearing
from sweep.cad.shapes import rod, tube
from sweep.cad.springs import Spring, helical_spring

#: mm, radial room between the shaft and what slides on it
SLIDING = 0.15
#: m per mm
MM = 1e-3
#: mm, room about a motor's shaft in its pinion
PRESS = 0.05


def shaft(d: Dimensions) -> Any:
    """The shaft, its middle at the origin; turned down at the ends where no coarse thread has its diameter."""
    half, radius, thread = d["shaft_length_mm"] / 2, d["shaft_diameter_mm"] / 2, d["nut_thread_mm"] / 2
    if thread > radius - 1e-6:
        return rod(radius, -half, half)
    # the spring can be let go to the end before the nut leaves its thread
    start = d["nut_offset_mm"] - d["spring_deflection_mm"] - 1.0
    return rod(radius, -start, start).fuse(rod(thread, -half, half)).solid()


def radial_bearing(d: Dimensions) -> Any:
    """A deep groove bearing of carrier or hub, its middle at the origin."""
    return ball_bearing(d["shaft_diameter_mm"] / 2, d["radial_bearing_outside_mm"] / 2, d["radial_bearing_width_mm"])


def thrust_washer(d: Dimensions) -> Any:
    """A washer of the needle thrust bearing, standing on z = 0."""
    return tube(d["shaft_diameter_mm"] / 2, d["thrust_bearing_outside_mm"] / 2, 0.0, d["thrust_washer_mm"])


def thrust_cage(d: Dimensions) -> Any:
    """The needles' cage, standing on z = 0: a plain ring."""
    radius, outside = d["shaft_diameter_mm"] / 2, d["thrust_bearing_outside_mm"] / 2
    return tube(radius + 0.1, outside - 0.1, 0.0, d["thrust_bearing_width_mm"])


def spring_of(d: Dimensions) -> Spring | None:
    """The helical spring behind a hub, None where only a stack or a bushing fits."""
    inside, outside = spring_room(d)
    return helical_spring(
        d["preload_N"], d["preload_stiffness_N_per_mm"] / MM, d["spring_length_mm"] * MM, 2 * inside * MM, 2 * outside * MM
    )


def spring_room(d: Dimensions) -> tuple[float, float]:
    """Inside and outside radius of the room that a spring has on the shaft."""
    return d["shaft_diameter_mm"] / 2 + 2 * SLIDING, d["radial_bearing_outside_mm"] / 2


def spring(d: Dimensions) -> Any:
    """The spring under its preload, standing on z = 0: a coil between its closed ends, or the room of a stack or bushing."""
    found, length = spring_of(d), d["spring_length_mm"]
    if found is None:
        return tube(*spring_room(d), 0.0, length)
    from build123d import Circle, Edge, Plane, Solid, Wire

    wire, mean = found.wire / MM, found.mean_diameter / MM
    end = tube((mean - wire) / 2, (mean + wire) / 2, 0.0, wire)
    top = tube((mean - wire) / 2, (mean + wire) / 2, length - wire, length)
    # the working coils start and end within the closed ones
    height = length - wire
    helix = Edge.make_helix(height / found.coils, height, mean / 2, center=(0, 0, wire / 2))
    section = Plane(origin=helix @ 0, z_dir=helix % 0) * Circle(0.49 * wire)
    coil = Solid.sweep(section.face(), path=Wire([helix]))
    return coil.fuse(end, top).solid()


def cap(d: Dimensions) -> Any:
    """The preload cap, standing on z = 0."""
    radius = max(d["radial_bearing_outside_mm"] / 2, 0.9 * d["nut_thread_mm"])
    return tube(d["shaft_diameter_mm"] / 2 + SLIDING, radius, 0.0, d["cap_mm"])


def nut(d: Dimensions) -> Any:
    """The preload nut, standing on z = 0."""
    return hex_nut(d["nut_thread_mm"])


def shaft_section(d: Dimensions, room: float = 0.0) -> Any:
    """Face of a motor's shaft with its flat, in the plane z = 0, ``room`` larger all round."""
    from build123d import Circle, Pos, Rectangle

    radius = d["motor_shaft_diameter_mm"] / 2
    across = d["motor_shaft_flat_mm"] - radius + room
    return (Circle(radius + room) & Pos(across - 2 * radius, 0) * Rectangle(4 * radius, 4 * radius)).face()


def pinion(d: Dimensions) -> Any:
    """The pinion from z = 0 to its width, a tooth on +x, its bore with a flat."""
    from build123d import Pos, Solid, Vector

    width = d["gear_width_mm"]
    hole = Solid.extrude(Pos(0, 0, -1) * shaft_section(d, room=PRESS), Vector(0, 0, width + 2))
    return spur_gear(gear_teeth(d, "pinion_teeth"), width).cut(hole).solid()


def motor(d: Dimensions) -> Any:
    """The motor, its face at z = 0, its body above, its shaft below."""
    from build123d import Solid, Vector

    body = rod(d["motor_diameter_mm"] / 2, 0.0, d["motor_length_mm"])
    stub = Solid.extrude(shaft_section(d), Vector(0, 0, -d["motor_shaft_length_mm"]))
    return body.fuse(stub).solid()

