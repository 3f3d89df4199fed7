"""Normal forces at rest: the kernels against the slow reference, against an energy written here, and against statics."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest
from scipy.integrate import quad

from objectives.engagement import floor_contact
from tests.exact_reference import surface_equilibrium
from tests.kernel_inputs import KernelState, kernel_geometry, kernel_state, slow_phase
from tests.reference.slow_wheel import SlowWheel, typical_wheel

PHASES = ((0.3, 0.2, 0.7), (0.8, 0.1, 0.0))
STRAIGHT: tuple[dict[str, Any], ...] = (
    {},
    {"play": 0.0},
    {"play": 0.5e-3, "preload": 40.0},
    {"N": 12, "M": 12, "play": 0.1e-3},
    {"N": 11, "M": 19},
    {"contact_stiffness": 1e5},
    {"contact_stiffness": 3e7, "floor_stiffness": 1e8, "axle_stop_stiffness": 5e6},
    {"wheel_load": 400.0},
    {"contact_angle": math.radians(60), "skew_angle": math.radians(35)},
)
CROWNED: tuple[dict[str, Any], ...] = ({"crown": 1.0}, {"crown": 1.0, "play": 0.5e-3}, {"crown": 0.5, "M": 15})


def name(changes: dict[str, Any]) -> str:
    return ", ".join(f"{key} {value:.3g}" for key, value in changes.items()) or "typical"


def sorted_forces(state: KernelState) -> list[tuple[int, int, float]]:
    return sorted((contact.side, contact.roller, contact.force) for contact in state.contacts)


@pytest.mark.parametrize("shares", PHASES, ids=str)
@pytest.mark.parametrize("changes", STRAIGHT + CROWNED, ids=name)
def test_equilibrium_is_that_of_the_reference(changes: dict[str, Any], shares: tuple[float, float, float]) -> None:
    wheel = typical_wheel(**changes)
    found, expected = kernel_state(wheel, shares), surface_equilibrium(wheel, slow_phase(wheel, np.array(shares)))
    assert 0 < found.steps <= 30
    assert found.residual < 1e-9
    pairs = zip(expected.contacts, expected.normal_force, strict=True)
    forces = sorted((0 if p.contact.side > 0 else 1, p.roller, float(n)) for p, n in pairs)
    assert [f[:2] for f in sorted_forces(found)] == [f[:2] for f in forces]
    # what the gap and the normal of a crowned roller leave out moves forces by up to 0.27 N of 30 N
    near = 0.01 * expected.normal_force.max() if wheel.crown else 3e-4
    assert [f[2] for f in sorted_forces(found)] == pytest.approx([f[2] for f in forces], abs=near)
    length = 4e-6 if wheel.crown else 2e-9
    assert found.closure == pytest.approx(expected.x, abs=length)
    assert found.height == pytest.approx(expected.h, abs=length)
    assert found.floor_load == pytest.approx(expected.floor_load, abs=0.02 if wheel.crown else 5e-4)


def energy(wheel: SlowWheel, shares: tuple[float, float, float], state: KernelState, q: np.ndarray) -> float:
    """Energy [J] of unknowns q = (u, v, closures, height), from the contacts' geometry and adaptive quadrature on the floor."""
    n = wheel.N
    u, v, x, h = q[:n], q[n : 2 * n], q[2 * n : 2 * n + 2], q[-1]
    total = wheel.wheel_load * h - wheel.preload * (x[0] + x[1])
    for contact in state.contacts:
        sideways = v[contact.roller] if contact.side == 0 else -v[contact.roller]
        overlap = contact.inward * u[contact.roller] + contact.axial * (x[contact.side] + sideways) - contact.gap
        total += 0.4 * wheel.contact_stiffness * max(overlap, 0.0) ** 2.5
    for i in range(n):
        distance = math.hypot(u[i], v[i])
        total += 0.5 * wheel.axle_stop_stiffness * max(distance - wheel.play, 0.0) ** 2 + 0.5 * distance**2
        angle = math.remainder(2 * math.pi * (shares[0] + i) / n, 2 * math.pi)
        if abs(angle) > 1.0:
            continue
        half = wheel.output_roller_length / 2

        def squared(z: float, u: float = u[i], angle: float = angle) -> float:
            bulge = wheel.crown * (math.sqrt(wheel.wheel_radius**2 - z * z) - wheel.wheel_radius)
            return max((wheel.wheel_radius - u + bulge) * math.cos(angle) + z * math.sin(angle) - h, 0.0) ** 2

        wet = [z for z in np.linspace(-half, half, 401) if squared(z) > 0.0]
        if wet:
            step = half / 200
            low, high = max(wet[0] - step, -half), min(wet[-1] + step, half)
            total += 0.5 * wheel.floor_stiffness * quad(squared, low, high, epsabs=1e-18, epsrel=1e-12, limit=200)[0]
    return total


