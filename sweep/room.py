"""The geometric room that a variable has once others are drawn: what most draws would break a constraint without.

Each function gives the least and the most of one variable from those drawn before it, in the variable's own unit. The
rooms follow the constraints of geometry, simplified so that they shut out few wheels that keep them. They shorten the
search and decide nothing.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from objectives.catalogue import Motor
from objectives.geometry_constraints import (
    FEWEST_TEETH,
    FRICTION_UPPER,
    GROUND_CLEARANCE,
    LEAST_PIN,
    PULL_IN_LIMIT,
    SPRING_TRAVEL,
    WEAR,
    WEDGE_LIMIT,
)
from objectives.layout import AXLE_END_GAP, line_width, screw_figure, wall_thickness
from objectives.scenario import Scenario
from objectives.units import MM
from sweep.hub_rollers import HubRollers

BUSHING = 1.0  # mm, wall of a bushing in a printed core; a ball bearing has more
DEDENDUM = 1.25  # times the module, ISO 53 rack A
STEPS = 33  # radii or angles looked at between the ends of a range

Bounds = tuple[np.ndarray | float, np.ndarray | float]


@dataclass(frozen=True)
class Surroundings:
    """What the rooms depend on besides the variables: the scenario, and the ends of each range of numbers."""

    scenario: Scenario
    least: Mapping[str, float]
    most: Mapping[str, float]


@dataclass(frozen=True)
class Drawn:
    """The variables drawn so far, and what follows from them. Lengths in mm.

    ``values`` grows as variables are drawn: what is kept follows from those that are there when it is first asked for.
    """

    values: Mapping[str, np.ndarray]
    around: Surroundings

    def __getitem__(self, name: str) -> np.ndarray:
        return self.values[name]

    def least(self, name: str) -> np.ndarray | float:
        """The value where it is drawn, else the lowest that the study allows."""
        return self.values[name] if name in self.values else self.around.least[name]

    @cached_property
    def line(self) -> float:
        return line_width(self.around.scenario.printer) / MM

    @cached_property
    def wall(self) -> float:
        return wall_thickness(self.around.scenario) / MM

    @cached_property
    def clearance(self) -> float:
        return self.around.scenario.printer.clearance / MM

    @cached_property
    def side_washer(self) -> float:
        return self.around.scenario.build.side_washer / MM

    @cached_property
    def neck(self) -> float:
        """Least distance of neighbouring output rollers' inner ends: a pin of the carrier and two washers."""
        return max(LEAST_PIN / MM, 4 * self.line) + 2 * self.side_washer

    @cached_property
    def output_radius(self) -> np.ndarray:
        return self["output_roller_diameter_mm"] / 2

    @cached_property
    def pitch_radius(self) -> np.ndarray:
        return self["wheel_diameter_mm"] / 2 - self.output_radius

    @cached_property
    def output_length(self) -> np.ndarray:
        room = (self.pitch_radius - self.output_radius) * np.tan(np.pi / self["output_roller_count"])
        return self["output_roller_fill"] * 2 * room

    @cached_property
    def core(self) -> np.ndarray:
        """Least radius inside the tyre: the axle, bushing or bearing, and two lines."""
        cored = self["bore"] != "plain"
        return self["axle_diameter_mm"] / 2 + 2 * self.line + np.where(cored, BUSHING, 0.0)

    @cached_property
    def boss_radius(self) -> np.ndarray:
        return self["hub_axle_diameter_mm"] / 2 + self.wall

    @property
    def least_hub_radius(self) -> np.ndarray:
        """The smallest hub roller that the study allows and that stands out of its boss and its washers."""
        return np.maximum(self.least("hub_roller_diameter_mm") / 2, self._held + self.clearance)

    @cached_property
    def _held(self) -> np.ndarray:
        return np.maximum(self.boss_radius, self.of_bolt("washer_outside") / 2)

    @property
    def least_half_carrier(self) -> np.ndarray | float:
        if "carrier_thickness_mm" in self.values:
            return self["carrier_thickness_mm"] / 2
        return np.maximum(self.around.least["carrier_thickness_mm"], self["axle_diameter_mm"] + 4 * self.line) / 2

    @cached_property
    def washer(self) -> np.ndarray:
        return self.of_bolt("washer_thickness")

    @cached_property
    def skew_angle(self) -> np.ndarray:
        return np.radians(self["skew_angle_deg"])

    def of_bolt(self, figure: str) -> np.ndarray:
        """A figure of the screw that the hub rollers turn on."""
        return screw_figure(self["hub_axle_diameter_mm"] * MM, self.around.scenario.catalogue, figure) / MM

    def hub_rollers(self, count: np.ndarray, radius: np.ndarray, contact_angle: np.ndarray | None = None) -> HubRollers:
        bolt = self["hub_axle_diameter_mm"]
        rollers = HubRollers(
            wheel_radius=self["wheel_diameter_mm"] / 2,
            pitch_radius=self.pitch_radius,
            output_radius=self.output_radius,
            output_length=self.output_length,
            crown=self["crown"],
            contact_angle=np.radians(self["contact_angle_deg"]) if contact_angle is None else contact_angle,
            skew_angle=self.skew_angle,
            bolt=bolt,
            washer=self.washer,
            boss_radius=self.boss_radius,
            between=2 * (self.line + self.clearance),
            clearance=self.clearance,
            rim=GROUND_CLEARANCE / MM,
            count=count,
            radius=radius,
        )
        return rollers if radius.ndim == count.ndim == 1 else rollers.coarse()

    def of_motor(self, figure: Callable[[Motor], float]) -> np.ndarray:
        figures = {name: figure(motor) for name, motor in self.around.scenario.catalogue.motors.items()}
        return np.array([figures[name] for name in self["motor"]]) / MM


