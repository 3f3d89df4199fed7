"""Constraints that the geometry alone decides: a wheel that breaks one need not be given to the mechanics.

Each function reads ``wheel``, ``scenario`` and ``layout`` and gives the slack in SI units, shape (n,), >= 0 where it holds.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, Protocol

import numpy as np

from objectives.assessment import Layout
from objectives.hub_body import ADDENDUM, bolt_path_room, hub_body
from objectives.layout import (
    axle_half_length,
    bearing_figure,
    hub_roller_mount,
    line_width,
    screw_figure,
    spring_deflection,
    wall_thickness,
    window_half_width,
)
from objectives.mass import core_bore
from objectives.pass_window import pass_window
from objectives.scenario import Scenario
from objectives.units import DEG, MM
from objectives.wheel import BALL, PLAIN, WheelBatch

#: m, thinnest printed pin (common practice)
LEAST_PIN = 3e-3
#: m, below hubs, gears and carrier over a hard flat floor (common practice)
GROUND_CLEARANCE = 3e-3
#: m, wear over which preload must last
WEAR = 1e-4
#: share of a constraint's scale that is the rounding of a design drawn right at its edge
ROUNDING = 1e-9
#: m, deflection of a spring that still finds room (common practice)
SPRING_TRAVEL = 20e-3
#: largest wedge factor, and how far friction may lie above what the material table says (common practice)
WEDGE_LIMIT = 0.9
FRICTION_UPPER = 1.2
#: least pull-in ratio at the middle of a roller and all over a pass; nearer to 1 the state under reverse drive may not exist
PULL_IN_LIMIT = 1.3
PULL_IN_PASS_LIMIT = 1.0
#: fewest teeth that are accepted with their small undercut, where 17 have none (common practice)
FEWEST_TEETH = 14


class Plan(Protocol):
    """What geometry constraints read; an Assessment is one."""

    @property
    def wheel(self) -> WheelBatch: ...
    @property
    def scenario(self) -> Scenario: ...
    @property
    def layout(self) -> Layout: ...


@dataclass(frozen=True)
class GeometryPlan:
    """A Plan before there are mechanics."""

    wheel: WheelBatch
    scenario: Scenario
    layout: Layout


@dataclass(frozen=True)
class Constraint:
    """A condition on a wheel. ``scale`` is the shortfall, in the constraint's unit, that counts as 1 in ``violation``."""

    name: str
    unit: str
    meaning: str
    scale: float
    function: Callable[[Any], np.ndarray]
    geometry: bool = False  # decided by a Plan alone
    factor: float = 1.0  # SI per unit

    def slack(self, judged: Any) -> np.ndarray:
        """Room left in the constraint's unit, shape (n,): >= 0 where it holds, nan where it cannot be told."""
        with np.errstate(all="ignore"):
            room = self.function(judged) / self.factor
        return np.where(np.abs(room) < ROUNDING * self.scale, 0.0, room)


def arm_neck(plan: Plan) -> np.ndarray:
    """Neck of an arm less what an arm needs: the thinnest printed pin, or four lines."""
    return plan.layout.arm_neck - max(LEAST_PIN, 4 * line_width(plan.scenario.printer))


def axle_engagement(plan: Plan) -> np.ndarray:
    """Length of an axle in an arm less its diameter."""
    wheel = plan.wheel
    return axle_half_length(wheel) - window_half_width(wheel, plan.scenario) - wheel.axle_diameter


def hub_roller_room(plan: Plan) -> np.ndarray:
    """Room between hub rollers less two lines of wall and the printer's clearance on either side."""
    printer = plan.scenario.printer
    return plan.layout.hub_roller_room - 2 * line_width(printer) - 2 * printer.clearance


def hub_roller_standout(plan: Plan) -> np.ndarray:
    """How far hub rollers stand out of bosses and washers that hold them, less the printer's clearance."""
    mount = hub_roller_mount(plan.wheel, plan.scenario)
    washer = screw_figure(plan.wheel.hub_axle_diameter, plan.scenario.catalogue, "washer_outside") / 2
    return plan.wheel.hub_roller_radius - np.maximum(mount.boss_radius, washer) - plan.scenario.printer.clearance


