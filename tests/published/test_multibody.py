"""Rigid multibody simulations of the friction drive, as numbers, against the slow reference and the kernels.

The simulations are in multibody_cases.json beside this file, with their frames and their own uncertainty. The three loaders
return plain records, so that other implementations can be held against the same numbers.
"""

from __future__ import annotations

import json
import math
import re
from dataclasses import dataclass, replace
from pathlib import Path

import pytest

from objectives.contact_pass import Contact, speed_ratio
from objectives.contact_pass import pass_contact as kernel_pass_contact
from tests.kernel_inputs import kernel_geometry, kernel_state
from tests.reference.slow_geometry import closing_travel, pass_contact
from tests.reference.slow_limit import limit_state
from tests.reference.slow_wheel import SlowWheel

CASES = Path(__file__).with_name("multibody_cases.json")


@dataclass(frozen=True)
class PassCase:
    """A hub roller at ``eps``; lengths in metres, angles in radians; ``simulated`` within ``tolerance`` (absolute)."""

    name: str
    pitch_radius: float
    output_roller_radius: float
    hub_roller_radius: float
    contact_angle: float
    skew_angle: float
    eps: float
    simulated: float
    tolerance: float


@dataclass(frozen=True)
class SlipCase:
    """Force at which one output roller between two hub rollers slips [N], along ``direction`` = (X towards +t, Y sideways).

    ``floating`` hubs follow their preload F_a = 20 N cos(beta); else the normal forces stay at 20 N. ``friction`` is that of
    the side the sideways force loads and of the side it unloads; ``tolerance`` is relative.
    """

    name: str
    pitch_radius: float
    output_roller_radius: float
    hub_roller_radius: float
    contact_angle: float
    skew_angle: float
    friction: tuple[float, float]
    preload: float
    floating: bool
    direction: tuple[float, float]
    simulated: float
    tolerance: float


def load_case(name: str) -> dict:
    """The case of that id, as it stands in the file."""
    return next(case for case in json.loads(CASES.read_text())["cases"] if case["id"] == name)


def numbers_in(pattern: str, key: str) -> list[float]:
    """The numbers a case's name carries."""
    match = re.fullmatch(pattern, key)
    if match is None:
        raise ValueError(f"name of a case must match {pattern}, got {key!r} ({CASES.name})")
    return [float(text) for text in match.groups()]


def radii(inputs: dict) -> tuple[float, float, float]:
    """Pitch, output roller and hub roller radius of a case [m]."""
    return inputs["Rp_mm"] * 1e-3, inputs["ro_mm"] * 1e-3, inputs["rd_mm"] * 1e-3


def ratio_cases() -> list[PassCase]:
    """V/(Omega R_c) at zero slip, each hub roller closing along its own normal."""
    case = load_case("ratio_vs_eps_hub_axially_fixed")
    inputs, found = case["inputs"], []
    for key, values in case["simulated"].items():
        for eps, value in zip(inputs["eps_deg"], values, strict=True):
            beta, gamma, angle = (math.radians(x) for x in (float(key.removeprefix("beta")), inputs["gamma"], eps))
            tolerance = case["uncertainty"]["rel"] * value
            found.append(PassCase(f"{key} {eps}", *radii(inputs), beta, gamma, angle, value, tolerance))
    return found


def travel_cases() -> list[PassCase]:
    """Axial travel of a hub that closes on rigid rollers [m], negative towards the mid-plane."""
    case = load_case("axial_hub_travel_mm_rigid_rollers")
    found = []
    for key, values in case["simulated"].items():
        beta, gamma, ro, rd = numbers_in(r"beta(\d+)_gamma(\d+)_ro([\d.]+)_rd([\d.]+)", key)
        for eps, value in zip(case["inputs"]["eps_deg"], values, strict=True):
            lengths = case["inputs"]["Rp_mm"] * 1e-3, ro * 1e-3, rd * 1e-3
            found.append(PassCase(f"{key} {eps}", *lengths, math.radians(beta), math.radians(gamma), math.radians(eps),
                                  value * 1e-3, case["uncertainty"]["abs_mm"] * 1e-3))
    return found


def slip_cases() -> list[SlipCase]:
    """Slip load of one roller, at constant normal force and with floating hubs."""
    case = load_case("static_slip_load_one_roller")
    found = []
    for key, value in case["simulated"].items():
        pattern = r"\w+_b(\d+)_g(\d+)_mu([\d.]+)/([\d.]+)_dirXY\(([-\d.]+), ([-\d.]+)\)"
        beta, gamma, loaded, unloaded, x, y = numbers_in(pattern, key)
        found.append(SlipCase(key, *radii(case["inputs"]), math.radians(beta), math.radians(gamma), (loaded, unloaded),
                              case["inputs"]["N0"] * math.cos(math.radians(beta)), key.startswith("floatHub"), (x, y), value,
                              case["uncertainty"]["rel"]))
    return found


