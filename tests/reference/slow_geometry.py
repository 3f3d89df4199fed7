"""Where a hub roller meets an output roller, by brute force on the distance between their axes."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy.optimize import brentq, minimize, minimize_scalar

from tests.reference.slow_wheel import SIDES, SlowWheel

R, T, Y = np.eye(3)


@dataclass(frozen=True)
class PassContact:
    """One hub roller on one output roller. Vectors are components (r, t, y) of the OUTPUT roller's own basis.

    gap        least distance between the axes less both radii [m]; negative where they overlap
    z_o, z_h   place along the output roller (towards +t) and along the hub roller (towards +a) [m]
    normal     unit, out of the output roller into the hub roller
    a          unit, the hub roller's axis, cos(gamma) > 0 along t: drive force acts along it; lies in the contact plane
    c          unit, s (t x normal) normalised: in the contact plane, perpendicular to the output roller's axis t; at the
               middle it is cos(beta) r + s sin(beta) y. Spin of the output roller moves its surface along c.
    across     unit, in the contact plane perpendicular to a, with across . c > 0: the hub roller rolls along it
    point      contact point from the shaft's axis, midway in the gap [m]
    lever      (y x point) . a [m]: velocity of the hub's contact point along a per unit of hub speed
    lever_across  the same along ``across`` [m]
    ratio      V/(Omega R_c) with no slip along a: lever/(R_c c . a)
    touches    |z_o| <= L_o/2 and |z_h| <= L_h/2
    """

    side: int
    eps: float
    gap: float
    z_o: float
    z_h: float
    normal: np.ndarray
    a: np.ndarray
    c: np.ndarray
    across: np.ndarray
    point: np.ndarray
    lever: float
    lever_across: float
    ratio: float
    touches: bool


def roller_outline(wheel: SlowWheel, z: float | np.ndarray) -> float | np.ndarray:
    """r(z) = (1 - kappa) r_o + kappa (sqrt(R_w^2 - z^2) - R_p) [m], at ``z`` along the axis from the middle [m].

    >>> from tests.reference.slow_wheel import typical_wheel
    >>> round(float(roller_outline(typical_wheel(crown=1.0), 0.0)), 9)
    0.012
    """
    rim = np.sqrt(wheel.wheel_radius**2 - np.square(z)) - wheel.pitch_radius
    return (1 - wheel.crown) * wheel.output_roller_radius + wheel.crown * rim


def turn(vector: np.ndarray, eps: float) -> np.ndarray:
    """Rotate by ``eps`` about y, r towards t.

    >>> bool(np.allclose(turn(R, math.pi / 2), T))
    True
    """
    cos, sin = math.cos(eps), math.sin(eps)
    return np.array([[cos, -sin, 0.0], [sin, cos, 0.0], [0.0, 0.0, 1.0]]) @ vector


def hub_roller_axis(
    wheel: SlowWheel, eps: float, side: int, closure: float, along_normal: bool
) -> tuple[np.ndarray, np.ndarray]:
    """Centre and direction of a hub roller's axis; ``closure`` [m] moves it towards the output roller, along -s y or -n."""
    beta, gamma = wheel.contact_angle, wheel.skew_angle
    normal = -math.sin(beta) * R + side * math.cos(beta) * Y
    climb = math.cos(beta) * R + side * math.sin(beta) * Y
    centre = wheel.pitch_radius * R + (wheel.output_roller_radius + wheel.hub_roller_radius) * normal
    centre = centre - closure * (normal if along_normal else side * Y)
    return turn(centre, eps), turn(math.cos(gamma) * T + math.sin(gamma) * climb, eps)


