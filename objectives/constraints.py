"""All constraints by name, the slacks of a batch, and how far a wheel is from being feasible.

Those that need the mechanics stand here, those of the geometry alone in ``geometry_constraints``. Each function gives the
slack in SI units, shape (n,), >= 0 where the constraint holds.
"""

from __future__ import annotations

from collections.abc import Mapping
from functools import reduce

import numpy as np

from objectives.assessment import Assessment
from objectives.compiled import on_arrays
from objectives.geometry_constraints import (
    GEOMETRY_CONSTRAINTS,
    GROUND_CLEARANCE,
    Constraint,
    Plan,
    lowest_part_radius,
)
from objectives.heat import hub_roller_temperature_rise, hub_service_rise, roller_temperature_rise, service_rise
from objectives.hertz import (
    effective_modulus,
    patch_half_widths,
    peak_pressure,
)
from objectives.layout import bearing_figure, screw_figure
from objectives.slip_margin import slip_margin
from objectives.units import MM, MPA

#: Pa, bending of a cold-drawn steel rod that turns under load, for endurance (common practice)
AXLE_STRESS_LIMIT = 250e6
#: Pa, yield of a bolt of property class 8.8 (ISO 898-1) over a safety of 2
BOLT_STRESS_LIMIT = 640e6 / 2
#: of a printed tooth's or a bearing's strength (common practice)
TOOTH_SAFETY = 2.0
BEARING_SAFETY = 2.0
#: h, life that 90 % of the bearings should reach
BEARING_LIFE = 2000.0
#: drive limit over force asked, at the phases looked at: between them it is less, and near 1 a wheel may find no steady running
DRIVE_MARGIN_LIMIT = 1.05
#: shortfall of one slack, over its scale, beyond which more makes no difference
LARGEST_SHORTFALL = 1000.0


def standoff_closed(assessment: Assessment) -> np.ndarray:
    """Axial clearance of hub and carrier when the hub is closed furthest, drawn in by drive too, less the printer's."""
    closure = np.fmax(assessment.normal.closure_max, assessment.limits.closure_max)
    return assessment.layout.carrier_standoff - closure - assessment.scenario.printer.clearance


def floor_clearance(assessment: Assessment) -> np.ndarray:
    """Lowest height of the axle under load and drive less the largest part's radius and a third of the ground clearance."""
    height = np.fmin(assessment.normal.axle_height_min, assessment.limits.axle_height_min)
    return height - lowest_part_radius(assessment) - GROUND_CLEARANCE / 3


def contact_pressure(assessment: Assessment) -> np.ndarray:
    """Peak pressure between rollers at the largest force without drive [Pa], shape (n,).

    Hertz for crossed cylinders, p0 = 3 N/(2 pi a b). A soft tyre on a hard core makes the contact f times stiffer at equal
    approach; with the patch's area following the approach, as in Hertz's contact, the pressure is f^(2/3) times higher at
    the same force. f is the factor that the states are solved with. Drive adds to the force: see ``tilting_moment`` and
    ``axle_bending`` for what is taken at the drive limits.
    """
    wheel, force, extra = assessment.wheel, assessment.normal.contact_force_max, assessment.extra
    with np.errstate(all="ignore"):
        modulus = on_arrays(
            effective_modulus,
            wheel.output_youngs_modulus, wheel.output_poisson_ratio, wheel.hub_youngs_modulus, wheel.hub_poisson_ratio,
        )
        radii = (wheel.output_roller_radius, wheel.hub_roller_radius, wheel.skew_angle)
        pressure = on_arrays(peak_pressure, force, *on_arrays(patch_half_widths, *radii, modulus, force))
        return pressure * (extra["contact_stiffness"] / extra["hertz_stiffness"]) ** (2 / 3)


def contact_pressure_room(assessment: Assessment) -> np.ndarray:
    """Lower pressure limit of the two tyres less the contact pressure."""
    wheel, materials = assessment.wheel, assessment.scenario.catalogue.materials
    allowed = np.array([materials[name].contact_pressure_limit for name in wheel.tyre_names])
    return np.minimum(allowed[wheel.output_tyre], allowed[wheel.hub_tyre]) - contact_pressure(assessment)


