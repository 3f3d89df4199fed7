"""The shape of a wheel unit in mm, as a section through the shaft and a front view need it. No CAD library is used."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from objectives.assessment import Layout
from objectives.layout import GEAR_SIDE_GAP, MOTOR_PLATE, bearing_figure
from objectives.scenario import Scenario
from objectives.units import MM
from objectives.wheel import PLAIN, WheelBatch

Points = np.ndarray


@dataclass(frozen=True)
class Shape:
    """Lengths in mm, angles in rad; nan where no bearing or screw fits. Offsets are from the wheel's mid-plane."""

    wheel_radius: float
    pitch_radius: float
    roller_radius: float
    roller_length: float
    crown: float
    core_radius: float  # 0: soft throughout
    axle: float
    rollers: int
    hub_rollers: int
    hub_roller_radius: float
    hub_roller_length: float
    hub_roller_centre: float  # from the shaft's axis
    hub_roller_offset: float
    contact_angle: float
    skew: float
    hub_axle: float
    hub_radius: float
    hub_inside: float
    hub_outside: float
    barrel_radius: float
    barrel_inside: float
    barrel_outside: float
    carrier_radius: float
    carrier_thickness: float
    bearing_radius: float
    gear_radius: float
    pinion_radius: float
    gear_offset: float
    gear_width: float
    shaft: float
    half_width: float
    unit_width: float
    motor_diameter: float
    motor_length: float
    motor_face: float

    @property
    def centre_distance(self) -> float:
        return self.gear_radius + self.pinion_radius


def shape_of(wheel: WheelBatch, plan: Layout, scenario: Scenario) -> Shape:
    """The first of a batch of wheels with its layout."""

    def mm(values: np.ndarray) -> float:
        return float(values[0]) / MM

    motor = scenario.catalogue.motors[wheel.motor_names[int(wheel.motor[0])]]
    soft = int(wheel.bore[0]) == PLAIN
    return Shape(
        wheel_radius=mm(wheel.wheel_radius),
        pitch_radius=mm(wheel.pitch_radius),
        roller_radius=mm(wheel.output_roller_radius),
        roller_length=mm(wheel.output_roller_length),
        crown=float(wheel.crown[0]),
        core_radius=0.0 if soft else mm(wheel.output_roller_radius - wheel.tyre_thickness),
        axle=mm(wheel.axle_diameter),
        rollers=int(wheel.output_roller_count[0]),
        hub_rollers=int(wheel.hub_roller_count[0]),
        hub_roller_radius=mm(wheel.hub_roller_radius),
        hub_roller_length=mm(wheel.hub_roller_length),
        hub_roller_centre=mm(wheel.hub_roller_centre_radius),
        hub_roller_offset=mm(wheel.hub_roller_centre_offset),
        contact_angle=float(wheel.contact_angle[0]),
        skew=float(wheel.skew_angle[0]),
        hub_axle=mm(wheel.hub_axle_diameter),
        hub_radius=mm(plan.hub_outside_radius),
        hub_inside=mm(plan.hub_inside_offset),
        hub_outside=mm(plan.hub_outside_offset),
        barrel_radius=mm(plan.barrel_radius),
        barrel_inside=mm(plan.barrel_inside_offset),
        barrel_outside=mm(plan.barrel_outside_offset),
        carrier_radius=mm(plan.carrier_outside_radius),
        carrier_thickness=mm(wheel.carrier_thickness),
        bearing_radius=mm(bearing_figure(plan.radial_bearing, scenario.catalogue, "outside")) / 2,
        gear_radius=mm(plan.gear_pitch_radius),
        pinion_radius=mm(plan.pinion_pitch_radius),
        gear_offset=mm(plan.gear_offset),
        gear_width=mm(plan.gear_width),
        shaft=scenario.build.shaft_diameter / MM,
        half_width=mm(plan.unit_half_width),
        unit_width=mm(plan.unit_width),
        motor_diameter=motor.diameter / MM,
        motor_length=motor.length / MM,
        motor_face=mm(plan.gear_offset + plan.gear_width / 2) + (GEAR_SIDE_GAP + MOTOR_PLATE) / MM,
    )


