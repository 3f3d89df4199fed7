"""What all figures share: colours of two themes, type, axes without ornament, and a figure as SVG or PDF text."""

from __future__ import annotations

import contextlib
import html
import io
import re
import threading
from collections import Counter
from collections.abc import Iterator
from typing import Any

from sweep.errors import BadInput, Fault

#: colours by their part: the design, the baseline, and greys from text to grid. Blue and vermilion keep apart for the
#: colour-blind (Okabe and Ito, darkened to a contrast of 4.5 against the paper)
LIGHT = {
    "design": "#005f99", "baseline": "#b34700", "ink": "#1c2430", "soft": "#5b6470", "line": "#c9ced4", "fill": "#e9ecef",
    "tint": "#c5dcea", "paper": "#ffffff",
}  # fmt: skip
DARK = {
    "design": "#6db9e8", "baseline": "#ff9a5c", "ink": "#e8eaed", "soft": "#a5adb8", "line": "#464d57", "fill": "#2c323a",
    "tint": "#29475a", "paper": "#16191d",
}  # fmt: skip
THEMES = {"light": LIGHT, "dark": DARK}
SETTINGS: dict[str, Any] = {
    "font.family": "DejaVu Sans", "font.size": 8.0,
    "axes.titlesize": 9.0, "axes.titleweight": "bold", "axes.titlelocation": "left",
    "axes.linewidth": 0.7, "xtick.major.width": 0.7, "ytick.major.width": 0.7, "hatch.linewidth": 0.5, "svg.fonttype": "none",
    "pdf.fonttype": 42, "path.simplify": False,
}  # fmt: skip
#: matplotlib's settings belong to the process: who changes them holds this
DRAWING = threading.RLock()
#: inches per mm
INCH = 1 / 25.4


@contextlib.contextmanager
def plain_settings(**more: str) -> Iterator[None]:
    """Settings of all figures for the while, one thread at a time. Raises BadInput where matplotlib is missing."""
    try:
        import matplotlib
    except ImportError as error:
        remedy = "pip install -c constraints.txt -e '.[report]'"
        raise BadInput([Fault("figures", "need matplotlib to be drawn", "", str(error), remedy)]) from error
    settings: Any = {**SETTINGS, **more}
    with DRAWING, matplotlib.rc_context(settings):
        yield


def new_figure(width_mm: float, height_mm: float) -> Any:
    """A matplotlib Figure that belongs to nobody else: no state is shared between threads."""
    from matplotlib.figure import Figure

    return Figure(figsize=(width_mm * INCH, height_mm * INCH), facecolor="none", layout="constrained")


def dress(axes: Any, theme: dict[str, str], title: str = "") -> None:
    """Axes with two spines and quiet colours."""
    axes.set_facecolor("none")
    for side, spine in axes.spines.items():
        spine.set_visible(side in ("left", "bottom"))
        spine.set_color(theme["soft"])
    axes.tick_params(colors=theme["soft"], labelcolor=theme["ink"], length=3)
    axes.xaxis.label.set_color(theme["ink"])
    axes.yaxis.label.set_color(theme["ink"])
    if title:
        axes.set_title(title, color=theme["ink"], loc="left")


def svg(figure: Any, name: str, label: str) -> str:
    """A figure as SVG to stand in a page: ids begin with ``name``, ``label`` is read out; the same text every time."""
    stream = io.StringIO()
    with plain_settings(**{"svg.hashsalt": name}):
        figure.savefig(stream, format="svg", transparent=True, metadata={"Date": None, "Creator": None})
    text = stream.getvalue()
    text = re.sub(r"\s*<metadata>.*?</metadata>", "", text[text.index("<svg") :], flags=re.DOTALL)
    text = re.sub(r'xmlns:xlink="[^"]*" ?', "", text).replace("xlink:href", "href")
    text = re.sub(r'\bid="([^"]+)"', _Counted(name), text)
    text = re.sub(r'href="#([^"]+)"', rf'href="#{name}-\1"', text)
    text = re.sub(r"url\(#([^)]+)\)", rf"url(#{name}-\1)", text)
    return text.replace("<svg ", f'<svg role="img" aria-label="{html.escape(label)}" ', 1).strip()


class _Counted:
    """Ids of a picture: they begin with its name, and a second one of the same name has a number."""

    def __init__(self, name: str) -> None:
        self.name, self.seen = name, Counter[str]()

    def __call__(self, found: re.Match[str]) -> str:
        self.seen[found[1]] += 1
        count = self.seen[found[1]]
        return f'id="{self.name}-{found[1]}{f"-{count}" if count > 1 else ""}"'


def with_variables(text: str, theme: dict[str, str] = LIGHT) -> str:
    """An SVG whose colours are the page's: ``var(--design)`` and so on in place of the theme's."""
    for name, colour in theme.items():
        text = re.sub(re.escape(colour), f"var(--{name})", text, flags=re.IGNORECASE)
    return text
