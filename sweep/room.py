"""The geometric room that a variable has once others are drawn: what most draws would collide without.

Each function gives the least and the most of one variable from those drawn before it, in the variable's own unit. The
rooms are necessary conditions with generous walls and gaps: they shorten the search and decide nothing. What a wheel must
keep is decided by the constraints. Derived here from the geometry of the wheel.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np

WALL = 0.8  # mm, the thinnest wall round an axle or a bolt: two lines of a 0.4 mm nozzle
NECK = 0.8  # mm, of the carrier between two output rollers
GAP = 0.2  # mm, between moving parts
FLOOR_GAP = 1.0  # mm, under a gear
DEDENDUM = 1.25  # times the module, ISO 53 rack A

Values = Mapping[str, np.ndarray]
Bounds = tuple[np.ndarray | float, np.ndarray | float]


@dataclass(frozen=True)
class Surroundings:
    """What the rooms depend on besides the variables. Lengths in mm."""

    wall: float  # printed, round a bolt
    side_washer: float
    shaft_diameter: float
    motor_diameter: Mapping[str, float]
    motor_shaft: Mapping[str, float]  # 0 where it is not known
    least: Mapping[str, float]  # lowest value of each variable of numbers in the study


@dataclass(frozen=True)
class Drawn:
    """The variables drawn so far, as angles in rad and radii in mm."""

    values: Values
    around: Surroundings

    def __getitem__(self, name: str) -> np.ndarray:
        return self.values[name]

    def least(self, name: str) -> np.ndarray | float:
        """The value where it is drawn, else the lowest that the study allows."""
        return self.values[name] if name in self.values else self.around.least[name]

    @property
    def contact_angle(self) -> np.ndarray:
        return np.radians(self["contact_angle_deg"])

    @property
    def skew_angle(self) -> np.ndarray:
        return np.radians(self["skew_angle_deg"])

    @property
    def output_radius(self) -> np.ndarray:
        return self["output_roller_diameter_mm"] / 2

    @property
    def pitch_radius(self) -> np.ndarray:
        return self["wheel_diameter_mm"] / 2 - self.output_radius

    @property
    def output_length(self) -> np.ndarray:
        room = (self.pitch_radius - self.output_radius) * np.tan(np.pi / self["output_roller_count"])
        return self["output_roller_fill"] * 2 * room

    @property
    def hub_radius(self) -> np.ndarray:
        """Of a hub roller; before it is drawn, the smallest that fits its bolt."""
        if "hub_roller_diameter_mm" in self.values:
            return self["hub_roller_diameter_mm"] / 2
        return np.maximum(self.around.least["hub_roller_diameter_mm"], self["hub_axle_diameter_mm"] + 2 * WALL) / 2

    @property
    def centre_circle_radius(self) -> np.ndarray:
        """Of the hub rollers' centres about the shaft."""
        return self.pitch_radius - (self.output_radius + self.hub_radius) * np.sin(self.contact_angle)

    @property
    def hub_pitch(self) -> np.ndarray:
        """Along the centre circle, from one hub roller to the next."""
        return 2 * np.pi * self.centre_circle_radius / self["hub_roller_count"]

    @property
    def half_hub_length_for_coverage(self) -> np.ndarray:
        """Place of the contact along a hub roller half a hub pitch from an output roller's middle.

        |z_h| = (r_o + r_h) sin(beta) cos(gamma)/sin(gamma)^2 eps to first order in eps, here pi/M. A shorter hub roller
        leaves an output roller before the next one reaches it.
        """
        sine, cosine = np.sin(self.skew_angle), np.cos(self.skew_angle)
        reach = (self.output_radius + self.hub_radius) * np.sin(self.contact_angle) * cosine / sine**2
        return reach * np.pi / self["hub_roller_count"]

    @property
    def tilt(self) -> np.ndarray:
        """Axial part of a hub roller's axis."""
        return np.sin(self.skew_angle) * np.sin(self.contact_angle)

    @property
    def upright(self) -> np.ndarray:
        """Axial reach of a hub roller's flat end over its radius."""
        return np.sqrt(1 - self.tilt**2)

    @property
    def boss_reach(self) -> np.ndarray:
        """Axial reach of the boss that holds a hub roller's bolt, without the half roller before it."""
        bolt = self["hub_axle_diameter_mm"]
        return bolt * self.tilt + (bolt / 2 + self.around.wall) * self.upright

    def standoff(self, half_length: np.ndarray | float) -> np.ndarray:
        """From the mid-plane to the nearest point of a hub roller or of its boss."""
        centre = (self.output_radius + self.hub_radius) * np.cos(self.contact_angle)
        return centre - half_length * self.tilt - np.maximum(self.hub_radius * self.upright, self.boss_reach)

    @property
    def least_half_carrier(self) -> np.ndarray | float:
        if "carrier_thickness_mm" in self.values:
            return self["carrier_thickness_mm"] / 2
        return np.maximum(self.around.least["carrier_thickness_mm"], self["axle_diameter_mm"] + WALL) / 2


