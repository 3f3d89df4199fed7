"""What soft parts lose with time and use: creep under a standing load, wear by sliding. In SI units."""

from __future__ import annotations

import math


def archard_volume(wear_rate: float, force: float, distance: float) -> float:
    """Volume that sliding wears off a body.

    V = k F s

    Parameters
    ----------
    wear_rate : float
        k, specific wear rate [m^2/N], scalar, >= 0; 1 mm^3/(N m) is 1e-9 m^2/N
    force : float
        F, normal force [N], scalar, >= 0
    distance : float
        s, slid [m], scalar, >= 0

    Returns
    -------
    float
        V [m^3]

    Validity: steady mild wear after running in. k is a property of both bodies, surface, dust and temperature, not of a
    material alone, and spreads over powers of ten.

    Source: Archard 1953, *J. Appl. Phys.* 24:981, with k = K/H (from memory). The example is the abrasion test of ISO 4649,
    10 N over 40 m of emery cloth, in which good polyurethanes lose 20 to 30 mm^3.

    >>> round(archard_volume(0.0625e-9, 10.0, 40.0) * 1e9, 6)
    25.0
    """
    return wear_rate * force * distance


def creep_growth(rate_per_decade: float, time: float, reference_time: float) -> float:
    """By how much the deflection of loaded rubber grows, over what it was at a reference time.

    c = A log10(t/t1)

    Parameters
    ----------
    rate_per_decade : float
        A, physical creep in a tenfold time [-], scalar, >= 0
    time : float
        t since loading [s], scalar, > 0
    reference_time : float
        t1 since loading, at which the deflection was read [s], scalar, > 0

    Returns
    -------
    float
        c [-]; 0 before the reference time

    Validity: constant load and temperature; t1 at least ten times what loading took. The chemical part, which grows with time
    itself, is left out: it counts after years, or when hot.

    Source: Gent (ed.), *Engineering with Rubber*, creep as A log10(t/t1) + B (t - t1) (formula as quoted by a public page).

    >>> round(creep_growth(0.03, 86400.0, 60.0), 4)
    0.0948
    """
    return rate_per_decade * max(math.log10(time / reference_time), 0.0)
