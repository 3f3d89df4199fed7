"""Objective: how far the friction drive is from slipping under what is asked of it."""

from __future__ import annotations

import numpy as np

from objectives.assessment import Assessment


def case_margins(assessment: Assessment) -> np.ndarray:
    """Drive limit in the case's own direction over the force asked [-], shape (n, k); inf where nothing is asked."""
    solved = [assessment.limits.of(direction) for direction in assessment.cases.direction]
    with np.errstate(divide="ignore", invalid="ignore"):
        return assessment.limits.worst[:, solved] / assessment.cases.force


def slip_margin(assessment: Assessment) -> np.ndarray:
    """Smallest margin over all load cases [-], shape (n,): drive limit of the worst phase over force asked."""
    return case_margins(assessment).min(axis=1)
