"""Normal contact: Hertz's elliptical and line contact, and the foundation that the floor contact is built on.

Scalar, compiled functions in SI units; ``objectives.compiled.on_arrays`` runs them over arrays. The bodies are smooth
half-spaces without friction: keep the patch's half-widths under about 0.3 of the radii.
"""

from __future__ import annotations

import math

from objectives.compiled import compiled

FOUNDATION_FACTOR = 0.61  # see foundation_modulus


@compiled
def effective_modulus(
    youngs_modulus_1: float, poisson_ratio_1: float, youngs_modulus_2: float, poisson_ratio_2: float
) -> float:
    """Contact modulus E* of two bodies.

    1/E* = (1 - nu1^2)/E1 + (1 - nu2^2)/E2

    Parameters
    ----------
    youngs_modulus_1 : float
        of the first body [Pa], scalar; inf for a rigid one
    poisson_ratio_1 : float
        of the first body [-], scalar, in (-1, 0.5]
    youngs_modulus_2 : float
        of the second body [Pa], scalar; inf for a rigid one
    poisson_ratio_2 : float
        of the second body [-], scalar, in (-1, 0.5]

    Returns
    -------
    float
        E* [Pa]; inf where both bodies are rigid

    Validity: linear elastic bodies.

    Source: Johnson 1985, *Contact Mechanics*, eq. 4.20 (number from memory).

    >>> round(effective_modulus(15e6, 0.5, math.inf, 0.3))
    20000000
    """
    return 1.0 / ((1.0 - poisson_ratio_1**2) / youngs_modulus_1 + (1.0 - poisson_ratio_2**2) / youngs_modulus_2)


@compiled
def crossed_cylinder_curvatures(radius_1: float, radius_2: float, crossing_angle: float) -> tuple[float, float]:
    """Principal curvatures of the gap z = A x^2 + B y^2 between two cylinders.

    A + B = (1/R1 + 1/R2)/2, B - A = sqrt(1/R1^2 + 1/R2^2 + 2 cos(2 gamma)/(R1 R2))/2; A B = sin^2(gamma)/(4 R1 R2), from which
    A is taken: the difference would cancel where A is far smaller than B.

    Parameters
    ----------
    radius_1 : float
        of the first cylinder [m], scalar, > 0
    radius_2 : float
        of the second cylinder [m], scalar, > 0
    crossing_angle : float
        between the two axes [rad], scalar

    Returns
    -------
    (float, float)
        A <= B [1/m]

    Validity: any angle; parallel axes give A = 0 and need the line contact functions.

    Source: Johnson 1985, eqs 4.3-4.6 (numbers from memory); A B derived here.

    >>> A, B = crossed_cylinder_curvatures(0.010, 0.040, math.pi / 2)
    >>> round(A, 9), round(B, 9)
    (12.5, 50.0)
    """
    curvature_1 = 1.0 / radius_1
    curvature_2 = 1.0 / radius_2
    square = curvature_1**2 + curvature_2**2 + 2.0 * math.cos(2.0 * crossing_angle) * curvature_1 * curvature_2
    steep = 0.25 * (curvature_1 + curvature_2 + math.sqrt(max(0.0, square)))
    return 0.25 * curvature_1 * curvature_2 * math.sin(crossing_angle) ** 2 / steep, steep


@compiled
def ellipse_ratio(b_over_a: float) -> float:
    """Ratio k = a/b of the semi-axes of the contact ellipse.

    k solves B/A = (k^2 E - K)/(K - E), K and E the complete elliptic integrals of m = 1 - 1/k^2; here
    k = exp{2/3 x (1 + 0.0537168 x^2 + 0.00039308 x^4)/(1 + 0.05832799 x^2 + 0.00047636 x^4)}, x = ln(B/A).

    Parameters
    ----------
    b_over_a : float
        B/A of the curvatures [-], scalar, > 0

    Returns
    -------
    float
        k [-]; B/A = 1 gives 1, and A/B gives 1/k

    Validity: 1/2000 <= B/A <= 2000, there within 0.0035 % of the exact ratio.

    Source: own fit, odd in x since swapping A and B swaps the axes, to Johnson 1985, eq. 4.28 (number from memory).

    >>> round(ellipse_ratio(2.0), 4), round(ellipse_ratio(10.0), 4)
    (1.5858, 4.4995)
    """
    x = math.log(b_over_a)
    y = x * x
    return math.exp(2.0 / 3.0 * x * (1.0 + y * (0.0537168 + 0.00039308 * y)) / (1.0 + y * (0.05832799 + 0.00047636 * y)))


