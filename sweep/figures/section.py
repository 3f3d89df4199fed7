"""Section through the shaft and front view of a wheel unit, to scale."""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from sweep.figures.shape import Shape, hub_roller_cut, hub_roller_face, roller_outline, turned
from sweep.figures.style import THEMES, dress, new_figure, plain_settings, svg

#: lengths that a scale bar may have [mm]
BARS = (10.0, 20.0, 50.0, 100.0)
#: mm about a drawing
MARGIN = 12.0


def extents(shape: Shape) -> tuple[float, float, float, float]:
    """Half the width, the lowest and the highest point of the section, and the reach of the front view to a side [mm]."""
    sizes = [shape.half_width, shape.unit_width / 2, shape.hub_roller_offset + shape.hub_roller_length / 2]
    half = max(size for size in sizes if math.isfinite(size))
    motor = shape.centre_distance + max(shape.motor_diameter / 2, shape.pinion_radius)
    side = max(shape.wheel_radius, shape.gear_radius)
    return half, -side, max(side, motor), side


def draw_section(axes: Any, shape: Shape, theme: dict[str, str], scale_bar: bool = True) -> None:
    """Cut through the shaft: motors above, the floor below. Both hubs before closure."""
    half, low, high, _ = extents(shape)
    pen = _Pen(axes, theme)
    for side in (-1, 1):
        pen.box(side, shape.motor_face, shape.motor_length, shape.centre_distance, shape.motor_diameter, face="none",
                style="--", gid="motor")  # fmt: skip
        gear = (shape.gear_offset - shape.gear_width / 2, shape.gear_width)
        pen.box(side, *gear, shape.centre_distance, 2 * shape.pinion_radius, gid="pinion")
        for up in (-1, 1):
            inner, outer = shape.barrel_radius, shape.hub_radius
            pen.box(side, shape.hub_inside, shape.hub_outside - shape.hub_inside, up * (inner + outer) / 2, outer - inner)
            pen.box(side, *gear, up * (shape.gear_radius + inner) / 2, shape.gear_radius - inner, hatch="xxx", gid="gear")
            middle, tall = (shape.shaft / 2 + inner) / 2, inner - shape.shaft / 2
            pen.box(side, shape.barrel_inside, shape.barrel_outside - shape.barrel_inside, up * middle, tall)
            pen.shape(_placed(hub_roller_cut(shape, shape.hub_roller_radius), side, up), "tint", "hub-roller", 3)
            pen.shape(_placed(hub_roller_cut(shape, shape.hub_axle / 2), side, up), "paper", "hub-bolt", 4)
    for up in (-1, 1):
        top = shape.pitch_radius - shape.roller_radius
        pen.box(0, -shape.carrier_thickness / 2, shape.carrier_thickness, up * (top + shape.shaft / 2) / 2,
                top - shape.shaft / 2, hatch="///", gid="carrier")  # fmt: skip
        centre = (0.0, up * shape.pitch_radius)
        pen.circle(centre, shape.roller_radius, "tint", "output-roller")
        if shape.core_radius > 0:
            pen.circle(centre, shape.core_radius, "fill", "core")
        pen.circle(centre, shape.axle / 2, "paper", "axle")
    end = shape.half_width if math.isfinite(shape.half_width) else half
    pen.box(0, -end, 2 * end, 0.0, shape.shaft, face="paper", gid="shaft")
    axes.plot([-half - 4, half + 4], [0, 0], color=theme["soft"], lw=0.6, dashes=(12, 3, 2, 3), zorder=6)
    floor = -shape.wheel_radius
    axes.plot([-half - 4, half + 4], [floor, floor], color=theme["ink"], lw=0.9, zorder=1, gid="floor")
    _across(axes, -half, half, low - 9, f"{2 * half:.0f} mm over all", theme)
    _upright(axes, half + 10, -shape.wheel_radius, shape.wheel_radius, f"Ø {2 * shape.wheel_radius:.1f} mm", theme)
    if scale_bar:
        _scale_bar(axes, -half, low - 24, theme)
    below = 30 if scale_bar else 20
    _finish(axes, (-half - MARGIN, half + 2 * MARGIN), (low - below, high + 6), theme, "Section through the shaft, to scale")


def draw_front(axes: Any, shape: Shape, theme: dict[str, str]) -> None:
    """Seen along the shaft with the near hub's body left away: rollers of the rim, and the hub rollers that drive them."""
    side = max(shape.wheel_radius, shape.gear_radius)
    top = shape.centre_distance + max(shape.motor_diameter / 2, shape.pinion_radius)
    pen = _Pen(axes, theme)
    if math.isfinite(shape.carrier_radius):
        pen.circle((0.0, 0.0), min(shape.carrier_radius, shape.wheel_radius), "fill", "carrier", 1)
    outline = roller_outline(shape) + np.array([0.0, shape.pitch_radius])
    for k in range(shape.rollers):
        pen.shape(turned(outline, math.pi + 2 * math.pi * k / shape.rollers), "tint", "output-roller", 2)
    face = hub_roller_face(shape)
    for k in range(shape.hub_rollers):
        pen.shape(turned(face, math.pi + 2 * math.pi * k / shape.hub_rollers), "paper", "hub-roller", 3)
    pen.circle((0.0, 0.0), shape.gear_radius, "none", "gear", 4, "--")
    pen.circle((0.0, shape.centre_distance), shape.pinion_radius, "none", "pinion", 4, "--")
    pen.circle((0.0, shape.centre_distance), shape.motor_diameter / 2, "none", "motor", 4, ":")
    pen.circle((0.0, 0.0), shape.shaft / 2, "paper", "shaft", 5)
    axes.plot([-side - 4, side + 4], 2 * [-shape.wheel_radius], color=theme["ink"], lw=0.9, zorder=1, gid="floor")
    words = (
        f"{shape.rollers} output rollers Ø {2 * shape.roller_radius:.1f} x {shape.roller_length:.1f} mm\n"
        f"2 x {shape.hub_rollers} hub rollers Ø {2 * shape.hub_roller_radius:.1f} x {shape.hub_roller_length:.1f} mm, "
        f"skew {math.degrees(shape.skew):.1f}°\ngear, pinion (dashed), motor (dotted)"
    )
    low = min(-side, -shape.gear_radius)
    axes.text(0, low - 7, words, ha="center", va="top", color=theme["ink"], fontsize=7)
    _finish(axes, (-side - 6, side + 6), (low - 30, top + 6), theme, "Front, hub body left away")


