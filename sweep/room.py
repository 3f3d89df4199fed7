"""The geometric room that a variable has once others are drawn: what most draws would collide without.

Each function gives the least and the most of one variable from those drawn before it, in the variable's own unit. The
rooms are necessary conditions with generous walls and gaps: they shorten the search and decide nothing. What a wheel must
keep is decided by the constraints. Derived here from the geometry of the wheel.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace

import numpy as np

WALL = 0.8  # mm, the thinnest wall round an axle or a bolt: two lines of a 0.4 mm nozzle
NECK = 0.8  # mm, of the carrier between two output rollers
FLOOR_GAP = 1.0  # mm, under a gear
DEDENDUM = 1.25  # times the module, ISO 53 rack A

COUNTS = 64  # most hub rollers looked at
STEPS = 33  # radii or angles looked at between the ends of a range

Values = Mapping[str, np.ndarray]
Bounds = tuple[np.ndarray | float, np.ndarray | float]


@dataclass(frozen=True)
class Surroundings:
    """What the rooms depend on besides the variables. Lengths in mm."""

    wall: float  # printed, round a bolt
    clearance: float  # between moving parts
    side_washer: float
    shaft_diameter: float
    motor_diameter: Mapping[str, float]
    motor_shaft: Mapping[str, float]  # 0 where it is not known
    least: Mapping[str, float]  # lowest value of each variable of numbers in the study
    most: Mapping[str, float]  # and the highest


@dataclass(frozen=True)
class Drawn:
    """The variables drawn so far, and what follows from them. Lengths in mm."""

    values: Values
    around: Surroundings

    def __getitem__(self, name: str) -> np.ndarray:
        return self.values[name]

    def least(self, name: str) -> np.ndarray | float:
        """The value where it is drawn, else the lowest that the study allows."""
        return self.values[name] if name in self.values else self.around.least[name]

    @property
    def output_radius(self) -> np.ndarray:
        return self["output_roller_diameter_mm"] / 2

    @property
    def pitch_radius(self) -> np.ndarray:
        return self["wheel_diameter_mm"] / 2 - self.output_radius

    @property
    def least_hub_radius(self) -> np.ndarray:
        """The smallest hub roller that the study and its bolt allow."""
        return np.maximum(self.least("hub_roller_diameter_mm") / 2, self["hub_axle_diameter_mm"] / 2 + WALL)

    @property
    def least_half_carrier(self) -> np.ndarray | float:
        if "carrier_thickness_mm" in self.values:
            return self["carrier_thickness_mm"] / 2
        return np.maximum(self.around.least["carrier_thickness_mm"], self["axle_diameter_mm"] + WALL) / 2


@dataclass(frozen=True)
class HubRollers:
    """Hub rollers on their hub, arrays that broadcast. Lengths in mm, angles in rad."""

    output_radius: np.ndarray
    pitch_radius: np.ndarray
    contact_angle: np.ndarray
    skew_angle: np.ndarray
    bolt: np.ndarray
    boss_radius: np.ndarray
    clearance: float
    count: np.ndarray
    radius: np.ndarray

    @classmethod
    def of(cls, d: Drawn, count: np.ndarray, radius: np.ndarray, contact_angle: np.ndarray | None = None) -> HubRollers:
        return cls(
            output_radius=d.output_radius,
            pitch_radius=d.pitch_radius,
            contact_angle=np.radians(d["contact_angle_deg"]) if contact_angle is None else contact_angle,
            skew_angle=np.radians(d["skew_angle_deg"]),
            bolt=d["hub_axle_diameter_mm"],
            boss_radius=d["hub_axle_diameter_mm"] / 2 + d.around.wall,
            clearance=d.around.clearance,
            count=count,
            radius=radius,
        )

    @property
    def best_radius(self) -> np.ndarray:
        """Radius, not below the present one, at which roller and boss reach equally far inwards: the most standoff."""
        return np.maximum(self.radius, self.boss_radius + self.bolt * self.tilt / self.upright)

    @property
    def centre_distance(self) -> np.ndarray:
        return self.output_radius + self.radius

    @property
    def circle(self) -> np.ndarray:
        """Radius of the circle of their centres."""
        return self.pitch_radius - self.centre_distance * np.sin(self.contact_angle)

    @property
    def tilt(self) -> np.ndarray:
        """Axial part of a hub roller's axis."""
        return np.sin(self.skew_angle) * np.sin(self.contact_angle)

    @property
    def upright(self) -> np.ndarray:
        """Axial reach of a flat end over its radius."""
        return np.sqrt(1 - self.tilt**2)

    @property
    def length_for_coverage(self) -> np.ndarray:
        """Length that keeps the contact on a hub roller until the next one takes over, half a hub pitch from the middle.

        L_h = 2 (r_o + r_h) sin(beta) cos(gamma)/sin(gamma)^2 pi/M, to first order in the angle.
        """
        reach = np.sin(self.contact_angle) * np.cos(self.skew_angle) / np.sin(self.skew_angle) ** 2
        return 2 * self.centre_distance * reach * np.pi / self.count

    def length_clear_of(self, half_carrier: np.ndarray | float) -> np.ndarray:
        """Length at which a roller, or the boss of its bolt, is as near to a carrier as it may be."""
        centre = self.centre_distance * np.cos(self.contact_angle) - half_carrier - self.clearance
        roller = centre - self.radius * self.upright
        boss = centre - self.bolt * self.tilt - self.boss_radius * self.upright
        return 2 * np.minimum(roller, boss) / self.tilt

    def half_carrier_clear_of(self, length: np.ndarray) -> np.ndarray:
        """Half the thickness of a carrier that is as near to the hub rollers as it may be."""
        return (self.length_clear_of(0.0) - length) * self.tilt / 2

    @property
    def length_clear_of_neighbours(self) -> np.ndarray:
        """Length at which a roller touches its neighbour, or its neighbour's bolt."""
        rollers = self._length_clear(2 * self.radius)
        bolts = self._length_clear(self.radius + self.bolt / 2) - 2 * self.bolt
        return np.minimum(rollers, bolts)

    def _length_clear(self, apart: np.ndarray) -> np.ndarray:
        """Length of rollers whose neighbouring axes are ``apart`` and a clearance from each other where they overlap.

        Axes of neighbours, turned by 2 pi/M about the shaft, are s = (2 pi/M) sqrt(rho^2 - R^2 cos(gamma)^2) apart at a
        place z along them, rho^2 = (R + z a_r)^2 + (z a_t)^2 (to first order in 2 pi/M; the moment R cos(gamma) of the
        axis about the shaft is the same everywhere). They lie R 2 pi/M cos(gamma) one behind the other, and do not meet
        where they are shorter.
        """
        turn = 2 * np.pi / self.count
        radial = np.sin(self.skew_angle) * np.cos(self.contact_angle)
        across = 1 - self.tilt**2
        spare = (self.circle * np.sin(self.skew_angle)) ** 2 - ((apart + self.clearance) / turn) ** 2
        root = (self.circle * radial) ** 2 - across * spare
        place = (np.sqrt(np.maximum(root, 0)) - self.circle * radial) / across
        place = np.where(root < 0, -np.inf, np.minimum(place, self.clearance / 2))
        return self.circle * turn * np.cos(self.skew_angle) - 2 * place


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


