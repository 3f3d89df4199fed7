"""Inverted pendulum: handbook rates, closed form of the recovery, and integration of the equations of motion.

Capture point (divergent component of motion): Pratt et al. 2006, eq. of the linear inverted pendulum (from memory).
"""

import math

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from objectives.robot import forward_lean, recovery, sideways_lean
from objectives.units import GRAVITY

ROBOTS = [  # M, H, k, m_w, I_w, R
    (9.0, 0.35, 0.15, 2.0, 0.006, 0.10),
    (3.0, 0.25, 0.02, 1.2, 0.002, 0.06),
    (40.0, 0.9, 0.3, 6.0, 0.05, 0.13),
]


def arrays(robot):
    mass, height, gyration, *wheel = robot
    return mass, height, gyration, *(np.array([value]) for value in wheel)


def test_uniform_rod_on_its_end():
    """Handbook: a thin rod of length L standing on its end falls at the rate sqrt(3 g/(2 L))."""
    length = 1.2
    lean = sideways_lean(5.0, length / 2, length / math.sqrt(12), np.zeros(1), np.zeros(1), np.ones(1))
    assert lean.growth_rate[0] == pytest.approx(math.sqrt(3 * GRAVITY / (2 * length)), rel=1e-12)


def test_point_mass_on_a_massless_wheel_is_the_linear_inverted_pendulum():
    """theta'' = (g/h)(theta - a/g) about a tiny wheel."""
    lean = forward_lean(5.0, 0.3, 0.0, np.zeros(1), np.zeros(1), np.array([1e-9]))
    assert lean.growth_rate[0] == pytest.approx(math.sqrt(GRAVITY / 0.3), rel=1e-6)
    assert lean.lean_per_acceleration[0] == pytest.approx(1 / GRAVITY, rel=1e-6)


def forward_motion(robot, acceleration):
    """Motion of wheel and body with the motor's torque as an unknown, from the two Lagrange equations."""
    M, H, k, m_w, I_w, R = robot
    lever = H - R

    def rates(_, state):
        theta, rate = state
        # unknown: theta'' and torque T
        # (M + m_w + I_w/R^2) a + M l theta'' = T/R;  (M l^2 + M k^2) theta'' + M l a - M g l theta = -T
        matrix = np.array([[M * lever, -1 / R], [M * (lever**2 + k**2), 1.0]])
        right = np.array([-(M + m_w + I_w / R**2) * acceleration, M * GRAVITY * lever * theta - M * lever * acceleration])
        return [rate, np.linalg.solve(matrix, right)[0]]

    return rates


def sideways_motion(robot, acceleration):
    """Moments of inertial forces and weight about the floor line, part by part."""
    M, H, k, m_w, I_w, R = robot

    def rates(_, state):
        theta, rate = state
        weight = GRAVITY * (M * H + m_w * R) * theta
        base = acceleration * (M * H + m_w * R)
        return [rate, (weight - base) / (M * (k**2 + H**2) + m_w * R**2 + I_w / 2)]

    return rates


@pytest.mark.parametrize("robot", ROBOTS)
@pytest.mark.parametrize(("lean_of", "motion"), [(forward_lean, forward_motion), (sideways_lean, sideways_motion)])
@pytest.mark.parametrize("reserve", [1.2, 1.5, 2.5])
def test_recovery_ends_upright_and_at_rest(robot, lean_of, motion, reserve):
    """Integrated to the two times given, the lean and its rate vanish within 1e-5 of where they began."""
    start = 0.14
    move = recovery(lean_of(*arrays(robot)), start, reserve)
    acceleration, switch, total = (float(value[0]) for value in move[:3])
    options = {"rtol": 1e-11, "atol": 1e-13}
    first = solve_ivp(motion(robot, acceleration), (0, switch), [start, 0.0], **options).y[:, -1]
    last = solve_ivp(motion(robot, -acceleration), (switch, total), first, **options).y[:, -1]
    assert abs(last[0]) < 1e-5 * start
    assert abs(last[1]) < 1e-5 * start / switch
    assert move.peak_speed[0] == pytest.approx(acceleration * switch, rel=1e-12)


@pytest.mark.parametrize("robot", ROBOTS)
def test_holding_force_is_statics(robot):
    """While a lean is held, every part has the acceleration a, and the floor gives (M + m_w) a; its moment with the weight
    about the body's centre balances the motor's torque R F + I_w a/R."""
    M, H, _, m_w, I_w, R = robot
    lean = forward_lean(*arrays(robot))
    theta = 0.1
    a = theta / lean.lean_per_acceleration[0]
    torque = R * (M + m_w) * a + I_w * a / R
    assert M * GRAVITY * (H - R) * theta == pytest.approx(torque + M * (H - R) * a, rel=1e-12)
    assert lean.accelerated_mass[0] == M + m_w


@pytest.mark.parametrize(("speed", "acceleration", "degrees"), [(0.5, 2.0, 8.88458), (1.0, 3.0, 14.91697)])
def test_recovery_stays_inside_the_largest_lean_recoverable(speed, acceleration, degrees):
    """Point mass, h = 0.3 m: no lean above (a/g)(1 - exp(-w v/a)) comes back under a limit a and a speed limit v (values for
    g = 9.81). A recovery that also brakes the lean must stay under the bound for its own peak speed."""
    largest = acceleration / 9.81 * (1 - math.exp(-math.sqrt(9.81 / 0.3) * speed / acceleration))
    assert math.degrees(largest) == pytest.approx(degrees, abs=1e-5)
    rate = math.sqrt(GRAVITY / 0.3)
    lean = sideways_lean(1.0, 0.3, 0.0, np.zeros(1), np.zeros(1), np.ones(1))
    for part in (0.2, 0.5, 0.8, 0.99):
        angle = part * largest
        move = recovery(lean, angle, acceleration / (GRAVITY * angle))
        bound = acceleration / GRAVITY * (1 - math.exp(-rate * move.peak_speed[0] / acceleration))
        assert move.acceleration[0] == pytest.approx(acceleration)
        assert angle < bound


def test_no_reserve_no_recovery():
    lean = sideways_lean(1.0, 0.3, 0.0, np.zeros(1), np.zeros(1), np.ones(1))
    assert np.isnan(recovery(lean, 0.1, 1.0).peak_speed).all()
    assert np.isnan(recovery(lean, 0.1, 0.8).peak_speed).all()


def test_more_reserve_is_quicker():
    lean = forward_lean(*arrays(ROBOTS[0]))
    times = [recovery(lean, 0.1, reserve).total_time[0] for reserve in (1.1, 1.5, 2.0, 4.0)]
    assert times == sorted(times, reverse=True)
