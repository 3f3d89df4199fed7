"""What few changes make of a wheel, as text."""

from __future__ import annotations

import pandas as pd
from rich.console import Console

from sweep.front import OBJECTIVES, extremes
from sweep.front_table import NAMES, SHORT, head
from sweep.show import against, heading, number, sentence, table
from sweep.slacks import broken
from sweep.workshop.improve import COUNT, Improvement

#: designs shown for each number of changes
EACH = 3


def show_improvement(found: Improvement, out: Console) -> None:
    """The start, the best for each number of changes, and what has to be made again for them."""
    start = found.start
    out.print(f"{found.study.name}: from {start['design']}, {found.evaluations} wheels tried at up to {found.changes} changes.")
    if found.kept_parts or found.fixed:
        parts = f"Kept: {', '.join(found.kept_parts)}. " if found.kept_parts else ""
        sentence(out, f"{parts}Variables that stay: {', '.join(sorted(found.fixed)) or 'none'}.")
    own = broken(start, found.study.scenario)
    if not bool(start["feasible"]):
        why = f"it breaks {', '.join(own)}" if own else str(start["status"]) or "a number is missing"
        sentence(out, f"As it is the wheel does not hold: {why}.")
    if not found.feasible:
        _nearest(found, out)
        return
    rest = found.designs[found.designs[COUNT] > 0]
    if not len(rest):
        sentence(out, "No wheel within so many changes is better in anything and holds.")
        return
    shown = _picked(found.designs)
    heading(out, "The wheel as it is, the best in sum for each number of changes, and the best of each objective")
    rows = [[f"as it is\n{start['design']}", "0", *(number(float(start[name])) for name in NAMES)]]
    for name, design in shown:
        cells = [f"{number(float(design[o.name]))}\n{against(float(design[o.name]), float(start[o.name]), o.maximise)}"
                 for o in OBJECTIVES]  # fmt: skip
        rows.append([f"{name}\n{design['design']}", str(design[COUNT]), *cells])
    out.print(table(["", ("changes", "right"), *((head(name), "right") for name in NAMES)], rows))
    heading(out, "What changes, and what has to be made again")
    rows = []
    for _, design in shown:
        reprint = str(design["reprint"]).replace(";", ", ") or "nothing"
        others = str(design["also_new"]).replace(";", ", ") or "nothing"
        rows.append([str(design["design"]), str(design["changed"]).replace("; ", "\n"), reprint, others])
    out.print(table(["design", "change", "print again", "buy or cut anew"], rows))


def _picked(designs: pd.DataFrame) -> list[tuple[str, pd.Series]]:
    """What is shown, by what to call it; each design once."""
    taken: dict[str, tuple[str, pd.Series]] = {}
    for count, group in designs[designs[COUNT] > 0].groupby(COUNT):
        for place, (_, design) in enumerate(group.head(EACH).iterrows()):
            name = f"{count} change{'s' if count != 1 else ''}" + (f", {place + 1}." if place else "")
            taken.setdefault(str(design["design"]), (name, design))
    for name, row in extremes(designs).items():
        design = designs.iloc[row]
        if design[COUNT] > 0:
            taken.setdefault(str(design["design"]), (f"best {SHORT[name]}", design))
    return list(taken.values())


def _nearest(found: Improvement, out: Console) -> None:
    sentence(out, "None of the wheels tried holds. These come nearest:")
    rows = []
    for _, design in found.designs.iterrows():
        lost = broken(design, found.study.scenario)
        why = ", ".join(lost) if lost else str(design["status"])
        changed = str(design["changed"]).replace("; ", "\n")
        rows.append([str(design["design"]), str(design[COUNT]), number(float(design["violation"])), changed, why])
    out.print(table(["design", ("changes", "right"), ("shortfall", "right"), "change", "breaks"], rows))
    sentence(out, "Allow more --changes, keep less, or widen the study's [space].")
