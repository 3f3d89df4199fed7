"""The catalogue of a study: the shipped rows, with those that the study adds or overrides."""

from __future__ import annotations

import math
from collections.abc import Collection

from objectives.catalogue import (
    FLOOR_KEYS,
    FRICTION_FLOOR_KEY,
    MOTOR_KEYS,
    ROLES,
    Catalogue,
    Key,
    extended,
    material_keys,
    motor,
    shipped,
)
from sweep.errors import did_you_mean
from sweep.reading import Number, Table, show

Row = dict[str, object]


def read_catalogue(top: Table) -> Catalogue:
    """The shipped catalogue extended by [materials.*], [motors.*] and [floors.*] of the study.

    A row with the name of a shipped one overrides the keys that it gives; any other must give all that have no default.
    """
    base = shipped()
    sound = len(top.faults.found)
    floors = {table.key: _row(table, FLOOR_KEYS, table.key in base.floors) for table in _rows(top, "floors")}
    known_floors = list(base.floors) + list(floors)
    materials = {table.key: _material(table, base, known_floors) for table in _rows(top, "materials")}
    motor_tables = _rows(top, "motors")
    motors = {table.key: _row(table, MOTOR_KEYS, table.key in base.motors) for table in motor_tables}
    if len(top.faults.found) > sound:
        # rows with faults cannot be built; their names stay known, so that only the rows are at fault and not their use
        return _with_names(base, materials, motors, floors)
    for table in motor_tables:
        built = motor(table.key, motors[table.key], base.motors.get(table.key))
        if built.continuous_torque > built.peak_torque:
            table.fault("continuous_torque_Nm", "must not be above peak_torque_Nm",
                        f"{built.continuous_torque:g}, peak_torque_Nm {built.peak_torque:g}", "check both")
    return extended(base, materials, floors, motors)


def _rows(top: Table, name: str) -> list[Table]:
    """The tables [name.*], one a row. A row that is no table, or has no name, is a fault."""
    outer = top.table(name)
    tables = []
    for key in outer.content:
        if not key.strip() or not key.isprintable() or ";" in key:
            outer.fault("the name of a row", "must be text that can be printed, not empty and without ;", show(key))
        tables.append(outer.table(key))
    return [table for table in tables if table.is_table]


def _row(table: Table, keys: Collection[Key], overrides: bool) -> Row:
    """The numbers of a row that are given, each in its range."""
    row: Row = {}
    for key in keys:
        optional = overrides or key.default is not None
        value = table.number(Number(key.key, key.least, key.most, key.open_least, default=math.nan if optional else None))
        if not math.isnan(value):
            row[key.key] = value
    if "source" in table:
        row["source"] = table.text("source")
    table.asked.add("source")
    table.finish()
    return row


def _material(table: Table, base: Catalogue, floors: Collection[str]) -> Row:
    overrides = table.key in base.materials
    role = table.text("role", ROLES, base.materials[table.key].role if overrides else "tyre")
    friction: dict[str, float] = {}
    on_floors = table.table("friction_floor")
    for name in on_floors.content:
        if name in floors:
            friction[name] = on_floors.number(
                Number(name, FRICTION_FLOOR_KEY.least, FRICTION_FLOOR_KEY.most, FRICTION_FLOOR_KEY.open_least)
            )
        else:
            on_floors.asked.add(name)
            on_floors.fault(name, "is not a known floor", show(on_floors.content[name]), did_you_mean(name, floors))
    row = _row(table, material_keys(role), overrides)
    if "role" in table:
        row["role"] = role
    return row | ({"friction_floor": friction} if friction else {})


def _with_names(base: Catalogue, materials: dict[str, Row], motors: dict[str, Row], floors: dict[str, Row]) -> Catalogue:
    """The shipped catalogue with every new name standing for some shipped row of its kind and role."""
    any_of = {material.role: material for material in base.materials.values()}
    named = dict(base.materials)
    for name, row in materials.items():
        named.setdefault(name, any_of[str(row.get("role", "tyre"))])
    return Catalogue(
        materials=named,
        floors=dict.fromkeys(floors, next(iter(base.floors.values()))) | dict(base.floors),
        motors=dict.fromkeys(motors, next(iter(base.motors.values()))) | dict(base.motors),
        bearings=base.bearings,
        screws=base.screws,
        rod_diameters=base.rod_diameters,
        gear_modules=base.gear_modules,
    )
