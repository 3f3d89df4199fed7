"""Every dimension that the solids are made from: name, unit, value, meaning, and the formula that it comes from.

The edge between the mechanics, which count in SI units, and whoever draws: mm, degrees, N. No CAD library is used here.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import pandas as pd

from objectives.geometry_constraints import GeometryPlan
from objectives.layout import layout
from objectives.scenario import Scenario
from objectives.units import DEG, MM, N_PER_MM
from objectives.variables import VARIABLES
from objectives.wheel import wheel_batch
from sweep.errors import BadInput, Fault
from sweep.study import Study

#: SI per unit that a name may end with, the longer endings first
UNITS = {"N_per_mm": N_PER_MM, "mm": MM, "deg": DEG, "N": 1.0}


@dataclass(frozen=True)
class Dimension:
    """One number that a maker needs. The unit is also the end of the name (``_mm``, ``_deg``; none for counts)."""

    name: str
    unit: str
    value: float
    meaning: str
    formula: str = ""  # the function or rule that gives it; "" for a design variable or a study's key

    @staticmethod
    def of(name: str, value: float, meaning: str, formula: str = "") -> Dimension:
        """From a value in SI units; the unit is the end of the name.

        >>> Dimension.of("pitch_radius_mm", 0.075, "").value
        75.0
        """
        unit = next((unit for unit in UNITS if name.endswith("_" + unit)), "")
        return Dimension(name, unit.replace("_per_", "/"), round(float(value) / UNITS.get(unit, 1.0), 9), meaning, formula)


@dataclass(frozen=True)
class Dimensions:
    """The dimensions of one design by name: ``dimensions["pitch_radius_mm"]``."""

    design: str  # id of the design
    entries: Mapping[str, Dimension]
    words: Mapping[str, str]  # what is chosen by name: bore, output_tyre, hub_tyre, motor, structure, radial_bearing, ...
    roller_in_place: bool  # one output roller can be replaced without taking the wheel off the robot
    roller_in_place_reason: str  # how, or why not
    plan: GeometryPlan  # the wheel as a batch of one, its scenario and layout

    def __getitem__(self, name: str) -> float:
        return self.entries[name].value

    def count(self, name: str) -> int:
        """A dimension that is a count."""
        return round(self.entries[name].value)


def dimensions_of(study: Study | Scenario, design: pd.Series | Mapping[str, object]) -> Dimensions:
    """All dimensions of a design, a row with every design variable. Raises BadInput where one cannot be computed."""
    from sweep.cad.dimension_tables import replacement, table, words  # they import this module

    scenario = study.scenario if isinstance(study, Study) else study
    variables = pd.DataFrame([{variable.name: design[variable.name] for variable in VARIABLES}])
    wheel = wheel_batch(variables, scenario.catalogue, scenario.robot.floor)
    plan = GeometryPlan(wheel, scenario, layout(wheel, scenario))
    entries = {entry.name: entry for entry in table(plan)}
    name = str(design.get("design", "") or "")
    missing = [entry for entry in entries.values() if not math.isfinite(entry.value)]
    if missing:
        raise BadInput([
            Fault(entry.name, "must be a number to build the wheel", f"{entry.value}", name or "the design",
                  "is there a bearing for the shaft and a screw for the hub's axles?") for entry in missing
        ])  # fmt: skip
    in_place, reason = replacement(entries)
    return Dimensions(name, entries, words(plan), in_place, reason, plan)
