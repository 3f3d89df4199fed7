"""How much room a scored design has left in each constraint and limit, tightest first."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import pandas as pd

from objectives.constraints import CONSTRAINT
from objectives.scenario import Scenario
from objectives.scoring import COLUMNS, limit_slacks, slack_scales
from sweep.show import quantity

START = "slack_"


@dataclass(frozen=True)
class Room:
    """What is left in one constraint or limit. ``scale`` is the shortfall that counts as one."""

    name: str
    unit: str
    meaning: str
    slack: float  # nan where it cannot be told
    scale: float

    @property
    def relative(self) -> float:
        """Slack over its scale, so that constraints compare."""
        return self.slack / self.scale

    def __str__(self) -> str:
        return f"{self.name} {quantity(self.slack, self.unit)}"


def rooms(design: pd.Series | Mapping[str, Any], scenario: Scenario) -> list[Room]:
    """The rooms of a scored design, the tightest first, those that cannot be told last."""
    found = [
        Room(name, constraint.unit, constraint.meaning, float(design[START + name]), constraint.scale)
        for name, constraint in CONSTRAINT.items()
        if START + name in design
    ]
    scales = slack_scales(scenario)
    for limit in scenario.limits:
        for column, (bound, sign) in limit_slacks(limit).items():
            if column in design:
                unit = COLUMNS[limit.column].unit
                rule = f"{limit.column} {'at least' if sign > 0 else 'at most'} {bound:g}, a limit of the study"
                unit = "" if unit == "1" else unit
                found.append(Room(column.removeprefix(START), unit, rule, float(design[column]), scales[column]))
    return sorted(found, key=lambda room: (math.isnan(room.slack), room.relative))


def broken(design: pd.Series | Mapping[str, Any], scenario: Scenario) -> list[str]:
    """Names of the constraints and limits that a design breaks, the worst first."""
    return [room.name for room in rooms(design, scenario) if room.slack < 0]
