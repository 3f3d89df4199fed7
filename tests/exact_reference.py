"""The slow reference brought to the kernels' own conventions, so that what is left is error of the kernels.

Three things are changed. Gaps are those between true surfaces. The contact point lies on the output roller, not midway in the
gap. Drag of turning hub rollers has its forward part counted. What the kernels simplify and this does not: the
normal of a crowned roller keeps its part along the roller, and a hub roller's washers drag by the force it carries.
"""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from tests.reference import slow_limit
from tests.reference.slow_equilibrium import EnergyModel, Equilibrium, Loads
from tests.reference.slow_friction import ContactFriction, RollerCapacity, SideOfRoller, roller_capacities
from tests.reference.slow_geometry import R, T, Y, roller_outline, surface_gap
from tests.reference.slow_wheel import SlowWheel


class SurfaceModel(EnergyModel):
    """The reference's energy with gaps between true surfaces and levers of points on the output roller."""

    def __init__(self, wheel: SlowWheel, phase: tuple[float, float, float]) -> None:
        super().__init__(wheel, phase)
        placed = []
        for each in self.contacts:
            old = each.contact
            point = wheel.pitch_radius * R + old.z_o * T + float(roller_outline(wheel, old.z_o)) * old.normal
            velocity = np.cross(Y, point)
            contact = replace(
                old,
                gap=surface_gap(wheel, old.eps, old.side) if wheel.crown else old.gap,
                point=point,
                lever=float(velocity @ old.a),
                lever_across=float(velocity @ old.across),
            )
            placed.append(replace(each, contact=contact))
        self.contacts = placed
        self.gap = np.array([each.contact.gap for each in placed])


def surface_equilibrium(wheel: SlowWheel, phase: tuple[float, float, float]) -> Equilibrium:
    """The state at rest."""
    model = SurfaceModel(wheel, phase)
    loads = Loads.none(wheel)
    return model.state(model.solve(loads), loads)


@dataclass(frozen=True)
class DraggedSide(SideOfRoller):
    """One side of a roller whose drag pushes forwards too: what does not depend on the force, and what grows with it [N]."""

    idle_push: float = 0.0
    drag_push: float = 0.0

    def push(self, usage: float) -> float:
        """Force along +t [N]."""
        return self.sense * (usage * self.full_push - self.idle_push - abs(usage) * self.drag_push)


def dragged_capacities(
    wheel: SlowWheel, state: Equilibrium, friction: ContactFriction, *rest: Any
) -> list[RollerCapacity]:
    """Capacities of the rollers with the forward part of the drag."""

    def dragged(side: SideOfRoller) -> DraggedSide:
        cross = np.array([state.contacts[i].contact.lever_across for i in side.index]) / wheel.contact_circle_radius
        idle = float(friction.idle[side.index] @ cross)
        rate = float(friction.rate * friction.f_max[side.index] @ cross)
        plain = {field.name: getattr(side, field.name) for field in dataclasses.fields(SideOfRoller)}
        return DraggedSide(**plain, idle_push=idle, drag_push=rate)

    return [
        RollerCapacity(dragged(k.plus), dragged(k.minus), k.bore_drag)
        for k in roller_capacities(wheel, state, friction, *rest)
    ]


@contextmanager
def _changed() -> Iterator[None]:
    before = slow_limit.EnergyModel, slow_limit.roller_capacities
    slow_limit.EnergyModel, slow_limit.roller_capacities = SurfaceModel, dragged_capacities  # type: ignore[misc]
    try:
        yield
    finally:
        slow_limit.EnergyModel, slow_limit.roller_capacities = before  # type: ignore[misc]


def exact_limit_state(
    wheel: SlowWheel, phase: tuple[float, float, float], direction: tuple[float, float]
) -> slow_limit.LimitState:
    """The limit state, every contact with its own lever."""
    with _changed():
        return slow_limit.limit_state(wheel, phase, direction, exact_lever=True)


def with_constant_drag(wheel: SlowWheel) -> SlowWheel:
    """The same wheel whose hub rollers drag at every force as they do at full friction: the kernels' simplification.

    f^2 + f_x^2 = (mu N)^2 with f_x = (drag_of_load + drag_of_force f/N) N, solved for f_x/N by bisection of its excess.
    """
    load = wheel.hub_bore_friction * wheel.hub_bolt_radius / wheel.hub_roller_radius
    force = wheel.washer_friction * wheel.washer_radius / wheel.hub_roller_radius
    low, high = 0.0, wheel.friction(1)
    for _ in range(200):
        middle = (low + high) / 2
        low, high = (middle, high) if math.hypot(middle, load + force * middle) < wheel.friction(1) else (low, middle)
    share = (load + force * low) * wheel.hub_roller_radius / wheel.hub_bolt_radius
    return replace(wheel, washer_friction=0.0, hub_bore_friction=share)
