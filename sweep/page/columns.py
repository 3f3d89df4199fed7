"""How the page names, groups and rounds the columns of a front."""

from __future__ import annotations

import math

import numpy as np
import pandas as pd

from objectives.scoring import COLUMNS
from objectives.variables import INTEGER, VARIABLE
from sweep.columns import HOLDING, described
from sweep.front import OBJECTIVES
from sweep.slacks import START

NAMES = tuple(objective.name for objective in OBJECTIVES)
MAXIMISE = {objective.name: objective.maximise for objective in OBJECTIVES}
#: stands for what has no end, where the browser's JSON has no sign for it
ENDLESS = 1e9
#: significant digits of what the browser gets; limits are asked of the same rounded numbers everywhere
DIGITS = 6
#: what the table shows before anybody chose: the answers first, then what a maker has to get
SHOWN = (
    *NAMES, "print_time_h", "binding_clearance_mm", "wheel_diameter_mm", "output_roller_count", "hub_roller_count",
    "skew_angle_deg", "preload_N", "bore", "output_tyre", "hub_tyre", "motor",
)  # fmt: skip
OBJECTIVE, VARIABLE_GROUP, OUTPUT, ROOM = "Objectives", "Variables", "Outputs", "Room in the constraints"
#: columns that say nothing in a table or on an axis
LEFT_OUT = {"design", "status", "validity", "feasible", "violation"}


def unit(name: str) -> str:
    """The unit of a column, empty where it has none.

    >>> unit("mass_kg"), unit("slip_margin"), unit("motor")
    ('kg', '', '')
    """
    found = described(name)[0]
    return "" if found == "1" else found


def label(name: str) -> str:
    """What the page calls a column: its name in words, without the unit.

    >>> label("torque_capacity_Nm"), label("preload_stiffness_N_per_mm"), label("slack_arm_neck"), label("slip_margin_p05")
    ('Torque capacity', 'Preload stiffness', 'Room: arm neck', 'Slip margin, 5th percentile')
    """
    for ending, words in (("_p05", ", 5th percentile"), ("_p95", ", 95th percentile")):
        if name.endswith(ending):
            return label(name.removesuffix(ending)) + words
    if name.startswith(START):
        return "Room: " + name.removeprefix(START).replace("_", " ")
    ending = "_" + unit(name).replace(" ", "").replace("/", "_per_").replace("mm^1.5", "mm15")
    stem = name.removesuffix(ending) if len(ending) > 1 else name
    return stem.replace("_", " ").capitalize()


def with_unit(name: str) -> str:
    """A column in words with its unit.

    >>> with_unit("mass_kg"), with_unit("slip_margin")
    ('Mass [kg]', 'Slip margin')
    """
    return f"{label(name)} [{unit(name)}]" if unit(name) else label(name)


def is_word(column: pd.Series) -> bool:
    """Whether a column holds names rather than numbers."""
    return not pd.api.types.is_numeric_dtype(column)


def group(name: str) -> str:
    """The group that a column is listed in."""
    if name in NAMES:
        return OBJECTIVE
    if name in VARIABLE:
        return VARIABLE_GROUP
    return ROOM if name.startswith(START) else OUTPUT


def groups(frame: pd.DataFrame) -> dict[str, list[str]]:
    """Columns of a front that can be shown, limited or drawn, by group; those without any value are left out."""
    found: dict[str, list[str]] = {OBJECTIVE: list(NAMES), VARIABLE_GROUP: [], OUTPUT: [], ROOM: []}
    for name in map(str, frame.columns):
        if name in LEFT_OUT or name in NAMES or (len(frame) and frame[name].isna().all()):
            continue
        found[group(name)].append(name)
    return found


def maximised(name: str) -> bool | None:
    """Whether more of a column is better; None where the column alone does not say."""
    if name in MAXIMISE:
        return MAXIMISE[name]
    base = name.removesuffix("_p05").removesuffix("_p95")
    if base in MAXIMISE:
        return MAXIMISE[base]
    if name.startswith((START, "drive_limit_", "motor_limit_")) or name in (HOLDING, "binding_clearance_mm", "floor_grip"):
        return True
    if name.startswith("loss_") or name in ("print_time_h", "free_spin_torque_Nm", "roller_temperature_rise_K", "wedge_factor"):
        return False
    return None


def rounded(frame: pd.DataFrame) -> pd.DataFrame:
    """A front as the page holds it: numbers at DIGITS digits, truth as words, what has no end at ENDLESS; rows as they were."""
    columns = {}
    for name, column in frame.items():
        if pd.api.types.is_bool_dtype(column):
            columns[name] = np.where(column.to_numpy(), "yes", "no").astype(object)
        elif is_word(column):
            columns[name] = column.astype(object).where(column.notna(), "").to_numpy()
        elif pd.api.types.is_integer_dtype(column):
            columns[name] = column.to_numpy()
        else:
            columns[name] = np.clip(_significant(column.to_numpy(dtype=float)), -ENDLESS, ENDLESS)
    return pd.DataFrame(columns)


def _significant(values: np.ndarray) -> np.ndarray:
    """Numbers at DIGITS significant digits, as their decimal texts read."""
    return np.array([float(f"{value:.{DIGITS}g}") for value in values], dtype=float)


def decimals(low: float, high: float, name: str = "") -> int:
    """Decimals that tell some 300 steps of a range apart.

    >>> decimals(2.0, 18.0), decimals(0.9, 2.1), decimals(120.0, 260.0), decimals(3.0, 3.0)
    (2, 3, 1, 2)
    """
    if name in VARIABLE and VARIABLE[name].kind == INTEGER:
        return 0
    span = high - low
    if not span > 0 or not math.isfinite(span):
        return 2
    return max(0, min(4, math.ceil(2.5 - math.log10(span))))


def meaning(name: str) -> str:
    """What a column means, in words; empty where nobody said."""
    return COLUMNS[name].meaning if name in COLUMNS else described(name)[1]
