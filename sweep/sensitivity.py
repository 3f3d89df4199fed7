"""Which variable moves which objective: small steps from one design, recomputed."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
import pandas as pd

from objectives.scoring import evaluate
from objectives.variables import CHOICE, INTEGER, VARIABLES, Variable
from sweep.front import OBJECTIVES
from sweep.meaning import options
from sweep.slacks import START, broken
from sweep.space import DECIMALS, PLAIN, TYRE_THICKNESS
from sweep.study import Study

#: step of a real variable as a share of its range
STEP = 0.02


@dataclass(frozen=True)
class Step:
    """A design with one variable changed, and what came of it."""

    variable: str
    value: float | str
    change: float  # of the variable, in its unit; nan for a name
    objectives: dict[str, float]  # change of each, in its own unit
    breaks: tuple[str, ...]  # constraints and limits that held before and no longer do
    rooms: Mapping[str, float] = field(default_factory=dict)  # change of each constraint's room, in its own unit

    def gain(self, objective: str) -> float:
        """Change of an objective, positive where it is better."""
        maximise = next(entry.maximise for entry in OBJECTIVES if entry.name == objective)
        return self.objectives[objective] if maximise else -self.objectives[objective]


def steps_from(design: pd.DataFrame, study: Study, phases: int) -> list[Step]:
    """Every variable one small step up and down, and every other option of a choice among names. ``design`` has one row.

    A step is 2 % of a real variable's range in the study (of the shipped one where the study fixes it), one for whole
    numbers, the next stock size. Numbers are computed even where a step breaks a constraint.
    """
    base, changed, made = design.iloc[0], [], []
    for variable in VARIABLES:
        if variable.name == TYRE_THICKNESS and base["bore"] == PLAIN:
            continue
        for value in _neighbours(variable, base[variable.name], study):
            made.append((variable, value))
            changed.append({**base.to_dict(), variable.name: value})
    table = study.space.canonical(pd.DataFrame([base.to_dict(), *changed])[[variable.name for variable in VARIABLES]])
    scores = evaluate(table, study.scenario, phases=phases, geometry_first=False)
    before = scores.iloc[0]
    held = set(broken(before, study.scenario))
    slacks = [name for name in scores.columns if name.startswith(START)]
    found = []
    for (variable, value), (_, after) in zip(made, scores.iloc[1:].iterrows(), strict=True):
        moved = {entry.name: float(after[entry.name] - before[entry.name]) for entry in OBJECTIVES}
        change = math.nan if variable.names else float(value) - float(base[variable.name])
        lost = tuple(name for name in broken(after, study.scenario) if name not in held)
        room = {name: float(after[name] - before[name]) for name in slacks}
        found.append(Step(variable.name, value, change, moved, lost, room))
    return found


def movers(steps: list[Step], objective: str, count: int = 3) -> list[Step]:
    """Of the numeric variables whose small step improves an objective, those that improve it most, the strongest first."""
    best: dict[str, Step] = {}
    for step in steps:
        if not math.isnan(step.change) and step.gain(objective) > 0:
            best[step.variable] = max(best.get(step.variable, step), step, key=lambda entry: entry.gain(objective))
    return sorted(best.values(), key=lambda step: -step.gain(objective))[:count]


def other_choices(steps: list[Step]) -> list[Step]:
    """The other options of the choices among names."""
    return [step for step in steps if math.isnan(step.change)]


def _neighbours(variable: Variable, value: float | str, study: Study) -> list[float | str]:
    domain = study.space.domains[variable.name]
    if variable.names:
        return [option for option in (domain.choices if not domain.fixed else ()) if option != value]
    if variable.kind == CHOICE:
        sizes = [float(size) for size in (options(variable, study.scenario.catalogue) if domain.fixed else domain.choices)]
        return [*[size for size in sizes if size < float(value)][-1:], *[size for size in sizes if size > float(value)][:1]]
    if variable.kind == INTEGER:
        step = 1.0
    else:
        low, high = (variable.low, variable.high) if domain.fixed else (domain.low, domain.high)
        step = max(round(STEP * (high - low), DECIMALS), 10.0**-DECIMALS)
    both = [round(float(value) + sign * step, DECIMALS) for sign in (-1, 1)]
    if not domain.fixed:  # a step out of the study's space is none
        both = [near for near in both if domain.low <= near <= domain.high]
    inside = np.greater if variable.open_ends else np.greater_equal
    return [
        int(near) if variable.kind == INTEGER else near
        for near in both
        if inside(near, variable.least) and inside(variable.most, near)
    ]