def axle_bending_stress(assessment: Assessment) -> np.ndarray:
    """Bending stress of an output roller's axle [Pa], shape (n,): sigma = 8 F l/(pi d^3).

    A rod of diameter d on two supports l apart, the largest reaction F at its middle: moment F l/4, section modulus
    pi d^3/32 (beam theory). A roller spreads its load, so this is on the safe side.
    """
    wheel = assessment.wheel
    force = np.maximum(assessment.normal.axle_reaction_max, assessment.limits.axle_reaction_max)
    span = wheel.output_roller_length + 2 * assessment.scenario.build.side_washer
    return 8 * force * span / (np.pi * wheel.axle_diameter**3)


def bolt_bending_stress(assessment: Assessment) -> np.ndarray:
    """Bending stress of a hub roller's bolt [Pa], shape (n,): as ``axle_bending_stress``, at the largest contact force."""
    wheel = assessment.wheel
    force = np.maximum(assessment.normal.contact_force_max, assessment.limits.contact_force_max)
    washers = screw_figure(wheel.hub_axle_diameter, assessment.scenario.catalogue, "washer_thickness")
    return 8 * force * (wheel.hub_roller_length + 2 * washers) / (np.pi * wheel.hub_axle_diameter**3)


def axle_bending(assessment: Assessment) -> np.ndarray:
    """Stress that a steel rod or a bolt stands less its bending stress, of output axles or hub roller bolts, the less."""
    return np.minimum(AXLE_STRESS_LIMIT - axle_bending_stress(assessment), BOLT_STRESS_LIMIT - bolt_bending_stress(assessment))


def tilting_moment(assessment: Assessment) -> np.ndarray:
    """Moment that a hub's bearings hold less the largest tilting moment.

    The thrust bearing holds preload times its mean radius before it opens on one side; the radial pair adds its static
    rating over a safety of 2, times its spacing.
    """
    layout, catalogue = assessment.layout, assessment.scenario.catalogue
    asked = np.maximum(assessment.normal.tilting_moment, assessment.limits.tilting_moment)
    thrust_radius = (
        bearing_figure(layout.thrust_bearing, catalogue, "bore") + bearing_figure(layout.thrust_bearing, catalogue, "outside")
    ) / 4
    pair = bearing_figure(layout.radial_bearing, catalogue, "static_rating") / BEARING_SAFETY * layout.bearing_spacing
    return assessment.wheel.preload * thrust_radius + pair - asked


def bearing_life(assessment: Assessment) -> np.ndarray:
    """Bearing life less the one wanted [h]."""
    return assessment.drive.bearing_life - BEARING_LIFE


def tooth_bending(assessment: Assessment) -> np.ndarray:
    """Strength of the printed teeth over a safety of 2, less their bending stress."""
    plastic = assessment.scenario.catalogue.materials[assessment.scenario.build.material]
    return plastic.strength / TOOTH_SAFETY - assessment.drive.tooth_bending_stress


def floor_limit(assessment: Assessment) -> np.ndarray:
    """Force that the floor can take from the wheel [N], shape (n,): mu W."""
    return assessment.wheel.friction_floor * assessment.cases.wheel_load


def floor_grip(assessment: Assessment) -> np.ndarray:
    """Floor limit over the largest force asked, less 1."""
    return floor_limit(assessment) / assessment.cases.force.max(axis=1) - 1


def drive_margin(assessment: Assessment) -> np.ndarray:
    """Smallest drive limit over force asked of all load cases, less its limit: short of 1 there is no steady running."""
    return slip_margin(assessment) - DRIVE_MARGIN_LIMIT


def motor_margin(assessment: Assessment) -> np.ndarray:
    """Smallest motor limit over force asked of all load cases, less 1."""
    return (assessment.drive.motor_limit / assessment.cases.force).min(axis=1) - 1


