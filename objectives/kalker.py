"""Kalker's creep coefficients: the slope of forces and spin moment of a rolling elliptical contact at small creep.

Fx = -a b G C11 xi, Fy = -a b G (C22 eta + sqrt(a b) C23 phi), Mz = -a b G (-sqrt(a b) C23 eta + a b C33 phi), with a the
semi-axis along rolling, b the one across, creeps xi along, eta across and spin phi = spin speed/rolling speed [1/m].
"""

from __future__ import annotations

import math

import numpy as np

from objectives.compiled import compiled

# Table E.3 of Kalker 1990. Rows: Poisson's ratio 0, 0.25, 0.5. Columns: a/b = 0.1, 0.2 ... 1.0, then b/a = 0.9, 0.8 ... 0.1.
# Two independent transcriptions of C11, C22, C23 agree; C33 from memory, its middle row confirmed by a transcription and the
# last one by a boundary element solution (tests).
C11_TABLE = np.array([
    [2.51, 2.59, 2.68, 2.78, 2.88, 2.98, 3.09, 3.19, 3.29, 3.40, 3.51, 3.65, 3.82, 4.06, 4.37, 4.84, 5.57, 6.96, 10.7],
    [3.31, 3.37, 3.44, 3.53, 3.62, 3.72, 3.81, 3.91, 4.01, 4.12, 4.22, 4.36, 4.54, 4.78, 5.10, 5.57, 6.34, 7.78, 11.7],
    [4.85, 4.81, 4.80, 4.82, 4.83, 4.91, 4.97, 5.05, 5.12, 5.20, 5.30, 5.42, 5.58, 5.80, 6.11, 6.57, 7.34, 8.82, 12.9],
])
C22_TABLE = np.array([
    [2.51, 2.59, 2.68, 2.78, 2.88, 2.98, 3.09, 3.19, 3.29, 3.40, 3.51, 3.65, 3.82, 4.06, 4.37, 4.84, 5.57, 6.96, 10.7],
    [2.52, 2.63, 2.75, 2.88, 3.01, 3.14, 3.28, 3.41, 3.54, 3.67, 3.81, 3.99, 4.21, 4.50, 4.90, 5.48, 6.40, 8.14, 12.8],
    [2.53, 2.66, 2.81, 2.98, 3.14, 3.31, 3.48, 3.65, 3.82, 3.98, 4.16, 4.39, 4.67, 5.04, 5.56, 6.31, 7.51, 9.79, 16.0],
])
C23_TABLE = np.array([
    [.334, .483, .607, .720, .827, .930, 1.03, 1.13, 1.23, 1.33, 1.44, 1.58, 1.76, 2.01, 2.35, 2.88, 3.79, 5.72, 12.2],
    [.473, .603, .715, .823, .929, 1.03, 1.14, 1.25, 1.36, 1.47, 1.59, 1.75, 1.95, 2.23, 2.62, 3.24, 4.32, 6.63, 14.6],
    [.731, .809, .889, .977, 1.07, 1.18, 1.29, 1.40, 1.51, 1.63, 1.77, 1.94, 2.18, 2.50, 2.96, 3.70, 5.01, 7.89, 18.0],
])
C33_TABLE = np.array([
    [6.42, 3.46, 2.49, 2.02, 1.74, 1.56, 1.43, 1.34, 1.27, 1.21, 1.16, 1.10, 1.05, 1.01, .958, .912, .868, .828, .795],
    [8.28, 4.27, 2.96, 2.32, 1.93, 1.68, 1.50, 1.37, 1.27, 1.19, 1.11, 1.04, .965, .892, .819, .747, .674, .601, .526],
    [11.7, 5.66, 3.72, 2.77, 2.22, 1.86, 1.60, 1.42, 1.27, 1.16, 1.06, .954, .852, .751, .650, .549, .446, .341, .228],
])

