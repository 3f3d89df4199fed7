"""A design looked at all round: in every direction of drive, and along the positions that it passes through as it drives."""

from __future__ import annotations

import dataclasses
import math
from dataclasses import dataclass

import numpy as np

from objectives.assessment import Assessment
from objectives.phases import phase_lattice
from objectives.scenario import Case
from objectives.scoring import assess
from objectives.states import solve_states
from objectives.units import DEG, RPM

#: positions along a pass
STATIONS = 61
#: directions from forward over right to reverse
RING = 13
#: positions of the wheel at which the directions in between are worked out
RING_PHASES = 32


@dataclass(frozen=True)
class Pass:
    """Limit of one direction at the positions that a pass takes the wheel through."""

    direction: str
    share: np.ndarray  # (s,) of the pass, 0 to 1
    force: np.ndarray  # (s,) N at the floor; nan where a state was not found
    worst: float  # N, over all positions looked at


@dataclass(frozen=True)
class Ring:
    """Limits and motors over the directions of drive, at the force and speed of the robot's own effort.

    Directions run once round, clockwise seen from above. Motors: left, right; at the gearbox output, signed as the hubs.
    """

    direction_deg: np.ndarray  # (d,) 0 forward, 90 right, 180 reverse, 270 left
    friction: np.ndarray  # (d,) N, worst of the positions looked at
    motor: np.ndarray  # (d,) N
    floor: float  # N
    speed: np.ndarray  # (d, 2) 1/min
    torque: np.ndarray  # (d, 2) N m
    current: np.ndarray  # (d, 2) A


def passes(assessment: Assessment, directions: tuple[tuple[str, float], ...], phases: int) -> list[Pass]:
    """Limit of each direction [rad] along a pass through its worst position.

    Forward and reverse the hubs stand still against the carrier and the next output roller comes down to the floor: the
    carrier turns by 2 pi/N. Sideways the carrier stands and the next hub rollers pass, the left hub by -2 pi/M, the right one
    by 2 pi/M. On a diagonal both go on by a pitch. Without creep.
    """
    lattice, limits, found = phase_lattice(phases), assessment.limits, []
    along = np.linspace(0.0, 1.0, STATIONS)
    for name, angle in directions:
        at = limits.of(angle)
        start = lattice[limits.worst_phase[0, at]]
        turns = np.array([abs(math.cos(angle)) > 1e-9, abs(math.sin(angle)) > 1e-9, abs(math.sin(angle)) > 1e-9])
        rates = turns * np.array([math.copysign(1.0, math.cos(angle)), -1.0, 1.0])
        positions = (start + (along - 0.5)[:, None] * rates) % 1.0
        inputs = assessment.extra["kernel_inputs"]
        _, states = solve_states(inputs, limits.direction, positions)
        found.append(Pass(name, along, states.force[0, at], float(limits.worst[0, at])))
    return found


def ring(assessment: Assessment) -> Ring:
    """Limits and motors in every direction. Left mirrors right, with the motors exchanged."""
    cases = assessment.cases
    forward, right = (
        next(k for k, angle in enumerate(cases.direction) if math.isclose(angle, wanted, abs_tol=1e-9))
        for wanted in (0.0, math.pi / 2)
    )
    angles = np.linspace(0.0, math.pi, RING)

    def along(of: np.ndarray, angle: float) -> float:
        return math.hypot(float(of[0, forward]) * math.cos(angle), float(of[0, right]) * math.sin(angle))

    asked = tuple(
        Case(f"direction {angle / DEG:.0f}", float(angle), along(cases.force, angle), along(cases.speed, angle))
        for angle in angles
    )
    scenario = dataclasses.replace(assessment.scenario, demand=asked)
    judged = assess(assessment.wheel, assessment.layout, scenario, phase_lattice(RING_PHASES))
    drive, rows = judged.drive, slice(-RING, None)
    friction = np.array([judged.limits.worst[0, judged.limits.of(float(angle))] for angle in angles])

    def round_(values: np.ndarray, exchange: bool = False) -> np.ndarray:
        back = values[-2:0:-1]
        return np.concatenate([values, back[:, ::-1] if exchange else back, values[:1]])

    return Ring(
        direction_deg=np.concatenate([angles / DEG, 360.0 - angles[-2:0:-1] / DEG, [360.0]]),
        friction=round_(friction),
        motor=round_(drive.motor_limit[0, rows]),
        floor=float(assessment.wheel.friction_floor[0] * cases.wheel_load[0]),
        speed=round_(drive.motor_speed[0, rows], True) / RPM,
        torque=round_(drive.motor_torque[0, rows], True),
        current=round_(drive.motor_current[0, rows], True),
    )