def preload_stiffness(d: Drawn) -> Bounds:
    """The spring finds room for its deflection, and keeps preload after wear."""
    return d["preload_N"] / (SPRING_TRAVEL / MM), d["preload_N"] / (WEAR / MM)


def output_roller_diameter(d: Drawn) -> Bounds:
    """Thick enough for its axle and tyre, and for a carrier inside the rim; small enough for a neck between neighbours.

    The carrier ends at hypot(R_p + d/2, (R_p - d/2) tan(pi/N) - g) + wall, d the axle and g half the gap between axles.
    """
    cored = d["bore"] != "plain"
    tyre = d.core + np.where(cored, d.least("tyre_thickness_mm"), 0.0)
    half_pitch = np.pi / d["output_roller_count"]
    slope, axle = np.tan(half_pitch), d["axle_diameter_mm"] / 2
    short = axle * slope + AXLE_END_GAP / MM / 2 / np.cos(half_pitch)
    reach = d["wheel_diameter_mm"] / 2 - GROUND_CLEARANCE / MM - d.wall
    middle = (axle - slope * short) / (1 + slope**2)
    pitch_radius = np.sqrt(middle**2 + (reach**2 - axle**2 - short**2) / (1 + slope**2)) - middle
    least = np.maximum(tyre, d["wheel_diameter_mm"] / 2 - pitch_radius)
    between = 2 * np.sin(half_pitch) * (1 - d.least("output_roller_fill"))
    return 2 * least, d["wheel_diameter_mm"] / 2 - d.neck / between


def output_roller_fill(d: Drawn) -> Bounds:
    """Neighbours' inner ends stand 2 (R_p - r_o) sin(pi/N) (1 - fill) apart; axles reach their diameter into the arms."""
    half_pitch = np.pi / d["output_roller_count"]
    inner, axle = d.pitch_radius - d.output_radius, d["axle_diameter_mm"]
    # windows begin within the rollers' play
    window = inner - d["bore_play_mm"] - d.clearance
    necks = (window * np.sin(half_pitch) - d.neck / 2) / (inner * np.sin(half_pitch))
    held = (d.pitch_radius - axle / 2) * np.tan(half_pitch) - AXLE_END_GAP / MM / 2 / np.cos(half_pitch)
    return -np.inf, np.minimum(necks, (held - axle - d.side_washer) / (inner * np.tan(half_pitch)))


def crown(d: Drawn) -> Bounds:
    """Leaves tyre and core at a roller's ends, where the full crown follows the rim."""
    rim = np.sqrt((d["wheel_diameter_mm"] / 2) ** 2 - (d.output_length / 2) ** 2) - d.pitch_radius
    need = d.core + np.where(d["bore"] != "plain", d.least("tyre_thickness_mm"), 0.0)
    return -np.inf, (d.output_radius - need) / (d.output_radius - rim)


def contact_angle(d: Drawn) -> Bounds:
    """Neither wedging forwards nor pulling in; between the outermost angles at which some hub rollers find room."""
    materials = d.around.scenario.catalogue.materials
    output, hub = (np.array([materials[name].friction_roller for name in d[tyre]]) for tyre in ("output_tyre", "hub_tyre"))
    grip = np.minimum(output, hub) * np.sin(d.skew_angle)
    pull_in, wedging = np.arctan(PULL_IN_LIMIT * grip), np.arctan(WEDGE_LIMIT / FRICTION_UPPER / grip)

    low, high = d.around.least["contact_angle_deg"], d.around.most["contact_angle_deg"]
    angles, step = np.linspace(low, high, STEPS, retstep=True)
    angles = angles[:, None]
    least = d["output_roller_count"] + 1
    # along the first axis: what does not depend on the count then lies in one piece, which numpy goes through faster
    counts = least + np.linspace(0, 1, 4)[:, None, None] * np.maximum(d.around.most["hub_roller_count"] - least, 0)
    fits = np.any(_some_radius_fits(d.hub_rollers(counts, d.least_hub_radius, np.radians(angles)), d), axis=0)
    first, last = _ends(fits, angles, step)
    return np.maximum(first, np.degrees(pull_in)), np.minimum(last, np.degrees(wedging))