# What a coefficient is divided by before interpolation, so that what is left varies by little: (1 + a/b) to a power, which
# the power for b/a takes over for C33.
_ASPECT = np.concatenate([np.arange(1, 11) / 10.0, 10.0 / np.arange(9, 0, -1)])
_C11 = C11_TABLE / (1.0 + _ASPECT)
_C22 = C22_TABLE / (1.0 + _ASPECT)
_C23 = C23_TABLE / (1.0 + _ASPECT) ** 1.5
_C33 = C33_TABLE / (1.0 + 1.0 / _ASPECT)


@compiled
def _interpolated(table: np.ndarray, aspect: float, poisson_ratio: float) -> float:
    """Cubic through four neighbours in g = min(a/b, b/a) (counted on past a/b = 1), quadratic in Poisson's ratio."""
    least = min(aspect, 1.0 / aspect)
    position = 10.0 * least - 1.0 if aspect <= 1.0 else 19.0 - 10.0 * least
    position = min(max(position, 0.0), 18.0)
    first = min(max(int(position) - 1, 0), 15)
    t = position - first
    weights = (
        -(t - 1.0) * (t - 2.0) * (t - 3.0) / 6.0,
        t * (t - 2.0) * (t - 3.0) / 2.0,
        -t * (t - 1.0) * (t - 3.0) / 2.0,
        t * (t - 1.0) * (t - 2.0) / 6.0,
    )
    nu = 4.0 * poisson_ratio
    value = 0.0
    for i in range(4):
        column = first + i
        value += weights[i] * (
            table[0, column] * 0.5 * (nu - 1.0) * (nu - 2.0)
            + table[1, column] * nu * (2.0 - nu)
            + table[2, column] * 0.5 * nu * (nu - 1.0)
        )
    return value


@compiled
def kalker_c11(aspect: float, poisson_ratio: float) -> float:
    """Kalker's coefficient of longitudinal creep.

    Fx = -a b G C11 xi

    Parameters
    ----------
    aspect : float
        a/b, semi-axis along rolling over semi-axis across [-], scalar, > 0
    poisson_ratio : float
        of ``combined_poisson_ratio`` [-], scalar, 0 to 0.5

    Returns
    -------
    float
        C11 [-]

    Validity: 0.1 <= a/b <= 10, there equal to the table at its points. Below, C11 keeps its value at 0.1, at most 2 % from
    the limit pi^2/(4 (1 - nu)); above, C11/(1 + a/b) keeps its value at 10, up to 25 % too high at a/b = 20.

    Source: Kalker 1990, *Three-Dimensional Elastic Bodies in Rolling Contact*, Table E.3 (transcribed).

    >>> round(kalker_c11(1.0, 0.25), 3)
    4.12
    """
    return _interpolated(_C11, aspect, poisson_ratio) * (1.0 + max(aspect, 0.1))


@compiled
def kalker_c22(aspect: float, poisson_ratio: float) -> float:
    """Kalker's coefficient of lateral creep.

    Fy = -a b G C22 eta

    Parameters
    ----------
    aspect : float
        a/b, semi-axis along rolling over semi-axis across [-], scalar, > 0
    poisson_ratio : float
        of ``combined_poisson_ratio`` [-], scalar, 0 to 0.5

    Returns
    -------
    float
        C22 [-]

    Validity: 0.1 <= a/b <= 10, there equal to the table at its points. Below, C22 keeps its value at 0.1, at most 3 % from
    the limit pi^2/4; above, C22/(1 + a/b) keeps its value at 10, up to 25 % too high at a/b = 20.

    Source: Kalker 1990, Table E.3 (transcribed).

    >>> round(kalker_c22(1.0, 0.5), 3)
    3.98
    """
    return _interpolated(_C22, aspect, poisson_ratio) * (1.0 + max(aspect, 0.1))


