"""Motors, gears and bearings under the load cases.

From the hubs outwards: bearing friction is added to the hub torque, the gear mesh and the gearbox take their share, and the
motor must stay under its torque-speed line. Which way power flows matters: a hub that drives needs more at the motor than
it gives, a hub that brakes gives the motor less. Derived here where no source is named.

Signs: hub torque and speed are positive along +t (forward); left first, right second. A motor's torque and speed carry the
signs of its hub; that the mesh turns their sense round is left out.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np

from objectives.assessment import Drive, Layout, LimitStates, LoadCases, RunningStates
from objectives.elements import (
    bearing_friction_moment,
    bearing_life,
    lewis_bending_stress,
    spur_mesh_efficiency,
)
from objectives.layout import bearing_figure
from objectives.scenario import Scenario
from objectives.units import HOUR
from objectives.wheel import WheelBatch

#: sense of left and right hub torque that drives the robot to the right; the only place where this sign stands. A hub's
#: torque along +t spins the rollers so that the floor pushes towards its own side.
RIGHTWARD = np.array([-1.0, 1.0])
#: sliding friction between printed teeth, little grease (common practice, 0.1 to 0.3)
TOOTH_FRICTION = 0.2
#: life exponent of roller bearings, ISO 281
ROLLER_EXPONENT = 10 / 3


class MotorLine(NamedTuple):
    """What the motors give at the supply's voltage, at the gearbox output. Shapes (n,)."""

    stall_torque: np.ndarray  # N m
    no_load_speed: np.ndarray  # rad/s
    peak_torque: np.ndarray  # N m
    torque_constant: np.ndarray  # V s/rad, voltage over no-load speed
    efficiency: np.ndarray  # of the gearbox
    resistance: np.ndarray  # ohm
    no_load_current: np.ndarray  # A


def motor_line(wheel: WheelBatch, scenario: Scenario) -> MotorLine:
    """Motor figures at the supply's voltage U: stall torque and no-load speed scale with U over the rated voltage.

    The torque constant follows from energy: voltage over no-load speed is what a rad/s at the output induces, and the same
    number is the torque per ampere there before the gearbox takes its share. The stall current is the stall torque over
    constant and efficiency, the resistance the rated voltage over it. The small voltage that the no-load current drops is
    left out.
    """
    rows = [scenario.catalogue.motors[name] for name in wheel.motor_names]
    figures = ("rated_voltage", "stall_torque", "no_load_speed", "peak_torque", "gearbox_efficiency", "no_load_current")
    rated, stall, speed, peak, efficiency, idle = (
        np.array([getattr(row, figure) for row in rows])[wheel.motor] for figure in figures
    )
    scale = scenario.supply_voltage / rated
    stall, peak = stall * wheel.motor_torque_factor, peak * wheel.motor_torque_factor
    constant = rated / speed
    return MotorLine(scale * stall, scale * speed, peak, constant, efficiency, rated * efficiency * constant / stall, idle)


def available_torque(line: MotorLine, speed: np.ndarray, driving: np.ndarray) -> np.ndarray:
    """Most torque of each motor at the gearbox output [N m], shape (n, k).

    T = min(T_stall (1 - |w|/w_0), T_peak), never below 0, while driving; while braking the induced voltage helps and the
    peak torque is the limit, T = min(T_stall (1 + |w|/w_0), T_peak).

    ``speed`` [rad/s] and ``driving`` (true where torque and speed agree in sense) have shape (n, k).
    """
    share = np.where(driving, -1, 1) * np.abs(speed) / line.no_load_speed[:, None]
    return np.clip(line.stall_torque[:, None] * (1 + share), 0, line.peak_torque[:, None])


def ideal_hub_torque(wheel: WheelBatch, direction: np.ndarray) -> np.ndarray:
    """Hub torque per force at the floor without losses [m], shape (n, k, 2).

    T/F = (cos(phi) R_w +- sin(phi) cot(gamma) R_c)/2, the sign by hub; ``direction`` phi [rad] has shape (k,).
    """
    forward = np.cos(direction)[None, :, None] * wheel.wheel_radius[:, None, None]
    lever = wheel.contact_circle_radius / np.tan(wheel.skew_angle)
    return (forward + RIGHTWARD * np.sin(direction)[None, :, None] * lever[:, None, None]) / 2


