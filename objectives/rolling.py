"""Rolling resistance: hysteresis of soft bodies in a rolling Hertz contact.

Scalar, compiled functions in SI units; ``objectives.compiled.on_arrays`` runs them over arrays. Loss is taken as a small,
constant loss angle delta; where both bodies are soft, each counts by its share of the compliance.
"""

from __future__ import annotations

import math

from objectives.compiled import compiled


@compiled
def loss_sine(loss_tangent: float) -> float:
    """Sine of the loss angle.

    sin(delta) = t/sqrt(1 + t^2), t = tan(delta)

    Parameters
    ----------
    loss_tangent : float
        tan(delta) [-], scalar, >= 0

    Returns
    -------
    float
        sin(delta) [-]

    Validity: exact.

    Source: trigonometry.

    >>> round(loss_sine(0.1), 6)
    0.099504
    """
    return loss_tangent / math.sqrt(1.0 + loss_tangent * loss_tangent)


@compiled
def combined_loss_sine(loss_sine_1: float, plane_modulus_1: float, loss_sine_2: float, plane_modulus_2: float) -> float:
    """Loss of a pair of bodies: that of each, weighted by its share of the contact's compliance.

    sin(delta) = (s1/E1' + s2/E2')/(1/E1' + 1/E2'), E' = E/(1 - nu^2)

    Parameters
    ----------
    loss_sine_1 : float
        sin(delta) of the first body [-], scalar, >= 0
    plane_modulus_1 : float
        E/(1 - nu^2) of the first body [Pa], scalar, > 0
    loss_sine_2 : float
        sin(delta) of the second body [-], scalar, >= 0
    plane_modulus_2 : float
        E/(1 - nu^2) of the second body [Pa], scalar, > 0; inf for a rigid one

    Returns
    -------
    float
        sin(delta) of the pair [-]

    Validity: small loss angles, bodies thick against the patch.

    Source: derived here.

    >>> round(combined_loss_sine(0.1, 20e6, 0.2, 20e6), 6)
    0.15
    """
    compliance_1 = 1.0 / plane_modulus_1
    compliance_2 = 1.0 / plane_modulus_2
    return (loss_sine_1 * compliance_1 + loss_sine_2 * compliance_2) / (compliance_1 + compliance_2)


@compiled
def rolling_shape_factor(aspect: float) -> float:
    """How the shape of the patch enters its rolling loss.

    kappa = (2/pi) asinh(sqrt(q^2 - 1))/sqrt(q^2 - 1) for q > 1, (2/pi) asin(sqrt(1 - q^2))/sqrt(1 - q^2) for q < 1, q = a/b

    Parameters
    ----------
    aspect : float
        a/b, semi-axis along rolling over semi-axis across [-], scalar, > 0

    Returns
    -------
    float
        kappa [-]: 2/pi for a circle, 1 for a line across the rolling direction, 0 for one along it

    Validity: any Hertz ellipse.

    Source: derived here; within 0.7 % of a numerical half-space solution.

    >>> round(rolling_shape_factor(1.0) * math.pi / 2, 9), round(rolling_shape_factor(1e-6), 4)
    (1.0, 1.0)
    """
    square = aspect * aspect - 1.0
    if abs(square) < 1e-4:
        return 2.0 / math.pi * (1.0 - square / 6.0)
    root = math.sqrt(abs(square))
    return 2.0 / math.pi * (math.asinh(root) if square > 0.0 else math.asin(root)) / root


@compiled
def rolling_resistance_ratio(loss_sine: float, peak_pressure: float, contact_modulus: float, aspect: float) -> float:
    """Resistance of a rolling elliptical contact over its load.

    F/N = 1.5 kappa sin(delta) p0/E*

    Parameters
    ----------
    loss_sine : float
        sin(delta) of the pair [-], scalar, >= 0
    peak_pressure : float
        p0 [Pa], scalar, >= 0
    contact_modulus : float
        E* [Pa], scalar, > 0
    aspect : float
        a/b, semi-axis along rolling over semi-axis across [-], scalar, > 0

    Returns
    -------
    float
        F/N [-], force along rolling at the surface

    Validity: small constant loss angle, so a material whose loss varies little over the rates of the patch; speeds far
    below those at which the tread keeps its dent.

    Source: derived here; the same as ``rolling_moment_ellipse`` with the loss fraction 32/pi^2 sin(delta) on a circle.

    >>> round(rolling_resistance_ratio(0.1, 1e6, 10e6, 1.0), 6)
    0.009549
    """
    return 1.5 * rolling_shape_factor(aspect) * loss_sine * peak_pressure / contact_modulus


