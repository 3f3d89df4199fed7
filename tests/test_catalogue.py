"""The shipped catalogue: every row with its source, in range, to the standards' sizes, and consistent with itself."""

from __future__ import annotations

import itertools
import math
from dataclasses import replace

import pytest

from objectives import catalogue as c
from objectives.units import MM3

SHIPPED = c.shipped()
TABLES = {
    "materials": c.MATERIAL_KEYS,
    "floors": c.FLOOR_KEYS,
    "motors": c.MOTOR_KEYS,
    "bearings": c.BEARING_KEYS,
    "screws": c.SCREW_KEYS,
}
ROWS = [(table, name) for table in TABLES for name in c.shipped_rows(table)]

# d, D, B in mm: ISO 15 and ISO 3031 (cage alone)
SIZES = {
    "625": (5, 16, 5), "608": (8, 22, 7), "688": (8, 16, 4), "6000": (10, 26, 8), "6001": (12, 28, 8), "6002": (15, 32, 9),
    "6003": (17, 35, 10), "6800": (10, 19, 5), "6801": (12, 21, 5), "6802": (15, 24, 5), "6803": (17, 26, 5),
    "6804": (20, 32, 7), "6805": (25, 37, 7), "6806": (30, 42, 7), "6807": (35, 47, 7), "6808": (40, 52, 7),
    "axk0515": (5, 15, 2), "axk0619": (6, 19, 2), "axk0821": (8, 21, 2), "axk1024": (10, 24, 2), "axk1226": (12, 26, 2),
    "axk1528": (15, 28, 2), "axk1730": (17, 30, 2), "axk2035": (20, 35, 2), "axk2542": (25, 42, 2), "axk3047": (30, 47, 2),
    "axk3552": (35, 52, 2), "axk4060": (40, 60, 3),
}  # fmt: skip


@pytest.mark.parametrize(("table", "name"), ROWS)
def test_every_row_keeps_the_rules_of_a_study(table: str, name: str) -> None:
    row = c.shipped_rows(table)[name]
    keys = c.material_keys(row["role"]) if table == "materials" else TABLES[table]
    assert len(row["source"]) > 8
    assert set(row) - {key.key for key in keys} <= {"source", "role", "kind", "friction_floor"}
    for key in keys:
        if key.key not in row:
            assert key.default is not None, key.key
            continue
        value = row[key.key]
        assert key.least <= value <= key.most or (key.attribute == "flow_limit" and math.isinf(value)), key.key
        assert value > key.least or not key.open_least, key.key


def test_stock_names_its_sources() -> None:
    assert all(len(row["source"]) > 8 for row in c.shipped_rows("stock").values())
    assert all(size > 0 for size in SHIPPED.rod_diameters)


@pytest.mark.parametrize("key", [key for keys in TABLES.values() for key in keys], ids=lambda key: key.key)
def test_factors_are_those_of_the_units(key: c.Key) -> None:
    ends = {"_MPa": 1e6, "_mm": 1e-3, "_rpm": 2 * math.pi / 60, "_mm3_per_s": 1e-9, "_g": 1e-3}
    wanted = next((factor for end, factor in ends.items() if key.key.endswith(end)), 1.0)
    assert key.factor == pytest.approx(wanted, rel=1e-12)
    assert key.least < key.most


@pytest.mark.parametrize("name", SIZES)
def test_bearing_sizes(name: str) -> None:
    bearing = SHIPPED.bearings[name]
    assert (bearing.bore * 1e3, bearing.outside * 1e3, bearing.width * 1e3) == pytest.approx(SIZES[name])


def test_no_bearing_without_a_standard_size() -> None:
    assert set(SHIPPED.bearings) == set(SIZES)


@pytest.mark.parametrize("bearing", SHIPPED.bearings.values(), ids=lambda bearing: bearing.name)
def test_bearings_are_plausible(bearing: c.Bearing) -> None:
    height = bearing.width + 2 * bearing.washer_thickness
    ring = math.pi / 4 * (bearing.outside**2 - bearing.bore**2) * height * 7850
    assert 0.35 * ring < bearing.mass < 0.9 * ring
    if bearing.kind == "deep_groove":
        assert 0.3 < bearing.static_rating / bearing.dynamic_rating < 0.75
        assert 0.0010 <= bearing.friction <= 0.0015
    else:
        assert bearing.kind == "needle_thrust"
        assert bearing.washer_thickness == pytest.approx(1e-3)
        assert 2 < bearing.static_rating / bearing.dynamic_rating < 6
        assert bearing.friction == pytest.approx(0.005)