def contact_angle(d: Drawn) -> Bounds:
    """Between the outermost angles at which some hub rollers find room, and a step beyond."""
    low, high = d.around.least["contact_angle_deg"], d.around.most["contact_angle_deg"]
    angles, step = np.linspace(low, high, STEPS, retstep=True)
    angles = angles[:, None, None]
    least = d["output_roller_count"] + 1
    counts = least + np.linspace(0, 1, 4)[:, None] * np.maximum(d.around.most["hub_roller_count"] - least, 0)
    fits = np.any(_some_radius_fits(HubRollers.of(d, counts, d.least_hub_radius, np.radians(angles)), d), axis=1)
    return _ends(fits, angles[:, 0] + np.zeros(fits.shape), step)


def hub_roller_count(d: Drawn) -> Bounds:
    """More than there are output rollers, or some phases leave one untouched; as many as find room."""
    least = d["output_roller_count"] + 1
    counts = np.arange(least.min(), COUNTS + 1)[:, None] + np.zeros(least.shape)
    fits = _some_radius_fits(HubRollers.of(d, counts, d.least_hub_radius), d)
    low, high = _ends(fits & (counts >= least), counts, 0)
    return np.maximum(low, least), high


def hub_roller_diameter(d: Drawn) -> Bounds:
    """Thick enough for its bolt; thin enough to find room."""
    low, high = d.least_hub_radius, d.around.most["hub_roller_diameter_mm"] / 2
    step = np.maximum(high - low, 0) / (STEPS - 1)
    radii = low + np.arange(STEPS)[:, None] * step
    least, most = _ends(_length_room(HubRollers.of(d, d["hub_roller_count"], radii), d), radii, 0)
    return 2 * np.maximum(least, low), 2 * most


