"""Designs for tests: drawn at random from a shipped study, and wheels like the one that speed is measured on."""

from __future__ import annotations

from functools import cache
from pathlib import Path

import numpy as np
import pandas as pd

from sweep.designs import baseline_designs
from sweep.study import Study, load_study

STUDIES = Path(__file__).parent.parent / "studies"
#: what varies by 10 % around the wheel of ``like_fifteen``
VARIED = (
    "wheel_diameter_mm", "output_roller_diameter_mm", "output_roller_fill", "hub_roller_diameter_mm", "hub_roller_length_mm",
    "contact_angle_deg", "skew_angle_deg", "preload_N", "preload_stiffness_N_per_mm", "bore_play_mm",
)  # fmt: skip


@cache
def study(name: str = "balancing") -> Study:
    """A shipped study."""
    return load_study(STUDIES / f"{name}.toml")


def baseline(name: str = "balancing") -> pd.DataFrame:
    """The baseline of a shipped study, one row."""
    designs = baseline_designs(study(name))
    assert designs is not None
    return designs


def drawn(count: int, name: str = "balancing", seed: int = 1) -> pd.DataFrame:
    """Designs drawn evenly over the space of a shipped study."""
    rng = np.random.default_rng(seed)
    axes = study(name).space.genes
    low, high = np.array([[axis.low, axis.high] for axis in axes]).T
    whole = np.array([axis.kind != "real" for axis in axes])
    share = rng.random((count, len(axes)))
    genes = np.where(whole, np.floor(low + share * (high - low + 1)), share)
    return study(name).space.decode(genes)


def like_fifteen(count: int, seed: int = 3) -> pd.DataFrame:
    """Designs around 15 output rollers and 22 hub rollers, every other number within 10 % of a plain wheel's."""
    rng = np.random.default_rng(seed)
    designs = pd.concat([baseline()] * count, ignore_index=True).assign(wheel_diameter_mm=220.0, hub_roller_diameter_mm=10.0)
    varied = {name: designs[name] * rng.uniform(0.9, 1.1, count) for name in VARIED}
    return designs.assign(
        **varied,
        output_roller_count=rng.integers(14, 16, count, endpoint=True),
        hub_roller_count=rng.integers(20, 24, count, endpoint=True),
        crown=rng.uniform(0.0, 0.3, count),
    )
