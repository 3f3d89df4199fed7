"""Machine elements: bearings, spur gears, screws. On arrays, in SI units."""

from __future__ import annotations

import math

import numpy as np

Values = float | np.ndarray  # a number or an array; arrays broadcast

# Lewis form factor, 20 degrees full depth, load at the tip. 12 and up: Shigley, Table 14-2 (transcribed); 10 and 11: pi times
# the y of older handbooks (from memory).
LEWIS_TEETH = np.array([
    10, 11, 12, 13, 14, 15, 16, 17, 18, 19, 20, 21, 22, 24, 26, 28, 30, 34, 38, 43, 50, 60, 75, 100, 150, 300, 400.0,
])
LEWIS_Y = np.array([0.201, 0.226, 0.245, 0.261, 0.277, 0.290, 0.296, 0.303, 0.309, 0.314, 0.322, 0.328, 0.331, 0.337, 0.346,
                    0.353, 0.359, 0.371, 0.384, 0.397, 0.409, 0.422, 0.435, 0.447, 0.460, 0.472, 0.480])


def bearing_life(dynamic_rating: Values, load: Values, speed: Values, exponent: Values = 3.0) -> np.ndarray:
    """Basic rating life of a rolling bearing, reached by 90 % of them.

    L10 = 10^6 revolutions (C/P)^p

    Parameters
    ----------
    dynamic_rating : array
        C [N], any shape
    load : array
        P, equivalent load [N], any shape; zero gives inf
    speed : array
        between the rings [rad/s], any shape, sign ignored; zero gives inf
    exponent : array
        p [-], any shape: 3 for ball, 10/3 for roller bearings

    Returns
    -------
    array
        life [s]

    Validity: P up to C/2 (ISO 281), steady load, clean lubrication.

    Source: ISO 281:2007, basic rating life (from memory).

    >>> round(float(bearing_life(3300.0, 100.0, 300 * 2 * math.pi / 60)) / 3600)
    1996500
    """
    with np.errstate(divide="ignore", invalid="ignore"):
        revolutions = 1e6 * (np.asarray(dynamic_rating) / load) ** exponent
        return np.where(np.asarray(speed) == 0, np.inf, 2 * math.pi * revolutions / np.abs(speed))


def bearing_friction_moment(friction: Values, load: Values, bore: Values) -> np.ndarray:
    """Friction moment of a rolling bearing.

    M = mu F d/2

    Parameters
    ----------
    friction : array
        mu at the bore radius [-], any shape: deep groove 0.0015, needle thrust 0.005
    load : array
        F [N], any shape
    bore : array
        d [m], any shape

    Returns
    -------
    array
        M [N m]

    Validity: F about 0.1 C, good lubrication, moderate speed. Seals are left out and dominate in small sealed bearings.

    Source: bearing makers' handbooks (mu 0.0010 to 0.0015 for deep groove bearings).

    >>> round(float(bearing_friction_moment(0.0015, 100.0, 0.008)) * 1e3, 6)
    0.6
    """
    return np.asarray(friction) * load * bore / 2


def lewis_form_factor(teeth: Values) -> np.ndarray:
    """Lewis form factor Y of a spur tooth, 20 degrees full depth, interpolated over ln(z).

    Parameters
    ----------
    teeth : array
        z [-], any shape

    Returns
    -------
    array
        Y [-]

    Validity: 10 to 400 teeth. Below 10 it keeps the value at 10, which is too strong, above 400 that at 400 (rack: 0.485).

    Source: Shigley, Table 14-2 (transcribed); 10 and 11 teeth from older handbooks (from memory).

    >>> lewis_form_factor([12, 20]).tolist()
    [0.245, 0.322]
    """
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.interp(np.log(np.asarray(teeth, dtype=float)), np.log(LEWIS_TEETH), LEWIS_Y)


def lewis_bending_stress(tangential_force: Values, width: Values, module: Values, teeth: Values) -> np.ndarray:
    """Bending stress at the root of a spur tooth.

    sigma = F_t/(b m Y)

    Parameters
    ----------
    tangential_force : array
        F_t at the pitch circle [N], any shape
    width : array
        b, face width [m], any shape
    module : array
        m [m], any shape
    teeth : array
        z [-], any shape

    Returns
    -------
    array
        sigma [Pa]

    Validity: static, all load at the tip of one tooth; no dynamic factor, no stress concentration.

    Source: Lewis 1892; Shigley, eq. 14-2 (number from memory).

    >>> round(float(lewis_bending_stress(100.0, 0.010, 0.001, 20)) / 1e6, 3)
    31.056
    """
    return np.asarray(tangential_force) / (np.asarray(width) * module * lewis_form_factor(teeth))


