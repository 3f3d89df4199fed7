"""Drawings of a design for the page: the figures of the sheet at the width of the page's panels, as SVG in the page's colours.

A drawing takes from a tenth of a second to some seconds: never on the event loop.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

import pandas as pd

from objectives.assessment import Assessment, Layout
from objectives.layout import layout
from objectives.phases import phase_lattice
from objectives.scoring import assess, has_shape
from objectives.variables import VARIABLES
from objectives.wheel import WheelBatch, wheel_batch
from sweep.around import passes, ring
from sweep.errors import BadInput, Fault
from sweep.figures.bars import draw_losses, draw_slack
from sweep.figures.grip import draw_grip, draw_polar
from sweep.figures.section import draw_front, draw_section, extents
from sweep.figures.shape import Shape, shape_of
from sweep.figures.style import LIGHT, new_figure, plain_settings, svg, with_variables
from sweep.report import asked_of
from sweep.sheet import DIRECTIONS
from sweep.show import number, quantity
from sweep.slacks import rooms
from sweep.study import Study

#: width of a panel's figure [mm]: at some 310 pixels its 8 points read as 11 to 12 pixels
WIDTH = 76.0
#: positions of the wheel that grip is looked at, as many as a front's unless those are more
PHASES = 256
LOSS = "loss_"


def wheel_of(study: Study, row: pd.Series) -> tuple[WheelBatch, Layout]:
    """The wheel of a stored design and its layout. Raises BadInput where it has no shape."""
    variables = pd.DataFrame([{variable.name: row[variable.name] for variable in VARIABLES}])
    wheel = wheel_batch(variables, study.scenario.catalogue, study.scenario.robot.floor)
    if not has_shape(wheel)[0]:
        raise BadInput([Fault("DESIGN", "must be a wheel that can be drawn: its rollers have no size", str(row["design"]))])
    return wheel, layout(wheel, study.scenario)


def shape(study: Study, row: pd.Series) -> Shape:
    """The lengths that section and face are drawn from."""
    wheel, plan = wheel_of(study, row)
    return shape_of(wheel, plan, study.scenario)


def judged(study: Study, row: pd.Series) -> Assessment:
    """A design with its limit states, at the positions of the front."""
    wheel, plan = wheel_of(study, row)
    return assess(wheel, plan, study.scenario, phase_lattice(min(PHASES, study.search.front_phases)))


def section(study: Study, row: pd.Series, baseline: pd.Series | None) -> str:
    """The section through the shaft, to scale."""
    drawn = shape(study, row)
    half, low, high, _ = extents(drawn)
    with plain_settings():
        figure = new_figure(WIDTH, min(WIDTH * (high - low + 26) / (2 * half + 36) * 1.02 + 2, 150.0))
        axes = figure.subplots()
        draw_section(axes, drawn, LIGHT, scale_bar=False)
        axes.set_title("")
    return _page(figure, "section", f"Section through the shaft of a wheel of {2 * drawn.wheel_radius:.0f} mm, to scale")


def front(study: Study, row: pd.Series, baseline: pd.Series | None) -> str:
    """The front view, to scale."""
    drawn = shape(study, row)
    _, low, high, side = extents(drawn)
    with plain_settings():
        figure = new_figure(WIDTH, min(WIDTH * (high - low + 36) / (2 * side + 12) + 6, 150.0))
        axes = figure.subplots()
        draw_front(axes, drawn, LIGHT)
        axes.set_title("")
    words = f"Front view: {drawn.rollers} output rollers, {drawn.hub_rollers} hub rollers on each hub"
    return _page(figure, "front", words)


def face(study: Study, row: pd.Series, baseline: pd.Series | None) -> str:
    """The front view alone, small, for a table."""
    drawn = shape(study, row)
    with plain_settings():
        figure = new_figure(22.0, 22.0)
        figure.set_layout_engine("none")
        axes = figure.add_axes((0, 0, 1, 1))
        draw_front(axes, drawn, LIGHT)
        for extra in [*axes.texts, *axes.lines]:
            extra.remove()
        axes.set_title("")
        reach = max(drawn.wheel_radius, drawn.gear_radius) + 2
        axes.set_xlim(-reach, reach)
        axes.set_ylim(-reach, reach)
        for patch in axes.patches:
            patch.set_linewidth(0.3)
            if patch.get_gid() in ("motor", "pinion", "gear"):
                patch.set_visible(False)
    return _page(figure, "face", f"{drawn.rollers} rollers round the rim, {drawn.hub_rollers} on each hub")


def grip(study: Study, row: pd.Series, baseline: pd.Series | None) -> str:
    """Limits along a pass with the load cases."""
    found = judged(study, row)
    along = passes(found, DIRECTIONS, min(PHASES, study.search.front_phases))
    with plain_settings():
        figure = new_figure(WIDTH, 74.0)
        axes = figure.subplots()
        draw_grip(axes, along, asked_of(found), LIGHT)
        axes.set_title("")
        axes.set_xlim(0, 1.6)
        axes.set_xlabel("share of a pass, worst in the middle")
    told = ", ".join(f"{one.direction} at least {number(one.worst)} N" for one in along)
    return _page(figure, "grip", f"Limit at the floor as a roller passes: {told}")


def round_turn(study: Study, row: pd.Series, baseline: pd.Series | None) -> str:
    """Limits over the directions of drive."""
    found = judged(study, row)
    with plain_settings():
        figure = new_figure(WIDTH, 92.0)
        axes = figure.add_subplot(projection="polar")
        draw_polar(axes, ring(found), asked_of(found), LIGHT)
        axes.set_title("", loc="center")
    return _page(figure, "turn", "Limits of friction, motors and floor over the direction of drive, with the forces asked")


def losses(study: Study, row: pd.Series, baseline: pd.Series | None) -> str:
    """Losses by name, the baseline's as marks."""
    own, other = losses_in(row), None if baseline is None else losses_in(baseline)
    with plain_settings():
        figure = new_figure(WIDTH, 12.0 + 5.6 * max(len(own), 2))
        axes = figure.subplots()
        draw_losses(axes, own, LIGHT, None if baseline is None or baseline["design"] == row["design"] else other)
        axes.set_title("")
    ranked = sorted(own.items(), key=lambda item: -item[1])
    told = ", ".join(f"{key.replace('_', ' ')} {quantity(value, 'W')}" for key, value in ranked)
    return _page(figure, "losses", f"Losses over the duty: {told}")


