"""The tables of a study but for its space and its catalogue rows: each key with its range, in the unit that it ends with."""

from __future__ import annotations

import math
from collections.abc import Collection
from dataclasses import dataclass, field

from objectives.catalogue import Catalogue
from objectives.scenario import Build, Case, Limit, Printer, Robot
from objectives.scoring import OBJECTIVES
from objectives.units import DEG, GRAVITY, MM, MM3, WH
from sweep.errors import did_you_mean
from sweep.reading import Number, Table, show

KINDS = ("balancing", "castered")
KEEP = ("front", "feasible", "all")
TOTAL_SHARE_TOLERANCE = 1e-6

#: the objectives' own units; two designs nearer than this in every objective count as one
RESOLUTION = {objective.name: objective.resolution for objective in OBJECTIVES}

MASS = Number("mass_kg", 0, 1000, open_least=True)
WHEEL_LOAD = Number("wheel_load_N", 0, 20000, open_least=True)
EITHER_KIND = (
    Number("top_speed_m_per_s", 0, 20, open_least=True),
    Number("sideways_speed_m_per_s", 0, 20, open_least=True),
)
BALANCING = (
    Number("centre_of_mass_height_m", 0, 5, open_least=True),
    Number("body_gyration_m", 0, 5),
    Number("recover_lean_deg", 0, 45, open_least=True),
    Number("recover_reserve", 1, 10, open_least=True, default=1.5),
)
CASTERED = (
    Number("acceleration_m_per_s2", 0, 20, open_least=True),
    Number("slope_deg", 0, 45, default=0.0),
    Number("rolling_resistance", 0, 0.5, default=0.02),  # hard castors on a hard floor, common practice
)
DIRECTION = Number("direction_deg", -360, 360)
FORCE = Number("force_N", 0, 20000, open_least=True)
SPEED = Number("speed_m_per_s", 0, 20)
SHARE = Number("share", 0, 1, open_least=True)
VOLTAGE = Number("voltage_V", 0, 100, open_least=True, default=24.0)
ENERGY = Number("energy_Wh", 0, 100_000, open_least=True)
WALLS = Number("walls", 1, 20, integer=True, default=4)
INFILL = Number("infill", 0, 1, default=0.3)
LAYER = Number("layer_mm", 0.02, 1, default=0.2)
SHAFT = Number("shaft_diameter_mm", 2, 60, default=10.0)
SIDE_WASHER = Number("side_washer_mm", 0, 5, default=0.5)
BED = Number("bed_mm", 50, 3000)
NOZZLE = Number("nozzle_mm", 0.1, 2, default=0.4)
CLEARANCE = Number("clearance_mm", 0.02, 2, default=0.25)
FLOW = Number("flow_mm3_per_s", 0.1, 200, default=9.0)
EVALUATIONS = Number("evaluations", 1, 1e9, integer=True, default=20000.0)
HOURS = Number("hours", 0, 10000, open_least=True)
ISLANDS = Number("islands", 1, 256, integer=True, default=4.0)
ISLAND_EVALUATIONS = Number("island_evaluations", 1, 1e9, integer=True, default=20000.0)
SEED = Number("seed", 0, 2**32 - 1, integer=True, default=7.0)
PHASES = Number("phases", 1, 4096, integer=True, default=16.0)
FRONT_PHASES = Number("front_phases", 1, 4096, integer=True, default=256.0)


@dataclass(frozen=True)
class Search:
    """How to search. Either ``evaluations`` or ``hours`` is a number, the other None.

    ``islands`` is the most there may be; each has ``island_evaluations`` at least, unless it is alone.
    """

    evaluations: int | None = int(EVALUATIONS.default or 0)
    hours: float | None = None
    islands: int = 4
    island_evaluations: int = int(ISLAND_EVALUATIONS.default or 0)
    seed: int = 7
    phases: int = 16
    front_phases: int = 256
    keep: str = "front"
    resolution: dict[str, float] = field(default_factory=lambda: dict(RESOLUTION))


