"""The design that is built: its variables and scores, and what the mechanics say of it."""

from __future__ import annotations

from dataclasses import dataclass

import pandas as pd

from objectives.assessment import Assessment
from objectives.layout import layout
from objectives.phases import phase_lattice
from objectives.scoring import assess, has_shape
from objectives.variables import VARIABLES
from objectives.wheel import wheel_batch
from sweep.errors import BadInput, Fault
from sweep.problem import scored, scoring_of
from sweep.slacks import rooms
from sweep.study import Study


@dataclass(frozen=True)
class Choice:
    """One feasible design of a study, scored anew."""

    study: Study
    design: pd.Series  # variables and outputs
    assessment: Assessment

    @staticmethod
    def of(study: Study, stored: pd.Series) -> Choice:
        """Work a stored design out anew, at the phases of the front. Raises BadInput where it is not feasible."""
        scenario, phases = study.scenario, study.search.front_phases
        variables = pd.DataFrame([{variable.name: stored[variable.name] for variable in VARIABLES}])
        own = scored(variables, phases, scoring_of(study)).iloc[0]
        wheel = wheel_batch(variables, scenario.catalogue, scenario.robot.floor)
        if not bool(own["feasible"]) or not has_shape(wheel)[0]:
            raise BadInput([_infeasible(study, own, str(stored["design"]), bool(stored.get("feasible", False)))])
        return Choice(study, own, assess(wheel, layout(wheel, scenario), scenario, phase_lattice(phases)))


def _infeasible(study: Study, own: pd.Series, name: str, was: bool) -> Fault:
    lost = ", ".join(room.name for room in rooms(own, study.scenario) if not room.slack >= 0)
    status = str(own["status"] or "")
    why = f"it breaks {lost}" if lost else status or "an objective is missing"
    changed = "; it was feasible when the run was made, by other rules: sweep anew" if was else ""
    return Fault("DESIGN", "must be feasible to be built", f"{name}: {why}", "", f"choose one of the front{changed}")
