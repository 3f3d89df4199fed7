"""What every objective keeps to: one number a wheel, in its unit, whatever stands beside it, nan where it cannot be told."""

from __future__ import annotations

import inspect
import warnings
from dataclasses import fields, is_dataclass, replace
from typing import Any

import numpy as np
import pandas as pd
import pytest

from objectives.assessment import Assessment
from objectives.layout import layout
from objectives.phases import phase_lattice
from objectives.scoring import COLUMNS, MAX, MIN, OBJECTIVES, Objective, assess
from objectives.wheel import wheel_batch
from sweep import front
from tests.drawn import baseline, study

SCENARIO = study().scenario
each = pytest.mark.parametrize("objective", OBJECTIVES, ids=[objective.name for objective in OBJECTIVES])
MECHANICS = ("normal", "limits", "running", "drive")


def assessed(preloads: list[float]) -> Assessment:
    """Baselines with these preloads, assessed in 2 phases."""
    designs = pd.concat([baseline()] * len(preloads), ignore_index=True).assign(preload_N=preloads)
    wheel = wheel_batch(designs, SCENARIO.catalogue, SCENARIO.robot.floor)
    return assess(wheel, layout(wheel, SCENARIO), SCENARIO, phase_lattice(2))


def arrays(value: Any, path: str = "") -> dict[str, np.ndarray]:
    """All arrays inside an assessment, by where they stand."""
    if isinstance(value, np.ndarray):
        return {path: value}
    inner: dict[str, Any] = {}
    if is_dataclass(value):
        inner = {item.name: getattr(value, item.name) for item in fields(value)}
    elif isinstance(value, dict):
        inner = value
    return {place: array for name, part in inner.items() for place, array in arrays(part, f"{path}.{name}").items()}


@pytest.fixture(scope="module")
def known() -> Assessment:
    return assessed([100.0, 120.0, 140.0])


@each
def test_one_finite_number_a_wheel(objective: Objective, known: Assessment) -> None:
    values = objective.function(known)
    assert values.shape == (3,)
    assert values.dtype == float
    assert np.isfinite(values).all()


@each
def test_it_takes_an_assessment_and_nothing_else(objective: Objective) -> None:
    assert list(inspect.signature(objective.function).parameters) == ["assessment"]
    assert objective.function.__module__.startswith("objectives.")
    assert (objective.function.__doc__ or "").strip()


@each
def test_it_changes_nothing_that_it_reads(objective: Objective, known: Assessment) -> None:
    before = {place: array.copy() for place, array in arrays(known).items()}
    objective.function(known)
    for place, array in arrays(known).items():
        assert np.array_equal(array, before[place], equal_nan=array.dtype.kind == "f"), place


@each
def test_a_wheel_scores_alike_whatever_stands_beside_it(objective: Objective, known: Assessment) -> None:
    turned = objective.function(assessed([140.0, 100.0, 120.0]))
    assert turned.tolist() == objective.function(known)[[2, 0, 1]].tolist()
    assert objective.function(assessed([120.0])).tolist() == objective.function(known)[[1]].tolist()


@each
def test_what_is_missing_stays_with_its_wheel(objective: Objective, known: Assessment) -> None:
    """All that the mechanics gave for the second wheel is nan: no other wheel may notice, and no warning may come up."""

    def lost(part: Any) -> Any:
        blank = {}
        for item in fields(part):
            value = getattr(part, item.name)
            if isinstance(value, dict):
                blank[item.name] = {name: hidden(array) for name, array in value.items()}
            elif isinstance(value, np.ndarray) and value.dtype == float and len(value) == 3 and item.name != "direction":
                blank[item.name] = hidden(value)
        return replace(part, **blank)

    def hidden(array: np.ndarray) -> np.ndarray:
        copy = array.copy()
        copy[1] = np.nan
        return copy

    broken = replace(known, **{name: lost(getattr(known, name)) for name in MECHANICS})
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        values = objective.function(broken)
    whole = objective.function(known)
    assert values[[0, 2]].tolist() == whole[[0, 2]].tolist()
    assert np.isnan(values[1]) or values[1] == whole[1]  # mass and print need no mechanics


@each
def test_its_line_in_the_list(objective: Objective) -> None:
    assert objective.sense in (MAX, MIN)
    assert objective.resolution > 0
    assert objective.meaning
    assert COLUMNS[objective.name].unit == objective.unit
    ends = {"N m": "_Nm", "W": "_W", "kg": "_kg", "1": ""}
    assert objective.name.endswith(ends[objective.unit])


def test_the_search_takes_its_objectives_from_the_list() -> None:
    assert [(o.name, o.maximise) for o in front.OBJECTIVES] == [(o.name, o.sense == MAX) for o in OBJECTIVES]


def test_the_senses_are_those_of_the_users_contract() -> None:
    assert {objective.name: objective.sense for objective in OBJECTIVES} == {
        "torque_capacity_Nm": "max", "slip_margin": "max", "friction_loss_W": "min", "mass_kg": "min", "printability": "max",
    }  # fmt: skip