@compiled
def line_resistance_ratio(loss_sine: float, half_width: float, radius: float) -> float:
    """Resistance of a rolling cylinder over its load.

    F/N = 8/(3 pi) sin(delta) a/R

    Parameters
    ----------
    loss_sine : float
        sin(delta) of the pair [-], scalar, >= 0
    half_width : float
        a of the line contact [m], scalar, >= 0
    radius : float
        R, relative radius [m], scalar, > 0

    Returns
    -------
    float
        F/N [-], force along rolling at the surface

    Validity: as ``rolling_resistance_ratio``; load even along the line.

    Source: ``rolling_moment_cylinder`` with its loss fraction 4 sin(delta); derived here.

    >>> round(line_resistance_ratio(0.1, 1e-3, 10e-3), 6)
    0.008488
    """
    return 8.0 / (3.0 * math.pi) * loss_sine * half_width / radius


@compiled
def loss_fraction_sphere(loss_sine: float) -> float:
    """Fraction of the work put into a rolling sphere's contact that is lost.

    alpha = 32/pi^2 sin(delta)

    Parameters
    ----------
    loss_sine : float
        sin(delta) of the pair [-], scalar, >= 0

    Returns
    -------
    float
        alpha [-]

    Validity: alpha well below 1, so sin(delta) under about 0.2. It is 2.1 times that of one pull and release, in line with
    the factor 2 to 3 that Greenwood, Minshall & Tabor measured.

    Source: derived here.

    >>> round(loss_fraction_sphere(loss_sine(0.1)), 5)
    0.32262
    """
    return 32.0 / math.pi**2 * loss_sine


@compiled
def loss_fraction_cylinder(loss_sine: float) -> float:
    """Fraction of the work put into a rolling cylinder's contact that is lost.

    alpha = 4 sin(delta)

    Parameters
    ----------
    loss_sine : float
        sin(delta) of the pair [-], scalar, >= 0

    Returns
    -------
    float
        alpha [-]

    Validity: alpha well below 1, so sin(delta) under about 0.2.

    Source: derived here.

    >>> round(loss_fraction_cylinder(loss_sine(0.1)), 4)
    0.398
    """
    return 4.0 * loss_sine


@compiled
def rolling_moment_ellipse(loss_fraction: float, force: float, semi_axis_along: float) -> float:
    """Moment that rolling hysteresis takes in a sphere's contact, or in that of any Hertz ellipse.

    M = (3/16) alpha N a

    Parameters
    ----------
    loss_fraction : float
        alpha [-], scalar, 0 to 1
    force : float
        N [N], scalar, >= 0
    semi_axis_along : float
        a, semi-axis along rolling [m], scalar, >= 0

    Returns
    -------
    float
        M [N m]; M/R is the force

    Validity: slow rolling.

    Source: Greenwood, Minshall & Tabor 1961, *Proc. R. Soc. A* 259:480; Johnson 1985, section 9.4 (from memory).

    >>> round(rolling_moment_ellipse(0.4, 1.0, 0.1), 6)
    0.0075
    """
    return 3.0 / 16.0 * loss_fraction * force * semi_axis_along


@compiled
def rolling_moment_cylinder(loss_fraction: float, force: float, half_width: float) -> float:
    """Moment that rolling hysteresis takes in a cylinder's contact.

    M = 2/(3 pi) alpha N a

    Parameters
    ----------
    loss_fraction : float
        alpha [-], scalar, 0 to 1
    force : float
        N [N], scalar, >= 0
    half_width : float
        a of the line contact [m], scalar, >= 0

    Returns
    -------
    float
        M [N m]; M/R is the force

    Validity: slow rolling.

    Source: Greenwood, Minshall & Tabor 1961; Johnson 1985, section 9.4 (from memory).

    >>> round(rolling_moment_cylinder(0.4, 1.0, 0.1), 8)
    0.00848826
    """
    return 2.0 / (3.0 * math.pi) * loss_fraction * force * half_width