def addendum_contact_ratio(teeth: Values, pressure_angle: float = math.radians(20.0)) -> np.ndarray:
    """Share of the contact ratio that one gear's addendum gives.

    eps_i = z/(2 pi) (tan(acos(z cos(alpha)/(z + 2))) - tan(alpha))

    Parameters
    ----------
    teeth : array
        z [-], any shape
    pressure_angle : float
        alpha [rad], scalar

    Returns
    -------
    array
        eps_i [-]; the sum over both gears is the contact ratio

    Validity: rack A of ISO 53 (addendum of one module), no profile shift, no undercut.

    Source: involute geometry.

    >>> round(float(addendum_contact_ratio(20) + addendum_contact_ratio(40)), 6)
    1.635186
    """
    z = np.asarray(teeth, dtype=float)
    return z / (2 * math.pi) * (np.tan(np.arccos(z * math.cos(pressure_angle) / (z + 2))) - math.tan(pressure_angle))


def spur_mesh_efficiency(pinion_teeth: Values, gear_teeth: Values, friction: Values) -> np.ndarray:
    """Efficiency of a spur gear mesh under sliding friction.

    eta = 1 - pi mu (1/z1 + 1/z2) (1 - eps + eps1^2 + eps2^2), eps = eps1 + eps2

    Parameters
    ----------
    pinion_teeth : array
        z1 [-], any shape
    gear_teeth : array
        z2 [-], any shape
    friction : array
        mu between the teeth [-], any shape; printed teeth run dry at about 0.1 to 0.3

    Returns
    -------
    array
        eta [-]

    Validity: contact ratio 1 to 2, 20 degrees, no profile shift, external mesh; tooth friction alone.

    Source: Niemann & Winter; ISO/TR 14179-2 (from memory).

    >>> round(float(spur_mesh_efficiency(20, 40, 0.1)), 6)
    0.983394
    """
    first, second = addendum_contact_ratio(pinion_teeth), addendum_contact_ratio(gear_teeth)
    loss_factor = 1 - first - second + first**2 + second**2
    return 1 - math.pi * np.asarray(friction) * (1 / np.asarray(pinion_teeth) + 1 / np.asarray(gear_teeth)) * loss_factor


def undercut_limit_teeth(pressure_angle: float = math.radians(20.0)) -> float:
    """Fewest teeth that a rack cuts without undercut.

    z = 2/sin^2(alpha)

    Parameters
    ----------
    pressure_angle : float
        alpha [rad], scalar

    Returns
    -------
    float
        z [-], not rounded

    Validity: rack A of ISO 53 (addendum of one module), no profile shift. Some undercut is often accepted: 14 teeth at 20
    degrees (common practice).

    Source: involute geometry with the rack of ISO 53.

    >>> round(undercut_limit_teeth(), 3)
    17.097
    """
    return 2 / math.sin(pressure_angle) ** 2


def nut_preload(stiffness: Values, pitch: Values, angle: Values) -> np.ndarray:
    """Preload of a spring behind a nut, from the angle the nut is turned after contact.

    F = c p theta/(2 pi)

    Parameters
    ----------
    stiffness : array
        c of the spring [N/m], any shape
    pitch : array
        p of the thread [m], any shape
    angle : array
        theta [rad], any shape

    Returns
    -------
    array
        F [N]

    Validity: linear spring far softer than screw and parts.

    Source: geometry of the thread.

    >>> round(float(nut_preload(50e3, 1e-3, math.pi)), 6)
    25.0
    """
    return np.asarray(stiffness) * pitch * angle / (2 * math.pi)


def tightening_torque(nut_factor: Values, force: Values, diameter: Values) -> np.ndarray:
    """Torque that tightens a screw to a force.

    T = K F d

    Parameters
    ----------
    nut_factor : array
        K [-], any shape: 0.15 oiled, 0.2 dry
    force : array
        F [N], any shape
    diameter : array
        d, nominal [m], any shape

    Returns
    -------
    array
        T [N m]

    Validity: a rule, good to about 30 %.

    Source: Shigley, section 8-8 (from memory).

    >>> round(float(tightening_torque(0.2, 1000.0, 0.006)), 6)
    1.2
    """
    return np.asarray(nut_factor) * force * diameter


def thread_stress_area(diameter: Values, pitch: Values) -> np.ndarray:
    """Stress area of a metric thread.

    A_s = pi/4 (d - 0.9382 p)^2

    Parameters
    ----------
    diameter : array
        d, nominal [m], any shape
    pitch : array
        p [m], any shape

    Returns
    -------
    array
        A_s [m^2]

    Validity: ISO 261 threads.

    Source: ISO 898-1 (from memory).

    >>> round(float(thread_stress_area(0.006, 0.001)) * 1e6, 3)
    20.123
    """
    return math.pi / 4 * (np.asarray(diameter) - 0.9382 * np.asarray(pitch)) ** 2
