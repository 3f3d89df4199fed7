"""What the coupon's readings mean: a study's numbers from calipers and a luggage scale.

Scalar functions in mm, N and MPa, as they are read off.
"""

from __future__ import annotations

import math

from objectives.hertz import foundation_modulus


def modulus_from_stretch(pull: float, length: float, width: float, thickness: float, stretch: float) -> float:
    """Young's modulus of a strip from what it grows by under a pull [MPa].

    E = F L / (b t dL)

    Parameters
    ----------
    pull : float
        F [N], scalar, > 0
    length : float
        L between the marks before the pull [mm], scalar, > 0
    width, thickness : float
        b and t of the strip [mm], scalars, > 0
    stretch : float
        dL, growth between the marks [mm], scalar, > 0

    Returns
    -------
    float
        E [MPa]

    Validity: strains to about 5 %; beyond, rubber is softer in tension than in compression.

    Source: Hooke's law.

    >>> round(modulus_from_stretch(10.0, 80.0, 10.0, 1.2, 3.2), 2)
    20.83
    """
    return pull * length / (width * thickness * stretch)


def squash_area(depth: float, length: float, outline_radius: float) -> float:
    """How much of a roller's outline lies deeper than a flat board, a slice's depth summed along the roller [mm^2].

    2 int_0^a (d - z^2/(2 R)) dz = 2 (d a - a^3/(6 R)), a = min(sqrt(2 R d), L/2); d L for a straight roller.

    Parameters
    ----------
    depth : float
        d of the board into the roller's middle [mm], scalar, >= 0
    length : float
        L of the roller [mm], scalar, > 0
    outline_radius : float
        R of the outline along the roller at its middle [mm], scalar, > 0; inf for a straight roller

    Returns
    -------
    float
        area [mm^2]

    Validity: d small against R; the outline is taken as a parabola.

    Source: derived here.

    >>> squash_area(0.5, 30.0, math.inf), round(squash_area(0.5, 30.0, 100.0), 3)
    (15.0, 6.667)
    """
    half = min(math.sqrt(2 * outline_radius * depth), length / 2)
    return 2 * (depth * half - half**3 / (6 * outline_radius))


def squash_force(modulus: float, poisson_ratio: float, squash: float, length: float, outline_radius: float) -> float:
    """Force that squashes a roller between two flat boards [N], by the same law as on the floor.

    F = 0.61 (pi/4) E/(1 - nu^2) A(s/2), s the loss of height, half of it at either board, A as in ``squash_area``

    Parameters
    ----------
    modulus : float
        E of the tyre [MPa], scalar, > 0
    poisson_ratio : float
        nu of the tyre [-], scalar
    squash : float
        s, by which the boards come together [mm], scalar, > 0
    length, outline_radius : float
        as in ``squash_area`` [mm], scalars

    Returns
    -------
    float
        F [N]

    Validity: a roller that is soft throughout, s under a fifth of its radius. As ``objectives.hertz.foundation_modulus``:
    tens of % for straight rollers.

    Source: ``objectives.hertz.foundation_modulus``.

    >>> round(squash_force(18.0, 0.48, 0.5, 30.0, math.inf), 1)
    84.0
    """
    return foundation_modulus(modulus / (1 - poisson_ratio**2)) * squash_area(squash / 2, length, outline_radius)


def modulus_from_squash(force: float, poisson_ratio: float, squash: float, length: float, outline_radius: float) -> float:
    """Young's modulus as the wheel's mechanics use it, from a roller squashed between two boards [MPa].

    ``squash_force`` solved for E.

    Parameters
    ----------
    force : float
        F on the boards [N], scalar, > 0
    poisson_ratio : float
        nu of the tyre [-], scalar
    squash : float
        s, by which the boards come together [mm], scalar, > 0
    length, outline_radius : float
        as in ``squash_area`` [mm], scalars

    Returns
    -------
    float
        E [MPa]

    Validity: as ``squash_force``.

    Source: derived here.

    >>> round(modulus_from_squash(84.02, 0.48, 0.5, 30.0, math.inf), 2)
    18.0
    """
    return force / squash_force(1.0, poisson_ratio, squash, length, outline_radius)


def friction_from_wrap(pull: float, weight: float) -> float:
    """Friction of a strip laid half round a roller that is held still [-].

    mu = ln(F/G)/pi

    Parameters
    ----------
    pull : float
        F that makes the strip slide, upwards against the weight [N], scalar, > G
    weight : float
        G that hangs on the other end [N], scalar, > 0

    Returns
    -------
    float
        mu [-]

    Validity: a wrap of 180 degrees, a strip that bends easily, slow and steady sliding.

    Source: Euler's and Eytelwein's rope friction, F = G exp(mu theta).

    >>> round(friction_from_wrap(24.06, 5.0), 2)
    0.5
    """
    return math.log(pull / weight) / math.pi


def bore_friction_from_wrap(pull: float, weight: float, roller_diameter: float, axle_diameter: float) -> float:
    """Friction of a roller's bore on its axle, from a strip over the roller that turns with it [-].

    mu = (F - G)/(F + G) D/d: the strip's torque (F - G) D/2 against mu (F + G) d/2

    Parameters
    ----------
    pull : float
        F that keeps the roller turning slowly [N], scalar, > G
    weight : float
        G that hangs on the other end [N], scalar, > 0
    roller_diameter, axle_diameter : float
        D over the roller and d of the axle [mm], scalars, > 0

    Returns
    -------
    float
        mu [-]

    Validity: both ends hang or pull straight down; the strip's thickness is small against the roller.

    Source: derived here (balance of moments).

    >>> round(bore_friction_from_wrap(10.7, 10.0, 30.0, 4.0), 3)
    0.254
    """
    return (pull - weight) / (pull + weight) * roller_diameter / axle_diameter


def friction_from_drag(pull: float, weight: float) -> float:
    """Friction of a strip that is dragged over the floor under a weight [-].

    mu = F/G

    Parameters
    ----------
    pull : float
        F, level and steady [N], scalar, > 0
    weight : float
        G on the strip, its own included [N], scalar, > 0

    Returns
    -------
    float
        mu [-]

    Validity: slow sliding; rubber's friction falls somewhat with pressure.

    Source: Coulomb's law.

    >>> friction_from_drag(6.0, 10.0)
    0.6
    """
    return pull / weight
