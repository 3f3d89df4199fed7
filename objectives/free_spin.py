"""How freely the built wheel turns: the torque it takes with nothing asked of it, and the room before it binds."""

from __future__ import annotations

import numpy as np

from objectives.assessment import Assessment
from objectives.elements import bearing_friction_moment
from objectives.layout import bearing_figure
from objectives.phases import phase_lattice
from objectives.running import idle_torque

#: share of the phases that the torque is taken over, and the fewest: two lie within 13 % of 64, mostly within 5
PHASE_SHARE = 1 / 8
FEWEST_PHASES = 2


def free_spin_torque(assessment: Assessment) -> np.ndarray:
    """Torque at a hub that turns both hubs against each other with the wheel off the floor [N m], shape (n,).

    Mean of both hubs over the phases: rolling, creep of contacts whose ratios differ, bores, washers, drilling, as the running
    states take them without load, and the friction of the thrust bearing under the preload, mu F_a d_m/2. Motors and gears are
    left out. nan where no state was found.
    """
    wheel, extra = assessment.wheel, assessment.extra
    count = max(FEWEST_PHASES, round(PHASE_SHARE * assessment.limits.force.shape[2]))
    rollers = idle_torque(wheel, extra, extra["kernel_inputs"], phase_lattice(count))
    thrust, catalogue = assessment.layout.thrust_bearing, assessment.scenario.catalogue
    mean_diameter = (bearing_figure(thrust, catalogue, "bore") + bearing_figure(thrust, catalogue, "outside")) / 2
    return rollers + bearing_friction_moment(bearing_figure(thrust, catalogue, "friction"), wheel.preload, mean_diameter)


def binding_clearance(assessment: Assessment) -> np.ndarray:
    """Least room left between parts that turn against each other, as built [m], shape (n,): at 0 the wheel binds.

    The least of three.

    - Hub and carrier: s - x + e/cos(beta) - t, with s the standoff before closure and x the furthest closure of a hub, drawn in
      by drive too. Hub rollers that stand proud by e along the contact normal, whose axial part is cos(beta), keep their hub
      e/cos(beta) further out; a hub that runs out stands t nearer.
    - Output roller on its axle: its radial play, which a hole printed too small takes away.
    - Hub roller in its pocket: the printer's clearance less |e|.

    The reserve that the constraint ``standoff_closed`` asks for is not taken off: it is what these errors use up. Validity:
    errors small against the rollers; hubs guided straight. Source: derived here.
    """
    wheel = assessment.wheel
    closure = np.fmax(assessment.normal.closure_max, assessment.limits.closure_max)
    hub = assessment.layout.carrier_standoff - closure + wheel.seat_error / np.cos(wheel.contact_angle) - wheel.run_out
    pocket = assessment.scenario.printer.clearance - np.abs(wheel.seat_error)
    return np.minimum(np.minimum(hub, wheel.play), pocket)


def preload_swing(assessment: Assessment) -> np.ndarray:
    """How far the preload rises and falls as the wheel turns [N], shape (n,): K_p ((x_max - x_min)/2 + |t|).

    A hub closes between x_min and x_max over the phases, more where a pass opens, and its rollers run out by t: the spring of
    stiffness K_p follows both. The nut is set halfway. The limits are taken at the preload as set, run-out counted.
    Validity: closures without drive. Source: derived here.
    """
    normal, wheel = assessment.normal, assessment.wheel
    return wheel.preload_stiffness * ((normal.closure_max - normal.closure_min) / 2 + np.abs(wheel.run_out))
