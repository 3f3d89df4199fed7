"""What each part is called, made of, and how it is handled."""

from __future__ import annotations

from typing import Any

from sweep.cad import hardware, shaft
from sweep.cad.carrier import lies_flat
from sweep.cad.dimensions import Dimensions
from sweep.cad.parts import BOUGHT, PRINTED, STOCK, TYRE, Colour, Part

STRUCTURE, DARK, SOFT, HUB_SOFT, CORE, STEEL, BRASS, BLACK = (
    (0.93, 0.62, 0.20), (0.25, 0.45, 0.65), (0.20, 0.20, 0.22), (0.55, 0.75, 0.35), (0.90, 0.88, 0.80), (0.72, 0.74, 0.77),
    (0.80, 0.66, 0.32), (0.32, 0.32, 0.34),
)  # fmt: skip
#: miniature ball bearings by their bore [mm], ISO 15 series 68 (designations from memory)
MINIATURE = {2.0: "682", 2.5: "682X", 3.0: "683", 4.0: "684", 5.0: "685", 6.0: "686"}


def described(d: Dimensions, name: str, shape: Any, places: tuple[Any, ...]) -> Part:
    """The part of a name with all that is told of it."""
    title, make, material, designation, colour, note = _entry(d, name)
    lying = _lying(d, name) if make in (PRINTED, TYRE) else None
    return Part(name, title, make, material, designation, shape, places, lying, colour, note)


