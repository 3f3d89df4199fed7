"""Reading a table of measurements: every row checked, every fault named by its line, all at once."""

from __future__ import annotations

import csv
import io
import math
import os
from collections.abc import Mapping
from dataclasses import dataclass

from sweep.errors import did_you_mean
from sweep.reading import Faults, read_text, show
from sweep.workshop.kinds import BASE, KINDS, UNITS, Kind

WHAT = "table of measurements"
REQUIRED = ("kind", "value", "unit")
COLUMNS = (*REQUIRED, "at", "at_unit", "preload_N", "sd", "note")
#: cells that mean nothing; a line that begins with COMMENT is passed over
EMPTY = {"", "-"}
COMMENT = "#"
#: two readings at one setting further apart than this factor contradict each other, and so do readings that fall by it
APART = 1.5


@dataclass(frozen=True)
class Measurement:
    """A row. Numbers in N, N m, mm and turns; ``at`` and ``preload`` are nan where there are none."""

    line: int
    kind: Kind
    value: float
    at: float
    preload: float
    deviation: float  # standard deviation of the reading
    unit: str  # as it was read
    at_unit: str  # as it was written

    @property
    def where(self) -> str:
        return f"line {self.line}"


def read_measurements(path: str | os.PathLike[str], faults: Faults) -> list[Measurement]:
    """The sound measurements of a CSV file with commas, semicolons or tabs; ``faults`` takes what is wrong with the others.

    With semicolons or tabs a decimal comma is understood. Raises BadInput where there is no text to read.
    """
    text = read_text(path, WHAT)
    rows = _cells(text, faults)
    measured = [entry for line, row in rows if (entry := _measurement(line, row, faults)) is not None]
    if not rows and not faults.found:
        faults.add(WHAT, "must have at least one row under its header", "none", remedy="add a row for each measurement")
    contradictions(measured, faults)
    return measured


def _cells(text: str, faults: Faults) -> list[tuple[int, dict[str, str]]]:
    """Lines by number, each as cells by column."""
    kept = [(number, line) for number, line in enumerate(text.splitlines(), 1) if line.strip() and line.strip()[0] != COMMENT]
    if not kept:
        faults.add(WHAT, "must have a header", "none", remedy=f"begin with {','.join(COLUMNS)}")
        return []
    header = kept[0][1]
    delimiter = max(",;\t", key=header.count)
    names = [name.strip() for name in next(csv.reader([header], delimiter=delimiter))]
    for name in names:
        if name not in COLUMNS:
            faults.add(show(name), "is not a column of measurements", "", f"line {kept[0][0]}", did_you_mean(name, COLUMNS))
        elif names.count(name) > 1 and f"{name} must not" not in str(faults.found):
            faults.add(name, "must not be a column twice", "", f"line {kept[0][0]}", "leave one of them out")
    for name in REQUIRED:
        if name not in names:
            faults.add(name, "must be a column", "", f"line {kept[0][0]}", f"begin the table with {','.join(COLUMNS)}")
    if faults.found:
        return []
    rows = []
    for number, line in kept[1:]:
        cells = [cell.strip() for cell in next(csv.reader(io.StringIO(line), delimiter=delimiter))]
        if len(cells) > len(names) and any(cells[len(names) :]):
            faults.add("row", f"must have at most {len(names)} cells like the header", str(len(cells)), f"line {number}",
                       "quote a cell that holds a comma, and write decimals with a point")
            continue
        row = dict(zip(names, cells, strict=False))
        if delimiter != ",":
            row |= {name: row.get(name, "").replace(",", ".") for name in ("value", "at", "preload_N", "sd")}
        rows.append((number, row))
    return rows


