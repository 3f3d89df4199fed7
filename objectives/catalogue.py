"""What a wheel is built from: materials, floors, motors, bearings, stock rods, fasteners, gear modules.

Each row of ``catalogue/*.toml`` names its source or says "common practice". A study adds rows or overrides fields.
The tables use edge units, written at the end of each key; ``MATERIAL_KEYS``, ``MOTOR_KEYS`` and ``FLOOR_KEYS`` say what a key
means inside, so that a study can be checked and converted with the same data as the shipped tables.
"""

from __future__ import annotations

import math
import tomllib
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from functools import cache
from pathlib import Path
from typing import Any

from objectives.units import MM, MM3, MPA, RPM

Row = Mapping[str, Any]  # one row as TOML gives it: edge units, every value already checked


@dataclass(frozen=True)
class Material:
    """A tyre or print material. SI units."""

    name: str
    role: str  # "tyre", "print" or "metal"
    youngs_modulus: float  # Pa
    poisson_ratio: float
    density: float  # kg/m^3
    loss_tangent: float
    friction_roller: float  # against another roller
    friction_bore: float  # on a steel axle, dry
    strength: float  # Pa, tensile, of a printed part across its layers where it is printed
    contact_pressure_limit: float  # Pa, peak Hertz pressure allowed
    service_temperature: float  # deg C
    flow_limit: float  # m^3/s, the most an extruder melts of it; inf: cast or bought, not extruded
    friction_floor: Mapping[str, float] = field(default_factory=dict)  # by floor name
    source: str = ""


@dataclass(frozen=True)
class Floor:
    """A floor. ``friction`` is used for a tyre that has no entry of its own for it."""

    name: str
    friction: float
    source: str = ""


@dataclass(frozen=True)
class Motor:
    """A motor with its gearbox; all figures at the gearbox output, at the rated voltage. SI units."""

    name: str
    rated_voltage: float  # V
    no_load_speed: float  # rad/s
    stall_torque: float  # N m
    peak_torque: float  # N m
    continuous_torque: float  # N m
    gearbox_ratio: float
    gearbox_efficiency: float
    mass: float  # kg
    diameter: float  # m
    length: float  # m
    shaft_diameter: float = math.nan  # m
    no_load_current: float = 0.0  # A
    source: str = ""


@dataclass(frozen=True)
class Bearing:
    """A rolling bearing. ISO 15 (deep groove) or ISO 3031 (needle thrust) boundary dimensions. SI units."""

    name: str
    kind: str  # "deep_groove" or "needle_thrust"
    bore: float  # m
    outside: float  # m
    width: float  # m
    dynamic_rating: float  # N
    static_rating: float  # N
    mass: float  # kg, washers included
    friction: float  # coefficient at the bore radius, of a thrust bearing at its mean radius
    source: str = ""
    washer_thickness: float = 0.0  # m, of each of the two washers of a thrust bearing, beside its width


@dataclass(frozen=True)
class Screw:
    """A metric screw, ISO 261/262 coarse pitch, with its washer (ISO 7089) and head (ISO 4762). SI units."""

    diameter: float
    pitch: float
    washer_outside: float
    washer_thickness: float
    head_diameter: float
    head_height: float
    source: str = ""


@dataclass(frozen=True)
class Catalogue:
    """All rows, by name. Screws by diameter in mm; rod diameters and gear modules in SI."""

    materials: Mapping[str, Material]
    floors: Mapping[str, Floor]
    motors: Mapping[str, Motor]
    bearings: Mapping[str, Bearing]
    screws: Mapping[float, Screw]
    rod_diameters: tuple[float, ...]
    gear_modules: tuple[float, ...]


@dataclass(frozen=True)
class Key:
    """A number in a row: its key with the unit, the attribute it becomes, and the range it must keep.

    ``default`` None means that a new row must give it; a row that overrides another keeps what it leaves out.
    """

    key: str
    attribute: str
    factor: float  # to SI
    least: float
    most: float
    open_least: bool = False
    default: float | None = None


ROLES = ("tyre", "print", "metal")

