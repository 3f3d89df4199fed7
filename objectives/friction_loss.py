"""Objective: power lost on the way from the motors to the floor.

What the motors lose in themselves (copper, no load) is not among it; the battery's current and run time count that too.
"""

from __future__ import annotations

import numpy as np

from objectives.assessment import Assessment


def losses_by_name(assessment: Assessment) -> dict[str, np.ndarray]:
    """Duty-weighted mean of each loss [W], by name, shapes (n,): those of the contacts and those of the drive."""
    losses = assessment.running.losses | assessment.drive.losses
    with np.errstate(invalid="ignore"):
        return {name: assessment.cases.over_duty(loss) for name, loss in losses.items()}


def friction_loss(assessment: Assessment) -> np.ndarray:
    """Duty-weighted sum of all losses [W], shape (n,)."""
    return sum(losses_by_name(assessment).values(), np.zeros(len(assessment.wheel)))
