"""Tangential contact: creep forces up to full slip, sliding with spin, and the drilling moment.

Scalar, compiled functions in SI units; ``objectives.compiled.on_arrays`` runs them over arrays. Friction is a constant
coefficient; creep is slip speed over rolling speed. The creep coefficients stand in ``objectives.kalker``.
"""

from __future__ import annotations

import math

from objectives.compiled import compiled
from objectives.hertz import complete_elliptic
from objectives.kalker import kalker_c33


@compiled
def saturation(ratio: float) -> float:
    """Creep force over the friction limit, from the linear creep force over the friction limit.

    F/(mu N) = u - u^2/3 + u^3/27 up to u = 3, 1 beyond, with u = |F_lin|/(mu N)

    Parameters
    ----------
    ratio : float
        u [-], scalar, >= 0

    Returns
    -------
    float
        F/(mu N) [-], 0 to 1

    Validity: no or small spin; where spin is large, cap with ``slide_spin_force_ratio``.

    Source: Vermeulen & Johnson 1964, *J. Appl. Mech.* 31:338; Shen, Hedrick & Elkins 1983, 8th IAVSD (from memory).

    >>> round(saturation(1.0), 6), saturation(5.0)
    (0.703704, 1.0)
    """
    return saturation_of_creep(ratio / 3.0)


@compiled
def saturation_of_creep(creep_ratio: float) -> float:
    """Creep force over the friction limit, from the creep over the creep at which all of the patch slips.

    F/(mu N) = 1 - (1 - x)^3 up to x = 1, 1 beyond, with x = |xi|/xi_s; the same law as ``saturation``, x = u/3

    Parameters
    ----------
    creep_ratio : float
        x [-], scalar, >= 0

    Returns
    -------
    float
        F/(mu N) [-], 0 to 1

    Validity: as ``saturation``.

    Source: Vermeulen & Johnson 1964 (from memory).

    >>> saturation_of_creep(0.5)
    0.875
    """
    return 1.0 - max(0.0, 1.0 - creep_ratio) ** 3


@compiled
def saturation_creep(
    friction: float, force: float, creep_coefficient: float, shear_modulus: float, semi_axis_1: float, semi_axis_2: float
) -> float:
    """Creep at which all of the patch slips.

    xi_s = 3 mu N/(C G a b)

    Parameters
    ----------
    friction : float
        mu [-], scalar, > 0
    force : float
        N [N], scalar, > 0
    creep_coefficient : float
        C, ``kalker_c22`` across the rolling direction or ``kalker_c11`` along it [-], scalar, > 0
    shear_modulus : float
        G of ``combined_shear_modulus`` [Pa], scalar, > 0
    semi_axis_1 : float
        one semi-axis of the patch [m], scalar, > 0
    semi_axis_2 : float
        the other semi-axis of the patch [m], scalar, > 0

    Returns
    -------
    float
        xi_s [-]

    Validity: as ``saturation``.

    Source: Vermeulen & Johnson 1964, with Kalker's coefficient in place of their own (from memory).

    >>> round(saturation_creep(0.5, 20.0, 4.0, 10e6, 2e-3, 1e-3), 4)
    0.375
    """
    return 3.0 * friction * force / (creep_coefficient * shear_modulus * semi_axis_1 * semi_axis_2)


@compiled
def carter(traction_ratio: float, friction: float, half_width: float, radius: float) -> float:
    """Longitudinal creep of a cylinder that rolls under traction.

    xi = (mu a/R) (1 - sqrt(1 - Q/(mu P)))

    Parameters
    ----------
    traction_ratio : float
        Q/(mu P) [-], scalar, 0 to 1
    friction : float
        mu [-], scalar, > 0
    half_width : float
        a of the line contact [m], scalar, > 0
    radius : float
        R, relative radius [m], scalar, > 0

    Returns
    -------
    float
        xi [-]; nan above Q = mu P, where the cylinder slides

    Validity: line contact, bodies alike or one rigid and the other incompressible.

    Source: Carter 1926, *Proc. R. Soc. A* 112:151; Johnson 1985, section 8.3 (from memory).

    >>> round(carter(0.5, 0.5, 1e-3, 1e-2), 8)
    0.01464466
    """
    return friction * half_width / radius * (1.0 - math.sqrt(1.0 - traction_ratio))