def output_roller_diameter(d: Drawn) -> Bounds:
    """Thick enough for its axle and tyre; small enough for a neck of the carrier between neighbours."""
    cored = d["bore"] != "plain"
    least = d["axle_diameter_mm"] + 2 * WALL + np.where(cored, 2 * d.least("tyre_thickness_mm"), 0.0)
    gap = 2 * np.sin(np.pi / d["output_roller_count"]) * (1 - d.least("output_roller_fill"))
    return least, d["wheel_diameter_mm"] / 2 - (NECK + 2 * d.around.side_washer) / gap


def output_roller_fill(d: Drawn) -> Bounds:
    """Neighbours' inner ends stand 2 (R_p - r_o) sin(pi/N) (1 - fill) apart: two washers and a neck."""
    room = 2 * (d.pitch_radius - d.output_radius) * np.sin(np.pi / d["output_roller_count"])
    return -np.inf, 1 - (NECK + 2 * d.around.side_washer) / room


def hub_roller_count(d: Drawn) -> Bounds:
    """More than there are output rollers, or some phases leave one untouched; no more than the centre circle holds."""
    beside = np.sin(d.skew_angle) / (2 * d.hub_radius + GAP)
    behind = np.cos(d.skew_angle) / (d.least("hub_roller_length_mm") + GAP)
    return d["output_roller_count"] + 1, 2 * np.pi * d.centre_circle_radius * np.maximum(beside, behind)


def hub_roller_diameter(d: Drawn) -> Bounds:
    """Thick enough for its bolt; beside its neighbours, unless they stand one behind the other; clear of the carrier."""
    sine, cosine = np.sin(d.contact_angle), np.cos(d.contact_angle)
    length = d.least("hub_roller_length_mm")
    inward = length / 2 * d.tilt + d.least_half_carrier
    held = (inward + d.boss_reach) / cosine - d.output_radius
    least = np.maximum(d["hub_axle_diameter_mm"] / 2 + WALL, held)
    across = 2 * np.pi * np.sin(d.skew_angle) / d["hub_roller_count"]
    beside = (across * (d.pitch_radius - d.output_radius * sine) - GAP) / (2 + across * sine)
    behind = d.hub_pitch * np.cos(d.skew_angle) >= length + GAP
    clear = (d.output_radius * cosine - inward) / (d.upright - cosine)
    return 2 * least, 2 * np.minimum(np.where(behind, np.inf, beside), clear)


def hub_roller_length(d: Drawn) -> Bounds:
    """Long enough for a pass; short enough for neighbours, whose inner ends crowd, and to clear the carrier."""
    slope = np.sin(d.skew_angle) * np.cos(d.contact_angle)  # radial part of the axis
    beside = 2 * d.centre_circle_radius * (1 - 2 * d.hub_radius / (d.hub_pitch * np.sin(d.skew_angle))) / slope
    behind = d.hub_pitch * np.cos(d.skew_angle) - GAP
    clear = 2 * (d.standoff(0.0) - d.least_half_carrier) / d.tilt
    return 2 * d.half_hub_length_for_coverage, np.minimum(np.maximum(beside, behind), clear)


def tyre_thickness(d: Drawn) -> Bounds:
    """What the axle and the wall of the core leave."""
    return -np.inf, (d["output_roller_diameter_mm"] - d["axle_diameter_mm"]) / 2 - WALL


def carrier_thickness(d: Drawn) -> Bounds:
    """Holds the axles; clear of the hub rollers."""
    return d["axle_diameter_mm"] + WALL, 2 * d.standoff(d["hub_roller_length_mm"] / 2)


def pinion_teeth(d: Drawn) -> Bounds:
    """The root circle stands clear of the gearbox shaft."""
    shaft = _of_motor(d, d.around.motor_shaft)
    return (shaft + WALL) / d["gear_module_mm"] + 2 * DEDENDUM, np.inf


def gear_teeth(d: Drawn) -> Bounds:
    """Clear of the floor; round the shaft; far enough out for the motor to stand beside the shaft."""
    module = d["gear_module_mm"]
    round_shaft = (d.around.shaft_diameter + 2 * WALL) / module + 2 * DEDENDUM
    beside_shaft = (_of_motor(d, d.around.motor_diameter) + d.around.shaft_diameter) / module - d["pinion_teeth"]
    return np.maximum(round_shaft, beside_shaft), (d["wheel_diameter_mm"] - 2 * FLOOR_GAP) / module - 2


def _of_motor(d: Drawn, figures: Mapping[str, float]) -> np.ndarray:
    return np.array([figures[name] for name in d["motor"]])


#: in the order of drawing; whatever is not here is drawn before
ROOMS: dict[str, Callable[[Drawn], Bounds]] = {
    "output_roller_diameter_mm": output_roller_diameter,
    "output_roller_fill": output_roller_fill,
    "hub_roller_count": hub_roller_count,
    "hub_roller_diameter_mm": hub_roller_diameter,
    "hub_roller_length_mm": hub_roller_length,
    "tyre_thickness_mm": tyre_thickness,
    "carrier_thickness_mm": carrier_thickness,
    "pinion_teeth": pinion_teeth,
    "gear_teeth": gear_teeth,
}
