"""A design's numbers in the order of a maker's questions, each against the baseline."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from objectives.variables import VARIABLES
from sweep.columns import HOLDING, described
from sweep.front import OBJECTIVES
from sweep.page.columns import label, maximised, unit
from sweep.page.drawings import losses_in
from sweep.show import MISSING, alike, number, quantity, signed

#: what a maker asks, and the columns that answer
QUESTIONS: tuple[tuple[str, tuple[str, ...]], ...] = (
    ("Will it grip?", ("slip_margin", "torque_capacity_Nm", "floor_grip")),
    ("Will it bind?", ("binding_clearance_mm", "wedge_factor", "pull_in_ratio_min", "free_spin_torque_Nm")),
    ("What does it waste?", ("friction_loss_W", "run_time_h", "roller_temperature_rise_K")),
    ("What does it weigh?", ("mass_kg", "wheel_unit_width_mm")),
    ("Can I print it?", ("printability", "print_time_h")),
)
#: shorter names than the columns', and what a number is to be held against
SHORTER = {
    "torque_capacity_Nm": "Torque", "binding_clearance_mm": "Clearance", "pull_in_ratio_min": "Pull-in, least",
    "free_spin_torque_Nm": "Free spin", "friction_loss_W": "Loss", "roller_temperature_rise_K": "Rollers warm by",
    "wheel_unit_width_mm": "Width",
}  # fmt: skip
SAID = {
    "slip_margin": "times what is asked, at the worst", "wedge_factor": "the hubs lock at 1",
    "pull_in_ratio_min": "below 1 friction draws the rollers in", "floor_grip": "times the largest force asked",
    "printability": "0 to 1",
}  # fmt: skip
COUNTS = ("none", "one", "two", "three", "four", "all five")
BETTER, WORSE, SAME = "better", "worse", "same"
SIGNS = {BETTER: "▲", WORSE: "▼", SAME: "="}


@dataclass(frozen=True)
class Answer:
    """A number with its unit, what it is held against, and how it stands against the baseline's."""

    name: str
    text: str
    said: str
    difference: str  # empty where there is nothing to compare with
    verdict: str  # better, worse, same or empty


def answers(row: Mapping[str, Any], baseline: Mapping[str, Any] | None) -> list[tuple[str, list[Answer]]]:
    """The questions with what answers them; columns that a run lacks are left out."""
    found = []
    for question, names in QUESTIONS:
        known = [answer(name, row, baseline) for name in names if name in row]
        if known:
            found.append((question, known))
    return found


def answer(name: str, row: Mapping[str, Any], baseline: Mapping[str, Any] | None) -> Answer:
    """One column of a design against the baseline's.

    >>> answer("mass_kg", {"mass_kg": 1.1}, {"mass_kg": 1.74})
    Answer(name='mass_kg', text='1.1 kg', said='', difference='▲ -0.64', verdict='better')
    """
    value = _number(row[name])
    text, said = quantity(value, unit(name)), SAID.get(name, "")
    other = math.nan if baseline is None or name not in baseline else _number(baseline[name])
    gain, more = value - other, maximised(name)
    if math.isnan(gain):
        return Answer(name, text, said, "", "")
    if alike(value, other):
        return Answer(name, text, said, f"{SIGNS[SAME]} 0", SAME)
    verdict = "" if more is None else BETTER if (gain > 0) == more else WORSE
    return Answer(name, text, said, f"{SIGNS.get(verdict, '')} {signed(gain)}".strip(), verdict)


def verdict(row: Mapping[str, Any], baseline: Mapping[str, Any] | None) -> str:
    """Whether a design is better than what there is, in a sentence."""
    if baseline is None:
        return "The study has no [baseline] to compare with."
    if row.get("design") == baseline.get("design"):
        return "This is the baseline: what you have."
    each = {entry.name: answer(entry.name, row, baseline).verdict for entry in OBJECTIVES}
    worse = [label(name).lower() for name, one in each.items() if one == WORSE]
    better = sum(one == BETTER for one in each.values())
    if not worse and better:
        if better == len(each):
            return f"Better than your baseline in {COUNTS[better]}."
        return f"Better than your baseline in {COUNTS[better]} of five, worse in none."
    text = f"Better than your baseline in {COUNTS[better]} of five"
    return text + (f", worse in {' and '.join(worse)}." if worse else ".")


def subtitle(row: Mapping[str, Any]) -> str:
    """What kind of wheel it is, in a line."""
    rollers = f"{int(row['output_roller_count'])} rollers on the rim, {int(row['hub_roller_count'])} on each hub"
    return f"{rollers}; {row['output_tyre']} on {row['hub_tyre']}, {row['bore']} bore; Ø {number(row['wheel_diameter_mm'])} mm"


def parameters(row: Mapping[str, Any]) -> list[tuple[str, str, str]]:
    """The design variables: name, value with unit, meaning. A thickness that a plain bore does without is left out."""
    found = []
    for variable in VARIABLES:
        if variable.name not in row or (variable.name == "tyre_thickness_mm" and row["bore"] == "plain"):
            continue
        value = row[variable.name]
        text = str(value) if variable.names else quantity(float(value), unit(variable.name), 4)
        found.append((label(variable.name), text, variable.meaning))
    return found


def largest_loss(row: Any) -> str:
    """Where most of the loss goes, in words."""
    known = losses_in(row)
    if not known:
        return ""
    name = max(known, key=lambda key: known[key])
    total = math.fsum(known.values())
    return f"Most of it: {name.replace('_', ' ')}, {quantity(known[name], 'W')}, {100 * known[name] / max(total, 1e-12):.0f} %."


def certainty(row: Mapping[str, Any]) -> str:
    """How surely all holds, where the run looked at that."""
    value = row.get(HOLDING)
    if value is None or math.isnan(float(value)):
        return ""
    return f"All limits and constraints hold in {100 * float(value):.0f} % of what may be built and met."


def cell(name: str, row: Mapping[str, Any]) -> str:
    """A value for a table of designs side by side."""
    value = row.get(name)
    if value is None:
        return MISSING
    return value if isinstance(value, str) else number(float(value))


def unit_words(name: str) -> str:
    """A unit in brackets, or nothing."""
    found = described(name)[0]
    return "" if found in ("", "1") else f" [{found}]"


def _number(value: Any) -> float:
    try:
        return float(value)
    except (TypeError, ValueError):
        return math.nan
