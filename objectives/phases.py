"""The phases that a wheel is taken at, and the numbers of a candidate as its kernels take them."""

from __future__ import annotations

import math

import numpy as np

from objectives.compiled import kernel, outer_kernel
from objectives.contact_pass import PassGeometry
from objectives.contacts import Contacts
from objectives.engagement import Laws, meet, stand
from objectives.wheel import WheelBatch
from objectives.workspace import Workspace

#: steps of the lattice of phases, as shares of a pitch: irrationals that are far from simple fractions, alone and together
LATTICE_STEPS = ((math.sqrt(5.0) - 1.0) / 2.0, math.sqrt(2.0) - 1.0, math.sqrt(3.0) - 1.0)

GEOMETRY_INPUTS = 11
LAW_INPUTS = 16
#: place of the wheel's load among the laws
WHEEL_LOAD = 8


def phase_lattice(count: int) -> np.ndarray:
    """Phases (count, 3) as shares of one pitch: phase_k(p) = frac((p + 1) alpha_k), alpha of LATTICE_STEPS.

    Columns: carrier against floor (of 2 pi/N), left and right hub against carrier (of 2 pi/M). A Kronecker lattice: a larger
    one contains the smaller. With 16 phases no stretch of a pitch longer than a tenth is left out, and the centred
    discrepancy in three dimensions is 0.008.
    """
    return (np.arange(1, count + 1)[:, None] * np.array(LATTICE_STEPS)) % 1.0


def kernel_inputs(wheel: WheelBatch, contacts: Contacts, wheel_load: np.ndarray) -> np.ndarray:
    """One row of numbers a candidate for the kernels, shape (n, GEOMETRY_INPUTS + LAW_INPUTS): PassGeometry, then Laws."""
    columns = [
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
        wheel.output_roller_count,
        wheel.hub_roller_count,
        contacts["contact_stiffness"],
        contacts["floor_stiffness"],
        wheel.axle_stop_stiffness,
        wheel.play,
        wheel.preload,
        wheel.preload_stiffness,
        wheel_load,
        wheel.friction_roller,
        contacts["friction_turning"],
        contacts["drag_turning"],
        wheel.friction_floor,
        contacts["bore_drag"],
        contacts["hysteresis"],
        contacts["floor_hysteresis"],
    ]
    return np.ascontiguousarray(np.column_stack(columns))


@kernel
def geometry_of(row: np.ndarray) -> PassGeometry:
    """The geometry in a row of kernel_inputs."""
    return PassGeometry(row[0], row[1], row[2], row[3], row[4], row[5], row[6], row[7], row[8], row[9], row[10])


@kernel
def laws_of(row: np.ndarray) -> Laws:
    """The laws in a row of kernel_inputs."""
    return Laws(
        int(row[11]), int(row[12]), row[13], row[14], row[15], row[16], row[17], row[18], row[19], row[20], row[21], row[22],
        row[23], row[24], row[25], row[26],
    )  # fmt: skip


@outer_kernel
def begin_phase(g: PassGeometry, laws: Laws, phase: np.ndarray, mirrored: bool, work: Workspace) -> int:
    """Contacts and floor of one phase (3 shares of a pitch); the mirrored wheel has its hubs exchanged.

    Returns how many rollers may stand on the floor; -1 where a side touches nothing.
    """
    touching = True
    for side in range(2):
        hub = 2 - side if mirrored else 1 + side
        found = meet(g, laws, side, phase[hub] * 2.0 * math.pi / laws.hub_count, work)
        touching = touching and found > 0
    standing = stand(laws, phase[0] * 2.0 * math.pi / laws.output_count, work)
    return standing if touching else -1
