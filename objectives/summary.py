"""What is kept of a candidate's equilibria and limit states: extremes and sums over its phases."""

from __future__ import annotations

import math

import numpy as np

from objectives.compiled import kernel
from objectives.contact_pass import PassGeometry, pass_contact, touches
from objectives.engagement import Laws, press_floor
from objectives.equilibrium import FORCE_X, press_side
from objectives.sharing import DRIVE_U, REACTION, SHARE_L, SHARE_R
from objectives.workspace import (
    AXIAL,
    CONTACT,
    EMPTY,
    FLOOR_FORCE,
    GAP,
    INWARD,
    LEVER_C,
    SIDE,
    U,
    V,
    Workspace,
    padded,
)

#: share of the largest contact force below which a contact counts as unloaded
LOADED = 1e-3

# what is summed up of a candidate's equilibria and limit states
(
    FORCE_MAX,
    FORCE_SUM,
    FORCE_COUNT,
    ENGAGED_MIN,
    GAP_MAX,
    CLOSURE_MIN,
    CLOSURE_MAX,
    HEIGHT_MIN,
    HEIGHT_MAX,
    REACTION_MAX,
    FLOOR_MAX,
    DEPTH_MAX,
    SHIFT_MAX,
    TILT_MAX,
    COGGING_LOW,
    COGGING_HIGH,
    CONTACT_ENERGY,
    UNSETTLED,
    DRIVE_FORCE_MAX,
    DRIVE_TILT_MAX,
    DRIVE_REACTION_MAX,
    DRIVE_CLOSURE_MAX,
    DRIVE_HEIGHT_MIN,
    UNRESOLVED,
    WITHOUT_CONTACT,
) = range(25)
SUMMARY = 25


@kernel
def _tilt(sums: np.ndarray, share: np.ndarray, at: int, drive: bool, laws: Laws, circle: float) -> float:
    """Tilting moment of a hub [N m]: the axial forces of its contacts about the middle of its contact circle."""
    cosine = 0.0
    sine = 0.0
    for i in range(laws.output_count):
        force = sums[FORCE_X + i]
        if drive:
            force -= share[at + i] * sums[DRIVE_U + i]
        angle = 2.0 * math.pi * i / laws.output_count
        cosine += force * math.cos(angle)
        sine += force * math.sin(angle)
    return circle * math.hypot(cosine, sine)