def _measurement(line: int, row: Mapping[str, str], faults: Faults) -> Measurement | None:
    place, before = f"line {line}", len(faults.found)
    kind = KINDS.get(row.get("kind", ""))
    if kind is None:
        faults.add("kind", "must be a kind of measurement", show(row.get("kind", "")), place,
                   did_you_mean(row.get("kind", ""), KINDS, listed=len(KINDS)))
        return None
    factor = _unit(row, "unit", kind.reading, kind, place, faults)
    value = _number(row, "value", kind, place, faults, BASE[kind.reading]) * factor
    at = math.nan
    if kind.setting:
        at_factor = _unit(row, "at_unit", kind.setting, kind, place, faults)
        if row.get("at", "") in EMPTY:
            faults.add("at", f"must be given for {kind.name}, the {kind.at}", "", place, f"in a unit of {kind.setting}")
        else:
            at = _number(row, "at", kind, place, faults, BASE[kind.setting]) * at_factor
    elif row.get("at", "") not in EMPTY:
        faults.add("at", f"must not be given for {kind.name}", show(row["at"]), place, "leave the cell empty")
    preload = math.nan
    if row.get("preload_N", "") not in EMPTY:
        if kind.with_preload:
            preload = _number(row, "preload_N", kind, place, faults, "N")
        else:
            rule = f"must not be given for {kind.name}, which it does not change"
            faults.add("preload_N", rule, row["preload_N"], place, "leave the cell empty")
    deviation = max(kind.relative * value, kind.absolute)
    if row.get("sd", "") not in EMPTY:
        deviation = _number(row, "sd", kind, place, faults, BASE[kind.reading]) * factor
    if len(faults.found) > before:
        return None
    return Measurement(line, kind, value, at, preload, deviation, row["unit"], row.get("at_unit", ""))


def _unit(row: Mapping[str, str], column: str, dimension: str, kind: Kind, place: str, faults: Faults) -> float:
    """The factor of a unit to the first of its dimension, nan where it is none."""
    unit, known = row.get(column, ""), UNITS[dimension]
    if unit not in known:
        got = show(unit) if unit not in EMPTY else "an empty cell"
        faults.add(column, f"must be a unit of {dimension} for {kind.name}", got, place, f"give one of {', '.join(known)}")
    return known.get(unit, math.nan)


def _number(row: Mapping[str, str], column: str, kind: Kind, place: str, faults: Faults, unit: str) -> float:
    text = row.get(column, "")
    try:
        value = float(text)
    except ValueError:
        remedy = "fill it in" if text in EMPTY else "write decimals with a point and the unit into its own column"
        faults.add(column, "must be a number", show(text) if text not in EMPTY else "an empty cell", place, remedy)
        return math.nan
    if not math.isfinite(value) or value <= 0:
        direction = "; forwards, reverse and sideways are kinds of their own" if kind.name.startswith("slip") else ""
        faults.add(column, "must be above 0", f"{value:g} {row.get('unit', unit) if column != 'preload_N' else unit}", place,
                   f"give the size that was read{direction}")
        return math.nan
    return value


def contradictions(measured: list[Measurement], faults: Faults) -> None:
    """Readings that cannot both be true: a setting that is higher, or the same, with a reading that is much lower."""
    for index, first in enumerate(measured):
        for second in measured[index + 1 :]:
            alike = first.kind is second.kind and _same(first.preload, second.preload)
            if not alike or not (math.isnan(first.at) or first.at > 0):
                continue
            low, high = (first, second) if math.isnan(first.at) or first.at <= second.at else (second, first)
            same = math.isnan(low.at) or math.isclose(low.at, high.at, rel_tol=1e-3)
            falls = low.value > APART * high.value + 2 * (low.deviation + high.deviation)
            rises = same and high.value > APART * low.value + 2 * (low.deviation + high.deviation)
            if falls or rises:
                unit, setting = BASE[first.kind.reading], BASE.get(first.kind.setting, "")
                both = [f"{one.value:.4g} {unit}" + (f" at {one.at:.4g} {setting}" if setting else "") for one in (low, high)]
                rule = "must not contradict each other" + ("" if same else f": more {first.kind.at} gives more")
                where = f"lines {min(first.line, second.line)} and {max(first.line, second.line)}"
                remedy = "measure again, or take one of them out"
                faults.add(f"rows of {first.kind.name}", rule, " and ".join(both), where, remedy)


def _same(one: float, other: float) -> bool:
    return (math.isnan(one) and math.isnan(other)) or math.isclose(one, other, rel_tol=1e-6)
