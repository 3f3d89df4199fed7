"""Designs scored over a sample of what is not known: percentiles of what counts, and how often all holds.

All designs meet the same sample of a scrambled Sobol sequence, seeded by the study, so that they differ by what they are and
not by luck. Its first points are a sample of their own.

The sample is scored at as many positions of the wheel as the search takes; what more positions change at the nominal values is
added to each number. So with no spread the percentiles are the numbers themselves.
"""

from __future__ import annotations

import importlib
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import fields
from functools import cache

import numpy as np
import pandas as pd

from objectives.units import MM, MPA
from objectives.unknowns import Unknowns
from objectives.variables import VARIABLE
from sweep.columns import HOLDING
from sweep.front import OBJECTIVES, Objective
from sweep.problem import Score
from sweep.study import Study
from sweep.unknowns import FLOOR_CONDITION, FLOOR_FRICTION, NAMES, UNKNOWN, Spread, Uncertainty

#: samples of each feasible candidate while searching for percentiles
ROBUST_SAMPLES = 8
LOW, HIGH = "_p05", "_p95"
LOW_SHARE, HIGH_SHARE = 0.05, 0.95
#: what does not depend on how the wheel turns out
CERTAIN = ("mass_kg", "printability")
#: columns beside the objectives that get percentiles, and whether more is better
MORE_IS_BETTER: Mapping[str, bool] = {
    **{f"drive_limit_{name}_N": True for name in ("forward", "reverse", "sideways", "diagonal")},
    "floor_grip": True,
    "motor_margin": True,
    "contact_pressure_max_MPa": False,
    "roller_temperature_rise_K": False,
    "free_spin_torque_Nm": False,
    "preload_swing_N": False,
    "binding_clearance_mm": True,
}
SPREAD_COLUMNS: Mapping[str, bool] = {entry.name: entry.maximise for entry in OBJECTIVES} | dict(MORE_IS_BETTER)
BINDING = "binding_clearance_mm"
#: how columns begin that say how a design differs from its tables
DIFFERS = "differs_"
#: least of what a factor may be: friction and stiffness stay positive
LEAST_FACTOR = 0.02
#: fields of Unknowns that are lengths, not factors
LENGTHS = ("play", "seat_error", "run_out")
#: a place in no distribution: the nominal value, the dry floor
AS_DESIGNED = np.nan

#: objectives of a search for percentiles: the bad end of each
ROBUST = tuple(
    entry if entry.name in CERTAIN else Objective(entry.name + (LOW if entry.maximise else HIGH), entry.maximise)
    for entry in OBJECTIVES
)


def base_of(name: str) -> str:
    """The column that a percentile is of.

    >>> base_of("slip_margin_p05"), base_of("mass_kg")
    ('slip_margin', 'mass_kg')
    """
    return name.removesuffix(LOW).removesuffix(HIGH)


@cache
def sobol(count: int, seed: int) -> np.ndarray:
    """The first points of a scrambled Sobol sequence, shape (count, len(NAMES)), within (0, 1); ``count`` a power of two.

    A column each for every name there is, so that a point does not depend on which of them a study spreads.
    """
    from scipy.stats import qmc

    points = qmc.Sobol(len(NAMES), scramble=True, rng=np.random.default_rng(seed)).random(count)
    points = np.clip(points, 2.0**-32, 1 - 2.0**-32)
    points.flags.writeable = False
    return points


def differing(
    designs: pd.DataFrame, points: np.ndarray, uncertainty: Uncertainty, study: Study, names: Sequence[str] = NAMES
) -> pd.DataFrame:
    """Every design at every point, design by design: variables as they turn out, and columns for what differs otherwise.

    ``points`` has shape (samples, len(names)), within (0, 1) or AS_DESIGNED; what no column is for keeps its value.
    """
    from scipy.special import ndtri

    count = len(points)
    normal = np.nan_to_num(ndtri(points))
    table = designs.loc[designs.index.repeat(count)].reset_index(drop=True)
    nominal = _nominal(designs, study)
    differs = {item.name: np.zeros(len(table)) if item.name in LENGTHS else np.ones(len(table)) for item in fields(Unknowns)}
    for column, name in enumerate(names):
        if name == FLOOR_CONDITION:
            differs["friction_floor"] *= np.tile(floor_factor(points[:, column], uncertainty.floor), len(designs))
            continue
        deviates = np.tile(normal[:, column], len(designs))
        spread = uncertainty.spreads.get(name)
        if spread is None:
            continue
        place = UNKNOWN[name].field if name in UNKNOWN else ""
        if not place:
            table[name] = _changed(table[name].to_numpy(dtype=float), name, spread, deviates)
            continue
        value = np.repeat(nominal.get(place, np.ones(len(designs))), count)
        if place in LENGTHS:
            differs[place] = (spread.around(value, deviates) - value) * MM
        else:
            differs[place] *= np.maximum(spread.around(value, deviates) / value, LEAST_FACTOR)
    return table.assign(**{DIFFERS + place: values for place, values in differs.items()})


def floor_factor(share: np.ndarray, shares: Mapping[str, float]) -> np.ndarray:
    """Friction of the floor over its dry one at places in (0, 1), the slippery conditions first.

    >>> floor_factor(np.array([0.01, 0.1, 0.9]), {"dry": 0.8, "dirty": 0.15, "wet": 0.05}).tolist()
    [0.46, 0.7, 1.0]
    """
    ranked = sorted(FLOOR_FRICTION, key=lambda name: FLOOR_FRICTION[name])
    edges = np.cumsum([shares.get(name, 0.0) for name in ranked])[:-1]
    return np.array([FLOOR_FRICTION[name] for name in ranked])[np.searchsorted(edges, share, side="right")]