def pass_contact(wheel: SlowWheel, eps: float, side: int = 1, closure: float = 0.0, along_normal: bool = False) -> PassContact:
    """Contact of a hub roller at angle ``eps`` [rad] ahead (towards +t) of an output roller's middle.

    The place z minimises (distance from the axis point z to the hub roller's axis) - r(z), which is convex in z.
    """
    centre, a = hub_roller_axis(wheel, eps, side, closure, along_normal)

    def to_axis(z: float) -> np.ndarray:
        from_point = centre - (wheel.pitch_radius * R + z * T)
        return from_point - (from_point @ a) * a

    reach = 0.95 * wheel.wheel_radius
    found = minimize_scalar(
        lambda z: np.linalg.norm(to_axis(z)) - roller_outline(wheel, z),
        bounds=(-reach, reach),
        method="bounded",
        options={"xatol": 1e-10},
    )
    z_o = float(found.x)
    gap = float(found.fun) - wheel.hub_roller_radius
    normal = to_axis(z_o) / np.linalg.norm(to_axis(z_o))
    foot = wheel.pitch_radius * R + z_o * T + to_axis(z_o)
    c = side * np.cross(T, normal)
    c /= np.linalg.norm(c)
    across = np.cross(normal, a)
    across *= math.copysign(1.0, across @ c)
    z_h = float((foot - centre) @ a)
    point = wheel.pitch_radius * R + z_o * T + (roller_outline(wheel, z_o) + gap / 2) * normal
    velocity = np.cross(Y, point)
    lever = float(velocity @ a)
    return PassContact(
        side=side,
        eps=eps,
        gap=gap,
        z_o=z_o,
        z_h=z_h,
        normal=normal,
        a=a,
        c=c,
        across=across,
        point=point,
        lever=lever,
        lever_across=float(velocity @ across),
        ratio=lever / (wheel.contact_circle_radius * float(c @ a)),
        touches=abs(z_o) <= wheel.output_roller_length / 2 and abs(z_h) <= wheel.hub_roller_length / 2,
    )


def common_perpendicular(wheel: SlowWheel, eps: float, side: int = 1) -> tuple[float, float]:
    """(z_o, gap) [m] of straight rollers from the common perpendicular of the two axes: a second way to the same numbers."""
    centre, a = hub_roller_axis(wheel, eps, side, 0.0, False)
    start = wheel.pitch_radius * R
    normal = np.cross(T, a)
    normal /= np.linalg.norm(normal)
    # start + z T + d normal = centre + w a
    z_o, distance, _ = np.linalg.solve(np.column_stack([T, normal, -a]), centre - start)
    return float(z_o), abs(float(distance)) - wheel.output_roller_radius - wheel.hub_roller_radius


def surface_gap(wheel: SlowWheel, eps: float, side: int = 1) -> float:
    """Gap [m] between the true surfaces: least distance from the barrel's surface to the hub roller's axis, less r_h.

    Differs from the axis rule for crowned rollers, whose surface normal leans along the axis.
    """
    centre, a = hub_roller_axis(wheel, eps, side, 0.0, False)
    start = pass_contact(wheel, eps, side)

    def distance(place: np.ndarray) -> float:
        z, angle = place[0] * 1e-3, place[1]
        radius = roller_outline(wheel, z)
        surface = wheel.pitch_radius * R + z * T + radius * (math.cos(angle) * R + math.sin(angle) * Y)
        offset = centre - surface
        return float(np.linalg.norm(offset - (offset @ a) * a)) * 1e3

    first = [start.z_o * 1e3, math.atan2(start.normal[2], start.normal[0])]
    options = {"xatol": 1e-9, "fatol": 1e-12, "maxiter": 4000, "maxfev": 4000}
    return minimize(distance, first, method="Nelder-Mead", options=options).fun * 1e-3 - wheel.hub_roller_radius


def closing_travel(wheel: SlowWheel, eps: float, side: int = 1, along_normal: bool = False) -> float:
    """Travel [m] of a hub roller towards the output roller, along y or its own normal, until rigid rollers just touch."""
    span = wheel.output_roller_radius / 2
    return brentq(lambda x: pass_contact(wheel, eps, side, x, along_normal).gap, -span, span, xtol=1e-12)


@dataclass(frozen=True)
class PlacedContact:
    """A contact of the whole wheel: which output roller it is on, and its geometry."""

    roller: int
    contact: PassContact


def engaged_contacts(wheel: SlowWheel, phase: tuple[float, float, float]) -> list[PlacedContact]:
    """Hub rollers that can touch their nearest output roller at ``phase`` = (carrier, left hub, right hub) [rad].

    The hub angles are those of one hub roller from output roller 0, towards +t; output roller j stands at 2 pi j/N from it.
    """
    placed = []
    output_pitch = 2 * math.pi / wheel.N
    for side, hub_angle in zip(SIDES, phase[1:], strict=True):
        for i in range(wheel.M):
            angle = hub_angle + 2 * math.pi * i / wheel.M
            nearest = round(angle / output_pitch)
            contact = pass_contact(wheel, angle - nearest * output_pitch, side)
            if contact.touches:
                placed.append(PlacedContact(nearest % wheel.N, contact))
    return placed


def roller_angles(wheel: SlowWheel, phase: tuple[float, float, float]) -> np.ndarray:
    """Angle of each output roller from straight down, towards +t [rad], in [-pi, pi]."""
    angle = phase[0] + 2 * math.pi * np.arange(wheel.N) / wheel.N
    return np.arctan2(np.sin(angle), np.cos(angle))
