"""What matters for one design: the unknowns that its numbers hang on, the variables that move them; what to do first."""

from __future__ import annotations

import contextlib
import json
import math
from collections.abc import Callable, Sequence
from functools import partial
from operator import attrgetter
from typing import Any

import numpy as np
import pandas as pd

from objectives.variables import VARIABLE, VARIABLES
from sweep.archive import RunFolder, versions
from sweep.columns import HOLDING, described
from sweep.errors import SweepFailure
from sweep.front import OBJECTIVES
from sweep.guarding import guarded
from sweep.problem import Score, scored, scoring_of
from sweep.run_study import find_design, study_of
from sweep.sensitivity import Step, steps_from
from sweep.show import plain
from sweep.slacks import START, rooms
from sweep.space import PLAIN, TYRE_THICKNESS
from sweep.study import Study
from sweep.uncertainty import CERTAIN, SPREAD_COLUMNS, differing, holding, percentiles, score_differing
from sweep.unknowns import FLOOR_CONDITION, NAMES, meaning_of

#: points of each of the two samples that indices are made of; the design is scored at (unknowns + 2) times as many
SAMPLES = 256
#: the outputs whose spread ranks the unknowns: the objectives that spread, and whether all holds
RANKED = (*(entry.name for entry in OBJECTIVES if entry.name not in CERTAIN), HOLDING)
#: how many things to measure and to change are named
NAMED = 3
#: slopes are told over this share of a variable's range
RANGE_SHARE = 0.1
#: spread over the number itself below which an output counts as fixed
FIXED = 1e-9
#: bootstrapped confidence of the indices, and resamples for it
CONFIDENCE, RESAMPLES = 0.9, 200


def summary(run: RunFolder, design: str, samples: int = SAMPLES, pulse: Callable[[int], None] | None = None) -> dict[str, Any]:
    """What matters for a stored design, as data; kept in the run's folder under ``matter/`` and read from there again."""
    row = find_design(run, design)
    kept = stored(run, str(row["design"]), samples)
    if kept is not None:
        return kept
    study = study_of(run)
    found = plain(matter_of(study, row, samples, pulse) | _stamp(study.hash))
    with contextlib.suppress(SweepFailure, OSError):  # whoever may only read a run still gets its answer
        run.location.write(_place(str(row["design"]), samples), (json.dumps(found, indent=1, allow_nan=False) + "\n").encode())
    return dict(found)


def stored(run: RunFolder, design: str, samples: int | None = None) -> dict[str, Any] | None:
    """What a run's folder holds of what matters for a design, by its whole id: with so many samples, or else with the most.

    None where it holds nothing of this version.
    """
    stamp = _stamp(str((run.about() or {}).get("study_hash")))
    counts = sorted((_samples(name, design) for name in run.location.names("matter")), reverse=True)
    for count in [count for count in counts if count and samples in (None, count)]:
        with contextlib.suppress(ValueError, OSError):
            kept = json.loads(run.location.read(_place(design, count)))
            if isinstance(kept, dict) and all(kept.get(key) == value for key, value in stamp.items()):
                return kept
    return None


def _samples(name: str, design: str) -> int:
    """How many samples a file of a design was made with; 0 for files of others."""
    of, _, count = name.removeprefix("matter/").removesuffix(".json").rpartition("-")
    return int(count) if of == design and count.isdecimal() else 0


def _place(design: str, samples: int) -> str:
    return f"matter/{design}-{samples}.json"


def _stamp(study_hash: str) -> dict[str, str]:
    return {"study_hash": study_hash, "version": versions()["wheelfront"]}


def matter_of(
    study: Study, row: pd.Series, samples: int = SAMPLES, pulse: Callable[[int], None] | None = None
) -> dict[str, Any]:
    """What matters for a design, at the search's positions of the wheel."""
    designs = pd.DataFrame([{variable.name: row[variable.name] for variable in VARIABLES}])
    phases = study.search.phases
    nominal = scored(designs, phases, scoring_of(study)).iloc[0]
    score = guarded(partial(score_differing, study=study), pulse or (lambda scored: None))
    unknowns, outputs, holds = _indices(study, designs, nominal, samples, phases, score)
    steps = steps_from(designs, study, phases)
    slopes = _slopes(designs.iloc[0], steps, nominal, study)
    return {
        "design": str(row["design"]),
        "samples": samples,
        "evaluations": samples * (len(unknowns) + 2),
        "phases": phases,
        HOLDING: holds,
        "unknowns": unknowns,
        "outputs": outputs,
        "measure": [entry["name"] for entry in unknowns if entry["weight"] > 0][:NAMED],
        "slopes": slopes,
        "change": [_told(step, designs.iloc[0], nominal) for step in _worth(steps, nominal)[:NAMED]],
    }


