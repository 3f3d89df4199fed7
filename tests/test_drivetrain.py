"""Motors, gears and bearings against textbook motors and statics."""

import math
import warnings
from dataclasses import replace

import numpy as np
import pytest

from objectives.drivetrain import (
    RIGHTWARD,
    available_torque,
    drive,
    ideal_hub_torque,
    motor_line,
    radial_bearing_load,
)
from objectives.elements import spur_mesh_efficiency
from objectives.units import RPM
from tests.plausible import assessment, scenario, wheels

PLAIN = assessment()


def run(*, torque=None, speed=None, judged_by=None, wheel=None):
    """The drive of the plausible assessment with hub torque or speed replaced."""
    base = assessment(wheel, judged_by)
    running = replace(
        base.running,
        hub_torque=base.running.hub_torque if torque is None else torque,
        hub_speed=base.running.hub_speed if speed is None else speed,
    )
    return base, drive(base.wheel, base.layout, base.cases, running, base.limits, base.scenario)


def at(name, base=PLAIN):
    return base.cases.names.index(name)


def test_torque_constant_is_volts_per_speed():
    """24 V, 300 rpm: 0.7639 V s/rad; stall current 4/(0.8 * 0.7639) = 6.545 A; resistance 24/6.545 = 3.667 ohm."""
    line = motor_line(wheels(), scenario())
    assert line.torque_constant[0] == pytest.approx(24 / 31.41593, rel=1e-6)
    assert line.resistance[0] == pytest.approx(24 / (4 / (0.8 * 0.763944)), rel=1e-5)


def test_half_the_voltage_halves_stall_and_speed_but_not_the_peak():
    line = motor_line(wheels(), scenario(supply_voltage=12.0))
    assert (line.stall_torque[0], line.peak_torque[0]) == (2.0, 3.0)
    assert line.no_load_speed[0] == pytest.approx(150 * RPM)


def test_torque_line_has_its_textbook_points():
    """Half the stall torque at half the no-load speed, none at the no-load speed, the peak where the line is above it."""
    line = motor_line(wheels(), scenario())
    speed = np.array([[0.0, 0.5, 1.0, 1.5]]) * line.no_load_speed[:, None]
    assert available_torque(line, speed, speed >= 0)[0] == pytest.approx([3.0, 2.0, 0.0, 0.0])
    assert available_torque(line, speed, speed < 0)[0] == pytest.approx([3.0, 3.0, 3.0, 3.0])


def test_ideal_torque_balances_the_power_at_the_floor():
    """Virtual work: hub torques times hub speeds are force times speed, in any direction."""
    wheel = wheels()
    for direction in np.linspace(-math.pi, math.pi, 17):
        torque = 7.0 * ideal_hub_torque(wheel, np.array([direction]))[0, 0]
        forward = 0.4 * math.cos(direction) / wheel.wheel_radius[0]
        sideways = 0.4 * math.sin(direction) * math.tan(wheel.skew_angle[0]) / wheel.contact_circle_radius[0]
        assert torque @ (forward + RIGHTWARD * sideways) == pytest.approx(7.0 * 0.4)


def test_a_drive_to_the_right_pushes_the_right_hub_forward():
    """Which hub turns forward when the floor pushes the robot to the right, from the cross products of a contact.

    x forward, y left, z up. At the floor a roller's radial direction points down, its circumferential one along -x (the
    bottom of a wheel that turns forward moves backward). The hub on side s (left +1) pushes along its roller's axis.
    """
    radial, tangential = np.array([0, 0, -1.0]), np.array([-1.0, 0, 0])
    left = np.array([0, 1.0, 0])
    spin = []
    for s in (1, -1):
        normal = (-radial + s * left) / math.sqrt(2)
        climb = (radial + s * left) / math.sqrt(2)
        push = tangential + climb  # forward hub torque pushes along +t; skew of 45 degrees
        torque_on_roller = np.cross(normal, push)
        velocity_at_floor = np.cross(torque_on_roller @ tangential * tangential, radial)
        spin.append(-velocity_at_floor @ left)  # the floor pushes the robot against the roller's surface speed
    rightward = -np.sign(spin)  # right is -y
    assert rightward.tolist() == RIGHTWARD.tolist()


