"""Grip: the limit of each direction along a pass with the load cases, limits over the directions, and the motors over them."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any, NamedTuple

import numpy as np

from sweep.around import Pass, Ring
from sweep.figures.style import THEMES, dress, new_figure, plain_settings, svg
from sweep.show import number

#: line styles of the directions: told apart without colour
STYLES = {
    "forward": ("design", "-", 2.0), "reverse": ("design", "--", 2.0), "sideways": ("ink", "-", 1.4),
    "forward diagonal": ("soft", "-.", 1.4), "reverse diagonal": ("soft", ":", 1.6),
}  # fmt: skip
MARKS = {"forward": "^", "reverse": "v", "sideways": ">", "forward diagonal": "o", "reverse diagonal": "s"}


class Asked(NamedTuple):
    """A load case as it is drawn: the name of its direction as in the passes, its angle [rad], the force [N]."""

    name: str
    direction: str
    angle: float
    force: float


def draw_grip(axes: Any, passes: Sequence[Pass], cases: Sequence[Asked], theme: dict[str, str]) -> None:
    """Limit along a pass, one line a direction; at the right edge a mark for each force that is asked there."""
    lowest, highest = math.inf, 0.0
    ends: list[tuple[float, str, str]] = []
    for one in passes:
        colour, style, width = STYLES[one.direction]
        axes.plot(one.share, one.force, ls=style, lw=width, color=theme[colour], gid=one.direction, label=one.direction)
        known = one.force[np.isfinite(one.force)]
        if len(known):
            lowest, highest = min(lowest, float(known.min())), max(highest, float(known.max()))
            ends.append((float(known[-1]), one.direction, theme[colour]))
    for case in cases:
        if case.direction in STYLES:
            axes.plot([1.04], [case.force], MARKS[case.direction], ms=4.5, mfc="none", mec=theme["baseline"], mew=1.1,
                      gid="case")  # fmt: skip
            lowest, highest = min(lowest, case.force), max(highest, case.force)
    axes.set_xlim(0, 1.42)
    axes.set_yscale("log")
    if math.isfinite(lowest) and lowest > 0:
        axes.set_ylim(lowest / 1.4, highest * 1.3)
        _labels(axes, ends, lowest / 1.4, highest * 1.3)
    else:
        axes.text(0.5, 0.5, "not known", transform=axes.transAxes, ha="center", color=theme["ink"])
    ticks = [tick for tick in (1, 2, 5, 10, 20, 50, 100, 200, 500, 1000) if lowest / 1.4 <= tick <= highest * 1.3]
    axes.set_yticks(ticks, [str(tick) for tick in ticks])
    axes.minorticks_off()
    axes.grid(axis="y", color=theme["line"], lw=0.5)
    axes.set_xticks([0, 0.5, 1], ["0", "½", "1"])
    axes.set_xlabel("share of a pass: the worst position looked at is in the middle")
    axes.set_ylabel("limit at the floor [N]")
    dress(axes, theme, "Grip as a roller passes; open marks: forces asked")


def draw_polar(axes: Any, ring: Ring, cases: Sequence[Asked], theme: dict[str, str]) -> None:
    """Limits over the direction of drive, forward up: friction, motors, floor, and each force asked."""
    angle = np.radians(ring.direction_deg)
    axes.set_theta_zero_location("N")
    axes.set_theta_direction(-1)
    axes.plot(angle, ring.friction, "-", color=theme["design"], lw=2.0, label="friction, worst", gid="friction")
    axes.plot(angle, ring.motor, "--", color=theme["ink"], lw=1.2, label="motors", gid="motor")
    axes.plot(angle, np.full_like(angle, ring.floor), ":", color=theme["soft"], lw=1.5, label="floor", gid="floor")
    for k, case in enumerate(cases):
        axes.plot([case.angle], [case.force], MARKS.get(case.direction, "o"), ms=4, mfc="none", mec=theme["baseline"], mew=1.1,
                  label="asked" if k == 0 else None, gid="case")  # fmt: skip
    known = ring.friction[np.isfinite(ring.friction)]
    top = 1.1 * max([ring.floor, *known, *(case.force for case in cases)])
    axes.set_ylim(0, top)
    axes.set_xticks(np.radians([0, 45, 90, 135, 180, 225, 270, 315]),
                    ["forward", "", "right", "", "reverse", "", "left", ""])  # fmt: skip
    axes.set_facecolor("none")
    axes.grid(color=theme["line"], lw=0.5)
    axes.spines["polar"].set_color(theme["line"])
    axes.tick_params(labelcolor=theme["ink"], labelsize=7, pad=1)
    axes.set_rlabel_position(68)
    axes.yaxis.set_major_locator(_few())
    axes.set_title("Limits over the direction [N]", color=theme["ink"], pad=12, loc="center")
    axes.legend(frameon=False, loc="upper center", bbox_to_anchor=(0.5, -0.12), ncols=2, labelcolor=theme["ink"], fontsize=7)


def draw_motors(panels: Sequence[Any], ring: Ring, theme: dict[str, str]) -> None:
    """Speed, torque and current of the left and the right motor over the direction of drive."""
    kinds = (("speed [1/min]", ring.speed), ("torque [N m]", ring.torque), ("current [A]", ring.current))
    for panel, (name, values) in zip(panels, kinds, strict=True):
        panel.axhline(0, color=theme["soft"], lw=0.6)
        for side, (word, colour, style) in enumerate((("left", "design", "-"), ("right", "ink", "--"))):
            panel.plot(ring.direction_deg, values[:, side], style, color=theme[colour], lw=1.5, label=word, gid=word)
        panel.set_xticks([0, 90, 180, 270, 360], ["fwd", "right", "rev", "left", "fwd"])
        panel.set_xlim(0, 360)
        panel.grid(axis="x", color=theme["line"], lw=0.5)
        dress(panel, theme, name)
        panel.tick_params(labelsize=7)
    panels[-1].legend(frameon=False, loc="lower right", bbox_to_anchor=(1.04, 0.98), ncols=2, labelcolor=theme["ink"],
                     fontsize=7, handlelength=1.6, columnspacing=0.8, borderpad=0.1)  # fmt: skip


def grip_figure(passes: Sequence[Pass], cases: Sequence[Asked], theme: str = "light", ring: Ring | None = None) -> Any:
    """Grip along a pass, beside it the limits over the direction where ``ring`` is given; a matplotlib Figure."""
    with plain_settings():
        figure = new_figure(190.0 if ring else 120.0, 82.0)
        if ring is None:
            draw_grip(figure.subplots(), passes, cases, THEMES[theme])
            return figure
        grid = figure.add_gridspec(1, 2, width_ratios=(1.45, 1))
        draw_grip(figure.add_subplot(grid[0]), passes, cases, THEMES[theme])
        draw_polar(figure.add_subplot(grid[1], projection="polar"), ring, cases, THEMES[theme])
        return figure


def grip_svg(passes: Sequence[Pass], cases: Sequence[Asked], theme: str = "light", ring: Ring | None = None,
             name: str = "grip") -> str:  # fmt: skip
    """Grip as SVG."""
    told = ", ".join(f"{one.direction} at least {number(one.worst)} N" for one in passes)
    return svg(grip_figure(passes, cases, theme, ring), name, f"Limit at the floor as a roller passes: {told}")


def motors_figure(ring: Ring, theme: str = "light") -> Any:
    """Both motors over the directions of drive, a matplotlib Figure."""
    with plain_settings():
        figure = new_figure(190.0, 52.0)
        draw_motors(list(figure.subplots(1, 3)), ring, THEMES[theme])
        return figure


def motors_svg(ring: Ring, theme: str = "light", name: str = "motors") -> str:
    """Both motors over the directions as SVG."""
    largest = number(float(np.nanmax(np.abs(ring.torque)))) if np.isfinite(ring.torque).any() else "unknown"
    words = f"Speed, torque and current of both motors over the direction of drive; largest torque {largest} N m"
    return svg(motors_figure(ring, theme), name, words)


def _labels(axes: Any, ends: list[tuple[float, str, str]], low: float, high: float) -> None:
    """Names at the ends of the lines, moved apart where they would cover each other."""
    least = (math.log(high) - math.log(low)) * 0.055
    at = -math.inf
    for value, name, colour in sorted(ends):
        at = max(math.log(value), at + least)
        axes.text(1.08, math.exp(at), f"{MARK_SIGNS[name]} {name}", va="center", color=colour, fontsize=7)


MARK_SIGNS = {"forward": "▲", "reverse": "▼", "sideways": "►", "forward diagonal": "●", "reverse diagonal": "■"}


def _few() -> Any:
    from matplotlib.ticker import MaxNLocator

    return MaxNLocator(4)
