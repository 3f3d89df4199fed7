"""How far a hub roller accompanies an output roller, and what that asks of both: from the exact geometry of a pass."""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np

from objectives.compiled import kernel
from objectives.contact_pass import PassGeometry, pass_contact, touches
from objectives.wheel import WheelBatch

#: places along a pass looked at for the first end of contact; bisection finds the end between two of them
STEPS = 16
BISECTIONS = 40
#: attribute that a batch of wheels keeps its window under
KEPT = "_pass_window"


class PassWindow(NamedTuple):
    """Where hub rollers touch, rigid and unloaded. Shapes (n,); angles in rad from an output roller's middle, towards +t."""

    low: np.ndarray  # angle at which contact begins, not beyond half a pitch of the output rollers
    high: np.ndarray  # angle at which it ends
    wedge_slope: np.ndarray  # largest |a_y|/|n_y| over the window
    pull_in_slope: np.ndarray  # least -n_r/(|a_c| n_y) over the window
    hub_place: np.ndarray  # m, largest |z_h| within half a pitch of the hub rollers


@kernel
def contact_end(g: PassGeometry, furthest: float) -> float:
    """Angle [rad] nearest to 0, towards ``furthest`` [rad], at which the rollers no longer touch; ``furthest`` at most."""
    inside = 0.0
    outside = furthest
    for step in range(1, STEPS + 1):
        outside = furthest * step / STEPS
        if not touches(g, pass_contact(g, outside)):
            break
        inside = outside
    if inside == furthest:
        return furthest
    for _ in range(BISECTIONS):
        middle = 0.5 * (inside + outside)
        if touches(g, pass_contact(g, middle)):
            inside = middle
        else:
            outside = middle
    return inside


@kernel
def survey(table: np.ndarray, output_pitch: np.ndarray, hub_pitch: np.ndarray, found: np.ndarray) -> None:
    """Fill ``found`` (n, 5) with the fields of PassWindow from rows of PassGeometry (n, 11) and pitches [rad] (n,)."""
    for i in range(table.shape[0]):
        row = table[i]
        g = PassGeometry(row[0], row[1], row[2], row[3], row[4], row[5], row[6], row[7], row[8], row[9], row[10])
        low = contact_end(g, -0.5 * output_pitch[i])
        high = contact_end(g, 0.5 * output_pitch[i])
        wedge = 0.0
        pull_in = math.inf
        for step in range(STEPS + 1):
            contact = pass_contact(g, low + (high - low) * step / STEPS)
            outward = contact.axial
            wedge = max(wedge, g.sin_skew * g.sin_contact / outward if outward > 0.0 else math.inf)
            pulling = abs(contact.along_c) * outward
            if pulling > 0.0:
                pull_in = min(pull_in, contact.inward / pulling)
        found[i, 0] = low
        found[i, 1] = high
        found[i, 2] = wedge
        found[i, 3] = pull_in
        found[i, 4] = max(
            abs(pass_contact(g, -0.5 * hub_pitch[i]).place_hub), abs(pass_contact(g, 0.5 * hub_pitch[i]).place_hub)
        )


def pass_window(wheel: WheelBatch) -> PassWindow:
    """The window of each candidate; nan where a variable is nan or the rollers' geometry has no meaning.

    Kept with the batch, whose fields are read-only: several constraints ask for it.
    """
    if KEPT in vars(wheel):
        return vars(wheel)[KEPT]
    with np.errstate(all="ignore"):
        table = np.stack(
            [  # in the order of PassGeometry
                wheel.pitch_radius,
                wheel.wheel_radius,
                wheel.output_roller_radius,
                wheel.crown,
                wheel.hub_roller_radius,
                wheel.output_roller_length / 2,
                wheel.hub_roller_length / 2,
                np.sin(wheel.contact_angle),
                np.cos(wheel.contact_angle),
                np.sin(wheel.skew_angle),
                np.cos(wheel.skew_angle),
            ],
            axis=1,
        )
        output_pitch, hub_pitch = 2 * np.pi / wheel.output_roller_count, 2 * np.pi / wheel.hub_roller_count
    found = np.full((len(wheel), 5), np.nan)
    whole = np.isfinite(table).all(axis=1) & np.isfinite(output_pitch) & np.isfinite(hub_pitch)
    if whole.any():
        some = np.empty((int(whole.sum()), 5))
        survey(table[whole], output_pitch[whole], hub_pitch[whole], some)
        found[whole] = some
    vars(wheel)[KEPT] = PassWindow(*found.T)
    return vars(wheel)[KEPT]
