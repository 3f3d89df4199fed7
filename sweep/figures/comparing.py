"""Fronts of several studies in one picture: objectives in pairs, and who wins where."""

from __future__ import annotations

import html
import io
from typing import Any

from sweep.columns import described
from sweep.comparing import PART_NAMES, Comparison
from sweep.comparing_text import letters, share, show_comparison
from sweep.front import OBJECTIVES, knee
from sweep.front_table import SHORT
from sweep.show import console

#: told apart by the colour-blind (Okabe and Ito), by shape as well
COLOURS = ("#0072b2", "#d55e00", "#009e73", "#cc79a7", "#e69f00", "#56b4e9")
MARKS = ("o", "^", "s", "D", "v", "P")
GREY = "#8a8a8a"
#: pairs of objectives that are drawn against each other: across, up
PAIRS = (
    ("mass_kg", "torque_capacity_Nm"), ("mass_kg", "slip_margin"), ("friction_loss_W", "torque_capacity_Nm"),
    ("friction_loss_W", "slip_margin"), ("printability", "torque_capacity_Nm"),
)  # fmt: skip
PAGE = """<!DOCTYPE html>
<html lang="en">
<head>
<meta charset="utf-8">
<title>{title}</title>
<style>
body {{ font: 16px/1.5 system-ui, sans-serif; margin: 2rem auto; max-width: 70rem; padding: 0 1rem; color: #1a1a1a;
  background: #fff; }}
svg {{ width: 100%; height: auto; }}
pre {{ font-size: 13px; line-height: 1.4; overflow-x: auto; }}
</style>
</head>
<body>
<h1>{title}</h1>
<figure role="img" aria-label="Designs of each front in five pairs of objectives, and who wins in which third of their ranges">
{drawing}
</figure>
<h2>In numbers</h2>
<pre>{text}</pre>
</body>
</html>
"""
#: inches
SIZE = (10.5, 7.0)


def label(name: str) -> str:
    """An objective's short name with its unit.

    >>> label("mass_kg"), label("slip_margin")
    ('mass [kg]', 'slip margin')
    """
    unit, _ = described(name)
    return SHORT[name] + (f" [{unit}]" if unit != "1" else "")


def comparing_figure(comparison: Comparison) -> Any:
    """The picture, a matplotlib Figure: a cloud of designs for each front in five pairs of objectives, and the thirds."""
    from matplotlib.figure import Figure

    figure = Figure(figsize=SIZE, layout="constrained")
    axes = figure.subplots(2, 3)
    for axis, (across, up) in zip(axes.flat, PAIRS, strict=False):
        for k, front in enumerate(comparison.fronts):
            colour, mark = COLOURS[k % len(COLOURS)], MARKS[k % len(MARKS)]
            designs, own = front.designs, front.designs.iloc[knee(front.designs)]
            axis.scatter(designs[across], designs[up], s=9, marker=mark, facecolor="none", edgecolor=colour, linewidth=0.5,
                         alpha=0.55, rasterized=len(designs) > 500)  # fmt: skip
            axis.scatter([own[across]], [own[up]], s=80, marker=mark, facecolor=colour, edgecolor="black", zorder=3)
        axis.set_xlabel(label(across))
        axis.set_ylabel(label(up))
        axis.grid(color="#e4e4e4", linewidth=0.6)
        axis.set_axisbelow(True)
        for side in ("top", "right"):
            axis.spines[side].set_visible(False)
    _thirds(axes.flat[-1], comparison)
    signs = letters(comparison)
    handles = [
        axes.flat[0].scatter([], [], marker=MARKS[k % len(MARKS)], s=50, facecolor=COLOURS[k % len(COLOURS)], edgecolor="black",
                             label=f"{sign}  {front.name}")
        for k, (sign, front) in enumerate(zip(signs, comparison.fronts, strict=True))
    ]  # fmt: skip
    figure.legend(handles=handles, loc="outside upper center", ncols=min(len(handles), 3), frameon=False,
                  title="Designs of each front; the large mark is its knee")  # fmt: skip
    return figure


def _thirds(axis: Any, comparison: Comparison) -> None:
    """Who holds most in each third of each objective's range: a field of letters."""
    signs = letters(comparison)
    for k in range(len(OBJECTIVES)):
        for part in range(len(PART_NAMES)):
            shares, winner = comparison.thirds[k, part], comparison.winner(k, part)
            colour = COLOURS[winner % len(COLOURS)] if winner is not None else GREY
            total = float(shares.sum())
            strength = 0.15 + 0.55 * (float(shares.max()) / total if total > 0 else 0.0)
            axis.add_patch(_box(part, k, colour, strength if total > 0 else 0.05))
            sign = signs[winner] if winner is not None else "even" if total > 0 else "-"
            axis.text(part, k - 0.08, sign, ha="center", va="center", fontsize=11, fontweight="bold")
            told = " / ".join(share(float(value)) for value in shares)
            axis.text(part, k + 0.26, told, ha="center", va="center", fontsize=6.5)
    axis.set_xlim(-0.5, len(PART_NAMES) - 0.5)
    axis.set_ylim(len(OBJECTIVES) - 0.5, -0.5)
    axis.set_xticks(range(len(PART_NAMES)), [name.replace(" ", "\n") for name in PART_NAMES])
    axis.set_yticks(range(len(OBJECTIVES)), [SHORT[objective.name] for objective in OBJECTIVES])
    axis.set_title("Most hypervolume in the other objectives,\nby thirds of an objective's range", fontsize=9)
    axis.tick_params(length=0)
    for spine in axis.spines.values():
        spine.set_visible(False)


def _box(part: int, row: int, colour: str, strength: float) -> Any:
    from matplotlib.patches import Rectangle

    return Rectangle((part - 0.48, row - 0.46), 0.96, 0.92, facecolor=colour, alpha=strength, edgecolor="none")


def picture(comparison: Comparison, ending: str) -> bytes:
    """The figure as a file: png, svg or pdf, the same bytes for the same fronts."""
    import matplotlib

    stream = io.BytesIO()
    metadata = {"svg": {"Date": None, "Creator": None}, "pdf": {"CreationDate": None, "Producer": None, "Creator": None}}
    with matplotlib.rc_context({"svg.hashsalt": "wheelfront", "font.family": "DejaVu Sans", "font.size": 8.5}):
        figure = comparing_figure(comparison)
        figure.savefig(stream, format=ending, dpi=160, metadata=metadata.get(ending, {"Software": None}))
    return stream.getvalue()



def page(comparison: Comparison) -> str:
    """The comparison as a page of its own: the picture within, and all tables as text."""
    drawing = picture(comparison, "svg").decode()
    drawing = drawing[drawing.index("<svg") :]
    told = io.StringIO()
    show_comparison(comparison, console(told))
    names = " and ".join(comparison.names)
    return PAGE.format(title=html.escape(f"{names}: fronts compared"), drawing=drawing, text=html.escape(told.getvalue()))