def one_roller_wheel(case: PassCase | SlipCase, friction: tuple[float, float] = (0.5, 0.5), preload: float = 20.0) -> SlowWheel:
    """One output and two hub rollers, nearly rigid, no bore drag, a preload that does not change with closure."""
    return SlowWheel(
        N=1, M=1, wheel_radius=case.pitch_radius + case.output_roller_radius, output_roller_radius=case.output_roller_radius,
        crown=0.0, hub_roller_radius=case.hub_roller_radius, hub_roller_length=0.02, contact_angle=case.contact_angle,
        skew_angle=case.skew_angle, output_roller_length=0.02, preload=preload, preload_stiffness=0.0, play=0.0,
        axle_stop_stiffness=1e9, contact_stiffness=1e8, floor_stiffness=1e8, friction_roller=friction, friction_floor=1e9,
        friction_bore=0.0, axle_radius=2e-3, hub_bolt_radius=1e-3, hub_bore_friction=0.0, washer_friction=0.0,
        washer_radius=1e-3, wheel_load=0.01,
    )


@pytest.mark.parametrize("case", ratio_cases(), ids=lambda case: case.name)
def test_speed_ratio_of_a_pass(case: PassCase) -> None:
    wheel = one_roller_wheel(case)
    closure = closing_travel(wheel, case.eps, along_normal=True)
    ratio = pass_contact(wheel, case.eps, closure=closure, along_normal=True).ratio
    assert ratio == pytest.approx(case.simulated, abs=case.tolerance)


@pytest.mark.parametrize("case", travel_cases(), ids=lambda case: case.name)
def test_axial_travel_of_a_hub_on_rigid_rollers(case: PassCase) -> None:
    assert -closing_travel(one_roller_wheel(case), case.eps) == pytest.approx(case.simulated, abs=case.tolerance)


@pytest.mark.parametrize("case", slip_cases(), ids=lambda case: case.name)
def test_slip_load_of_one_roller(case: SlipCase) -> None:
    # the floor pushing along -y unloads the left hub
    wheel = one_roller_wheel(case, friction=case.friction[::-1], preload=case.preload)
    lever = wheel.contact_circle_radius / wheel.wheel_radius  # the simulation's X acts at the contact circle, not at the floor
    asked = (case.direction[0] * lever, case.direction[1])
    length = math.hypot(*asked)
    found = limit_state(wheel, (0.0, 0.0, 0.0), (asked[0] / length, asked[1] / length), coupled=case.floating)
    assert found.status == ""
    assert found.force / length == pytest.approx(case.simulated, rel=case.tolerance)


# the kernels against the same numbers


@pytest.mark.parametrize("case", ratio_cases(), ids=lambda case: case.name)
def test_kernel_speed_ratio_of_a_pass(case: PassCase) -> None:
    # closing along its own normal moves a hub roller's axis as a smaller hub roller would have it
    wheel = one_roller_wheel(case)
    closure = closing_travel(wheel, case.eps, along_normal=True)
    g = kernel_geometry(replace(wheel, friction_roller=0.5, hub_roller_radius=wheel.hub_roller_radius - closure))
    ratio = speed_ratio(kernel_pass_contact(g, case.eps)) / wheel.contact_circle_radius
    assert ratio == pytest.approx(case.simulated, abs=case.tolerance)


@pytest.mark.parametrize("case", travel_cases(), ids=lambda case: case.name)
def test_kernel_closes_a_gap_at_its_first_slope(case: PassCase) -> None:
    # overlaps are linear in the closure: gap/|n_y| against a travel of up to 0.9 mm
    found = Contact(*kernel_pass_contact(kernel_geometry(replace(one_roller_wheel(case), friction_roller=0.5)), case.eps))
    assert -found.gap / found.axial == pytest.approx(case.simulated, rel=0.05, abs=case.tolerance)


@pytest.mark.parametrize(
    "case", [case for case in slip_cases() if case.friction[0] == case.friction[1]], ids=lambda case: case.name
)
def test_kernel_slip_load_of_one_roller(case: SlipCase) -> None:
    # a closure held stiffly keeps the normal force
    wheel = replace(
        one_roller_wheel(case, preload=case.preload), friction_roller=case.friction[0],
        preload_stiffness=0.0 if case.floating else 1e9, axle_stop_stiffness=1e10,
    )  # fmt: skip
    lever = wheel.contact_circle_radius / wheel.wheel_radius
    asked = (case.direction[0] * lever, case.direction[1])
    length = math.hypot(*asked)
    found = kernel_state(wheel, (0.0, 0.0, 0.0), (asked[0] / length, asked[1] / length))
    assert found.steps >= 0
    assert found.force / length == pytest.approx(case.simulated, rel=case.tolerance)
