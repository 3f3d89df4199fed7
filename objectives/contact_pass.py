"""Exact geometry of a pass: where and how a hub roller touches an output roller.

Frame of one output roller and one side: t circumferential, r radially outwards from the shaft, y axially outwards towards
that side's hub; origin on the shaft's axis in the wheel's mid-plane. The two sides mirror each other, so one frame serves
both. The output roller's axis is the line r = R_p along t. A hub roller at angle ``eps`` from the roller's middle has its
centre H = R_p r + (r_o + r_h) n and its axis a = cos(gamma) t + sin(gamma) c turned by eps about the shaft, with
n = -sin(beta) r + cos(beta) y and c = cos(beta) r + sin(beta) y. Derived here.
"""

from __future__ import annotations

import math
from typing import NamedTuple

from objectives.compiled import kernel, outer_kernel


class PassGeometry(NamedTuple):
    """What the geometry of a pass depends on, for one candidate. Lengths in m, angles in rad."""

    pitch_radius: float  # R_p
    wheel_radius: float  # R_w
    output_radius: float  # r_o
    crown: float  # kappa
    hub_radius: float  # r_h
    half_output_length: float  # L_o / 2
    half_hub_length: float  # L_h / 2
    sin_contact: float
    cos_contact: float
    sin_skew: float
    cos_skew: float


class Contact(NamedTuple):
    """One place where a hub roller meets an output roller (rigid, unloaded)."""

    place_output: float  # m, z_o along the output roller's axis from its middle, towards +t
    place_hub: float  # m, z_h along the hub roller's axis from its middle
    gap: float  # m, between the surfaces; negative where they overlap
    inward: float  # component of the contact normal (out of the output roller) towards the shaft: -n_r
    axial: float  # component of that normal along y, outwards
    along_c: float  # component of the hub roller's axis along c, both in the contact plane
    along_t: float  # component of the hub roller's axis along t
    lever_t: float  # m, moment about the shaft, towards +t, of a unit force along t at the contact
    lever_c: float  # m, moment of a unit force along c


@kernel
def roller_radius(g: PassGeometry, z: float) -> float:
    """Radius of an output roller at ``z`` [m] from its middle: (1 - kappa) r_o + kappa (sqrt(R_w^2 - z^2) - R_p)."""
    return (1.0 - g.crown) * g.output_radius + g.crown * (math.sqrt(g.wheel_radius**2 - z * z) - g.pitch_radius)


@outer_kernel
def contact_at(g: PassGeometry, sine: float, cosine: float) -> Contact:
    """Contact of a hub roller at an angle from the middle of an output roller, given by its ``sine`` and ``cosine``.

    Both rollers are taken as endless.

    The contact is where the distance from a point z of the output roller's axis to the hub roller's axis, less the radius
    of the sphere about z that touches the output roller's surface from inside, is smallest. For straight rollers that is
    the common perpendicular of the two axes. A crown takes three Newton steps more; the sphere's radius is then
    r(z) - r_o r'(z)^2/2 to second order in the slope (with r(z) alone the gap comes out up to 4 % too small). Whether the
    place lies on both rollers is the caller's question.
    """
    centre_distance = g.output_radius + g.hub_radius
    radial = g.pitch_radius - centre_distance * g.sin_contact
    axial = centre_distance * g.cos_contact
    a_t = g.cos_skew * cosine + g.sin_skew * g.cos_contact * sine
    a_r = g.sin_skew * g.cos_contact * cosine - g.cos_skew * sine
    a_y = g.sin_skew * g.sin_contact
    # hub roller's centre from the middle of the output roller
    d_t = radial * sine
    d_r = radial * cosine - g.pitch_radius
    along = -(a_t * d_t + a_r * d_r + a_y * axial)  # place on the hub roller that is nearest to the output roller's middle
    across2 = a_r * a_r + a_y * a_y
    z = (a_t * along + d_t) / across2
    base = (1.0 - g.crown) * g.output_radius - g.crown * g.pitch_radius + g.hub_radius
    if g.crown > 0.0:
        # squared distance to the hub axis: q0 + 2 q1 z + across2 z^2
        q0 = d_t * d_t + d_r * d_r + axial * axial - along * along
        q1 = -d_t - a_t * along
        wheel2 = g.wheel_radius**2
        for _ in range(3):
            distance = 1.0 / math.sqrt(q0 + z * (2.0 * q1 + across2 * z))
            slope = q1 + across2 * z
            outline = 1.0 / math.sqrt(wheel2 - z * z)
            tilt = g.output_radius * (g.crown * outline * outline) ** 2 * wheel2
            z -= (slope * distance + g.crown * z * outline + tilt * z) / (
                (across2 - slope * slope * distance * distance) * distance + g.crown * wheel2 * outline**3 + tilt
            )
    place_hub = along + a_t * z
    # from the output roller's axis to the hub roller's axis
    v_t = d_t + place_hub * a_t - z
    v_r = d_r + place_hub * a_r
    v_y = axial + place_hub * a_y
    across = v_r * v_r + v_y * v_y
    unit = 1.0 / math.sqrt(across)
    rim2 = g.wheel_radius**2 - z * z
    apart = math.sqrt(across + v_t * v_t)
    gap = apart - base - g.crown * math.sqrt(rim2) + g.output_radius * (g.crown * z) ** 2 / (2.0 * rim2)
    place = z + (apart - gap - g.hub_radius) * v_t / apart  # from the sphere's middle to where it is touched
    inward = -v_r * unit
    outward = v_y * unit
    a_c = a_r * outward + a_y * inward
    norm = 1.0 / math.sqrt(a_c * a_c + a_t * a_t)
    lever_t = g.pitch_radius - roller_radius(g, place) * inward
    return Contact(place, place_hub, gap, inward, outward, a_c * norm, a_t * norm, lever_t, -place * outward)


@kernel
def pass_contact(g: PassGeometry, eps: float) -> Contact:
    """Contact of a hub roller at angle ``eps`` [rad] from the middle of an output roller, both taken as endless."""
    return contact_at(g, math.sin(eps), math.cos(eps))


@kernel
def touches(g: PassGeometry, contact: Contact) -> bool:
    """Whether the contact lies on both rollers: |z_o| <= L_o/2 and |z_h| <= L_h/2."""
    return abs(contact.place_output) <= g.half_output_length and abs(contact.place_hub) <= g.half_hub_length


@kernel
def speed_ratio(contact: Contact) -> float:
    """Surface speed of the output roller along c over the hub's angular speed, without slip along the hub roller's axis [m].

    The hub's velocity along the turned roller axis over the in-plane part of that axis across the output roller; at the
    middle of a roller it is R_c cot(gamma).
    """
    return (contact.along_t * contact.lever_t + contact.along_c * contact.lever_c) / contact.along_c