def _entry(d: Dimensions, name: str) -> tuple[str, str, str, str, Colour, str]:
    structure, words = d.words["structure"], d.words
    bolt, length, axle = d["hub_axle_diameter_mm"], d["hub_bolt_length_mm"], d["axle_diameter_mm"]
    sold = hardware.next_length(length)
    cut = "" if sold == length else f", cut to {length:.1f}"
    shaft_size, thread = d["shaft_diameter_mm"], d["nut_thread_mm"]
    soft = TYRE if d.plan.scenario.catalogue.materials[words["hub_tyre"]].role == "tyre" else PRINTED
    clamp = hardware.COUNTERSUNK_KEYS[hardware.CLAMP]
    tyre = "output roller" if words["bore"] == "plain" else "tyre of an output roller"
    entries: dict[str, tuple[str, str, str, str, Colour, str]] = {
        "carrier_half_left": ("carrier, left half, for the screws' heads", PRINTED, structure, "", STRUCTURE, ""),
        "carrier_half_right": ("carrier, right half, for the nuts", PRINTED, structure, "", STRUCTURE, ""),
        "hub_left": ("left hub with its gear", PRINTED, structure, "", DARK, ""),
        "hub_right": ("right hub with its gear", PRINTED, structure, "", DARK, ""),
        "pinion": ("pinion", PRINTED, structure, "", BRASS, "pressed onto the flat of the motor's shaft and glued"),
        "preload_cap": ("preload cap", PRINTED, structure, "", CORE, ""),
        "output_roller": (tyre, TYRE, words["output_tyre"], "", SOFT, d.roller_in_place_reason),
        "output_core": ("core of an output roller", PRINTED, structure, "", CORE, "the tyre is glued on"),
        "core_bushing": ("bushing of a core", STOCK, "POM", f"tube {d['core_bore_mm']:g} x {d['output_roller_bore_mm']:g} x "
                         f"{d['output_roller_length_mm']:.1f}", CORE, ""),
        "core_bearing": ("ball bearing of a core", BOUGHT, "steel", f"{MINIATURE.get(axle, 'series 68')}, {axle:g} x "
                         f"{d['core_bore_mm']:g} x {d['roller_bearing_width_mm']:g}", STEEL, ""),
        "hub_roller": ("hub roller", soft, words["hub_tyre"], "", HUB_SOFT, "ream the hole until it turns freely"),
        "output_axle": ("axle of an output roller", STOCK, "steel",
                        f"ground rod {axle:g} x {d['axle_length_mm']:.1f}", STEEL, ""),
        "side_shim": ("shim beside an output roller", BOUGHT, "steel", f"DIN 988 {axle:g} x {d['shim_outside_mm']:g} x "
                      f"{d['side_washer_mm']:g}, or punched from sheet", STEEL, ""),
        "hub_bolt": ("bolt of a hub roller", BOUGHT, "steel", f"ISO 4762 M{bolt:g} x {sold:g}{cut}", STEEL,
                     f"key {hardware.SOCKET_KEYS[bolt]:g} mm, along its own axis from outside; cuts its thread in the inner "
                     "boss; stop before the roller binds"),
        "hub_washer": ("washer of a hub roller", BOUGHT, "steel", f"ISO 7089 M{bolt:g}", STEEL, ""),
        "clamp_screw": ("clamping screw of the carrier", BOUGHT, "steel",
                        f"ISO 10642 M{hardware.CLAMP:g} x {d['clamp_screw_length_mm']:g}", STEEL,
                        f"key {clamp:g} mm, from the left before the left hub is on"),
        "clamp_nut": ("nut of the carrier", BOUGHT, "steel", f"ISO 4032 M{hardware.CLAMP:g}", STEEL, "held by its pocket"),
        "shaft": ("shaft", STOCK, "steel", f"ground rod {shaft_size:g} x {d['shaft_length_mm']:.1f}, M{thread:g} at both ends",
                  STEEL, ""),
        "radial_bearing": ("ball bearing of hubs and carrier", BOUGHT, "steel",
                           f"{words['radial_bearing'].upper()}, {shaft_size:g} x "
                           f"{d['radial_bearing_outside_mm']:g} x {d['radial_bearing_width_mm']:g}", STEEL, ""),
        "thrust_washer": ("washer of the thrust bearing", BOUGHT, "steel", f"AS, {shaft_size:g} x "
                          f"{d['thrust_bearing_outside_mm']:g} x {d['thrust_washer_mm']:g}", STEEL, ""),
        "thrust_cage": ("needle thrust bearing", BOUGHT, "steel", f"{words['thrust_bearing'].upper()}, {shaft_size:g} x "
                        f"{d['thrust_bearing_outside_mm']:g} x {d['thrust_bearing_width_mm']:g}", BRASS, ""),
        "preload_spring": ("preload spring", BOUGHT, "spring steel", _spring(d), BLACK, ""),
        "preload_nut": ("preload nut", BOUGHT, "steel", f"ISO 4032 M{thread:g}", STEEL,
                        "open spanner, from the end of the shaft; secured with thread lock once set"),
        "motor": ("motor with gearbox", BOUGHT, "", f"{words['motor']}: shaft {d['motor_shaft_diameter_mm']:g} x "
                  f"{d['motor_shaft_length_mm']:.1f} at least, bolted to a plate of the robot", BLACK, ""),
    }  # fmt: skip
    return entries[name]


def _spring(d: Dimensions) -> str:
    found = shaft.spring_of(d)
    under = f"{d['preload_N']:.0f} N at {d['spring_length_mm']:.1f} mm, {d['preload_stiffness_N_per_mm']:.1f} N/mm"
    if found is None:
        inside, outside = shaft.spring_room(d)
        return f"stack of disc springs or bushing {2 * inside:.1f} x {2 * outside:.1f}, {under}"
    return (
        f"EN 13906-1 wire {found.wire * 1e3:g}, mean diameter {found.mean_diameter * 1e3:.1f}, {found.coils:.1f} working "
        f"coils, {under}"
    )


def _lying(d: Dimensions, name: str) -> Any:
    """How a printed part is turned for the bed: hubs on their webs, carrier halves with their grooves up, the rest upright."""
    from build123d import Location, Rot

    if name.startswith("carrier_half"):
        up = -90 if name.endswith("left") else 90
        return Rot(up if lies_flat(d) else -up, 0, 0)
    return {"hub_left": Rot(90, 0, 0), "hub_right": Rot(-90, 0, 0)}.get(name, Location())