def test_mirror_of_right_is_left():
    wheel = wheels()
    right, left = ideal_hub_torque(wheel, np.array([math.pi / 2, -math.pi / 2]))[0]
    assert right == pytest.approx(left[::-1])


def test_power_is_accounted_for():
    """Motor output power less gear and bearing losses is what the hubs need, driving and braking."""
    for scale in (1.0, -1.0):
        base, found = run(torque=scale * PLAIN.running.hub_torque)
        hub_power = (base.running.hub_torque * scale * base.running.hub_speed).sum(axis=2)
        lost = found.losses["thrust_bearing"] + found.losses["radial_bearing"] + found.losses["gear_mesh"]
        assert (found.motor_torque * found.motor_speed).sum(axis=2) == pytest.approx(hub_power + lost)
        assert all((loss >= 0).all() for loss in found.losses.values())


def test_braking_spares_the_motor():
    _, driving = run()
    _, braking = run(torque=-PLAIN.running.hub_torque)
    straight = [at("recover forward"), at("recover reverse"), at("cruise forward"), at("cruise right")]
    for figure in ("motor_torque", "motor_current"):
        assert (np.abs(getattr(braking, figure)[0, straight]) < np.abs(getattr(driving, figure)[0, straight])).all()


def test_motor_torque_worked_by_hand():
    """1 N m at hubs that turn at 5 rad/s: thrust bearing 0.005 * 120 N * 8.5 mm, mesh 20/60 at 0.2, ratio 3."""
    shape = PLAIN.running.hub_torque.shape
    base, found = run(torque=np.ones(shape), speed=np.full(shape, 5.0))
    radial = 2 * 0.0015 * radial_bearing_load(base.wheel, base.layout, base.cases.wheel_load)[0] * 0.005
    torque = (1 + 0.005 * 120 * 0.0085 + radial) / 3 / float(spur_mesh_efficiency(20, 60, 0.2))
    assert found.motor_torque[0, 0] == pytest.approx([torque, torque])
    assert found.motor_speed[0, 0] == pytest.approx([15.0, 15.0])
    assert found.motor_current[0, 0, 0] == pytest.approx(torque / 0.8 / (24 / (300 * RPM)))
    assert found.losses["gearbox"][0, 0] == pytest.approx(2 * torque * 15 * 0.25)


def test_radial_load_worked_by_hand():
    """W = 100 N at beta 45 degrees: 25 N, and R_c 50 N over the spacing."""
    load = radial_bearing_load(PLAIN.wheel, PLAIN.layout, np.array([100.0]))
    couple = PLAIN.wheel.contact_circle_radius[0] * 50 / PLAIN.layout.bearing_spacing[0]
    assert load[0] == pytest.approx(25 + couple)


@pytest.mark.parametrize("case", range(5))
def test_at_its_limit_the_harder_working_motor_is_on_its_line(case):
    """Put the limit back in as the running state: one motor is on its line, neither above it."""
    base, found = run()
    shift = (found.motor_limit - base.cases.force)[..., None] * ideal_hub_torque(base.wheel, base.cases.direction)
    _, full = run(torque=base.running.hub_torque + shift)
    line = motor_line(base.wheel, base.scenario)
    for side in range(2):
        driving = full.motor_torque[..., side] * full.motor_speed[..., side] >= 0
        room = available_torque(line, full.motor_speed[..., side], driving) - np.abs(full.motor_torque[..., side])
        assert room[0, case] > -1e-9
    rooms = [
        available_torque(line, full.motor_speed[..., side], full.motor_torque[..., side] * full.motor_speed[..., side] >= 0)
        - np.abs(full.motor_torque[..., side])
        for side in range(2)
    ]
    assert np.minimum(*rooms)[0, case] == pytest.approx(0, abs=1e-9)


