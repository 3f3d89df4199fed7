"""A sound study: what is read from it, in SI units, and what is taken where it is silent."""

from __future__ import annotations

import math
from pathlib import Path

import pytest

from objectives.catalogue import shipped
from objectives.scenario import Case, Limit
from objectives.variables import VARIABLES
from sweep.study import Study, load_study, read_study, slug
from sweep.study_tables import Search
from sweep.unknowns import UNKNOWNS, Spread, Uncertainty

STUDIES = sorted((Path(__file__).parent.parent / "studies").glob("*.toml"))
ROBOT = """
[robot]
kind = "balancing"
mass_kg = 9.0
centre_of_mass_height_m = 0.35
body_gyration_m = 0.15
recover_lean_deg = 9
top_speed_m_per_s = 0.9
sideways_speed_m_per_s = 0.5
floor = "tile"
"""


def study(more: str = "") -> Study:
    return read_study(ROBOT + more, "scout.toml")


@pytest.mark.parametrize("path", STUDIES, ids=lambda path: path.stem)
def test_shipped_studies_are_sound(path: Path) -> None:
    read = load_study(path)
    assert read.notes == ()
    assert read.text == path.read_text(encoding="utf-8")
    assert read.scenario.robot.kind == path.stem.partition("_")[0]
    assert read.baseline is not None
    assert list(read.baseline) == [variable.name for variable in VARIABLES]


def test_defaults_are_those_of_the_interface() -> None:
    read = study()
    assert (read.name, read.path, read.baseline, read.uncertainty) == ("scout", "scout.toml", None, Uncertainty())
    assert not read.uncertainty.given
    assert read.search == Search(
        evaluations=20000,
        hours=None,
        islands=4,
        seed=7,
        phases=16,
        front_phases=256,
        keep="front",
        resolution={
            "torque_capacity_Nm": 0.05,
            "slip_margin": 0.02,
            "friction_loss_W": 0.1,
            "mass_kg": 0.02,
            "printability": 0.01,
        },
    )
    scenario = read.scenario
    assert scenario.supply_voltage == 24
    assert math.isnan(scenario.battery_energy)
    assert (scenario.build.material, scenario.build.walls, scenario.build.infill) == ("petg", 4, 0.3)
    lengths = (scenario.build.layer, scenario.build.shaft_diameter, scenario.build.side_washer)
    assert lengths == pytest.approx((2e-4, 0.01, 5e-4))
    assert scenario.printer.bed == pytest.approx((0.22, 0.22, 0.24))
    assert (scenario.printer.nozzle, scenario.printer.clearance) == pytest.approx((4e-4, 2.5e-4))
    assert scenario.printer.flow == pytest.approx(9e-9)
    assert scenario.catalogue == shipped()
    assert (scenario.duty, scenario.demand, scenario.limits) == ((), (), ())


def test_everything_inside_is_si_and_radians() -> None:
    read = study(
        """
[[duty]]
name = "patrol"
direction_deg = 180
force_N = 6
speed_m_per_s = 0.6
share = 1
[[demand]]
name = "kerb"
direction_deg = -90
force_N = 22.0
speed_m_per_s = 0.2
[battery]
energy_Wh = 2
[limits]
slip_margin = { min = 1.3 }
[uncertainty]
friction_roller = { relative = 0.15 }
bore_play_mm = { absolute = 0.05 }
"""
    )
    scenario = read.scenario
    assert scenario.robot.recover_lean == pytest.approx(math.pi / 20)
    assert math.isnan(scenario.robot.wheel_load)
    assert scenario.duty == (Case("patrol", math.pi, 6.0, 0.6, 1.0),)
    assert scenario.demand == (Case("kerb", -math.pi / 2, 22.0, 0.2),)
    assert scenario.battery_energy == 7200
    assert scenario.limits == (Limit("slip_margin", 1.3, math.inf),)
    spreads = read.uncertainty.spreads
    assert read.uncertainty.given
    assert spreads["friction_roller"].relative == 0.15
    assert math.isnan(spreads["friction_roller"].absolute)
    assert spreads["bore_play_mm"].absolute == 0.05
    assert {entry.name for entry in UNKNOWNS} == set(spreads)  # what is left out has the shipped spread
    assert isinstance(spreads["motor_torque"], Spread)


