"""Laws of scale: larger wheels of the same stuff, stiffer wheels of the same size."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from objectives.phases import phase_lattice
from objectives.states import solve_states
from tests.kernel_inputs import kernel_rows
from tests.reference.slow_wheel import SlowWheel, typical_wheel

ANGLES = np.radians([0.0, 180.0, 90.0, 45.0, 135.0, 20.0])
LENGTHS = (
    "wheel_radius", "output_roller_radius", "hub_roller_radius", "hub_roller_length", "output_roller_length", "play",
    "axle_radius", "hub_bolt_radius", "washer_radius",
)  # fmt: skip
LENGTH_RESULTS = ("closure_min", "closure_max", "axle_height_min", "axle_height_max", "roller_shift_max", "pass_gap_max")
FORCE_RESULTS = ("contact_force_max", "contact_force_mean", "axle_reaction_max", "floor_force_max")


def scaled(wheel: SlowWheel, length: float, modulus: float) -> SlowWheel:
    """Every length times ``length``, every modulus times ``modulus``, forces as pressures and moduli ask."""
    force = modulus * length**2
    return replace(
        wheel,
        **{name: getattr(wheel, name) * length for name in LENGTHS},
        preload=wheel.preload * force,
        wheel_load=wheel.wheel_load * force,
        preload_stiffness=wheel.preload_stiffness * modulus * length,
        axle_stop_stiffness=wheel.axle_stop_stiffness * modulus * length,
        contact_stiffness=wheel.contact_stiffness * modulus * length**0.5,
        floor_stiffness=wheel.floor_stiffness * modulus,
    )


@pytest.mark.parametrize("crown", [0.0, 1.0])
@pytest.mark.parametrize(("length", "modulus"), [(2.0, 1.0), (0.6, 1.0), (1.0, 3.0), (1.5, 0.5)])
def test_same_shape_and_same_strains_give_the_same_wheel(crown: float, length: float, modulus: float) -> None:
    wheel = typical_wheel(crown=crown)
    rows = kernel_rows(wheel, scaled(wheel, length, modulus))
    normal, limits = solve_states(rows, ANGLES, phase_lattice(5))
    assert limits.unresolved.tolist() == [0, 0]
    force = modulus * length**2
    # the centring spring of 1 N/m stays as it is: some 1e-4 N
    assert limits.force[1] == pytest.approx(limits.force[0] * force, rel=1e-4)
    for name in FORCE_RESULTS:
        assert getattr(normal, name)[1] == pytest.approx(getattr(normal, name)[0] * force, rel=1e-4), name
    for name in LENGTH_RESULTS:
        assert getattr(normal, name)[1] == pytest.approx(getattr(normal, name)[0] * length, rel=1e-4, abs=1e-9), name
    assert normal.tilting_moment[1] == pytest.approx(normal.tilting_moment[0] * force * length, rel=1e-4)


def test_thin_tyres_aside_the_load_alone_does_not_scale() -> None:
    """The check above can fail: forces doubled without the moduli are another wheel."""
    wheel = typical_wheel()
    heavier = replace(wheel, preload=200.0, wheel_load=200.0)
    _, limits = solve_states(kernel_rows(wheel, heavier), ANGLES, phase_lattice(5))
    assert np.abs(limits.force[1] / limits.force[0] / 2 - 1).max() > 0.01
