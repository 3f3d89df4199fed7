"""Reading tables of designs (CSV or Parquet): all variables as columns, one wheel a row."""

from __future__ import annotations

import csv
import io
import os
from collections.abc import Sequence
from pathlib import Path

import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.parquet as pq

from objectives.scoring import COLUMNS
from objectives.variables import INTEGER, VARIABLE, VARIABLES, Variable
from sweep.errors import BadInput, Fault, did_you_mean
from sweep.meaning import broken_rule
from sweep.reading import Faults, read_bytes, read_text, show
from sweep.space import PLAIN, TYRE_THICKNESS
from sweep.study import Study

SHOWN = 20
WHAT = "table of designs"
#: starts and ends of names of output columns that depend on what was run
OUTPUT_STARTS = ("slack_", "loss_", "drive_limit_", "motor_limit_")
OUTPUT_ENDS = ("_p05", "_p95")
OUTPUTS = {"design", "share_holding", "island", "epoch", "front", "changes", "changed", "reprint", "also_new"}


def read_designs(path: str | os.PathLike[str], study: Study) -> pd.DataFrame:
    """Designs of a file, all variables as columns. Raises BadInput with every fault found, 20 of them printed.

    Columns that the study fixes may be left out; output columns of earlier results are passed over.
    """
    ending = Path(path).suffix.lower()
    if ending == ".csv":
        names, columns, rows = _read_csv(path)
    elif ending in (".parquet", ".pq"):
        names, columns, rows = _read_parquet(path)
    else:
        raise BadInput([Fault(WHAT, "must end in .csv or .parquet", repr(ending), str(path), "save it as one of them")])
    faults = Faults(str(path))
    _check_names(names, study, faults)
    given = dict(zip(names, columns, strict=True))
    checked = {}
    for variable in VARIABLES:
        if variable.name in given:
            checked[variable.name] = _check_column(variable, given, rows, study, faults)
        elif study.space.domains[variable.name].fixed:
            checked[variable.name] = [study.space.domains[variable.name].value] * len(rows)
        elif variable.name == TYRE_THICKNESS and all(value == PLAIN for value in given.get("bore", [None])):
            checked[variable.name] = [study.space.domains[TYRE_THICKNESS].least] * len(rows)
        else:
            faults.add(variable.name, "must be a column, the study does not fix it", remedy=f"add the column {variable.name}")
    faults.raise_if_any(SHOWN)
    return _table(checked, study)


def baseline_designs(study: Study) -> pd.DataFrame | None:
    """The study's baseline as a table of one row, None where it has none."""
    if study.baseline is None:
        return None
    return _table({name: [value] for name, value in study.baseline.items()}, study)


def _table(columns: dict[str, list[object]], study: Study) -> pd.DataFrame:
    return study.space.canonical(pd.DataFrame({v.name: _typed(v, columns[v.name]) for v in VARIABLES}))


def _check_names(names: Sequence[str], study: Study, faults: Faults) -> None:
    outputs = OUTPUTS | set(COLUMNS)
    for i, name in enumerate(names):
        if name in names[:i]:
            faults.add(show(name), "must not be a column twice", remedy="leave one of them out")
        elif not name:
            faults.add(f"column {i + 1}", "must have a name", remedy="name it, or write the table without its index")
        elif name not in VARIABLE and name not in outputs and not _depends_on_run(name):
            faults.add(show(name), "is not a design variable", remedy=did_you_mean(name, VARIABLE, listed=0))


def _depends_on_run(name: str) -> bool:
    return name.startswith(OUTPUT_STARTS) or name.endswith(OUTPUT_ENDS)


def _check_column(
    variable: Variable, given: dict[str, Sequence[object]], rows: Sequence[str], study: Study, faults: Faults
) -> list[object]:
    values: list[object] = []
    catalogue = study.scenario.catalogue
    seen: dict[object, tuple[str, str]] = {}
    for i, (value, row) in enumerate(zip(given[variable.name], rows, strict=True)):
        if variable.name == TYRE_THICKNESS and "bore" in given and given["bore"][i] == PLAIN and _missing(value):
            value = study.space.domains[TYRE_THICKNESS].least
        value = _as_number(value) if not variable.names else value
        if _missing(value):
            faults.add(variable.name, "must be given", "an empty cell", row, "fill it in")
        else:
            key = (type(value), value) if isinstance(value, str | int | float) else repr(value)
            if key not in seen:
                seen[key] = broken_rule(variable, value, catalogue)
            rule, remedy = seen[key]
            if rule:
                faults.add(variable.name, rule, show(value), row, remedy)
        values.append(value)
    return values


def _missing(value: object) -> bool:
    return value is None or value == "" or value is pd.NA


def _as_number(value: object) -> object:
    """A number from the text of a cell; what is no number stays as it is, for the rule to name."""
    if isinstance(value, np.generic):
        value = value.item()
    if isinstance(value, str) and value:
        try:
            return float(value)
        except ValueError:
            return value
    return value


def _typed(variable: Variable, values: list[object]) -> np.ndarray:
    if variable.kind == INTEGER:
        return np.array([int(value) for value in values], dtype=np.int64)  # type: ignore[call-overload]
    return np.array(values, dtype=object if variable.names else float)


Cells = tuple[list[str], list[Sequence[object]], list[str]]


def _read_csv(path: str | os.PathLike[str]) -> Cells:
    """Column names, columns of text, and what to call each row: the line that it ends on in the file."""
    reader = csv.reader(io.StringIO(read_text(path, WHAT), newline=""), strict=True)
    faults = Faults(str(path))
    cells, lines = [], []
    try:
        names = [name.strip() for name in next(reader)]
        for row in reader:
            if not any(cell.strip() for cell in row):
                continue
            if len(row) != len(names):
                faults.add("row", f"must have {len(names)} cells like the header", str(len(row)), f"line {reader.line_num}",
                           "separate cells with commas and quote those that hold one")
                continue
            cells.append([cell.strip() for cell in row])
            lines.append(f"line {reader.line_num}")
    except csv.Error as error:
        faults.add(WHAT, f"must be CSV: {error}", "", f"line {reader.line_num}", "separate cells with commas")
    if not faults.found and not cells:
        faults.add(WHAT, "must have at least one row under its header", "none", remedy="add a row for each design")
    faults.raise_if_any(SHOWN)
    return names, [[row[i] for row in cells] for i in range(len(names))], lines


def _read_parquet(path: str | os.PathLike[str]) -> Cells:
    content = read_bytes(path, WHAT)
    try:
        # without threads: one that lets go of a Python object late aborts the process as it ends
        table = pq.ParquetFile(pa.BufferReader(content), pre_buffer=False).read(use_threads=False)
        columns = [table.column(i).to_pylist() for i in range(table.num_columns)]
    except (pa.ArrowException, OSError, ValueError) as error:
        rule = f"must be Parquet: {_first_line(error)}"
        raise BadInput([Fault(WHAT, rule, "", str(path), "is it the right file?")]) from error
    if not table.num_rows:
        raise BadInput([Fault(WHAT, "must have at least one row", "none", str(path), "add a row for each design")])
    return list(table.column_names), columns, [f"row {i + 1}" for i in range(table.num_rows)]


def _first_line(error: Exception) -> str:
    return (str(error).splitlines() or [type(error).__name__])[0]
