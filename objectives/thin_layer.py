"""A soft tyre on a hard core is stiffer than Hertz says: the factor by which.

Scalar, compiled functions in SI units; ``objectives.compiled.on_arrays`` runs them over arrays.
"""

from __future__ import annotations

import math

from objectives.compiled import compiled

#: largest chi that ``thin_layer_factor`` was fitted to; above it the factor keeps its value at this chi
THIN_LAYER_CHI_LARGEST = 2.0


@compiled
def thin_layer_factor(chi: float) -> float:
    """How much stiffer a thin incompressible layer bonded to a rigid core is than the half-space, at equal approach.

    N/N_Hertz = 1 + 1.133 chi + 1.283 chi^2 + 2.182 chi^3 - 0.4873 chi^4, chi = sqrt(R delta)/h

    Parameters
    ----------
    chi : float
        sqrt(R delta)/h [-], scalar, >= 0, which is the Hertz contact radius over the layer's thickness

    Returns
    -------
    float
        factor on the force [-], >= 1

    Validity: sphere, Poisson's ratio near 0.5, 0.1 <= chi <= 2, there within 1.7 % of a numerical layer solver; below 0.1 it
    tends to the exact 1. Above 2 (``THIN_LAYER_CHI_LARGEST``) the value at 2 is given, which is too soft: mark the
    result. For an ellipse use the sphere of equal patch area (chi = sqrt(a b)/h): not verified.

    Source: first terms Dimitriadis et al. 2002, *Biophys. J.* 82:2798 (from memory); third and fourth refitted to a
    numerical layer solver, since the published ones fall 10 % short at chi = 0.6.

    >>> round(thin_layer_factor(0.5), 2), thin_layer_factor(3.0) == thin_layer_factor(2.0)
    (2.13, True)
    """
    x = min(chi, THIN_LAYER_CHI_LARGEST)
    return 1.0 + x * (1.133 + x * (1.283 + x * (2.182 - 0.4873 * x)))


@compiled
def thin_layer_factor_at_force(force: float, stiffness: float, relative_radius: float, thickness: float) -> tuple[float, float]:
    """The factor of ``thin_layer_factor`` where the force, not the approach, is known.

    Solves N = k f(chi) delta^1.5, chi = sqrt(R delta)/h, by bisection on delta.

    Parameters
    ----------
    force : float
        N [N], scalar, >= 0
    stiffness : float
        k of N = k delta^1.5 on a half-space [N/m^1.5], scalar, > 0
    relative_radius : float
        R of the sphere that stands for the contact [m], scalar, > 0; 1/(2 sqrt(A B)) for the curvatures A, B
    thickness : float
        h of the soft layer [m], scalar, > 0; inf gives a factor of 1

    Returns
    -------
    (float, float)
        factor [-], chi [-]

    Validity: as ``thin_layer_factor``.

    Source: derived here.

    >>> factor, chi = thin_layer_factor_at_force(20.0, 4 / 3 * 20e6 * 0.1, 0.010, 3e-3)
    >>> round(factor, 3), round(chi, 3)
    (2.151, 0.505)
    """
    low = 0.0
    high = (force / stiffness) ** (2.0 / 3.0)
    for _ in range(60):
        middle = 0.5 * (low + high)
        if stiffness * thin_layer_factor(math.sqrt(relative_radius * middle) / thickness) * middle**1.5 < force:
            low = middle
        else:
            high = middle
    chi = math.sqrt(relative_radius * high) / thickness
    return thin_layer_factor(chi), chi
