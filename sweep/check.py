"""What a study means before anything is swept: load cases, how much of the space can be built, and how long a sweep takes."""

from __future__ import annotations

import math
import time
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from objectives.assessment import LoadCases
from objectives.constraints import CONSTRAINT, geometry_slacks
from objectives.geometry_constraints import GeometryPlan
from objectives.layout import layout
from objectives.mass import mass_breakdown
from objectives.robot import load_cases
from objectives.units import DEG
from objectives.variables import VARIABLES
from objectives.wheel import friction_on, wheel_batch
from sweep.breeding import even
from sweep.columns import described
from sweep.designs import baseline_designs
from sweep.errors import BadInput, Fault
from sweep.planning import PLANNED_SHARE
from sweep.problem import Score, scored, scoring_of
from sweep.slacks import START, broken, rooms
from sweep.study import Study

#: random draws whose geometry is looked at; a sample has to be large enough to tell a rare wheel from none
DRAWS = 2000
#: draws that are scored, for the feasible share and the rate
SCORED = 192


@dataclass(frozen=True)
class Sample:
    """Random draws from a study's space: how many can be put together, and what stands in the way."""

    designs: pd.DataFrame
    slacks: Mapping[str, np.ndarray]  # of the geometry constraints, by name

    @property
    def possible(self) -> np.ndarray:
        """Whether every geometry constraint holds, shape (n,)."""
        return np.all([slack >= 0 for slack in self.slacks.values()], axis=0)

    @property
    def shares(self) -> dict[str, float]:
        """Share of the draws for which each geometry constraint holds, the least first."""
        held = {name: float(np.mean(slack >= 0)) for name, slack in self.slacks.items()}
        return dict(sorted(held.items(), key=lambda item: item[1]))


@dataclass(frozen=True)
class Trial:
    """A few draws scored in full."""

    draws: int
    feasible: int
    shares: Mapping[str, float]  # of the draws that could be judged: those for which each constraint holds
    rate: float  # draws a second, of random ones
    rate_possible: float  # of those that can be put together, the slower kind that a search comes to

    @property
    def feasible_share(self) -> float:
        return self.feasible / self.draws


@dataclass(frozen=True)
class Check:
    """All that ``check`` tells."""

    study: Study
    judged: str  # "baseline" or "middle of the space": the design that load cases and slacks are for
    design: pd.DataFrame  # that design, one row, scored
    unit_mass: float  # kg
    cases: LoadCases
    sample: Sample
    trial: Trial
    evaluations: int
    cautions: tuple[str, ...]

    @property
    def seconds(self) -> tuple[float, float]:
        """How long the evaluations take here, at the rate of random draws and at that of possible wheels."""
        fast, slow = self.evaluations / self.trial.rate, self.evaluations / self.trial.rate_possible
        return min(fast, slow), max(fast, slow)

    @property
    def samples(self) -> int:
        """Samples of what is not known that a sweep scores its front over unasked; 0 where the study has no [uncertainty]."""
        return self.study.uncertainty.samples if self.study.uncertainty.given else 0

    def seconds_again(self, samples: int) -> float:
        """How long a design of the front takes here: at the front's positions of the wheel, and over samples."""
        search = self.study.search
        return (search.front_phases / search.phases + samples) / self.trial.rate_possible

    def share_holding(self, name: str) -> float:
        """Share of the draws that a constraint holds for: of all where the geometry decides, else of those that were judged."""
        return self.sample.shares.get(name, self.trial.shares.get(name, math.nan))


def sampled(study: Study, draws: int = DRAWS, seed: int = 0) -> Sample:
    """Draws spread evenly over the space, and the slack of each geometry constraint."""
    genes = study.space.genes
    drawn = even(genes, draws, np.random.default_rng(seed)) if genes else np.empty((1, 0))
    designs = study.space.decode(drawn)
    scenario = study.scenario
    wheel = wheel_batch(designs, scenario.catalogue, scenario.robot.floor)
    return Sample(designs, geometry_slacks(GeometryPlan(wheel, scenario, layout(wheel, scenario))))


