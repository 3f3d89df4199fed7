"""Contact constants of a batch: from materials and shapes to the numbers that the kernels take.

The creep, drilling and rolling figures belong to the patch at a unit force; they grow with the force as Hertz's patch does.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from objectives.compiled import compiled
from objectives.hertz import (
    crossed_cylinder_curvatures,
    crossed_cylinder_stiffness,
    effective_modulus,
    ellipse_orientation,
    foundation_modulus,
    half_chord,
    line_half_width,
    patch_half_widths,
    peak_pressure,
)
from objectives.kalker import combined_poisson_ratio, combined_shear_modulus, kalker_c22, kalker_c33
from objectives.rolling import combined_loss_sine, line_resistance_ratio, loss_sine, rolling_resistance_ratio
from objectives.thin_layer import thin_layer_factor, thin_layer_factor_at_force
from objectives.traction import axis_friction, saturation_creep, slide_spin_force_ratio, spin_moment_full_slip
from objectives.wheel import PLAIN, WheelBatch

#: friction of a hub roller on its bolt and against its washers (common practice: plastic on a dry steel bolt)
HUB_BORE_FRICTION = 0.25
HUB_WASHER_FRICTION = 0.25
#: mean radius of a washer's face over the bolt's diameter (ISO 7089: outside about twice the bolt)
WASHER_RADIUS_SHARE = 0.75

COLUMNS = (
    "contact_stiffness",  # N/m^1.5, k of N = k delta^1.5, thin tyre included
    "hertz_stiffness",  # N/m^1.5, without the thin tyre's factor
    "floor_stiffness",  # N/m^2
    "friction_turning",  # share of the normal force along a turning hub roller's axis
    "drag_turning",  # and across it
    "bore_drag",  # rim force on an output roller over its axle reaction
    "hub_drag_of_load",  # drag across a hub roller's axis over the normal force
    "hub_drag_of_force",  # and over the force along it
    "creep_saturation",  # N^(-1/3), saturation creep at 1 N
    "spin_linear",  # N m/N^(4/3) per 1/m of spin, at 1 N
    "spin_full",  # N m/N^(4/3), full slip
    "hysteresis",  # N/N^(4/3), rolling resistance between the rollers at 1 N
    "floor_hysteresis",  # force over load of an output roller that rolls sideways on the floor
    "forward_rolling",  # force over load of the wheel that rolls forwards on its output rollers
    "pressure",  # Pa/N^(1/3), peak pressure at 1 N
    "layer_chi",  # thin layer's sqrt(a b)/h at the mean force
    "floor_chi",  # b/h on the floor
    "compliance_share",  # of the output tyre
)


@dataclass(frozen=True)
class Contacts:
    """Contact constants, shapes (n,); meanings and units in COLUMNS."""

    table: np.ndarray  # (n, len(COLUMNS))

    def __getitem__(self, name: str) -> np.ndarray:
        return self.table[:, COLUMNS.index(name)]


@compiled
def _contact_row(
    output_modulus: float,
    output_poisson: float,
    output_loss: float,
    hub_modulus: float,
    hub_poisson: float,
    hub_loss: float,
    output_radius: float,
    hub_radius: float,
    skew: float,
    contact_angle: float,
    circle_radius: float,
    roller_length: float,
    layer: float,
    mean_force: float,
    floor_force: float,
    friction: float,
    friction_bore: float,
    axle_radius: float,
    bolt: float,
    wheel_radius: float,
    bore_factor: float,
    row: np.ndarray,
) -> None:
    """The constants of one candidate, in the order of COLUMNS."""
    modulus = effective_modulus(output_modulus, output_poisson, hub_modulus, hub_poisson)
    hertz = crossed_cylinder_stiffness(output_radius, hub_radius, skew, modulus)
    flat, steep = crossed_cylinder_curvatures(output_radius, hub_radius, skew)
    plane_output = output_modulus / (1.0 - output_poisson**2)
    plane_hub = hub_modulus / (1.0 - hub_poisson**2)
    share = modulus / plane_output
    # a soft tyre on a core gives way less; only its own share of the approach is stiffened
    factor, chi = thin_layer_factor_at_force(
        mean_force, hertz / share**1.5, 0.5 / (share * math.sqrt(flat * steep)), layer
    )
    stiffness = hertz * (1.0 - share + share * factor ** (-2.0 / 3.0)) ** -1.5
    floor_modulus = effective_modulus(output_modulus, output_poisson, math.inf, 0.3)
    half_width = line_half_width(floor_force / roller_length, output_radius, floor_modulus)
    floor_chi = half_width / layer if layer < math.inf else 0.0
    # forwards the patch travels along the rim: radius R_w along rolling, r_o across
    floor_major, floor_minor = patch_half_widths(wheel_radius, output_radius, 0.5 * math.pi, floor_modulus, floor_force)
    floor_pressure = peak_pressure(floor_force, floor_major, floor_minor)
    # the patch at 1 N; rolling goes across the hub roller's axis
    major, minor = patch_half_widths(output_radius, hub_radius, skew, modulus, 1.0)
    to_hub_axis = skew - ellipse_orientation(output_radius, hub_radius, skew)
    along_rolling = half_chord(major, minor, 0.5 * math.pi - to_hub_axis)
    aspect = along_rolling * along_rolling / (major * minor)
    shear_output = output_modulus / (2.0 * (1.0 + output_poisson))
    shear_hub = hub_modulus / (2.0 * (1.0 + hub_poisson))
    shear = combined_shear_modulus(shear_output, shear_hub)
    poisson = combined_poisson_ratio(shear_output, output_poisson, shear_hub, hub_poisson)
    pressure = peak_pressure(1.0, major, minor)
    drag_of_load = bore_factor * HUB_BORE_FRICTION * 0.5 * bolt / hub_radius
    drag_of_force = bore_factor * HUB_WASHER_FRICTION * WASHER_RADIUS_SHARE * bolt / hub_radius
    along, _ = axis_friction(friction, drag_of_load, drag_of_force)
    creep = saturation_creep(along, 1.0, kalker_c22(aspect, poisson), shear, major, minor)
    # drilling takes grip: slip speed of the saturated patch against the spin at its edge
    mean_patch = math.sqrt(major * minor) * mean_force ** (1.0 / 3.0)
    spin = math.cos(contact_angle) * math.sin(skew) / circle_radius
    grip = slide_spin_force_ratio(creep * mean_force ** (1.0 / 3.0) / (spin * mean_patch))
    along, across = axis_friction(friction * grip, drag_of_load, drag_of_force)
    loss = combined_loss_sine(loss_sine(output_loss), plane_output, loss_sine(hub_loss), plane_hub)
    row[0] = stiffness
    row[1] = hertz
    row[2] = foundation_modulus(floor_modulus) * thin_layer_factor(floor_chi)
    row[3] = along
    row[4] = across
    row[5] = friction_bore * axle_radius / output_radius
    row[6] = drag_of_load
    row[7] = drag_of_force
    row[8] = creep * grip
    row[9] = (major * minor) ** 2 * shear * kalker_c33(aspect, poisson)
    row[10] = spin_moment_full_slip(friction, 1.0, major, minor)
    row[11] = rolling_resistance_ratio(loss, pressure, modulus, aspect)
    row[12] = line_resistance_ratio(loss_sine(output_loss), half_width, output_radius)
    row[13] = rolling_resistance_ratio(loss_sine(output_loss), floor_pressure, floor_modulus, floor_major / floor_minor)
    row[14] = pressure
    row[15] = chi
    row[16] = floor_chi
    row[17] = share


@compiled
def _contact_rows(inputs: np.ndarray, table: np.ndarray) -> None:
    for n in range(len(inputs)):
        v = inputs[n]
        _contact_row(
            v[0], v[1], v[2], v[3], v[4], v[5], v[6], v[7], v[8], v[9], v[10], v[11], v[12], v[13], v[14], v[15], v[16], v[17],
            v[18], v[19], v[20], table[n],
        )  # fmt: skip


def contact_constants(wheel: WheelBatch, wheel_load: np.ndarray) -> Contacts:
    """Contact constants of a batch under a load on the wheel [N], shape (n,).

    The thin tyre's factors are taken at the preload's mean contact force F_a/(min(N, M) cos(beta)) and, on the floor, at the
    whole load on one roller. A roller that is soft throughout has no core: no factor. Validity: see the formulas' own
    modules; ``layer_chi`` and ``floor_chi`` say how thin the tyre is against its patch.
    """
    layer = np.where(wheel.bore == PLAIN, np.inf, wheel.tyre_thickness)
    with np.errstate(all="ignore"):
        engaged = np.minimum(wheel.output_roller_count, wheel.hub_roller_count)
        mean_force = wheel.preload / (engaged * np.cos(wheel.contact_angle))
    inputs = np.column_stack(
        [
            wheel.output_youngs_modulus,
            wheel.output_poisson_ratio,
            wheel.output_loss_tangent,
            wheel.hub_youngs_modulus,
            wheel.hub_poisson_ratio,
            wheel.hub_loss_tangent,
            wheel.output_roller_radius,
            wheel.hub_roller_radius,
            wheel.skew_angle,
            wheel.contact_angle,
            wheel.contact_circle_radius,
            wheel.output_roller_length,
            layer,
            mean_force,
            wheel_load,
            wheel.friction_roller,
            wheel.friction_bore,
            wheel.axle_diameter / 2,
            wheel.hub_axle_diameter,
            wheel.wheel_radius,
            wheel.friction_bore_factor,
        ]
    )
    table = np.empty((len(wheel), len(COLUMNS)))
    _contact_rows(inputs, table)
    return Contacts(table)
