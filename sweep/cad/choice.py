"""The design that is built: its variables and scores, and what the mechanics say of it."""

from __future__ import annotations

from dataclasses import dataclass

import pandas as pd

from objectives.assessment import Assessment
from objectives.layout import layout
from objectives.phases import phase_lattice
from objectives.scoring import assess
from objectives.variables import VARIABLES
from objectives.wheel import wheel_batch
from sweep.study import Study


@dataclass(frozen=True)
class Choice:
    """One feasible design of a study."""

    study: Study
    design: pd.Series  # variables and outputs as the run stored them
    assessment: Assessment

    @staticmethod
    def of(study: Study, design: pd.Series) -> Choice:
        """Work a stored design out anew, at the phases of the front."""
        variables = pd.DataFrame([{variable.name: design[variable.name] for variable in VARIABLES}])
        wheel = wheel_batch(variables, study.scenario.catalogue, study.scenario.robot.floor)
        phases = phase_lattice(study.search.front_phases)
        return Choice(study, design, assess(wheel, layout(wheel, study.scenario), study.scenario, phases))