def test_hours_instead_of_evaluations() -> None:
    search = study("[search]\nhours = 8\n").search
    assert (search.hours, search.evaluations) == (8, None)


def test_a_castered_robot_may_give_its_wheel_load_alone() -> None:
    text = """
[robot]
kind = "castered"
wheel_load_N = 98.0665
acceleration_m_per_s2 = 0.5
slope_deg = 3
rolling_resistance = 0.01
top_speed_m_per_s = 0.9
sideways_speed_m_per_s = 0.5
floor = "tile"
"""
    read = read_study(text)
    robot = read.scenario.robot
    assert (robot.mass, robot.wheel_load, robot.rolling_resistance) == pytest.approx((10.0, 98.0665, 0.01))
    assert robot.slope == pytest.approx(math.pi / 60)
    assert read.notes[0].startswith("mass_kg is not given: the robot is taken to weigh 10 kg")
    assert read_study(text.replace("[robot]", "[robot]\nmass_kg = 30")).notes == ()


def test_rows_of_a_study_add_to_the_catalogue_and_override_it() -> None:
    read = study(
        """
[materials.soft90]
role = "tyre"
youngs_modulus_MPa = 22.0
poisson_ratio = 0.48
density_kg_per_m3 = 1210
loss_tangent = 0.12
friction_roller = 0.60
friction_floor = { tile = 0.55 }
[materials.tpu95a]
friction_roller = 0.44
[floors.tile]
friction = 0.31
[motors.class24]
rated_voltage_V = 24.0
no_load_rpm = 320
stall_torque_Nm = 4.2
peak_torque_Nm = 3.0
continuous_torque_Nm = 1.1
gearbox_ratio = 19.0
gearbox_efficiency = 0.8
mass_kg = 0.36
diameter_mm = 37.0
length_mm = 70.0
[space]
output_tyre = ["soft90", "tpu95a"]
motor = "class24"
"""
    )
    catalogue, base = read.scenario.catalogue, shipped()
    assert catalogue.materials["soft90"].youngs_modulus == 22e6
    assert catalogue.materials["soft90"].friction_floor == {"tile": 0.55}
    assert catalogue.materials["tpu95a"].friction_roller == 0.44
    assert catalogue.materials["tpu95a"].youngs_modulus == base.materials["tpu95a"].youngs_modulus
    assert catalogue.floors["tile"].friction == 0.31
    assert catalogue.motors["class24"].no_load_speed == pytest.approx(320 * math.pi / 30)
    assert set(catalogue.motors) == {*base.motors, "class24"}
    assert read.space.domains["output_tyre"].choices == ("soft90", "tpu95a")
    assert read.space.domains["motor"].fixed


def test_the_hash_follows_what_a_study_says_and_not_how() -> None:
    one = read_study('name = "a"\n' + ROBOT + "[search]\nseed = 3\nislands = 2\n")
    other = read_study('name = "a"\n[search]\nislands = 2.0\nseed = 3 # the same\n' + ROBOT.replace("9.0", "9"))
    changed = read_study('name = "a"\n' + ROBOT + "[search]\nseed = 4\nislands = 2\n")
    assert one.hash == other.hash != changed.hash
    assert len(one.hash) == 64


@pytest.mark.parametrize(
    ("name", "folder"),
    [("greenhouse scout", "greenhouse-scout"),
     ("../../etc", "etc"), (".hidden", "hidden"), ("a/b\\c:d", "a-b-c-d"), ("v1.2_b", "v1.2_b")],
)  # fmt: skip
def test_names_are_safe_as_folders(name: str, folder: str) -> None:
    assert slug(name) == folder


def test_a_name_without_a_safe_letter_still_has_a_folder() -> None:
    read = read_study('name = "車輪"\n' + ROBOT)
    assert read.slug == f"study-{read.hash[:10]}"
