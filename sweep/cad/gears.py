"""Involute spur gears as a rack cuts them, with their root fillets and undercut. Derived here from the rack of ISO 53."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np

#: radius of the rack's tip over the module: ISO 53 rack A
TIP_RADIUS = 0.38
#: points on a flank
POINTS = 18


@dataclass(frozen=True)
class Teeth:
    """A spur gear. Lengths in mm, the pressure angle in degrees."""

    module: float
    count: int
    addendum: float
    dedendum: float
    pressure_angle: float
    thinned: float  # taken off a tooth's thickness at the pitch circle, for backlash

    @property
    def pitch_radius(self) -> float:
        return self.module * self.count / 2

    @property
    def root_radius(self) -> float:
        return self.pitch_radius - self.dedendum

    @property
    def tip_radius(self) -> float:
        return self.pitch_radius + self.addendum

    @property
    def base_radius(self) -> float:
        return self.pitch_radius * math.cos(math.radians(self.pressure_angle))

    @property
    def thickness(self) -> float:
        """Of a tooth along the pitch circle."""
        return math.pi * self.module / 2 - self.thinned


def involute_half_angle(teeth: Teeth, radius: np.ndarray) -> np.ndarray:
    """Half the angle that a tooth takes at a radius by its involute [rad], infinite inside the base circle.

    s/(2 r) + inv(alpha) - inv(acos(r_b/rho)), inv(a) = tan(a) - a, from radii [mm], shape (n,). Involute geometry, any
    textbook of machine elements.
    """
    alpha = math.radians(teeth.pressure_angle)
    at = np.arccos(np.minimum(teeth.base_radius / radius, 1.0))
    half = teeth.thickness / (2 * teeth.pitch_radius) + math.tan(alpha) - alpha - (np.tan(at) - at)
    return np.where(radius < teeth.base_radius, np.inf, half)


def fillet_half_angle(teeth: Teeth, radius: np.ndarray) -> np.ndarray:
    """Half the angle that a tooth takes at a radius by what the rounded tip of the rack leaves [rad], else infinite.

    The rack's pitch line rolls on the pitch circle; the common normal of tooth and rack passes through the pitch point, so
    the tip's arc about C touches the tooth at C + rho (C - P)/|C - P|. From radii [mm], shape (n,).
    """
    alpha, r = math.radians(teeth.pressure_angle), teeth.pitch_radius
    rho = min(TIP_RADIUS * teeth.module, _widest_tip(teeth))
    depth = teeth.dedendum - rho
    across = teeth.thickness / 2 + depth * math.tan(alpha) + rho / math.cos(alpha)
    # from the root, where C is under P, to where the normal stands on the flank
    rolled = np.linspace(-across, -across - depth / math.tan(alpha), 400) / r
    x, y = across + r * rolled, np.full_like(rolled, r - depth)
    away = np.hypot(x, y - r)
    x, y = x + rho * x / away, y + rho * (y - r) / away
    # the fixed point in the gear, which has turned with the rack
    angle = np.arctan2(x, y) - rolled
    reach = np.hypot(x, y)
    order = np.argsort(reach)
    return np.interp(radius, reach[order], angle[order], right=np.inf)


def half_angle(teeth: Teeth, radius: np.ndarray) -> np.ndarray:
    """Half the angle of a tooth at a radius [rad]: the fillet up to the form circle and the involute beyond.

    With fewer teeth than 2 h/(m sin^2 alpha), h the depth of the rack's straight flank, the fillet bites into the involute:
    there the lesser of both is left.
    """
    involute, fillet = involute_half_angle(teeth, radius), fillet_half_angle(teeth, radius)
    sine = math.sin(math.radians(teeth.pressure_angle))
    straight = teeth.dedendum - min(TIP_RADIUS * teeth.module, _widest_tip(teeth)) * (1 - sine)
    if teeth.pitch_radius * sine < straight / sine:
        return np.minimum(involute, fillet)
    return np.where(np.isfinite(fillet), fillet, involute)


def _widest_tip(teeth: Teeth) -> float:
    """The tip radius at which the rack's tip becomes a full arc."""
    alpha = math.radians(teeth.pressure_angle)
    room = math.pi * teeth.module / 2 - teeth.thickness / 2 - teeth.dedendum * math.tan(alpha)
    return room / (1 / math.cos(alpha) - math.tan(alpha))


def outline(teeth: Teeth, bore: float = 0.0) -> Any:
    """The face of a gear in the plane z = 0, a tooth on +x, with a round hole of the radius ``bore``."""
    from build123d import Edge, Face, Wire

    # dense at the root, where the curve bends most
    share = np.linspace(0, 1, POINTS) ** 1.5
    radius = teeth.root_radius + share * (teeth.tip_radius - teeth.root_radius)
    half = half_angle(teeth, radius)
    pitch = 2 * math.pi / teeth.count

    def at(rho: float, angle: float) -> Any:
        return rho * math.cos(angle), rho * math.sin(angle)

    edges = []
    for k in range(teeth.count):
        middle = k * pitch
        rising = [at(rho, middle - turn) for rho, turn in zip(radius, half, strict=True)]
        falling = [at(rho, middle + turn) for rho, turn in zip(radius[::-1], half[::-1], strict=True)]
        following = at(radius[0], middle + pitch - half[0])
        edges += [
            Edge.make_spline(rising),
            Edge.make_three_point_arc(rising[-1], at(radius[-1], middle), falling[0]),
            Edge.make_spline(falling),
            Edge.make_three_point_arc(falling[-1], at(radius[0], middle + pitch / 2), following),
        ]
    return Face(Wire(edges), [Wire([Edge.make_circle(bore)])] if bore else None)


def spur_gear(teeth: Teeth, width: float, bore: float = 0.0) -> Any:
    """A gear about the z axis, from z = 0 to its width, a tooth on +x, with a round hole of the radius ``bore``."""
    from build123d import Solid, Vector

    return Solid.extrude(outline(teeth, bore), Vector(0, 0, width))
