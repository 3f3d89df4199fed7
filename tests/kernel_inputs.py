"""The slow reference's wheels as rows for the kernels, and the kernels' states as plain arrays in the reference's order."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np

from objectives.contact_pass import PassGeometry
from objectives.engagement import Laws
from objectives.equilibrium import cold_start, solve_equilibrium
from objectives.phases import begin_phase, geometry_of, laws_of
from objectives.settling import limit_state
from objectives.sharing import SHARE_L, SHARE_R, SIDE_FORCE
from objectives.traction import axis_friction
from objectives.workspace import (
    ALONG_C,
    ALONG_T,
    AXIAL,
    CONTACT,
    EMPTY,
    FLOOR_FORCE,
    GAP,
    INWARD,
    LEVER_C,
    LEVER_T,
    ROW,
    SIDE,
    U,
    V,
    Workspace,
    new_workspace,
)
from tests.reference.slow_wheel import SlowWheel


def _plain(function: Any) -> Any:
    """The Python function of an outer kernel: what it calls is compiled, it need not be compiled once more for itself."""
    return getattr(function, "py_func", function)


def kernel_row(wheel: SlowWheel) -> np.ndarray:
    """One wheel as a row of states.kernel_inputs, shape (1, 27): PassGeometry, then Laws."""
    if isinstance(wheel.friction_roller, tuple):
        raise ValueError(f"the kernels know one friction_roller, got {wheel.friction_roller}; use equal sides")
    along, across = axis_friction(
        wheel.friction_roller,
        wheel.hub_bore_friction * wheel.hub_bolt_radius / wheel.hub_roller_radius,
        wheel.washer_friction * wheel.washer_radius / wheel.hub_roller_radius,
    )
    geometry = PassGeometry(
        pitch_radius=wheel.pitch_radius,
        wheel_radius=wheel.wheel_radius,
        output_radius=wheel.output_roller_radius,
        crown=wheel.crown,
        hub_radius=wheel.hub_roller_radius,
        half_output_length=wheel.output_roller_length / 2,
        half_hub_length=wheel.hub_roller_length / 2,
        sin_contact=math.sin(wheel.contact_angle),
        cos_contact=math.cos(wheel.contact_angle),
        sin_skew=math.sin(wheel.skew_angle),
        cos_skew=math.cos(wheel.skew_angle),
    )
    laws = Laws(
        output_count=wheel.N,
        hub_count=wheel.M,
        contact_stiffness=wheel.contact_stiffness,
        floor_stiffness=wheel.floor_stiffness,
        stop_stiffness=wheel.axle_stop_stiffness,
        play=wheel.play,
        preload=wheel.preload,
        preload_stiffness=wheel.preload_stiffness,
        wheel_load=wheel.wheel_load,
        friction_roller=wheel.friction_roller,
        friction_turning=along,
        drag_turning=across,
        friction_floor=wheel.friction_floor,
        bore_drag=wheel.friction_bore * wheel.axle_radius / wheel.output_roller_radius,
        rolling=0.0,  # the reference knows no rolling resistance
        floor_rolling=0.0,
    )
    return np.array([[*geometry, *laws]], dtype=float)


def kernel_rows(*wheels: SlowWheel) -> np.ndarray:
    """Several wheels, shape (n, 25)."""
    return np.concatenate([kernel_row(wheel) for wheel in wheels])


def kernel_geometry(wheel: SlowWheel) -> PassGeometry:
    """What the kernels' pass geometry takes."""
    return geometry_of(kernel_row(wheel)[0])


def slow_phase(wheel: SlowWheel, shares: np.ndarray) -> tuple[float, float, float]:
    """A phase as angles [rad] for the slow reference, from the kernels' three shares of a pitch."""
    carrier, hub = 2 * math.pi / wheel.N, 2 * math.pi / wheel.M
    return float(shares[0]) * carrier, float(shares[1]) * hub, float(shares[2]) * hub