@compiled
def complete_elliptic(complementary_parameter: float) -> tuple[float, float]:
    """Complete elliptic integrals K(m) and E(m) from m1 = 1 - m.

    K = sum a_i m1^i - ln(m1) sum b_i m1^i, and E in the same form, i = 0..4

    Parameters
    ----------
    complementary_parameter : float
        m1 = 1 - m [-], scalar, in (0, 1]; 1/k^2 for an ellipse of axis ratio k >= 1

    Returns
    -------
    (float, float)
        K, E [-]

    Validity: 0 < m1 <= 1, absolute error under 2e-8. m1 <= 0 gives nan or inf.

    Source: Abramowitz & Stegun 1964, 17.3.34 and 17.3.36 (coefficients from memory, confirmed against exact values).

    >>> K, E = complete_elliptic(0.5)
    >>> round(K, 6), round(E, 6)
    (1.854075, 1.350644)
    """
    m1 = complementary_parameter
    log = -math.log(m1)
    first = 1.38629436112 + m1 * (0.09666344259 + m1 * (0.03590092383 + m1 * (0.03742563713 + m1 * 0.01451196212)))
    first += log * (0.5 + m1 * (0.12498593597 + m1 * (0.06880248576 + m1 * (0.03328355346 + m1 * 0.00441787012))))
    second = 1.0 + m1 * (0.44325141463 + m1 * (0.06260601220 + m1 * (0.04757383546 + m1 * 0.01736506451)))
    second += log * m1 * (0.24998368310 + m1 * (0.09200180037 + m1 * (0.04069697526 + m1 * 0.00526449639)))
    return first, second


@compiled
def crossed_cylinder_stiffness(radius_1: float, radius_2: float, crossing_angle: float, contact_modulus: float) -> float:
    """Stiffness k of N = k delta^1.5 between two crossed cylinders.

    k = (2 pi/3) E* kappa sqrt(E(e)/((A + B) K(e)^3)), kappa the ratio of the semi-axes, e^2 = 1 - 1/kappa^2

    Parameters
    ----------
    radius_1 : float
        of the first cylinder [m], scalar, > 0
    radius_2 : float
        of the second cylinder [m], scalar, > 0
    crossing_angle : float
        between the two axes [rad], scalar, not parallel
    contact_modulus : float
        E* of ``effective_modulus`` [Pa], scalar, > 0

    Returns
    -------
    float
        k [N/m^1.5]

    Validity: B/A up to 2000, there within 0.002 % of the exact value; patch small against radii and thickness.

    Source: Johnson 1985, eqs 4.26-4.31 (numbers from memory), solved here for N.

    >>> round(crossed_cylinder_stiffness(0.010, 0.010, math.pi / 2, 20e6) / (4 / 3 * 20e6 * math.sqrt(0.010)), 6)
    1.0
    """
    flat, steep = crossed_cylinder_curvatures(radius_1, radius_2, crossing_angle)
    ratio = ellipse_ratio(steep / flat)
    first, second = complete_elliptic(1.0 / ratio**2)
    return 2.0 * math.pi / 3.0 * contact_modulus * ratio * math.sqrt(second / ((flat + steep) * first**3))


@compiled
def patch_half_widths(
    radius_1: float, radius_2: float, crossing_angle: float, contact_modulus: float, force: float
) -> tuple[float, float]:
    """Semi-axes of the contact ellipse of two crossed cylinders.

    b = [3 N E(e)/(2 pi kappa E* (A + B))]^(1/3), a = kappa b

    Parameters
    ----------
    radius_1 : float
        of the first cylinder [m], scalar, > 0
    radius_2 : float
        of the second cylinder [m], scalar, > 0
    crossing_angle : float
        between the two axes [rad], scalar, not parallel
    contact_modulus : float
        E* of ``effective_modulus`` [Pa], scalar, > 0
    force : float
        N [N], scalar, >= 0

    Returns
    -------
    (float, float)
        a >= b [m]; ``ellipse_orientation`` says where a points

    Validity: as ``crossed_cylinder_stiffness``; a within 0.002 %, b within 0.001 % of the exact values.

    Source: Johnson 1985, eqs 4.26-4.30 (numbers from memory).

    >>> a, b = patch_half_widths(0.010, 0.040, math.pi / 2, 20e6, 20.0)
    >>> round(a * 1e3, 3), round(b * 1e3, 3)
    (3.802, 1.52)
    """
    flat, steep = crossed_cylinder_curvatures(radius_1, radius_2, crossing_angle)
    ratio = ellipse_ratio(steep / flat)
    _, second = complete_elliptic(1.0 / ratio**2)
    minor = (1.5 * force * second / (math.pi * ratio * contact_modulus * (flat + steep))) ** (1.0 / 3.0)
    return ratio * minor, minor


@compiled
def peak_pressure(force: float, semi_axis_1: float, semi_axis_2: float) -> float:
    """Pressure at the middle of a Hertz ellipse.

    p0 = 3 N/(2 pi a b)

    Parameters
    ----------
    force : float
        N [N], scalar, >= 0
    semi_axis_1 : float
        one semi-axis [m], scalar, > 0
    semi_axis_2 : float
        the other semi-axis [m], scalar, > 0

    Returns
    -------
    float
        p0 [Pa]; nan where force and patch are both zero

    Validity: any Hertz ellipse.

    Source: Johnson 1985, eq. 4.25 (number from memory).

    >>> round(peak_pressure(20.0, 3.802208e-3, 1.520454e-3) / 1e6, 4)
    1.6518
    """
    return 1.5 * force / (math.pi * semi_axis_1 * semi_axis_2)


