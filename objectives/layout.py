"""How the unit is put together along and around its shaft. Derived here; allowances are common practice.

Half of a cross-section through the shaft's axis (the other half mirrors it at the mid-plane y = 0)::

     r                 ___ output roller, r_o about R_p, in a window of the carrier
     |               /     \\
     |        R_p - -(  ax.  ) axle: tangential, into the arms of the carrier
     |               \\ ___ /  o   hub roller, r_h, axis askew: a = (a_t, a_r, a_y)
     |  carrier   |       \\  / o \\___________ rim of the hub: pockets, bolts
     |  disc,     |         /_____ |    |gear|====pinion====[  motor   ]
     |  halves    |  standoff      | web|    |
     |  clamped   |  <---->   _____|____|____|_  _    spring  cap nut
     |  on a bearing         | rad.|    |rad. ||T|/\\/\\/\\/|===|[]
    -+-------------------------------------------------------------- shaft, fixed   -> y

The carrier, a disc of ``carrier_thickness`` in two halves clamped on the axles, has a window for each output roller. An arm
between two windows holds the ends of two axles. Each hub turns on two radial bearings that slide on the fixed shaft, so
that the preload reaches the hub rollers: nut, cap, spring (stack or bushing), needle thrust bearing, hub. The hub gear is
part of the hub, outside its rim; the motor lies beside, its pinion in mesh, its body outwards. A third radial bearing
carries the carrier.

With the axis of a hub roller a_t = cos(gamma), a_r = sin(gamma) cos(beta), a_y = sin(gamma) sin(beta), its centre at radius
R_h and offset y_h, its bolt of diameter d held in a boss of radius p = d/2 + wall at both ends, reaching e_in = L_h/2 +
washer + d inwards and e_out = e_in + head outwards:

- roller's innermost point  y_h - L_h/2 a_y - r_h sqrt(1 - a_y^2)
- rim's inner face          y_h - e_in a_y - p sqrt(1 - a_y^2)
- rim's outer face          y_h + e_out a_y + p sqrt(1 - a_y^2), or where a roller or a wall beyond the pockets reaches further
- rim's outside radius      hypot(R_h + e_out a_r, e_out a_t) + p, or that of a wall beyond the corners of the pockets
- barrel about the bearings from the rim's inner face, further out where the carrier is thicker about its bearing than
  elsewhere, to the gear's outer face or so far that both bearings find their seats, the outer one sunk by the clearance
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from objectives.assessment import Layout
from objectives.catalogue import Bearing, Catalogue
from objectives.scenario import Printer, Scenario
from objectives.units import MM
from objectives.wheel import WheelBatch

#: width of a printed line over the nozzle's diameter (common practice)
LINE_WIDTH_PER_NOZZLE = 1.125
#: m, left between the ends of two axles in an arm
AXLE_END_GAP = 1e-3
#: m, between hub rim and pinion, and between gear and motor plate
GEAR_SIDE_GAP = 1e-3
#: face width of a gear over its module (common practice: 6 to 12)
GEAR_WIDTH_PER_MODULE = 8.0
#: m, installed length of a spring without deflection; the deflection is added (common practice, between disc stack and coil)
SPRING_BASE_LENGTH = 4e-3
#: m, cap over the spring
CAP_THICKNESS = 3e-3
#: height of a nut over its thread (ISO 4032, about)
NUT_HEIGHT = 0.8
#: m, plate that a motor is bolted to
MOTOR_PLATE = 4e-3
#: m, lips of the carrier on both sides of its bearing, and what is left between a hub's two bearings (common practice)
BEARING_LIP = 1.5e-3
BEARING_LAND = 2e-3
#: m, how far a shoulder reaches in over a bearing's outer ring (common practice, 1 to 1.5)
BEARING_SHOULDER = 1.2e-3
#: shaft beyond the preload nut for the robot's frame to grip, over the shaft's diameter (common practice)
SHAFT_END = 1.0


@dataclass(frozen=True)
class HubRollerMount:
    """How a hub roller is held. Lengths in m, shapes (n,). ``axis_*``: components of its axis along t, r and y (left hub)."""

    axis_t: np.ndarray
    axis_r: np.ndarray
    axis_y: np.ndarray
    boss_radius: np.ndarray  # of the material about the bolt's ends
    inner_half_length: np.ndarray  # from the roller's centre to the inner end of its bolt
    outer_half_length: np.ndarray  # from the roller's centre to the outer end of its bolt, head included
    pocket_reach: np.ndarray  # from the roller's centre to the corners of its pocket, along c
    pocket_radius: np.ndarray  # of the outer corner of a pocket from the shaft's axis
    washer_thickness: np.ndarray


def line_width(printer: Printer) -> float:
    """Width of a printed line [m]: 1.125 times the nozzle's diameter (common practice)."""
    return LINE_WIDTH_PER_NOZZLE * printer.nozzle


