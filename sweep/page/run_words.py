"""What the page says of a run: how far it is, what to expect, how its hypervolume rose."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from html import escape
from typing import Any

from sweep.progress import duration
from sweep.service.summaries import DAMAGED, FAILED, FINISHED, SCORING, SEARCHING, STARTING, STOPPED, RunSummary

STATES = {
    STARTING: "starting", SEARCHING: "searching", SCORING: "scoring the front again", STOPPED: "stopped", FINISHED: "finished",
    FAILED: "failed", DAMAGED: "damaged",
}  # fmt: skip


def share_done(summary: RunSummary) -> float:
    """How much of the search is over, 0 to 1."""
    if summary.state in (FINISHED, SCORING):
        return 1.0
    return min(summary.evaluations / summary.planned, 1.0) if summary.planned > 0 else 0.0


def progress_words(summary: RunSummary) -> str:
    """How far a run is, in a line."""
    of = f" of {summary.planned:,}" if summary.planned else ""
    done = f"{summary.evaluations:,}{of} evaluations"
    if summary.state == STARTING:
        return "Starting"
    if summary.state == SEARCHING:
        left = "" if summary.seconds_left is None else f", {duration(summary.seconds_left)} left"
        rate = "" if not summary.rate_per_s else f", {summary.rate_per_s:.3g} a second"
        return f"{done}{left}{rate}"
    if summary.state == SCORING:
        return f"{done}. The front is scored again at more positions of the wheel"
    return f"{done}, {STATES.get(summary.state, summary.state)}"


def help_words(summary: RunSummary) -> str:
    """What to expect or to do, in a line; empty where all is said."""
    if summary.state in (FAILED, DAMAGED):
        return summary.message or "It ended without a word. Its folder is as it was; resume it, or start a new study."
    if summary.state == STARTING:
        return "The mechanics are compiled first: a minute or two on the first use of a machine, some seconds later on."
    stopped = "What was found is kept. Resume goes on where it stopped." if summary.state == STOPPED else ""
    if not summary.front_size and stopped:
        return summary.message or stopped
    if not summary.front_size:
        if summary.state == FINISHED:
            return summary.message or "No design holds every constraint. Widen [space] or ease [limits] in a new study."
        return "No design yet: the first epoch is still at work."
    if summary.front_size == 1:
        few = "One design on the front: nothing to trade yet. A longer search or a wider [space] finds more."
        return f"{few} {summary.message or stopped}".strip()
    return summary.message or stopped


def hypervolume_svg(lines: Sequence[Mapping[str, Any]], width: int = 168, height: int = 34) -> str:
    """Hypervolume over evaluations as a small drawing; a line of words where there is nothing to draw yet."""
    points = [
        (float(line["evaluations"]), float(line["hypervolume"]))
        for line in lines
        if isinstance(line.get("hypervolume"), int | float) and isinstance(line.get("evaluations"), int | float)
    ]
    points = [point for point in points if math.isfinite(point[1])]
    if not points:
        return '<span class="faint">no hypervolume yet</span>'
    last, most = points[-1], max(value for _, value in points) or 1.0
    reach, room = max(last[0], 1.0), 44
    words = f"Hypervolume over evaluations: {points[0][1]:.3f} after {points[0][0]:,.0f}, {last[1]:.3f} after {last[0]:,.0f}"

    def at(point: tuple[float, float]) -> str:
        return f"{2 + (width - room) * point[0] / reach:.1f},{height - 3 - (height - 8) * point[1] / most:.1f}"

    start = f"2,{height - 3}"
    path = " ".join([start, *map(at, points)])
    x, y = at(last).split(",")
    return (
        f'<svg class="spark" role="img" aria-label="{escape(words)}" viewBox="0 0 {width} {height}" width="{width}" '
        f'height="{height}"><title>{escape(words)}</title><path d="M2,{height - 2.5}H{width - room + 2}" class="spark-floor"/>'
        f'<polyline points="{path}" class="spark-line"/><circle cx="{x}" cy="{y}" r="2.5" class="spark-end"/>'
        f'<text x="{width}" y="{float(y) + 4:.1f}" text-anchor="end">{last[1]:.3f}</text></svg>'
    )
