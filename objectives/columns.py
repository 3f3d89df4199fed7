"""The numbers that scoring gives beside objectives and constraints: name, unit, meaning and where each comes from."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from functools import partial

import numpy as np

from objectives import constraints
from objectives.assessment import Assessment
from objectives.free_spin import binding_clearance, free_spin_torque, preload_swing
from objectives.friction_loss import losses_by_name
from objectives.geometry_constraints import WEAR, pull_in_ratio, pull_in_ratio_min, wedge_factor
from objectives.heat import roller_temperature_rise, time_to_service_temperature
from objectives.units import HOUR, MM, MPA, N_PER_MM15

#: unit of a plain number, and of a column of words
NUMBER, WORDS = "1", ""

#: what a drive limit's name says, and its directions [rad]; of two, the one with the lower drive limit counts
DIRECTIONS: dict[str, tuple[float, ...]] = {
    "forward": (0.0,),
    "reverse": (math.pi,),
    "sideways": (math.pi / 2,),
    "diagonal": (math.pi / 4, 3 * math.pi / 4),
}

#: losses by name, and what they are
LOSSES: dict[str, str] = {
    "creep": "creep between hub rollers and output rollers",
    "output_bore": "bores of the output rollers on their axles",
    "output_face": "end faces of the output rollers on their washers",
    "hub_bore": "bores and washers of the hub rollers",
    "drilling": "spin of the contacts about their normals",
    "roller_hysteresis": "rolling of hub rollers and output rollers on each other",
    "floor_hysteresis": "rolling of the output rollers on the floor, and their passes forwards",
    "thrust_bearing": "thrust bearings of the hubs",
    "radial_bearing": "radial bearings of the hubs",
    "gear_mesh": "pinions and gears",
    "gearbox": "gearboxes of the motors",
}


@dataclass(frozen=True)
class Column:
    """What an output column holds: its unit (NUMBER or WORDS where it has none) and its meaning."""

    unit: str
    meaning: str


@dataclass(frozen=True)
class Output:
    """A number that follows from an assessment: ``function`` gives it in SI units, shape (n,); ``factor`` is SI per unit."""

    name: str
    unit: str
    meaning: str
    function: Callable[[Assessment], np.ndarray]
    factor: float = 1.0

    def of(self, assessment: Assessment) -> np.ndarray:
        """The column's values, in its unit."""
        with np.errstate(all="ignore"):
            return self.function(assessment) / self.factor


def weaker(assessment: Assessment, name: str) -> tuple[np.ndarray, np.ndarray]:
    """Rows and positions in ``limits.direction`` of the direction with the lower drive limit, nan first, shapes (n,)."""
    solved = np.array([assessment.limits.of(angle) for angle in DIRECTIONS[name]])
    rows = np.arange(len(assessment.wheel))
    return rows, solved[assessment.limits.worst[:, solved].argmin(axis=1)]


def drive_limit(assessment: Assessment, name: str) -> np.ndarray:
    """Drive limit of the worst phase [N], shape (n,)."""
    return assessment.limits.worst[weaker(assessment, name)]


def drive_limit_mean(assessment: Assessment, name: str) -> np.ndarray:
    """Mean of that direction's drive limit over the phases [N], shape (n,)."""
    return assessment.limits.mean[weaker(assessment, name)]


def worst_phase(assessment: Assessment, name: str) -> np.ndarray:
    """Index of that direction's worst phase, shape (n,); nan without a drive limit."""
    at = weaker(assessment, name)
    return np.where(np.isnan(assessment.limits.worst[at]), np.nan, assessment.limits.worst_phase[at])


def motor_limit(assessment: Assessment, name: str) -> np.ndarray:
    """Lowest motor limit of the robot's own efforts in these directions [N], shape (n,). Efforts come first of all cases."""
    cases = [np.flatnonzero(np.isclose(assessment.cases.direction, angle))[0] for angle in DIRECTIONS[name]]
    return assessment.drive.motor_limit[:, cases].min(axis=1)


def over_sideways_duty(assessment: Assessment, values: np.ndarray) -> np.ndarray:
    """Mean of ``values`` (n, k) over the duty's cases with a sideways part, by their share; the sideways effort's without."""
    direction, share = assessment.cases.direction, assessment.cases.share
    cases = np.flatnonzero((np.abs(np.sin(direction)) > 1e-9) & (share > 0))
    if not len(cases):
        return values[:, np.flatnonzero(np.isclose(direction, math.pi / 2))[0]]
    return sum(values[:, case] * share[case] for case in cases) / share[cases].sum()


def loss(assessment: Assessment, name: str) -> np.ndarray:
    """One of the losses over the duty [W], shape (n,)."""
    return losses_by_name(assessment)[name]