def wall_thickness(scenario: Scenario) -> float:
    """Thickness of a printed wall [m]: its perimeters times the line width."""
    return scenario.build.walls * line_width(scenario.printer)


def screw_figure(diameter: np.ndarray, catalogue: Catalogue, figure: str) -> np.ndarray:
    """A figure of the catalogue's screw of each ``diameter`` [m], shape (n,); nan where there is no such screw."""
    found = np.full(np.shape(diameter), np.nan)
    for thread, screw in catalogue.screws.items():
        found[np.abs(diameter - thread * MM) < 1e-6] = getattr(screw, figure)
    return found


def smallest_bearing(catalogue: Catalogue, kind: str, bore: float) -> int:
    """Position in ``catalogue.bearings`` of the smallest bearing of a kind with this ``bore`` [m]; -1 where there is none."""
    fitting = [
        (bearing.outside, bearing.width, position)
        for position, bearing in enumerate(catalogue.bearings.values())
        if bearing.kind == kind and math.isclose(bearing.bore, bore, abs_tol=1e-6)
    ]
    return min(fitting)[2] if fitting else -1


def bearing_figure(index: np.ndarray, catalogue: Catalogue, figure: str) -> np.ndarray:
    """A figure of the bearings at ``index`` (as in Layout), shape (n,); nan where the index is -1."""
    rows: list[Bearing] = list(catalogue.bearings.values())
    return np.array([*(getattr(row, figure) for row in rows), np.nan])[index]


def hub_roller_mount(wheel: WheelBatch, scenario: Scenario) -> HubRollerMount:
    """How the hub rollers are held: their axes, bosses and bolts (module docstring)."""
    washer = screw_figure(wheel.hub_axle_diameter, scenario.catalogue, "washer_thickness")
    head = screw_figure(wheel.hub_axle_diameter, scenario.catalogue, "head_height")
    inner = wheel.hub_roller_length / 2 + washer + wheel.hub_axle_diameter
    clearance, sine, cosine = scenario.printer.clearance, np.sin(wheel.skew_angle), np.cos(wheel.skew_angle)
    half_pocket, half_width = wheel.hub_roller_length / 2 + washer + clearance / 2, wheel.hub_roller_radius + clearance
    reach = half_pocket * sine + half_width * cosine
    return HubRollerMount(
        axis_t=cosine,
        axis_r=sine * np.cos(wheel.contact_angle),
        axis_y=sine * np.sin(wheel.contact_angle),
        boss_radius=wheel.hub_axle_diameter / 2 + wall_thickness(scenario),
        inner_half_length=inner,
        outer_half_length=inner + head,
        pocket_reach=reach,
        pocket_radius=np.hypot(
            wheel.hub_roller_centre_radius + reach * np.cos(wheel.contact_angle), half_pocket * cosine - half_width * sine
        ),
        washer_thickness=washer,
    )


def axle_half_length(wheel: WheelBatch) -> np.ndarray:
    """Half of an output roller's axle [m]: two axles end AXLE_END_GAP apart in an arm.

    (R_p - d/2) tan(pi/N) - gap/2 / cos(pi/N), d the axle's diameter.
    """
    half_pitch = np.pi / wheel.output_roller_count
    return (wheel.pitch_radius - wheel.axle_diameter / 2) * np.tan(half_pitch) - AXLE_END_GAP / 2 / np.cos(half_pitch)


def window_half_width(wheel: WheelBatch, scenario: Scenario) -> np.ndarray:
    """Half of a carrier window along t [m]: half a roller and its side washer."""
    return wheel.output_roller_length / 2 + scenario.build.side_washer


def window_inner_radius(wheel: WheelBatch, scenario: Scenario) -> np.ndarray:
    """Where a carrier window begins [m]: the roller's inside less its play and the printer's clearance."""
    return wheel.pitch_radius - wheel.output_roller_radius - wheel.bore_play - scenario.printer.clearance


def spring_deflection(wheel: WheelBatch) -> np.ndarray:
    """Deflection of the spring behind a hub under its preload [m]: F_a / K_p."""
    return wheel.preload / wheel.preload_stiffness