@pytest.mark.parametrize("changes", [{}, {"crown": 1.0}, {"play": 0.0, "M": 15}], ids=name)
def test_no_step_from_the_equilibrium_lowers_the_energy(changes: dict[str, Any]) -> None:
    wheel, shares = typical_wheel(**changes), PHASES[0]
    found = kernel_state(wheel, shares)
    q = np.concatenate([found.u, found.v, found.closure, [found.height]])
    least, step = energy(wheel, shares, found, q), 2e-7
    for k in range(len(q)):
        move = np.zeros_like(q)
        move[k] = step
        up, down = energy(wheel, shares, found, q + move), energy(wheel, shares, found, q - move)
        assert (up - down) / (2 * step) == pytest.approx(0.0, abs=2e-3)  # N, where forces are of 10 to 100 N
    draw = np.random.default_rng(3)
    for size in (1e-6, 1e-5, 1e-4):
        for _ in range(5):
            assert energy(wheel, shares, found, q + size * draw.normal(size=len(q))) > least


@pytest.mark.parametrize("changes", STRAIGHT + CROWNED, ids=name)
def test_forces_at_rest_balance(changes: dict[str, Any]) -> None:
    wheel = typical_wheel(**changes)
    found = kernel_state(wheel, PHASES[0])
    assert np.sum(found.floor_load) == pytest.approx(wheel.wheel_load, abs=1e-6)
    for side in range(2):
        pressed = sum(contact.force * contact.axial for contact in found.contacts if contact.side == side)
        assert pressed == pytest.approx(wheel.preload, abs=1e-6)
    # over all rollers, sideways: hubs pull alike, so what is left is the axles' and the weak spring's
    outward = wheel.axle_stop_stiffness * np.maximum(np.hypot(found.u, found.v) - wheel.play, 0.0)
    assert np.sum(outward * found.v / np.hypot(found.u, found.v) + found.v) == pytest.approx(0.0, abs=1e-6)


def test_play_lets_the_wheel_load_press_the_rollers_on_the_floor() -> None:
    wheel = typical_wheel(M=15, play=1e-3, axle_stop_stiffness=2e5)
    found = kernel_state(wheel, (0.0, 0.0, 0.0))
    assert found.floor_load[0] == pytest.approx(wheel.wheel_load, abs=1e-6)
    on_it = [contact.force for contact in found.contacts if contact.roller == 0]
    # the weak spring carries 1 mN
    assert on_it == pytest.approx([wheel.wheel_load / (2 * math.sin(wheel.contact_angle))] * 2, rel=1e-4)


def test_preload_is_shared_by_matched_rollers() -> None:
    wheel = typical_wheel(M=15, play=0.0, axle_stop_stiffness=1e9, wheel_load=1e-3)
    forces = [contact.force for contact in kernel_state(wheel, (0.0, 0.0, 0.0)).contacts]
    assert forces == pytest.approx([wheel.preload / (wheel.N * math.cos(wheel.contact_angle))] * 30, rel=1e-5)