def roller_outline(shape: Shape) -> Points:
    """An output roller from the side, shape (p, 2): along its axis and across.

    r(z) = (1 - k) r_o + k (sqrt(R_w^2 - z^2) - R_p), k the crown.

    Source: the outline of the contact geometry, objectives.contact_pass.
    """
    z = np.linspace(-shape.roller_length / 2, shape.roller_length / 2, 25)
    arc = np.sqrt(np.maximum(shape.wheel_radius**2 - z**2, 0.0)) - shape.pitch_radius
    radius = np.maximum((1 - shape.crown) * shape.roller_radius + shape.crown * arc, 0.0)
    return np.concatenate([np.column_stack([z, radius]), np.column_stack([z, -radius])[::-1]])


def hub_roller_cut(shape: Shape, radius: float) -> Points:
    """A hub roller, or its bolt, of this radius where the plane through the shaft cuts it, shape (p, 2): offset, from the axis.

    The axis is skewed by gamma out of tangential, so the cut is an ellipse with half axes r across and r/cos(gamma) along the
    direction (sin beta, cos beta), clipped where the roller ends, at L/(2 sin(gamma)). Derived here.
    """
    angle = np.linspace(0.0, 2 * math.pi, 73)
    sine, cosine = math.sin(shape.skew), math.cos(shape.skew)
    end = shape.hub_roller_length / 2 / sine if sine > 1e-9 else math.inf
    along = np.clip(radius / max(cosine, 1e-9) * np.cos(angle), -end, end)
    across = radius * np.sin(angle)
    upward = np.array([math.sin(shape.contact_angle), math.cos(shape.contact_angle)])
    outward = np.array([math.cos(shape.contact_angle), -math.sin(shape.contact_angle)])
    centre = np.array([shape.hub_roller_offset, shape.hub_roller_centre])
    return centre + along[:, None] * upward + across[:, None] * outward


def hub_roller_face(shape: Shape) -> Points:
    """A hub roller seen along the shaft, shape (p, 2): tangential, radial; the outline of its two end circles."""
    axis = np.array([
        math.cos(shape.skew), math.sin(shape.skew) * math.cos(shape.contact_angle),
        math.sin(shape.skew) * math.sin(shape.contact_angle),
    ])  # fmt: skip
    first = np.cross(axis, [0.0, 0.0, 1.0])
    first = first / max(float(np.linalg.norm(first)), 1e-12)
    second = np.cross(axis, first)
    angle = np.linspace(0.0, 2 * math.pi, 37)[:, None]
    circle = shape.hub_roller_radius * (np.cos(angle) * first + np.sin(angle) * second)
    ends = np.concatenate([circle + sign * shape.hub_roller_length / 2 * axis for sign in (-1, 1)])
    return _hull(ends[:, :2]) + np.array([0.0, shape.hub_roller_centre])


def turned(points: Points, angle: float) -> Points:
    """Points (p, 2) turned about the origin."""
    cosine, sine = math.cos(angle), math.sin(angle)
    return points @ np.array([[cosine, sine], [-sine, cosine]])


def _hull(points: Points) -> Points:
    """Convex hull of points (p, 2), anticlockwise: the lower and the upper chain."""
    ordered = sorted(map(tuple, points))

    def chain(run: list[tuple[float, ...]]) -> list[tuple[float, ...]]:
        kept: list[tuple[float, ...]] = []
        for point in run:
            while len(kept) > 1 and _turn(kept[-2], kept[-1], point) <= 0:
                kept.pop()
            kept.append(point)
        return kept[:-1]

    return np.array(chain(ordered) + chain(ordered[::-1]))


def _turn(a: tuple[float, ...], b: tuple[float, ...], c: tuple[float, ...]) -> float:
    return (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0])
