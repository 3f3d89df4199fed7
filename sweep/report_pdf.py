"""A sheet on two pages of A4. Places are in mm from the lower left corner."""

from __future__ import annotations

import io
import textwrap
from collections.abc import Iterable
from typing import Any

from sweep.figures.bars import MOVES_TITLE, draw_losses, draw_moves, draw_slack
from sweep.figures.grip import draw_grip, draw_motors, draw_polar
from sweep.figures.section import draw_front, draw_section
from sweep.figures.style import INCH, LIGHT, plain_settings
from sweep.front import OBJECTIVES
from sweep.report import Report
from sweep.sheet_blocks import Block

WIDE, HIGH, MARGIN = 210.0, 297.0, 12.0
#: scales that drawings have on paper: mm of the wheel a mm of paper
SCALES = (1.0, 1.5, 2.0, 2.5, 3.0, 4.0, 5.0, 7.5, 10.0, 20.0)
#: mm that the section and the front view may take, and the gap between them
DRAWING = (186.0, 94.0)
GAP = 4.0
#: type in points, leading in mm, characters in a mm of that type
SMALL, LEADING, PER_MM = 6.3, 2.75, 0.87
#: least share of that type's size that a column shrinks to
SMALLEST = 0.7
LEFT = ("Setting the preload", "Upkeep", "Control card")
RIGHT = ("What to do first", "Cautions", "Validity", "What the numbers rest on")


def document(report: Report) -> bytes:
    """The two pages; the same bytes for the same report."""
    with plain_settings():
        from matplotlib.backends.backend_pdf import PdfPages

        stream = io.BytesIO()
        about = {"CreationDate": None, "Creator": None, "Producer": None, "Title": f"Design {report.sheet.design['design']}"}
        with PdfPages(stream, metadata=about) as pages:
            for page in (first_page(report), second_page(report)):
                pages.savefig(page)
        return stream.getvalue()


def first_page(report: Report) -> Any:
    """Objectives, section and front view, grip, motors."""
    page, sheet = _page(report, 1), report.sheet
    top = HIGH - 32.0
    for block in report.sections[""][1:]:
        for line in textwrap.wrap(block.text, 150):
            _write(page, MARGIN, top, line, colour="baseline", weight="bold")
            top -= 3.2
    objectives = next(block for block in report.sections["Objectives"] if block.kind == "table")
    for at, row in enumerate([objectives.head, *objectives.rows]):
        weight = "bold" if at == 0 else "normal"
        stops = (MARGIN, 66, 86, 108, 114) if len(row) > 3 else (MARGIN, 66, 72)
        for x, cell, numeric in zip(stops, row, objectives.numeric, strict=False):
            _write(page, x, top, cell, size=7.2, weight=weight, align="right" if numeric else "left")
        top -= 3.9
    if sheet.baseline is not None:
        _write(page, MARGIN, top, "▲ better, ▼ worse, = the same as the baseline", colour="soft")
    drawings(page, report, top - 6.0)
    grip = _axes(page, 25, 90, 86, 52)
    draw_grip(grip, report.passes, report.cases, LIGHT)
    draw_polar(_axes(page, 134, 91, 48, 48, projection="polar"), report.ring, report.cases, LIGHT)
    draw_motors([_axes(page, x, 28, 48, 34) for x in (22, 85, 148)], report.ring, LIGHT)
    words = "Motors over the direction of drive, at the robot's own effort; torque and speed at the gearbox output."
    _write(page, MARGIN, 19, words, colour="soft")
    return page


def drawings(page: Any, report: Report, top: float) -> float:
    """Section and front view from ``top`` down, at one scale of SCALES, which is told; gives that scale."""
    probe = [_axes(page, 0, 0, 1, 1), _axes(page, 0, 0, 1, 1)]
    draw_section(probe[0], report.shape, LIGHT)
    draw_front(probe[1], report.shape, LIGHT)
    sizes = [(axes.get_xlim(), axes.get_ylim()) for axes in probe]
    wide = sum(x[1] - x[0] for x, _ in sizes)
    tall = max(y[1] - y[0] for _, y in sizes)
    scale = next((s for s in SCALES if wide / s + GAP <= DRAWING[0] and tall / s <= DRAWING[1]), SCALES[-1])
    left = (WIDE - wide / scale - GAP) / 2
    for axes, (x, y) in zip(probe, sizes, strict=True):
        across, up = (x[1] - x[0]) / scale, (y[1] - y[0]) / scale
        axes.set_position((left / WIDE, (top - 4 - up) / HIGH, across / WIDE, up / HIGH))
        axes.set_aspect("auto")
        left += across + GAP
    probe[0].set_title(f"{probe[0].get_title(loc='left')}, 1:{scale:g}", color=LIGHT["ink"], loc="left")
    return scale


