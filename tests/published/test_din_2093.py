"""DIN 2093 series A disc springs: printed force at s = 0.75 h0, steel of 206 GPa and Poisson's ratio 0.3."""

from __future__ import annotations

import pytest

from objectives.soft_parts import belleville_force, bonded_pad_modulus


@pytest.mark.parametrize(
    ("outside", "inside", "thickness", "free_height", "deflection", "force"),  # mm, N
    [
        (8.0, 4.2, 0.4, 0.6, 0.15, 210),
        (10.0, 5.2, 0.5, 0.75, 0.19, 329),
        (20.0, 10.2, 1.1, 1.55, 0.34, 1530),
        (25.0, 12.2, 1.5, 2.05, 0.41, 2910),
    ],
)
def test_printed_forces(
    outside: float, inside: float, thickness: float, free_height: float, deflection: float, force: float
) -> None:
    sizes = (value * 1e-3 for value in (outside, inside, thickness, free_height - thickness, deflection))
    assert belleville_force(206e9, 0.3, *sizes) == pytest.approx(force, rel=3e-3)


def test_bonded_pad() -> None:
    """Gent & Lindley 1959: a disc of diameter d and height t has S = d/(4 t)."""
    assert bonded_pad_modulus(2e6, 20 / (4 * 5)) == pytest.approx(6e6)
