"""The dimensions of a wheel, part by part."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping

import numpy as np

from objectives.geometry_constraints import GeometryPlan
from objectives.hub_body import ADDENDUM, DEDENDUM, HubBody, hub_body
from objectives.layout import (
    AXLE_END_GAP,
    BEARING_LAND,
    BEARING_SHOULDER,
    CAP_THICKNESS,
    GEAR_SIDE_GAP,
    MOTOR_PLATE,
    NUT_HEIGHT,
    SHAFT_END,
    SPRING_BASE_LENGTH,
    axle_half_length,
    bearing_figure,
    hub_roller_mount,
    line_width,
    screw_figure,
    spring_deflection,
    wall_thickness,
    window_half_width,
    window_inner_radius,
)
from objectives.mass import core_bore, roller_bearing_outside
from objectives.units import MM
from objectives.variables import BORES, VARIABLES
from objectives.wheel import BALL
from sweep.cad import hardware
from sweep.cad.dimensions import Dimension

#: how much of a screw's diameter the hole has into which it cuts its thread (common practice for plastic, 0.8 to 0.9)
PILOT = 0.85
#: shim rings beside the output rollers: outside over inside diameter; on a ball bearing only its inner ring may be touched
SHIM, SHIM_ON_BEARING = 2.0, 1.5
#: flat of a motor's shaft: what is left across it over the diameter (common practice)
SHAFT_FLAT = 0.9


#: mm, radial room that a countersunk head or a nut takes in the carrier
CLAMP_SEAT = 3.3


def table(plan: GeometryPlan) -> Iterator[Dimension]:
    """Every dimension of a plan of one wheel."""
    body = hub_body(plan.wheel, plan.layout, plan.scenario)
    yield from _variables(plan)
    yield from _of_rollers(plan)
    yield from _of_carrier(plan)
    yield from _of_hub(plan, body)
    yield from _of_gears(plan, body)
    yield from _along_shaft(plan)


def _of(values: np.ndarray) -> float:
    return float(values[0])


def _variables(plan: GeometryPlan) -> Iterator[Dimension]:
    """The design variables that are lengths, angles, forces or counts, and the study's."""
    wheel, build, printer = plan.wheel, plan.scenario.build, plan.scenario.printer
    values = {
        "output_roller_count": wheel.output_roller_count, "hub_roller_count": wheel.hub_roller_count,
        "wheel_diameter_mm": 2 * wheel.wheel_radius, "output_roller_diameter_mm": 2 * wheel.output_roller_radius,
        "crown": wheel.crown, "hub_roller_diameter_mm": 2 * wheel.hub_roller_radius,
        "hub_roller_length_mm": wheel.hub_roller_length, "contact_angle_deg": wheel.contact_angle,
        "skew_angle_deg": wheel.skew_angle, "hub_axle_diameter_mm": wheel.hub_axle_diameter, "preload_N": wheel.preload,
        "preload_stiffness_N_per_mm": wheel.preload_stiffness, "tyre_thickness_mm": wheel.tyre_thickness,
        "bore_play_mm": wheel.bore_play, "axle_diameter_mm": wheel.axle_diameter,
        "carrier_thickness_mm": wheel.carrier_thickness, "gear_module_mm": wheel.gear_module,
        "pinion_teeth": wheel.pinion_teeth, "gear_teeth": wheel.gear_teeth,
    }  # fmt: skip
    meanings = {variable.name: variable.meaning for variable in VARIABLES}
    for name, value in values.items():
        yield Dimension.of(name, _of(value), meanings[name])
    yield Dimension.of("shaft_diameter_mm", build.shaft_diameter, "of the fixed shaft")
    yield Dimension.of("clearance_mm", printer.clearance, "between moving printed parts, from the study's printer")
    yield Dimension.of("side_washer_mm", build.side_washer, "shim beside each output roller")
    yield Dimension.of("line_width_mm", line_width(printer), "of a printed line", "1.125 nozzle")
    yield Dimension.of("wall_mm", wall_thickness(plan.scenario), "of a printed wall", "walls * line width")