def continuous_torque(assessment: Assessment) -> np.ndarray:
    """1 less the share of its continuous torque that the harder-working motor gives over the duty."""
    return 1 - assessment.drive.continuous_torque_use


def roller_temperature(assessment: Assessment) -> np.ndarray:
    """Rise that a tyre stands less the steady rise at the duty [K], of output or hub rollers, the less."""
    output = service_rise(assessment) - roller_temperature_rise(assessment)
    return np.minimum(output, hub_service_rise(assessment) - hub_roller_temperature_rise(assessment))


MECHANICS_CONSTRAINTS: tuple[Constraint, ...] = tuple(
    Constraint(name, unit, meaning, scale, function, factor=factor)
    for name, unit, factor, scale, function, meaning in (
        ("standoff_closed", "mm", MM, 2.0, standoff_closed, "hubs clear of the carrier after closure"),
        ("floor_clearance", "mm", MM, 5.0, floor_clearance, "hubs, gears and carrier clear of the floor under load"),
        ("contact_pressure", "MPa", MPA, 2.0, contact_pressure_room, "peak pressure between rollers within both tyres' limit"),
        ("axle_bending", "MPa", MPA, 100.0, axle_bending, "bending of output axles and hub roller bolts"),
        ("tilting_moment", "Nm", 1.0, 2.0, tilting_moment, "tilting moment of a hub held by its bearings"),
        ("bearing_life", "h", 1.0, BEARING_LIFE, bearing_life, f"bearing life of at least {BEARING_LIFE:.0f} h"),
        ("tooth_bending", "MPa", MPA, 10.0, tooth_bending, "bending of the printed teeth"),
        ("floor_grip", "", 1.0, 0.3, floor_grip, "the floor's grip covers every force asked"),
        ("drive_margin", "", 1.0, 0.3, drive_margin,
         f"the friction drive carries {DRIVE_MARGIN_LIMIT:g} times every force asked"),
        ("motor_margin", "", 1.0, 0.3, motor_margin, "the motors cover every force asked at its speed"),
        ("continuous_torque", "", 1.0, 0.3, continuous_torque, "motor torque over the duty within its continuous torque"),
        ("roller_temperature", "K", 1.0, 20.0, roller_temperature, "rollers below their service temperature at the duty"),
    )
)

CONSTRAINTS: tuple[Constraint, ...] = GEOMETRY_CONSTRAINTS + MECHANICS_CONSTRAINTS
CONSTRAINT = {constraint.name: constraint for constraint in CONSTRAINTS}


def slacks(assessment: Assessment) -> dict[str, np.ndarray]:
    """Slack of every constraint in its own unit, by name, shapes (n,)."""
    return {constraint.name: constraint.slack(assessment) for constraint in CONSTRAINTS}


def geometry_slacks(plan: Plan) -> dict[str, np.ndarray]:
    """Slack of the constraints that need no mechanics, by name, shapes (n,): a cheap check before them."""
    return {constraint.name: constraint.slack(plan) for constraint in GEOMETRY_CONSTRAINTS}


def shortfall(slack: np.ndarray, scale: float) -> np.ndarray:
    """What a slack adds to the violation [-], shape (n,): -slack/scale where it is negative, 1 where it cannot be told.

    >>> shortfall(np.array([0.2, -0.6, np.nan]), 0.3)
    array([0., 2., 1.])
    """
    return np.where(np.isnan(slack), 1.0, np.clip(-slack / scale, 0.0, LARGEST_SHORTFALL))


def violation(room: Mapping[str, np.ndarray]) -> np.ndarray:
    """Sum of the shortfalls of slacks by name, as ``slacks`` gives them [-], shape (n,): 0 where every constraint holds.

    >>> violation({"floor_grip": np.array([0.1, -0.3, np.nan]), "arm_neck": np.array([1.0, -1.0, 0.0])})
    array([0. , 1.5, 1. ])
    """
    return reduce(np.add, [shortfall(slack, CONSTRAINT[name].scale) for name, slack in room.items()])
