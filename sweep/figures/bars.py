"""Bars: losses by name, room in each constraint, what a small step of each variable does to each objective."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any

from sweep.columns import described
from sweep.figures.style import THEMES, dress, new_figure, plain_settings, svg
from sweep.front import OBJECTIVES
from sweep.front_table import SHORT
from sweep.sensitivity import Step
from sweep.show import number, quantity, signed
from sweep.slacks import Room

#: room, in shortfalls that count as one, at which a bar is full
FULL = 3.0
#: constraints that are drawn, variables that are drawn
MOST_ROOMS, MOST_MOVERS = 16, 12


def draw_losses(
    axes: Any, losses: Mapping[str, float], theme: dict[str, str], baseline: Mapping[str, float] | None = None
) -> None:
    """Losses [W] by name, the largest first; the baseline as a diamond on each bar."""
    known = {name: value for name, value in losses.items() if math.isfinite(value)}
    ranked = sorted(known.items(), key=lambda item: -item[1])
    total = math.fsum(known.values())
    at = range(len(ranked))
    axes.barh(at, [value for _, value in ranked], height=0.62, color=theme["design"], gid="losses")
    others = [] if baseline is None else [baseline.get(name, math.nan) for name, _ in ranked]
    if others:
        axes.plot(others, list(at), "D", ms=4.5, mfc=theme["paper"], mec=theme["baseline"], mew=1.3, ls="none",
                  label="baseline", gid="baseline")  # fmt: skip
        axes.legend(frameon=False, loc="lower right", labelcolor=theme["ink"])
    reach = max([value for _, value in ranked] + [value for value in others if math.isfinite(value)], default=1.0) or 1.0
    for k, (_, value) in enumerate(ranked):
        end = max(value, others[k]) if others and math.isfinite(others[k]) else value
        axes.text(end + 0.05 * reach, k, f"{number(value)} W, {100 * value / max(total, 1e-12):.0f} %", va="center",
                  color=theme["ink"], fontsize=7)  # fmt: skip
    axes.set_yticks(list(at), [name.replace("_", " ") for name, _ in ranked])
    axes.set_xlim(0, reach * 1.4)
    axes.invert_yaxis()
    whole = quantity(total, "W") if len(known) == len(losses) and losses else "not known"
    dress(axes, theme, f"Losses over the duty: {whole}")
    _bare(axes)


def draw_slack(axes: Any, rooms: Sequence[Room], theme: dict[str, str], most: int = MOST_ROOMS) -> None:
    """Room in each constraint over its scale, the tightest first; broken ones hatched, to the left."""
    shown = [room for room in rooms if not math.isnan(room.slack)][:most]
    relative = [max(min(room.relative, FULL), -FULL) for room in shown]
    for k, (room, value) in enumerate(zip(shown, relative, strict=True)):
        held = room.slack >= 0
        axes.barh(k, value, height=0.62, color=theme["design"] if held else "none", hatch="" if held else "////",
                  ec=theme["design"] if held else theme["baseline"], lw=0.8)  # fmt: skip
        word = quantity(room.slack, room.unit) + ("" if held else ", BROKEN")
        axes.text(max(value, 0) + 0.06, k, word, va="center", color=theme["ink"], fontsize=7)
    axes.set_yticks(range(len(shown)), [room.name.replace("_", " ") for room in shown])
    axes.axvline(0, color=theme["ink"], lw=0.8)
    axes.set_xlim(min([0.0, *relative]) - 0.05, FULL * 1.35)
    axes.invert_yaxis()
    untold = sum(math.isnan(room.slack) for room in rooms)
    more = len(rooms) - untold - len(shown)
    ends = [f"{more} more have more" if more else "", f"{untold} not known" if untold else ""]
    axes.set_xticks([tick for tick in range(-3, 4) if tick >= min([0.0, *relative]) - 0.05])
    axes.set_xlabel("; ".join(["room, in units of its scale", *filter(None, ends)]))
    dress(axes, theme, "Constraints, tightest first")


def draw_moves(panels: Sequence[Any], steps: Sequence[Step], theme: dict[str, str], most: int = MOST_MOVERS) -> None:
    """A panel for each objective: its change by a small step up (full) and down (open) of each variable, as better or worse."""
    numeric = [step for step in steps if not math.isnan(step.change)]
    largest = {
        entry.name: max((abs(step.objectives[entry.name]) for step in numeric if math.isfinite(step.objectives[entry.name])),
                        default=0.0) or 1.0
        for entry in OBJECTIVES
    }  # fmt: skip
    strength: dict[str, float] = {}
    for step in numeric:
        parts = [abs(step.objectives[name]) / size for name, size in largest.items() if math.isfinite(step.objectives[name])]
        strength[step.variable] = max([strength.get(step.variable, 0.0), *parts])
    names = sorted(strength, key=lambda name: -strength[name])[:most]
    for panel, entry in zip(panels, OBJECTIVES, strict=True):
        for k, name in enumerate(names):
            for step in numeric:
                change = step.gain(entry.name)
                if step.variable != name or not math.isfinite(change):
                    continue
                rises = step.change > 0
                panel.barh(k + (-0.2 if rises else 0.2), change, height=0.36, fc=theme["design"] if rises else "none",
                           ec=theme["design"], lw=0.7)  # fmt: skip
        unit, _ = described(entry.name)
        panel.axvline(0, color=theme["ink"], lw=0.7)
        panel.set_yticks(range(len(names)), [name.rpartition("_")[0] if _has_unit(name) else name for name in names])
        panel.set_yticklabels([label.get_text().replace("_", " ") for label in panel.get_yticklabels()])
        panel.set_xlim(-1.15 * largest[entry.name], 1.15 * largest[entry.name])
        panel.invert_yaxis()
        reach = largest[entry.name]
        panel.set_xticks([-reach, reach], [signed(-reach, 2), signed(reach, 2)])
        for label, side in zip(panel.get_xticklabels(), ("left", "right"), strict=True):
            label.set_ha(side)
        dress(panel, theme)
        panel.set_xlabel(SHORT[entry.name] + (f" [{unit}]" if unit != "1" else ""), fontsize=7)
        panel.tick_params(labelsize=7)
        panel.spines["left"].set_visible(False)
        panel.tick_params(axis="y", length=0, labelleft=panel is panels[0])


def losses_figure(losses: Mapping[str, float], theme: str = "light", baseline: Mapping[str, float] | None = None) -> Any:
    """Losses [W] as bars, a matplotlib Figure."""
    with plain_settings():
        figure = new_figure(120.0, 12.0 + 6.0 * max(len(losses), 2))
        draw_losses(figure.subplots(), losses, THEMES[theme], baseline)
        return figure


def losses_svg(losses: Mapping[str, float], theme: str = "light", baseline: Mapping[str, float] | None = None,
               name: str = "losses") -> str:  # fmt: skip
    """Losses as SVG."""
    ranked = sorted(losses.items(), key=lambda item: -item[1])
    told = ", ".join(f"{key.replace('_', ' ')} {quantity(value, 'W')}" for key, value in ranked)
    return svg(losses_figure(losses, theme, baseline), name, f"Losses over the duty: {told}")


def slack_figure(rooms: Sequence[Room], theme: str = "light", most: int = MOST_ROOMS) -> Any:
    """Room in the constraints as bars, a matplotlib Figure."""
    with plain_settings():
        figure = new_figure(120.0, 16.0 + 5.2 * max(min(len(rooms), most), 2))
        draw_slack(figure.subplots(), rooms, THEMES[theme], most)
        return figure


def slack_svg(rooms: Sequence[Room], theme: str = "light", most: int = MOST_ROOMS, name: str = "slack") -> str:
    """Room in the constraints as SVG."""
    told = ", ".join(f"{room.name.replace('_', ' ')} {quantity(room.slack, room.unit)}" for room in rooms[:5])
    return svg(slack_figure(rooms, theme, most), name, f"Room in the constraints, tightest first: {told}")


def moves_figure(steps: Sequence[Step], theme: str = "light", most: int = MOST_MOVERS) -> Any:
    """What small steps do, a matplotlib Figure with a panel for each objective."""
    with plain_settings():
        figure = new_figure(190.0, 78.0)
        draw_moves(list(figure.subplots(1, len(OBJECTIVES))), steps, THEMES[theme], most)
        figure.suptitle(MOVES_TITLE, x=0.01, ha="left", color=THEMES[theme]["ink"], fontsize=9, fontweight="bold")
        return figure


def moves_svg(steps: Sequence[Step], theme: str = "light", most: int = MOST_MOVERS, name: str = "moves") -> str:
    """What small steps do as SVG."""
    return svg(moves_figure(steps, theme, most), name, f"{MOVES_TITLE}. The numbers stand in the table of steps")


MOVES_TITLE = "A small step of each variable, up (full) and down (open): to the right is better"


def _has_unit(name: str) -> bool:
    return name.rpartition("_")[2] in ("mm", "deg", "N")


def _bare(axes: Any) -> None:
    axes.xaxis.set_visible(False)
    axes.spines["bottom"].set_visible(False)
    axes.tick_params(axis="y", length=0)