def read_robot(table: Table, catalogue: Catalogue, notes: list[str]) -> Robot:
    kind = table.text("kind", KINDS)
    floor = table.text("floor", catalogue.floors)
    values = {spec.key: table.number(spec) for spec in EITHER_KIND}
    own, other = (CASTERED, BALANCING) if kind == "castered" else (BALANCING, CASTERED)
    if kind:
        values |= {spec.key: table.number(spec) for spec in own}
        for spec in other:
            table.refuse(spec.key, f"for a {kind} robot", _reason(kind))
    else:  # which keys belong is not known: take them all as asked for, so that only the kind is a fault
        table.asked |= {spec.key for spec in own + other}
    mass, load = _masses(table, kind, notes)
    table.finish()
    return Robot(
        kind=kind,
        floor=floor,
        top_speed=values["top_speed_m_per_s"],
        sideways_speed=values["sideways_speed_m_per_s"],
        mass=mass,
        centre_of_mass_height=values.get("centre_of_mass_height_m", math.nan),
        body_gyration=values.get("body_gyration_m", math.nan),
        recover_lean=values.get("recover_lean_deg", math.nan) * DEG,
        recover_reserve=values.get("recover_reserve", 1.5),
        acceleration=values.get("acceleration_m_per_s2", math.nan),
        slope=values.get("slope_deg", 0.0) * DEG,
        rolling_resistance=values.get("rolling_resistance", 0.0),
        wheel_load=load,
    )


def _reason(kind: str) -> str:
    if kind == "castered":
        return "a robot on castors does not lean: give acceleration_m_per_s2, slope_deg and rolling_resistance"
    return 'a balancing robot stands on its wheel alone and its load cases come from the lean; or set kind = "castered"'


def _masses(table: Table, kind: str, notes: list[str]) -> tuple[float, float]:
    """The robot's mass in kg and the load on its wheel in N, nan where the load follows from the masses.

    A robot on castors may give the load alone. It is then taken to weigh no more than what stands on the wheel, which a
    note says, for the force that accelerates it is that of its whole mass.
    """
    if kind == "balancing":
        table.refuse("wheel_load_N", "for a balancing robot", _reason(kind))
    load = table.number(WHEEL_LOAD) if kind == "castered" and "wheel_load_N" in table else math.nan
    table.asked.add("wheel_load_N")
    if kind != "castered" or "mass_kg" in table or "wheel_load_N" not in table:
        return table.number(MASS), load
    table.asked.add("mass_kg")
    mass = load / GRAVITY
    notes.append(
        f"mass_kg is not given: the robot is taken to weigh {mass:.3g} kg, what stands on the wheel (wheel_load_N / g). "
        "Its load cases need the whole mass: give mass_kg if castors carry a share."
    )
    return mass, load


def read_duty(tables: list[Table]) -> tuple[Case, ...]:
    """The duty's cases; their shares of the time add up to 1."""
    cases = _cases(tables, with_share=True)
    total = math.fsum(case.share for case in cases)
    if cases and not math.isnan(total) and abs(total - 1) > TOTAL_SHARE_TOLERANCE:
        tables[0].faults.add("share", "must add up to 1 over all cases", f"{total:.9g}", "[[duty]]", "scale the shares")
    return cases


def read_demand(tables: list[Table]) -> tuple[Case, ...]:
    for table in tables:
        table.refuse("share", "for a demand, which takes no share of the time", "leave it out, or write the case as [[duty]]")
    return _cases(tables, with_share=False)


def _cases(tables: list[Table], with_share: bool) -> tuple[Case, ...]:
    cases: list[Case] = []
    for table in tables:
        case = Case(
            name=table.text("name"),
            direction=table.number(DIRECTION) * DEG,
            force=table.number(FORCE),
            speed=table.number(SPEED),
            share=table.number(SHARE) if with_share else 0.0,
        )
        table.finish()
        if case.name and case.name in (earlier.name for earlier in cases):
            table.fault("name", "must not be given twice", show(case.name), "name each load case differently")
        cases.append(case)
    return tuple(cases)