def slack(study: Study, row: pd.Series, baseline: pd.Series | None) -> str:
    """Room in the constraints, the tightest first."""
    found = rooms(row, study.scenario)
    with plain_settings():
        figure = new_figure(WIDTH, 16.0 + 5.0 * min(len(found), 12))
        axes = figure.subplots()
        draw_slack(axes, found, LIGHT, 12)
        axes.set_title("")
        axes.set_xlabel("room, in units of its scale")
    told = ", ".join(f"{room.name.replace('_', ' ')} {quantity(room.slack, room.unit)}" for room in found[:5])
    return _page(figure, "slack", f"Room in the constraints, tightest first: {told}")


def losses_in(row: pd.Series) -> dict[str, float]:
    """Losses [W] of a stored design by name."""
    return {
        str(name).removeprefix(LOSS).removesuffix("_W"): float(row[name])
        for name in row.index
        if str(name).startswith(LOSS) and str(name).endswith("_W") and pd.notna(row[name])
    }


def _page(figure: Any, name: str, words: str) -> str:
    return with_variables(svg(figure, name, words))


#: drawings by their name in the page's addresses
DRAWINGS: Mapping[str, Callable[[Study, pd.Series, pd.Series | None], str]] = {
    "section": section, "front": front, "face": face, "grip": grip, "turn": round_turn, "losses": losses, "slack": slack,
}  # fmt: skip