MATERIAL_KEYS = (
    Key("youngs_modulus_MPa", "youngs_modulus", MPA, 0.1, 1e6),
    Key("poisson_ratio", "poisson_ratio", 1.0, 0.0, 0.4999, default=0.48),
    Key("density_kg_per_m3", "density", 1.0, 100.0, 2e4),
    Key("loss_tangent", "loss_tangent", 1.0, 0.0, 2.0, default=0.12),
    Key("friction_roller", "friction_roller", 1.0, 0.01, 3.0),
    Key("friction_bore", "friction_bore", 1.0, 0.0005, 2.0, default=0.25),
    Key("strength_MPa", "strength", MPA, 0.1, 5000.0, default=12.0),
    # nan: a quarter of Young's modulus, where Hertz's patch is about as wide as its theory allows
    Key("contact_pressure_limit_MPa", "contact_pressure_limit", MPA, 0.01, 1e4, default=math.nan),
    Key("service_temperature_degC", "service_temperature", 1.0, 0.0, 1000.0, default=70.0),
    Key("flow_mm3_per_s", "flow_limit", MM3, 0.1, 200.0, default=3.2),
)
#: defaults of the other roles where they differ from a tyre's, in edge units
ROLE_DEFAULTS: Mapping[str, Mapping[str, float]] = {
    "tyre": {},
    "print": {"poisson_ratio": 0.37, "loss_tangent": 0.02, "strength_MPa": 20.0, "contact_pressure_limit_MPa": 30.0,
              "service_temperature_degC": 55.0, "flow_mm3_per_s": 9.0},
    "metal": {"poisson_ratio": 0.3, "loss_tangent": 0.001, "friction_bore": 0.15, "strength_MPa": 200.0,
              "contact_pressure_limit_MPa": 500.0, "service_temperature_degC": 150.0, "flow_mm3_per_s": math.inf},
}
#: one entry of a material's ``friction_floor``; a floor without an entry uses the floor's own friction
FRICTION_FLOOR_KEY = Key("friction_floor", "friction_floor", 1.0, 0.01, 3.0)

FLOOR_KEYS = (Key("friction", "friction", 1.0, 0.01, 3.0),)

MOTOR_KEYS = (  # all at the gearbox output, at the rated voltage
    Key("rated_voltage_V", "rated_voltage", 1.0, 1.0, 100.0),
    Key("no_load_rpm", "no_load_speed", RPM, 1.0, 2e4),
    Key("stall_torque_Nm", "stall_torque", 1.0, 0.0, 1e3, open_least=True),
    Key("peak_torque_Nm", "peak_torque", 1.0, 0.0, 1e3, open_least=True),
    Key("continuous_torque_Nm", "continuous_torque", 1.0, 0.0, 1e3, open_least=True),
    Key("gearbox_ratio", "gearbox_ratio", 1.0, 1.0, 1e4),
    Key("gearbox_efficiency", "gearbox_efficiency", 1.0, 0.05, 1.0),
    Key("mass_kg", "mass", 1.0, 0.001, 100.0),
    Key("diameter_mm", "diameter", MM, 4.0, 300.0),
    Key("length_mm", "length", MM, 4.0, 1000.0),
    Key("shaft_diameter_mm", "shaft_diameter", MM, 0.5, 60.0, default=math.nan),
    Key("no_load_current_A", "no_load_current", 1.0, 0.0, 100.0, default=0.0),
)

BEARING_KEYS = (
    Key("bore_mm", "bore", MM, 1.0, 100.0),
    Key("outside_mm", "outside", MM, 3.0, 200.0),
    Key("width_mm", "width", MM, 1.0, 50.0),
    Key("dynamic_rating_N", "dynamic_rating", 1.0, 10.0, 1e6),
    Key("static_rating_N", "static_rating", 1.0, 10.0, 1e6),
    Key("mass_g", "mass", 1e-3, 0.1, 1e4),
    Key("friction", "friction", 1.0, 0.0001, 0.1),
    Key("washer_thickness_mm", "washer_thickness", MM, 0.0, 10.0, default=0.0),
)

SCREW_KEYS = (
    Key("diameter_mm", "diameter", MM, 1.0, 30.0),
    Key("pitch_mm", "pitch", MM, 0.1, 5.0),
    Key("washer_outside_mm", "washer_outside", MM, 2.0, 60.0),
    Key("washer_thickness_mm", "washer_thickness", MM, 0.1, 10.0),
    Key("head_diameter_mm", "head_diameter", MM, 2.0, 60.0),
    Key("head_height_mm", "head_height", MM, 1.0, 40.0),
)


