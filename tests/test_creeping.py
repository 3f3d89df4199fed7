"""Creeping contacts: derivatives against differences, the ends of the creep law, and two kernels that must agree."""

from __future__ import annotations

import numpy as np
import pytest

from objectives import creeping
from objectives.creeping import (
    RIM,
    RIM_V,
    ROLL_FORCE,
    ROLL_FORCE_V,
    ROLL_THRUST,
    ROLL_THRUST_V,
    THRUST,
    THRUST_V,
    TORQUE,
    CreepLaws,
    creep_sums,
    load_contacts,
    rim_force,
)
from objectives.engagement import Laws, meet
from objectives.phases import geometry_of, laws_of
from objectives.workspace import (
    ALONG_C,
    ALONG_T,
    AXIAL,
    CONTACT,
    GAP,
    LEVER_C,
    LEVER_T,
    ROW,
    SIDE,
    SPEED,
    SUMS,
    U,
    V,
    Workspace,
    new_workspace,
)
from tests.kernel_inputs import kernel_row
from tests.reference.slow_wheel import SlowWheel, typical_wheel

WHEEL = typical_wheel(crown=0.3)
CLOSURE, COMMON = 0.6e-3, 0.1
#: everything at work; drilling at full slip, where it does not depend on the speeds
FULL = CreepLaws(
    friction=0.5, drag_of_load=0.06, drag_of_force=0.09, creep_saturation=0.09, hysteresis=7e-3, spin_linear=1e3,
    spin_full=3e-4, bore_drag=0.04, face_drag=0.05, floor_hysteresis=0.01,
)  # fmt: skip
FREE = FULL._replace(drag_of_load=0.0, drag_of_force=0.0, hysteresis=0.0, spin_linear=0.0, spin_full=0.0)


def touching(wheel: SlowWheel = WHEEL) -> tuple[Workspace, Laws]:
    """Both sides met, rollers displaced and turning at random near where they run."""
    row = kernel_row(wheel)[0]
    laws, work = laws_of(row), new_workspace()
    for side in range(2):
        assert meet(geometry_of(row), laws, side, 0.05 + 0.1 * side, work) > 0
    draw = np.random.default_rng(11)
    n = wheel.N
    work.unknowns[U : U + n] = draw.uniform(-5e-5, 5e-5, n)
    work.unknowns[V : V + n] = draw.uniform(-5e-5, 5e-5, n)
    work.unknowns[SPEED : SPEED + n] = wheel.contact_circle_radius * draw.uniform(0.75, 1.1, n)
    return work, laws


def sums(
    work: Workspace, laws: Laws, creep: CreepLaws, side: int, closure: float = CLOSURE, common: float = COMMON
) -> np.ndarray:
    found = np.zeros(SUMS)
    k = laws.contact_stiffness
    creep_sums(work.contacts, side, work.slots[side], 16, k, np.cbrt(k), creep, closure, common, work.unknowns, found)
    return found


def normal_forces(work: Workspace, laws: Laws, side: int, slot: int, closure: float = CLOSURE) -> np.ndarray:
    """By hand, shape (ROW,) [N]."""
    at, sign = side * SIDE + slot * CONTACT, 1 - 2 * side
    inward, axial, gap = (work.contacts[at + k : at + k + ROW] for k in (creeping.INWARD, AXIAL, GAP))
    overlap = inward * work.unknowns[U : U + ROW] + axial * (closure + sign * work.unknowns[V : V + ROW]) - gap
    return laws.contact_stiffness * np.maximum(overlap, 0.0) ** 1.5


@pytest.mark.parametrize("side", [0, 1])
@pytest.mark.parametrize("by", ["U", "X", "V", "C"])
def test_derivatives_of_sums_against_differences(side: int, by: str) -> None:
    work, laws = touching()
    step = {"U": 1e-9, "X": 1e-9, "V": 1e-7, "C": 1e-6}[by]
    ends = []
    for sign in (-1, 1):
        moved, closure, common = work.unknowns.copy(), CLOSURE, COMMON
        if by == "U":
            moved[U : U + ROW] += sign * step
        elif by == "V":
            moved[SPEED : SPEED + ROW] += sign * step
        elif by == "X":
            closure += sign * step
        else:
            common += sign * step
        ends.append(sums(work._replace(unknowns=moved), laws, FULL, side, closure, common))
    difference = (ends[1] - ends[0]) / (2 * step)
    found, n = sums(work, laws, FULL, side), WHEEL.N
    for what in ("FORCE_U", "FORCE_X", "RIM", "TORQUE", "THRUST"):
        name = f"{what}{by}" if what.startswith("FORCE") else f"{what}_{by}"
        at, value = getattr(creeping, name), getattr(creeping, what)
        given, expected = found[at : at + n], difference[value : value + n]
        assert np.count_nonzero(np.abs(expected) > 1e-6) >= 8, name
        assert given == pytest.approx(expected, rel=2e-5, abs=2e-6 * np.max(np.abs(expected))), name