def cylinder_gap(
    centre: np.ndarray, axis: np.ndarray, half_length: np.ndarray, radius: np.ndarray,
    other_centre: np.ndarray, other_axis: np.ndarray, other_half_length: np.ndarray, other_radius: np.ndarray,
) -> np.ndarray:
    """Room between two flat-ended cylinders, negative where they overlap.

    The distance of convex bodies is the largest separation over all directions d,
    d.(C' - C) - h(d) - h'(d), h(d) = l |a.d| + r sqrt(1 - (a.d)^2); here the largest over fans of
    directions across either axis, across both, and from there to the mean axis: a lower bound of the distance.

    Parameters
    ----------
    centre, other_centre : array
        centres [m], shape (n, 3)
    axis, other_axis : array
        unit vectors along the axes [-], shape (n, 3), with axis.other_axis >= 0
    half_length, other_half_length : array
        [m], shape (n,)
    radius, other_radius : array
        [m], shape (n,)

    Returns
    -------
    array
        room [m], shape (n,)

    Validity: axes under 90 degrees apart; parallel axes are allowed.

    Source: derived here (support functions of convex bodies).

    >>> x, along, one = np.array([[0.03, 0.0, 0.0]]), np.array([[0.0, 0.0, 1.0]]), np.array([0.01])
    >>> cylinder_gap(0 * x, along, one, one, x, along, one, one).round(6)
    array([0.01])
    """
    between = other_centre - centre
    mean = _unit(axis + other_axis)
    along = np.sum(between * mean, axis=-1, keepdims=True)
    mean = np.where(along < 0, -mean, mean)
    across = _unit(between - np.abs(along) * mean)
    turn = np.linspace(0, np.pi / 2, 25)[:, None, None]
    tilt = np.linspace(-0.4, 0.4, 17)[:, None, None]
    fans = [np.cos(turn) * across + np.sin(turn) * mean]
    for line in (axis, other_axis):
        beside = _unit(across - np.sum(across * line, axis=-1, keepdims=True) * line)
        fans.append(np.cos(tilt) * beside + np.sin(tilt) * np.cross(line, beside))
    perpendicular = np.cross(axis, other_axis)
    length = np.linalg.norm(perpendicular, axis=-1, keepdims=True)
    perpendicular = np.where(length > 1e-9, perpendicular / np.maximum(length, 1e-9), across)
    perpendicular = perpendicular * np.where(np.sum(perpendicular * between, axis=-1, keepdims=True) < 0, -1, 1)
    direction = np.concatenate([*fans, perpendicular[None]])
    return np.max(
        np.sum(direction * between, axis=-1)
        - _support(direction, axis, half_length, radius)
        - _support(direction, other_axis, other_half_length, other_radius),
        axis=0,
    )


def hub_roller_room(wheel: WheelBatch, mount: HubRollerMount) -> np.ndarray:
    """Room between neighbouring hub rollers, or a roller and its neighbour's bolt if that is less [m], shape (n,)."""
    pitch = 2 * np.pi / wheel.hub_roller_count
    cosine, sine, zero = np.cos(pitch), np.sin(pitch), np.zeros_like(pitch)
    centre = np.stack([zero, wheel.hub_roller_centre_radius, wheel.hub_roller_centre_offset], axis=-1)  # t, r, y
    axis = np.stack([mount.axis_t, mount.axis_r, mount.axis_y], axis=-1)

    def turned(vector: np.ndarray) -> np.ndarray:
        t, r, y = np.moveaxis(vector, -1, 0)
        return np.stack([t * cosine + r * sine, r * cosine - t * sine, y], axis=-1)

    bolt = wheel.hub_axle_diameter / 2
    middle = (mount.outer_half_length - mount.inner_half_length)[:, None] / 2 * axis
    bolt_half = (mount.outer_half_length + mount.inner_half_length) / 2
    length, radius = wheel.hub_roller_length / 2, wheel.hub_roller_radius
    rollers = cylinder_gap(centre, axis, length, radius, turned(centre), turned(axis), length, radius)
    ahead = cylinder_gap(centre + middle, axis, bolt_half, bolt, turned(centre), turned(axis), length, radius)
    behind = cylinder_gap(centre, axis, length, radius, turned(centre + middle), turned(axis), bolt_half, bolt)
    return np.minimum(rollers, np.minimum(ahead, behind))


