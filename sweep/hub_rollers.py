"""Hub rollers on their hub: how long one must be for a pass, and how long it may be between its neighbours and the carrier.

Derived here from the geometry of the wheel. Lengths in mm, angles in rad.
"""

from __future__ import annotations

from dataclasses import dataclass, fields
from functools import cached_property
from typing import Any

import numpy as np

from objectives.layout import GEAR_SIDE_GAP
from objectives.units import MM

Pair = tuple[np.ndarray, np.ndarray]


@dataclass(frozen=True)
class HubRollers:
    """Hub rollers and what they work with; arrays that broadcast."""

    wheel_radius: np.ndarray
    pitch_radius: np.ndarray
    output_radius: np.ndarray
    output_length: np.ndarray
    crown: np.ndarray
    contact_angle: np.ndarray
    skew_angle: np.ndarray
    bolt: np.ndarray  # diameter
    washer: np.ndarray  # thickness
    boss_radius: np.ndarray  # of what holds the bolt's ends
    between: float  # what must be left between neighbours
    clearance: float  # to the carrier
    rim: float  # between hub and floor
    count: np.ndarray
    radius: np.ndarray

    def coarse(self) -> HubRollers:
        """The same in single precision, for a look at many counts, radii or angles: it takes half the time."""
        single: dict[str, Any] = {item.name: np.asarray(getattr(self, item.name), dtype=np.float32) for item in fields(self)}
        return HubRollers(**single)

    @cached_property
    def centre_distance(self) -> np.ndarray:
        return self.output_radius + self.radius

    @cached_property
    def circle(self) -> np.ndarray:
        """Radius of the circle of their centres."""
        return self.pitch_radius - self.centre_distance * np.sin(self.contact_angle)

    @cached_property
    def along(self) -> np.ndarray:
        """Circumferential part of a hub roller's axis."""
        return np.cos(self.skew_angle)

    @cached_property
    def radial(self) -> np.ndarray:
        """Radial part of a hub roller's axis."""
        return np.sin(self.skew_angle) * np.cos(self.contact_angle)

    @cached_property
    def tilt(self) -> np.ndarray:
        """Axial part of a hub roller's axis."""
        return np.sin(self.skew_angle) * np.sin(self.contact_angle)

    @cached_property
    def upright(self) -> np.ndarray:
        """Axial reach of a flat end over its radius."""
        return np.sqrt(1 - self.tilt**2)

    @property
    def best_radius(self) -> np.ndarray:
        """Radius, not below the present one, at which roller and boss reach equally far inwards: the most standoff."""
        return np.maximum(self.radius, self.boss_radius + (self.bolt + self.washer) * self.tilt / self.upright)

    def places(self, eps: np.ndarray) -> Pair:
        """Where the contact lies along the output roller and along the hub roller, ``eps`` from the output roller's middle.

        With the hub roller's axis a and centre d (from the output roller's middle) turned by eps about the shaft, the
        common perpendicular of the two axes gives z_h = -(a_r d_r + a_y d_y)/(a_r^2 + a_y^2) and z_o = d_t + z_h a_t. A
        crown draws z_o towards the middle, to second order by 1 + kappa (r_o + r_h)/(R_w (a_r^2 + a_y^2)), and z_h with it;
        the tilted surface is touched 1 + kappa r_o/R_w further out again.
        """
        turned_t, turned_r, inward, ahead = self._turned(eps)
        return self._place(turned_t[0] + turned_t[1], turned_r[0] - turned_r[1], inward, ahead)

    def _turned(self, eps: np.ndarray) -> tuple[Pair, Pair, np.ndarray, np.ndarray]:
        """What a turn by ``eps`` makes of a hub roller's axis, even and odd part along t and along r, and of its centre."""
        sine, cosine = np.sin(eps), np.cos(eps)
        inward = self.circle * cosine - self.pitch_radius
        turned_t, turned_r = (self.along * cosine, self.radial * sine), (self.radial * cosine, self.along * sine)
        return turned_t, turned_r, inward, self.circle * sine

    def _place(self, axis_t: np.ndarray, axis_r: np.ndarray, inward: np.ndarray, ahead: np.ndarray) -> Pair:
        across = axis_r**2 + self.tilt**2
        on_hub = -(axis_r * inward + self._axial) / across
        straight = ahead + on_hub * axis_t
        middle = straight / (1 + self._drawn_in / across)
        return middle * self._further_out, on_hub + axis_t * (middle - straight)

    @cached_property
    def _axial(self) -> np.ndarray:
        """Product of the axial parts of a hub roller's axis and of its centre's place, a_y d_y."""
        return self.tilt * self.centre_distance * np.cos(self.contact_angle)

    @cached_property
    def _drawn_in(self) -> np.ndarray:
        """By what share a crown draws the contact towards the middle of an output roller, over a_r^2 + a_y^2."""
        return self.crown * self.centre_distance / self.wheel_radius

    @cached_property
    def _further_out(self) -> np.ndarray:
        """How much further out the tilted surface of a crowned roller is touched."""
        return 1 + self.crown * (self.centre_distance - self.radius) / self.wheel_radius

    @cached_property
    def ends_of_pass(self) -> tuple[Pair, Pair]:
        """Where the contact lies half a hub pitch to either side of the middle, where the next hub roller takes over."""
        (t, odd_t), (r, odd_r), inward, ahead = self._turned(np.pi / self.count)
        return self._place(t + odd_t, r - odd_r, inward, ahead), self._place(t - odd_t, r + odd_r, inward, -ahead)

    @property
    def length_for_pass(self) -> np.ndarray:
        """Length that keeps the contact on a hub roller until the next one takes over."""
        (_, ahead), (_, behind) = self.ends_of_pass
        return 2 * np.maximum(np.abs(ahead), np.abs(behind))

    @property
    def covers(self) -> np.ndarray:
        """Whether an output roller is as long as the contact travels on it within a hub pitch."""
        (ahead, _), (behind, _) = self.ends_of_pass
        return np.abs(ahead - behind) <= self.output_length

    def length_clear_of(self, half_carrier: np.ndarray | float) -> np.ndarray:
        """Length at which a roller, or the boss of its bolt, is as near to a carrier as it may be."""
        centre = self.centre_distance * np.cos(self.contact_angle) - half_carrier - self.clearance
        roller = centre - self.radius * self.upright
        boss = centre - (self.bolt + self.washer) * self.tilt - self.boss_radius * self.upright
        return 2 * np.minimum(roller, boss) / self.tilt

    def half_carrier_clear_of(self, length: np.ndarray) -> np.ndarray:
        """Half the thickness of a carrier that is as near to the hub rollers as it may be."""
        return (self.length_clear_of(0.0) - length) * self.tilt / 2

    @property
    def length_inside_rim(self) -> np.ndarray:
        """Length at which the outer boss is as near to the floor as it may be.

        The bolt's outer end, e from the roller's centre, lies hypot(R + e a_r, e a_t) from the shaft.
        """
        reach = self.wheel_radius - self.rim - self.boss_radius
        root = self._lean**2 - self._across * (self.circle**2 - reach**2)
        end = (np.sqrt(root) - self._lean) / self._across
        return 2 * (end - self.washer - 2 * self.bolt)  # a head is as high as its bolt is thick

    def bolt_way(self, length: np.ndarray, head: np.ndarray) -> np.ndarray:
        """Radius outside which a bolt's head, of the radius ``head``, comes to its boss from beyond the gear's inner face."""
        boss = (length / 2 + self.washer + 2 * self.bolt) * self.tilt + self.boss_radius * self.upright
        # a wall beyond the corners of the pockets; a boss is a wall about its bolt
        corner = (length / 2 + self.washer + self.clearance / 2) * np.sin(self.skew_angle)
        corner = corner + (self.radius + self.clearance) * self.along + self.boss_radius - self.bolt / 2
        ring = corner * np.sin(self.contact_angle) + self.boss_radius * np.cos(self.contact_angle)
        face = np.maximum(np.maximum(boss, ring), length / 2 * self.tilt + self.radius * self.upright) + GEAR_SIDE_GAP / MM
        along = np.maximum((face - head * self.upright) / self.tilt, length / 2 + self.washer + self.bolt)
        return np.hypot(self.circle + along * self.radial, along * self.along) - head

    @property
    def length_clear_of_neighbours(self) -> np.ndarray:
        """Length at which a roller touches its neighbour, or its neighbour's bolt."""
        rollers = self._length_apart(2 * self.radius)
        bolts = self._length_apart(self.radius + self.bolt / 2) - 2 * self.bolt
        return np.minimum(rollers, bolts)

    def _length_apart(self, apart: np.ndarray) -> np.ndarray:
        """Length of rollers whose neighbouring axes are ``apart`` and what must be left, where they overlap.

        Axes of neighbours, turned by 2 pi/M about the shaft, are s = (2 pi/M) sqrt(rho^2 - R^2 cos(gamma)^2) apart at a
        place z along them, rho^2 = (R + z a_r)^2 + (z a_t)^2 (to first order in 2 pi/M; the moment R cos(gamma) of the
        axis about the shaft is the same everywhere). They lie R 2 pi/M cos(gamma) one behind the other, and do not meet
        where they are shorter.
        """
        spare = (self.circle * np.sin(self.skew_angle)) ** 2 - ((apart + self.between) / self._turn) ** 2
        root = self._lean**2 - self._across * spare
        place = (np.sqrt(np.abs(root)) - self._lean) / self._across
        # a place counts up to half of what must be left; where there is none, any length will do
        length = np.maximum(self._behind - 2 * place, self._behind - self.between)
        np.copyto(length, np.inf, where=root < 0)
        return length

    @cached_property
    def _turn(self) -> np.ndarray:
        """Angle between neighbours."""
        return 2 * np.pi / self.count

    @cached_property
    def _behind(self) -> np.ndarray:
        """How far neighbours lie one behind the other."""
        return self.circle * self._turn * self.along

    @cached_property
    def _lean(self) -> np.ndarray:
        """R a_r: how fast half the square of the distance from the shaft grows along an axis, at its middle."""
        return self.circle * self.radial

    @cached_property
    def _across(self) -> np.ndarray:
        """Square of the part of an axis that is square to the shaft."""
        return self.upright**2
