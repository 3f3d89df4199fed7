"""What a wheel asks for once it runs: preload lost to creep and wear, when to set it again, how long its tyres last. Bands.

Derived here from a design's contacts, but for the two laws of ``objectives.wear``. What goes into them is known to a factor
of some (creep) or to powers of ten (wear), so each answer is a band, and ``WEAK_INPUTS`` names what would narrow it.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from objectives.assessment import Assessment
from objectives.compiled import on_arrays
from objectives.friction_loss import losses_by_name
from objectives.hertz import effective_modulus, line_half_width, patch_half_widths
from objectives.pass_window import pass_window
from objectives.traction import carter
from objectives.units import HOUR, MM
from objectives.wear import archard_volume, creep_growth
from objectives.wheel import PLAIN

DAY, YEAR = 24 * HOUR, 365 * 24 * HOUR
#: creep of soft tyres in a tenfold time: natural rubber 2 to 3 %, polyurethanes up to 10 % (from memory, low confidence)
CREEP_RATE = (0.02, 0.10)
#: s after loading, at which the spring is taken to be set
SET_AFTER = 60.0
#: m^2/N, specific wear rates of polyurethane: on smooth clean rollers, and on floors from smooth to gritty. Emery cloth takes
#: 5e-11 to 7.5e-11 (ISO 4649, 20 to 30 mm^3); the rest is common practice, low confidence
ROLLER_WEAR = (1e-14, 1e-12)
FLOOR_WEAR = (1e-13, 1e-11)
#: share of the preload whose loss is worth a turn of the nut (common practice)
WORTH_SETTING = 0.1
#: m, tread that may go before a roller is replaced, at most this share of a tyre on a core
LARGEST_WEAR = 0.5 * MM
WEAR_OF_TYRE = 0.25

WEAK_INPUTS = (
    "specific wear rates, known to a factor of a hundred: weigh a roller before and after ten hours",
    "creep of the tyre, known to a factor of five: read the hub's place against the carrier after a minute, a day, a week",
    "what slips on the floor when the robot turns on the spot, which is not counted",
    "a rubber pad in place of a steel spring, which relaxes itself by as much in a tenfold time",
)


@dataclass(frozen=True)
class Band:
    """From the mildest to the worst that is likely."""

    low: float
    high: float

    @staticmethod
    def of(function: Callable[[float], float], ends: tuple[float, float]) -> Band:
        """The values of a function at both ends of its weak input."""
        first, second = sorted(function(end) for end in ends)
        return Band(first, second)


@dataclass(frozen=True)
class Upkeep:
    """Upkeep of one design. SI units; shares of the preload as set."""

    creep_share_day: Band  # lost in the first day
    creep_share_year: Band  # lost in the first year, set once
    creep_share_after: Band  # lost between a day and a year, set again after a day
    creep_until_setting: Band  # s until a tenth is lost to creep; inf beyond any life
    wear_output: Band  # m per hour of duty, off an output roller's radius, at the hub rollers
    wear_hub: Band  # m per hour of duty, off a hub roller's radius
    wear_floor: Band  # m per hour of duty, off an output roller's radius, at the floor
    wear_until_setting: Band  # s of duty until a tenth of the preload is lost to wear
    tyre_life: Band  # s of duty until an output roller has lost its tread
    tread: float  # m that may go
    weak_inputs: tuple[str, ...] = WEAK_INPUTS


def upkeep(assessment: Assessment) -> Upkeep:
    """Upkeep of an assessment's first design.

    **Creep.** At the mean contact force N = F_a/(n cos(beta)) rollers approach by d = (N/k)^(2/3) and, where soft throughout,
    an output roller is pressed outwards by w = 2 N sin(beta)/k_b on its axle. Both grow by the share c with time, so the hub
    follows by c (d + w sin(beta))/cos(beta), and a spring of stiffness K_p loses that much of its force.

    **Wear of the rollers.** Creep and drilling turn the power P into heat over the duty, mu N s/t of it: N s/t = P/mu goes into
    Archard's law for both bodies. The output rollers wear over their whole treads, the hub rollers over the strip that is
    touched. The hub follows the wear of both, and the spring loses force.

    **Wear on the floor.** A driven tyre creeps by Carter's share of the way: half-width a of its patch along the rolling, its
    radius R_w ahead and r_o sideways. All rollers share it.
    """
    wheel, normal, extra = assessment.wheel, assessment.normal, assessment.extra
    force = float(normal.contact_force_mean[0])
    inward, axial = float(np.sin(wheel.contact_angle[0])), float(np.cos(wheel.contact_angle[0]))
    approach = (force / float(extra["contact_stiffness"][0])) ** (2 / 3)
    soft = int(wheel.bore[0]) == PLAIN
    shift = 2 * force * inward / float(wheel.axle_stop_stiffness[0]) if soft else 0.0
    closing = (approach + shift * inward) / axial
    preload, stiffness = float(wheel.preload[0]), float(wheel.preload_stiffness[0])
    creep_share = stiffness * closing / preload

    losses = losses_by_name(assessment)
    sliding = float(losses["creep"][0] + losses["drilling"][0]) / float(wheel.friction_roller[0])  # N m/s
    tread_area = float((2 * np.pi * wheel.output_roller_radius * wheel.output_roller_length * wheel.output_roller_count)[0])
    strip = min(2 * float(pass_window(wheel).hub_place[0]), float(wheel.hub_roller_length[0]))
    strip_area = float(2 * np.pi * wheel.hub_roller_radius[0] * strip * 2 * wheel.hub_roller_count[0])
    output = Band.of(lambda rate: archard_volume(rate, 1.0, sliding * HOUR) / tread_area, ROLLER_WEAR)
    hub = Band.of(lambda rate: archard_volume(rate, 1.0, sliding * HOUR) / strip_area, ROLLER_WEAR)
    floor = Band.of(lambda rate: archard_volume(rate, 1.0, _floor_sliding(assessment) * HOUR) / tread_area, FLOOR_WEAR)
    tread = LARGEST_WEAR if soft else min(LARGEST_WEAR, WEAR_OF_TYRE * float(wheel.tyre_thickness[0]))
    both = ((output.low, hub.low), (output.high, hub.high))
    lost_per_hour = [stiffness * (one + other) / axial / preload for one, other in both]
    return Upkeep(
        creep_share_day=Band.of(lambda rate: creep_share * creep_growth(rate, DAY, SET_AFTER), CREEP_RATE),
        creep_share_year=Band.of(lambda rate: creep_share * creep_growth(rate, YEAR, SET_AFTER), CREEP_RATE),
        creep_share_after=Band.of(lambda rate: creep_share * creep_growth(rate, YEAR, DAY), CREEP_RATE),
        creep_until_setting=Band.of(lambda rate: _time_to_creep(WORTH_SETTING / (creep_share * rate)), CREEP_RATE),
        wear_output=output,
        wear_hub=hub,
        wear_floor=floor,
        wear_until_setting=Band(*sorted(_over(WORTH_SETTING * HOUR, lost) for lost in lost_per_hour)),
        tyre_life=Band(*(_over(tread * HOUR, wear) for wear in (output.high + floor.high, output.low + floor.low))),
        tread=tread,
    )


def _time_to_creep(decades: float) -> float:
    """Time [s] in which a deflection grows over so many tenfold times; inf beyond a thousand years."""
    return SET_AFTER * 10**decades if decades < 9 else math.inf


def _over(amount: float, rate: float) -> float:
    return amount / rate if rate > 0 else math.inf


def _floor_sliding(assessment: Assessment) -> float:
    """Normal force times slip at the floor, mean over the duty [N m/s]."""
    wheel, cases = assessment.wheel, assessment.cases
    load, friction = float(cases.wheel_load[0]), float(wheel.friction_floor[0])
    modulus = effective_modulus(float(wheel.output_youngs_modulus[0]), float(wheel.output_poisson_ratio[0]), math.inf, 0.3)
    radius, across = float(wheel.wheel_radius[0]), float(wheel.output_roller_radius[0])
    ahead, _ = on_arrays(patch_half_widths, wheel.wheel_radius, wheel.output_roller_radius, math.pi / 2, modulus, load)
    beside = line_half_width(load / float(wheel.output_roller_length[0]), across, modulus)
    total = 0.0
    for case in np.flatnonzero(cases.share > 0):
        used = min(float(cases.force[0, case]) / (friction * load), 1.0)
        sine, cosine = abs(math.sin(cases.direction[case])), abs(math.cos(cases.direction[case]))
        creep = cosine * carter(used, friction, float(ahead[0]), radius) + sine * carter(used, friction, beside, across)
        total += float(cases.share[case]) * load * creep * float(cases.speed[0, case])
    return total