def section_figure(shape: Shape, theme: str = "light") -> Any:
    """Section and front view side by side at one scale, a matplotlib Figure."""
    with plain_settings():
        half, low, high, side = extents(shape)
        wide, tall = 2 * half + 3 * MARGIN + 2 * side + 12, high - low + 36
        figure = new_figure(190.0, min(190.0 * tall / wide * 1.05 + 8, 220.0))
        left, right = figure.subplots(1, 2, width_ratios=(2 * half + 3 * MARGIN, 2 * side + 12))
        draw_section(left, shape, THEMES[theme])
        draw_front(right, shape, THEMES[theme])
        return figure


def section_svg(shape: Shape, theme: str = "light", name: str = "section") -> str:
    """Section and front view as SVG."""
    words = f"Section through the shaft and front view of a wheel of {2 * shape.wheel_radius:.0f} mm, to scale"
    return svg(section_figure(shape, theme), name, words)


class _Pen:
    """Draws parts onto axes in a theme's colours."""

    def __init__(self, axes: Any, theme: dict[str, str]) -> None:
        self.axes, self.theme = axes, theme

    def shape(self, points: np.ndarray, face: str, gid: str, order: int) -> None:
        from matplotlib.patches import Polygon

        self.axes.add_patch(
            Polygon(points, closed=True, fc=self._face(face), ec=self.theme["ink"], lw=0.6, zorder=order, gid=gid)
        )

    def circle(self, centre: tuple[float, float], radius: float, face: str, gid: str, order: int = 5, style: str = "-") -> None:
        from matplotlib.patches import Circle

        if math.isfinite(radius) and radius > 0:
            self.axes.add_patch(
                Circle(centre, radius, fc=self._face(face), ec=self.theme["ink"], lw=0.7, ls=style, zorder=order, gid=gid)
            )

    def box(self, side: int, start: float, wide: float, middle: float, tall: float, face: str = "fill", hatch: str = "",
            style: str = "-", gid: str = "body") -> None:  # fmt: skip
        """A box from ``start`` on to a side; side 0: as it stands."""
        from matplotlib.patches import Rectangle

        left = start if side >= 0 else -start - wide
        if all(map(math.isfinite, (left, wide, middle, tall))) and wide > 0 and tall > 0:
            self.axes.add_patch(
                Rectangle((left, middle - tall / 2), wide, tall, fc=self._face(face), ec=self.theme["ink"], lw=0.6, hatch=hatch,
                          ls=style, zorder=2, gid=gid)
            )  # fmt: skip

    def _face(self, name: str) -> str:
        return self.theme.get(name, "none")


def _placed(points: np.ndarray, side: int, up: int) -> np.ndarray:
    return points * np.array([float(side), float(up)])


def _finish(axes: Any, across: tuple[float, float], up: tuple[float, float], theme: dict[str, str], title: str) -> None:
    dress(axes, theme, title)
    axes.set_aspect("equal")
    axes.set_xlim(*across)
    axes.set_ylim(*up)
    axes.set_axis_off()


def _across(axes: Any, left: float, right: float, at: float, text: str, theme: dict[str, str]) -> None:
    axes.annotate("", (left, at), (right, at), arrowprops={"arrowstyle": "<->", "lw": 0.6, "color": theme["ink"],
                                                         "shrinkA": 0, "shrinkB": 0})  # fmt: skip
    axes.text((left + right) / 2, at - 1.5, text, ha="center", va="top", color=theme["ink"], fontsize=7)


def _upright(axes: Any, at: float, low: float, high: float, text: str, theme: dict[str, str]) -> None:
    axes.annotate("", (at, low), (at, high), arrowprops={"arrowstyle": "<->", "lw": 0.6, "color": theme["ink"],
                                                       "shrinkA": 0, "shrinkB": 0})  # fmt: skip
    axes.plot([0, at + 2], [high, high], color=theme["line"], lw=0.5, zorder=0)
    axes.text(at + 2, (low + high) / 2, text, rotation=90, ha="left", va="center", color=theme["ink"], fontsize=7)


def _scale_bar(axes: Any, left: float, at: float, theme: dict[str, str]) -> None:
    length = max((size for size in BARS if size <= -left), default=BARS[0])
    axes.plot([left, left + length], [at, at], color=theme["ink"], lw=2.5, solid_capstyle="butt", gid="scale-bar")
    axes.text(left + length + 2, at, f"{length:.0f} mm", ha="left", va="center", color=theme["ink"], fontsize=7)
