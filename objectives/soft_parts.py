"""Disc springs, rubber pads, hardness and infill: what carries preload and what rollers are made of. On arrays, in SI units."""

from __future__ import annotations

import math

import numpy as np

from objectives.elements import Values


def belleville_force(
    youngs_modulus: float,
    poisson_ratio: float,
    outside_diameter: Values,
    inside_diameter: Values,
    thickness: Values,
    cone_height: Values,
    deflection: Values,
) -> np.ndarray:
    """Force of a disc spring.

    F = 4 E/(1 - nu^2) t^4/(K1 De^2) (s/t) [(h0/t - s/t)(h0/t - s/(2 t)) + 1],
    K1 = ((d - 1)/d)^2/((d + 1)/(d - 1) - 2/ln d)/pi, d = De/Di

    Parameters
    ----------
    youngs_modulus : float
        E [Pa], scalar; 206 GPa for spring steel
    poisson_ratio : float
        nu [-], scalar
    outside_diameter : array
        De [m], any shape
    inside_diameter : array
        Di [m], any shape
    thickness : array
        t [m], any shape
    cone_height : array
        h0, free height less thickness [m], any shape
    deflection : array
        s [m], any shape

    Returns
    -------
    array
        F [N]

    Validity: s up to 0.75 h0, no ground ends (t up to 6 mm), friction left out.

    Source: Almen & Laszlo 1936; DIN EN 16984 (from memory).

    >>> round(float(belleville_force(206e9, 0.3, 0.008, 0.0042, 0.0004, 0.0002, 0.00015)))
    210
    """
    ratio = np.asarray(outside_diameter) / inside_diameter
    k1 = ((ratio - 1) / ratio) ** 2 / ((ratio + 1) / (ratio - 1) - 2 / np.log(ratio)) / math.pi
    t = np.asarray(thickness)
    s, h = np.asarray(deflection) / t, np.asarray(cone_height) / t
    return 4 * youngs_modulus / (1 - poisson_ratio**2) * t**4 / (k1 * np.asarray(outside_diameter) ** 2) * s * (
        (h - s) * (h - s / 2) + 1
    )


def bonded_pad_modulus(youngs_modulus: Values, shape_factor: Values) -> np.ndarray:
    """Compression modulus of a rubber pad bonded to rigid plates.

    E_c = E (1 + 2 S^2)

    Parameters
    ----------
    youngs_modulus : array
        E [Pa], any shape
    shape_factor : array
        S, loaded area over force-free area [-], any shape

    Returns
    -------
    array
        E_c [Pa]

    Validity: S under about 10 (above it the bulk modulus counts), strain under 10 %, unfilled rubber.

    Source: Gent & Lindley 1959, *Proc. Inst. Mech. Eng.* 173:111 (from memory).

    >>> float(bonded_pad_modulus(2e6, 1.0))
    6000000.0
    """
    return np.asarray(youngs_modulus) * (1 + 2 * np.asarray(shape_factor) ** 2)


def shore_a_modulus(shore_a: Values) -> np.ndarray:
    """Young's modulus of rubber from its hardness.

    E [MPa] = 0.0981 (56 + 7.62336 S)/(0.137505 (254 - 2.54 S))

    Parameters
    ----------
    shore_a : array
        S [Shore A], any shape

    Returns
    -------
    array
        E [Pa]; inf at 100

    Validity: 20 to 90 Shore A; above 90 it rises without bound and a point of hardness is worth more than the rest of the
    formula. Printed TPU is stiffer at small strain than this: measure it.

    Source: Gent 1958, *Rubber Chem. Technol.* 31:896 (constants as in several public transcriptions).

    >>> (shore_a_modulus([60, 85]) / 1e6).round(3).tolist()
    [3.605, 13.182]
    """
    s = np.asarray(shore_a, dtype=float)
    with np.errstate(divide="ignore"):
        return 1e6 * 0.0981 * (56 + 7.62336 * s) / (0.137505 * (254 - 2.54 * s))


def infill_modulus(solid_modulus: Values, infill: Values, exponent: Values = 2.0) -> np.ndarray:
    """Young's modulus of a cellular infill.

    E = E_s phi^n

    Parameters
    ----------
    solid_modulus : array
        E_s [Pa], any shape
    infill : array
        phi, share of solid [-], any shape, 0 to 1
    exponent : array
        n [-], any shape: 2 where the cells bend, 1 where they stretch

    Returns
    -------
    array
        E [Pa]

    Validity: a law of scale; measured infills lie between n = 1 and n = 2, and closed walls stiffen more than infill does.

    Source: Gibson & Ashby, *Cellular Solids* (from memory).

    >>> round(float(infill_modulus(26e6, 0.3)) / 1e6, 2)
    2.34
    """
    return np.asarray(solid_modulus) * np.asarray(infill) ** np.asarray(exponent)