def _of_rollers(plan: GeometryPlan) -> Iterator[Dimension]:
    wheel, scenario = plan.wheel, plan.scenario
    of, axle = Dimension.of, _of(wheel.axle_diameter)
    half = _of(wheel.output_roller_length) / 2
    crown, radius = _of(wheel.crown), _of(wheel.output_roller_radius)
    end = (1 - crown) * radius + crown * (math.sqrt(_of(wheel.wheel_radius) ** 2 - half**2) - _of(wheel.pitch_radius))
    shim = SHIM_ON_BEARING if wheel.bore[0] == BALL else SHIM
    screw = wheel.hub_axle_diameter
    figures = {figure: _of(screw_figure(screw, scenario.catalogue, figure)) for figure in (
        "washer_outside", "washer_thickness", "head_diameter", "head_height")}  # fmt: skip
    yield of("wheel_radius_mm", _of(wheel.wheel_radius), "R_w, at the middle of an output roller", "D/2")
    yield of("pitch_radius_mm", _of(wheel.pitch_radius), "R_p, of the axles of the output rollers", "R_w - r_o")
    yield of("output_roller_radius_mm", radius, "r_o, at its middle", "D_o/2")
    yield of("output_roller_length_mm", 2 * half, "L_o", "fill * 2 (R_p - r_o) tan(pi/N)")
    yield of("output_roller_end_radius_mm", end, "of an output roller at its ends",
             "(1 - crown) r_o + crown (sqrt(R_w^2 - L_o^2/4) - R_p)")
    yield of("output_roller_bore_mm", axle + 2 * _of(wheel.bore_play), "hole that runs on the axle (plain and bushed)",
             "axle + 2 play")
    yield of("core_bore_mm", _of(core_bore(wheel)), "hole of a printed core, its bushing or bearing in it",
             "axle + 2 mm bushed; 2 axle + 1 mm ball")
    yield of("roller_bearing_outside_mm", _of(roller_bearing_outside(wheel)), "ball bearing in a core (ball only)",
             "2 axle + 1 mm, series 68")
    yield of("roller_bearing_width_mm", axle / 2 + 0.5 * MM, "of that ball bearing", "axle/2 + 0.5 mm, series 68")
    yield of("axle_length_mm", 2 * _of(axle_half_length(wheel)), "rod that an output roller turns on",
             "2 ((R_p - d/2) tan(pi/N) - gap/2/cos(pi/N))")
    yield of("axle_end_gap_mm", AXLE_END_GAP, "between the ends of two axles in an arm")
    yield of("shim_outside_mm", min(shim * axle, 2 * (end - line_width(scenario.printer))),
             "outside of the shim beside an output roller", f"{shim:g} axle, within the roller's end")
    yield of("hub_roller_radius_mm", _of(wheel.hub_roller_radius), "r_h", "D_h/2")
    yield of("hub_roller_bore_mm", _of(screw) + scenario.printer.clearance, "hole of a hub roller that runs on its bolt",
             "bolt + clearance")
    yield of("hub_washer_outside_mm", figures["washer_outside"], "washer on both ends of a hub roller", "ISO 7089")
    yield of("hub_washer_thickness_mm", figures["washer_thickness"], "of that washer", "ISO 7089")
    yield of("hub_bolt_head_diameter_mm", figures["head_diameter"], "head of a hub roller's bolt", "ISO 4762")
    yield of("hub_bolt_head_height_mm", figures["head_height"], "of that head", "ISO 4762")
    yield of("hub_bolt_length_mm", 2 * _of(hub_roller_mount(wheel, scenario).inner_half_length),
             "shank of a hub roller's bolt, cut to length", "L_h + 2 washer + 2 d")


