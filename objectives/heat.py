"""Temperature of the soft rollers: what they lose to the air and to their axles against what is put into them. Derived here.

Plain conductances, good to a factor of two: they tell a roller that stays cool from one that melts.
"""

from __future__ import annotations

import math

import numpy as np

from objectives.assessment import Assessment
from objectives.layout import axle_half_length, screw_figure, window_half_width
from objectives.mass import tyre_mass
from objectives.scenario import Scenario
from objectives.wheel import WheelBatch

#: deg C
AMBIENT = 25.0
#: W/(m^2 K), natural convection and radiation together (common practice)
SURFACE_CONDUCTANCE = 12.0
#: W/(m K), of carbon steel and of print plastics (handbook values, from memory)
STEEL_CONDUCTIVITY = 50.0
PLASTIC_CONDUCTIVITY = 0.2
#: J/(kg K), of elastomers (handbook value, from memory)
SPECIFIC_HEAT = 1700.0
#: share of the heat of a sliding contact that goes into one of two like bodies
SLIDING_SHARE = 0.5
#: bolt diameters over which a hub roller's bolt is held in plastic on either side (common practice)
BOLT_HOLD = 2.0


def roller_conductance(wheel: WheelBatch, scenario: Scenario) -> np.ndarray:
    """Heat an output roller gives off per kelvin above the air [W/K], shape (n,).

    G = h A + 2/(1/G_rod + 1/G_arm): its whole surface to the air, and along the axle to both arms. G_rod = k_s (pi d^2/4)
    over the way from a quarter of the roller's length to the arm; G_arm = 2 pi k_p e/ln(D/d), the end e of a rod of
    diameter d in plastic of D = 3 d.
    """
    radius, length, rod = wheel.output_roller_radius, wheel.output_roller_length, wheel.axle_diameter
    surface = 2 * np.pi * radius * (length + radius)
    along_rod = STEEL_CONDUCTIVITY * np.pi / 4 * rod**2 / (length / 4 + scenario.build.side_washer)
    held = np.maximum(axle_half_length(wheel) - window_half_width(wheel, scenario), 0)
    into_arm = 2 * np.pi * PLASTIC_CONDUCTIVITY * held / math.log(3.0)
    return SURFACE_CONDUCTANCE * surface + 2 * along_rod * into_arm / (along_rod + into_arm)


def hub_roller_conductance(wheel: WheelBatch, scenario: Scenario) -> np.ndarray:
    """Heat a hub roller gives off per kelvin above the air [W/K], shape (n,): as ``roller_conductance``, with its bolt.

    The bolt is held over BOLT_HOLD times its diameter on either side.
    """
    radius, length, bolt = wheel.hub_roller_radius, wheel.hub_roller_length, wheel.hub_axle_diameter
    surface = 2 * np.pi * radius * (length + radius)
    washer = screw_figure(bolt, scenario.catalogue, "washer_thickness")
    along_bolt = STEEL_CONDUCTIVITY * np.pi / 4 * bolt**2 / (length / 4 + washer)
    into_boss = 2 * np.pi * PLASTIC_CONDUCTIVITY * BOLT_HOLD * bolt / math.log(3.0)
    return SURFACE_CONDUCTANCE * surface + 2 * along_bolt * into_boss / (along_bolt + into_boss)


def hub_roller_temperature_rise(assessment: Assessment) -> np.ndarray:
    """Steady rise of the hub rollers over the air, at the duty [K], shape (n,).

    They take what their bores and washers lose, and the other half of what the contacts do; as the hubs turn against the
    carrier all 2 M of them have the same share.
    """
    losses, wheel = assessment.running.losses, assessment.wheel
    heat = losses["hub_bore"] + SLIDING_SHARE * (losses["creep"] + losses["roller_hysteresis"] + losses["drilling"])
    with np.errstate(all="ignore"):
        power = assessment.cases.over_duty(heat) / (2 * wheel.hub_roller_count)
        return power / hub_roller_conductance(wheel, assessment.scenario)


def roller_temperature_rise(assessment: Assessment) -> np.ndarray:
    """Steady rise of the hardest-working output roller over the air, at the duty [K], shape (n,): loss over conductance."""
    with np.errstate(all="ignore"):
        power = assessment.cases.over_duty(assessment.running.roller_loss_peak)
        return power / roller_conductance(assessment.wheel, assessment.scenario)


def stalled_roller_power(assessment: Assessment) -> np.ndarray:
    """Heat put into one output roller while the robot is held against a stop [W], shape (n,).

    Held sideways the rollers on the floor stand still and all friction slides on them: half of the sideways drive limit
    times the sideways speed. Held forwards the hubs slide on all N rollers: half of the drive limit times top speed over
    N. The larger of the two.
    """
    robot, limits = assessment.scenario.robot, assessment.limits
    sideways = limits.mean[:, limits.of(math.pi / 2)] * robot.sideways_speed
    forward = limits.mean[:, limits.of(0.0)] * robot.top_speed / assessment.wheel.output_roller_count
    return SLIDING_SHARE * np.maximum(sideways, forward)


def time_to_service_temperature(assessment: Assessment) -> np.ndarray:
    """How long a robot may be held against a stop until a soft roller reaches its service temperature [s], shape (n,).

    One lump of heat capacity C = m c: t = -(C/G) ln(1 - G dT/P); inf where the steady rise P/G stays below dT.
    """
    wheel = assessment.wheel
    with np.errstate(all="ignore"):
        conductance = roller_conductance(wheel, assessment.scenario)
        share = conductance * service_rise(assessment) / stalled_roller_power(assessment)
        time = -tyre_mass(wheel) * SPECIFIC_HEAT / conductance * np.log1p(-np.minimum(share, 1))
        return np.where(share >= 1, np.inf, time)


def service_rise(assessment: Assessment) -> np.ndarray:
    """Rise over the air that takes the output tyre to its service temperature [K], shape (n,)."""
    return _service_rises(assessment)[assessment.wheel.output_tyre]


def hub_service_rise(assessment: Assessment) -> np.ndarray:
    """Rise over the air that takes the hub rollers' material to its service temperature [K], shape (n,)."""
    return _service_rises(assessment)[assessment.wheel.hub_tyre]


def _service_rises(assessment: Assessment) -> np.ndarray:
    materials = assessment.scenario.catalogue.materials
    return np.array([materials[name].service_temperature for name in assessment.wheel.tyre_names]) - AMBIENT