def spread_unknowns(study: Study) -> list[str]:
    """Names of the unknowns that spread under a study."""
    floor = study.uncertainty.floor
    return [name for name in NAMES if name in study.uncertainty.spreads or (name == FLOOR_CONDITION and floor["dry"] < 1)]


def spread_words(study: Study, name: str) -> str:
    """How well an unknown is known, with its unit."""
    if name == FLOOR_CONDITION:
        return f"{100 * study.uncertainty.floor['dry']:g} % dry"
    spread = study.uncertainty.spreads[name]
    unit = "" if math.isnan(spread.absolute) else described(name)[0]
    return f"{spread} {unit}".rstrip(" 1")


def indices(
    function: Callable[[np.ndarray], np.ndarray], names: Sequence[str], samples: int, seed: int
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """First-order and total Sobol indices of outputs over inputs, and half the confidence interval of the total ones, (s, d).

    ``function`` takes places in (0, 1), shape (d, n), and gives outputs (s, n), finite. SciPy's estimators (Saltelli 2010); the
    interval is bootstrapped over the points. An output that does not vary has indices of 0.
    """
    from scipy.stats import sobol_indices, uniform

    seen: list[np.ndarray] = []

    def kept(places: np.ndarray) -> np.ndarray:
        seen.append(function(places))
        return seen[-1].copy()  # SciPy changes it in place

    rng, count = np.random.default_rng(seed), len(names)
    with np.errstate(all="ignore"):
        found = sobol_indices(func=kept, n=samples, dists=[uniform(loc=0, scale=1)] * count, rng=rng)
        first, total = (np.reshape(part, (-1, count)) for part in (found.first_order, found.total_order))
        plain_a, plain_b, mixed = seen[0], seen[1], seen[2].reshape(len(first), samples, count)
        squares = 0.5 * (plain_a[:, :, None] - mixed) ** 2
        totals = []
        for _ in range(RESAMPLES):
            rows = rng.integers(samples, size=samples)
            variance = np.var(np.concatenate([plain_a[:, rows], plain_b[:, rows]], axis=1), axis=1)
            totals.append(squares[:, rows].mean(axis=1) / variance[:, None])
        low, high = np.quantile(totals, [(1 - CONFIDENCE) / 2, (1 + CONFIDENCE) / 2], axis=0)
    return first, total, np.nan_to_num((high - low) / 2)


def _indices(
    study: Study, designs: pd.DataFrame, nominal: pd.Series, samples: int, phases: int, score: Score
) -> tuple[list[dict[str, Any]], list[dict[str, Any]], float]:
    names = spread_unknowns(study)
    columns = [name for name in SPREAD_COLUMNS if name not in CERTAIN]
    slacks = [str(name) for name in nominal.index if str(name).startswith(START)]
    seen: list[dict[str, np.ndarray]] = []

    def outputs_at(places: np.ndarray) -> np.ndarray:
        places = places.reshape(len(names), -1)
        inside = np.clip(places.T, 2.0**-32, 1 - 2.0**-32)
        scores = score(differing(designs, inside, study.uncertainty, study, names), phases)
        found = {name: scores[name].to_numpy(dtype=float)[None, :] for name in (*columns, *slacks)}
        seen.append(found)
        holds = holding_each(found, slacks)
        return np.stack([*(_filled(found[name][0], SPREAD_COLUMNS[name], nominal[name]) for name in columns), holds])

    if not names:
        return [], [], 1.0
    first, total, band = indices(outputs_at, names, samples, study.search.seed)
    # the two plain samples; the third call mixes their columns
    plain_samples = {name: np.concatenate([part[name] for part in seen[:2]], axis=1) for name in (*columns, *slacks)}
    holds = float(holding(plain_samples, slacks)[0])
    outputs, weights = [], dict.fromkeys(names, 0.0)
    for at, name in enumerate((*columns, HOLDING)):
        if name == HOLDING:
            value, low, high, size = holds, math.nan, math.nan, math.sqrt(holds * (1 - holds))
        else:
            low, high = (float(end[0]) for end in percentiles(plain_samples[name], SPREAD_COLUMNS[name]))
            value = float(nominal[name])
            ends = np.nanpercentile(plain_samples[name], [5, 95])
            size = float(ends[1] - ends[0]) / 2 / max(abs(value), 1e-12)
        if not size > FIXED:
            continue
        shares = np.clip(total[at], 0.0, 1.0)
        if name in RANKED:
            for unknown, share in zip(names, shares, strict=True):
                weights[unknown] += size * float(share)
        ranked = sorted(zip(names, first[at], total[at], band[at], strict=True), key=lambda entry: -entry[2])
        outputs.append({
            "name": name, "unit": described(name)[0], "nominal": value, "p05": low, "p95": high, "relative_spread": size,
            "indices": [
                {"unknown": unknown, "first": float(one), "total": float(all_), "band": float(half)}
                for unknown, one, all_, half in ranked
            ],
        })  # fmt: skip
    whole = math.fsum(weights.values()) or 1.0
    unknowns = [
        {
            "name": name,
            "meaning": meaning_of(name),
            "spread": spread_words(study, name),
            "weight": weights[name] / whole,
        }
        for name in sorted(names, key=lambda name: -weights[name])
    ]
    return unknowns, outputs, holds


def holding_each(found: dict[str, np.ndarray], slacks: Sequence[str]) -> np.ndarray:
    """Whether all holds, sample by sample: 1.0 or 0.0, shape (n,)."""
    return holding({name: values.T for name, values in found.items()}, slacks)


def _filled(values: np.ndarray, more_is_better: bool, nominal: float) -> np.ndarray:
    """Values with a number where there is no state: nothing of what should be much, twice the usual of what should not."""
    return np.where(np.isnan(values), 0.0 if more_is_better else 2 * nominal, values)


def _slopes(design: pd.Series, steps: list[Step], nominal: pd.Series, study: Study) -> list[dict[str, Any]]:
    """Change of objectives, as shares of themselves, and of rooms, in shortfalls that count as one, over a tenth of a range."""
    scales = {START + room.name: room.scale for room in rooms(nominal, study.scenario)}
    found = []
    for variable in VARIABLES:
        own = [step for step in steps if step.variable == variable.name and not math.isnan(step.change)]
        own.sort(key=attrgetter("change"))
        domain = study.space.domains[variable.name]
        low, high = (variable.low, variable.high) if domain.fixed or not domain.high > domain.low else (domain.low, domain.high)
        if not own or (variable.name == TYRE_THICKNESS and design["bore"] == PLAIN):
            continue
        over = RANGE_SHARE * (high - low) if high > low else max(abs(step.change) for step in own)

        def slope(change: Callable[[Step], float], own: list[Step] = own, over: float = over) -> float:
            """Through the steps on both sides, or on the one there is."""
            below, above = own[0], own[-1]
            if below is above:
                return change(above) / above.change * over
            return (change(above) - change(below)) / (above.change - below.change) * over

        found.append({
            "variable": variable.name,
            "over": over,
            "objectives": {
                entry.name: slope(lambda step, name=entry.name: step.objectives[name]) / abs(float(nominal[entry.name]))  # type: ignore[misc]
                for entry in OBJECTIVES
            },
            "rooms": {
                name.removeprefix(START): slope(lambda step, name=name: step.rooms[name]) / scales[name]  # type: ignore[misc]
                for name in own[0].rooms
                if name in scales
            },
        })
    return sorted(found, key=lambda entry: -sum(abs(value) for value in entry["objectives"].values() if math.isfinite(value)))


def _worth(steps: list[Step], nominal: pd.Series) -> list[Step]:
    """Of the steps that break nothing, the best of each variable by the sum of relative gains, where that is a gain."""
    best: dict[str, Step] = {}
    for step in steps:
        if not step.breaks and _gain(step, nominal) > 0:
            best[step.variable] = max(best.get(step.variable, step), step, key=lambda entry: _gain(entry, nominal))
    return sorted(best.values(), key=lambda step: -_gain(step, nominal))


def _gain(step: Step, nominal: pd.Series) -> float:
    return math.fsum(step.gain(entry.name) / max(abs(float(nominal[entry.name])), 1e-12) for entry in OBJECTIVES)


def _told(step: Step, design: pd.Series, nominal: pd.Series) -> dict[str, Any]:
    before = design[step.variable]
    return {
        "variable": step.variable,
        "meaning": VARIABLE[step.variable].meaning,
        "from": before if isinstance(before, str) else float(before),
        "to": step.value if isinstance(step.value, str) else float(step.value),
        "gain": _gain(step, nominal),
        "objectives": step.objectives,
        "nominal": {entry.name: float(nominal[entry.name]) for entry in OBJECTIVES},
    }