def _of_carrier(plan: GeometryPlan) -> Iterator[Dimension]:
    wheel, scenario, layout = plan.wheel, plan.scenario, plan.layout
    of = Dimension.of
    inner, half_width = _of(window_inner_radius(wheel, scenario)), _of(window_half_width(wheel, scenario))
    thickness, half_pitch = _of(wheel.carrier_thickness), math.pi / _of(wheel.output_roller_count)
    line, seat = line_width(scenario.printer), CLAMP_SEAT * MM
    # in the arm, as near to the axles as their grooves allow; within the windows where the arm is too slim there
    radius = (_of(wheel.pitch_radius) - _of(wheel.axle_diameter) / 2 - seat - 2 * line) / math.cos(half_pitch)
    in_arm = radius * math.sin(half_pitch) - half_width * math.cos(half_pitch) >= seat + 2 * line
    if not in_arm:
        radius = inner - seat - 2 * line
    length, sunk, pocket = (size * MM for size in hardware.clamping(thickness / MM))
    yield of("carrier_outside_radius_mm", _of(layout.carrier_outside_radius), "of the arms",
             "hypot(R_p + d/2, axle/2) + wall")
    yield of("carrier_half_width_mm", _of(layout.carrier_half_width), "half the carrier about its bearing",
             "max(thickness, bearing + 2 lips)/2")
    yield of("window_inner_radius_mm", inner, "where a window begins", "R_p - r_o - play - clearance")
    yield of("window_half_width_mm", half_width, "half of a window along the axle", "L_o/2 + shim")
    yield of("arm_neck_mm", _of(layout.arm_neck), "narrowest place of an arm", "2 (r sin(pi/N) - b cos(pi/N))")
    yield of("clamp_screw_radius_mm", radius, "circle of the clamping screws, in the middle of the arms",
             "below the grooves of the axles" if in_arm else "within the windows, the arms are too slim")
    yield of("clamp_screw_length_mm", length, "clamping screw, ISO 10642 M3",
             "longest up to the carrier's thickness, or the next where that holds too little of the nut")
    yield of("clamp_head_sunk_mm", sunk, "of a clamping screw's head below the left face", "screw - thickness")
    yield of("clamp_nut_pocket_mm", pocket, "depth of a nut's pocket", "thickness - screw + nut, a floor left under it")
    yield of("carrier_boss_radius_mm", _of(layout.barrel_radius), "of the carrier where it is thicker about its bearing",
             "as the barrel of a hub")


def _of_hub(plan: GeometryPlan, body: HubBody) -> Iterator[Dimension]:
    wheel, scenario, layout = plan.wheel, plan.scenario, plan.layout
    mount, of, bolt = hub_roller_mount(wheel, scenario), Dimension.of, _of(wheel.hub_axle_diameter)
    catalogue, clearance = scenario.catalogue, scenario.printer.clearance
    yield of("contact_circle_radius_mm", _of(wheel.contact_circle_radius), "R_c, where the rollers touch",
             "R_p - r_o sin(beta)")
    yield of("hub_roller_centre_radius_mm", _of(wheel.hub_roller_centre_radius), "R_h, of a hub roller's middle",
             "R_p - (r_o + r_h) sin(beta)")
    yield of("hub_roller_centre_offset_mm", _of(wheel.hub_roller_centre_offset),
             "of that middle from the mid-plane before closure", "(r_o + r_h) cos(beta)")
    yield of("hub_boss_radius_mm", _of(mount.boss_radius), "half the rim's thickness, material about a bolt's ends",
             "bolt/2 + wall")
    yield of("hub_bolt_inner_mm", _of(mount.inner_half_length), "from a hub roller's middle to the inner end of its bolt",
             "L_h/2 + washer + bolt")
    yield of("hub_bolt_outer_mm", _of(mount.outer_half_length), "from a hub roller's middle to the top of the bolt's head",
             "inner end + head")
    yield of("hub_pilot_hole_mm", PILOT * bolt, "hole at the bolt's inner end, in which it cuts its thread",
             f"{PILOT:g} bolt")
    yield of("hub_pocket_radius_mm", _of(wheel.hub_roller_radius) + clearance, "of a pocket about its hub roller",
             "r_h + clearance")
    yield of("hub_pocket_length_mm", _of(wheel.hub_roller_length + 2 * mount.washer_thickness) + clearance,
             "of a pocket along its hub roller", "L_h + 2 washer + clearance")
    yield of("hub_pocket_reach_mm", _of(mount.pocket_reach), "from a hub roller's middle to its pocket's corners, across t",
             "pocket length/2 sin(gamma) + pocket radius cos(gamma)")
    yield of("hub_outside_radius_mm", _of(layout.hub_outside_radius), "of rim and hub rollers",
             "hypot(R_h + s a_r, s a_t) + boss, or a wall beyond the pockets' corners")
    yield of("hub_inside_offset_mm", _of(layout.hub_inside_offset), "rim's inner face from the mid-plane before closure",
             "y_h - s a_y - boss sqrt(1 - a_y^2)")
    yield of("hub_outside_offset_mm", _of(layout.hub_outside_offset), "outer face of rim and rollers from the mid-plane",
             "y_h + s a_y + radius sqrt(1 - a_y^2), or a wall beyond the pockets")
    yield of("rollers_inside_radius_mm", _of(body.rollers_inside_radius), "within which no hub roller reaches",
             "R_h - L_h/2 a_r - (r_h + clearance) sqrt(1 - a_r^2)")
    yield of("hub_web_mm", _of(body.web_thickness), "thickness of web and flange", "2 walls, at least 3 mm")
    yield of("barrel_radius_mm", _of(layout.barrel_radius), "of the barrel about the bearings",
             "max(bearing + 2 walls, thrust bearing + lip)")
    yield of("barrel_inside_offset_mm", _of(layout.barrel_inside_offset), "barrel's inner face from the mid-plane")
    yield of("barrel_outside_offset_mm", _of(layout.barrel_outside_offset), "barrel's outer face from the mid-plane")
    yield of("drum_outside_radius_mm", _of(body.drum_outside_radius), "of the wall that carries the gear",
             "min(gear's root, rollers' inside - clearance)")
    yield of("drum_inside_radius_mm", _of(body.drum_inside_radius), "of that wall", "outside - 2.25 module")
    radial = {figure: _of(bearing_figure(layout.radial_bearing, catalogue, figure)) for figure in ("outside", "width")}
    thrust = {figure: _of(bearing_figure(layout.thrust_bearing, catalogue, figure))
              for figure in ("outside", "width", "washer_thickness")}  # fmt: skip
    yield of("radial_bearing_outside_mm", radial["outside"], "two in each hub, one in the carrier", "ISO 15")
    yield of("radial_bearing_width_mm", radial["width"], "of that bearing", "ISO 15")
    yield of("bearing_shoulder_mm", BEARING_SHOULDER, "how far a shoulder reaches in over a bearing's outer ring")
    yield of("bearing_land_mm", BEARING_LAND, "least length between a hub's bearings")
    yield of("bearing_spacing_mm", _of(layout.bearing_spacing), "of a hub's two radial bearings, middle to middle")
    yield of("thrust_bearing_outside_mm", thrust["outside"], "needle thrust bearing behind a hub", "ISO 3031")
    yield of("thrust_bearing_width_mm", thrust["width"], "of its cage", "ISO 3031")
    yield of("thrust_washer_mm", thrust["washer_thickness"], "of each of its two washers")