def second_page(report: Report) -> Any:
    """Losses, constraints, small steps, and what to know when building and driving."""
    page, sheet = _page(report, 2), report.sheet
    draw_losses(_axes(page, 42, 208, 56, 56), report.losses, LIGHT, report.baseline_losses)
    draw_slack(_axes(page, 138, 208, 60, 56), sheet.rooms, LIGHT)
    _write(page, MARGIN, 193, MOVES_TITLE, size=9, weight="bold")
    wide = 28.5
    draw_moves([_axes(page, 46 + k * (wide + 3), 143, wide, 46) for k in range(len(OBJECTIVES))], sheet.steps, LIGHT)
    for x, titles in ((MARGIN, LEFT), (WIDE / 2 + 2, RIGHT)):
        _column(page, report, x, 128.0, WIDE / 2 - MARGIN - 4, titles)
    return page


def _page(report: Report, count: int) -> Any:
    from matplotlib.figure import Figure

    page = Figure(figsize=(WIDE * INCH, HIGH * INCH), facecolor="white")
    own, study = str(report.sheet.design["design"]), report.sheet.study.name
    _write(page, MARGIN, HIGH - 14, f"Design {own}", size=14, weight="bold")
    _write(page, MARGIN, HIGH - 20.5, textwrap.shorten(study, 110, placeholder=" ..."), size=8.5, colour="soft")
    _write(page, WIDE - MARGIN, HIGH - 14, f"{count} of 2", size=7, colour="soft", align="right")
    words = f"at {report.sheet.phases} positions of the wheel"
    _write(page, WIDE - MARGIN, HIGH - 20.5, words, size=7, colour="soft", align="right")
    return page


def _axes(page: Any, left: float, low: float, wide: float, high: float, **options: Any) -> Any:
    return page.add_axes((left / WIDE, low / HIGH, wide / WIDE, high / HIGH), **options)


def _write(page: Any, x: float, y: float, text: str, size: float = SMALL, weight: str = "normal", colour: str = "ink",
           align: str = "left") -> None:  # fmt: skip
    if page is None:  # only measured
        return
    page.text(x / WIDE, y / HIGH, text, fontsize=size, fontweight=weight, color=LIGHT[colour], ha=align, va="top",
              parse_math=False)  # fmt: skip


def _column(page: Any, report: Report, x: float, top: float, wide: float, titles: Iterable[str]) -> None:
    """Sections one below the other, in smaller type where they would not end above the lower margin."""
    chosen = [
        (title, blocks) for wanted in titles for title, blocks in report.sections.items() if title.startswith(wanted)
    ]
    scale = 1.0
    while scale > SMALLEST and _sections(None, chosen, x, top, wide, scale) < MARGIN / 2:
        scale -= 0.05
    _sections(page, chosen, x, top, wide, scale)


def _sections(page: Any, chosen: Iterable[tuple[str, list[Block]]], x: float, top: float, wide: float, scale: float) -> float:
    """Where sections end that begin at ``top``; written where there is a page."""
    for title, blocks in chosen:
        _write(page, x, top, title, size=8 * scale, weight="bold")
        top = _section(page, blocks, x, top - 4.2 * scale, wide, scale) - 1.8 * scale
    return top


def _section(page: Any, blocks: Iterable[Block], x: float, top: float, wide: float, scale: float) -> float:
    size, leading, per_mm = SMALL * scale, LEADING * scale, PER_MM / scale
    for block in blocks:
        if block.kind == "table":
            rows = [(row[0], ": ".join(row[1:])) for row in block.rows]
            first = min(max((len(name) for name, _ in rows), default=0) / per_mm + 3, 0.42 * wide)
            for name, value in rows:
                names = textwrap.wrap(name, int(first * per_mm)) or [""]
                values = textwrap.wrap(value, int((wide - first) * per_mm)) or [""]
                for k in range(max(len(names), len(values))):
                    _write(page, x, top, names[k] if k < len(names) else "", size)
                    _write(page, x + first, top, values[k] if k < len(values) else "", size)
                    top -= leading
            continue
        indent = 2.2 if block.kind == "point" else 0.0
        for k, line in enumerate(textwrap.wrap(block.text, int((wide - indent) * per_mm))):
            if block.kind == "point" and k == 0:
                _write(page, x, top, "–", size)
            _write(page, x + indent, top, line, size)
            top -= leading
        top -= 0.5
    return top
