"""Which dimensions a part is made from and which variables define them: what may stay when a wheel is changed."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

import pandas as pd

from objectives.geometry_constraints import GeometryPlan
from objectives.layout import layout
from objectives.scenario import Scenario
from objectives.variables import VARIABLE, VARIABLES
from objectives.wheel import wheel_batch
from sweep.cad.dimension_tables import table, words
from sweep.errors import Fault, did_you_mean
from sweep.reading import show

_OUTLINE = ("output_roller_length_mm", "output_roller_radius_mm", "output_roller_end_radius_mm", "crown")
_TEETH = ("gear_module_mm", "addendum_mm", "dedendum_mm", "pressure_angle_deg", "backlash_mm", "gear_width_mm")
_BEARING = ("radial_bearing_outside_mm", "radial_bearing_width_mm", "bearing_shoulder_mm")

#: what each part's solid is made from: the dimensions it reads, and what is chosen by name
MADE_FROM: dict[str, tuple[tuple[str, ...], tuple[str, ...]]] = {
    # printed
    "carrier": (("output_roller_count", "carrier_thickness_mm", "carrier_half_width_mm", "carrier_outside_radius_mm",
                 "carrier_boss_radius_mm", "window_inner_radius_mm", "window_half_width_mm", "axle_length_mm",
                 "axle_end_gap_mm", "pitch_radius_mm", "axle_diameter_mm", "clamp_nut_pocket_mm", "clamp_screw_radius_mm",
                 "clamp_head_sunk_mm", *_BEARING), ("structure",)),
    "hub": (("contact_angle_deg", "skew_angle_deg", "hub_roller_centre_offset_mm", "hub_roller_centre_radius_mm", *_TEETH,
             "gear_teeth", "gear_offset_mm", "gear_root_radius_mm", "hub_roller_count", "hub_roller_radius_mm",
             "hub_axle_diameter_mm", "hub_boss_radius_mm", "hub_bolt_inner_mm", "hub_bolt_outer_mm",
             "hub_bolt_head_diameter_mm", "hub_pilot_hole_mm", "hub_pocket_radius_mm", "hub_pocket_length_mm",
             "hub_pocket_reach_mm", "hub_inside_offset_mm", "hub_outside_offset_mm", "hub_outside_radius_mm", "hub_web_mm",
             "barrel_inside_offset_mm", "barrel_outside_offset_mm", "barrel_radius_mm", "drum_outside_radius_mm",
             "drum_inside_radius_mm", "thrust_bearing_outside_mm", "thrust_washer_mm", "pitch_radius_mm",
             "output_roller_length_mm", "output_roller_radius_mm", "wall_mm", "clearance_mm", *_BEARING), ("structure",)),
    "pinion": ((*_TEETH, "pinion_teeth", "motor_shaft_diameter_mm", "motor_shaft_flat_mm"), ("structure",)),
    "preload_cap": (("radial_bearing_outside_mm", "nut_thread_mm", "shaft_diameter_mm", "cap_mm"), ("structure",)),
    "output_roller": ((*_OUTLINE, "output_roller_bore_mm", "tyre_thickness_mm"), ("bore", "output_tyre")),
    "output_core": ((*_OUTLINE, "tyre_thickness_mm", "core_bore_mm", "bore_play_mm", "roller_bearing_width_mm",
                     "axle_diameter_mm"), ("bore", "structure")),
    "hub_roller": (("hub_roller_length_mm", "hub_roller_bore_mm", "hub_roller_radius_mm"), ("hub_tyre",)),
    # bought or cut from stock
    "output_axle": (("axle_length_mm", "axle_diameter_mm"), ()),
    "hub_bolt": (("hub_axle_diameter_mm", "hub_bolt_length_mm"), ()),
    "clamp_screw": (("clamp_screw_length_mm",), ()),
    "side_shim": (("axle_diameter_mm", "shim_outside_mm", "side_washer_mm"), ()),
    "shaft": (("shaft_length_mm", "shaft_diameter_mm"), ()),
    # under another load the same spring is only shorter
    "preload_spring": (("preload_stiffness_N_per_mm",), ()),
    "motor": ((), ("motor",)),
}  # fmt: skip
PRINTED = ("carrier", "hub", "pinion", "preload_cap", "output_roller", "output_core", "hub_roller")
#: other names that parts go by in a build
ALIASES = {"carrier_half_left": "carrier", "carrier_half_right": "carrier", "hub_left": "hub", "hub_right": "hub"}

_BODY = ("output_roller_count", "wheel_diameter_mm", "output_roller_diameter_mm", "output_roller_fill")

#: the variables that define each part: no other changes any of its dimensions
DEFINED_BY: dict[str, tuple[str, ...]] = {
    "carrier": (*_BODY, "bore_play_mm", "axle_diameter_mm", "carrier_thickness_mm"),
    "hub": (*_BODY, "hub_roller_count", "hub_roller_diameter_mm", "hub_roller_length_mm", "contact_angle_deg",
            "skew_angle_deg", "hub_axle_diameter_mm", "carrier_thickness_mm", "gear_module_mm", "gear_teeth"),
    "pinion": ("motor", "gear_module_mm", "pinion_teeth"),
    "preload_cap": (),
    "output_roller": (*_BODY, "crown", "output_tyre", "bore", "tyre_thickness_mm", "bore_play_mm", "axle_diameter_mm"),
    "output_core": (*_BODY, "crown", "bore", "tyre_thickness_mm", "bore_play_mm", "axle_diameter_mm"),
    "hub_roller": ("hub_roller_diameter_mm", "hub_roller_length_mm", "hub_axle_diameter_mm", "hub_tyre"),
    "output_axle": ("output_roller_count", "wheel_diameter_mm", "output_roller_diameter_mm", "axle_diameter_mm"),
    "hub_bolt": ("hub_roller_length_mm", "hub_axle_diameter_mm"),
    "preload_spring": ("preload_stiffness_N_per_mm",),
    "motor": ("motor",),
}  # fmt: skip

#: mm and degrees within which two dimensions are the same; a shaft stands out by its diameter, so it need not be cut anew
SAME = 1e-6
SAME_LENGTH = {"shaft": 3.0}

Made = Mapping[str, tuple[object, ...]]


def part_dimensions(design: Mapping[str, object] | pd.Series, scenario: Scenario) -> Made | None:
    """What each part of a design is made from, by part; None where the design has no shape.

    The tyre's thickness is none on a plain bore, and a part that the design does not have is left out.
    """
    variables = pd.DataFrame([{variable.name: design[variable.name] for variable in VARIABLES}])
    wheel = wheel_batch(variables, scenario.catalogue, scenario.robot.floor)
    try:
        plan = GeometryPlan(wheel, scenario, layout(wheel, scenario))
        values = {entry.name: entry.value for entry in table(plan)}
        chosen = words(plan)
    except (ValueError, ZeroDivisionError, IndexError, KeyError):
        return None
    plain = chosen["bore"] == "plain"
    if plain:
        values["tyre_thickness_mm"] = 0.0
    elif chosen["bore"] == "ball":
        values["output_roller_bore_mm"] = 0.0
    made: dict[str, tuple[object, ...]] = {
        part: (*(values[name] for name in dimensions), *(chosen[word] for word in picks))
        for part, (dimensions, picks) in MADE_FROM.items()
    }
    if plain:
        made.pop("output_core")
    return made


def same(part: str, before: Made, after: Made) -> bool:
    """Whether a part of two designs is the same; a number that is missing is like no other."""
    if (part in before) != (part in after):
        return False
    pairs = zip(before.get(part, ()), after.get(part, ()), strict=True)
    most = SAME_LENGTH.get(part, SAME)
    return all(abs(b - a) <= most if isinstance(a, float) and isinstance(b, float) else a == b for b, a in pairs)


def changed_parts(before: Made, after: Made) -> tuple[list[str], list[str]]:
    """Parts of ``after`` that differ from those of ``before`` or are new: those to print, and the others."""
    changed = [part for part in after if not same(part, before, after)]
    return [part for part in changed if part in PRINTED], [part for part in changed if part not in PRINTED]


def kept(names: Iterable[str]) -> tuple[tuple[str, ...], frozenset[str], list[Fault]]:
    """Parts and variables that stay, from what ``--keep`` names, and what is wrong with the names."""
    parts: list[str] = []
    variables: set[str] = set()
    faults: list[Fault] = []
    for name in names:
        part = ALIASES.get(name, name)
        if part in DEFINED_BY:
            parts.append(part)
            variables |= set(DEFINED_BY[part])
        elif name in VARIABLE:
            variables.add(name)
        else:
            remedy = did_you_mean(name, [*DEFINED_BY, *VARIABLE], listed=0)
            also = f"parts are {', '.join(DEFINED_BY)}; any variable goes too"
            remedy = f"{remedy}; {also}" if remedy else also
            faults.append(Fault("--keep", "must name parts or variables", show(name), "", remedy))
    return tuple(dict.fromkeys(parts)), frozenset(variables), faults

