"""A study as the search sees it: genes in, scored designs out."""

from __future__ import annotations

import importlib
import time
from collections.abc import Callable, Sequence
from functools import lru_cache

import numpy as np
import pandas as pd

from sweep.breeding import even
from sweep.designs import baseline_designs
from sweep.front import OBJECTIVES, Objective
from sweep.population import UNKNOWN, Evaluated, Population, Problem
from sweep.search import SIZE, advance
from sweep.space import design_ids
from sweep.study import Study

#: designs and phases in, outputs in the same order out
Score = Callable[[pd.DataFrame, int], pd.DataFrame]

#: s, how long the rate is measured
RATE_SECONDS = 4.0


def scoring_of(study: Study) -> Score:
    """Scoring by the mechanics, against the study's scenario."""
    evaluate = importlib.import_module("objectives.scoring").evaluate

    def score(designs: pd.DataFrame, phases: int) -> pd.DataFrame:
        return evaluate(designs, study.scenario, phases=phases)

    return score


def scored(designs: pd.DataFrame, phases: int, score: Score) -> pd.DataFrame:
    """Designs with their outputs beside them, and ``design`` as the first column."""
    designs = designs.reset_index(drop=True)
    outputs = score(designs, phases).reset_index(drop=True)
    known = {"design", *designs.columns.tolist()}
    repeated = [name for name in outputs.columns.tolist() if name in known]
    outputs = outputs.drop(columns=repeated) if repeated else outputs
    table = pd.concat([pd.DataFrame({"design": design_ids(designs)}), designs, outputs], axis=1)
    table.columns = _index(tuple(table.columns.tolist()))
    return table


@lru_cache(maxsize=16)
def _index(names: tuple[str, ...]) -> pd.Index:
    """One index for all tables with the same columns: finding a name for the first time takes longest."""
    return pd.Index(names)


def study_problem(
    study: Study, phases: int, score: Score, objectives: Sequence[Objective] = OBJECTIVES
) -> Problem:
    """The problem that a study poses, with ``phases`` positions of the wheel and the columns that are its objectives."""

    scales = pd.Series(importlib.import_module("objectives.scoring").slack_scales(study.scenario))

    def evaluate(genes: np.ndarray) -> Evaluated:
        columns = scored(study.space.decode(genes), phases, score)
        values = np.column_stack([columns[objective.name].to_numpy(dtype=float) for objective in objectives])
        violation = columns["violation"].to_numpy(dtype=float)
        # infeasible for another reason than a constraint: as far off as can be
        violation = np.where(columns["feasible"].to_numpy(dtype=bool) | (violation > 0), violation, UNKNOWN)
        slacks = columns.reindex(columns=scales.index).to_numpy(dtype=float) / scales.to_numpy()
        return Evaluated(genes, values, violation, slacks, columns)

    return Problem(study.space.genes, tuple(objective.maximise for objective in objectives), evaluate)


def baseline_genes(study: Study) -> np.ndarray | None:
    """The study's baseline as genes, shape (1, d); None where there is none or the space does not contain it."""
    designs = baseline_designs(study)
    if designs is None or not study.space.contains(designs).all():
        return None
    genes = study.space.encode(designs)
    return genes if design_ids(study.space.decode(genes)) == design_ids(designs) else None


def measured_rate(problem: Problem) -> float:
    """Candidates per second that a search scores, of a short one's second half: its first half is random, and quicker.

    Compiling and loading are not counted.
    """
    problem.evaluate(even(problem.genes, 4, np.random.default_rng(0)))
    population, ended = Population.empty(problem), [time.perf_counter()]
    while len(ended) < 3 or ended[-1] - ended[0] < RATE_SECONDS:
        _, population = advance(problem, population, np.random.SeedSequence([0, len(ended)]))
        ended.append(time.perf_counter())
    half = len(ended) // 2
    return SIZE * (len(ended) - 1 - half) / (ended[-1] - ended[half])