def refuse_impossible(study: Study, sample: Sample) -> None:
    """Raise BadInput where no draw can be put together; names the constraints that the fewest draws hold."""
    if sample.possible.any():
        return
    worst = [name for name, share in sample.shares.items() if share < 1][:3]
    told = [f"{name} ({CONSTRAINT[name].meaning}) holds for {_percent(sample.shares[name])}" for name in worst]
    name, slack = worst[0], sample.slacks[worst[0]]
    best = float(np.nanmax(slack)) if np.isfinite(slack).any() else math.nan
    short = f"; the best draw is {-best:.3g} {CONSTRAINT[name].unit}".rstrip() + " short of it" if best < 0 else ""
    raise BadInput([
        Fault(
            "[space]",
            "must hold a wheel that can be put together",
            f"none in {len(slack)} draws: {'; '.join(told)}{short}",
            study.path,
            f"widen the variables that decide {name}, or free those that are fixed",
        )
    ])


def tried(sample: Sample, phases: int, score: Score, draws: int = SCORED) -> Trial:
    """Score some draws of a sample, possible ones and others apart, so that the time of each kind is known."""
    possible = sample.possible
    picked = {True: np.flatnonzero(possible), False: np.flatnonzero(~possible)}
    wanted = round(draws * float(possible.mean()))
    rows = {True: picked[True][: max(wanted, 1)], False: picked[False][: draws - wanted]}
    scored(sample.designs.iloc[rows[True][:2]], phases, score)  # compiling and loading are not what is timed
    tables, seconds = [], {True: 0.0, False: 0.0}
    for kind, chosen in rows.items():
        if len(chosen):
            began = time.perf_counter()
            tables.append(scored(sample.designs.iloc[chosen], phases, score))
            seconds[kind] = time.perf_counter() - began
    table = pd.concat(tables, ignore_index=True)
    shares = {}
    for column in table.columns:
        if column.startswith(START):
            known = table[column].dropna()
            shares[column.removeprefix(START)] = float((known >= 0).mean()) if len(known) else math.nan
    total = max(sum(seconds.values()), 1e-9)
    return Trial(
        draws=len(table),
        feasible=int(table["feasible"].sum()),
        shares=shares,
        rate=len(table) / total,
        rate_possible=len(rows[True]) / max(seconds[True], 1e-9),
    )


def check(study: Study, score: Score | None = None) -> Check:
    """Look into a study. Raises BadInput where its space holds no possible wheel."""
    score = score or scoring_of(study)
    sample = sampled(study)
    refuse_impossible(study, sample)
    trial = tried(sample, study.search.phases, score)
    baseline = baseline_designs(study)
    judged = "middle of the space" if baseline is None else "baseline"
    design = study.space.decode(np.array([[_middle(gene) for gene in study.space.genes]])) if baseline is None else baseline
    wheel = wheel_batch(design, study.scenario.catalogue, study.scenario.robot.floor)
    masses = mass_breakdown(wheel, layout(wheel, study.scenario), study.scenario)
    cases = load_cases(wheel, masses.total, masses.wheel_inertia, study.scenario)
    table = scored(design, study.search.phases, score)
    evaluations = study.search.evaluations
    if evaluations is None:
        evaluations = int(PLANNED_SHARE * (study.search.hours or 0) * 3600 * trial.rate)
    return Check(
        study, judged, table, float(masses.total[0]), cases, sample, trial, evaluations,
        cautions(study, table.iloc[0], judged, trial, sample),
    )


