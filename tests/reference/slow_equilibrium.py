"""Normal forces of a whole wheel: the minimum of one convex energy, found with scipy and checked by its gradient.

Unknowns, in this order: u_0, v_0, u_1, v_1, ... (output rollers, u inwards, v along +y), x_left, x_right (closure of the hubs,
towards the mid-plane), h (height of the axle above the floor); 2 N + 3 metres. Energy, with every overlap at least nil:

    sum 2/5 k overlap^2.5                            overlap = n . (-u r + v y + s x_s y) - gap
    + sum over floor rollers, integral of 1/2 k_floor w(z)^2 dz,
                                                     w = (R_p - u + r(z)) cos(theta) - z sin(theta) - h
    + sum 1/2 k_stop (sqrt(u^2 + v^2) - play)^2 + 1/2 (1 N/m) (u^2 + v^2)
    - F_a x_s + 1/2 K_p (x_s - x_0s)^2               (K_p = 0 while x_0 is looked for)
    + W h - (work of the friction loads)
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy.optimize import minimize, root

from tests.reference.slow_geometry import PlacedContact, engaged_contacts, roller_angles, roller_outline
from tests.reference.slow_wheel import SlowWheel

CENTRING_STIFFNESS = 1.0  # N/m
MILLI = 1e-3  # unknowns are solved for in millimetres, so that gradients are in N
FLOOR_POINTS = 1201


@dataclass(frozen=True)
class Loads:
    """Friction loads on the unknowns [N]: on u and v of each output roller, shape (N,), and on the closures, shape (2,)."""

    u: np.ndarray
    v: np.ndarray
    x: np.ndarray

    @staticmethod
    def none(wheel: SlowWheel) -> Loads:
        """No friction."""
        return Loads(np.zeros(wheel.N), np.zeros(wheel.N), np.zeros(2))


@dataclass(frozen=True)
class Equilibrium:
    """u, v (N,) [m]; x, x_rest (2,) [m], left first; h [m]; normal_force (contacts,) [N], in the order of ``contacts``;
    floor_load (N,) [N]; stop_force (N,) [N]; preload (2,) [N] as it now is; residual [N], the largest force left over.
    """

    contacts: list[PlacedContact]
    u: np.ndarray
    v: np.ndarray
    x: np.ndarray
    x_rest: np.ndarray
    h: float
    normal_force: np.ndarray
    floor_load: np.ndarray
    stop_force: np.ndarray
    preload: np.ndarray
    residual: float
    unknowns: np.ndarray


class EnergyModel:
    """Energy, gradient and Hessian of one wheel at one phase, in N and millimetres."""

    def __init__(self, wheel: SlowWheel, phase: tuple[float, float, float]) -> None:
        self.wheel = wheel
        self.contacts = engaged_contacts(wheel, phase)
        self.size = 2 * wheel.N + 3
        self.gap = np.array([placed.contact.gap for placed in self.contacts])
        rows = np.zeros((len(self.contacts), self.size))
        for row, placed in zip(rows, self.contacts, strict=True):
            normal, side = placed.contact.normal, placed.contact.side
            row[2 * placed.roller] = -normal[0]
            row[2 * placed.roller + 1] = normal[2]
            row[2 * wheel.N + (0 if side > 0 else 1)] = side * normal[2]
        self.rows = rows
        angles = roller_angles(wheel, phase)
        self.floor_rollers = [j for j in range(wheel.N) if abs(angles[j]) < min(1.0, 2 * math.pi / wheel.N + 0.1)]
        self.floor_angles = angles[self.floor_rollers]
        self.z = np.linspace(-wheel.output_roller_length / 2, wheel.output_roller_length / 2, FLOOR_POINTS)
        self.weight = np.full(FLOOR_POINTS, self.z[1] - self.z[0])
        self.weight[[0, -1]] /= 2
        self.outline = np.asarray(roller_outline(wheel, self.z))
        self.x_rest: np.ndarray | None = None  # None: the preload is a constant force

    def floor_depths(self, q: np.ndarray) -> np.ndarray:
        """Overlap of every slice of the lower rollers with the floor, shape (lower rollers, slices)."""
        u = q[2 * np.array(self.floor_rollers)] * MILLI
        cos, sin = np.cos(self.floor_angles), np.sin(self.floor_angles)
        reach = (self.wheel.pitch_radius - u)[:, None] + self.outline[None, :]
        return np.maximum(0.0, reach * cos[:, None] - self.z[None, :] * sin[:, None] - q[-1] * MILLI)

    def normal_forces(self, q: np.ndarray) -> np.ndarray:
        """Normal force of every contact, N."""
        return self.wheel.contact_stiffness * np.maximum(0.0, self.rows @ q * MILLI - self.gap) ** 1.5

    def floor_loads(self, q: np.ndarray) -> np.ndarray:
        """Floor load of every output roller, N."""
        loads = np.zeros(self.wheel.N)
        loads[self.floor_rollers] = self.wheel.floor_stiffness * self.floor_depths(q) @ self.weight
        return loads

    def energy(self, q: np.ndarray, loads: Loads) -> float:
        """Energy in N mm."""
        wheel, count = self.wheel, self.wheel.N
        metres = q * MILLI
        overlap = np.maximum(0.0, self.rows @ metres - self.gap)
        u, v, x, h = metres[0 : 2 * count : 2], metres[1 : 2 * count : 2], metres[2 * count : 2 * count + 2], metres[-1]
        past_stop = np.maximum(0.0, np.hypot(u, v) - wheel.play)
        total = 0.4 * wheel.contact_stiffness * np.sum(overlap**2.5)
        total += 0.5 * wheel.floor_stiffness * np.sum(self.floor_depths(q) ** 2 @ self.weight)
        total += 0.5 * wheel.axle_stop_stiffness * np.sum(past_stop**2) + 0.5 * CENTRING_STIFFNESS * np.sum(u**2 + v**2)
        total += wheel.wheel_load * h - wheel.preload * np.sum(x)
        if self.x_rest is not None:
            total += 0.5 * wheel.preload_stiffness * np.sum((x - self.x_rest) ** 2)
        total -= loads.u @ u + loads.v @ v + loads.x @ x
        return float(total) / MILLI

    def gradient(self, q: np.ndarray, loads: Loads) -> np.ndarray:
        """Forces left over on each unknown, N."""
        wheel, count = self.wheel, self.wheel.N
        metres = q * MILLI
        u, v, x = metres[0 : 2 * count : 2], metres[1 : 2 * count : 2], metres[2 * count : 2 * count + 2]
        out = self.rows.T @ self.normal_forces(q)
        floor = self.floor_loads(q)
        out[-1] += wheel.wheel_load - np.sum(floor)
        out[2 * np.array(self.floor_rollers)] -= floor[self.floor_rollers] * np.cos(self.floor_angles)
        radius = np.hypot(u, v)
        stop = wheel.axle_stop_stiffness * np.maximum(0.0, radius - wheel.play) / np.where(radius > 0, radius, 1.0)
        out[0 : 2 * count : 2] += (stop + CENTRING_STIFFNESS) * u - loads.u
        out[1 : 2 * count : 2] += (stop + CENTRING_STIFFNESS) * v - loads.v
        out[2 * count : 2 * count + 2] -= wheel.preload + loads.x
        if self.x_rest is not None:
            out[2 * count : 2 * count + 2] += wheel.preload_stiffness * (x - self.x_rest)
        return out

    def hessian(self, q: np.ndarray, loads: Loads) -> np.ndarray:
        """Stiffness matrix, N/mm."""
        wheel, count = self.wheel, self.wheel.N
        metres = q * MILLI
        overlap = np.maximum(0.0, self.rows @ metres - self.gap)
        out = self.rows.T @ ((1.5 * wheel.contact_stiffness * np.sqrt(overlap))[:, None] * self.rows)
        wet = wheel.floor_stiffness * (self.floor_depths(q) > 0) @ self.weight
        for j, cos, stiffness in zip(self.floor_rollers, np.cos(self.floor_angles), wet, strict=True):
            row = np.zeros(self.size)
            row[2 * j], row[-1] = cos, 1.0
            out += stiffness * np.outer(row, row)
        for j in range(count):
            place = metres[2 * j : 2 * j + 2]
            radius = float(np.hypot(*place))
            block = CENTRING_STIFFNESS * np.eye(2)
            if radius > wheel.play:
                out_of_centre = np.outer(place, place) / radius**2
                block += wheel.axle_stop_stiffness * (out_of_centre + (1 - wheel.play / radius) * (np.eye(2) - out_of_centre))
            out[2 * j : 2 * j + 2, 2 * j : 2 * j + 2] += block
        if self.x_rest is not None:
            for k in (2 * count, 2 * count + 1):
                out[k, k] += wheel.preload_stiffness
        return out * MILLI

    def start(self) -> np.ndarray:
        """A first guess with every contact and the floor touching."""
        wheel = self.wheel
        q = np.zeros(self.size)
        mean = wheel.preload / max(1, min(wheel.N, wheel.M)) / math.cos(wheel.contact_angle)
        q[2 * wheel.N : 2 * wheel.N + 2] = (mean / wheel.contact_stiffness) ** (2 / 3) / math.cos(wheel.contact_angle) / MILLI
        depth = math.sqrt(wheel.wheel_load / wheel.floor_stiffness)
        q[-1] = (wheel.wheel_radius * math.cos(min(abs(self.floor_angles))) - depth) / MILLI
        return q

    def solve(self, loads: Loads, start: np.ndarray | None = None) -> np.ndarray:
        """The minimum: scipy's trust region method, then its root finder on the gradient to polish."""
        q = self.start() if start is None else start
        rough = minimize(
            self.energy, q, args=(loads,), jac=self.gradient, hess=self.hessian, method="trust-exact",
            options={"gtol": 1e-6, "maxiter": 2000, "initial_trust_radius": 0.1, "max_trust_radius": 2.0},
        ).x
        fine = root(self.gradient, rough, args=(loads,), jac=self.hessian, method="hybr", options={"xtol": 1e-13}).x
        return min((rough, fine), key=lambda place: np.max(np.abs(self.gradient(place, loads))))

    def state(self, q: np.ndarray, loads: Loads) -> Equilibrium:
        """Everything of interest at a solution."""
        wheel, count = self.wheel, self.wheel.N
        metres = q * MILLI
        u, v, x = metres[0 : 2 * count : 2], metres[1 : 2 * count : 2], metres[2 * count : 2 * count + 2]
        x_rest = x if self.x_rest is None else self.x_rest
        return Equilibrium(
            contacts=self.contacts,
            u=u,
            v=v,
            x=x,
            x_rest=x_rest,
            h=float(metres[-1]),
            normal_force=self.normal_forces(q),
            floor_load=self.floor_loads(q),
            stop_force=wheel.axle_stop_stiffness * np.maximum(0.0, np.hypot(u, v) - wheel.play),
            preload=wheel.preload - wheel.preload_stiffness * (x - x_rest),
            residual=float(np.max(np.abs(self.gradient(q, loads)))),
            unknowns=q,
        )


def equilibrium(wheel: SlowWheel, phase: tuple[float, float, float]) -> Equilibrium:
    """State at rest, without drive force, where each hub's preload is F_a. Its closures are the x_0 of the preload spring."""
    model = EnergyModel(wheel, phase)
    loads = Loads.none(wheel)
    return model.state(model.solve(loads), loads)
