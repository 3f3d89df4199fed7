"""A plausible scenario and plausible wheels for tests of what surrounds the contact mechanics. Numbers are round, not real."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import numpy as np
import pandas as pd

from objectives.assessment import Assessment, LimitStates, NormalStates, RunningStates
from objectives.catalogue import Bearing, Catalogue, Floor, Material, Motor, Screw
from objectives.contacts import contact_constants
from objectives.drivetrain import RIGHTWARD, drive, ideal_hub_torque
from objectives.layout import layout
from objectives.mass import mass_breakdown
from objectives.robot import load_cases
from objectives.scenario import Build, Printer, Robot, Scenario
from objectives.units import DEG, MM, RPM
from objectives.wheel import WheelBatch, wheel_batch
from objectives.workspace import EQUILIBRIUM

FORWARD, REVERSE, RIGHT = 0.0, math.pi, math.pi / 2


def catalogue() -> Catalogue:
    """A small catalogue of round numbers."""
    soft = Material(
        name="soft", role="tyre", youngs_modulus=25e6, poisson_ratio=0.48, density=1200.0,
        loss_tangent=0.12, friction_roller=0.6, friction_bore=0.25, strength=15e6,
        contact_pressure_limit=6e6, service_temperature=70.0, flow_limit=3.2e-9,
    )
    plastic = Material(
        name="plastic", role="print", youngs_modulus=2e9, poisson_ratio=0.38, density=1250.0,
        loss_tangent=0.02, friction_roller=0.3, friction_bore=0.25, strength=30e6,
        contact_pressure_limit=40e6, service_temperature=65.0, flow_limit=12e-9,
    )
    motor = Motor(
        name="gearmotor", rated_voltage=24.0, no_load_speed=300 * RPM, stall_torque=4.0, peak_torque=3.0, continuous_torque=1.0,
        gearbox_ratio=20.0, gearbox_efficiency=0.8, mass=0.4, diameter=37 * MM, length=70 * MM, shaft_diameter=6 * MM,
    )

    def bearing(name: str, kind: str, sizes: tuple[float, float, float], rating: float, friction: float) -> Bearing:
        bore, outside, width = sizes
        washer = 1 * MM if kind == "needle_thrust" else 0.0
        return Bearing(
            name, kind, bore * MM, outside * MM, width * MM, rating, rating / 2, 0.01, friction, washer_thickness=washer
        )

    rows = (
        bearing("6000", "deep_groove", (10, 26, 8), 4600.0, 0.0015),
        bearing("6800", "deep_groove", (10, 19, 5), 1800.0, 0.0015),
        bearing("683", "deep_groove", (3, 7, 3), 300.0, 0.0015),
        bearing("AXK1024", "needle_thrust", (10, 24, 2), 9000.0, 0.005),
    )
    screws = {size: Screw(size * MM, size * MM / 6, 2.2 * size * MM, size * MM / 6, 1.8 * size * MM, size * MM)
              for size in (2.0, 2.5, 3.0, 4.0, 5.0, 6.0)}
    return Catalogue(
        materials={"soft": soft, "plastic": plastic},
        floors={"concrete": Floor("concrete", 0.7)},
        motors={"gearmotor": motor},
        bearings={row.name: row for row in rows},
        screws=screws,
        rod_diameters=tuple(size * MM for size in (2.0, 3.0, 4.0)),
        gear_modules=(1e-3,),
    )


def scenario(**changes: Any) -> Scenario:
    """A balancing robot of 9 kg; ``changes`` replace fields of the scenario."""
    plain = Scenario(
        name="plausible",
        robot=Robot(kind="balancing", floor="concrete", top_speed=0.9, sideways_speed=0.5, mass=9.0, centre_of_mass_height=0.35,
                    body_gyration=0.15, recover_lean=8 * DEG),
        supply_voltage=24.0,
        build=Build(material="plastic", walls=4, infill=0.3, layer=0.2 * MM, shaft_diameter=10 * MM, side_washer=0.5 * MM),
        printer=Printer(bed=(0.22, 0.22, 0.24), nozzle=0.4 * MM, clearance=0.25 * MM, flow=9e-9),
        catalogue=catalogue(),
        battery_energy=180 * 3600.0,
    )
    return replace(plain, **changes)


DESIGN: dict[str, Any] = {
    "output_roller_count": 14, "hub_roller_count": 18, "wheel_diameter_mm": 200.0, "output_roller_diameter_mm": 30.0,
    "output_roller_fill": 0.8, "crown": 0.3, "hub_roller_diameter_mm": 12.0, "hub_roller_length_mm": 18.0,
    "contact_angle_deg": 45.0, "skew_angle_deg": 45.0, "hub_axle_diameter_mm": 3.0, "preload_N": 120.0,
    "preload_stiffness_N_per_mm": 20.0, "output_tyre": "soft", "hub_tyre": "plastic", "bore": "plain",
    "tyre_thickness_mm": 3.0, "bore_play_mm": 0.2, "axle_diameter_mm": 4.0, "carrier_thickness_mm": 8.0,
    "motor": "gearmotor", "gear_module_mm": 1.0, "pinion_teeth": 20, "gear_teeth": 60,
}


def wheels(*changes: dict[str, Any], rows: Catalogue | None = None) -> WheelBatch:
    """One wheel for each dict of changed design variables; without any, the plain one."""
    table = pd.DataFrame([DESIGN | change for change in (changes or ({},))])
    return wheel_batch(table, rows or catalogue(), "concrete")


def assessment(wheel: WheelBatch | None = None, judged_by: Scenario | None = None) -> Assessment:
    """An assessment whose mechanics are round numbers of a plausible size, the same for every candidate."""
    wheel = wheels() if wheel is None else wheel
    judged_by = judged_by or scenario()
    plan = layout(wheel, judged_by)
    masses = mass_breakdown(wheel, plan, judged_by)
    cases = load_cases(wheel, masses.total, masses.wheel_inertia, judged_by)
    n, k = cases.force.shape
    one = np.ones(n)
    normal = NormalStates(
        contact_force_max=30 * one, contact_force_mean=12 * one, engaged_min=9 * one, pass_gap_max=0.2 * MM * one,
        closure_min=0.1 * MM * one, closure_max=0.4 * MM * one, axle_height_min=wheel.wheel_radius - 1 * MM,
        axle_height_max=wheel.wheel_radius - 0.5 * MM, axle_reaction_max=40 * one, floor_force_max=100 * one,
        floor_depth_max=1 * MM * one, roller_shift_max=0.25 * MM * one, tilting_moment=2 * one, cogging_torque=0.05 * one,
        contact_energy_swing=0.005 * one, equilibria=np.zeros((n, 4, EQUILIBRIUM)),
    )
    directions = np.unique(cases.direction)
    force = np.full((n, len(directions), 4), 60.0) + np.arange(4.0)
    limits = LimitStates(
        direction=directions, force=force, worst=force.min(axis=2), mean=force.mean(axis=2),
        worst_phase=np.zeros((n, len(directions)), dtype=np.int64), contact_force_max=50 * one, tilting_moment=4 * one,
        axle_reaction_max=60 * one, closure_max=0.4 * MM * one, axle_height_min=wheel.wheel_radius - 1 * MM,
        unresolved=np.zeros(n, dtype=np.int64), without_contact=np.zeros(n, dtype=np.int64),
    )
    travel = np.stack([cases.speed * np.cos(cases.direction) / wheel.wheel_radius[:, None]] * 2, axis=2)
    skewing = cases.speed * np.sin(cases.direction) * (np.tan(wheel.skew_angle) / wheel.contact_circle_radius)[:, None]
    speed = travel + RIGHTWARD * skewing[..., None]
    torque = ideal_hub_torque(wheel, cases.direction) * cases.force[..., None]
    names = ("creep", "output_bore", "output_face", "hub_bore", "drilling", "roller_hysteresis", "floor_hysteresis")
    running = RunningStates(
        hub_torque=torque + 0.05 * np.sign(speed), hub_speed=speed, speed_ratio=np.ones((n, k)), speed_ripple=np.zeros((n, k)),
        losses={name: np.full((n, k), 0.1) for name in names}, roller_loss_peak=np.full((n, k), 0.3),
        residual=np.zeros((n, k)), unresolved=np.zeros(n, dtype=np.int64),
    )
    contacts = contact_constants(wheel, cases.wheel_load)
    return Assessment(
        wheel=wheel, scenario=judged_by, layout=plan, mass=masses, cases=cases, normal=normal, limits=limits, running=running,
        drive=drive(wheel, plan, cases, running, limits, judged_by),
        extra={name: contacts[name] for name in ("contact_stiffness", "hertz_stiffness")},
    )