@compiled
def mindlin_stiffness_ratio(poisson_ratio: float) -> float:
    """Tangential over normal stiffness of a circular contact of like bodies before any slip.

    k_t/k_n = 2 (1 - nu)/(2 - nu)

    Parameters
    ----------
    poisson_ratio : float
        nu of both bodies, or of the soft one on a rigid one [-], scalar, -1 to 0.5

    Returns
    -------
    float
        k_t/k_n [-]

    Validity: circular patch, no slip, no rolling.

    Source: Mindlin 1949, *J. Appl. Mech.* 16:259 (from memory).

    >>> round(mindlin_stiffness_ratio(0.3), 5)
    0.82353
    """
    return 2.0 * (1.0 - poisson_ratio) / (2.0 - poisson_ratio)


@compiled
def spin_moment_full_slip(friction: float, force: float, semi_axis_1: float, semi_axis_2: float) -> float:
    """Moment about the normal of an elliptical contact that only drills.

    M = (3/8) mu N a E(e), a the larger semi-axis, e^2 = 1 - (b/a)^2; on a circle (3 pi/16) mu N a

    Parameters
    ----------
    friction : float
        mu [-], scalar, >= 0
    force : float
        N [N], scalar, >= 0
    semi_axis_1 : float
        one semi-axis of the patch [m], scalar, > 0
    semi_axis_2 : float
        the other semi-axis of the patch [m], scalar, > 0

    Returns
    -------
    float
        M [N m]

    Validity: Hertz pressure, all of the patch slips about its middle.

    Source: derived here.

    >>> round(spin_moment_full_slip(0.5, 20.0, 1e-3, 1e-3) * 1e3, 5)
    5.89049
    """
    major = max(semi_axis_1, semi_axis_2)
    minor = min(semi_axis_1, semi_axis_2)
    _, second = complete_elliptic((minor / major) ** 2)
    return 0.375 * friction * force * major * second


@compiled
def spin_moment(
    friction: float,
    force: float,
    semi_axis_along: float,
    semi_axis_across: float,
    shear_modulus: float,
    poisson_ratio: float,
    spin: float,
) -> float:
    """Moment about the normal of a contact that rolls and drills: linear at small spin, full slip at large.

    M = min((a b)^2 G C33 |phi|, (3/8) mu N a E(e))

    Parameters
    ----------
    friction : float
        mu [-], scalar, >= 0
    force : float
        N [N], scalar, >= 0
    semi_axis_along : float
        of the patch, along rolling [m], scalar, > 0
    semi_axis_across : float
        of the patch, across rolling [m], scalar, > 0
    shear_modulus : float
        G of ``combined_shear_modulus`` [Pa], scalar, > 0
    poisson_ratio : float
        of ``combined_poisson_ratio`` [-], scalar, 0 to 0.5
    spin : float
        phi, relative speed about the normal over the rolling speed [1/m], scalar

    Returns
    -------
    float
        M [N m], >= 0, against the spin

    Validity: either limit is exact in its own range; between them the smaller is an upper bound of either, and the true
    moment lies below it. Slip in the plane takes more of it: ``slide_spin_moment_ratio``.

    Source: Kalker 1990 for the linear part; the smaller of the two is taken here.

    >>> round(spin_moment(0.5, 20.0, 1e-3, 1e-3, 10e6, 0.5, 10.0) * 1e3, 4)
    0.116
    """
    linear = (
        (semi_axis_along * semi_axis_across) ** 2
        * shear_modulus
        * kalker_c33(semi_axis_along / semi_axis_across, poisson_ratio)
        * abs(spin)
    )
    return min(linear, spin_moment_full_slip(friction, force, semi_axis_along, semi_axis_across))


