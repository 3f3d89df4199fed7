"""Every dimension that the solids are made from: name, unit, value, meaning, and the formula that it comes from.

The edge between the mechanics, which count in SI units, and whoever draws: mm, degrees, N. No CAD library is used here.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass


@dataclass(frozen=True)
class Dimension:
    """One number that a maker needs. The unit is also the end of the name (``_mm``, ``_deg``; none for counts)."""

    name: str
    unit: str
    value: float
    meaning: str
    formula: str = ""  # the function or rule that gives it; "" for a design variable or a study's key


@dataclass(frozen=True)
class Dimensions:
    """The dimensions of one design by name: ``dimensions["pitch_radius_mm"]``."""

    design: str  # id of the design
    entries: Mapping[str, Dimension]
    words: Mapping[str, str]  # what is chosen by name: bore, output_tyre, hub_tyre, motor, structure, radial_bearing, ...
    roller_in_place: bool  # one output roller can be replaced without taking the wheel off the robot
    roller_in_place_reason: str  # how, or why not

    def __getitem__(self, name: str) -> float:
        return self.entries[name].value

    def count(self, name: str) -> int:
        """A dimension that is a count."""
        return round(self.entries[name].value)