def _of_gears(plan: GeometryPlan, body: HubBody) -> Iterator[Dimension]:
    wheel, scenario, layout = plan.wheel, plan.scenario, plan.layout
    of = Dimension.of
    motor = scenario.catalogue.motors[wheel.motor_names[int(wheel.motor[0])]]
    shaft = motor.shaft_diameter
    if not math.isfinite(shaft):  # a motor of a study may leave it out
        shaft = 2 * 0.5 * (_of(layout.pinion_pitch_radius) - DEDENDUM * _of(wheel.gear_module))
    face = _of(layout.gear_offset + layout.gear_width / 2)
    yield of("pressure_angle_deg", math.radians(20.0), "of the teeth", "ISO 53 rack A")
    yield of("addendum_mm", ADDENDUM * _of(wheel.gear_module), "tooth above the pitch circle", "ISO 53: m")
    yield of("dedendum_mm", DEDENDUM * _of(wheel.gear_module), "tooth below the pitch circle", "ISO 53: 1.25 m")
    yield of("backlash_mm", scenario.printer.clearance, "at the pitch circle, half of it off the teeth of each gear",
             "the printer's clearance")
    yield of("gear_pitch_radius_mm", _of(layout.gear_pitch_radius), "of the hub gear", "m z/2")
    yield of("gear_root_radius_mm", _of(body.gear_root_radius), "of the hub gear", "m (z/2 - 1.25)")
    yield of("gear_tip_radius_mm", _of(body.gear_tip_radius), "of the hub gear", "m (z/2 + 1)")
    yield of("pinion_pitch_radius_mm", _of(layout.pinion_pitch_radius), "of the pinion", "m z/2")
    yield of("centre_distance_mm", _of(layout.centre_distance), "of shaft and motor", "m (z_1 + z_2)/2")
    yield of("gear_width_mm", _of(layout.gear_width), "of the faces of gear and pinion", "8 module")
    yield of("gear_offset_mm", _of(layout.gear_offset), "gear's middle from the mid-plane before closure")
    yield of("gear_side_gap_mm", GEAR_SIDE_GAP, "between rim and pinion, and between gear and motor plate")
    yield of("motor_face_offset_mm", face + GEAR_SIDE_GAP + MOTOR_PLATE, "motor's face from the mid-plane",
             "gear's face + gap + plate")
    yield of("motor_diameter_mm", motor.diameter, "of the motor")
    yield of("motor_length_mm", motor.length, "of the motor with its gearbox")
    yield of("motor_shaft_diameter_mm", shaft, "of the gearbox shaft; half the pinion's root where the study leaves it out")
    yield of("motor_shaft_length_mm", _of(layout.gear_width) + GEAR_SIDE_GAP + MOTOR_PLATE, "that the pinion needs")
    yield of("motor_shaft_flat_mm", SHAFT_FLAT * shaft, "left across the flat of the shaft", f"{SHAFT_FLAT:g} d")


