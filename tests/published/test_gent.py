"""Gent 1958, *Rubber Chem. Technol.* 31:896; Gibson & Ashby (from memory)."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.special import erfinv

from objectives.soft_parts import infill_modulus, shore_a_modulus


def test_shear_moduli_as_printed_by_a_third_party() -> None:
    """E/3 of 60, 70 and 80 Shore A: 1.20, 1.84, 3.12 MPa."""
    assert shore_a_modulus(np.array([60, 70, 80])) / 3e6 == pytest.approx([1.20, 1.84, 3.12], abs=0.006)


def test_against_the_other_relation_of_hardness() -> None:
    """BS 903 gives S = 100 erf(3.186e-4 sqrt(E/Pa)) (as in public transcriptions); at 60 and 70 the two are within 5 %."""
    for shore in (60.0, 70.0):
        assert (erfinv(shore / 100) / 3.186e-4) ** 2 == pytest.approx(shore_a_modulus(shore), rel=0.05)


def test_hundred_has_no_modulus() -> None:
    assert np.isinf(shore_a_modulus(100.0))


def test_infill() -> None:
    assert infill_modulus(26e6, 0.3) / 1e6 == pytest.approx(2.34)
    assert infill_modulus(26e6, 0.3, 1.0) / 1e6 == pytest.approx(7.8)
