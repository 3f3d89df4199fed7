"""Test problems of the search: known fronts, a constrained toy, and a study scored by arithmetic instead of mechanics."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from math import pi

import numpy as np
import pandas as pd

from sweep.population import Evaluated, Population, Problem
from sweep.search import SIZE, step
from sweep.study import Study, read_study


@dataclass(frozen=True)
class Axis:
    name: str
    kind: str = "real"
    low: float = 0.0
    high: float = 1.0
    options: int = 0


def problem(
    function: Callable[[np.ndarray], np.ndarray],
    axes: int | list[Axis],
    objectives: int,
    broken: Callable[[np.ndarray], np.ndarray] | None = None,
    maximise: tuple[bool, ...] | None = None,
) -> Problem:
    """A problem of ``function`` (n, d) -> (n, m) on real axes in [0, 1]; ``broken`` gives the violation."""

    def evaluate(genes: np.ndarray) -> Evaluated:
        violation = np.zeros(len(genes)) if broken is None else broken(genes)
        return Evaluated(genes, function(genes), violation, np.empty((len(genes), 0)), pd.DataFrame(index=range(len(genes))))

    listed = [Axis(f"x{i}") for i in range(axes)] if isinstance(axes, int) else axes
    return Problem(listed, maximise or (False,) * objectives, evaluate)


def search(what: Problem, evaluations: int, seed: int = 1, islands: int = 1, epoch: int = 10 * SIZE) -> list[Evaluated]:
    """All that a search scores: epochs of a ring of islands."""
    populations, sent = [Population.empty(what)] * islands, [Population.empty(what)] * islands
    scored: list[Evaluated] = []
    for number, _ in enumerate(range(0, evaluations, epoch * islands)):
        count = min(epoch, evaluations // islands - number * epoch)
        steps = [step(what, populations[i], sent[i - 1], seed, i, number, count) for i in range(islands)]
        populations, sent = [s[0] for s in steps], [s[1] for s in steps]
        scored += [part for s in steps for part in s[2]]
    return scored


def zdt1(x: np.ndarray) -> np.ndarray:
    g = 1 + 9 * x[:, 1:].mean(axis=1)
    return np.column_stack([x[:, 0], g * (1 - np.sqrt(x[:, 0] / g))])


def zdt2(x: np.ndarray) -> np.ndarray:
    g = 1 + 9 * x[:, 1:].mean(axis=1)
    return np.column_stack([x[:, 0], g * (1 - (x[:, 0] / g) ** 2)])


def zdt3(x: np.ndarray) -> np.ndarray:
    g = 1 + 9 * x[:, 1:].mean(axis=1)
    share = x[:, 0] / g
    return np.column_stack([x[:, 0], g * (1 - np.sqrt(share) - share * np.sin(10 * pi * x[:, 0]))])


def dtlz2(x: np.ndarray, objectives: int) -> np.ndarray:
    radius = 1 + ((x[:, objectives - 1 :] - 0.5) ** 2).sum(axis=1)
    angle = x[:, : objectives - 1] * pi / 2
    sides = []
    for k in range(objectives):
        side = radius * np.prod(np.cos(angle[:, : objectives - 1 - k]), axis=1)
        sides.append(side * np.sin(angle[:, objectives - 1 - k]) if k else side)
    return np.column_stack(sides)


def inverted_dtlz2(x: np.ndarray, objectives: int) -> np.ndarray:
    """DTLZ2 upside down: (1 + g) - f_k (as Jain and Deb invert test problems, IEEE Trans. Evol. Comput. 18 (2014) 602)."""
    radius = 1 + ((x[:, objectives - 1 :] - 0.5) ** 2).sum(axis=1)
    return radius[:, None] - dtlz2(x, objectives)


STUDY = """
name = "{name}"
[robot]
kind = "balancing"
mass_kg = 9.0
centre_of_mass_height_m = 0.35
body_gyration_m = 0.15
recover_lean_deg = 8.0
recover_reserve = 1.5
top_speed_m_per_s = 0.9
sideways_speed_m_per_s = 0.5
floor = "sealed_concrete"
[search]
evaluations = {evaluations}
islands = {islands}
island_evaluations = 960
seed = {seed}
keep = "{keep}"
phases = 4
front_phases = {front_phases}
"""


def toy_study(
    name: str = "toy", evaluations: int = 2000, islands: int = 2, seed: int = 3, keep: str = "front", front_phases: int = 8
) -> Study:
    text = STUDY.format(
        name=name, evaluations=evaluations, islands=islands, seed=seed, keep=keep, front_phases=front_phases
    )
    return read_study(text, f"{name}.toml")


def toy_score(designs: pd.DataFrame, phases: int) -> pd.DataFrame:
    """Five objectives in conflict, a constraint and some missing numbers, by arithmetic on a few variables."""
    wheel = (designs["wheel_diameter_mm"].to_numpy(dtype=float) - 120) / 140
    preload = designs["preload_N"].to_numpy(dtype=float) / 400
    skew = designs["skew_angle_deg"].to_numpy(dtype=float) / 70
    teeth = designs["gear_teeth"].to_numpy(dtype=float) / 120
    cored = designs["bore"].to_numpy(dtype=object) != "plain"
    slack = 0.9 - wheel * preload - 0.2 * cored - 0.1 / phases
    lost = (designs["pinion_teeth"].to_numpy(dtype=float) == 13) & (wheel > 0.5)
    torque = np.where(lost, np.nan, 4 * preload * skew + teeth)
    return pd.DataFrame({
        "torque_capacity_Nm": torque,
        "slip_margin": 1 + preload * (1.2 - wheel) + 0.1 / phases,
        "friction_loss_W": 2 + 6 * preload * preload + 2 * teeth - cored,
        "mass_kg": 0.5 + wheel + 0.3 * teeth + 0.2 * cored,
        "printability": 1 - 0.5 * np.abs(wheel - 0.4) - 0.3 * skew,
        "slack_room": slack,
        "violation": np.maximum(-slack, 0) + lost,
        "feasible": (slack >= 0) & ~lost,
        "status": np.where(lost, "no torque", ""),
    })
