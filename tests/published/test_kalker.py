"""Kalker 1990, *Three-Dimensional Elastic Bodies in Rolling Contact*, Table E.3; and the same problem solved on a grid."""

from __future__ import annotations

import math

import numpy as np
import pytest

from objectives.compiled import on_arrays
from objectives.kalker import (
    C11_TABLE,
    C22_TABLE,
    C23_TABLE,
    C33_TABLE,
    combined_poisson_ratio,
    combined_shear_modulus,
    kalker_c11,
    kalker_c22,
    kalker_c23,
    kalker_c33,
)

COEFFICIENTS = ((kalker_c11, C11_TABLE), (kalker_c22, C22_TABLE), (kalker_c23, C23_TABLE), (kalker_c33, C33_TABLE))
ASPECTS = np.concatenate([np.arange(1, 11) / 10, 10 / np.arange(9, 0, -1)])

# a/b: C11, C22, C23 at nu = 0.25 and 0.5, as printed
PRINTED = {
    0.1: (3.31, 4.85, 2.52, 2.53, 0.473, 0.731),
    0.2: (3.37, 4.81, 2.63, 2.66, 0.603, 0.809),
    0.3: (3.44, 4.80, 2.75, 2.81, 0.715, 0.889),
    0.5: (3.62, 4.83, 3.01, 3.14, 0.929, 1.07),
    0.7: (3.81, 4.97, 3.28, 3.48, 1.14, 1.29),
    1.0: (4.12, 5.20, 3.67, 3.98, 1.47, 1.63),
    2.0: (5.10, 6.11, 4.90, 5.56, 2.62, 2.96),
    10 / 3: (6.34, 7.34, 6.40, 7.51, 4.32, 5.01),
    5.0: (7.78, 8.82, 8.14, 9.79, 6.63, 7.89),
    10.0: (11.7, 12.9, 12.8, 16.0, 14.6, 18.0),
}


@pytest.mark.parametrize("aspect", PRINTED)
def test_printed_values(aspect: float) -> None:
    got = [function(aspect, nu) for function in (kalker_c11, kalker_c22, kalker_c23) for nu in (0.25, 0.5)]
    assert got == pytest.approx(PRINTED[aspect], rel=1e-9)


@pytest.mark.parametrize(("function", "table"), COEFFICIENTS)
def test_the_table_is_met_at_its_points(function: object, table: np.ndarray) -> None:
    got = on_arrays(function, ASPECTS[None, :], np.array([[0.0], [0.25], [0.5]]))
    assert got == pytest.approx(table, rel=1e-9)


@pytest.mark.parametrize(("function", "table"), COEFFICIENTS)
def test_a_point_left_out_is_met_by_its_neighbours(function: object, table: np.ndarray) -> None:
    """With the code's scaling a cubic through two neighbours on either side meets each point to 1 %, its digits to 0.5 %."""
    power = {kalker_c11: 1.0, kalker_c22: 1.0, kalker_c23: 1.5}.get(function)
    scaled = table / ((1 + ASPECTS) ** power if power else 1 + 1 / ASPECTS)
    inner = (-scaled[:, :-4] + 4 * scaled[:, 1:-3] + 4 * scaled[:, 3:-1] - scaled[:, 4:]) / 6
    assert inner == pytest.approx(scaled[:, 2:-2], rel=0.01)


@pytest.mark.parametrize(("function", "table"), COEFFICIENTS)
def test_smooth_over_the_aspect(function: object, table: np.ndarray) -> None:
    aspects = np.geomspace(0.1, 10, 2001)
    values = np.log(on_arrays(function, aspects, 0.48))
    slope = np.diff(values) / np.diff(np.log(aspects))
    assert np.abs(np.diff(slope)).max() < 0.05