def hub_roller_length(d: Drawn) -> Bounds:
    """Long enough to pass on the contact; short enough for the neighbours and the carrier."""
    rollers = HubRollers.of(d, d["hub_roller_count"], d["hub_roller_diameter_mm"] / 2)
    return rollers.length_for_coverage, np.minimum(
        rollers.length_clear_of_neighbours, rollers.length_clear_of(d.least_half_carrier)
    )


def _length_room(rollers: HubRollers, d: Drawn) -> np.ndarray:
    """Whether some length of a hub roller is long enough and finds room."""
    least = np.maximum(rollers.length_for_coverage, d.least("hub_roller_length_mm"))
    return (rollers.length_clear_of_neighbours >= least) & (rollers.length_clear_of(d.least_half_carrier) >= least)


def _some_radius_fits(rollers: HubRollers, d: Drawn) -> np.ndarray:
    """Whether the thinnest roller fits, or the one with the most standoff. One between might: a look, not a proof."""
    return _length_room(rollers, d) | _length_room(replace(rollers, radius=rollers.best_radius), d)


def _ends(fits: np.ndarray, values: np.ndarray, step: np.ndarray | float) -> Bounds:
    """A step beyond the lowest and the highest value that fits, along the first axis; no bounds where none does."""
    none = ~fits.any(axis=0)
    low = np.where(fits, values, np.inf).min(axis=0)
    high = np.where(fits, values, -np.inf).max(axis=0)
    return np.where(none, -np.inf, low - step), np.where(none, np.inf, high + step)


def tyre_thickness(d: Drawn) -> Bounds:
    """What the axle and the wall of the core leave."""
    return -np.inf, (d["output_roller_diameter_mm"] - d["axle_diameter_mm"]) / 2 - WALL


def carrier_thickness(d: Drawn) -> Bounds:
    """Holds the axles; clear of the hub rollers."""
    rollers = HubRollers.of(d, d["hub_roller_count"], d["hub_roller_diameter_mm"] / 2)
    return d["axle_diameter_mm"] + WALL, 2 * rollers.half_carrier_clear_of(d["hub_roller_length_mm"])


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
    "contact_angle_deg": contact_angle,
    "hub_roller_count": hub_roller_count,
    "hub_roller_diameter_mm": hub_roller_diameter,
    "hub_roller_length_mm": hub_roller_length,
    "tyre_thickness_mm": tyre_thickness,
    "carrier_thickness_mm": carrier_thickness,
    "pinion_teeth": pinion_teeth,
    "gear_teeth": gear_teeth,
}