def test_three_rollers_can_stand_on_the_floor() -> None:
    # both neighbours of the lowest one carry 8 % each
    length = 0.85 * 2 * 66e-3 * math.tan(math.pi / 26)
    wheel = typical_wheel(N=26, M=37, wheel_load=250.0, output_roller_length=length)
    shares = (1e-4, 0.2, 0.7)
    found, expected = kernel_state(wheel, shares), surface_equilibrium(wheel, slow_phase(wheel, np.array(shares)))
    assert np.count_nonzero(expected.floor_load > 20.0) == 3
    assert found.floor_load == pytest.approx(expected.floor_load, abs=5e-4)


# the floor


def floor_by_quadrature(wheel: SlowWheel, angle: float, u: float, height: float) -> float:
    """Force [N] of a roller on the floor, slice by slice."""
    half = wheel.output_roller_length / 2

    def depth(z: float) -> float:
        bulge = wheel.crown * (math.sqrt(wheel.wheel_radius**2 - z * z) - wheel.wheel_radius)
        return (wheel.wheel_radius - u + bulge) * math.cos(angle) + z * math.sin(angle) - height

    # split where the depth changes sign, found on a fine grid and by bisection
    grid = np.linspace(-half, half, 4001)
    inside = np.array([depth(z) > 0 for z in grid])
    total = 0.0
    for first, last in _runs(inside):
        low = _edge(depth, grid[first - 1], grid[first]) if first > 0 else grid[first]
        high = _edge(depth, grid[last + 1], grid[last]) if last < len(grid) - 1 else grid[last]
        total += quad(depth, low, high, epsabs=0.0, epsrel=1e-13)[0]
    return wheel.floor_stiffness * total


def _runs(inside: np.ndarray) -> list[tuple[int, int]]:
    runs, start = [], None
    for k, value in enumerate([*inside, False]):
        if value and start is None:
            start = k
        elif not value and start is not None:
            runs.append((start, k - 1))
            start = None
    return runs


def _edge(depth: Any, outside: float, inside: float) -> float:
    for _ in range(80):
        middle = (outside + inside) / 2
        outside, inside = (outside, middle) if depth(middle) > 0 else (middle, inside)
    return inside


@pytest.mark.parametrize("crown", [0.0, 0.3, 1.0])
@pytest.mark.parametrize("angle_deg", [-11.0, -2.0, 0.0, 0.4, 5.0, 14.0])
@pytest.mark.parametrize("depth_mm", [0.05, 0.4, 1.5, 4.0])
def test_floor_force_is_the_sum_of_its_slices(crown: float, angle_deg: float, depth_mm: float) -> None:
    wheel, angle, u = typical_wheel(crown=crown), math.radians(angle_deg), 0.13e-3
    g = kernel_geometry(wheel)
    edge = [(wheel.wheel_radius - u + crown * (math.sqrt(wheel.wheel_radius**2 - z * z) - wheel.wheel_radius)) * math.cos(angle)
            + z * math.sin(angle) for z in np.linspace(-g.half_output_length, g.half_output_length, 2001)]
    height = max(edge) - depth_mm * 1e-3

    def force(u: float, height: float) -> tuple[float, float]:
        return floor_contact(g, wheel.floor_stiffness, math.cos(angle), math.sin(angle), u, height)

    found, stiffness = force(u, height)
    assert found == pytest.approx(floor_by_quadrature(wheel, angle, u, height), rel=1e-7)
    step = 1e-8
    # the crowned formula's force is a Gauss sum, its stiffness exact
    assert stiffness == pytest.approx((force(u, height - step)[0] - force(u, height + step)[0]) / (2 * step), rel=2e-5)
    by_u = (force(u - step, height)[0] - force(u + step, height)[0]) / (2 * step)
    assert by_u == pytest.approx(stiffness * math.cos(angle), rel=2e-5)


@pytest.mark.parametrize("crown", [0.0, 1.0])
def test_a_lifted_roller_carries_nothing(crown: float) -> None:
    g = kernel_geometry(typical_wheel(crown=crown))
    for angle in (-0.2, 0.0, 0.1):
        assert floor_contact(g, 1e7, math.cos(angle), math.sin(angle), 0.0, 94e-3) == (0.0, 0.0)