def cautions(study: Study, design: pd.Series, judged: str, trial: Trial, sample: Sample) -> tuple[str, ...]:
    """What to know before the results are relied on."""
    found = list(study.notes)
    friction = study.scenario.catalogue.floors[study.scenario.robot.floor]
    if "low confidence" in friction.source:
        materials, domain = study.scenario.catalogue.materials, study.space.domains["output_tyre"]
        tyres = [materials[str(name)] for name in domain.choices]
        values = ", ".join(f"{tyre.name} {friction_on(tyre, friction.name, study.scenario.catalogue):g}" for tyre in tyres)
        found.append(
            f"The friction of tyres on {friction.name} is a rough value ({values}; {friction.source}): measure it with your "
            "own print, every limit follows it."
        )
    supply, motors = study.scenario.supply_voltage, study.scenario.catalogue.motors
    others = [name for name in map(str, study.space.domains["motor"].choices) if motors[name].rated_voltage != supply]
    if others:
        found.append(
            f"The supply gives {supply:g} V; {len(others)} of the motors in the space are rated for another voltage, "
            f"{others[0]} among them. Speed and stall torque are scaled with the voltage: check what motor and driver stand."
        )
    if study.baseline is not None and not study.space.contains(baseline_designs(study)).all():
        found.append("The baseline lies outside the space: it is compared with, but the search does not start from it.")
    lost = broken(design, study.scenario)
    if judged == "baseline" and lost:
        found.append(f"The baseline breaks {', '.join(lost)}: it is compared by its objectives, but it is not feasible.")
    if judged == "baseline" and str(design.get("status", "")):
        found.append(f"The baseline lacks numbers: {design['status']}.")
    if not trial.feasible:
        lowest = min(trial.shares, key=lambda name: (math.isnan(trial.shares[name]), trial.shares[name]), default="")
        held = f"; {lowest} holds for the fewest ({_percent(trial.shares[lowest])})" if lowest else ""
        found.append(f"None of {trial.draws} random draws is feasible{held}. The search may still find some; give it time.")
    if sample.possible.mean() < 0.01:
        name, share = next(iter(sample.shares.items()))
        found.append(
            f"Hardly any draw can be put together: {name} holds for {_percent(share)}. A narrower space searches better."
        )
    if study.search.evaluations is not None and study.search.evaluations < 100 * len(study.space.genes):
        found.append(
            f"{study.search.evaluations} evaluations are few for {len(study.space.genes)} variables: "
            f"fewer than {100 * len(study.space.genes)} seldom come near the front."
        )
    return tuple(found)


def space_rows(study: Study) -> list[dict[str, Any]]:
    """Each variable with what it may be, its unit and its meaning."""
    rows = []
    for variable in VARIABLES:
        domain = study.space.domains[variable.name]
        unit, meaning = described(variable.name)
        row: dict[str, Any] = {"variable": variable.name, "unit": "" if unit == "1" else unit, "meaning": meaning}
        if domain.fixed:
            row["value"] = domain.value
        elif domain.choices:
            row["choices"] = list(domain.choices)
        else:
            row |= {"low": domain.low, "high": domain.high}
        rows.append(row)
    return rows


def case_rows(cases: LoadCases) -> list[dict[str, Any]]:
    """The load cases of the one design in ``cases``."""
    return [
        {
            "name": name,
            "direction_deg": round(float(cases.direction[k]) / DEG, 6),
            "force_N": float(cases.force[0, k]),
            "speed_m_per_s": float(cases.speed[0, k]),
            "share": float(cases.share[k]),
        }
        for k, name in enumerate(cases.names)
    ]


def as_json(found: Check) -> dict[str, Any]:
    """The check as one JSON document."""
    study, trial = found.study, found.trial
    low, high = found.seconds
    return {
        "study": study.name,
        "file": study.path,
        "hash": study.hash,
        "judged": found.judged,
        "wheel_unit_mass_kg": found.unit_mass,
        "wheel_load_N": found.cases.wheel_load[0],
        "space": space_rows(study),
        "load_cases": case_rows(found.cases),
        "constraints": [
            {
                "name": room.name,
                "unit": room.unit,
                "meaning": room.meaning,
                "share_holding": found.share_holding(room.name),
                "slack": room.slack,
            }
            for room in rooms(found.design.iloc[0], study.scenario)
        ],
        "limits": [{"column": limit.column, "min": limit.least, "max": limit.most} for limit in study.scenario.limits],
        "resolution": study.search.resolution,
        "sample": {
            "draws": len(found.sample.designs),
            "possible_share": found.sample.possible.mean(),
            "scored": trial.draws,
            "feasible_share": trial.feasible_share,
        },
        "sweep": {
            "evaluations": found.evaluations,
            "rate_per_s": trial.rate,
            "rate_of_possible_per_s": trial.rate_possible,
            "seconds": [low, high],
            "front_seconds_per_design": found.seconds_again(found.samples),
            "samples": found.samples,
        },
        "cautions": list(found.cautions),
    }


def _middle(gene: Any) -> float:
    return (gene.options - 1) // 2 if gene.options else (gene.low + gene.high) / 2


def _percent(share: float) -> str:
    return "none" if share == 0 else f"{100 * share:.2g} %"
