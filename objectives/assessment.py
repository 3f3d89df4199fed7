"""What is known of a batch of wheels once the mechanics have been computed: what objectives and constraints read.

n candidates, k load cases, P phases. SI units and radians. nan where a number is missing; ``status`` says why.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from objectives.scenario import Scenario
from objectives.wheel import WheelBatch


@dataclass(frozen=True)
class Layout:
    """How the unit is laid out along and around its shaft: what the mass, the constraints and the solids share. Shapes (n,)."""

    arm_neck: np.ndarray  # material left between the side washers of neighbouring output rollers
    hub_outside_radius: np.ndarray  # of a hub's body and rollers
    hub_inside_offset: np.ndarray  # of the hub body's inner face from the mid-plane, before closure
    hub_outside_offset: np.ndarray  # of the outer face of hub body and rollers from the mid-plane, without the gear
    hub_roller_room: np.ndarray  # between neighbouring hub rollers
    carrier_standoff: np.ndarray  # axial clearance hub rollers and hub body to carrier before closure
    carrier_outside_radius: np.ndarray
    gear_pitch_radius: np.ndarray
    pinion_pitch_radius: np.ndarray
    centre_distance: np.ndarray
    gear_width: np.ndarray
    gear_offset: np.ndarray  # of the gear's middle from the mid-plane
    radial_bearing: np.ndarray  # index into bearing_names; -1: none fits
    thrust_bearing: np.ndarray  # index into bearing_names; -1: none fits
    bearing_names: tuple[str, ...]
    bearing_spacing: np.ndarray  # between the two radial bearings of a hub, centre to centre
    carrier_half_width: np.ndarray  # of the carrier about its bearing; elsewhere half its thickness
    barrel_inside_offset: np.ndarray  # of a hub's barrel, which holds its bearings, from the mid-plane before closure
    barrel_outside_offset: np.ndarray
    barrel_radius: np.ndarray
    unit_half_width: np.ndarray  # from the mid-plane to the outermost part without the motors
    unit_width: np.ndarray  # over all parts, motors included


@dataclass(frozen=True)
class MassBreakdown:
    """Masses in kg, shapes (n,); ``parts`` by name adds up to ``total``."""

    total: np.ndarray
    parts: dict[str, np.ndarray]
    wheel_inertia: np.ndarray  # kg m^2, of what turns with the wheel about its axle
    print_time: np.ndarray  # s
    part_count: np.ndarray  # parts printed


@dataclass(frozen=True)
class LoadCases:
    """Load cases of a batch. Names and directions are shared, forces and speeds belong to the candidate."""

    names: tuple[str, ...]
    direction: np.ndarray  # (k,) rad
    force: np.ndarray  # (n, k) N at the floor
    speed: np.ndarray  # (n, k) m/s
    share: np.ndarray  # (k,) of the time, adds up to 1 over the duty; 0 for demands
    wheel_load: np.ndarray  # (n,) N on the floor

    def over_duty(self, values: np.ndarray) -> np.ndarray:
        """Sum over the duty of ``values`` (n, k, ...) times the shares, shape (n, ...).

        Demands, which have no share, are left out: a number that is missing there (nan) does not count. Added case by case:
        numpy's own sums add in another order in other batches.
        """
        total = np.zeros_like(values[:, 0])
        for case in np.flatnonzero(self.share > 0):
            total += values[:, case] * self.share[case]
        return total


@dataclass(frozen=True)
class NormalStates:
    """Frictionless equilibria over the phases. Shapes (n,) unless said."""

    contact_force_max: np.ndarray  # N, largest over phases and contacts
    contact_force_mean: np.ndarray  # N, over engaged contacts
    engaged_min: np.ndarray  # fewest loaded contacts on one side
    pass_gap_max: np.ndarray  # m, largest opening of a pass against its middle, over the places a roller is touched at
    closure_min: np.ndarray  # m, smallest closure of a hub over the phases (towards the mid-plane positive)
    closure_max: np.ndarray
    axle_height_min: np.ndarray  # m
    axle_height_max: np.ndarray
    axle_reaction_max: np.ndarray  # N, largest of an output roller's axle
    floor_force_max: np.ndarray  # N, largest on one output roller
    floor_depth_max: np.ndarray  # m, largest flattening of a tyre on the floor
    roller_shift_max: np.ndarray  # m, largest radial displacement of an output roller
    tilting_moment: np.ndarray  # N m, largest of a hub over the phases
    cogging_torque: np.ndarray  # N m, half the swing over a turn of one hub
    contact_energy_swing: np.ndarray  # J, swing of the hub contacts' energy of one roller over a pass on the floor
    equilibria: np.ndarray  # (n, P, EQUILIBRIUM) [m], from which running states start; nan where there is none


@dataclass(frozen=True)
class LimitStates:
    """Friction-coupled limit states. ``direction`` (d,) rad; forces in N at the floor."""

    direction: np.ndarray  # (d,)
    force: np.ndarray  # (n, d, P)
    worst: np.ndarray  # (n, d) smallest over the phases
    mean: np.ndarray  # (n, d)
    worst_phase: np.ndarray  # (n, d) index of the worst phase
    contact_force_max: np.ndarray  # (n,) N over phases and directions
    tilting_moment: np.ndarray  # (n,) N m over phases and directions
    axle_reaction_max: np.ndarray  # (n,) N
    closure_max: np.ndarray  # (n,) m, over phases and directions
    axle_height_min: np.ndarray  # (n,) m
    unresolved: np.ndarray  # (n,) int, states that did not converge
    without_contact: np.ndarray  # (n,) int, phases in which a side touches nothing

    def of(self, direction: float) -> int:
        """Position of a direction; raises KeyError where it was not solved."""
        match = np.flatnonzero(np.isclose(self.direction, direction, atol=1e-9))
        if not len(match):
            raise KeyError(f"direction {direction} rad was not solved")
        return int(match[0])


@dataclass(frozen=True)
class RunningStates:
    """The wheel running under every load case. Shapes (n, k) unless said; losses in W at the case's own speed."""

    hub_torque: np.ndarray  # (n, k, 2) N m, left and right, at the hubs, mean over phases, signed along +t
    hub_speed: np.ndarray  # (n, k, 2) rad/s
    speed_ratio: np.ndarray  # delivered over ideal sideways speed, mean over phases; nan without a sideways part
    speed_ripple: np.ndarray  # half the swing of that ratio over its mean
    losses: dict[str, np.ndarray]  # creep, output_bore, output_face, hub_bore, drilling, roller_hysteresis, floor_hysteresis
    roller_loss_peak: np.ndarray  # W put into the hardest-working output roller
    residual: np.ndarray  # of the energy balance: hub power less floor power less losses, over hub power
    unresolved: np.ndarray  # (n,) int


