"""Friction at the limit on one roller: what its contacts can give, to spin it and to push it along the rim.

A roller's two sides are named by their sense. Sideways motion carries the roller's surface along +c on one side and along -c
on the other; ``sense`` e is that sign. A side's contacts share one usage, -1 <= usage <= 1; the force along ``a`` is
f = e usage f_max. Positive usage spins the roller the way it turns; f > 0 pushes it along +t. So on the side with e = +1 more
usage is more forward force, on the other less.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from tests.reference.slow_equilibrium import Equilibrium, Loads
from tests.reference.slow_geometry import PassContact
from tests.reference.slow_wheel import SlowWheel


@dataclass(frozen=True)
class SideOfRoller:
    """Contacts of one side of one roller: indices into the list of contacts, and sums over them.

    full_drive  sum of f_max (a . c) [N]          idle_drag  part of the drag along c that does not depend on f [N]
    full_drag   part that grows with |f|, at f_max [N]     full_push  sum of f_max times the forward factor [N]
    """

    index: np.ndarray
    sense: int
    full_drive: float
    idle_drag: float
    full_drag: float
    full_push: float

    def spin(self, usage: float) -> float:
        """Force that spins the roller the way it turns, less the drag of the turning hub rollers [N]."""
        return usage * self.full_drive - self.idle_drag - abs(usage) * self.full_drag

    def usage(self, spin: float) -> float:
        """The usage that gives ``spin``; not limited to [-1, 1]."""
        wanted = spin + self.idle_drag
        slope = self.full_drive - math.copysign(self.full_drag, wanted)
        return wanted / slope if slope > 0 else math.copysign(math.inf, wanted) if wanted else 0.0

    def push(self, usage: float) -> float:
        """Force along +t [N]."""
        return self.sense * usage * self.full_push if self.full_push else 0.0


@dataclass(frozen=True)
class RollerCapacity:
    """The two sides of a roller and the drag of its bore at its surface [N]. ``plus`` has sense +1, ``minus`` sense -1."""

    plus: SideOfRoller
    minus: SideOfRoller
    bore_drag: float

    @property
    def side_force(self) -> float:
        """Largest force at the floor that the contacts can hold, after all drags [N]; negative: the roller stalls."""
        return self.plus.spin(1.0) + self.minus.spin(1.0) - self.bore_drag

    def plus_range(self, spin: float) -> tuple[float, float, float]:
        """(least, even, greatest) usage of ``plus`` with which both sides together give ``spin``; even: both used alike."""
        if self.plus.full_drive <= 0 or self.minus.full_drive <= 0:
            only = min(1.0, max(-1.0, self.plus.usage(spin - self.minus.spin(0.0)))) if self.plus.full_drive > 0 else 0.0
            return only, only, only
        greatest = min(1.0, self.plus.usage(spin - self.minus.spin(-1.0)))
        least = max(-1.0, self.plus.usage(spin - self.minus.spin(1.0)))
        wanted = spin + self.plus.idle_drag + self.minus.idle_drag
        drag = math.copysign(self.plus.full_drag + self.minus.full_drag, wanted)
        even = wanted / (self.plus.full_drive + self.minus.full_drive - drag)
        return least, min(max(even, least), greatest), greatest

    def minus_usage(self, spin: float, plus: float) -> float:
        """Usage of ``minus`` that completes ``plus`` to ``spin``."""
        if self.minus.full_drive <= 0:
            return 0.0
        return min(1.0, max(-1.0, self.minus.usage(spin - self.plus.spin(plus))))

    def push(self, spin: float, plus: float) -> float:
        """Force along +t at usage ``plus`` [N]."""
        return self.plus.push(plus) + self.minus.push(self.minus_usage(spin, plus))


@dataclass(frozen=True)
class ContactFriction:
    """f_max and the two parts of the hub roller's drag, per contact [N]: drag = idle + rate |f|."""

    f_max: np.ndarray
    idle: np.ndarray
    rate: float


def contact_friction(wheel: SlowWheel, state: Equilibrium, rolling: bool) -> ContactFriction:
    """Largest force along ``a`` of each contact: f^2 + (idle + rate f)^2 = (mu N)^2 where hub rollers turn, else mu N."""
    grip = np.array(
        [wheel.friction(placed.contact.side) * n for placed, n in zip(state.contacts, state.normal_force, strict=True)]
    )
    if not rolling:
        return ContactFriction(grip, np.zeros_like(grip), 0.0)
    idle = wheel.hub_bore_friction * wheel.hub_bolt_radius / wheel.hub_roller_radius * state.normal_force
    rate = wheel.washer_friction * wheel.washer_radius / wheel.hub_roller_radius
    root = np.sqrt(np.maximum(0.0, (idle * rate) ** 2 + (1 + rate**2) * (grip**2 - idle**2)))
    return ContactFriction(np.maximum(0.0, root - idle * rate) / (1 + rate**2), idle, rate)


def forward_factor(wheel: SlowWheel, contact: PassContact, exact_lever: bool) -> float:
    """Forward force at the contact circle per force along ``a``: a . t, or with the contact's own lever (y x p) . a / R_c."""
    return contact.lever / wheel.contact_circle_radius if exact_lever else float(contact.a[1])


def roller_capacities(
    wheel: SlowWheel, state: Equilibrium, friction: ContactFriction, side_sign: int, exact_lever: bool, rolling: bool
) -> list[RollerCapacity]:
    """Capacity of every output roller; ``side_sign`` +1 where the floor pushes along -y."""
    capacities = []
    for j in range(wheel.N):
        sides = {}
        for sense in (+1, -1):
            side = -sense * side_sign
            index = np.array(
                [i for i, p in enumerate(state.contacts) if p.roller == j and p.contact.side == side], dtype=int
            )
            contacts = [state.contacts[i].contact for i in index]
            f_max = friction.f_max[index]
            along = np.array([float(k.a @ k.c) for k in contacts])
            cross = np.array([float(k.across @ k.c) for k in contacts])
            forward = np.array([forward_factor(wheel, k, exact_lever) for k in contacts])
            sides[sense] = SideOfRoller(
                index, sense, float(f_max @ along), float(friction.idle[index] @ cross),
                float(friction.rate * f_max @ cross), float(f_max @ forward),
            )
        drag = wheel.friction_bore * state.stop_force[j] * wheel.axle_radius / wheel.output_roller_radius if rolling else 0.0
        capacities.append(RollerCapacity(sides[+1], sides[-1], drag))
    return capacities


def friction_loads(
    wheel: SlowWheel, state: Equilibrium, along: np.ndarray, across: np.ndarray, side_force: np.ndarray, side_sign: int
) -> Loads:
    """Loads of contact forces (``along`` a, ``across``, signed [N], on the output roller) and of the floor's side forces."""
    loads = Loads.none(wheel)
    for placed, f, g in zip(state.contacts, along, across, strict=True):
        contact = placed.contact
        force = f * contact.a + g * contact.across
        loads.u[placed.roller] -= force[0]
        loads.v[placed.roller] += force[2]
        # the hub takes the reaction, and moves along -side y as it closes
        loads.x[0 if contact.side > 0 else 1] += contact.side * force[2]
    loads.v[:] -= side_sign * side_force
    return loads
