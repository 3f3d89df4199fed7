"""Steady sideways drive: creeping contacts, each roller's own speed, the carrier's own speed, and where the power goes.

Signs. Hub and carrier speeds are positive forward (towards +t). ``sense`` e of a side is as in slow_friction; a roller's
surface moves with e V along c, V >= 0. On contact i, with dw the hub's speed against the carrier:

    slip    = e V (c . a) - dw lever            of the output roller's surface over the hub roller's, along a
    rolling = e V (c . across) - dw lever_across    surface speed of the hub roller on its bolt
    f = -cap saturation(slip/|rolling|)         on the output roller, along a
    g = -drag sign(rolling)                     on the output roller, along across

Each roller: sum of e (f a.c + g across.c) = side force + bore drag. Carrier: sum of (f lever + g lever_across) = forward
force times R_w. A hub's torque is its own part of that sum: the drag of the hub rollers has a lever about the shaft too, and
without it the powers do not add up.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy.optimize import brentq

from tests.reference.slow_contact import creep_saturation, hertz_ellipse
from tests.reference.slow_equilibrium import EnergyModel, Equilibrium, Loads
from tests.reference.slow_friction import contact_friction, friction_loads, roller_capacities
from tests.reference.slow_limit import share_side_force
from tests.reference.slow_wheel import SIDES, SlowWheel


@dataclass(frozen=True)
class CreepConstants:
    """Kalker's C22, the combined shear modulus G [Pa] and E* [Pa] that give full slip at 3 mu N/(C22 G a b)."""

    kalker_c22: float
    shear_modulus: float
    plane_modulus: float


@dataclass(frozen=True)
class RunningState:
    """roller_speed (N,) [m/s] at the surface; carrier_speed, hub_speed, hub_torque (2,) left first [rad/s, N m]; powers [W].

    ``speed_ratio`` is the sideways speed delivered over the one asked, weighted with the rollers' side forces (their floor
    loads where there is none). ``status`` is empty where a state was found.
    """

    status: str
    roller_speed: np.ndarray
    carrier_speed: float
    hub_speed: np.ndarray
    hub_torque: np.ndarray
    speed_ratio: float
    hub_power: float
    floor_power: float
    creep_loss: float
    output_bore_loss: float
    hub_bore_loss: float
    along: np.ndarray
    across: np.ndarray
    side_force: np.ndarray
    equilibrium: Equilibrium
    iterations: int

    @property
    def imbalance(self) -> float:
        """Hub power less floor power less the losses [W]."""
        return self.hub_power - self.floor_power - self.creep_loss - self.output_bore_loss - self.hub_bore_loss


