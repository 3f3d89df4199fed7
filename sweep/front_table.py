"""Designs as tables: what a front offers, how it compares with the baseline, and how given designs score."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
import pandas as pd
from rich.console import Console

from objectives.scenario import Scenario
from sweep.columns import HOLDING, described
from sweep.errors import BadInput, Fault, did_you_mean
from sweep.front import OBJECTIVES, against_baseline, extremes, knee, where
from sweep.show import BETTER, SAME, WORSE, against, heading, number, sentence, table
from sweep.slacks import START, rooms
from sweep.uncertainty import base_of

#: what a table's head calls an objective; its unit follows from the column
SHORT = {
    "torque_capacity_Nm": "torque",
    "slip_margin": "slip margin",
    "friction_loss_W": "loss",
    "mass_kg": "mass",
    "printability": "printability",
}
HEADS = SHORT | {"slip_margin": "slip\nmargin", "printability": "print-\nability"}
NAMES = [objective.name for objective in OBJECTIVES]
BASELINE, KNEE = "baseline", "knee"


def head(column: str) -> str:
    """What stands over a column: for an objective a short name and the unit it has, in two lines, else its name.

    >>> head("friction_loss_W").split("\\n"), head("slip_margin").split("\\n"), head("bore")
    (['loss', '[W]'], ['slip', 'margin'], 'bore')
    """
    unit, _ = described(column)
    return HEADS.get(column, column) + (f"\n[{unit}]" if column in HEADS and unit != "1" else "")


def cell(value: object) -> str:
    """A value of a result table as text."""
    if isinstance(value, bool | np.bool_):
        return "yes" if value else "no"
    if isinstance(value, int | float | np.number):
        return number(float(value))
    return str(value)


def landmarks(front: pd.DataFrame) -> dict[str, int]:
    """Rows of a front that stand out: the best of each objective and the knee, by what to call them."""
    best = {f"best {SHORT[name]}": row for name, row in extremes(front).items()}
    return {**best, KNEE: knee(front)}


def best_of(front: pd.DataFrame, baseline: Mapping[str, object], ids: Sequence[str]) -> str:
    """Of designs that are better than a baseline, the one whose gains, each as a share of the largest, add up to most."""
    gains = against_baseline(front, baseline).gains
    largest = gains.max().where(lambda gain: (gain > 0) & np.isfinite(gain), 1.0)
    total = (gains.loc[list(ids)] / largest).clip(upper=1.0).sum(axis=1)
    return str(total.index[np.lexsort((total.index.to_numpy(dtype=str), -total.to_numpy()))[0]])


def show_front(front: pd.DataFrame, baseline: pd.Series | None, title: str, out: Console) -> None:
    """Extremes and knee of a front, and how they stand against the baseline."""
    out.print(title)
    marks = landmarks(front)
    rows = [] if baseline is None else [_compared(BASELINE, baseline, None)]
    rows += [_compared(name, front.iloc[row], baseline) for name, row in marks.items()]
    heading(out, "Best of each objective, and the knee where giving up a little gains most")
    out.print(table(["", *((head(name), "right") for name in NAMES)], rows))
    if baseline is None:
        sentence(out, "The study has no [baseline] to compare with.")
        return
    sentence(out, f"Second lines: difference to the baseline, {BETTER} better, {WORSE} worse, {SAME} the same.")
    heading(out, "Against the baseline")
    sentence(out, baseline_words(front, baseline))
    ids = against_baseline(front, baseline).better_in_all
    if ids:
        chosen = best_of(front, baseline, ids)
        row = front.iloc[int(np.flatnonzero(front["design"].to_numpy() == chosen)[0])]
        out.print(table(["", *((head(name), "right") for name in NAMES)], [_compared("best of those", row, baseline)]))


def baseline_words(front: pd.DataFrame, baseline: pd.Series) -> str:
    """How many designs beat the baseline, in words."""
    missing = [name for name in NAMES if not math.isfinite(float(baseline[name]))]
    if missing:
        why = f" ({baseline['status']})" if baseline.get("status") else ""
        return f"The baseline has no {', '.join(missing)}{why}; any design with that number counts as better in it."
    found = against_baseline(front, baseline)
    better, least, count = len(found.better_in_all), len(found.dominating), len(front)
    text = f"{better or 'None'} of {count} designs {'is' if better < 2 else 'are'} better than the baseline in every objective"
    if least > better:
        text += f"; {least} {'is' if least == 1 else 'are'} no worse in any and better in at least one"
    text += "."
    if found.baseline_on_front:
        text += " No design beats it in everything: as far as these five objectives go it belongs on the front."
    if "feasible" in baseline and not bool(baseline["feasible"]):
        slacks = {str(name).removeprefix(START): baseline[name] for name in baseline.index if str(name).startswith(START)}
        broken = [name for name, slack in slacks.items() if slack < 0]
        text += f" The baseline itself is not feasible: it breaks {', '.join(broken) or 'a limit'}."
    return text


def _compared(name: str, design: pd.Series, baseline: pd.Series | None) -> list[str]:
    """A row: name over id, and each objective over its difference to the baseline."""
    cells = [f"{name}\n{design['design']}"]
    for objective in OBJECTIVES:
        value = float(design[objective.name])
        second = "" if baseline is None else f"\n{against(value, float(baseline[objective.name]), objective.maximise)}"
        cells.append(f"{number(value)}{second}")
    return cells


def front_json(front: pd.DataFrame, baseline: pd.Series | None) -> dict[str, Any]:
    """Extremes, knee and the comparison with the baseline as one JSON document."""
    found: dict[str, Any] = {"designs": len(front), "extremes": {}, "knee": None, "baseline": None}
    found["extremes"] = {name: _record(front.iloc[row]) for name, row in extremes(front).items()}
    found["knee"] = _record(front.iloc[knee(front)])
    if baseline is not None:
        compared = against_baseline(front, baseline)
        ids = compared.better_in_all
        found["baseline"] = _record(baseline) | {
            "better_in_all": list(ids),
            "dominating": list(compared.dominating),
            "on_front": compared.baseline_on_front,
            "best_gain": dict(compared.best_gain),
            "best_of_better": best_of(front, baseline, ids) if ids else None,
        }
    return found


def records(designs: pd.DataFrame) -> list[dict[str, Any]]:
    """All columns of all designs, for JSON."""
    return [dict(zip(map(str, designs.columns), row, strict=True)) for row in designs.itertuples(index=False, name=None)]


def _record(design: pd.Series) -> dict[str, Any]:
    return {str(name): value for name, value in design.items()}


def rows_asked(front: pd.DataFrame, expression: str | None, sort: str | None, top: int | None) -> pd.DataFrame:
    """Rows of a front for which an expression holds, in the order of ``sorted_by``, the first so many. Raises BadInput."""
    if expression is not None:
        front = front[where(front, expression)]
    if sort is not None:
        front = sorted_by(front, sort)
    return front if top is None else front.head(top)


def sorted_by(front: pd.DataFrame, column: str) -> pd.DataFrame:
    """A front with its best first by an objective, its percentile, or the share that holds; else the lowest; then by design."""
    if column not in front.columns:
        raise BadInput([Fault(column, "is not a column", "", "--sort", did_you_mean(column, map(str, front.columns)))])
    descending = base_of(column) in [HOLDING, *(objective.name for objective in OBJECTIVES if objective.maximise)]
    return front.sort_values([column, "design"], ascending=[not descending, True], kind="stable")


def show_designs(designs: pd.DataFrame, extra: Sequence[str], out: Console) -> None:
    """Objectives of designs, and the columns asked about."""
    columns = [*NAMES, *(name for name in extra if name not in NAMES and name != "design")]
    heads: list[str | tuple[str, str]] = ["design"]
    for name in columns:
        numeric = pd.api.types.is_numeric_dtype(designs[name]) and not pd.api.types.is_bool_dtype(designs[name])
        heads.append((head(name), "right") if numeric else head(name))
    rows = [[row["design"], *(cell(row[name]) for name in columns)] for _, row in designs.iterrows()]
    out.print(table(heads, rows))


def show_scores(designs: pd.DataFrame, scenario: Scenario, out: Console) -> None:
    """Scored designs: objectives, whether feasible, the tightest constraint, what is missing."""
    rows = []
    for _, design in designs.iterrows():
        feasible = "yes" if bool(design["feasible"]) else "no"
        status = str(design.get("status", "") or "")
        tight = rooms(design, scenario)
        last = status.replace(";", "; ") or (str(tight[0]) if tight else "")
        rows.append([str(design["design"]), *(number(float(design[name])) for name in NAMES), feasible, last])
    out.print(table(["design", *((head(name), "right") for name in NAMES), "feasible", "least room"], rows))

