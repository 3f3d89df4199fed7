"""Where the rollers and hubs of a wheel come to rest in a phase, and how deep they press into each other there.

The kernels' equilibrium without drive forces, in mm for whoever places solids.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from objectives.contact_pass import pass_contact, touches
from objectives.contacts import contact_constants
from objectives.equilibrium import cold_start, solve_equilibrium
from objectives.geometry_constraints import GeometryPlan
from objectives.mass import mass_breakdown
from objectives.phases import begin_phase, geometry_of, kernel_inputs, laws_of
from objectives.robot import load_cases
from objectives.states import TOLERANCE
from objectives.units import MM
from objectives.workspace import U, V, new_workspace
from sweep.cad.assembly import Shift
from sweep.errors import SweepFailure


@dataclass(frozen=True)
class Meeting:
    """A hub roller and the output roller nearest to it."""

    side: int  # +1 left, -1 right
    hub_roller: int
    output_roller: int
    overlap: float  # mm, negative where they stay apart
    on_both: bool  # the place of contact lies on both rollers


@dataclass(frozen=True)
class Resting:
    """A phase at rest."""

    shift: Shift
    meetings: tuple[Meeting, ...]
    floor_depths: tuple[float, ...]  # mm, of the deepest point of each output roller under the floor; negative above it


def resting(plan: GeometryPlan, phase: tuple[float, float, float]) -> Resting:
    """The equilibrium of one phase (shares of a pitch). Raises SweepFailure where it is not found."""
    wheel = plan.wheel
    masses = mass_breakdown(wheel, plan.layout, plan.scenario)
    cases = load_cases(wheel, masses.total, masses.wheel_inertia, plan.scenario)
    row = kernel_inputs(wheel, contact_constants(wheel, cases.wheel_load), cases.wheel_load)[0]
    g, laws, work = geometry_of(row), laws_of(row), new_workspace()
    border, nothing = np.zeros(3), np.zeros(2)
    standing = begin_phase(g, laws, np.array(phase), False, work)
    steps = -1
    if standing >= 0:
        cold_start(g, laws, standing, work, border)
        steps, _, _ = solve_equilibrium(g, laws, standing, work, border, 0.0, nothing, nothing, TOLERANCE)
    if steps < 0:
        raise SweepFailure(f"no equilibrium in the phase {phase}", safe="nothing was written", go_on="build another design")
    n, m = laws.output_count, laws.hub_count
    u, v = work.unknowns[U : U + n], work.unknowns[V : V + n]
    meetings = []
    pitch = 2 * math.pi / n
    for index, side in enumerate((1, -1)):
        for j in range(m):
            angle = phase[1 + index] * 2 * math.pi / m + 2 * math.pi * j / m
            nearest = math.floor(angle / pitch + 0.5)
            contact, i = pass_contact(g, angle - nearest * pitch), nearest % n
            overlap = contact.inward * u[i] + contact.axial * (border[index] + side * v[i]) - contact.gap
            meetings.append(Meeting(side, j, i, overlap / MM, bool(touches(g, contact))))
    depths = []
    for i in range(n):
        theta = (phase[0] + i) * pitch
        z = np.linspace(-g.half_output_length, g.half_output_length, 2001)
        radius = (1 - g.crown) * g.output_radius + g.crown * (np.sqrt(g.wheel_radius**2 - z**2) - g.pitch_radius)
        reach = (g.pitch_radius - u[i] + radius) * math.cos(theta) + z * math.sin(theta)
        depths.append(float(reach.max() - border[2]) / MM if math.cos(theta) > 0 else -math.inf)
    shift = Shift(
        tuple(float(value) / MM for value in u), tuple(float(value) / MM for value in v),
        (float(border[0]) / MM, float(border[1]) / MM), float(border[2]) / MM,
    )  # fmt: skip
    return Resting(shift, tuple(meetings), tuple(depths))
