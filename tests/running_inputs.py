"""The slow reference's wheels running: rows for the kernels, and the kernels' states as arrays in the reference's order."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Any

import numpy as np

from objectives.creeping import RIM, THRUST, TORQUE, CreepLaws
from objectives.equilibrium import cold_start, solve_equilibrium
from objectives.phases import begin_phase, geometry_of, laws_of
from objectives.roller_speeds import DRAG, REACTION, SIDE
from objectives.running import SUMS_OF_CASE, _run_batch
from objectives.states import solve_states
from objectives.turning import newton_turning
from objectives.workspace import FLOOR_FORCE, ROW, SPEED, U, V, Workspace, new_workspace
from tests.exact_reference import SurfaceModel
from tests.kernel_inputs import kernel_row
from tests.reference import slow_running
from tests.reference.slow_contact import hertz_ellipse
from tests.reference.slow_running import CreepConstants, RunningState
from tests.reference.slow_wheel import SlowWheel

#: both tyres 20 MPa, nu = 0.48, as in the reference's typical wheel; C22 of a patch of a/b = 0.8 (Kalker's table: 3.3 to 4)
CREEP = CreepConstants(kalker_c22=3.5, shear_modulus=20e6 / (2 * 1.48), plane_modulus=20e6 / (1 - 0.48**2) / 2)


def creep_laws(wheel: SlowWheel, creep: CreepConstants = CREEP, **changes: float) -> CreepLaws:
    """The reference's creep and drag as the kernel's constants; ``changes`` replace some of them.

    Without a change there is no rolling hysteresis, no drilling and no drag of end faces: the reference has none.
    """
    ellipse = hertz_ellipse(creep.plane_modulus, wheel.output_roller_radius, wheel.hub_roller_radius, wheel.skew_angle)
    laws = CreepLaws(
        friction=wheel.friction(1),
        drag_of_load=wheel.hub_bore_friction * wheel.hub_bolt_radius / wheel.hub_roller_radius,
        drag_of_force=wheel.washer_friction * wheel.washer_radius / wheel.hub_roller_radius,
        creep_saturation=3 * wheel.friction(1) / (creep.kalker_c22 * creep.shear_modulus * ellipse.major * ellipse.minor),
        hysteresis=0.0,
        spin_linear=0.0,
        spin_full=0.0,
        bore_drag=wheel.friction_bore * wheel.axle_radius / wheel.output_roller_radius,
        face_drag=0.0,
        floor_hysteresis=0.0,
    )
    return laws._replace(**changes)


def run_cases(
    wheels: list[SlowWheel], laws: list[CreepLaws], shares: np.ndarray, forces: list[tuple[float, float]]
) -> np.ndarray:
    """What the kernel sums up of every case, shape (wheels, cases, SUMS_OF_CASE); ``shares`` (phases, 3), forces in N."""
    shares = np.atleast_2d(shares)
    results = np.zeros((len(wheels), len(forces), SUMS_OF_CASE))
    rows = np.concatenate([kernel_row(wheel) for wheel in wheels])
    _run_batch(
        rows,
        np.array(laws),
        shares,
        np.full(len(forces), len(shares)),
        np.broadcast_to(np.array(forces, dtype=float), (len(wheels), len(forces), 2)).copy(),
        solve_states(rows, np.empty(0), shares)[0].equilibria,
        new_workspace(),
        np.zeros(3 * ROW + 17),
        np.zeros((4, 5)),
        results,
    )
    return results


@dataclass(frozen=True)
class TurningState:
    """A running state of one phase, hubs turning at ``common`` - 1 and ``common`` + 1 rad/s against the carrier.

    ``u``, ``v`` [m], ``roller_speed`` [m/s], ``side_force``, ``drag``, ``reaction``, ``thrust``, ``rim``, ``floor_load``
    (N,) [N]; ``closure`` (2,), ``rest`` (2,), ``height`` [m]; ``torque`` (2,) [N m]. ``steps`` negative: not found.
    """

    u: np.ndarray
    v: np.ndarray
    roller_speed: np.ndarray
    common: float
    closure: np.ndarray
    rest: np.ndarray
    height: float
    side_force: np.ndarray
    drag: np.ndarray
    reaction: np.ndarray
    thrust: np.ndarray
    rim: np.ndarray
    floor_load: np.ndarray
    torque: np.ndarray
    steps: int
    residual: float
    work: Workspace


def turning_state(
    wheel: SlowWheel, shares: tuple[float, float, float], force: tuple[float, float], laws: CreepLaws
) -> TurningState:
    """The kernel's state at a phase under ``force`` (forward, sideways >= 0) [N]."""
    row = kernel_row(wheel)[0]
    g, contact_laws, work = geometry_of(row), laws_of(row), new_workspace()
    border, rest = np.zeros(3), np.zeros(2)
    standing = getattr(begin_phase, "py_func", begin_phase)(g, contact_laws, np.array(shares), False, work)
    if standing < 0:
        raise ValueError(f"a side touches nothing at phase {shares}")
    cold_start(g, contact_laws, standing, work, border)
    solve_equilibrium(g, contact_laws, standing, work, border, 0.0, rest, np.zeros(2), 1e-6)
    rest = border[:2].copy()
    work.unknowns[SPEED : SPEED + ROW] = wheel.contact_circle_radius / np.tan(wheel.skew_angle)
    common, steps, residual = newton_turning(
        g, contact_laws, laws, *force, standing, work, border, rest, np.zeros((4, 5))
    )

    def row_of(array: np.ndarray, at: int) -> np.ndarray:
        return array[at : at + wheel.N].copy()

    thrust = row_of(work.left, THRUST) + row_of(work.right, THRUST)
    return TurningState(
        u=row_of(work.unknowns, U),
        v=row_of(work.unknowns, V),
        roller_speed=row_of(work.unknowns, SPEED),
        common=float(common),
        closure=border[:2].copy(),
        rest=rest,
        height=float(border[2]),
        side_force=row_of(work.step, SIDE),
        drag=row_of(work.step, DRAG) + laws.face_drag * np.abs(thrust),
        reaction=row_of(work.step, REACTION),
        thrust=thrust,
        rim=row_of(work.left, RIM) + row_of(work.right, RIM),
        floor_load=row_of(work.floor, FLOOR_FORCE),
        torque=np.array([np.sum(row_of(work.left, TORQUE)), np.sum(row_of(work.right, TORQUE))]),
        steps=int(steps),
        residual=float(residual),
        work=work,
    )


@contextmanager
def _surface_model() -> Iterator[None]:
    before = slow_running.EnergyModel
    slow_running.EnergyModel = SurfaceModel  # type: ignore[misc]
    try:
        yield
    finally:
        slow_running.EnergyModel = before  # type: ignore[misc]


def exact_running_state(*case: Any, **options: Any) -> RunningState:
    """The reference's running state with contact points on the output roller, as the kernels take them."""
    with _surface_model():
        return slow_running.running_state(*case, **options)