@dataclass(frozen=True)
class Drive:
    """Motors, gears and bearings under the load cases. Shapes (n, k) unless said."""

    motor_limit: np.ndarray  # N at the floor that the motors can give in the case's direction at its speed
    motor_torque: np.ndarray  # (n, k, 2) N m at the gearbox output, all losses included
    motor_speed: np.ndarray  # (n, k, 2) rad/s at the gearbox output
    motor_current: np.ndarray  # (n, k, 2) A
    losses: dict[str, np.ndarray]  # thrust_bearing, radial_bearing, gear_mesh, gearbox: W
    battery_current: np.ndarray  # (n,) A, mean over the duty
    run_time: np.ndarray  # (n,) s; nan without a battery
    continuous_torque_use: np.ndarray  # (n,) rms torque of the harder-working motor over its continuous torque
    tooth_bending_stress: np.ndarray  # (n,) Pa, Lewis, at the largest torque asked
    bearing_life: np.ndarray  # (n,) h, ISO 281, the shorter of radial and thrust at the duty
    top_speed_motor_limit: np.ndarray  # (n, 2) N, forward and reverse at top speed


@dataclass(frozen=True)
class Assessment:
    """Everything the objectives and constraints read."""

    wheel: WheelBatch
    scenario: Scenario
    layout: Layout
    mass: MassBreakdown
    cases: LoadCases
    normal: NormalStates
    limits: LimitStates
    running: RunningStates
    drive: Drive
    extra: dict[str, np.ndarray] = field(default_factory=dict)
