"""What a wheel is built from: materials, floors, motors, bearings, stock rods, fasteners, gear modules.

Each row of ``catalogue/*.toml`` names its source or says "common practice". A study adds rows or overrides fields.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field


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
    flow_limit: float  # m^3/s, the most an extruder melts of it
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
    mass: float  # kg
    friction: float  # coefficient at the bore radius
    source: str = ""


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