@pytest.mark.parametrize("motor", SHIPPED.motors.values(), ids=lambda motor: motor.name)
def test_motors_are_consistent(motor: c.Motor) -> None:
    """Two constants, that of speed and that of torque, follow from the output figures; heat and power must suit the mass."""
    assert 0 < motor.continuous_torque < motor.peak_torque <= motor.stall_torque
    assert 0.15 < motor.continuous_torque / motor.stall_torque < 0.45
    assert 0.5 < motor.gearbox_efficiency < 0.95
    assert 1.5 < motor.length / motor.diameter < 3.5
    assert motor.shaft_diameter < 0.3 * motor.diameter
    density = motor.mass / (math.pi / 4 * motor.diameter**2 * motor.length)
    assert 2000 < density < 7850
    motor_constant = motor.rated_voltage / (motor.no_load_speed * motor.gearbox_ratio)  # V s, which is N m/A
    stall_current = motor.stall_torque / (motor.gearbox_ratio * motor.gearbox_efficiency * motor_constant)
    assert motor.no_load_current < 0.1 * stall_current
    heat = motor.rated_voltage * stall_current * (motor.continuous_torque / motor.stall_torque) ** 2
    assert heat / motor.mass < 40  # W/kg in still air, common practice
    peak_power = motor.stall_torque * motor.no_load_speed / 4
    assert 20 < peak_power / motor.mass < 200  # W/kg
    assert 1500 < motor.no_load_speed * motor.gearbox_ratio * 30 / math.pi < 15000  # rpm of the motor itself
    assert f"_{motor.rated_voltage:.0f}v_{motor.gearbox_ratio:.0f}to1" in motor.name
    assert f"{motor.diameter * 1e3:.0f}_" in motor.name


def test_there_are_motors_of_each_sort() -> None:
    motors = SHIPPED.motors.values()
    assert len(motors) >= 10
    assert {motor.rated_voltage for motor in motors} == {12.0, 24.0}
    assert {motor.name.split("_")[0].rstrip("0123456789") for motor in motors} == {"brushed", "brushless"}
    assert min(motor.stall_torque for motor in motors) < 0.6
    assert max(motor.stall_torque for motor in motors) == 12.0


@pytest.mark.parametrize("material", SHIPPED.materials.values(), ids=lambda material: material.name)
def test_materials_are_plausible(material: c.Material) -> None:
    low, high = {"tyre": (1e6, 80e6), "print": (1e9, 4e9), "metal": (60e9, 220e9)}[material.role]
    assert low < material.youngs_modulus < high
    assert set(material.friction_floor) == set(SHIPPED.floors)
    assert material.friction_floor["wet_tile"] < 0.6 * material.friction_floor["tile"]
    assert material.contact_pressure_limit < 0.4 * material.youngs_modulus


def test_softer_printed_tyres_grip_better() -> None:
    tyres = [SHIPPED.materials[f"tpu{shore}a"] for shore in (85, 90, 95)]
    for softer, harder in itertools.pairwise(tyres):
        assert softer.youngs_modulus < harder.youngs_modulus
        assert softer.friction_roller > harder.friction_roller
        assert softer.contact_pressure_limit < harder.contact_pressure_limit


def test_a_new_tyre_takes_the_documented_defaults() -> None:
    soft = c.material("soft", {"youngs_modulus_MPa": 20.0, "density_kg_per_m3": 1210, "friction_roller": 0.6})
    assert (soft.role, soft.friction_bore, soft.loss_tangent, soft.poisson_ratio) == ("tyre", 0.25, 0.12, 0.48)
    assert soft.contact_pressure_limit == pytest.approx(5e6)
    assert soft.service_temperature == 70.0
    assert soft.flow_limit == pytest.approx(3.2 * MM3)
    assert soft.friction_floor == {}


def test_the_defaults_of_a_role_are_keys_of_a_material() -> None:
    assert set(c.ROLE_DEFAULTS) == set(c.ROLES)
    for defaults in c.ROLE_DEFAULTS.values():
        assert set(defaults) <= {key.key for key in c.MATERIAL_KEYS}
    row = {"role": "metal", "youngs_modulus_MPa": 7e4, "density_kg_per_m3": 2700, "friction_roller": 0.3}
    assert c.material("aluminium", row).flow_limit == math.inf


def test_a_study_overrides_single_fields_and_adds_rows() -> None:
    mine = c.extended(
        SHIPPED,
        materials={"tpu90a": {"friction_roller": 0.5, "friction_floor": {"tile": 0.4}}},
        floors={"tile": {"friction": 0.3}, "gravel": {"friction": 0.55, "source": "measured"}},
        motors={"brushed37_24v_30to1": {"no_load_rpm": 300.0}},
    )
    before = SHIPPED.materials["tpu90a"]
    assert mine.materials["tpu90a"] == replace(
        before, friction_roller=0.5, friction_floor=dict(before.friction_floor) | {"tile": 0.4}
    )
    assert (mine.floors["tile"].friction, mine.floors["gravel"].friction) == (0.3, 0.55)
    assert mine.motors["brushed37_24v_30to1"].no_load_speed == pytest.approx(300 * math.pi / 30)
    assert mine.motors["brushed37_24v_30to1"].mass == SHIPPED.motors["brushed37_24v_30to1"].mass
    assert SHIPPED.floors["tile"].friction == 0.45  # the shipped catalogue is as it was