@pytest.mark.parametrize("nu", [0.0, 0.3, 0.5])
def test_limit_of_a_line_across_the_rolling_direction(nu: float) -> None:
    """a/b -> 0: C11 = pi^2/(4 (1 - nu)), the slope of Carter's law, C22 = pi^2/4, C33 = pi^2 b/(16 (1 - nu) a)."""
    assert kalker_c11(0.01, nu) == pytest.approx(math.pi**2 / 4 / (1 - nu), rel=0.02)
    assert kalker_c22(0.01, nu) == pytest.approx(math.pi**2 / 4, rel=0.03)
    assert kalker_c33(0.01, nu) == pytest.approx(math.pi**2 / 16 / (1 - nu) / 0.01, rel=0.053)


def no_slip_rolling(aspect: float, nu: float, cells: int) -> tuple[float, float, float, float]:
    """C11, C22, C32, C33 from boundary elements: bodies alike, no slip, no traction before the leading edge. G = 1, a = 1."""
    b = 1.0 / aspect
    dx, dy = 2.0 / cells, 2.0 * b / cells
    place = np.arange(cells) + 0.5
    x, y = (grid.ravel() for grid in np.meshgrid(-1 + dx * place, -b + dy * place, indexing="ij"))
    inside = x**2 + (y / b) ** 2 < 1
    x, y = x[inside], y[inside]

    def displacement(ahead: float) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Cerruti's solution over a rectangle: x from p_x, x from p_y, y from p_y, for both bodies."""
        one_over_r, xx, xy = 0.0, 0.0, 0.0
        for sx in (1, -1):
            for sy in (1, -1):
                u = (x + ahead)[:, None] - x[None, :] + sx * dx / 2
                v = y[:, None] - y[None, :] + sy * dy / 2
                along, across = u * np.arcsinh(v / np.abs(u)), v * np.arcsinh(u / np.abs(v))
                one_over_r = one_over_r + sx * sy * (along + across)
                xx, xy = xx + sx * sy * across, xy - sx * sy * np.hypot(u, v)
        yy = one_over_r - xx
        return ((1 - nu) * one_over_r + nu * xx) / math.pi, nu * xy / math.pi, ((1 - nu) * one_over_r + nu * yy) / math.pi

    gradient = [(front - here) / dx for front, here in zip(displacement(dx), displacement(0.0), strict=True)]
    matrix = np.block([[gradient[0], gradient[1]], [gradient[1], gradient[2]]])
    one, zero = np.ones_like(x), np.zeros_like(x)
    creeps = np.stack([np.r_[one, zero], np.r_[zero, one], np.r_[-y, x + dx / 2]], axis=1)
    traction = np.linalg.solve(matrix, creeps) * dx * dy
    along, across = traction[: len(x)], traction[len(x) :]
    moment = (x[:, None] * across - y[:, None] * along).sum(axis=0)
    return -along[:, 0].sum() / b, -across[:, 1].sum() / b, moment[1] / b**1.5, -moment[2] / b**2


@pytest.mark.parametrize("nu", [0.25, 0.5])
@pytest.mark.parametrize("aspect", [0.2, 0.5, 1.0, 2.0, 5.0])
def test_against_boundary_elements(aspect: float, nu: float) -> None:
    c11, c22, c32, c33 = no_slip_rolling(aspect, nu, 24)
    assert c11 == pytest.approx(kalker_c11(aspect, nu), rel=0.025)
    assert c22 == pytest.approx(kalker_c22(aspect, nu), rel=0.03)
    assert c32 == pytest.approx(kalker_c23(aspect, nu), rel=0.06)
    assert c33 == pytest.approx(kalker_c33(aspect, nu), rel=0.035)


def test_rigid_partner_doubles_the_shear_modulus() -> None:
    assert combined_shear_modulus(5e6, math.inf) == 10e6
    assert combined_poisson_ratio(5e6, 0.48, math.inf, 0.3) == pytest.approx(0.48)
    assert combined_poisson_ratio(5e6, 0.4, 5e6, 0.5) == pytest.approx(0.45)