def carrier_standoff(plan: Plan) -> np.ndarray:
    """Axial clearance of hub and hub rollers to the carrier before closure, less the printer's clearance."""
    return plan.layout.carrier_standoff - plan.scenario.printer.clearance


def axle_cover(plan: Plan) -> np.ndarray:
    """Material of a carrier half over the groove of an axle, less two lines."""
    wheel = plan.wheel
    return (wheel.carrier_thickness - wheel.axle_diameter) / 2 - 2 * line_width(plan.scenario.printer)


def bolt_access(plan: Plan) -> np.ndarray:
    """Room between the hub gear's teeth and the way of a hub roller's bolt and key."""
    wheel, layout, scenario = plan.wheel, plan.layout, plan.scenario
    return bolt_path_room(wheel, layout, hub_body(wheel, layout, scenario), scenario)


def gear_standoff(plan: Plan) -> np.ndarray:
    """Distance of gear and pinion from the output rollers less the printer's clearance, before closure.

    The pinion's tips reach furthest out; their inner corner is nearest to a roller.
    """
    wheel, layout = plan.wheel, plan.layout
    reach = layout.centre_distance + layout.pinion_pitch_radius + ADDENDUM * wheel.gear_module
    face = layout.gear_offset - layout.gear_width / 2
    apart = np.hypot(np.maximum(wheel.pitch_radius - reach, 0), face)
    return apart - wheel.output_roller_radius - wheel.bore_play - plan.scenario.printer.clearance


def hub_bore(plan: Plan) -> np.ndarray:
    """Wall left between the innermost point of pockets and bosses and the bearing's seat; minus the shaft's diameter where
    the catalogue has no radial or no thrust bearing for the shaft."""
    wheel, scenario, layout = plan.wheel, plan.scenario, plan.layout
    mount = hub_roller_mount(wheel, scenario)
    across = np.sqrt(1 - mount.axis_r**2)
    pocket = wheel.hub_roller_length / 2 * mount.axis_r + (wheel.hub_roller_radius + scenario.printer.clearance) * across
    boss = mount.inner_half_length * mount.axis_r + mount.boss_radius * across
    seat = bearing_figure(layout.radial_bearing, scenario.catalogue, "outside") / 2
    slack = wheel.hub_roller_centre_radius - np.maximum(pocket, boss) - seat - wall_thickness(scenario)
    return np.where((layout.radial_bearing < 0) | (layout.thrust_bearing < 0), -scenario.build.shaft_diameter, slack)


def roller_core(plan: Plan) -> np.ndarray:
    """Material of an output roller at its ends, inside the tyre and outside axle, bushing or bearing, less two lines."""
    wheel = plan.wheel
    half = wheel.output_roller_length / 2
    rim = np.sqrt(wheel.wheel_radius**2 - half**2) - wheel.pitch_radius
    end = (1 - wheel.crown) * wheel.output_roller_radius + wheel.crown * rim
    tyre = np.where(wheel.bore == PLAIN, 0.0, wheel.tyre_thickness)
    hole = core_bore(wheel) / 2 + np.where(wheel.bore == BALL, wheel.bore_play, 0.0)
    return end - tyre - hole - 2 * line_width(plan.scenario.printer)


def hub_roller_length(plan: Plan) -> np.ndarray:
    """Half a hub roller less the furthest place it is touched at within half a pitch of the hub rollers."""
    return plan.wheel.hub_roller_length / 2 - pass_window(plan.wheel).hub_place


def coverage(plan: Plan) -> np.ndarray:
    """Angle over which a hub roller touches an output roller less the pitch of the hub rollers.

    Where it is not negative, every output roller has a hub roller on each side in every phase.
    """
    window = pass_window(plan.wheel)
    return window.high - window.low - 2 * np.pi / plan.wheel.hub_roller_count


