"""Objective: the torque about the wheel's axle that the robot can rely on."""

from __future__ import annotations

import math

import numpy as np

from objectives.assessment import Assessment


def torque_capacity(assessment: Assessment) -> np.ndarray:
    """Torque about the axle [N m], shape (n,): R_w times the smaller of drive limit and motor limit, over forward and reverse.

    The drive limit is the worst phase's, friction coupled; the motor limit is that at top speed.
    """
    limits = assessment.limits
    drive = limits.worst[:, [limits.of(0.0), limits.of(math.pi)]]
    with np.errstate(invalid="ignore"):
        return assessment.wheel.wheel_radius * np.minimum(drive, assessment.drive.top_speed_motor_limit).min(axis=1)