def layout(wheel: WheelBatch, scenario: Scenario) -> Layout:
    """Lay the unit out (module docstring). nan where a variable is nan or no bearing or screw fits."""
    catalogue, clearance = scenario.catalogue, scenario.printer.clearance
    with np.errstate(all="ignore"):
        mount = hub_roller_mount(wheel, scenario)
        radial = np.full(len(wheel), smallest_bearing(catalogue, "deep_groove", scenario.build.shaft_diameter))
        thrust = np.full(len(wheel), smallest_bearing(catalogue, "needle_thrust", scenario.build.shaft_diameter))
        radial_width = bearing_figure(radial, catalogue, "width")
        thrust_width = bearing_figure(thrust, catalogue, "width") + 2 * bearing_figure(thrust, catalogue, "washer_thickness")
        half_pitch = np.pi / wheel.output_roller_count
        neck = 2 * (
            window_inner_radius(wheel, scenario) * np.sin(half_pitch)
            - window_half_width(wheel, scenario) * np.cos(half_pitch)
        )
        carrier_outside = (
            np.hypot(wheel.pitch_radius + wheel.axle_diameter / 2, axle_half_length(wheel)) + wall_thickness(scenario)
        )
        upright = np.sqrt(1 - mount.axis_y**2)
        offset, reach = wheel.hub_roller_centre_offset, wheel.hub_roller_length / 2
        roller_inside = offset - reach * mount.axis_y - wheel.hub_roller_radius * upright
        roller_outside = offset + reach * mount.axis_y + wheel.hub_roller_radius * upright
        hub_inside = offset - mount.inner_half_length * mount.axis_y - mount.boss_radius * upright
        boss_outside = offset + mount.outer_half_length * mount.axis_y + mount.boss_radius * upright
        wall = wall_thickness(scenario)
        ring = (mount.pocket_reach + wall) * np.sin(wheel.contact_angle) + mount.boss_radius * np.cos(wheel.contact_angle)
        hub_outside = np.maximum(np.maximum(boss_outside, roller_outside), offset + ring)
        bolt_end = np.hypot(
            wheel.hub_roller_centre_radius + mount.outer_half_length * mount.axis_r, mount.outer_half_length * mount.axis_t
        )
        hub_radius = np.maximum(bolt_end + mount.boss_radius, mount.pocket_radius + wall)
        gear_width = GEAR_WIDTH_PER_MODULE * wheel.gear_module
        gear_offset = hub_outside + GEAR_SIDE_GAP + gear_width / 2
        carrier_half = np.maximum(wheel.carrier_thickness, radial_width + 2 * BEARING_LIP) / 2
        barrel_inside = hub_inside + carrier_half - wheel.carrier_thickness / 2
        barrel_outside = np.maximum(
            gear_offset + gear_width / 2, barrel_inside + 2 * radial_width + BEARING_LAND + clearance
        )
        barrel_radius = np.maximum(
            bearing_figure(radial, catalogue, "outside") / 2 + 2 * wall_thickness(scenario),
            bearing_figure(thrust, catalogue, "outside") / 2 + clearance / 2 + 2 * line_width(scenario.printer),
        )
        half_width = (
            barrel_outside + thrust_width + SPRING_BASE_LENGTH + spring_deflection(wheel)
            + CAP_THICKNESS + (NUT_HEIGHT + SHAFT_END) * scenario.build.shaft_diameter
        )
        motors = [catalogue.motors[name] for name in wheel.motor_names]
        motor_end = gear_offset + gear_width / 2 + GEAR_SIDE_GAP + MOTOR_PLATE
        motor_end = motor_end + np.array([motor.length for motor in motors])[wheel.motor]
        return Layout(
            arm_neck=neck,
            hub_outside_radius=hub_radius,
            hub_inside_offset=hub_inside,
            hub_outside_offset=hub_outside,
            hub_roller_room=hub_roller_room(wheel, mount),
            carrier_standoff=np.minimum(roller_inside, hub_inside) - wheel.carrier_thickness / 2,
            carrier_outside_radius=carrier_outside,
            gear_pitch_radius=wheel.gear_module * wheel.gear_teeth / 2,
            pinion_pitch_radius=wheel.gear_module * wheel.pinion_teeth / 2,
            centre_distance=wheel.gear_module * (wheel.gear_teeth + wheel.pinion_teeth) / 2,
            gear_width=gear_width,
            gear_offset=gear_offset,
            radial_bearing=radial,
            thrust_bearing=thrust,
            bearing_names=tuple(catalogue.bearings),
            bearing_spacing=barrel_outside - clearance - barrel_inside - radial_width,
            carrier_half_width=carrier_half,
            barrel_inside_offset=barrel_inside,
            barrel_outside_offset=barrel_outside,
            barrel_radius=barrel_radius,
            unit_half_width=half_width,
            unit_width=2 * np.maximum(half_width, motor_end),
        )


def _unit(vector: np.ndarray) -> np.ndarray:
    return vector / np.linalg.norm(vector, axis=-1, keepdims=True)


def _support(direction: np.ndarray, axis: np.ndarray, half_length: np.ndarray, radius: np.ndarray) -> np.ndarray:
    """How far a cylinder reaches from its centre along each direction."""
    along = np.sum(direction * axis, axis=-1)
    return half_length * np.abs(along) + radius * np.sqrt(np.maximum(1 - along**2, 0))
