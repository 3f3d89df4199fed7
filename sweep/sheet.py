"""One design explained: everything that is known of it, worked out for whoever builds and drives it."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import pandas as pd

from objectives.assessment import Assessment
from objectives.catalogue import Bearing, Floor, Material, Motor
from objectives.layout import layout
from objectives.phases import phase_lattice
from objectives.scoring import assess, evaluate, has_shape
from objectives.units import DEG, MM, N_PER_MM, RPM
from objectives.validity import RANGES
from objectives.variables import VARIABLES
from objectives.wheel import wheel_batch
from sweep.errors import BadInput, Fault
from sweep.problem import scored
from sweep.sensitivity import Step, steps_from
from sweep.slacks import Room, rooms
from sweep.study import Study

#: coarse pitch of metric threads [mm] by diameter [mm], ISO 261 (value from memory)
COARSE_PITCH: Mapping[float, float] = {
    2.0: 0.4, 2.5: 0.45, 3.0: 0.5, 4.0: 0.7, 5.0: 0.8, 6.0: 1.0, 8.0: 1.25, 10.0: 1.5, 12.0: 1.75, 14.0: 2.0, 16.0: 2.0,
    18.0: 2.5, 20.0: 2.5, 24.0: 3.0, 30.0: 3.5,
}  # fmt: skip
#: directions of the table of limits
DIRECTIONS = (
    ("forward", 0.0),
    ("reverse", math.pi),
    ("sideways", math.pi / 2),
    ("forward diagonal", math.pi / 4),
    ("reverse diagonal", 3 * math.pi / 4),
)


@dataclass(frozen=True)
class Limit:
    """What the wheel can push in a direction. Forces in N at the floor; nan where a state was not found."""

    direction: str
    worst: float
    mean: float
    phase_deg: tuple[float, float, float]  # the worst phase: wheel, left hub, right hub, each within its pitch
    floor: float
    motor: float


@dataclass(frozen=True)
class Preload:
    """How to set the preload with the nut on the shaft."""

    thread: float  # mm, nominal diameter
    pitch: float  # mm
    deflection: float  # mm, of the spring from its first touch
    turns: float  # of the nut from first touch
    per_turn: float  # N
    lost_by_wear: float  # N, at 0.1 mm

    @staticmethod
    def of(force: float, stiffness: float, shaft: float) -> Preload:
        """From the preload [N], the stiffness behind a hub [N/mm] and the shaft's diameter [mm]: turns = F/(K p).

        The thread is the coarse one of the shaft's diameter, or of the next below.

        >>> round(Preload.of(120.0, 20.0, 10.0).turns, 9)
        4.0
        """
        thread = max((size for size in COARSE_PITCH if size <= shaft + 1e-9), default=min(COARSE_PITCH))
        pitch, deflection = COARSE_PITCH[thread], force / stiffness if stiffness > 0 else math.inf
        return Preload(thread, pitch, deflection, deflection / pitch, stiffness * pitch, 0.1 * stiffness)


@dataclass(frozen=True)
class Control:
    """Hub speeds from the robot's speed and back. Signs: hubs positive forwards, v_x forward, v_y to the right.

    Omega_left/right = v_x/R_w -+ v_y tan(gamma)/(R_c rho), rho the sideways speed delivered over the ideal one.
    """

    per_forward: float  # rad/s of a hub per m/s forward
    per_sideways: float  # rad/s of a hub per m/s sideways
    ratio: float  # motor (gearbox output) over hub speed

    @staticmethod
    def of(wheel_radius: float, circle_radius: float, skew: float, speed_ratio: float, ratio: float) -> Control:
        """From R_w and R_c [m], gamma [rad], rho and the gear ratio."""
        return Control(1 / wheel_radius, math.tan(skew) / (circle_radius * speed_ratio), ratio)

    def hubs(self, forward: float, right: float) -> tuple[float, float]:
        """Left and right hub [rad/s] for a speed [m/s].

        >>> Control.of(0.1, 0.05, math.pi / 4, 1.0, 2.0).hubs(1.0, 0.0)
        (10.0, 10.0)
        """
        return (forward * self.per_forward - right * self.per_sideways, forward * self.per_forward + right * self.per_sideways)

    def robot(self, left: float, right: float) -> tuple[float, float]:
        """Speed forward and to the right [m/s] from both hubs [rad/s]."""
        return (left + right) / (2 * self.per_forward), (right - left) / (2 * self.per_sideways)


@dataclass(frozen=True)
class Sheet:
    """A design with all that is told of it."""

    study: Study
    design: pd.Series  # variables and outputs, scored at ``phases``
    baseline: pd.Series | None  # the same of the baseline; None where there is none, or the design is it
    assessment: Assessment
    phases: int
    limits: tuple[Limit, ...]
    rooms: tuple[Room, ...]
    steps: tuple[Step, ...]
    preload: Preload
    control: Control
    ranges_left: Mapping[str, str]  # names of the validity ranges that are left, and what that means
    sources: Mapping[str, str]  # what the numbers rest on


def make_sheet(study: Study, design: pd.Series, baseline: pd.Series | None) -> Sheet:
    """Work a design out anew, at the phases of the front. Raises BadInput where it has no shape to compute."""
    scenario, phases = study.scenario, study.search.front_phases
    variables = pd.DataFrame([{variable.name: design[variable.name] for variable in VARIABLES}])
    wheel = wheel_batch(variables, scenario.catalogue, scenario.robot.floor)
    if not has_shape(wheel)[0]:
        status = str(design.get("status", "") or "its rollers have no size")
        raise BadInput([Fault("DESIGN", f"must be a wheel that can be computed: {status}", str(design["design"]))])
    assessment = assess(wheel, layout(wheel, scenario), scenario, phase_lattice(phases))

    def full(designs: pd.DataFrame, positions: int) -> pd.DataFrame:
        return evaluate(designs, scenario, phases=positions, geometry_first=False)

    own = scored(variables, phases, full).iloc[0]
    compared = None if baseline is None or baseline["design"] == own["design"] else baseline
    left = str(own["validity"]).split(";")
    return Sheet(
        study=study,
        design=own,
        baseline=compared,
        assessment=assessment,
        phases=phases,
        limits=tuple(_limit(assessment, name, angle, phases) for name, angle in DIRECTIONS),
        rooms=tuple(rooms(own, scenario)),
        steps=tuple(steps_from(variables, study, phases)),
        preload=Preload.of(
            float(wheel.preload[0]), float(wheel.preload_stiffness[0]) / N_PER_MM, scenario.build.shaft_diameter / MM
        ),
        control=Control.of(
            float(wheel.wheel_radius[0]), float(wheel.contact_circle_radius[0]), float(wheel.skew_angle[0]),
            float(own["sideways_speed_ratio"]), float(wheel.gear_teeth[0] / wheel.pinion_teeth[0]),
        ),
        ranges_left={entry.name: entry.meaning for entry in RANGES if entry.name in left},
        sources=_sources(assessment),
    )


def rpm(speed: float) -> float:
    """A speed [rad/s] in turns a minute."""
    return speed / RPM


def _limit(assessment: Assessment, name: str, angle: float, phases: int) -> Limit:
    limits, wheel = assessment.limits, assessment.wheel
    at = limits.of(angle)
    case = next(k for k, direction in enumerate(assessment.cases.direction) if math.isclose(direction, angle))
    shares = phase_lattice(phases)[limits.worst_phase[0, at]]
    pitches = [2 * math.pi / float(count[0]) / DEG for count in (wheel.output_roller_count, *2 * [wheel.hub_roller_count])]
    turned = tuple(float(share * pitch) for share, pitch in zip(shares, pitches, strict=True))
    return Limit(
        direction=name,
        worst=float(limits.worst[0, at]),
        mean=float(limits.mean[0, at]),
        phase_deg=(turned[0], turned[1], turned[2]),
        floor=float(wheel.friction_floor[0] * assessment.cases.wheel_load[0]),
        motor=float(assessment.drive.motor_limit[0, case]),
    )


def _sources(assessment: Assessment) -> dict[str, str]:
    """Where the numbers of the materials, floor, motor and bearings come from."""
    wheel, plan, scenario = assessment.wheel, assessment.layout, assessment.scenario
    catalogue = scenario.catalogue
    rows: list[Material | Floor | Motor | Bearing] = [
        catalogue.materials[wheel.tyre_names[int(wheel.output_tyre[0])]],
        catalogue.materials[wheel.tyre_names[int(wheel.hub_tyre[0])]],
        catalogue.materials[scenario.build.material],
        catalogue.floors[scenario.robot.floor],
        catalogue.motors[wheel.motor_names[int(wheel.motor[0])]],
        *(catalogue.bearings[plan.bearing_names[int(index[0])]] for index in (plan.radial_bearing, plan.thrust_bearing)
          if index[0] >= 0),
    ]  # fmt: skip
    return {row.name: row.source or "given by the study" for row in rows}
