"""What a wheel is judged by: the robot, its load cases, supply, printer, build and the catalogue it chooses from. SI units."""

from __future__ import annotations

import math
from dataclasses import dataclass

from objectives.catalogue import Catalogue


@dataclass(frozen=True)
class Robot:
    """The robot the wheel is for. ``kind`` is "balancing" or "castered".

    A balancing robot gives mass, height of its centre of mass above the floor, radius of gyration about it, the lean to
    recover from and the reserve; a robot on castors gives acceleration, slope and rolling resistance, and may give the
    load on the wheel. ``mass`` is the whole robot without the wheel unit.
    """

    kind: str
    floor: str
    top_speed: float  # m/s, forward and reverse
    sideways_speed: float  # m/s
    mass: float  # kg
    centre_of_mass_height: float = math.nan  # m above the floor
    body_gyration: float = math.nan  # m
    recover_lean: float = math.nan  # rad
    recover_reserve: float = 1.5
    acceleration: float = math.nan  # m/s^2
    slope: float = 0.0  # rad
    rolling_resistance: float = 0.0  # force over weight, of the castors
    wheel_load: float = math.nan  # N, on the floor under the wheel, the wheel unit included; nan: from the masses


@dataclass(frozen=True)
class Case:
    """A load case as a study lists it. Direction 0 is forward, pi reverse, +pi/2 to the right, -pi/2 to the left."""

    name: str
    direction: float  # rad
    force: float  # N at the floor
    speed: float  # m/s
    share: float = 0.0  # of the time; 0 for a demand that counts for limits and margins only


@dataclass(frozen=True)
class Build:
    """What the solids, the mass and the print assume."""

    material: str
    walls: int  # perimeters
    infill: float  # 0..1
    layer: float  # m
    shaft_diameter: float  # m
    side_washer: float  # m, beside each output roller


@dataclass(frozen=True)
class Printer:
    """The printer."""

    bed: tuple[float, float, float]  # m
    nozzle: float  # m
    clearance: float  # m, needed between moving parts
    flow: float  # m^3/s


@dataclass(frozen=True)
class Limit:
    """A floor or a ceiling on an output column, in the column's own unit."""

    column: str
    least: float = -math.inf
    most: float = math.inf


@dataclass(frozen=True)
class Scenario:
    """Everything a wheel is judged by."""

    name: str
    robot: Robot
    supply_voltage: float  # V
    build: Build
    printer: Printer
    catalogue: Catalogue
    duty: tuple[Case, ...] = ()  # empty: made from the robot
    demand: tuple[Case, ...] = ()
    battery_energy: float = math.nan  # J
    limits: tuple[Limit, ...] = ()
