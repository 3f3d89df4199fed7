"""Contact laws by their exact formulas: Hertz with elliptic integrals, the floor as a row of springs, creep saturation."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy.optimize import brentq
from scipy.special import ellipe, ellipk


@dataclass(frozen=True)
class HertzEllipse:
    """``major``, ``minor`` semi-axes per cube root of force [m/N^(1/3)], ``approach`` per force^(2/3) [m/N^(2/3)]."""

    major: float
    minor: float
    approach: float
    ratio: float


def hertz_ellipse(plane_modulus: float, radius_1: float, radius_2: float, crossing: float) -> HertzEllipse:
    """Elliptical Hertz contact of two cylinders whose axes cross at ``crossing`` [rad], at unit force.

    A + B = (1/R1 + 1/R2)/2, B - A = sqrt(1/R1^2 + 1/R2^2 + 2 cos(2 crossing)/(R1 R2))/2; k = a/b solves
    B/A = (k^2 E - K)/(K - E); b^3 = 3 P E/(2 pi k E* (A + B)); approach = 3 P K/(2 pi a E*).
    Hertz 1882; Johnson 1985, Contact Mechanics, eqs 4.24-4.33 (equation numbers from memory).

    Crossed cylinders 10 and 40 mm at right angles, B/A = 4:

    >>> round(hertz_ellipse(20e6, 10e-3, 40e-3, math.pi / 2).ratio, 6)
    2.500706
    """
    total = (1 / radius_1 + 1 / radius_2) / 2
    squared = 1 / radius_1**2 + 1 / radius_2**2 + 2 * math.cos(2 * crossing) / (radius_1 * radius_2)
    difference = math.sqrt(max(squared, 0.0)) / 2
    small, large = (total - difference) / 2, (total + difference) / 2
    target = large / small

    def curvature_ratio(ratio: float) -> float:
        m = 1 - 1 / ratio**2
        return (ratio**2 * ellipe(m) - ellipk(m)) / (ellipk(m) - ellipe(m))

    ratio = 1.0 if target < 1 + 1e-9 else brentq(lambda k: curvature_ratio(k) - target, 1 + 1e-9, 1e4, xtol=1e-13)
    m = 1 - 1 / ratio**2
    minor = (3 * ellipe(m) / (2 * math.pi * ratio * plane_modulus * total)) ** (1 / 3)
    major = ratio * minor
    return HertzEllipse(float(major), float(minor), float(3 * ellipk(m) / (2 * math.pi * major * plane_modulus)), ratio)


def crossed_contact_stiffness(plane_modulus: float, radius_1: float, radius_2: float, crossing: float) -> float:
    """k [N/m^1.5] in N = k approach^1.5 of two crossed cylinders.

    20 N on 10 mm crossed with 10 mm at right angles, E* = 20 MPa, gives 0.3831547 mm:

    >>> k = crossed_contact_stiffness(20e6, 10e-3, 10e-3, math.pi / 2)
    >>> round((20 / k) ** (2 / 3) * 1e3, 6)
    0.383155
    """
    return float(hertz_ellipse(plane_modulus, radius_1, radius_2, crossing).approach ** -1.5)


def floor_line_stiffness(plane_modulus: float, factor: float = 0.61) -> float:
    """Force per length and depth [N/m^2] of a roller on a rigid floor: factor (pi/4) E*, E* = E/(1 - nu^2)."""
    return factor * math.pi / 4 * plane_modulus


def creep_saturation(creep: np.ndarray, full_slip_creep: np.ndarray) -> np.ndarray:
    """Share of the friction limit used at a creep, >= 0: 1 - (1 - x)^3, x = |creep|/full_slip_creep, 1 from x = 1 on.

    Vermeulen and Johnson 1964 (from memory): at a linear force equal to the friction limit, x = 1/3, the share is 19/27.

    >>> round(float(creep_saturation(-1.0, 3.0)), 6)
    0.703704
    """
    return 1 - (1 - np.clip(np.abs(creep) / full_slip_creep, 0.0, 1.0)) ** 3
