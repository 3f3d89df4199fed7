"""The ranges of the laws that a wheel leaves: its numbers are given all the same, and marked."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from objectives.assessment import Assessment
from objectives.compiled import kernel
from objectives.contact_pass import pass_contact, touches
from objectives.hertz import effective_modulus, patch_half_widths
from objectives.phases import geometry_of
from objectives.thin_layer import THIN_LAYER_CHI_LARGEST
from objectives.wheel import PLAIN

#: share of a roller's radius, or of the tyre on a core, up to which small-strain contact laws are taken as good
COMPRESSION = 0.1
#: half-width over thickness from which a tyre on the floor is thin enough to stiffen (the law there is not verified)
FLOOR_CHI = 0.1
#: rad, lean up to which sine and angle differ by 1 %
LEAN = 0.25
#: share of the hub power that the running state's balance may miss
IMBALANCE = 0.02
#: share of the largest force that a patch at a roller's end may bear, and the share of its semi-axis that must stay on the
#: roller: beyond half of it Hertz's pressure carries (1 - x)^2 (2 + x)/4 = 16 % of the force
EDGE_SHARE = 0.5
PATCH_SHARE = 0.5
#: places of a pass that are looked at
PLACES = 33


@dataclass(frozen=True)
class Range:
    """A range of validity: ``left`` tells which candidates leave it, shape (n,)."""

    name: str
    meaning: str
    left: Callable[[Assessment], np.ndarray]


def largest_force(assessment: Assessment) -> np.ndarray:
    """Largest force of a contact with and without drive [N], shape (n,)."""
    return np.fmax(assessment.normal.contact_force_max, assessment.limits.contact_force_max)


def overlap(assessment: Assessment) -> np.ndarray:
    """Approach of the rollers under the largest force [m], shape (n,): delta = (N/k)^(2/3)."""
    return (largest_force(assessment) / assessment.extra["contact_stiffness"]) ** (2 / 3)


def soft_depth(assessment: Assessment) -> np.ndarray:
    """What an output roller's tyre can give way in [m], shape (n,): its radius, or the tyre on a core."""
    wheel = assessment.wheel
    return np.where(wheel.bore == PLAIN, wheel.output_roller_radius, wheel.tyre_thickness)


def compressed(assessment: Assessment) -> np.ndarray:
    """Either roller gives way by more than a tenth of its radius, or of its tyre."""
    share, approach = assessment.extra["compliance_share"], overlap(assessment)
    output, hub = share * approach / soft_depth(assessment), (1 - share) * approach / assessment.wheel.hub_roller_radius
    return np.maximum(output, hub) > COMPRESSION


@kernel
def _edge_openings(inputs: np.ndarray, moduli: np.ndarray, force: np.ndarray, found: np.ndarray) -> None:
    """Opening [m] of the pass where the patch first hangs over a roller's end, against the closest place.

    inf where it never does. ``inputs`` of kernel_inputs; ``moduli`` (n, 4) Young's modulus [Pa] and Poisson's ratio of both
    tyres; ``force`` (n,) [N].
    """
    for i in range(len(inputs)):
        g = geometry_of(inputs[i])
        modulus = effective_modulus(moduli[i, 0], moduli[i, 1], moduli[i, 2], moduli[i, 3])
        skew = math.atan2(g.sin_skew, g.cos_skew)
        reach, _ = patch_half_widths(g.output_radius, g.hub_radius, skew, modulus, force[i])
        half_pitch = math.pi / inputs[i, 11]
        closest = math.inf
        at_end = math.inf
        for k in range(PLACES):
            contact = pass_contact(g, half_pitch * (2.0 * k / (PLACES - 1) - 1.0))
            if not touches(g, contact):
                continue
            closest = min(closest, contact.gap)
            room = min(g.half_output_length - abs(contact.place_output), g.half_hub_length - abs(contact.place_hub))
            if room < PATCH_SHARE * reach:
                at_end = min(at_end, contact.gap)
        found[i] = at_end - closest if at_end < math.inf else math.inf


def at_edge(assessment: Assessment) -> np.ndarray:
    """The patch hangs over a roller's end where the contact still bears half of its largest force, ((d - gap)/d)^1.5."""
    wheel = assessment.wheel
    moduli = np.column_stack(
        [wheel.output_youngs_modulus, wheel.output_poisson_ratio, wheel.hub_youngs_modulus, wheel.hub_poisson_ratio]
    )
    opening = np.empty(len(wheel))
    _edge_openings(assessment.extra["kernel_inputs"], moduli, largest_force(assessment), opening)
    return opening < (1 - EDGE_SHARE ** (2 / 3)) * overlap(assessment)


def energy_missed(assessment: Assessment) -> np.ndarray:
    """The energy balance of a running state misses more than 2 % of the hub power."""
    return np.fmax.reduce(np.abs(assessment.running.residual), axis=1) > IMBALANCE


def own_floor_friction(assessment: Assessment) -> np.ndarray:
    """Whether the output tyre has a friction of its own for the floor, shape (n,)."""
    materials, floor = assessment.scenario.catalogue.materials, assessment.scenario.robot.floor
    known = np.array([floor in materials[name].friction_floor for name in assessment.wheel.tyre_names])
    return known[assessment.wheel.output_tyre]


def large_lean(assessment: Assessment) -> np.ndarray:
    """The lean to recover is no small angle."""
    return np.full(len(assessment.wheel), assessment.scenario.robot.recover_lean > LEAN)


RANGES: tuple[Range, ...] = (
    Range("compression", "a roller gives way by more than a tenth of its radius or tyre: Hertz is too soft", compressed),
    Range("patch_at_edge", "a loaded patch hangs over a roller's end by a sixth of its force: more pressure there", at_edge),
    Range("thin_tyre", "the patch between rollers is wide against the tyre's thickness: the contact is stiffer than computed",
          lambda a: a.extra["layer_chi"] > THIN_LAYER_CHI_LARGEST),
    Range("floor_thin_tyre", "the tyre on the floor is thin against its patch: its stiffness there is not verified",
          lambda a: a.extra["floor_chi"] > FLOOR_CHI),
    Range("floor_compression", "a tyre on the floor gives way by more than a tenth of its radius or thickness",
          lambda a: a.normal.floor_depth_max / soft_depth(a) > COMPRESSION),
    Range("floor_friction", "no friction of this tyre on this floor in the table: the floor's own is taken",
          lambda a: ~own_floor_friction(a)),
    Range("large_lean", "the lean to recover is over 14 degrees: the robot's motion is computed for small ones", large_lean),
    Range("energy_balance", "losses and floor power miss the hub power by more than 2 %", energy_missed),
)


def ranges_left(assessment: Assessment) -> list[str]:
    """Names of the ranges that each candidate leaves, joined with ``;``."""
    with np.errstate(all="ignore"):
        left = [np.where(range_.left(assessment), range_.name, "") for range_ in RANGES]
    return [";".join(filter(None, names)) for names in zip(*left, strict=True)]
