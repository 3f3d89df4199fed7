"""The body of a hub between its rollers, its bearings and its gear. Derived here; allowances are common practice.

A web, a flat disc at the barrel's inner end, carries the rim. A drum, a plain wall, stands on the web inside the hub rollers
and carries the gear, so that a hub prints in one piece with its web on the bed. Where the gear is larger than the drum a
flange of the web's thickness joins them::

     r    rim with       gear
     |   hub rollers   ___|__
     |     \\  \\  ____|______|   teeth, 2.25 m deep
     |    __\\_  |____________|  drum, as thick as a tooth is deep
     |   |w |
     |   |e |  (open)
     |   |b_|_________________
     |   |____________________|  barrel
    -+---------------------------------> y
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from objectives.assessment import Layout
from objectives.layout import hub_roller_mount, screw_figure, wall_thickness
from objectives.scenario import Scenario
from objectives.wheel import WheelBatch

#: depth of a tooth below and above the pitch circle over the module: ISO 53 rack A
DEDENDUM, ADDENDUM = 1.25, 1.0
TOOTH_DEPTH = DEDENDUM + ADDENDUM
#: m, least thickness of a web
LEAST_WEB = 3e-3


class HubBody(NamedTuple):
    """Lengths in m, shapes (n,)."""

    web_thickness: np.ndarray
    rollers_inside_radius: np.ndarray  # within which no hub roller reaches, its clearance included
    gear_root_radius: np.ndarray
    gear_tip_radius: np.ndarray
    drum_outside_radius: np.ndarray
    drum_inside_radius: np.ndarray  # not less than the barrel's; the drum's outside where the gear sits on the barrel


def hub_body(wheel: WheelBatch, layout: Layout, scenario: Scenario) -> HubBody:
    """The body of a hub (module docstring). nan where a dimension is missing."""
    mount, clearance = hub_roller_mount(wheel, scenario), scenario.printer.clearance
    inside = (
        wheel.hub_roller_centre_radius - wheel.hub_roller_length / 2 * mount.axis_r
        - (wheel.hub_roller_radius + clearance) * np.sqrt(1 - mount.axis_r**2)
    )
    root = layout.gear_pitch_radius - DEDENDUM * wheel.gear_module
    drum = np.minimum(root, inside - clearance)
    return HubBody(
        web_thickness=np.full(len(wheel), max(2 * wall_thickness(scenario), LEAST_WEB)),
        rollers_inside_radius=inside,
        gear_root_radius=root,
        gear_tip_radius=layout.gear_pitch_radius + ADDENDUM * wheel.gear_module,
        drum_outside_radius=drum,
        drum_inside_radius=np.minimum(np.maximum(drum - TOOTH_DEPTH * wheel.gear_module, layout.barrel_radius), drum),
    )


def bolt_path_room(wheel: WheelBatch, layout: Layout, body: HubBody, scenario: Scenario) -> np.ndarray:
    """Room between the teeth of the hub gear and the way of a hub roller's bolt, head first, to its boss [m], shape (n,).

    The bolt comes along its own axis from outside. Where the edge of its head passes the gear's inner face, at s along the
    axis from the roller's centre, it has the radius hypot(R_h + s a_r, s a_t) less that of the head; further out it is
    further away.
    """
    mount = hub_roller_mount(wheel, scenario)
    head = screw_figure(wheel.hub_axle_diameter, scenario.catalogue, "head_diameter") / 2 + scenario.printer.clearance
    face = layout.gear_offset - layout.gear_width / 2
    with np.errstate(divide="ignore", invalid="ignore"):
        along = (face - wheel.hub_roller_centre_offset - head * np.sqrt(1 - mount.axis_y**2)) / mount.axis_y
    along = np.maximum(along, mount.inner_half_length)
    radius = np.hypot(wheel.hub_roller_centre_radius + along * mount.axis_r, along * mount.axis_t)
    return radius - head - body.gear_tip_radius