def score_differing(designs: pd.DataFrame, phases: int, study: Study) -> pd.DataFrame:
    """Scores of designs with the columns of ``differing``. What breaks a geometry constraint is computed all the same."""
    evaluate = importlib.import_module("objectives.scoring").evaluate
    unknowns = Unknowns(*(designs[DIFFERS + item.name].to_numpy(dtype=float) for item in fields(Unknowns)))
    return evaluate(designs, study.scenario, phases=phases, geometry_first=False, unknowns=unknowns)


def with_spread(table: pd.DataFrame, study: Study, samples: int, phases: int, score: Score) -> pd.DataFrame:
    """Scored designs with percentiles and ``share_holding`` beside their columns.

    ``score`` takes designs with the columns of ``differing``. A number that is missing in a sample counts as the worst.
    """
    variables = [name for name in table.columns if name in VARIABLE]
    designs = table[variables].reset_index(drop=True)
    points = np.concatenate([np.full((1, len(NAMES)), AS_DESIGNED), sobol(samples, study.search.seed)])
    scores = score(differing(designs, points, study.uncertainty, study), phases)
    slacks = [name for name in table.columns if str(name).startswith("slack_") and name in scores]
    names = [name for name in (*SPREAD_COLUMNS, *slacks) if name in table and name in scores]

    def over_samples(name: str) -> np.ndarray:
        values = scores[name].to_numpy(dtype=float).reshape(len(designs), len(points))
        own = table[name].to_numpy(dtype=float)[:, None]
        if name in CERTAIN:
            return np.repeat(own, samples, axis=1)
        return values[:, 1:] - values[:, :1] + own

    found = {name: over_samples(name) for name in names}
    columns: dict[str, np.ndarray] = {}
    for name, better in SPREAD_COLUMNS.items():
        if name in found:
            columns[name + LOW], columns[name + HIGH] = percentiles(found[name], better)
    columns[HOLDING] = holding(found, slacks)
    return pd.concat([table.reset_index(drop=True), pd.DataFrame(columns)], axis=1)


def percentiles(values: np.ndarray, more_is_better: bool) -> tuple[np.ndarray, np.ndarray]:
    """5th and 95th percentile over the last axis, (n, s) to twice (n,): the least sample that such a share does not exceed.

    A missing value counts as the worst; a percentile that falls on one is missing.

    >>> percentiles(np.arange(1.0, 101.0)[None, :], True)
    (array([5.]), array([95.]))
    """
    count = values.shape[1]
    worst = -np.inf if more_is_better else np.inf
    ranked = np.sort(np.where(np.isnan(values), worst, values), axis=1)
    low, high = (ranked[:, max(int(np.ceil(share * count - 1e-9)), 1) - 1] for share in (LOW_SHARE, HIGH_SHARE))
    return np.where(np.isinf(low), np.nan, low), np.where(np.isinf(high), np.nan, high)


def holding(found: Mapping[str, np.ndarray], slacks: Sequence[str]) -> np.ndarray:
    """Share of the samples in which no slack is negative or missing, no objective is missing and nothing binds, (n,)."""
    shape = next(iter(found.values())).shape
    holds = np.ones(shape, dtype=bool)
    for name in slacks:
        holds &= found[name] >= 0
    for entry in OBJECTIVES:
        if entry.name in found:
            holds &= np.isfinite(found[entry.name])
    if BINDING in found:
        holds &= found[BINDING] > 0
    return holds.mean(axis=1)


def robust(score: Score, differing_score: Score, study: Study) -> Callable[[pd.DataFrame, int], pd.DataFrame]:
    """Scoring that gives percentiles too, of the candidates that are feasible at the nominal values."""

    def scoring(designs: pd.DataFrame, phases: int) -> pd.DataFrame:
        scores = score(designs, phases).reset_index(drop=True)
        rows = np.flatnonzero(scores["feasible"].to_numpy(dtype=bool))
        added = {name: np.full(len(scores), np.nan) for name in spread_names(scores.columns)}
        if len(rows):
            table = pd.concat([designs.reset_index(drop=True), scores], axis=1).iloc[rows]
            spread = with_spread(table, study, ROBUST_SAMPLES, phases, differing_score)
            for name, values in added.items():
                values[rows] = spread[name].to_numpy(dtype=float)
        return pd.concat([scores, pd.DataFrame(added)], axis=1)

    return scoring


def spread_names(columns: Iterable[str]) -> list[str]:
    """The columns that ``with_spread`` adds to a table with these."""
    known = set(columns)
    return [name + end for name in SPREAD_COLUMNS if name in known for end in (LOW, HIGH)] + [HOLDING]


def _changed(values: np.ndarray, name: str, spread: Spread, normal: np.ndarray) -> np.ndarray:
    """A variable as it turns out, kept within its meaning."""
    variable = VARIABLE[name]
    inside = 1e-6 if variable.open_ends else 0.0
    return np.clip(spread.around(values, normal), variable.least + inside, variable.most - inside)


def _nominal(designs: pd.DataFrame, study: Study) -> dict[str, np.ndarray]:
    """What the tables say of each design, in the unknowns' own units; lengths that no table has are 0."""
    from objectives.wheel import wheel_batch

    wheel = wheel_batch(designs, study.scenario.catalogue, study.scenario.robot.floor)
    none = np.zeros(len(designs))
    return {
        "friction_roller": wheel.friction_roller,
        "friction_bore": wheel.friction_bore,
        "friction_floor": wheel.friction_floor,
        "youngs_modulus": wheel.output_youngs_modulus / MPA,
        "loss_tangent": wheel.output_loss_tangent,
        "play": wheel.bore_play / MM,
        "seat_error": none,
        "run_out": none,
    }
