"""The drive limit in a direction: friction used up, acting back on the normal forces, until nothing moves."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy.optimize import brentq

from tests.reference.slow_equilibrium import EnergyModel, Equilibrium, Loads
from tests.reference.slow_friction import (
    ContactFriction,
    RollerCapacity,
    contact_friction,
    friction_loads,
    roller_capacities,
)
from tests.reference.slow_wheel import SlowWheel

FORWARD, REVERSE, SIDEWAYS = (1.0, 0.0), (-1.0, 0.0), (0.0, 1.0)
FORWARD_DIAGONAL, REVERSE_DIAGONAL = (math.sqrt(0.5), math.sqrt(0.5)), (-math.sqrt(0.5), math.sqrt(0.5))


@dataclass(frozen=True)
class LimitState:
    """``force`` [N] is the length of the floor's force on the wheel in the direction asked, ``forward`` and ``side`` its parts
    (side: along -y where the direction's second part is positive). ``forward_exact`` is the same state's forward force
    with each contact's own lever about the shaft. ``along`` and ``across`` [N] are the contact forces on the output rollers,
    ``side_force`` [N] the floor's share per roller. ``status`` is empty where a state was found.
    """

    status: str
    force: float
    forward: float
    forward_exact: float
    side: float
    along: np.ndarray
    across: np.ndarray
    side_force: np.ndarray
    equilibrium: Equilibrium
    iterations: int
    change: float


@dataclass(frozen=True)
class Usage:
    """How friction is used for one drive force: usages of the two sides of each roller, side force of each roller [N]."""

    reach: float
    plus: np.ndarray
    minus: np.ndarray
    side_force: np.ndarray


def share_side_force(total: float, floor_load: np.ndarray, caps: np.ndarray) -> np.ndarray | None:
    """Share ``total`` in proportion to the floor loads; one at its cap keeps it, the rest goes to the others. None: too much.

    >>> share_side_force(9.0, np.array([2.0, 1.0]), np.array([4.0, 6.0]))
    array([4., 5.])
    """
    if total > np.sum(caps) * (1 + 1e-14):
        return None
    able = (floor_load > 0) & (caps > 0)
    if total <= 0 or not np.any(able):
        return np.zeros_like(caps) if total <= 0 else None
    top = np.max(caps[able] / floor_load[able])
    sum_at = lambda rate: float(np.sum(np.minimum(rate * floor_load[able], caps[able])))  # noqa: E731
    rate = top if sum_at(top) <= total else brentq(lambda r: sum_at(r) - total, 0.0, top, xtol=1e-15, rtol=1e-15)
    return np.where(able, np.minimum(rate * floor_load, caps), 0.0)


def use_friction(
    wheel: SlowWheel, state: Equilibrium, capacities: list[RollerCapacity], direction: tuple[float, float]
) -> Usage | None:
    """The longest force in ``direction`` the contacts can give at these normal forces, found by bisection.

    Every roller's spin must balance. The forward part is the sum over all rollers; what a roller's even use of both its sides
    leaves over along t is held through the carrier by the others, which all shift from even use by the same share of the way to
    their own limit. None: not even a vanishing force can be balanced.
    """
    to_floor = wheel.contact_circle_radius / wheel.wheel_radius
    forward_share, side_share = direction[0], abs(direction[1])
    able = [capacity for capacity in capacities if capacity.side_force >= 0]
    caps = np.array([min(max(0.0, capacity.side_force), wheel.friction_floor * load)
                     for capacity, load in zip(capacities, state.floor_load, strict=True)])
    if side_share == 0:
        caps[:] = 0.0

    def stalled_push(capacity: RollerCapacity) -> float:
        return capacity.plus.push(1.0) + capacity.minus.push(1.0)

    def ranges(reach: float) -> tuple[np.ndarray, list[tuple[RollerCapacity, float, tuple[float, float, float]]]] | None:
        side_force = share_side_force(reach * side_share, state.floor_load, caps)
        if side_force is None:
            return None
        spins = side_force + np.array([capacity.bore_drag for capacity in capacities])
        return side_force, [(k, q, k.plus_range(q)) for k, q in zip(capacities, spins, strict=True) if k.side_force >= 0]

    stall_total = sum(stalled_push(capacity) for capacity in capacities if capacity.side_force < 0)

    def holds(reach: float) -> bool:
        found = ranges(reach)
        if found is None:
            return False
        low = stall_total + sum(k.push(q, span[0]) for k, q, span in found[1])
        high = stall_total + sum(k.push(q, span[2]) for k, q, span in found[1])
        return low - 1e-12 <= reach * forward_share / to_floor <= high + 1e-12

    if not able or not holds(0.0):
        return None
    low, high = 0.0, 1.0
    while holds(high):
        low, high = high, 2 * high
    while high - low > 1e-13 * high:
        middle = (low + high) / 2
        low, high = (middle, high) if holds(middle) else (low, middle)
    found = ranges(low)
    assert found is not None  # low holds
    side_force, rollers = found
    wanted = low * forward_share / to_floor - stall_total

    def plus_at(shift: float, span: tuple[float, float, float]) -> float:
        least, even, greatest = span
        return even + shift * (greatest - even) if shift >= 0 else even + shift * (even - least)

    def excess(shift: float) -> float:
        return sum(k.push(q, plus_at(shift, span)) for k, q, span in rollers) - wanted

    if excess(1.0) <= 0:
        shift = 1.0
    elif excess(-1.0) >= 0:
        shift = -1.0
    else:
        shift = brentq(excess, -1.0, 1.0, xtol=1e-15, rtol=1e-14)
    plus, minus, moving = [], [], iter(rollers)
    for capacity in capacities:
        if capacity.side_force < 0:
            plus.append(1.0)
            minus.append(1.0)
            continue
        _, spin, span = next(moving)
        plus.append(plus_at(shift, span))
        minus.append(capacity.minus_usage(spin, plus[-1]))
    return Usage(low, np.array(plus), np.array(minus), side_force)


def contact_forces(
    usage: Usage, capacities: list[RollerCapacity], friction: ContactFriction
) -> tuple[np.ndarray, np.ndarray]:
    """Signed forces on the output rollers along ``a`` and ``across`` [N]; drag opposes the surface's motion along sense c."""
    along, across = np.zeros_like(friction.f_max), np.zeros_like(friction.f_max)
    for capacity, plus, minus in zip(capacities, usage.plus, usage.minus, strict=True):
        for side, used in ((capacity.plus, plus), (capacity.minus, minus)):
            f = side.sense * used * friction.f_max[side.index]
            along[side.index] = f
            across[side.index] = -side.sense * (friction.idle[side.index] + friction.rate * np.abs(f))
    return along, across


def limit_state(
    wheel: SlowWheel,
    phase: tuple[float, float, float],
    direction: tuple[float, float],
    *,
    exact_lever: bool = False,
    coupled: bool = True,
    tolerance: float = 1e-6,
    max_iterations: int = 400,
) -> LimitState:
    """Largest force of the floor on the wheel along ``direction`` = (forward, side), a unit vector; side > 0 means along -y.

    Damped iteration on the friction loads: normal forces -> friction used up -> loads -> equilibrium, until no load moves
    by more than ``tolerance`` [N]. ``coupled=False`` stops at the normal forces at rest. ``exact_lever`` uses each
    contact's own lever in the forward force, instead of R_c/R_w times the part along t.
    """
    model = EnergyModel(wheel, phase)
    loads = Loads.none(wheel)
    sides = {placed.contact.side for placed in model.contacts}
    q = model.start()
    if sides != {+1, -1}:
        state = model.state(q, loads)
        nothing = np.zeros(len(model.contacts))
        nan = math.nan
        return LimitState("no contact on a side", nan, nan, nan, nan, nothing, nothing, np.zeros(wheel.N), state, 0, nan)
    q = model.solve(loads)
    model.x_rest = model.state(q, loads).x
    side_sign = -1 if direction[1] < 0 else 1
    rolling = direction[1] != 0
    damping, last_change = 0.5, math.inf
    status, iteration, change = "did not settle", 0, math.nan
    while True:
        state = model.state(q, loads)
        friction = contact_friction(wheel, state, rolling)
        capacities = roller_capacities(wheel, state, friction, side_sign, exact_lever, rolling)
        usage = use_friction(wheel, state, capacities, direction)
        if usage is None:
            status = "friction cannot turn the rollers"
            nothing = np.zeros(len(model.contacts))
            return LimitState(status, 0.0, 0.0, 0.0, 0.0, nothing, nothing, np.zeros(wheel.N), state, iteration, math.nan)
        along, across = contact_forces(usage, capacities, friction)
        target = friction_loads(wheel, state, along, across, usage.side_force, side_sign)
        change = max(np.max(np.abs(getattr(target, part) - getattr(loads, part))) for part in ("u", "v", "x"))
        if not coupled or change < tolerance:
            status = ""
            break
        if iteration == max_iterations:
            break
        if change > last_change:
            damping = max(0.1, 0.8 * damping)
        last_change = change
        loads = Loads(*[getattr(loads, p) + damping * (getattr(target, p) - getattr(loads, p)) for p in ("u", "v", "x")])
        q = model.solve(loads, q)
        iteration += 1
    levers = np.array([placed.contact.lever for placed in state.contacts])
    parts = np.array([placed.contact.a[1] for placed in state.contacts])
    return LimitState(
        status=status,
        force=usage.reach,
        forward=float(along @ parts) * wheel.contact_circle_radius / wheel.wheel_radius,
        forward_exact=float(along @ levers) / wheel.wheel_radius,
        side=float(np.sum(usage.side_force)),
        along=along,
        across=across,
        side_force=usage.side_force,
        equilibrium=state,
        iterations=iteration,
        change=float(change),
    )
