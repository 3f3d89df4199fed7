"""What must not change a limit: mirroring, renumbering, order, company in a batch."""

from __future__ import annotations

import numpy as np
import pytest

from objectives.phases import phase_lattice
from objectives.states import solve_states
from tests.kernel_inputs import kernel_row, kernel_rows
from tests.reference.slow_wheel import SlowWheel, typical_wheel

ANGLES = np.radians([0.0, 180.0, 90.0, -90.0, 45.0, -45.0, 135.0, -135.0, 20.0])
WHEELS = (
    typical_wheel(),
    typical_wheel(crown=1.0, play=0.4e-3),
    typical_wheel(N=11, M=19, crown=0.4, preload=60.0),
    typical_wheel(M=15, play=0.0, preload_stiffness=200e3),
    typical_wheel(N=24, M=37, hub_roller_radius=4e-3, wheel_load=60.0, output_roller_length=15e-3),
)
NAMES = ("typical", "barrels", "11 and 19", "N = M", "24 and 37")


def forces(wheel: SlowWheel, angles: np.ndarray, phases: np.ndarray) -> np.ndarray:
    """Shape (directions, phases), all found."""
    _, limits = solve_states(kernel_row(wheel), angles, phases)
    assert limits.unresolved[0] == limits.without_contact[0] == 0
    return limits.force[0]


@pytest.mark.parametrize("wheel", WHEELS, ids=NAMES)
def test_the_other_way_is_the_mirrored_wheel(wheel: SlowWheel) -> None:
    phases = phase_lattice(6)
    if wheel.M == wheel.N:
        phases[:, 1:] *= 0.2  # beyond that a side touches nothing
    right = forces(wheel, ANGLES, phases)
    left = forces(wheel, -ANGLES, np.ascontiguousarray(phases[:, [0, 2, 1]]))
    assert left == pytest.approx(right, rel=1e-5)
    # and the phases do tell the two ways apart
    assert forces(wheel, -ANGLES, phases)[2] != pytest.approx(right[2], rel=1e-3)


@pytest.mark.parametrize("wheel", WHEELS, ids=NAMES)
def test_which_roller_is_called_the_first_does_not_matter(wheel: SlowWheel) -> None:
    phases = phase_lattice(4) * [1.0, 0.2, 0.2]
    shift = wheel.M / wheel.N  # pitches of the hub rollers in one pitch of the output rollers
    renumbered = np.column_stack([phases[:, 0] + 1.0, phases[:, 1] - shift, phases[:, 2] - shift])
    whole_pitches = phases + np.array([0.0, 2.0, -3.0])
    expected = forces(wheel, ANGLES, phases)
    assert forces(wheel, ANGLES, renumbered) == pytest.approx(expected, rel=1e-5)
    assert forces(wheel, ANGLES, whole_pitches) == pytest.approx(expected, rel=1e-5)


def test_candidates_do_not_see_each_other() -> None:
    rows, phases = kernel_rows(*WHEELS, typical_wheel(hub_roller_length=1e-6)), phase_lattice(4)
    order = np.array([3, 5, 0, 4, 2, 1])
    normal, limits = solve_states(rows, ANGLES, phases)
    turned_normal, turned = solve_states(np.ascontiguousarray(rows[order]), ANGLES, phases)
    for field in ("force", "worst", "mean", "worst_phase", "contact_force_max", "tilting_moment", "axle_reaction_max"):
        np.testing.assert_array_equal(getattr(turned, field), getattr(limits, field)[order], err_msg=field)
    for field in vars(normal):
        np.testing.assert_array_equal(getattr(turned_normal, field), getattr(normal, field)[order], err_msg=field)
    for k in range(len(rows)):
        alone_normal, alone = solve_states(rows[k : k + 1], ANGLES, phases)
        np.testing.assert_array_equal(alone.force[0], limits.force[k])
        np.testing.assert_array_equal(alone_normal.closure_max[0], normal.closure_max[k])


def test_order_and_number_of_directions_do_not_matter() -> None:
    wheel, phases = typical_wheel(), phase_lattice(4)
    expected = forces(wheel, ANGLES, phases)
    assert forces(wheel, ANGLES[::-1].copy(), phases)[::-1] == pytest.approx(expected, rel=1e-5)
    for k, angle in enumerate(ANGLES):
        assert forces(wheel, np.array([angle]), phases)[0] == pytest.approx(expected[k], rel=1e-5)


def test_a_larger_lattice_contains_the_smaller() -> None:
    assert phase_lattice(64)[:16] == pytest.approx(phase_lattice(16), abs=0)
    few, many = forces(typical_wheel(), ANGLES, phase_lattice(4)), forces(typical_wheel(), ANGLES, phase_lattice(9))
    np.testing.assert_array_equal(many[:, :4], few)


@pytest.mark.parametrize("count", [16, 64])
def test_phases_cover_every_pitch_evenly(count: int) -> None:
    for column in phase_lattice(count).T:
        gaps = np.diff(np.sort(np.append(column, column.min() + 1.0)))
        assert gaps.max() < 2.7 / count  # an even spacing has 1/count
