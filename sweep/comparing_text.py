"""A comparison of fronts as text."""

from __future__ import annotations

import numpy as np
from rich.console import Console

from sweep.columns import described
from sweep.comparing import PART_NAMES, Comparison
from sweep.front import OBJECTIVES, knee
from sweep.front_table import NAMES, SHORT, head
from sweep.show import heading, number, point, sentence, table

SAME, NOBODY = "even", "-"


def letters(comparison: Comparison) -> list[str]:
    """A short sign for each front: A, B, C, ..."""
    return [chr(ord("A") + i) if i < 26 else f"#{i + 1}" for i in range(len(comparison.fronts))]


def share(value: float) -> str:
    """A share in percent.

    >>> share(0.5), share(0.004), share(0.0)
    ('50 %', '<1 %', '0 %')
    """
    return "<1 %" if 0 < value < 0.005 else f"{100 * value:.0f} %"


def show_comparison(comparison: Comparison, out: Console) -> None:
    """Everything on a console."""
    signs = letters(comparison)
    out.print("Fronts")
    rows = []
    for k, (sign, front) in enumerate(zip(signs, comparison.fronts, strict=True)):
        rows.append([sign, front.name, str(len(front.designs)), str(int(comparison.on_common_front[k])),
                     share(float(comparison.hypervolume[k])), share(float(comparison.alone[k]))])  # fmt: skip
    out.print(table(["", "front", ("designs", "right"), ("on the\ncommon front", "right"), ("hyper-\nvolume", "right"),
                     ("lost\nwithout it", "right")], rows))  # fmt: skip
    sentence(out, f"Hypervolume between common bounds, of the box from the best to a tenth beyond the worst of all fronts; all "
                  f"together {share(comparison.hypervolume_together)}. Lost without it: the part of that which only this front "
                  "holds.")  # fmt: skip
    heading(out, "Coverage: designs of the column that some design of the row is no worse than")
    rows = [
        [sign, *("" if i == j else share(float(value)) for j, value in enumerate(comparison.coverage[i]))]
        for i, sign in enumerate(signs)
    ]
    out.print(table(["", *((sign, "right") for sign in signs)], rows))
    heading(out, "Best of each objective, and the knee")
    rows = []
    for sign, front in zip(signs, comparison.fronts, strict=True):
        best = front.designs[NAMES].agg({o.name: "max" if o.maximise else "min" for o in OBJECTIVES})
        own = front.designs.iloc[knee(front.designs)]
        rows.append([f"{sign} best", *(number(float(best[name])) for name in NAMES)])
        rows.append([f"{sign} knee", *(number(float(own[name])) for name in NAMES)])
    out.print(table(["", *((head(name), "right") for name in NAMES)], rows))
    _who_wins(comparison, signs, out)
    if comparison.cautions:
        heading(out, "Cautions")
        for text in comparison.cautions:
            point(out, text)


def _who_wins(comparison: Comparison, signs: list[str], out: Console) -> None:
    heading(out, "Who wins where: most hypervolume in the other objectives, by thirds of an objective's common range")
    rows = []
    for k, objective in enumerate(OBJECTIVES):
        sense = -1.0 if objective.maximise else 1.0
        edges = sense * np.linspace(comparison.ideal[k], comparison.nadir[k], len(PART_NAMES) + 1)
        unit, _ = described(objective.name)
        cells = [f"{SHORT[objective.name]} {f'[{unit}]' if unit != '1' else ''}".strip()]
        for part in range(len(PART_NAMES)):
            shares = comparison.thirds[k, part]
            winner = comparison.winner(k, part)
            who = signs[winner] if winner is not None else SAME if shares.any() else NOBODY
            told = " / ".join(share(float(value)) for value in shares)
            cells.append(f"{who}   {number(float(edges[part]))} to {number(float(edges[part + 1]))}\n{told}")
        rows.append(cells)
    out.print(table(["", *PART_NAMES], rows))
    sentence(out, f"Second lines: hypervolume of {' / '.join(signs)} there. {NOBODY}: no design of any front.")
    heading(out, "Who has the best design, over weightings of the five objectives")
    names = [*(f"{SHORT[name]} weighs most" for name in NAMES), "all weightings"]
    rows = [[name, *(share(float(value)) for value in row)] for name, row in zip(names, comparison.weightings, strict=True)]
    out.print(table(["", *((sign, "right") for sign in signs)], rows))