class RunningContacts:
    """All contacts as arrays, and their forces at given speeds."""

    def __init__(self, wheel: SlowWheel, model: EnergyModel, side_sign: int, creep: CreepConstants) -> None:
        contacts = [placed.contact for placed in model.contacts]
        self.wheel, self.creep = wheel, creep
        self.roller = np.array([placed.roller for placed in model.contacts])
        self.hub = np.array([0 if k.side > 0 else 1 for k in contacts])
        self.sense = np.array([-k.side * side_sign for k in contacts])
        self.along = np.array([float(k.a @ k.c) for k in contacts])
        self.cross = np.array([float(k.across @ k.c) for k in contacts])
        self.lever = np.array([k.lever for k in contacts])
        self.lever_across = np.array([k.lever_across for k in contacts])
        self.friction = np.array([wheel.friction(k.side) for k in contacts])
        ellipse = hertz_ellipse(creep.plane_modulus, wheel.output_roller_radius, wheel.hub_roller_radius, wheel.skew_angle)
        self.patch = ellipse.major * ellipse.minor  # a b at unit force
        self.set_normal_forces(np.zeros(len(contacts)), np.zeros(len(contacts)))

    def set_normal_forces(self, normal: np.ndarray, cap: np.ndarray) -> None:
        """Normal force and the friction ``f`` saturates at [N]."""
        self.normal, self.cap = normal, cap
        patch = np.where(normal > 0, self.patch * np.maximum(normal, 1e-300) ** (2 / 3), 1.0)
        full_slip = 3 * cap / (self.creep.kalker_c22 * self.creep.shear_modulus * patch)
        self.full_slip = np.where(normal > 0, full_slip, 1.0)

    def slips(self, speed: np.ndarray, carrier: float, hubs: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """(slip, rolling) of every contact [m/s]."""
        surface, turning = self.sense * speed[self.roller], (hubs - carrier)[self.hub]
        return surface * self.along - turning * self.lever, surface * self.cross - turning * self.lever_across

    def forces(self, speed: np.ndarray, carrier: float, hubs: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """(f, g) of every contact [N]."""
        slip, rolling = self.slips(speed, carrier, hubs)
        with np.errstate(divide="ignore"):
            creep = np.abs(slip) / np.abs(rolling)
        f = -np.sign(slip) * self.cap * creep_saturation(creep, self.full_slip)
        wheel = self.wheel
        bore = wheel.hub_bore_friction * wheel.hub_bolt_radius * self.normal
        washer = wheel.washer_friction * wheel.washer_radius * np.abs(f)
        return f, -np.sign(rolling) * (bore + washer) / wheel.hub_roller_radius

    def spin(self, speed: np.ndarray, carrier: float, hubs: np.ndarray) -> np.ndarray:
        """Force spinning each output roller the way it turns, shape (N,) [N]."""
        f, g = self.forces(speed, carrier, hubs)
        return np.bincount(self.roller, self.sense * (f * self.along + g * self.cross), minlength=self.wheel.N)

    def roller_speeds(self, wanted: np.ndarray, carrier: float, hubs: np.ndarray, ideal: float) -> np.ndarray:
        """Speed at which each roller's spin force is ``wanted``; falls with speed, so plain bisection. 0 where it stalls."""
        low, high = np.zeros(self.wheel.N), np.full(self.wheel.N, 4 * ideal)
        for _ in range(52):
            middle = (low + high) / 2
            faster = self.spin(middle, carrier, hubs) > wanted
            low, high = np.where(faster, middle, low), np.where(faster, high, middle)
        return np.where(low > 1e-9 * ideal, (low + high) / 2, 0.0)

    def hub_torques(self, f: np.ndarray, g: np.ndarray) -> np.ndarray:
        """Torque of each hub about the shaft, shape (2,) [N m]."""
        return np.bincount(self.hub, f * self.lever + g * self.lever_across, minlength=2)


def running_state(
    wheel: SlowWheel,
    phase: tuple[float, float, float],
    direction: tuple[float, float],
    force: float,
    speed: float,
    creep: CreepConstants,
    *,
    combined_cap: bool = False,
    carrier_free: bool = True,
    tolerance: float = 1e-6,
    max_iterations: int = 400,
) -> RunningState:
    """Steady drive along ``direction`` = (forward, side), side not nil, at a floor ``force`` [N] and the hubs' ideal speeds.

    Hubs turn at v_x/R_w - s sign(side) v_y tan(gamma)/R_c. ``combined_cap`` saturates f where f^2 + drag^2 = (mu N)^2
    instead of at mu N. ``carrier_free=False`` holds the carrier at v_x/R_w.
    """
    if direction[1] == 0:
        raise ValueError("direction must have a sideways part")
    model = EnergyModel(wheel, phase)
    loads = Loads.none(wheel)
    q = model.solve(loads)
    model.x_rest = model.state(q, loads).x
    side_sign = -1 if direction[1] < 0 else 1
    forward_speed, side_speed = speed * direction[0], speed * abs(direction[1])
    forward_force, side_total = force * direction[0], force * abs(direction[1])
    shaft = forward_speed / wheel.wheel_radius
    crosswise = side_speed * math.tan(wheel.skew_angle) / wheel.contact_circle_radius
    hubs = np.array([shaft - side * side_sign * crosswise for side in SIDES])
    contacts = RunningContacts(wheel, model, side_sign, creep)
    status, iteration = "did not settle", 0
    while True:
        state = model.state(q, loads)
        friction = contact_friction(wheel, state, True)
        capacities = roller_capacities(wheel, state, friction, side_sign, False, True)
        grip = contacts.friction * state.normal_force
        contacts.set_normal_forces(state.normal_force, friction.f_max if combined_cap else grip)
        caps = np.array([min(max(0.0, capacity.side_force), wheel.friction_floor * load)
                         for capacity, load in zip(capacities, state.floor_load, strict=True)])
        side_force = share_side_force(side_total, state.floor_load, caps)
        overloaded = side_force is None
        if side_force is None:
            side_force = caps
        drag = np.array([capacity.bore_drag for capacity in capacities])
        wanted = side_force + drag

        def moment(carrier: float, wanted: np.ndarray = wanted) -> float:
            v = contacts.roller_speeds(wanted, carrier, hubs, side_speed)
            return float(np.sum(contacts.hub_torques(*contacts.forces(v, carrier, hubs)))) - forward_force * wheel.wheel_radius

        carrier = shaft
        if carrier_free:
            carrier = brentq(moment, shaft - 0.9 * crosswise, shaft + 0.9 * crosswise, xtol=1e-13 * crosswise, rtol=1e-14)
        v = contacts.roller_speeds(wanted, carrier, hubs, side_speed)
        f, g = contacts.forces(v, carrier, hubs)
        target = friction_loads(wheel, state, f, g, side_force, side_sign)
        change = max(np.max(np.abs(getattr(target, part) - getattr(loads, part))) for part in ("u", "v", "x"))
        if change < tolerance:
            status = "more side force than the contacts or the floor can give" if overloaded else ""
            break
        if iteration == max_iterations:
            break
        loads = Loads(*[(getattr(loads, part) + getattr(target, part)) / 2 for part in ("u", "v", "x")])
        q = model.solve(loads, q)
        iteration += 1
    slip, rolling = contacts.slips(v, carrier, hubs)
    torque = contacts.hub_torques(f, g)
    weight = side_force if side_total > 0 else state.floor_load
    return RunningState(
        status=status,
        roller_speed=v,
        carrier_speed=carrier,
        hub_speed=hubs,
        hub_torque=torque,
        speed_ratio=float(weight @ v / np.sum(weight)) / side_speed,
        hub_power=float(hubs @ torque),
        floor_power=float(side_force @ v) + forward_force * carrier * wheel.wheel_radius,
        creep_loss=float(-f @ slip),
        output_bore_loss=float(drag @ v),
        hub_bore_loss=float(-g @ rolling),
        along=f,
        across=g,
        side_force=side_force,
        equilibrium=state,
        iterations=iteration,
    )
