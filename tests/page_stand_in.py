"""A desk without processes for tests of the page: runs are tables in memory, sheets and builds are told to it."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from objectives.scoring import COLUMNS
from objectives.variables import VARIABLE, VARIABLES
from sweep.archive import open_run
from sweep.errors import BadInput, Fault
from sweep.front import OBJECTIVES
from sweep.run_study import baseline_of
from sweep.service.desk import BuildSummary, Desk, Kept, NotNow, NotThere, RunSummary
from sweep.service.summaries import DONE, FINISHED, NONE, STARTING
from sweep.space import design_ids
from sweep.study import Study, read_study

ROOT = Path(__file__).parent.parent
STUDY = (ROOT / "studies/balancing.toml").read_text(encoding="utf-8")


def noisy(front: pd.DataFrame, count: int, seed: int = 1) -> pd.DataFrame:
    """As many designs as asked for, made of a front's rows and noise; every one has an id of its own."""
    random = np.random.default_rng(seed)
    made = front.iloc[random.integers(len(front), size=count)].reset_index(drop=True).copy()
    for name in made.columns:
        if pd.api.types.is_float_dtype(made[name]) and name not in VARIABLE:
            spread = front[name].std(skipna=True)
            made[name] = made[name] + random.normal(0.0, 0.15 * (spread if np.isfinite(spread) else 0.0), count)
    for entry in OBJECTIVES:
        made[entry.name] = made[entry.name].clip(lower=0.01)
    made["design"] = [f"d{k:010x}" for k in range(count)]
    return made


def invented(count: int, seed: int = 3) -> pd.DataFrame:
    """Designs of the shipped study with numbers that nobody worked out: quick, for what does not look at them."""
    random, study = np.random.default_rng(seed), read_study(STUDY)
    variables = study.space.decode(random.random((count, len(study.space.genes))))
    table: dict[str, Any] = {"design": design_ids(variables)}
    table |= {variable.name: variables[variable.name] for variable in VARIABLES}
    for name, column in COLUMNS.items():
        if name == "feasible":
            table[name] = np.ones(count, dtype=bool)
        elif column.unit == "" or name in ("status", "validity"):
            table[name] = [""] * count
        else:
            table[name] = random.gamma(4.0, 0.5, count)
    table["printability"] = random.uniform(0.4, 0.95, count)
    return pd.DataFrame(table)


@dataclass
class Run:
    """A run that stands in memory."""

    summary: RunSummary
    front: pd.DataFrame
    baseline: pd.Series | None = None
    text: str = STUDY
    lines: list[dict[str, Any]] = field(default_factory=list)
    kept: list[Kept] = field(default_factory=list)
    builds: dict[str, BuildSummary] = field(default_factory=dict)
    version: int = 0


def summary(name: str, front_size: int = 0, **given: Any) -> RunSummary:
    """A finished run, but for what is given."""
    plain = RunSummary(name, "shelf counter", FINISHED, 6000, 6000, 3000, front_size, 0.67, None, None,
                       "2026-11-26T15:51:56+00:00", "", "")  # fmt: skip
    return replace(plain, **given)


class StandIn(Desk):
    """Answers from ``held``; whatever a test wants to see happens there."""

    def __init__(self, held: Mapping[str, Run] | None = None) -> None:
        self.held: dict[str, Run] = dict(held or {})
        self.submitted: list[str] = []
        self.asked: list[tuple[str, ...]] = []

    def _at(self, name: str) -> Run:
        if name not in self.held:
            raise NotThere(f"There is no run {name}: there is {', '.join(self.held) or 'none'}.")
        return self.held[name]

    def close(self) -> None:
        return None

    def runs(self) -> list[RunSummary]:
        return [run.summary for run in self.held.values()]

    def run(self, name: str) -> RunSummary:
        return self._at(name).summary

    def progress(self, name: str) -> list[dict[str, Any]]:
        return self._at(name).lines

    def version(self, name: str) -> str:
        return f"{id(self._at(name))} {self._at(name).version}"

    def front(self, name: str) -> pd.DataFrame:
        return self._at(name).front

    def baseline(self, name: str) -> pd.Series | None:
        return self._at(name).baseline

    def design(self, name: str, design: str) -> pd.Series:
        front = self._at(name).front
        found = front[front["design"] == design]
        if not len(found):
            raise NotThere(f"There is no design {design} in {name}.")
        return found.iloc[0]

    def study(self, name: str) -> Study:
        return read_study(self._at(name).text)

    def study_text(self, name: str) -> str:
        return self._at(name).text

    def shipped_studies(self) -> dict[str, str]:
        return {"balancing": STUDY}

    def faults_of(self, text: str) -> list[Fault]:
        try:
            read_study(text)
        except BadInput as error:
            return list(error.faults)
        return []

    def submit(self, text: str, *, name: str | None = None, evaluations: int | None = None, seed: int | None = None,
               workers: int | None = None) -> str:  # fmt: skip
        faults = self.faults_of(text)
        if faults:
            raise BadInput(faults)
        self.submitted.append(text)
        made = name or read_study(text).slug
        self.held[made] = Run(summary(made, state=STARTING, evaluations=0, hypervolume=None), pd.DataFrame(), text=text)
        return made

    def stop(self, name: str) -> None:
        self.asked.append(("stop", name))

    def resume(self, name: str, *, evaluations: int | None = None) -> None:
        self.asked.append(("resume", name))

    def sheet(self, name: str, design: str, kind: str) -> bytes:
        self.design(name, design)
        return f"<p>sheet of {design} as {kind}</p>".encode()

    def matter(self, name: str, design: str) -> dict[str, Any]:
        nominal = {entry.name: 1.0 for entry in OBJECTIVES}
        change = {"variable": "pinion_teeth", "meaning": "teeth", "from": 20.0, "to": 22.0, "nominal": nominal,
                  "objectives": {**dict.fromkeys(nominal, 0.0), "torque_capacity_Nm": 0.1}}  # fmt: skip
        measure = {"name": "friction_roller", "how": "pull it until it slips", "meaning": "", "spread": "20 %", "weight": 0.6}
        return {"design": design, "measure": [measure], "change": [change], "share_holding": 0.8}

    def start_build(self, name: str, design: str) -> None:
        self._at(name).builds[design] = BuildSummary(design, "building", 0.3, "solids", None, ())

    def build(self, name: str, design: str) -> BuildSummary:
        return self._at(name).builds.get(design, BuildSummary(design, NONE, 0.0, "", None, ()))

    def build_zip(self, name: str, design: str) -> Path:
        if self.build(name, design).state != DONE:
            raise NotNow(f"{design} is not built.")
        return ROOT / "LICENSE"

    def build_file(self, name: str, design: str, file: str) -> Path:
        raise NotThere(f"There is no {file}.")

    def shortlist(self, name: str) -> list[Kept]:
        return list(self._at(name).kept)

    def set_shortlist(self, name: str, kept: list[Kept]) -> None:
        self._at(name).kept = list(kept)


def from_folder(folder: Path) -> Run:
    """A run that was swept, in memory."""
    stored = open_run(folder)
    front, about = stored.front(), stored.about() or {}
    assert front is not None
    lines = stored.progress()
    last = lines[-1] if lines else {}
    facts = summary(folder.name, len(front), study=str(about.get("study")), hypervolume=last.get("hypervolume"))
    kept = folder / "kept.json"
    chosen = [Kept(*one) for one in json.loads(kept.read_text())] if kept.exists() else []
    return Run(facts, front, baseline_of(stored), stored.study_text(), lines, chosen)