def motor_force_limit(
    line: MotorLine, transmission: np.ndarray, force: np.ndarray, torque: np.ndarray, speed: np.ndarray, slope: np.ndarray
) -> np.ndarray:
    """Largest force at the floor for which both motors stay under their torque-speed line, at the speed they run at.

    Hub torque is carried on from the running state by the ideal slope: T(F) = T_run + (F - F_run) slope.

    Parameters
    ----------
    line : MotorLine
        shapes (n,)
    transmission : array
        ratio of gear to pinion [-] and mesh efficiency [-], shape (2, n)
    force : array
        F_run [N], shape (n, k)
    torque : array
        T_run of the hubs, bearings included [N m], shape (n, k, 2)
    speed : array
        of the hubs [rad/s], shape (n, k, 2)
    slope : array
        [m], shape (n, k, 2)

    Returns
    -------
    array
        F [N], shape (n, k); 0 where a motor cannot turn that fast, inf where no motor is asked

    Validity: near the running state; beyond it the losses are taken to stay as they are there.

    Source: derived here.

    >>> line = MotorLine(*(np.array([value]) for value in (4.0, 10.0, 9.0, 1.0, 1.0, 1.0, 0.0)))
    >>> half = np.full((1, 1, 2), 0.05)
    >>> motor_force_limit(line, np.array([[2.0], [1.0]]), np.zeros((1, 1)), 0 * half, 0 * half, half)
    array([[160.]])
    """
    ratio, efficiency = transmission
    limits = []
    for side in range(2):
        sense = np.sign(slope[..., side])
        driving = sense * speed[..., side] >= 0
        motor_torque = available_torque(line, speed[..., side] * ratio[:, None], driving)
        loss = np.where(driving, efficiency[:, None], 1 / efficiency[:, None])
        most = sense * motor_torque * ratio[:, None] * loss
        limits.append(np.where(sense == 0, np.inf, force + (most - torque[..., side]) / slope[..., side]))
    return np.maximum(np.minimum(*limits), 0)


def radial_bearing_load(wheel: WheelBatch, layout: Layout, wheel_load: np.ndarray) -> np.ndarray:
    """Radial load on each of a hub's two bearings [N], shape (n,): W/4 + R_c W cot(beta)/(2 spacing).

    All the wheel load W goes through the hub rollers, half to each hub and there to two bearings; the contacts at the floor
    push the hub outwards at R_c with W cot(beta)/2, and the pair holds that moment. Axles that carry part of the load make
    it less; the forces of gear and drive, which are left out, make it more.
    """
    moment = wheel.contact_circle_radius * wheel_load / (2 * np.tan(wheel.contact_angle))
    return wheel_load / 4 + moment / layout.bearing_spacing