@compiled
def slide_spin_force_ratio(slide_ratio: float) -> float:
    """Friction force that is left in the plane where a circular contact slides and spins in full slip.

    F/(mu N) as a function of s = V/(omega a): a rational fit in s^2 with the exact limits 3 pi/8 s at small and
    1 - 1/(10 s^2) at large s

    Parameters
    ----------
    slide_ratio : float
        s, sliding speed over spin speed times patch radius [-], scalar, >= 0; sqrt(a b) for the radius of an ellipse

    Returns
    -------
    float
        F/(mu N) [-], 0 to 1

    Validity: any s; within 0.0008 of quadrature. Exact for a circle only.

    Source: derived here (Hertz pressure, Coulomb friction), fitted to quadrature.

    >>> round(slide_spin_force_ratio(1.0), 3), slide_spin_force_ratio(math.inf)
    (0.883, 1.0)
    """
    if slide_ratio > 1e4:
        return 1.0
    z = slide_ratio * slide_ratio
    upper = 1.387914 + z * (0.46990985 + z * (-0.83391355 + z * 3.42815868))
    lower = 1.0 + z * (0.72422426 + z * (0.70671129 + z * (-0.14828181 + z * 3.42815868)))
    return math.sqrt(z * upper / lower)


@compiled
def slide_spin_moment_ratio(slide_ratio: float) -> float:
    """Drilling moment that is left where a circular contact slides and spins in full slip.

    M/M0 as a function of s = V/(omega a), M0 the moment without sliding: a rational fit in s^2 with the exact limits 1 at
    s = 0 and 16/(15 pi s) at large s

    Parameters
    ----------
    slide_ratio : float
        s, sliding speed over spin speed times patch radius [-], scalar, >= 0; sqrt(a b) for the radius of an ellipse

    Returns
    -------
    float
        M/M0 [-], 0 to 1

    Validity: any s; within 0.0042 of quadrature. Exact for a circle only.

    Source: derived here (Hertz pressure, Coulomb friction), fitted to quadrature.

    >>> round(slide_spin_moment_ratio(1.0), 2), slide_spin_moment_ratio(math.inf)
    (0.38, 0.0)
    """
    if slide_ratio > 1e4:
        return 16.0 / (15.0 * math.pi * slide_ratio)
    z = slide_ratio * slide_ratio
    upper = 1.0 + z * (-0.21046467 + z * 1.52315175)
    lower = 1.0 + z * (2.13670937 + z * (-0.25348278 + z * 13.2122))
    return math.sqrt(upper / lower)


@compiled
def axis_friction(friction: float, drag_of_load: float, drag_of_force: float) -> tuple[float, float]:
    """Share of the normal force that a turning hub roller can push with along its axis, and its drag across it.

    f_x = (d_N + d_f f), f^2 + f_x^2 = mu^2, solved for f; all over the normal force

    Parameters
    ----------
    friction : float
        mu [-], scalar, >= 0
    drag_of_load : float
        d_N = mu_bore r_axle/r_h, of the bore under the normal force [-], scalar, >= 0
    drag_of_force : float
        d_f = mu_washer r_washer/r_h, of the washer under the force along the axis [-], scalar, >= 0

    Returns
    -------
    (float, float)
        f, f_x [-]; f is 0 where the drag alone takes all friction

    Validity: exact. The bore is loaded by the normal force alone, the washer by the axial force alone.

    Source: derived here.

    >>> along, across = axis_friction(0.6, 0.06, 0.09)
    >>> round(along, 4), round(along**2 + across**2, 4)
    (0.5893, 0.36)
    """
    both = 1.0 + drag_of_force * drag_of_force
    root = max(drag_of_load * drag_of_load * (drag_of_force * drag_of_force - both) + both * friction * friction, 0.0)
    along = max((math.sqrt(root) - drag_of_load * drag_of_force) / both, 0.0)
    return along, drag_of_load + drag_of_force * along