@dataclass(frozen=True)
class KernelContact:
    """One contact as it stands in the workspace; ``side`` 0 left, 1 right; ``force`` [N] in the present state."""

    side: int
    roller: int
    gap: float
    inward: float
    axial: float
    along_c: float
    along_t: float
    lever_t: float
    lever_c: float
    force: float


@dataclass(frozen=True)
class KernelState:
    """A state that the kernels found. ``u``, ``v``, ``side_force``, ``floor_load`` (N,); ``share`` (2, N) of the friction limit
    along c that each side uses; ``closure`` (2,), ``height``; ``rest`` (2,) the closures without drive. ``steps`` negative:
    not found; ``residual`` [N] by the kernel's own account.
    """

    contacts: list[KernelContact]
    u: np.ndarray
    v: np.ndarray
    closure: np.ndarray
    height: float
    rest: np.ndarray
    floor_load: np.ndarray
    share: np.ndarray
    side_force: np.ndarray
    force: float
    steps: int
    residual: float


def _contacts(laws: Laws, work: Workspace, border: np.ndarray) -> list[KernelContact]:
    found = []
    for side in range(2):
        for slot in range(work.slots[side]):
            at = side * SIDE + slot * CONTACT
            for i in range(laws.output_count):
                gap, inward, axial, along_c, along_t, lever_t, lever_c = (
                    float(work.contacts[at + row + i]) for row in (GAP, INWARD, AXIAL, ALONG_C, ALONG_T, LEVER_T, LEVER_C)
                )
                if gap < EMPTY:
                    closing = border[side] + (1 - 2 * side) * work.unknowns[V + i]
                    overlap = max(inward * work.unknowns[U + i] + axial * closing - gap, 0.0)
                    force = laws.contact_stiffness * overlap**1.5
                    found.append(KernelContact(side, i, gap, inward, axial, along_c, along_t, lever_t, lever_c, force))
    return found


def kernel_state(
    wheel: SlowWheel, shares: tuple[float, float, float], direction: tuple[float, float] | None = None
) -> KernelState:
    """The equilibrium at rest, or with a ``direction`` (forward, sideways >= 0; a unit vector) the limit state in it."""
    row = kernel_row(wheel)[0]
    g, laws, work = geometry_of(row), laws_of(row), new_workspace()
    border, rest = np.zeros(3), np.zeros(2)
    standing = _plain(begin_phase)(g, laws, np.array(shares), False, work)
    if standing < 0:
        raise ValueError(f"a side touches nothing at phase {shares}")
    cold_start(g, laws, standing, work, border)
    steps, residual, _ = solve_equilibrium(g, laws, standing, work, border, 0.0, rest, np.zeros(2), 1e-9)
    rest = border[:2].copy()
    force, n = math.nan, laws.output_count
    share, side_force = np.zeros((2, n)), np.zeros(n)
    if direction is not None and steps >= 0:
        still, scratch = work.unknowns.copy(), np.zeros(4 * 3 * ROW + 32)
        force, steps, residual = _plain(limit_state)(
            g, laws, *direction, standing, work, border, still, np.append(rest, border[2]), scratch, np.zeros((4, 5))
        )
        share = np.array([work.share[SHARE_L : SHARE_L + n], work.share[SHARE_R : SHARE_R + n]])
        side_force = work.step[SIDE_FORCE : SIDE_FORCE + n].copy()
    return KernelState(
        contacts=_contacts(laws, work, border),
        u=work.unknowns[U : U + n].copy(),
        v=work.unknowns[V : V + n].copy(),
        closure=border[:2].copy(),
        height=float(border[2]),
        rest=rest,
        floor_load=work.floor[FLOOR_FORCE : FLOOR_FORCE + n].copy(),
        share=share,
        side_force=side_force,
        force=float(force),
        steps=int(steps),
        residual=float(residual),
    )