def material_keys(role: str) -> tuple[Key, ...]:
    """The keys of a material with the defaults of its role."""
    return tuple(replace(key, default=ROLE_DEFAULTS[role].get(key.key, key.default)) for key in MATERIAL_KEYS)


def material(name: str, row: Row, base: Material | None = None) -> Material:
    """A material from a checked row; ``base`` is the material it overrides."""
    if base is not None:
        friction = dict(base.friction_floor) | dict(row.get("friction_floor", {}))
        return replace(base, **_given(MATERIAL_KEYS, row), **_texts(row, "role"), friction_floor=friction)
    role = row.get("role", "tyre")
    values = _values(material_keys(role), row)
    if math.isnan(values["contact_pressure_limit"]):
        values["contact_pressure_limit"] = values["youngs_modulus"] / 4
    friction = dict(row.get("friction_floor", {}))
    return Material(name=name, role=role, friction_floor=friction, source=row.get("source", ""), **values)


def floor(name: str, row: Row, base: Floor | None = None) -> Floor:
    """A floor from a checked row; ``base`` is the floor it overrides."""
    if base is not None:
        return replace(base, **_given(FLOOR_KEYS, row), **_texts(row))
    return Floor(name=name, source=row.get("source", ""), **_values(FLOOR_KEYS, row))


def motor(name: str, row: Row, base: Motor | None = None) -> Motor:
    """A motor from a checked row; ``base`` is the motor it overrides."""
    if base is not None:
        return replace(base, **_given(MOTOR_KEYS, row), **_texts(row))
    return Motor(name=name, source=row.get("source", ""), **_values(MOTOR_KEYS, row))


def extended(
    catalogue: Catalogue,
    materials: Mapping[str, Row] | None = None,
    floors: Mapping[str, Row] | None = None,
    motors: Mapping[str, Row] | None = None,
) -> Catalogue:
    """A catalogue with rows added, or single fields of its rows overridden, by checked tables.

    >>> shipped_one = shipped().materials["tpu90a"]
    >>> mine = extended(shipped(), materials={"tpu90a": {"friction_roller": 0.5}}).materials["tpu90a"]
    >>> mine.friction_roller, mine.density == shipped_one.density
    (0.5, True)
    """
    return replace(
        catalogue,
        materials=_merged(catalogue.materials, materials, material),
        floors=_merged(catalogue.floors, floors, floor),
        motors=_merged(catalogue.motors, motors, motor),
    )


@cache
def shipped_rows(table: str) -> Mapping[str, Row]:
    """The rows of ``catalogue/<table>.toml``, by name, in edge units."""
    return tomllib.loads((Path(__file__).parent / "catalogue" / f"{table}.toml").read_text(encoding="utf-8"))


@cache
def shipped() -> Catalogue:
    """The catalogue that comes with the package.

    >>> shipped().bearings["608"].bore
    0.008
    """
    return Catalogue(
        materials={name: material(name, row) for name, row in shipped_rows("materials").items()},
        floors={name: floor(name, row) for name, row in shipped_rows("floors").items()},
        motors={name: motor(name, row) for name, row in shipped_rows("motors").items()},
        bearings={
            name: Bearing(name=name, kind=row["kind"], source=row["source"], **_values(BEARING_KEYS, row))
            for name, row in shipped_rows("bearings").items()
        },
        screws={
            row["diameter_mm"]: Screw(source=row["source"], **_values(SCREW_KEYS, row))
            for row in shipped_rows("screws").values()
        },
        rod_diameters=tuple(size * MM for size in shipped_rows("stock")["rods"]["diameter_mm"]),
        gear_modules=tuple(
            size * MM for row in ("modules_small", "modules") for size in shipped_rows("stock")[row]["module_mm"]
        ),
    )


def _merged(old: Mapping[str, Any], rows: Mapping[str, Row] | None, build: Callable[..., Any]) -> dict[str, Any]:
    return dict(old) | {name: build(name, row, old.get(name)) for name, row in (rows or {}).items()}


def _given(keys: tuple[Key, ...], row: Row) -> dict[str, Any]:
    return {key.attribute: row[key.key] * key.factor for key in keys if key.key in row}


def _values(keys: tuple[Key, ...], row: Row) -> dict[str, Any]:
    return {key.attribute: key.default * key.factor for key in keys if key.default is not None} | _given(keys, row)


def _texts(row: Row, *names: str) -> dict[str, Any]:
    return {name: row[name] for name in (*names, "source") if name in row}
