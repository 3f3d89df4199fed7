"""Formulas over arrays: the same numbers as one by one."""

from __future__ import annotations

import numpy as np
import pytest

from objectives.compiled import on_arrays
from objectives.hertz import crossed_cylinder_curvatures, line_half_width, patch_half_widths


def test_arrays_broadcast_and_agree_with_scalars() -> None:
    radii, angles = np.array([[0.01], [0.02]]), np.array([0.5, 0.9, 1.3])
    a, b = on_arrays(patch_half_widths, radii, 0.006, angles, 20e6, 15.0)
    assert a.shape == b.shape == (2, 3)
    assert (a[1, 2], b[1, 2]) == patch_half_widths(0.02, 0.006, 1.3, 20e6, 15.0)


def test_compiled_and_uncompiled_agree() -> None:
    for angle in (0.4, 1.0, 1.5):
        assert crossed_cylinder_curvatures(0.01, 0.02, angle) == crossed_cylinder_curvatures.py_func(0.01, 0.02, angle)


def test_nan_stays_nan_and_zero_division_is_no_error() -> None:
    assert np.isnan(on_arrays(line_half_width, np.array([np.nan, 1.0]), 0.01, 1e6)[0])
    assert line_half_width(1.0, 0.01, 0.0) == np.inf


def test_nothing_to_work_on_is_said() -> None:
    with pytest.raises(ValueError, match=r"at least one element, got shape \(0,\)"):
        on_arrays(line_half_width, np.array([]), 0.01, 1e6)