def read_supply(table: Table) -> float:
    voltage = table.number(VOLTAGE)
    table.finish()
    return voltage


def read_battery(table: Table, given: bool) -> float:
    """Energy of the battery in J, nan without one."""
    energy = table.number(ENERGY) * WH if given else math.nan
    table.finish()
    return energy


def read_build(table: Table, catalogue: Catalogue) -> Build:
    printable = [name for name, material in catalogue.materials.items() if material.role == "print"]
    build = Build(
        material=table.text("material", printable, default="petg"),
        walls=table.integer(WALLS),
        infill=table.number(INFILL),
        layer=table.number(LAYER) * MM,
        shaft_diameter=table.number(SHAFT) * MM,
        side_washer=table.number(SIDE_WASHER) * MM,
    )
    table.finish()
    return build


def read_printer(table: Table, build: Build) -> Printer:
    bed = table.take("bed_mm")
    sides = [220.0, 220.0, 240.0] if bed is None else bed
    if not isinstance(sides, list) or len(sides) != 3:
        table.fault("bed_mm", "must be a list of three numbers: width, depth, height", show(sides))
        sides = []
    for side in sides:
        if rule := BED.broken_rule(side):
            table.fault("bed_mm", rule, show(side), f"each of the three must lie in {BED.interval}")
            sides = []
            break
    nozzle = table.number(NOZZLE)
    if build.layer > nozzle * MM:
        table.fault("nozzle_mm", "must not be below layer_mm of [build]", f"{nozzle:g}, layer_mm {build.layer / MM:g}",
                    "a layer is at most as thick as the nozzle is wide")
    printer = Printer(
        bed=(sides[0] * MM, sides[1] * MM, sides[2] * MM) if sides else (math.nan, math.nan, math.nan),
        nozzle=nozzle * MM,
        clearance=table.number(CLEARANCE) * MM,
        flow=table.number(FLOW) * MM3,
    )
    table.finish()
    return printer


def read_limits(table: Table, columns: Collection[str] | None) -> tuple[Limit, ...]:
    """Limits on output columns; ``columns`` are those known, None where any name goes."""
    limits = []
    for column in table.content:
        table.asked.add(column)
        if columns is not None and column not in columns:
            table.fault(column, "is not a numeric output column", "", did_you_mean(column, sorted(columns)))
            continue
        entry = Table(table.content[column], f"limits.{column}", table.faults)
        if not isinstance(table.content[column], dict):
            continue
        least = entry.number(Number("min", default=-math.inf))
        most = entry.number(Number("max", default=math.inf))
        if math.isinf(least) and math.isinf(most):
            entry.fault(column, "must have min, max or both", "", f"write {column} = {{ min = ... }}")
        if least > most:
            entry.fault(column, "must have min not above max", f"min {least:g}, max {most:g}", "swap them")
        entry.finish()
        limits.append(Limit(column, least, most))
    return tuple(limits)


def read_search(table: Table) -> Search:
    hours = table.number(HOURS) if "hours" in table else None
    evaluations = table.integer(EVALUATIONS)
    if hours is not None and "evaluations" in table:
        table.fault("hours", "must not be given beside evaluations", show(table.content["hours"]), "leave one of them out")
    phases, front_phases = table.integer(PHASES), table.integer(FRONT_PHASES)
    if phases > front_phases > 0:
        table.fault("front_phases", "must not be below phases", f"{front_phases}, phases {phases}",
                    "the front is scored again with at least as many phases as the search used")
    resolution = table.table("resolution")
    steps = {name: resolution.number(Number(name, 0, 1e6, open_least=True, default=step)) for name, step in RESOLUTION.items()}
    resolution.finish()
    table.asked.add("hours")
    search = Search(
        evaluations=evaluations if hours is None else None,
        hours=hours,
        islands=table.integer(ISLANDS),
        island_evaluations=table.integer(ISLAND_EVALUATIONS),
        seed=table.integer(SEED),
        phases=phases,
        front_phases=front_phases,
        keep=table.text("keep", KEEP, default="front"),
        resolution=steps,
    )
    table.finish()
    return search