@kernel
def sum_up_equilibrium(
    g: PassGeometry, laws: Laws, standing: int, work: Workspace, border: np.ndarray, summary: np.ndarray
) -> None:
    """Take an equilibrium into the summary of its candidate."""
    n = padded(laws.output_count)
    press_floor(g, laws, standing, border[2], work)
    circle = g.pitch_radius - g.output_radius * g.sin_contact
    largest = 0.0
    energy = work.step
    for i in range(n):
        energy[i] = 0.0
    for side in range(2):
        sign = 1.0 - 2.0 * side
        sums = work.left if side == 0 else work.right
        press_side(work.contacts, side, work.slots[side], n, laws.contact_stiffness, border[side], work.unknowns, sums)
        summary[TILT_MAX] = max(summary[TILT_MAX], _tilt(sums, sums, 0, False, laws, circle))
        cogging = 0.0
        for pass_ in range(2):  # the loaded ones can be counted only when the largest is known
            engaged = 0
            for slot in range(work.slots[side]):
                at = side * SIDE + slot * CONTACT
                for i in range(laws.output_count):
                    if work.contacts[at + GAP + i] >= EMPTY:
                        continue
                    inward = work.contacts[at + INWARD + i]
                    axial = work.contacts[at + AXIAL + i]
                    shift = border[side] + sign * work.unknowns[V + i]
                    overlap = inward * work.unknowns[U + i] + axial * shift - work.contacts[at + GAP + i]
                    if overlap <= 0.0:
                        continue
                    force = laws.contact_stiffness * overlap * math.sqrt(overlap)
                    if pass_ == 0:
                        largest = max(largest, force)
                        cogging -= force * inward * work.contacts[at + LEVER_C + i] / axial
                        energy[i] += 0.4 * force * overlap
                        summary[FORCE_SUM] += force
                        summary[FORCE_COUNT] += 1.0
                    elif force > LOADED * largest:
                        engaged += 1
        summary[ENGAGED_MIN] = min(summary[ENGAGED_MIN], engaged)
        summary[CLOSURE_MIN] = min(summary[CLOSURE_MIN], border[side])
        summary[CLOSURE_MAX] = max(summary[CLOSURE_MAX], border[side])
        summary[COGGING_LOW] = min(summary[COGGING_LOW], cogging)
        summary[COGGING_HIGH] = max(summary[COGGING_HIGH], cogging)
    summary[FORCE_MAX] = max(summary[FORCE_MAX], largest)
    summary[HEIGHT_MIN] = min(summary[HEIGHT_MIN], border[2])
    summary[HEIGHT_MAX] = max(summary[HEIGHT_MAX], border[2])
    free_energy = 0.0
    free_rollers = 0
    for i in range(laws.output_count):
        distance = math.hypot(work.unknowns[U + i], work.unknowns[V + i])
        summary[REACTION_MAX] = max(summary[REACTION_MAX], laws.stop_stiffness * (distance - laws.play))
        summary[SHIFT_MAX] = max(summary[SHIFT_MAX], abs(work.unknowns[U + i]))
        if work.floor[FLOOR_FORCE + i] == 0.0:
            free_energy += energy[i]
            free_rollers += 1
    for k in range(standing):
        i = work.floor_roller[k]
        force = work.floor[FLOOR_FORCE + i]
        if force > 0.0:
            summary[FLOOR_MAX] = max(summary[FLOOR_MAX], force)
            depth = g.wheel_radius * work.floor_angle[k, 1] - work.unknowns[U + i] - border[2]
            summary[DEPTH_MAX] = max(summary[DEPTH_MAX], depth)
            if free_rollers > 0:
                swing = abs(energy[i] - free_energy / free_rollers)
                summary[CONTACT_ENERGY] = max(summary[CONTACT_ENERGY], swing)


@kernel
def sum_up_limit(g: PassGeometry, laws: Laws, work: Workspace, border: np.ndarray, summary: np.ndarray) -> None:
    """Take a limit state into the summary of its candidate."""
    circle = g.pitch_radius - g.output_radius * g.sin_contact
    largest = 0.0
    for side in range(2):
        sign = 1.0 - 2.0 * side
        for slot in range(work.slots[side]):
            at = side * SIDE + slot * CONTACT
            for i in range(laws.output_count):
                shift = border[side] + sign * work.unknowns[V + i]
                overlap = work.contacts[at + INWARD + i] * work.unknowns[U + i] + work.contacts[at + AXIAL + i] * shift
                largest = max(largest, overlap - work.contacts[at + GAP + i])
    force = laws.contact_stiffness * largest * math.sqrt(largest)
    summary[DRIVE_CLOSURE_MAX] = max(summary[DRIVE_CLOSURE_MAX], border[0], border[1])
    summary[DRIVE_HEIGHT_MIN] = min(summary[DRIVE_HEIGHT_MIN], border[2])
    summary[DRIVE_FORCE_MAX] = max(summary[DRIVE_FORCE_MAX], force)
    tilt = _tilt(work.left, work.share, SHARE_L, True, laws, circle)
    tilt = max(tilt, _tilt(work.right, work.share, SHARE_R, True, laws, circle))
    summary[DRIVE_TILT_MAX] = max(summary[DRIVE_TILT_MAX], tilt)
    for i in range(laws.output_count):
        summary[DRIVE_REACTION_MAX] = max(summary[DRIVE_REACTION_MAX], work.step[REACTION + i])


@kernel
def gap_max(g: PassGeometry, laws: Laws) -> float:
    """Largest opening [m] of a pass against its middle, over the places where both rollers reach."""
    middle = pass_contact(g, 0.0).gap
    largest = 0.0
    for k in range(9):
        contact = pass_contact(g, (k - 4) / 4.0 * math.pi / laws.output_count)
        if touches(g, contact):
            largest = max(largest, contact.gap - middle)
    return largest
