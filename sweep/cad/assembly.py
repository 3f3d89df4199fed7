"""A wheel unit of its parts, each in its place."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from sweep.cad import carrier, hardware, rollers, shaft
from sweep.cad.dimensions import Dimensions
from sweep.cad.hub import hub, hub_axis
from sweep.cad.part_list import described
from sweep.cad.parts import Assembly
from sweep.cad.shapes import about_shaft, evenly, frame, mirrored

#: +1 the left side, -1 the right one
SIDES = {"left": 1, "right": -1}


@dataclass(frozen=True)
class Shift:
    """How far the rollers and hubs are from where they stand without forces [mm], signs as in the mechanics."""

    inwards: tuple[float, ...] = ()  # u of each output roller, towards the shaft
    left: tuple[float, ...] = ()  # v of each output roller, along +y
    closure: tuple[float, float] = (0.0, 0.0)  # x of the left and the right hub, towards the mid-plane
    height: float = 0.0  # h of the shaft over the floor; 0 where there is no floor


def solids(d: Dimensions) -> dict[str, Any]:
    """The shape of every part by its name, in its own frame."""
    left = hub(d)
    shapes = {
        "carrier_half_left": carrier.carrier_half(d, 1), "carrier_half_right": carrier.carrier_half(d, -1),
        "hub_left": left, "hub_right": _mirror(left), "pinion": shaft.pinion(d), "preload_cap": shaft.cap(d),
        "output_roller": rollers.soft_roller(d), "hub_roller": rollers.hub_roller(d), "output_axle": rollers.axle(d),
        "side_shim": rollers.shim(d),
    }  # fmt: skip
    if d.words["bore"] != "plain":
        shapes["output_core"] = rollers.core(d)
    if d.words["bore"] == "bushed":
        shapes["core_bushing"] = rollers.bushing(d)
    if d.words["bore"] == "ball":
        shapes["core_bearing"] = rollers.ball_bearing(
            d["axle_diameter_mm"] / 2, d["core_bore_mm"] / 2, d["roller_bearing_width_mm"]
        )
    bolt = d["hub_axle_diameter_mm"]
    return shapes | {
        "hub_bolt": hardware.socket_screw(bolt, d["hub_bolt_length_mm"]),
        "hub_washer": hardware.washer(bolt, d["hub_washer_outside_mm"], d["hub_washer_thickness_mm"]),
        "clamp_screw": hardware.countersunk_screw(hardware.CLAMP, d["clamp_screw_length_mm"]),
        "clamp_nut": hardware.hex_nut(hardware.CLAMP),
        "shaft": shaft.shaft(d), "radial_bearing": shaft.radial_bearing(d), "thrust_washer": shaft.thrust_washer(d),
        "thrust_cage": shaft.thrust_cage(d), "preload_spring": shaft.spring(d), "preload_nut": shaft.nut(d),
        "motor": shaft.motor(d),
    }  # fmt: skip


def assemble(
    dimensions: Dimensions,
    phase: tuple[float, float, float] = (0.0, 0.0, 0.0),
    shift: Shift | None = None,
    shapes: Mapping[str, Any] | None = None,
) -> Assembly:
    """The unit, its rollers just touching where they meet in their middles.

    ``phase`` as in ``objectives.phases``: shares of one pitch (0 to 1) that the carrier is turned against the floor, and each
    hub, left first, against the carrier. ``shift`` moves rollers and hubs; ``shapes`` of ``solids`` saves making them anew.
    """
    made = solids(dimensions) if shapes is None else shapes
    places: dict[str, list[Any]] = {name: [] for name in made}
    for name, place in _places(dimensions, phase, shift or Shift()):
        if name in places:
            places[name].append(place)
    return Assembly(dimensions, tuple(described(dimensions, name, made[name], tuple(places[name])) for name in made))


def carrier_angle(d: Dimensions, phase: tuple[float, float, float]) -> float:
    """Where output roller 0 stands, from +z towards +x [deg]: straight down and on by its share of a pitch."""
    return 180.0 + phase[0] * 360.0 / d.count("output_roller_count")


def hub_angle(d: Dimensions, phase: tuple[float, float, float], side: int) -> float:
    """Where hub roller 0 of a side stands, from +z towards +x [deg]."""
    return carrier_angle(d, phase) + phase[1 if side > 0 else 2] * 360.0 / d.count("hub_roller_count")


def _places(d: Dimensions, phase: tuple[float, float, float], shift: Shift) -> Iterator[tuple[str, Any]]:
    yield from _of_carrier(d, carrier_angle(d, phase), shift)
    for index, side in enumerate(SIDES.values()):
        angle = hub_angle(d, phase, side)
        yield from _of_hub(d, angle, side, shift.closure[index])
        yield from _along_shaft(d, side, shift.closure[index])
        yield from _of_motor(d, angle, side)
    yield "shaft", frame((0, 0, 0), (0, 1, 0), (1, 0, 0))


def _of_carrier(d: Dimensions, angle: float, shift: Shift) -> Iterator[tuple[str, Any]]:
    count, along = d.count("output_roller_count"), (1.0, 0.0, 0.0)
    half, pitch_radius = d["output_roller_length_mm"] / 2, d["pitch_radius_mm"]
    yield "carrier_half_left", about_shaft(angle)
    yield "carrier_half_right", about_shaft(angle)
    yield "radial_bearing", about_shaft(angle) * frame((0, 0, 0), (0, 1, 0), (1, 0, 0))
    for i, at in enumerate(evenly(count, angle)):
        turn = about_shaft(at)
        u, v = (shift.inwards[i], shift.left[i]) if shift.inwards else (0.0, 0.0)
        moved = turn * frame((0.0, v, pitch_radius - u), along)
        still = turn * frame((0.0, 0.0, pitch_radius), along)
        for name in ("output_roller", "output_core", "core_bushing"):
            yield name, moved
        yield "output_axle", still
        for side in (-1, 1):
            yield "side_shim", turn * frame((side * half, 0.0, pitch_radius), (float(side), 0.0, 0.0))
            place = side * (half - d["roller_bearing_width_mm"] / 2)
            yield "core_bearing", turn * frame((place, 0.0, pitch_radius), along)
    face, radius = d["carrier_thickness_mm"] / 2, d["clamp_screw_radius_mm"]
    for at in evenly(count, angle + 180.0 / count):
        yield "clamp_screw", about_shaft(at) * frame((0.0, face - d["clamp_head_sunk_mm"], radius), (0.0, 1.0, 0.0), along)
        bottom = d["clamp_nut_pocket_mm"] - face
        yield "clamp_nut", about_shaft(at) * frame((0.0, bottom, radius), (0.0, -1.0, 0.0), along)


def _of_hub(d: Dimensions, angle: float, side: int, closure: float) -> Iterator[tuple[str, Any]]:
    axis, half = hub_axis(d), d["hub_roller_length_mm"] / 2
    along, across = mirrored(axis.along, side), mirrored(axis.normal, side)
    closed = _shifted(-side * closure)
    yield ("hub_left" if side > 0 else "hub_right"), closed * about_shaft(angle)
    stations = (
        ("hub_roller", 0.0), ("hub_washer", half), ("hub_washer", -half - d["hub_washer_thickness_mm"]),
        ("hub_bolt", d["hub_bolt_inner_mm"]),
    )  # fmt: skip
    for at in evenly(d.count("hub_roller_count"), angle):
        turn = closed * about_shaft(at)
        for name, station in stations:
            yield name, turn * frame(mirrored(axis.at(station), side), along, across)


def _along_shaft(d: Dimensions, side: int, closure: float) -> Iterator[tuple[str, Any]]:
    width, outside = d["radial_bearing_width_mm"], d["barrel_outside_offset_mm"]
    washer, cage = d["thrust_washer_mm"], d["thrust_bearing_width_mm"]
    stations = (
        ("radial_bearing", d["barrel_inside_offset_mm"] + width / 2),
        ("radial_bearing", outside - d["clearance_mm"] - width / 2),
        ("thrust_washer", outside), ("thrust_cage", outside + washer), ("thrust_washer", outside + washer + cage),
        ("preload_spring", d["spring_offset_mm"]), ("preload_cap", d["nut_offset_mm"] - d["cap_mm"]),
        ("preload_nut", d["nut_offset_mm"]),
    )  # fmt: skip
    for name, station in stations:
        yield name, frame((0.0, side * (station - closure), 0.0), (0.0, float(side), 0.0), (1.0, 0.0, 0.0))


def _of_motor(d: Dimensions, angle: float, side: int) -> Iterator[tuple[str, Any]]:
    """The motor stands over the shaft, its pinion turned so that a space of it takes the nearest tooth of the gear."""
    distance, along = d["centre_distance_mm"], (0.0, float(side), 0.0)
    pitch = 360.0 / d.count("gear_teeth")
    # the gear has a tooth on +x of the hub; its arc from the line of centres, towards +x
    nearest = (90.0 + angle + pitch / 2) % pitch - pitch / 2
    turned = (nearest + pitch / 2) * d["gear_pitch_radius_mm"] / d["pinion_pitch_radius_mm"]
    tooth = about_shaft(180.0 - turned)
    across = (tooth * frame((0.0, 0.0, 1.0), (0.0, 1.0, 0.0), (1.0, 0.0, 0.0))).position
    bottom = d["gear_offset_mm"] - d["gear_width_mm"] / 2
    yield "pinion", frame((0.0, side * bottom, distance), along, tuple(across))
    yield "motor", frame((0.0, side * d["motor_face_offset_mm"], distance), along, tuple(across))


def _shifted(distance: float) -> Any:
    from build123d import Location

    return Location((0, distance, 0))


def _mirror(shape: Any) -> Any:
    from build123d import Plane

    return shape.mirror(Plane.XZ)
