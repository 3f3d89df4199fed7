"""What builders of such drives know: common practice, no source. Each as a comparison of two wheels or of two rollers."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest

from objectives.assessment import LimitStates, NormalStates
from objectives.phases import phase_lattice
from objectives.states import solve_states
from tests.kernel_inputs import kernel_rows, kernel_state
from tests.reference.slow_wheel import typical_wheel

FORWARD, SIDEWAYS = np.radians([0.0, 90.0])
NO_DRAG = {"hub_bore_friction": 0.0, "washer_friction": 0.0, "friction_bore": 0.0}


def states(*changes: dict[str, Any], phases: int = 24) -> tuple[NormalStates, LimitStates]:
    rows = kernel_rows(*(typical_wheel(**change) for change in changes))
    return solve_states(rows, np.array([FORWARD, SIDEWAYS]), phase_lattice(phases))


def test_more_hub_rollers_than_output_rollers_grip_more_evenly() -> None:
    """Common practice: more hub rollers than output rollers; with fewer, a roller on the floor can be without one."""
    _, limits = states({"M": 13}, {"M": 17}, {"M": 22}, {"M": 29})
    waver = 1 - limits.worst / limits.mean
    assert np.all(np.diff(waver, axis=0) < 0)
    assert limits.worst[0, 1] < 0.02 * limits.mean[0, 1]
    assert limits.worst[2, 1] > 0.7 * limits.mean[2, 1]


def test_as_many_hub_rollers_as_output_rollers_cog() -> None:
    """Common practice: never the same number of both, since all passes then fall together."""
    normal, _ = states({"M": 15}, {"M": 14}, {"M": 16}, {"M": 22})
    assert np.all(normal.cogging_torque[1:] < 0.3 * normal.cogging_torque[0])


@pytest.mark.parametrize("sense", [1, -1])
def test_driving_diagonally_at_45_degrees_idles_one_motor(sense: int) -> None:
    """Common practice: at a skew of 45 degrees one motor does all the work of a diagonal."""
    wheel = typical_wheel(M=15, play=0.0, **NO_DRAG)
    # equal parts where the rollers touch, at the contact circle
    parts = np.array([sense * wheel.contact_circle_radius / wheel.wheel_radius, 1.0])
    direction = parts / np.linalg.norm(parts)
    found = kernel_state(wheel, (0.0, 0.0, 0.0), (float(direction[0]), float(direction[1])))
    torque = np.zeros(2)
    for contact in found.contacts:
        lever = contact.along_t * contact.lever_t + contact.along_c * contact.lever_c
        torque[contact.side] += found.share[contact.side, contact.roller] * 0.6 * contact.force * lever
    assert torque.sum() == pytest.approx(found.force * direction[0] * wheel.wheel_radius, abs=1e-4)
    idle, busy = np.sort(np.abs(torque))
    assert idle < 1e-4 * busy
    assert (np.abs(torque).argmax() == 1) == (sense > 0)


def test_rollers_standing_on_the_floor_grip_best() -> None:
    """Common practice: with some play on their axles the rollers on the floor are pressed onto the hubs by the load."""
    for share in (0.0, 0.1, 0.4):
        found = kernel_state(typical_wheel(play=0.6e-3), (share, 0.2, 0.7))
        lowest = int(np.argmax(found.floor_load))
        pressed = np.zeros(15)
        for contact in found.contacts:
            pressed[contact.roller] += contact.force
        assert int(np.argmax(pressed)) == lowest
        others = np.delete(pressed, np.flatnonzero(found.floor_load > 0))
        assert pressed[lowest] > 2 * others.mean()


def test_play_helps_sideways_grip() -> None:
    """Common practice: a tight bore costs sideways grip, since the axle and not the hub rollers take the load."""
    _, limits = states({"play": 0.0}, {"play": 0.1e-3}, {"play": 0.3e-3}, {"play": 0.6e-3})
    assert np.all(np.diff(limits.mean[:, 1]) > 0)
    assert limits.mean[3, 1] > 1.5 * limits.mean[0, 1]


def test_sideways_is_carried_by_few_rollers_and_weaker_than_forward() -> None:
    """Common practice: such wheels push harder forwards, with all rollers, than sideways, with those on the floor."""
    _, limits = states({})
    assert np.all(limits.worst[0, 0] > 2 * limits.worst[0, 1])


def test_a_crown_costs_forward_grip_and_smooths_the_ride() -> None:
    """Common practice: barrels run smoothly on the floor; straight rollers keep the hub rollers' gap small."""
    rigid = {"wheel_load": 5.0, "floor_stiffness": 1e9, "play": 0.0, "axle_stop_stiffness": 1e7, "output_roller_length": 28e-3}
    normal, limits = states({"crown": 0.0} | rigid, {"crown": 1.0} | rigid)
    ripple = normal.axle_height_max - normal.axle_height_min
    assert ripple[1] < 0.2 * ripple[0]
    assert normal.pass_gap_max[1] > normal.pass_gap_max[0]
    assert limits.mean[1, 0] < limits.mean[0, 0]


def test_which_way_round_the_skew_is_built_decides_which_way_is_stronger() -> None:
    """Common practice: friction draws the hubs in one way and pushes them off the other; stiff preload evens it out."""
    rows = kernel_rows(typical_wheel(preload_stiffness=2e3), typical_wheel(preload_stiffness=2e6))
    _, limits = solve_states(rows, np.array([0.0, math.pi]), phase_lattice(8))
    soft, stiff = limits.mean[:, 0] / limits.mean[:, 1]
    assert soft > 1.5
    assert abs(math.log(stiff)) < 0.3 * math.log(soft)