def drive(
    wheel: WheelBatch, layout: Layout, cases: LoadCases, running: RunningStates, limits: LimitStates, scenario: Scenario
) -> Drive:
    """Motors, gears and bearings under every load case. nan where the running state or a bearing is missing."""
    catalogue = scenario.catalogue
    with np.errstate(all="ignore"):
        line = motor_line(wheel, scenario)
        ratio = wheel.gear_teeth / wheel.pinion_teeth
        efficiency = spur_mesh_efficiency(wheel.pinion_teeth, wheel.gear_teeth, TOOTH_FRICTION)
        radial_load = radial_bearing_load(wheel, layout, cases.wheel_load)

        def of(bearing: np.ndarray, figure: str) -> np.ndarray:
            return bearing_figure(bearing, catalogue, figure)

        radial, thrust = layout.radial_bearing, layout.thrust_bearing
        thrust_mean_diameter = (of(thrust, "bore") + of(thrust, "outside")) / 2
        thrust_moment = bearing_friction_moment(of(thrust, "friction"), wheel.preload, thrust_mean_diameter)
        radial_moment = 2 * bearing_friction_moment(of(radial, "friction"), radial_load, of(radial, "bore"))
        turning = np.sign(running.hub_speed)
        hub_torque = running.hub_torque + (thrust_moment + radial_moment)[:, None, None] * turning
        hub_power = hub_torque * running.hub_speed
        driving = hub_power >= 0
        mesh = efficiency[:, None, None]
        motor_torque = hub_torque / ratio[:, None, None] * np.where(driving, 1 / mesh, mesh)
        motor_speed = running.hub_speed * ratio[:, None, None]
        motor_power = motor_torque * motor_speed
        gearbox = line.efficiency[:, None, None]
        constant = line.torque_constant[:, None, None]
        through_gearbox = np.where(driving, 1 / gearbox, gearbox)
        current = motor_torque * through_gearbox / constant + line.no_load_current[:, None, None] * turning
        electric = current * constant * motor_speed + current**2 * line.resistance[:, None, None]
        spin = np.abs(running.hub_speed).sum(axis=2)
        losses = {
            "thrust_bearing": thrust_moment[:, None] * spin,
            "radial_bearing": radial_moment[:, None] * spin,
            "gear_mesh": np.abs(motor_power - hub_power).sum(axis=2),
            "gearbox": np.abs(motor_power * (through_gearbox - 1)).sum(axis=2),
        }
        transmission = np.stack([ratio, efficiency])
        motor_limit = motor_force_limit(
            line, transmission, cases.force, hub_torque, running.hub_speed, ideal_hub_torque(wheel, cases.direction)
        )
        drawn = cases.over_duty(np.maximum(electric, 0).sum(axis=2))  # what braking gives back is not counted
        battery_current = drawn / scenario.supply_voltage
        continuous = np.array([catalogue.motors[name].continuous_torque for name in wheel.motor_names])[wheel.motor]
        continuous = continuous * wheel.motor_torque_factor
        effective_torque = np.sqrt(cases.over_duty(motor_torque**2)).max(axis=1)
        tooth_force = np.abs(motor_torque).max(axis=(1, 2)) / layout.pinion_pitch_radius
        tooth_stress = np.maximum(
            lewis_bending_stress(tooth_force, layout.gear_width, wheel.gear_module, wheel.pinion_teeth),
            lewis_bending_stress(tooth_force, layout.gear_width, wheel.gear_module, wheel.gear_teeth),
        )
        mean_speed = cases.over_duty(np.abs(running.hub_speed)).max(axis=1)
        life = np.minimum(
            bearing_life(of(radial, "dynamic_rating"), radial_load, mean_speed),
            bearing_life(of(thrust, "dynamic_rating"), wheel.preload, mean_speed, ROLLER_EXPONENT),
        )
        top_limits = [
            _top_speed_limit(wheel, line, transmission, cases, hub_torque, direction, scenario) for direction in (0.0, math.pi)
        ]
        return Drive(
            motor_limit=motor_limit,
            motor_torque=motor_torque,
            motor_speed=motor_speed,
            motor_current=current,
            losses=losses,
            battery_current=battery_current,
            run_time=scenario.battery_energy / (scenario.supply_voltage * battery_current),
            continuous_torque_use=effective_torque / continuous,
            tooth_bending_stress=tooth_stress,
            bearing_life=life / HOUR,
            top_speed_motor_limit=np.stack(top_limits, axis=1),
        )


def _top_speed_limit(
    wheel: WheelBatch, line: MotorLine, transmission: np.ndarray, cases: LoadCases, hub_torque: np.ndarray, direction: float,
    scenario: Scenario,
) -> np.ndarray:
    """Motor limit [N] at top speed, shape (n,): the hubs lose the torque they lose in the first case of that direction."""
    at = int(np.flatnonzero(np.isclose(cases.direction, direction))[0])
    pick = slice(at, at + 1)
    slope = ideal_hub_torque(wheel, cases.direction[pick])
    speed = np.repeat(scenario.robot.top_speed * math.cos(direction) / wheel.wheel_radius[:, None, None], 2, axis=2)
    return motor_force_limit(line, transmission, cases.force[:, pick], hub_torque[:, pick], speed, slope)[:, 0]