@compiled
def ellipse_orientation(radius_1: float, radius_2: float, crossing_angle: float) -> float:
    """Angle from the first cylinder's axis to the major axis of the contact ellipse.

    tan(2 theta) = (1/R2) sin(2 gamma)/(1/R1 + (1/R2) cos(2 gamma)), in the right quadrant.
    The gap is half the sum of (n_i x)^2/R_i, n_i across axis i, and least along the major axis. In double angles the two
    terms add like vectors of length 1/R_i. The axis lies between those of the cylinders, nearer the thinner one's.

    Parameters
    ----------
    radius_1 : float
        of the first cylinder [m], scalar, > 0
    radius_2 : float
        of the second cylinder [m], scalar, > 0
    crossing_angle : float
        from the first axis to the second [rad], scalar, signed

    Returns
    -------
    float
        theta [rad], in (-pi/2, pi/2], counted the same way round as ``crossing_angle``

    Validity: any angle and radii. Equal cylinders at a right angle touch in a circle: the value then has no meaning.

    Source: derived here.

    >>> round(math.degrees(ellipse_orientation(0.010, 0.010, math.radians(40))), 6)
    20.0
    """
    double = 2.0 * crossing_angle
    return 0.5 * math.atan2(math.sin(double) / radius_2, 1.0 / radius_1 + math.cos(double) / radius_2)


@compiled
def half_chord(semi_major: float, semi_minor: float, angle: float) -> float:
    """Half of an ellipse's chord through its middle.

    c = a b/sqrt((b cos t)^2 + (a sin t)^2)

    Parameters
    ----------
    semi_major : float
        a [m], scalar, > 0
    semi_minor : float
        b [m], scalar, > 0
    angle : float
        t, from the major axis to the chord [rad], scalar

    Returns
    -------
    float
        c [m], between b and a

    Validity: exact. As half-width along rolling of an ellipse askew to it (with a b/c across) it is an approximation.

    Source: derived here.

    >>> half_chord(2e-3, 1e-3, 0.0), half_chord(2e-3, 1e-3, math.pi / 2)
    (0.002, 0.001)
    """
    return semi_major * semi_minor / math.hypot(semi_minor * math.cos(angle), semi_major * math.sin(angle))


@compiled
def line_half_width(force_per_length: float, radius: float, contact_modulus: float) -> float:
    """Half-width of the strip where a cylinder touches a flat.

    b = sqrt(4 q R/(pi E*))

    Parameters
    ----------
    force_per_length : float
        q [N/m], scalar, >= 0
    radius : float
        R, relative radius [m], scalar, > 0
    contact_modulus : float
        E* [Pa], scalar, > 0

    Returns
    -------
    float
        b [m]

    Validity: 2 b small against the length and the radius.

    Source: Johnson 1985, section 4.2(c) (number from memory).

    >>> round(line_half_width(1000.0, 0.010, 10e6) * 1e3, 6)
    1.128379
    """
    return math.sqrt(4.0 * force_per_length * radius / (math.pi * contact_modulus))


@compiled
def line_peak_pressure(force_per_length: float, radius: float, contact_modulus: float) -> float:
    """Pressure at the middle of a line contact.

    p0 = sqrt(q E*/(pi R))

    Parameters
    ----------
    force_per_length : float
        q [N/m], scalar, >= 0
    radius : float
        R, relative radius [m], scalar, > 0
    contact_modulus : float
        E* [Pa], scalar, > 0

    Returns
    -------
    float
        p0 [Pa]

    Validity: as ``line_half_width``; square ends carry several times more.

    Source: Johnson 1985, section 4.2(c) (number from memory).

    >>> round(line_peak_pressure(1000.0, 0.010, 10e6) / 1e6, 6)
    0.56419
    """
    return math.sqrt(force_per_length * contact_modulus / (math.pi * radius))


@compiled
def foundation_modulus(contact_modulus: float) -> float:
    """Line load per depth of a slice of a roller pressed into the floor.

    q = c w, c = 0.61 (pi/4) E*; without the factor 0.61 it is the method of dimensionality reduction for line contact

    Parameters
    ----------
    contact_modulus : float
        E* of the tyre on a rigid floor [Pa], scalar, > 0

    Returns
    -------
    float
        c [N/m per m, which is Pa]

    Validity: fully crowned rollers: exact Hertz wants 0.70 at R_w/r_o = 3, 0.61 at 6, 0.52 at 16. Straight ones: tens of %.

    Source: Popov & Hess 2015, *Method of Dimensionality Reduction*, line contact (from memory); the factor fitted here.

    >>> round(foundation_modulus(20e6))
    9581858
    """
    return FOUNDATION_FACTOR * math.pi / 4.0 * contact_modulus