@compiled
def kalker_c23(aspect: float, poisson_ratio: float) -> float:
    """Kalker's coefficient between lateral force and spin, and between spin moment and lateral creep.

    Fy = -(a b)^1.5 G C23 phi

    Parameters
    ----------
    aspect : float
        a/b, semi-axis along rolling over semi-axis across [-], scalar, > 0
    poisson_ratio : float
        of ``combined_poisson_ratio`` [-], scalar, 0 to 0.5

    Returns
    -------
    float
        C23 [-]

    Validity: 0.1 <= a/b <= 10, there equal to the table at its points; below it falls as sqrt(a/b), above
    C23/(1 + a/b)^1.5 keeps its value at 10.

    Source: Kalker 1990, Table E.3 (transcribed).

    >>> round(kalker_c23(0.5, 0.5), 3)
    1.07
    """
    return _interpolated(_C23, aspect, poisson_ratio) * (1.0 + max(aspect, 0.1)) ** 1.5 * min(1.0, math.sqrt(10.0 * aspect))


@compiled
def kalker_c33(aspect: float, poisson_ratio: float) -> float:
    """Kalker's coefficient of the spin moment.

    Mz = -(a b)^2 G C33 phi

    Parameters
    ----------
    aspect : float
        a/b, semi-axis along rolling over semi-axis across [-], scalar, > 0
    poisson_ratio : float
        of ``combined_poisson_ratio`` [-], scalar, 0 to 0.5

    Returns
    -------
    float
        C33 [-]

    Validity: 0.1 <= a/b <= 10, there equal to the table at its points; below it grows as b/a, at most 5 % from the limit
    pi^2 b/(16 (1 - nu) a); above, C33/(1 + b/a) keeps its value at 10.

    Source: Kalker 1990, Table E.3 (from memory; see the note at the table).

    >>> round(kalker_c33(2.0, 0.5), 3)
    0.65
    """
    return _interpolated(_C33, aspect, poisson_ratio) * (1.0 + 1.0 / max(aspect, 0.1)) * max(1.0, 0.1 / aspect)


@compiled
def combined_shear_modulus(shear_modulus_1: float, shear_modulus_2: float) -> float:
    """Shear modulus that stands for a pair of bodies in Kalker's theory.

    1/G = (1/G1 + 1/G2)/2

    Parameters
    ----------
    shear_modulus_1 : float
        of the first body [Pa], scalar, > 0; inf for a rigid one
    shear_modulus_2 : float
        of the second body [Pa], scalar, > 0; inf for a rigid one

    Returns
    -------
    float
        G [Pa]; against a rigid partner twice the body's own

    Validity: exact where the bodies are alike, or one is rigid and the other incompressible.

    Source: Kalker 1990, eq. 1.44 (number from memory).

    >>> combined_shear_modulus(5e6, float("inf"))
    10000000.0
    """
    return 2.0 / (1.0 / shear_modulus_1 + 1.0 / shear_modulus_2)


@compiled
def combined_poisson_ratio(
    shear_modulus_1: float, poisson_ratio_1: float, shear_modulus_2: float, poisson_ratio_2: float
) -> float:
    """Poisson's ratio that stands for a pair of bodies in Kalker's theory.

    nu/G = (nu1/G1 + nu2/G2)/2

    Parameters
    ----------
    shear_modulus_1 : float
        of the first body [Pa], scalar, > 0
    poisson_ratio_1 : float
        of the first body [-], scalar
    shear_modulus_2 : float
        of the second body [Pa], scalar, > 0; inf for a rigid one
    poisson_ratio_2 : float
        of the second body [-], scalar

    Returns
    -------
    float
        nu [-], between the two, nearer the softer body's; nan where both bodies are rigid

    Validity: as ``combined_shear_modulus``.

    Source: Kalker 1990, eq. 1.44 (number from memory).

    >>> round(combined_poisson_ratio(5e6, 0.48, float("inf"), 0.3), 6)
    0.48
    """
    compliance_1 = 1.0 / shear_modulus_1
    compliance_2 = 1.0 / shear_modulus_2
    return (poisson_ratio_1 * compliance_1 + poisson_ratio_2 * compliance_2) / (compliance_1 + compliance_2)
