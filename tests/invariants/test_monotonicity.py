"""What must grow with what, phase by phase."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from objectives.phases import phase_lattice
from objectives.states import solve_states
from tests.kernel_inputs import kernel_rows
from tests.reference.slow_wheel import typical_wheel

FORWARD, REVERSE, SIDEWAYS = np.radians([0.0, 180.0, 90.0])
NO_DRAG = {"hub_bore_friction": 0.0, "washer_friction": 0.0, "friction_bore": 0.0}


def forces(angle: float, name: str, values: tuple[float, ...], **changes: Any) -> np.ndarray:
    """Limit over values and phases, shape (values, phases)."""
    wheels = [typical_wheel(**{name: value} | changes) for value in values]
    _, limits = solve_states(kernel_rows(*wheels), np.array([angle]), phase_lattice(8))
    assert not limits.unresolved.any()
    return limits.force[:, 0]


@pytest.mark.parametrize("angle", [FORWARD, REVERSE, SIDEWAYS])
@pytest.mark.parametrize("crown", [0.0, 1.0])
def test_limit_grows_with_friction_between_rollers(angle: float, crown: float) -> None:
    found = forces(angle, "friction_roller", (0.3, 0.4, 0.5, 0.6), crown=crown, **NO_DRAG)
    assert np.all(np.diff(found, axis=0) > 0)


@pytest.mark.parametrize("angle", [FORWARD, REVERSE])
def test_forward_and_reverse_grow_with_preload(angle: float) -> None:
    assert np.all(np.diff(forces(angle, "preload", (60.0, 80.0, 100.0, 140.0)), axis=0) > 0)


def test_forward_gains_more_and_reverse_less_than_in_proportion_to_friction() -> None:
    """Forward draws the hubs in, reverse pushes them off; a single contact has mu/(1 -+ mu sin(gamma) tan(beta))."""
    matched = {"M": 15, "play": 0.0, "axle_stop_stiffness": 1e9, "preload_stiffness": 0.0}
    wheels = [typical_wheel(**{"friction_roller": mu} | NO_DRAG | matched) for mu in (0.3, 0.6)]
    _, limits = solve_states(kernel_rows(*wheels), np.array([FORWARD, REVERSE]), np.zeros((1, 3)))
    forward, reverse = limits.force[1, :, 0] / limits.force[0, :, 0]
    assert forward > 2.0 > reverse


def test_sideways_grows_with_floor_grip_until_the_contacts_are_used_up() -> None:
    found = forces(SIDEWAYS, "friction_floor", (0.05, 0.1, 0.2, 0.5, 200.0, 400.0))
    assert np.all(np.diff(found, axis=0) > -1e-3)
    assert found[0] == pytest.approx(np.full(8, 0.05 * 100.0), rel=1e-4)
    assert found[4] == pytest.approx(found[5], rel=1e-5)


@pytest.mark.parametrize("name", ["friction_bore", "hub_bore_friction", "washer_friction"])
def test_drag_takes_from_the_sideways_limit(name: str) -> None:
    assert np.all(np.diff(forces(SIDEWAYS, name, (0.0, 0.1, 0.2, 0.3)), axis=0) < 0)


@pytest.mark.parametrize("angle", [FORWARD, REVERSE])
def test_floor_grip_and_drag_do_not_enter_forward_and_reverse(angle: float) -> None:
    for name in ("friction_floor", "friction_bore", "hub_bore_friction", "washer_friction"):
        found = forces(angle, name, (0.05, 0.3))
        assert found[1] == pytest.approx(found[0], rel=1e-12), name
