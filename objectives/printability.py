"""Objective: how readily the wheel prints, 0 to 1.

A weighted geometric mean of desirabilities, each a ramp from 0 (not printable) to 1 (nothing left to wish for); one 0
makes the whole 0. Derringer & Suich 1980, *J. Quality Technology* 12:214 (from memory). The ends of the ramps are common
practice of fused filament printing.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from objectives.assessment import Assessment
from objectives.geometry_constraints import lowest_part_radius
from objectives.layout import hub_roller_mount, line_width
from objectives.units import DEG, HOUR
from objectives.wheel import PLAIN


def ramp(value: np.ndarray, worst: float, best: float) -> np.ndarray:
    """Linear desirability [-], any shape: 0 at ``worst`` and beyond, 1 at ``best`` and beyond, in either order.

    Derringer and Suich's one-sided function with exponent 1.

    >>> ramp(np.array([0.0, 1.0, 2.0, 3.0]), 2.5, 0.5).tolist()
    [1.0, 0.75, 0.25, 0.0]
    """
    return np.clip((value - worst) / (best - worst), 0.0, 1.0)


def walls(assessment: Assessment) -> np.ndarray:
    """Thinnest of arm neck and wall between hub pockets [-]: 0 at two lines, the least that prints, 1 at eight."""
    printer = assessment.scenario.printer
    pocket_wall = assessment.layout.hub_roller_room - 2 * printer.clearance
    lines = np.minimum(assessment.layout.arm_neck, pocket_wall) / line_width(printer)
    return ramp(lines, 2, 8)


def clearances(assessment: Assessment) -> np.ndarray:
    """Tightest moving clearance over what this printer needs [-]: 0 at a third of it (it fuses), 1 at the whole.

    Hub to carrier counts always, the play of a roller on its axle only in a printed bore (reamed or bought bores are not
    a matter of the printer).
    """
    wheel, layout = assessment.wheel, assessment.layout
    play = np.where(wheel.bore == PLAIN, wheel.bore_play, np.inf)
    return ramp(np.minimum(layout.carrier_standoff, play) / assessment.scenario.printer.clearance, 1 / 3, 1)


def overhang(assessment: Assessment) -> np.ndarray:
    """Lean of the hub pockets' end walls, the angle of the roller's axis out of the bed's plane [-]: 1 at 45 deg, 0 at 75."""
    lean = np.arcsin(hub_roller_mount(assessment.wheel, assessment.scenario).axis_y)
    return ramp(lean, 75 * DEG, 45 * DEG)


def bed_fit(assessment: Assessment) -> np.ndarray:
    """Diameter of the largest part over the bed's shorter side [-]: 1 up to 0.9, 0 at 1."""
    size = 2 * lowest_part_radius(assessment) / min(assessment.scenario.printer.bed[:2])
    return ramp(size, 1.0, 0.9)


def print_time(assessment: Assessment) -> np.ndarray:
    """Time to print everything [-], on a logarithmic scale: 1 at 12 h, 0 at 200 h."""
    return ramp(np.log(assessment.mass.print_time / HOUR), np.log(200), np.log(12))


def soft_wall(assessment: Assessment) -> np.ndarray:
    """Thickness of the output rollers' tyre [-]: 0 at two lines, 1 at eight, where the infill no longer shows."""
    return ramp(assessment.wheel.tyre_thickness / line_width(assessment.scenario.printer), 2, 8)


def part_count(assessment: Assessment) -> np.ndarray:
    """Number of printed parts [-]: 1 at 30, 0 at 200."""
    return ramp(assessment.mass.part_count, 200, 30)


#: desirabilities and their weights
DESIRABILITIES: tuple[tuple[Callable[[Assessment], np.ndarray], float], ...] = (
    (walls, 2.0),
    (clearances, 2.0),
    (overhang, 1.0),
    (bed_fit, 1.0),
    (print_time, 1.0),
    (soft_wall, 1.0),
    (part_count, 1.0),
)


def printability(assessment: Assessment) -> np.ndarray:
    """Overall desirability [-], shape (n,): D = (prod d_i^w_i)^(1/sum w_i)."""
    with np.errstate(all="ignore"):
        weighted = [desirability(assessment) ** weight for desirability, weight in DESIRABILITIES]
        return np.prod(weighted, axis=0) ** (1 / sum(weight for _, weight in DESIRABILITIES))