OUTPUTS: tuple[Output, ...] = (
    *(
        output
        for name in DIRECTIONS
        for output in (
            Output(f"drive_limit_{name}_N", "N", f"friction drive limit {name} at the floor, worst phase",
                   partial(drive_limit, name=name)),
            Output(f"drive_limit_{name}_mean_N", "N", f"friction drive limit {name}, mean over the phases",
                   partial(drive_limit_mean, name=name)),
            Output(f"drive_limit_{name}_worst_phase", NUMBER, f"index of the phase with the lowest limit {name}",
                   partial(worst_phase, name=name)),
            Output(f"motor_limit_{name}_N", "N", f"what the motors can give {name} at the floor, at that effort's speed",
                   partial(motor_limit, name=name)),
        )
    ),
    Output("motor_limit_forward_top_speed_N", "N", "what the motors can give forward at top speed",
           lambda a: a.drive.top_speed_motor_limit[:, 0]),
    Output("motor_limit_reverse_top_speed_N", "N", "what the motors can give in reverse at top speed",
           lambda a: a.drive.top_speed_motor_limit[:, 1]),
    Output("floor_limit_N", "N", "what the floor can take: its friction times the wheel load", constraints.floor_limit),
    Output("floor_grip", NUMBER, "floor limit over the largest force asked", lambda a: constraints.floor_grip(a) + 1),
    Output("motor_margin", NUMBER, "smallest motor limit over force asked of all load cases",
           lambda a: constraints.motor_margin(a) + 1),
    Output("wheel_load_N", "N", "load on the floor under the wheel", lambda a: a.cases.wheel_load),
    Output("hub_tilting_moment_Nm", "N m", "largest tilting moment of a hub, with and without drive",
           lambda a: np.maximum(a.normal.tilting_moment, a.limits.tilting_moment)),
    Output("preload_loss_N", "N", "preload lost with 0.1 mm of wear", lambda a: a.wheel.preload_stiffness * WEAR),
    Output("cogging_torque_Nm", "N m", "half the swing of a hub's torque as it turns without drive",
           lambda a: a.normal.cogging_torque),
    Output("roller_temperature_rise_K", "K", "steady rise of the hardest-working output roller over the air at the duty",
           roller_temperature_rise),
    Output("held_time_s", "s", "how long the robot may push against a stop until a soft roller reaches its service temperature",
           time_to_service_temperature),
    Output("free_spin_torque_Nm", "N m", "torque of a hub turned against the other off the floor, without motors",
           free_spin_torque),
    Output("binding_clearance_mm", "mm", "least room of hub to carrier, roller on axle and in its pocket, as built",
           binding_clearance, MM),
    Output("preload_swing_N", "N", "how far the preload rises and falls as the wheel turns: passes and run-out", preload_swing),
    Output("battery_current_A", "A", "mean current from the supply at the duty", lambda a: a.drive.battery_current),
    Output("run_time_h", "h", "how long the battery lasts at the duty", lambda a: a.drive.run_time, HOUR),
    Output("contact_force_max_N", "N", "largest force of a contact over the phases, no drive",
           lambda a: a.normal.contact_force_max),
    Output("contact_force_drive_max_N", "N", "largest force of a contact over phases and directions at the drive limit",
           lambda a: a.limits.contact_force_max),
    Output("contact_pressure_max_MPa", "MPa", "peak pressure between rollers at the largest force without drive",
           constraints.contact_pressure, MPA),
    Output("engaged_min", NUMBER, "fewest loaded contacts on a side over the phases", lambda a: a.normal.engaged_min),
    Output("wedge_factor", NUMBER, "largest mu |a_y|/|n_y| over a pass; near 1 the hubs lock", lambda a: wedge_factor(a.wheel)),
    Output("pull_in_ratio", NUMBER, "tan(beta)/(mu sin(gamma)); near 1 friction in reverse pulls the rollers inwards",
           lambda a: pull_in_ratio(a.wheel)),
    Output("pull_in_ratio_min", NUMBER, "least over a pass; under 1 friction in reverse pulls a roller in through its play",
           lambda a: pull_in_ratio_min(a.wheel)),
    Output("pass_gap_max_mm", "mm", "largest opening of a pass against its middle", lambda a: a.normal.pass_gap_max, MM),
    Output("closure_max_mm", "mm", "furthest that a hub closes", lambda a: a.normal.closure_max, MM),
    Output("roller_shift_max_mm", "mm", "largest radial displacement of an output roller",
           lambda a: a.normal.roller_shift_max, MM),
    Output("floor_depth_max_mm", "mm", "largest flattening of a tyre on the floor", lambda a: a.normal.floor_depth_max, MM),
    Output("ride_height_ripple_mm", "mm", "swing of the axle's height over the phases",
           lambda a: a.normal.axle_height_max - a.normal.axle_height_min, MM),
    Output("sideways_speed_ratio", NUMBER, "sideways speed delivered over ideal, at the duty's cases with a sideways part",
           lambda a: over_sideways_duty(a, a.running.speed_ratio)),
    Output("sideways_speed_ripple", NUMBER, "half the swing of that ratio over its mean",
           lambda a: over_sideways_duty(a, a.running.speed_ripple)),
    *(
        Output(f"loss_{name}_W", "W", f"loss over the duty: {meaning}", partial(loss, name=name))
        for name, meaning in LOSSES.items()
    ),
    Output("output_roller_length_mm", "mm", "length of an output roller", lambda a: a.wheel.output_roller_length, MM),
    Output("contact_circle_radius_mm", "mm", "radius of the circle that the contacts lie on",
           lambda a: a.wheel.contact_circle_radius, MM),
    Output("contact_stiffness_N_per_mm15", "N/mm^1.5", "k of N = k delta^1.5 between rollers, without a thin tyre's factor",
           lambda a: a.extra["hertz_stiffness"], N_PER_MM15),
    Output("wheel_unit_width_mm", "mm", "over all parts, motors included", lambda a: a.layout.unit_width, MM),
    Output("print_time_h", "h", "time to print all parts", lambda a: a.mass.print_time, HOUR),
)
