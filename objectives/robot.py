"""What the robot asks of its wheel: the load cases.

A balancing robot recovers from a lean by an acceleration of the wheel's axle, first one way and then the other, until it is
upright and at rest on the wheel. Forward it is two masses with the motor's reaction on the body; sideways robot and wheel
are one rigid body about the floor line. Linear (small leans), no slip. Derived here.

An acceleration is commanded, not a force: under a constant force at the floor the body's own fast mode sets the pace, and
as its radius of gyration goes to 0 that mode's rate, and with it the peak speed, grow without bound. Under an acceleration
the limit is the point mass.

Directions: 0 forward, pi reverse, +pi/2 right; left mirrors right.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np

from objectives.assessment import LoadCases
from objectives.scenario import Case, Scenario
from objectives.units import GRAVITY
from objectives.wheel import WheelBatch

#: part of the top speeds that the duty is driven at
CRUISE_SPEED = 0.6
#: part of the lean to recover (or of the acceleration and slope) that goes on all the time while cruising
CRUISE_EFFORT = 0.25
#: how the duty is made from the robot: name, direction, share of the time
CRUISE = (
    ("cruise forward", 0.0, 0.4),
    ("cruise reverse", math.pi, 0.1),
    ("cruise right", math.pi / 2, 0.3),
    ("cruise forward diagonal", math.pi / 4, 0.2),
)
#: directions in which the robot must recover, or accelerate
EFFORT = (
    ("forward", 0.0),
    ("reverse", math.pi),
    ("right", math.pi / 2),
    ("forward diagonal", math.pi / 4),
    ("reverse diagonal", 3 * math.pi / 4),
)


class Lean(NamedTuple):
    """How a lean along one axis behaves: theta'' = growth_rate^2 (theta - lean_per_acceleration a). Shapes (n,)."""

    growth_rate: np.ndarray  # 1/s, mu
    lean_per_acceleration: np.ndarray  # rad/(m/s^2): the lean that an acceleration holds
    accelerated_mass: np.ndarray  # kg, force at the floor over acceleration while a lean is held


class Recovery(NamedTuple):
    """Recovery from a lean at rest to upright. Shapes (n,)."""

    acceleration: np.ndarray  # m/s^2, first one way, then the other
    switch_time: np.ndarray  # s, when the acceleration turns round
    total_time: np.ndarray  # s, when the body is upright and its lean at rest
    peak_speed: np.ndarray  # m/s, of the axle, at the switch


def forward_lean(
    body_mass: float, centre_height: float, gyration: float, wheel_mass: np.ndarray, wheel_inertia: np.ndarray,
    wheel_radius: np.ndarray,
) -> Lean:
    """Lean of a body on a wheel whose motor reacts on it.

    (M l^2 + I_b + R M l) theta'' = M g l theta - (M l + R M_t) a, with l = H - R, I_b = M k^2, M_t = M + m_w + I_w/R^2.

    Parameters
    ----------
    body_mass : float
        M, of the robot without the wheel unit [kg], scalar
    centre_height : float
        H, of its centre of mass above the floor [m], scalar
    gyration : float
        k, its radius of gyration about the centre of mass [m], scalar
    wheel_mass : array
        m_w, at the axle [kg], shape (n,)
    wheel_inertia : array
        I_w, about the axle [kg m^2], shape (n,)
    wheel_radius : array
        R [m], shape (n,)

    Returns
    -------
    Lean
        shapes (n,); nan where the centre of mass is not above the axle

    Validity: small leans; floor force (M + m_w) a while the lean is held. Below the axle a body does not fall over: nan.

    Source: derived here (Newton and Euler for wheel and body, the motor's torque eliminated); checked by integration.

    >>> lean = forward_lean(10.0, 0.3, 0.0, np.array([0.0]), np.array([0.0]), np.array([1e-9]))
    >>> bool(np.isclose(lean.growth_rate[0], (GRAVITY / 0.3) ** 0.5))
    True
    """
    lever = np.where(centre_height > wheel_radius, centre_height - wheel_radius, np.nan)
    total_mass = body_mass + wheel_mass + wheel_inertia / wheel_radius**2
    moment = body_mass * lever
    inertia = moment * lever + body_mass * gyration**2 + wheel_radius * moment
    return Lean(
        growth_rate=np.sqrt(moment * GRAVITY / inertia),
        lean_per_acceleration=(moment + wheel_radius * total_mass) / (moment * GRAVITY),
        accelerated_mass=body_mass + wheel_mass,
    )


def sideways_lean(
    body_mass: float, centre_height: float, gyration: float, wheel_mass: np.ndarray, wheel_inertia: np.ndarray,
    wheel_radius: np.ndarray,
) -> Lean:
    """Lean of robot and wheel as one rigid body about the line it stands on.

    (I_c + m h^2) phi'' = m g h phi - m h a, with m and h of robot and wheel together; the wheel, a flat ring, adds I_w/2.

    Parameters
    ----------
    body_mass : float
        of the robot without the wheel unit [kg], scalar
    centre_height : float
        of its centre of mass above the floor [m], scalar
    gyration : float
        its radius of gyration about the centre of mass [m], scalar
    wheel_mass : array
        at the axle [kg], shape (n,)
    wheel_inertia : array
        I_w, about the axle [kg m^2], shape (n,)
    wheel_radius : array
        [m], shape (n,)

    Returns
    -------
    Lean
        shapes (n,)

    Validity: small leans; the rollers' own inertia is left out.

    Source: derived here.

    >>> lean = sideways_lean(10.0, 0.3, 0.0, np.array([0.0]), np.array([0.0]), np.array([0.1]))
    >>> bool(np.isclose(lean.growth_rate[0], (GRAVITY / 0.3) ** 0.5))
    True
    """
    mass = body_mass + wheel_mass
    moment = body_mass * centre_height + wheel_mass * wheel_radius
    about_floor = body_mass * (gyration**2 + centre_height**2) + wheel_mass * wheel_radius**2 + wheel_inertia / 2
    return Lean(
        growth_rate=np.sqrt(moment * GRAVITY / about_floor),
        lean_per_acceleration=np.full_like(mass, 1 / GRAVITY),
        accelerated_mass=mass,
    )


def recovery(lean: Lean, angle: float, reserve: float) -> Recovery:
    """Recovery from ``angle`` by ``reserve`` times the acceleration that would hold it, first one way, then the other.

    With y = theta/angle and time in 1/mu: y'' = y - k_r, then y'' = y + k_r, from y = 1 to y = 0, both at rest. Joined at
    the switch: cosh(mu t1) = C = (3 + (1 - x0)^2)/(4 (1 - x0)), x0 = 1/k_r; sinh(mu t2) = (1 - x0) sinh(mu t1);
    peak speed a t1. Afterwards the wheel still moves at a (t1 - t2).

    Parameters
    ----------
    lean : Lean
        growth rate [1/s] and lean per acceleration [rad s^2/m], shapes (n,)
    angle : float
        lean at the start [rad], scalar
    reserve : float
        k_r [-], scalar

    Returns
    -------
    Recovery
        shapes (n,); nan where the reserve is not above 1

    Validity: reserve > 1 (at 1 the lean is only held); small angles.

    Source: derived here. For a point mass on a massless wheel it is a = k_r g theta, v = a arccosh(C)/sqrt(g/h).

    >>> lean = sideways_lean(1.0, 0.3, 0.0, np.zeros(1), np.zeros(1), np.ones(1))
    >>> recovery(lean, 0.1, 1.5).peak_speed.round(4)
    array([0.3836])
    """
    left = 1 - 1 / reserve if reserve > 1 else math.nan
    turning = (3 + left**2) / (4 * left)
    first = math.acosh(turning) if left <= 1 else math.nan
    second = math.asinh(left * math.sinh(first))
    acceleration = reserve * angle / lean.lean_per_acceleration
    switch = first / lean.growth_rate
    return Recovery(acceleration, switch, (first + second) / lean.growth_rate, acceleration * switch)


def load_cases(wheel: WheelBatch, unit_mass: np.ndarray, wheel_inertia: np.ndarray, scenario: Scenario) -> LoadCases:
    """The load cases of each candidate: the robot's efforts, its duty (the study's or made from the robot), the demands.

    Efforts of a balancing robot are recoveries: k_r times the force that holds the lean, at the peak speed of the
    recovery. Those of a robot on castors are its acceleration on its slope with rolling resistance, at its top speeds.
    On a diagonal the effort splits equally over both axes: each gets its own force and speed at 1/sqrt(2) of the effort,
    and the case asks the length of that vector along the diagonal, though the axes may differ a little.
    The study's shares of the duty are scaled to add up to 1.

    ``unit_mass`` [kg] and ``wheel_inertia`` [kg m^2] have shape (n,).
    """
    robot = scenario.robot
    mass = robot.mass + unit_mass
    weight = mass * GRAVITY
    load = np.full(len(wheel), robot.wheel_load) if math.isfinite(robot.wheel_load) else weight
    with np.errstate(all="ignore"):
        if robot.kind == "balancing":
            body = (robot.mass, robot.centre_of_mass_height, robot.body_gyration, unit_mass, wheel_inertia, wheel.wheel_radius)
            leans = (forward_lean(*body), sideways_lean(*body))
            moves = [recovery(lean, robot.recover_lean, robot.recover_reserve) for lean in leans]
            hold = [lean.accelerated_mass * robot.recover_lean / lean.lean_per_acceleration for lean in leans]
            efforts = [robot.recover_reserve * force for force in hold]
            speeds = [move.peak_speed for move in moves]
            verb, resistance = "recover", np.zeros(len(wheel))
        else:
            hold = 2 * [mass * robot.acceleration + weight * math.sin(robot.slope)]
            resistance = robot.rolling_resistance * weight * math.cos(robot.slope)
            efforts = [force + resistance for force in hold]
            speeds = [np.full(len(wheel), robot.top_speed), np.full(len(wheel), robot.sideways_speed)]
            verb = "accelerate"
        cruise_forces = [CRUISE_EFFORT * force + resistance for force in hold]
        cruise_speeds = [np.full(len(wheel), CRUISE_SPEED * top) for top in (robot.top_speed, robot.sideways_speed)]
        cases = [(f"{verb} {name}", angle, _along(angle, efforts), _along(angle, speeds), 0.0) for name, angle in EFFORT]
        if scenario.duty:
            whole = sum(case.share for case in scenario.duty)
            cases += [_listed(case, len(wheel), case.share / whole if whole > 0 else math.nan) for case in scenario.duty]
        else:
            cases += [
                (name, angle, _along(angle, cruise_forces), _along(angle, cruise_speeds), share)
                for name, angle, share in CRUISE
            ]
        cases += [_listed(case, len(wheel), 0.0) for case in scenario.demand]
    names, directions, forces, case_speeds, shares = zip(*cases, strict=True)
    return LoadCases(
        names=names,
        direction=np.array(directions),
        force=np.stack(forces, axis=1),
        speed=np.stack(case_speeds, axis=1),
        share=np.array(shares),
        wheel_load=load,
    )


def _along(angle: float, of_axes: list[np.ndarray]) -> np.ndarray:
    """Length of the vector with the forward value times cos(angle) and the sideways value times sin(angle), shape (n,)."""
    forward, sideways = of_axes
    return np.hypot(forward * math.cos(angle), sideways * math.sin(angle))


def _listed(case: Case, candidates: int, share: float) -> tuple[str, float, np.ndarray, np.ndarray, float]:
    return case.name, case.direction, np.full(candidates, case.force), np.full(candidates, case.speed), share