def _along_shaft(plan: GeometryPlan) -> Iterator[Dimension]:
    wheel, scenario, layout = plan.wheel, plan.scenario, plan.layout
    shaft, of = scenario.build.shaft_diameter, Dimension.of
    washer = _of(bearing_figure(layout.thrust_bearing, scenario.catalogue, "washer_thickness"))
    thrust = _of(bearing_figure(layout.thrust_bearing, scenario.catalogue, "width")) + 2 * washer
    spring = _of(layout.barrel_outside_offset) + thrust
    installed = SPRING_BASE_LENGTH + _of(spring_deflection(wheel))
    nut = spring + installed + CAP_THICKNESS
    yield of("spring_offset_mm", spring, "spring's inner end from the mid-plane before closure", "barrel + thrust bearing")
    yield of("spring_length_mm", installed, "of the spring under the preload", "4 mm + F_a/K_p")
    yield of("spring_deflection_mm", _of(spring_deflection(wheel)), "of the spring under the preload", "F_a/K_p")
    yield of("cap_mm", CAP_THICKNESS, "thickness of the preload cap")
    yield of("nut_offset_mm", nut, "inner face of the preload nut from the mid-plane before closure")
    yield of("nut_thread_mm", hardware.shaft_thread(shaft / MM) * MM, "thread at the shaft's ends", "ISO 261 coarse")
    yield of("nut_height_mm", NUT_HEIGHT * shaft, "allowed for the nut", "0.8 d")
    yield of("shaft_end_mm", SHAFT_END * shaft, "of the shaft beyond the nut, for the robot's frame", "d")
    yield of("shaft_length_mm", 2 * _of(layout.unit_half_width), "of the shaft", "nut's outer face + end, both sides")


def words(plan: GeometryPlan) -> Mapping[str, str]:
    """What is chosen by name."""
    wheel, layout, scenario = plan.wheel, plan.layout, plan.scenario
    return {
        "bore": BORES[int(wheel.bore[0])],
        "output_tyre": wheel.tyre_names[int(wheel.output_tyre[0])],
        "hub_tyre": wheel.tyre_names[int(wheel.hub_tyre[0])],
        "structure": scenario.build.material,
        "motor": wheel.motor_names[int(wheel.motor[0])],
        "radial_bearing": layout.bearing_names[int(layout.radial_bearing[0])],
        "thrust_bearing": layout.bearing_names[int(layout.thrust_bearing[0])],
    }


def replacement(entries: Mapping[str, Dimension]) -> tuple[bool, str]:
    """Whether one output roller can be replaced with the wheel on the robot, and how or why not.

    A carrier half must come away by an axle's diameter, so its screws must be loosened past the rim of the hub.
    """
    value = {name: entry.value for name, entry in entries.items()}
    key = hardware.COUNTERSUNK_KEYS[hardware.CLAMP] / math.sqrt(3) + value["clearance_mm"]
    room = value["clamp_screw_radius_mm"] - key - value["hub_outside_radius_mm"]
    if room >= 0:
        return True, (
            f"back both preload nuts off by {value['axle_diameter_mm']:g} mm and slide the hubs out; loosen the clamping "
            f"screws past the rim of the left hub with a long key of {hardware.COUNTERSUNK_KEYS[hardware.CLAMP]:g} mm; part "
            "the halves by an axle's diameter and lift the roller out with its axle"
        )
    return False, (
        f"the clamping screws stand on a radius of {value['clamp_screw_radius_mm']:.1f} mm, behind the rim of the hub, which "
        f"reaches to {value['hub_outside_radius_mm']:.1f} mm: take off the wheel and one hub"
    )
