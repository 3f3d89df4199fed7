"""A sheet of drawing paper: lines, hatching, dimensions, title block, as a machinist's drawing has them. In mm of paper.

Line kinds and widths by ISO 128, letters by ISO 3098 (from memory). Drawn with matplotlib, so that SVG and PDF are the same.
"""

from __future__ import annotations

import io
import math
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

import numpy as np

Point = tuple[float, float]

A3 = (420.0, 297.0)
MARGIN = 10.0
POINTS_PER_MM = 72 / 25.4
#: mm, widths of lines; heights of letters
THICK, THIN, FRAME = 0.5, 0.25, 0.7
LETTERS, SMALL, TITLE = 2.8, 2.2, 4.5
ARROW = 2.4
#: lengths of dashes and gaps, mm
DASHES: Mapping[str, tuple[float, ...] | None] = {"solid": None, "centre": (6.0, 1.2, 0.8, 1.2), "hidden": (2.0, 1.0)}
HATCH_GAP = 2.2
#: width of a letter over its height, about
LETTER_WIDTH = 0.72
TITLE_SIZE = (180.0, 38.0)


class Paper:
    """A sheet with a frame. Everything is drawn in black on white."""

    def __init__(self, size: tuple[float, float] = A3) -> None:
        from matplotlib.backends.backend_agg import FigureCanvasAgg
        from matplotlib.figure import Figure

        self.size = size
        self.figure = Figure(figsize=(size[0] / 25.4, size[1] / 25.4))
        FigureCanvasAgg(self.figure)
        self.axes: Any = self.figure.add_axes((0, 0, 1, 1))
        self.axes.set_xlim(0, size[0])
        self.axes.set_ylim(0, size[1])
        self.axes.set_axis_off()
        self._cuts = 0
        width, height = size[0] - 2 * MARGIN, size[1] - 2 * MARGIN
        self.box(MARGIN, MARGIN, width, height, FRAME)

    def save(self, file_type: str) -> bytes:
        """The sheet as "svg", "pdf" or "png"; the same sheet gives the same bytes."""
        import matplotlib

        timeless = {"pdf": {"CreationDate": None, "Creator": None, "Producer": None}, "svg": {"Date": None, "Creator": None}}
        buffer = io.BytesIO()
        with matplotlib.rc_context({"svg.hashsalt": "wheelfront", "svg.fonttype": "path", "pdf.fonttype": 42}):
            self.figure.savefig(buffer, format=file_type, metadata=timeless.get(file_type), dpi=200)
        return buffer.getvalue()

    def line(self, points: Sequence[Point], width: float = THICK, kind: str = "solid") -> None:
        """A line through points."""
        from matplotlib.lines import Line2D

        xs, ys = zip(*points, strict=True)
        made = Line2D(xs, ys, color="black", linewidth=width * POINTS_PER_MM, solid_capstyle="round", solid_joinstyle="round")
        dashes = DASHES[kind]
        if dashes:
            # matplotlib counts dashes in line widths
            made.set_linestyle((0, tuple(length / width for length in dashes)))
            made.set_dash_capstyle("butt")
        self.axes.add_line(made)

    def lines(self, many: Iterable[Any], width: float = THICK, level: float = 2.0) -> None:
        """Many lines of one kind, each of points (k, 2)."""
        from matplotlib.collections import LineCollection

        self.axes.add_collection(
            LineCollection(
                list(many), colors="black", linewidths=width * POINTS_PER_MM, capstyle="round", joinstyle="round", zorder=level
            )
        )

    def box(self, x: float, y: float, width: float, height: float, line: float = THIN) -> None:
        """A rectangle from its lower left corner."""
        self.line([(x, y), (x + width, y), (x + width, y + height), (x, y + height), (x, y)], line)

    def circle(self, centre: Point, radius: float, width: float = THIN, kind: str = "solid") -> None:
        turns = np.linspace(0, 2 * math.pi, 181)
        self.line([(centre[0] + radius * math.cos(t), centre[1] + radius * math.sin(t)) for t in turns], width, kind)

    def text(
        self, at: Point, words: str, height: float = LETTERS, align: str = "left", turn: float = 0.0, bold: bool = False,
        over: str = "baseline", clear: bool = False,
    ) -> None:
        """Words at a point. ``clear`` leaves white paper under them."""
        self.axes.text(
            *at, words, fontsize=height / 0.72 * POINTS_PER_MM, ha=align, va=over, rotation=turn, rotation_mode="anchor",
            fontweight="bold" if bold else "normal", fontfamily="DejaVu Sans", linespacing=1.35,
            bbox={"facecolor": "white", "edgecolor": "none", "pad": 0.6} if clear else None, zorder=6 if clear else 3,
        )  # fmt: skip

    def hatched(self, loops: Sequence[np.ndarray], angle: float = 45.0, gap: float = HATCH_GAP) -> None:
        """An area cut through: its outline thick, thin lines across (none where ``gap`` is 0). Loops of points, holes among
        them, of any sense. Hides what was cut before it."""
        from matplotlib.patches import PathPatch
        from matplotlib.path import Path

        points: list[Any] = []
        codes: list[Any] = []
        for loop in loops:
            points += [*loop, loop[0]]
            codes += [Path.MOVETO, *[Path.LINETO] * (len(loop) - 1), Path.CLOSEPOLY]
        self._cuts += 1
        level = 1.0 + 1e-3 * self._cuts
        self.axes.add_patch(PathPatch(Path(points, codes), facecolor="white", edgecolor="none", zorder=level))
        if gap > 0:
            self.lines(hatch_lines(loops, math.radians(angle), gap), THIN * 0.7, level + 3e-4)
        self.lines([np.vstack([loop, loop[:1]]) for loop in loops], THICK, level + 6e-4)

    def arrow(self, tip: Point, direction: float) -> None:
        """A filled arrowhead that points along ``direction`` [rad]."""
        from matplotlib.patches import Polygon

        x, y = tip
        back = [(x - ARROW * math.cos(direction + turn), y - ARROW * math.sin(direction + turn)) for turn in (0.17, -0.17)]
        self.axes.add_patch(Polygon([tip, *back], closed=True, facecolor="black", edgecolor="none", zorder=4))

    def distance(self, start: Point, end: Point, words: str, offset: float, turn: float = 0.0) -> None:
        """A dimension between two points, measured along ``turn`` [rad], its line ``offset`` to the left of the measured sense
        from the start."""
        along = np.array([math.cos(turn), math.sin(turn)])
        across = np.array([-math.sin(turn), math.cos(turn)])
        a, b = np.array(start), np.array(end)
        if (b - a) @ along < 0:
            a, b = b, a
        level = a @ across + offset
        feet = [p + across * (level - p @ across) for p in (a, b)]
        for p, foot in zip((a, b), feet, strict=True):
            reach = math.copysign(1.2, level - p @ across)
            self.line([tuple(p + across * math.copysign(0.8, reach)), tuple(foot + across * reach)], THIN)
        length = float((b - a) @ along)
        degrees = math.degrees(turn)
        upside = -1.0 if degrees % 360 > 91 and degrees % 360 < 269 else 1.0
        room = len(words) * LETTERS * LETTER_WIDTH
        if length > room + 2 * ARROW + 1:
            self.line([tuple(feet[0]), tuple(feet[1])], THIN)
            self.arrow(tuple(feet[0]), turn + math.pi)
            self.arrow(tuple(feet[1]), turn)
            middle = (feet[0] + feet[1]) / 2
        else:  # arrows from outside, the number beyond the second
            self.line([tuple(feet[0] - along * 2.5 * ARROW), tuple(feet[0])], THIN)
            self.line([tuple(feet[1]), tuple(feet[1] + along * (room + 1.5 * ARROW))], THIN)
            self.line([tuple(feet[0]), tuple(feet[1])], THIN)
            self.arrow(tuple(feet[0]), turn)
            self.arrow(tuple(feet[1]), turn + math.pi)
            middle = feet[1] + along * (room / 2 + 1.4 * ARROW)
        self.text(tuple(middle + across * 0.9 * upside), words, align="center", turn=degrees + (180 if upside < 0 else 0))

    def leader(self, tip: Point, elbow: Point, words: str, arrow: bool = True) -> None:
        """A note with a line to what it tells of."""
        width = max(len(row) for row in words.splitlines()) * LETTERS * LETTER_WIDTH
        right = elbow[0] >= tip[0]
        end = (elbow[0] + (width if right else -width), elbow[1])
        self.line([tip, elbow, end], THIN)
        if arrow:
            self.arrow(tip, math.atan2(tip[1] - elbow[1], tip[0] - elbow[0]))
        self.text((min(elbow[0], end[0]), elbow[1] + 0.9), words)

    def angle(self, centre: Point, radius: float, start: float, end: float, words: str) -> None:
        """An angle's arc from ``start`` to ``end`` [rad] with its number."""
        turns = np.linspace(start, end, 40)
        arc = [(centre[0] + radius * math.cos(t), centre[1] + radius * math.sin(t)) for t in turns]
        self.line(arc, THIN)
        if abs(end - start) * radius > 3 * ARROW:
            self.arrow(arc[0], math.atan2(arc[0][1] - arc[3][1], arc[0][0] - arc[3][0]))
            self.arrow(arc[-1], math.atan2(arc[-1][1] - arc[-4][1], arc[-1][0] - arc[-4][0]))
        middle = (start + end) / 2
        at = (centre[0] + (radius + 3) * math.cos(middle), centre[1] + (radius + 3) * math.sin(middle))
        self.text(at, words, align="center", over="center", clear=True)

    def cross(self, centre: Point, reach: float) -> None:
        """The centre lines of a circle."""
        x, y = centre
        self.line([(x - reach, y), (x + reach, y)], THIN, "centre")
        self.line([(x, y - reach), (x, y + reach)], THIN, "centre")

    def title_block(self, rows: Sequence[tuple[str, str]], title: str, subtitle: str) -> None:
        """Lower right: what is drawn, by what rules. The rows stand in two columns beside the projection's symbol."""
        width, height = TITLE_SIZE
        left, bottom = self.size[0] - MARGIN - width, MARGIN
        self.box(left, bottom, width, height, FRAME)
        self.line([(left, bottom + 22), (left + width, bottom + 22)], THIN)
        self.line([(left + width - 34, bottom), (left + width - 34, bottom + 22)], THIN)
        self.text((left + 3, bottom + 30), title, TITLE, bold=True)
        self.text((left + 3, bottom + 24.4), subtitle, LETTERS)
        per_column = math.ceil(len(rows) / 2)
        for i, (name, value) in enumerate(rows):
            x = left + 3 + (i // per_column) * 81
            y = bottom + 17.2 - (i % per_column) * 5.2
            self.text((x, y), name, SMALL)
            self.text((x + 20, y), value, LETTERS)
        self._first_angle((left + width - 17, bottom + 11))

    def _first_angle(self, centre: Point) -> None:
        """The symbol of first-angle projection (ISO 5456-2): a cone cut off, beside it the view from its small end."""
        x, y = centre
        self.line([(x - 12, y - 2.4), (x - 2, y - 4.8), (x - 2, y + 4.8), (x - 12, y + 2.4), (x - 12, y - 2.4)], THICK)
        self.circle((x + 8, y), 4.8, THICK)
        self.circle((x + 8, y), 2.4, THICK)
        self.line([(x - 14, y), (x, y)], THIN, "centre")
        self.cross((x + 8, y), 6.3)


def hatch_lines(loops: Sequence[np.ndarray], angle: float, gap: float) -> list[list[Point]]:
    """Parallel lines ``gap`` apart at an ``angle`` [rad] within an area of loops, holes left out.

    >>> [len(hatch_lines([np.array([(0, 0), (10, 0), (10, 10), (0, 10)])], 0.0, 4.0))]
    [2]
    """
    cosine, sine = math.cos(angle), math.sin(angle)
    turned = [loop @ np.array([[cosine, -sine], [sine, cosine]]) for loop in map(np.asarray, loops)]
    starts = np.concatenate(turned)
    ends = np.concatenate([np.roll(loop, -1, axis=0) for loop in turned])
    found: list[list[Point]] = []
    for level in np.arange(math.floor(starts[:, 1].min() / gap) + 0.5, starts[:, 1].max() / gap) * gap:
        crossed = (starts[:, 1] < level) != (ends[:, 1] < level)
        a, b = starts[crossed], ends[crossed]
        xs = np.sort(a[:, 0] + (level - a[:, 1]) / (b[:, 1] - a[:, 1]) * (b[:, 0] - a[:, 0]))
        for x0, x1 in zip(xs[::2], xs[1::2], strict=False):
            found.append([(cosine * x - sine * level, sine * x + cosine * level) for x in (float(x0), float(x1))])
    return found