def wedge_factor(wheel: WheelBatch) -> np.ndarray:
    """Largest mu |a_y|/|n_y| over a pass [-], shape (n,): near 1 friction draws the hubs in until they lock."""
    return wheel.friction_roller * pass_window(wheel).wedge_slope


def pull_in_ratio(wheel: WheelBatch) -> np.ndarray:
    """tan(beta)/(mu sin(gamma)) [-], shape (n,): near 1 friction in reverse pulls the rollers in through their play.

    >>> from types import SimpleNamespace
    >>> wheel = SimpleNamespace(contact_angle=np.pi / 4, skew_angle=np.pi / 6, friction_roller=0.5)
    >>> round(float(pull_in_ratio(wheel)), 9)
    4.0
    """
    return np.tan(wheel.contact_angle) / (wheel.friction_roller * np.sin(wheel.skew_angle))


def pull_in_ratio_min(wheel: WheelBatch) -> np.ndarray:
    """Least -n_r/(mu |a_c| n_y) over a pass [-], shape (n,): under 1 friction in reverse wins over the normal force.

    A contact under friction towards +c pushes its roller outwards by N (-n_r) - mu N |a_c| n_y; derived here.
    """
    return pass_window(wheel).pull_in_slope / wheel.friction_roller


def wedging(plan: Plan) -> np.ndarray:
    """Wedge limit less the wedge factor at the upper bound of the table's friction, or at the friction there is if more."""
    return WEDGE_LIMIT - np.maximum(FRICTION_UPPER / plan.wheel.friction_roller_factor, 1.0) * wedge_factor(plan.wheel)


def pull_in(plan: Plan) -> np.ndarray:
    """Pull-in ratio at the table's friction less its limit, or at the friction there is less 1, whichever is less.

    A reserve is asked of what the table says; of what turns out none more.
    """
    ratio = pull_in_ratio(plan.wheel)
    return np.minimum(ratio * plan.wheel.friction_roller_factor - PULL_IN_LIMIT, ratio - PULL_IN_PASS_LIMIT)


def pull_in_pass(plan: Plan) -> np.ndarray:
    """Least pull-in ratio over a pass less its limit."""
    return pull_in_ratio_min(plan.wheel) - PULL_IN_PASS_LIMIT


def lowest_part_radius(plan: Plan) -> np.ndarray:
    """Radius of the largest of hubs, gears (to the tips) and carrier [m], shape (n,)."""
    layout = plan.layout
    gear = layout.gear_pitch_radius + plan.wheel.gear_module
    return np.maximum(np.maximum(layout.hub_outside_radius, gear), layout.carrier_outside_radius)


def inside_rim(plan: Plan) -> np.ndarray:
    """Wheel radius less that of the largest part and the ground clearance, unloaded."""
    return plan.wheel.wheel_radius - lowest_part_radius(plan) - GROUND_CLEARANCE


def bed_fit(plan: Plan) -> np.ndarray:
    """Shorter side of the print bed less the largest part's diameter."""
    return min(plan.scenario.printer.bed[:2]) - 2 * lowest_part_radius(plan)


def preload_after_wear(plan: Plan) -> np.ndarray:
    """Preload left after 0.1 mm of wear: F_a - K_p 0.1 mm."""
    return plan.wheel.preload - plan.wheel.preload_stiffness * WEAR


def spring_travel(plan: Plan) -> np.ndarray:
    """Deflection that a spring behind a hub has room for less the one its preload takes."""
    return SPRING_TRAVEL - spring_deflection(plan.wheel)


def undercut(plan: Plan) -> np.ndarray:
    """Teeth of pinion or gear, the fewer, over the fewest accepted."""
    return np.minimum(plan.wheel.pinion_teeth, plan.wheel.gear_teeth) - FEWEST_TEETH


