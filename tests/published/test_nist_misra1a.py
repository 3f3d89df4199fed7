"""NIST Statistical Reference Datasets, nonlinear regression, Misra1a (monomolecular adsorption), lower difficulty.

Model y = b1 (1 - exp(-b2 x)), 14 observations, two parameters, certified to 11 digits; both of the set's starting points.
"""

import numpy as np
import pytest
from scipy.stats import t

from sweep.workshop.fitting import fit

X = np.array([77.6, 114.9, 141.1, 190.8, 239.9, 289.0, 332.8, 378.4, 434.8, 477.3, 536.8, 593.1, 689.1, 760.0])
Y = np.array([10.07, 14.73, 17.94, 23.93, 29.61, 35.18, 40.02, 44.82, 50.76, 55.05, 61.01, 66.40, 75.47, 81.78])
CERTIFIED = np.array([2.3894212918e02, 5.5015643181e-04])
DEVIATIONS = np.array([2.7070075241e00, 7.2668688436e-06])
RESIDUAL_DEVIATION = 1.0187876330e-01
SUM_OF_SQUARES = 1.2455138894e-01


@pytest.mark.parametrize("start", [(500.0, 1e-4), (250.0, 5e-4)])
def test_misra1a(start):
    found = fit(lambda b: Y - b[0] * (1 - np.exp(-b[1] * X)), ("b1", "b2"), start, (0, 0), (1e4, 1))
    assert found.values == pytest.approx(CERTIFIED, rel=1e-7)
    assert found.deviations == pytest.approx(DEVIATIONS, rel=1e-6)
    assert found.residual_deviation == pytest.approx(RESIDUAL_DEVIATION, rel=1e-9)
    assert np.sum(found.residuals**2) == pytest.approx(SUM_OF_SQUARES, rel=1e-9)
    assert found.freedom == 12
    half = t.ppf(0.975, 12) * DEVIATIONS  # 2.1788 deviations, Student's table
    assert t.ppf(0.975, 12) == pytest.approx(2.1788, abs=5e-5)
    assert found.intervals[:, 1] == pytest.approx(CERTIFIED + half, rel=1e-6)
    assert found.entangled() == [("b1", "b2")]  # a correlation of -0.9988 by the certified covariance
