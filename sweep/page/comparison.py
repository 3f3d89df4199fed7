"""Fronts of several runs against each other: the figure and the numbers of ``wheelfront compare``."""

from __future__ import annotations

from collections.abc import Sequence

from sweep.comparing import Comparison, Front, compare
from sweep.errors import BadInput, Fault
from sweep.figures.comparing import picture
from sweep.figures.style import DRAWING
from sweep.service.desk import Desk

#: fronts that a picture still tells apart
MOST = 6


def comparison_of(desk: Desk, runs: Sequence[str]) -> Comparison:
    """Compare runs by name. Takes seconds with large fronts. Raises NotThere, BadInput."""
    names = list(dict.fromkeys(filter(None, runs)))
    if not 2 <= len(names) <= MOST:
        raise BadInput([Fault("runs", f"must be 2 to {MOST}", str(len(names)), "", "tick them in the list of runs")])
    fronts = []
    for name in names:
        front, study = desk.front(name), desk.study(name)
        if not len(front):
            raise BadInput([Fault(name, "has no design yet", "", "", "wait for its first epoch, or leave it out")])
        fronts.append(Front(name, front, study.scenario, study.search.front_phases))
    return compare(fronts)


def comparison_svg(desk: Desk, runs: Sequence[str]) -> str:
    """The figure as SVG, on paper of its own in either theme."""
    found = comparison_of(desk, runs)
    with DRAWING:
        text = picture(found, "svg").decode()
    return text[text.index("<svg") :]