@pytest.mark.parametrize("side", [0, 1])
@pytest.mark.parametrize("laws_name", ["full", "free"])
def test_rim_force_is_that_of_the_sums(side: int, laws_name: str) -> None:
    work, laws = touching()
    creep = FULL if laws_name == "full" else FREE
    found, rim = sums(work, laws, creep, side), np.zeros(4 * ROW)
    slots, k = work.slots[side], laws.contact_stiffness
    load_contacts(work.contacts, side, slots, 16, k, np.cbrt(k), creep, CLOSURE, COMMON, work.unknowns)
    for _ in range(2):  # added once more
        rim_force(work.contacts, side, slots, 16, creep, work.unknowns, rim)
    n = WHEEL.N
    assert np.max(np.abs(found[RIM : RIM + n])) > 1.0
    for row, what, tiny in (
        (ROLL_FORCE, RIM, 1e-12), (ROLL_FORCE_V, RIM_V, 1e-9), (ROLL_THRUST, THRUST, 1e-12), (ROLL_THRUST_V, THRUST_V, 1e-9)
    ):  # fmt: skip
        assert rim[row : row + n] == pytest.approx(2 * found[what : what + n], rel=1e-11, abs=tiny)


def single_contacts(work: Workspace, laws: Laws, side: int) -> np.ndarray:
    """Rollers that one hub roller of this side presses, and no other."""
    loaded = np.array([normal_forces(work, laws, side, slot) > 0.1 for slot in range(work.slots[side])])
    any_force = np.array([normal_forces(work, laws, side, slot) > 0.0 for slot in range(work.slots[side])])
    return np.flatnonzero((any_force.sum(axis=0) == 1) & loaded[0])


@pytest.mark.parametrize("side", [0, 1])
def test_no_slip_no_force(side: int) -> None:
    """At V = sigma omega lever_a/a_c the roller's surface keeps up with the hub along the axis."""
    work, laws = touching()
    rollers = single_contacts(work, laws, side)
    assert len(rollers) >= 4
    sigma = 2 * side - 1
    at = side * SIDE + rollers
    a_c, a_t = work.contacts[at + ALONG_C], work.contacts[at + ALONG_T]
    lever = a_t * work.contacts[at + LEVER_T] + a_c * work.contacts[at + LEVER_C]
    work.unknowns[SPEED + rollers] = sigma * (COMMON + sigma) * lever / a_c
    found = sums(work, laws, FREE, side)
    for row in (RIM, TORQUE, THRUST):
        assert found[row + rollers] == pytest.approx(np.zeros(len(rollers)), abs=1e-11)


@pytest.mark.parametrize("side", [0, 1])
def test_much_slip_gives_coulomb_friction(side: int) -> None:
    """A roller held still: mu N along the axis, into rim, hub and axle by the axis' own direction and lever."""
    work, laws = touching()
    rollers = single_contacts(work, laws, side)
    work.unknowns[SPEED : SPEED + ROW] = 0.0
    found, sigma, at = sums(work, laws, FREE, side), 2 * side - 1, side * SIDE + rollers
    grip = FREE.friction * normal_forces(work, laws, side, 0)[rollers]
    a_c, a_t = work.contacts[at + ALONG_C], work.contacts[at + ALONG_T]
    lever = a_t * work.contacts[at + LEVER_T] + a_c * work.contacts[at + LEVER_C]
    assert found[RIM + rollers] == pytest.approx(grip * a_c, rel=1e-12)
    assert found[TORQUE + rollers] == pytest.approx(sigma * grip * lever, rel=1e-12)
    assert found[THRUST + rollers] == pytest.approx(sigma * grip * a_t, rel=1e-12)
    work.unknowns[SPEED : SPEED + ROW] = 10.0  # and backwards where the roller overruns the hub
    assert sums(work, laws, FREE, side)[RIM + rollers] == pytest.approx(-grip * a_c, rel=1e-12)


def test_a_third_of_the_saturation_creep_uses_nineteen_twentysevenths() -> None:
    """Vermeulen and Johnson: linear force equal to the limit gives F/(mu N) = 1 - 1/3 + 1/27 = 0.703704."""
    work, laws = touching()
    rollers = single_contacts(work, laws, 1)
    normal = normal_forces(work, laws, 1, 0)[rollers]
    at = SIDE + rollers
    a_c, a_t, lever_t, lever_c = (work.contacts[at + row] for row in (ALONG_C, ALONG_T, LEVER_T, LEVER_C))
    omega = COMMON + 1.0
    wanted = FREE.creep_saturation * normal ** (1 / 3) / 3
    # slip/roll = wanted is linear in the speed
    along, across = a_t * lever_t + a_c * lever_c, a_t * lever_c - a_c * lever_t
    work.unknowns[SPEED + rollers] = omega * (along + wanted * across) / (a_c + wanted * a_t)
    share = sums(work, laws, FREE, 1)[RIM + rollers] / (FREE.friction * normal * a_c)
    assert share == pytest.approx(np.full(len(rollers), 0.703704), abs=2e-6)


def test_rollers_without_contact_give_nothing() -> None:
    work, laws = touching()
    for side in range(2):
        found = sums(work, laws, FULL, side, closure=-5e-3)
        assert not np.any(np.abs(found) > 1e-15)