def gear_bore(plan: Plan) -> np.ndarray:
    """Root radius of the hub gear, m (z/2 - 1.25), less that of the barrel about the bearings."""
    return hub_body(plan.wheel, plan.layout, plan.scenario).gear_root_radius - plan.layout.barrel_radius


def motor_fits(plan: Plan) -> np.ndarray:
    """Room of the motor beside the hub's barrel, or of its shaft in the pinion, whichever is less."""
    scenario, layout, wheel = plan.scenario, plan.layout, plan.wheel
    motors = [scenario.catalogue.motors[name] for name in wheel.motor_names]
    radius = np.array([motor.diameter for motor in motors])[wheel.motor] / 2
    shaft = np.array([motor.shaft_diameter for motor in motors])[wheel.motor] / 2
    beside = layout.centre_distance - radius - layout.barrel_radius - scenario.printer.clearance
    in_pinion = layout.pinion_pitch_radius - 1.25 * wheel.gear_module - shaft - 2 * line_width(scenario.printer)
    return np.where(np.isnan(shaft), beside, np.minimum(beside, in_pinion))


GEOMETRY_CONSTRAINTS: tuple[Constraint, ...] = tuple(
    Constraint(name, unit, meaning, scale, function, geometry=True, factor=factor)
    for name, unit, factor, scale, function, meaning in (
        ("arm_neck", "mm", MM, 2.0, arm_neck, "arm between output rollers thick enough to print and to hold"),
        ("axle_engagement", "mm", MM, 2.0, axle_engagement, "axles held in the arms over at least their diameter"),
        ("axle_cover", "mm", MM, 1.0, axle_cover, "carrier halves thick enough over the grooves of the axles"),
        ("hub_roller_room", "mm", MM, 2.0, hub_roller_room, "wall and clearances between neighbouring hub rollers"),
        ("hub_roller_standout", "mm", MM, 1.0, hub_roller_standout, "hub rollers stand out of bosses and washers"),
        ("carrier_standoff", "mm", MM, 2.0, carrier_standoff, "hubs clear of the carrier before closure"),
        ("bolt_access", "mm", MM, 5.0, bolt_access, "bolts of the hub rollers pass the teeth of the hub gear"),
        ("gear_standoff", "mm", MM, 2.0, gear_standoff, "gear and pinion clear of the output rollers"),
        ("hub_bore", "mm", MM, 5.0, hub_bore, "room for the bearings inside the pockets, and bearings for the shaft"),
        ("roller_core", "mm", MM, 1.0, roller_core, "material inside the tyre at a roller's ends"),
        ("hub_roller_length", "mm", MM, 3.0, hub_roller_length, "hub rollers last a pass"),
        ("coverage", "deg", DEG, 3.0, coverage, "a hub roller on each side of every output roller in every phase"),
        ("wedging", "", 1.0, 0.3, wedging, f"wedge factor under {WEDGE_LIMIT} at {FRICTION_UPPER} times the table's friction"),
        ("pull_in", "", 1.0, 0.3, pull_in, f"pull-in ratio at least {PULL_IN_LIMIT}"),
        ("pull_in_pass", "", 1.0, 0.3, pull_in_pass, f"pull-in ratio at least {PULL_IN_PASS_LIMIT:g} all over a pass"),
        ("inside_rim", "mm", MM, 5.0, inside_rim, "hubs, gears and carrier clear of a flat floor"),
        ("bed_fit", "mm", MM, 20.0, bed_fit, "largest printed part fits the bed"),
        ("preload_after_wear", "N", 1.0, 20.0, preload_after_wear, "preload left after 0.1 mm of wear"),
        ("spring_travel", "mm", MM, 10.0, spring_travel, "room for the spring's deflection"),
        ("undercut", "teeth", 1.0, 3.0, undercut, "no harmful undercut at the pinion"),
        ("gear_bore", "mm", MM, 5.0, gear_bore, "hub gear larger than the barrel in it"),
        ("motor_fits", "mm", MM, 5.0, motor_fits, "motor clear of the shaft's parts, its shaft within the pinion"),
    )
)