def hub_roller_count(d: Drawn) -> Bounds:
    """More than there are output rollers, or some phases leave one untouched; as many as find room."""
    least = d["output_roller_count"] + 1
    most = d.around.most["hub_roller_count"]
    counts = np.arange(least.min(initial=most), most + 1)[:, None] + np.zeros(least.shape)
    fits = _some_radius_fits(d.hub_rollers(counts, d.least_hub_radius), d)
    low, high = _ends(fits & (counts >= least), counts, 0)
    return np.maximum(low, least), high


def hub_roller_diameter(d: Drawn) -> Bounds:
    """Thick enough to stand out of its boss; thin enough to find room."""
    low, high = d.least_hub_radius, d.around.most["hub_roller_diameter_mm"] / 2
    radii = low + np.linspace(0, 1, STEPS)[:, None] * np.maximum(high - low, 0)
    least, most = _ends(_length_room(d.hub_rollers(d["hub_roller_count"], radii), d), radii, 0)
    return 2 * np.maximum(least, low), 2 * most


def hub_roller_length(d: Drawn) -> Bounds:
    """Long enough for a pass; short enough for the neighbours, the carrier and the floor."""
    return _lengths(d.hub_rollers(d["hub_roller_count"], d["hub_roller_diameter_mm"] / 2), d)


def tyre_thickness(d: Drawn) -> Bounds:
    """What axle and core leave."""
    return -np.inf, d.output_radius - d.core


def carrier_thickness(d: Drawn) -> Bounds:
    """Two lines over the grooves of the axles; clear of the hub rollers."""
    rollers = d.hub_rollers(d["hub_roller_count"], d["hub_roller_diameter_mm"] / 2)
    return d["axle_diameter_mm"] + 4 * d.line, 2 * rollers.half_carrier_clear_of(d["hub_roller_length_mm"])


def pinion_teeth(d: Drawn) -> Bounds:
    """Without undercut; the root circle leaves a wall round the gearbox shaft."""
    shaft = np.nan_to_num(d.of_motor(lambda motor: motor.shaft_diameter))
    root = (shaft + 4 * d.line) / d["gear_module_mm"] + 2 * DEDENDUM
    return np.maximum(root, FEWEST_TEETH), np.inf


def gear_teeth(d: Drawn) -> Bounds:
    """Clear of the floor and of the way of the hub rollers' bolts; far enough out for the motor to stand beside the shaft."""
    module, shaft = d["gear_module_mm"], d.around.scenario.build.shaft_diameter / MM
    beside_shaft = (d.of_motor(lambda motor: motor.diameter) + shaft) / module - d["pinion_teeth"]
    rollers = d.hub_rollers(d["hub_roller_count"], d["hub_roller_diameter_mm"] / 2)
    head = d.of_bolt("head_diameter") / 2 + d.clearance
    tip = np.minimum(d["wheel_diameter_mm"] / 2 - GROUND_CLEARANCE / MM, rollers.bolt_way(d["hub_roller_length_mm"], head))
    return beside_shaft, 2 * tip / module - 2


def _lengths(rollers: HubRollers, d: Drawn) -> tuple[np.ndarray, np.ndarray]:
    """Least and most length of hub rollers; the most is nan where no length fits."""
    beside = np.minimum(rollers.length_clear_of(d.least_half_carrier), rollers.length_inside_rim)
    return rollers.length_for_pass, np.minimum(rollers.length_clear_of_neighbours, beside)


def _length_room(rollers: HubRollers, d: Drawn) -> np.ndarray:
    """Whether some length of a hub roller is long enough and finds room."""
    least, most = _lengths(rollers, d)
    return rollers.covers & (most >= np.maximum(least, d.least("hub_roller_length_mm")))


def _some_radius_fits(rollers: HubRollers, d: Drawn) -> np.ndarray:
    """Whether the thinnest roller fits, or the one with the most standoff. One between might: a look, not a proof."""
    return _length_room(rollers, d) | _length_room(replace(rollers, radius=rollers.best_radius), d)


def _ends(fits: np.ndarray, values: np.ndarray, step: np.ndarray | float) -> Bounds:
    """A step beyond the lowest and the highest value that fits, along the first axis; no bounds where none does."""
    none = ~fits.any(axis=0)
    low = np.where(fits, values, np.inf).min(axis=0)
    high = np.where(fits, values, -np.inf).max(axis=0)
    return np.where(none, -np.inf, low - step), np.where(none, np.inf, high + step)


#: in the order of drawing; whatever is not here is drawn before
ROOMS: dict[str, Callable[[Drawn], Bounds]] = {
    "preload_stiffness_N_per_mm": preload_stiffness,
    "output_roller_diameter_mm": output_roller_diameter,
    "output_roller_fill": output_roller_fill,
    "crown": crown,
    "contact_angle_deg": contact_angle,
    "hub_roller_count": hub_roller_count,
    "hub_roller_diameter_mm": hub_roller_diameter,
    "hub_roller_length_mm": hub_roller_length,
    "tyre_thickness_mm": tyre_thickness,
    "carrier_thickness_mm": carrier_thickness,
    "pinion_teeth": pinion_teeth,
    "gear_teeth": gear_teeth,
}