def test_stall_force_of_a_lossless_drive():
    """At standstill both peak torques of 3 N m through 3:1 give 2 * 9/R_w, less mesh and bearing losses (none at rest)."""
    shape = PLAIN.running.hub_torque.shape
    base = PLAIN
    torque = ideal_hub_torque(base.wheel, base.cases.direction) * base.cases.force[..., None]
    _, found = run(torque=torque, speed=np.zeros(shape))
    mesh = float(spur_mesh_efficiency(20, 60, 0.2))
    assert found.motor_limit[0, at("recover forward")] == pytest.approx(2 * 9 * mesh / 0.1)


def test_a_motor_too_slow_has_no_force_at_top_speed():
    fast = replace(scenario().robot, top_speed=5.0)
    _, found = run(judged_by=scenario(robot=fast))
    assert (found.top_speed_motor_limit == 0).all()


def test_diagonally_at_45_degrees_one_motor_does_all():
    wheel = wheels({"skew_angle_deg": 45.0})
    left, right = ideal_hub_torque(wheel, np.array([math.pi / 4]))[0, 0]
    assert abs(left) < 0.4 * abs(right)  # R_w and R_c differ, so not quite nothing


def test_tooth_stress_worked_by_hand():
    """Lewis: torque 1/3 at the pinion (losses aside) on 10 mm: F_t/(8 mm * 1 mm * 0.322)."""
    shape = PLAIN.running.hub_torque.shape
    _, found = run(torque=np.ones(shape), speed=np.full(shape, 5.0))
    force = found.motor_torque.max() / 0.010
    assert found.tooth_bending_stress[0] == pytest.approx(force / (8e-3 * 1e-3 * 0.322))


def test_bearing_life_worked_by_hand():
    """ISO 281: the shorter of (C/P)^3 for the radial pair and (C/F_a)^(10/3) for the needles, at the duty's mean speed."""
    shape = PLAIN.running.hub_torque.shape
    base, found = run(speed=np.full(shape, 10.0))
    load = radial_bearing_load(base.wheel, base.layout, base.cases.wheel_load)[0]
    radial = (1800 / load) ** 3 * 1e6 * 2 * math.pi / 10 / 3600
    thrust = (9000 / 120) ** (10 / 3) * 1e6 * 2 * math.pi / 10 / 3600
    assert found.bearing_life[0] == pytest.approx(min(radial, thrust))


def test_continuous_use_is_the_root_mean_square_over_the_duty():
    """Shares 0.4, 0.1, 0.3, 0.2 of four cases; demands do not count."""
    base, found = run()
    shares = base.cases.share[5:]
    torques = found.motor_torque[0, 5:]
    expected = max(math.sqrt(sum(s * t[side] ** 2 for s, t in zip(shares, torques, strict=True))) for side in (0, 1))
    assert found.continuous_torque_use[0] == pytest.approx(expected / 1.0)


def test_run_time_is_energy_over_power():
    base, found = run()
    assert found.run_time[0] * found.battery_current[0] * 24.0 == pytest.approx(180 * 3600)
    assert np.isnan(run(judged_by=scenario(battery_energy=math.nan))[1].run_time).all()
    # electric power covers at least what the motors give while they drive
    power = np.maximum(found.motor_torque * found.motor_speed, 0).sum(axis=2) @ base.cases.share
    assert found.battery_current[0] * 24 > power[0] / 0.8 * 0.999


def test_nan_in_nan_out_without_a_warning():
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        base = assessment(wheels({}, {"preload_N": np.nan}))
        broken = replace(base.running, hub_torque=np.full_like(base.running.hub_torque, np.nan))
        found = drive(base.wheel, base.layout, base.cases, broken, base.limits, base.scenario)
    assert np.isfinite(base.drive.motor_limit[0]).all()
    assert np.isnan(base.drive.motor_limit[1]).all()
    assert np.isnan(found.motor_limit).all()
