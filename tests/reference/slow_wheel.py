"""Inputs of the slow reference, and its four entry points under one name.

Everything is SI and radians. The reference is written from the physics, by brute force where possible, and imports nothing of
the package it serves to check.

Frame. Components are ordered (r, t, y): radial outward, circumferential, axial. This triple is right-handed, so that
``y x r = t``: a positive turn about y carries r towards t. Sides: s = +1 left (at +y), -1 right.
Speeds and torques of hubs and carrier are positive in that sense (towards +t), which is the forward sense of drive.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Any

SIDES = (+1, -1)


@dataclass(frozen=True)
class SlowWheel:
    """One wheel, SI. ``friction_roller`` may be a pair (left, right); everything else is a number.

    ``contact_stiffness`` k in N = k overlap^1.5 [N/m^1.5], any thin-tyre factor included; ``floor_stiffness`` in N per metre
    of depth and metre of length; ``play`` is the radius within which an output roller is free on its axle.
    """

    N: int
    M: int
    wheel_radius: float
    output_roller_radius: float
    crown: float
    hub_roller_radius: float
    hub_roller_length: float
    contact_angle: float
    skew_angle: float
    output_roller_length: float
    preload: float
    preload_stiffness: float
    play: float
    axle_stop_stiffness: float
    contact_stiffness: float
    floor_stiffness: float
    friction_roller: float | tuple[float, float]
    friction_floor: float
    friction_bore: float
    axle_radius: float
    hub_bolt_radius: float
    hub_bore_friction: float
    washer_friction: float
    washer_radius: float
    wheel_load: float

    @property
    def pitch_radius(self) -> float:
        """R_p [m], of the axles of the output rollers."""
        return self.wheel_radius - self.output_roller_radius

    @property
    def contact_circle_radius(self) -> float:
        """R_c [m], from the shaft's axis to a contact at a roller's middle."""
        return self.pitch_radius - self.output_roller_radius * math.sin(self.contact_angle)

    def friction(self, side: int) -> float:
        """Friction coefficient between the rollers of one side."""
        if isinstance(self.friction_roller, tuple):
            return self.friction_roller[0 if side > 0 else 1]
        return self.friction_roller


def typical_wheel(**changes: Any) -> SlowWheel:
    """A wheel of usual size: 15 and 22 rollers, 180 mm, both tyres 20 MPa, plain bores, 45/45 degrees.

    >>> round(typical_wheel().contact_circle_radius * 1e3, 3)
    69.515
    """
    from tests.reference.slow_contact import crossed_contact_stiffness, floor_line_stiffness

    youngs, poisson, count = 20e6, 0.48, 15
    r_o, r_h, pitch_radius, axle_radius, skew = 12e-3, 6e-3, 78e-3, 2e-3, math.radians(45)
    plane = youngs / (1 - poisson**2)
    length = 0.85 * 2 * (pitch_radius - r_o) * math.tan(math.pi / count)
    wheel = SlowWheel(
        N=count,
        M=22,
        wheel_radius=90e-3,
        output_roller_radius=r_o,
        crown=0.0,
        hub_roller_radius=r_h,
        hub_roller_length=20e-3,
        contact_angle=math.radians(45),
        skew_angle=skew,
        output_roller_length=length,
        preload=100.0,
        preload_stiffness=20e3,
        play=0.2e-3,
        axle_stop_stiffness=youngs * length * 2 * axle_radius / (r_o - axle_radius),
        contact_stiffness=crossed_contact_stiffness(plane / 2, r_o, r_h, skew),
        floor_stiffness=floor_line_stiffness(plane),
        friction_roller=0.6,
        friction_floor=0.7,
        friction_bore=0.25,
        axle_radius=axle_radius,
        hub_bolt_radius=1.5e-3,
        hub_bore_friction=0.25,
        washer_friction=0.25,
        washer_radius=0.75 * 3e-3,
        wheel_load=100.0,
    )
    return replace(wheel, **changes)
