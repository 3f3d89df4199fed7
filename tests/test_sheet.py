"""One design explained: against statics, the catalogue, the running states and the columns of scoring."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pandas as pd
import pytest

from objectives.catalogue import shipped
from objectives.columns import LOSSES
from objectives.elements import nut_preload
from objectives.scoring import evaluate
from sweep.designs import baseline_designs
from sweep.errors import BadInput
from sweep.problem import scored
from sweep.sensitivity import Step, movers, other_choices
from sweep.sheet import COARSE_PITCH, Control, Preload, Sheet, make_sheet
from sweep.sheet_text import show_sheet
from sweep.show import console
from sweep.slacks import broken, rooms
from sweep.study import Study, read_study
from tests.command_line import SEARCH, SHIPPED

PARTS = (
    "Objectives", "Geometry and choices", "Limits at the floor", "Load cases", "Losses over the duty", "Constraints",
    "What moves each objective", "Other choices", "Setting the preload", "Control card", "Motors over", "Cautions", "Validity",
    "What the numbers rest on",
)  # fmt: skip
#: 1/min per rad/s
PER_MINUTE = 60 / (2 * math.pi)


@pytest.fixture(scope="module")
def study() -> Study:
    text = SHIPPED.read_text(encoding="utf-8")
    limits = "[limits]\nslip_margin = { min = 1.2 }\nmass_kg = { max = 1.0 }\n"
    return read_study(text[: text.index("[search]")] + limits + SEARCH.format(evaluations=96, phases=4), "small.toml")


@pytest.fixture(scope="module")
def design(study: Study) -> pd.Series:
    table = baseline_designs(study)
    assert table is not None
    return scored(table, 4, lambda designs, phases: evaluate(designs, study.scenario, phases=phases)).iloc[0]


@pytest.fixture(scope="module")
def sheet(study: Study, design: pd.Series) -> Sheet:
    return make_sheet(study, design, None)


def shown(sheet: Sheet, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], width: int = 100) -> str:
    monkeypatch.setenv("COLUMNS", str(width))
    show_sheet(sheet, console())
    return capsys.readouterr().out


def squeezed(text: str) -> str:
    return " ".join(text.split())


# preload


def test_turns_of_the_nut_are_the_inverse_of_the_preload_of_a_turn() -> None:
    preload = Preload.of(120.0, 22.5, 10.0)
    assert (preload.thread, preload.pitch) == (10.0, 1.5)
    assert nut_preload(22.5e3, 1.5e-3, 2 * math.pi * preload.turns) == pytest.approx(120.0)
    assert preload.deflection == pytest.approx(preload.turns * preload.pitch)
    assert preload.per_turn == pytest.approx(33.75)
    assert preload.lost_by_wear == pytest.approx(2.25)


def test_coarse_pitches_agree_with_the_screws_of_the_catalogue() -> None:
    for size, screw in shipped().screws.items():
        assert COARSE_PITCH[size] == pytest.approx(screw.pitch * 1e3)


def test_a_shaft_between_threads_takes_the_next_below() -> None:
    assert Preload.of(100.0, 10.0, 11.0).thread == 10.0
    assert Preload.of(100.0, 10.0, 12.0).pitch == 1.75


# control


def test_speeds_and_back() -> None:
    card = Control.of(0.09, 0.05, 0.8, 0.92, 2.0)
    assert card.robot(*card.hubs(0.7, -0.3)) == pytest.approx((0.7, -0.3))
    left, right = card.hubs(0.0, 0.5)
    assert left == -right
    assert right == pytest.approx(0.5 * math.tan(0.8) / (0.05 * 0.92))


def test_control_card_gives_the_speeds_of_the_running_states(sheet: Sheet) -> None:
    """From the hubs' speeds back to the case's, signs included. Sideways each case's own ratio takes the creep in; forward
    creep is left out, and so is what the carrier drifts while the wheel goes sideways."""
    judged = sheet.assessment
    wheel, cases, running = judged.wheel, judged.cases, judged.running
    geometry = (float(wheel.wheel_radius[0]), float(wheel.contact_circle_radius[0]), float(wheel.skew_angle[0]))
    for k, name in enumerate(cases.names):
        angle, speed = float(cases.direction[k]), float(cases.speed[0, k])
        sideways = abs(math.sin(angle)) > 1e-9
        ratio = float(running.speed_ratio[0, k]) if sideways else 1.0
        card = Control.of(*geometry, ratio, 1.0)
        forward, right = card.robot(*map(float, running.hub_speed[0, k]))
        assert right == pytest.approx(speed * math.sin(angle), abs=0.02 * speed), name
        assert forward == pytest.approx(speed * math.cos(angle), abs=0.1 * speed), name


def test_motor_speeds_are_hub_speeds_times_the_gears(sheet: Sheet, design: pd.Series) -> None:
    assert sheet.control.ratio == design["gear_teeth"] / design["pinion_teeth"]
    drive, running = sheet.assessment.drive, sheet.assessment.running
    assert drive.motor_speed == pytest.approx(running.hub_speed * sheet.control.ratio)


# what scoring says


def test_limits_are_the_columns_of_scoring(sheet: Sheet) -> None:
    own = sheet.design
    for limit in sheet.limits[:3]:
        assert limit.worst == pytest.approx(own[f"drive_limit_{limit.direction}_N"])
        assert limit.mean == pytest.approx(own[f"drive_limit_{limit.direction}_mean_N"])
        assert limit.motor == pytest.approx(own[f"motor_limit_{limit.direction}_N"])
        assert limit.floor == pytest.approx(own["floor_limit_N"])
        assert limit.worst <= limit.mean
    assert min(limit.worst for limit in sheet.limits[3:]) == pytest.approx(own["drive_limit_diagonal_N"])


def test_worst_positions_lie_within_a_pitch(sheet: Sheet, design: pd.Series) -> None:
    pitches = [360 / design["output_roller_count"], *2 * [360 / design["hub_roller_count"]]]
    for limit in sheet.limits:
        assert all(0 <= angle < pitch for angle, pitch in zip(limit.phase_deg, pitches, strict=True))


def test_a_sheet_is_scored_at_the_phases_of_the_front(sheet: Sheet, design: pd.Series) -> None:
    assert sheet.phases == 4
    for name in ("torque_capacity_Nm", "slip_margin", "friction_loss_W", "mass_kg", "printability"):
        assert sheet.design[name] == pytest.approx(design[name])


def test_rooms_are_sorted_and_know_the_limits_of_the_study(sheet: Sheet, design: pd.Series) -> None:
    relative = [room.relative for room in sheet.rooms]
    assert relative == sorted(relative)
    room = {room.name: room for room in sheet.rooms}
    assert room["limit_mass_kg_max"].slack == pytest.approx(1.0 - design["mass_kg"])
    assert room["limit_mass_kg_max"].unit == "kg"
    assert room["limit_slip_margin_min"].slack == pytest.approx(design["slip_margin"] - 1.2)
    assert "limit_mass_kg_max" in broken(sheet.design, sheet.study.scenario)


def test_rooms_that_cannot_be_told_come_last(study: Study) -> None:
    found = rooms({"slack_arm_neck": math.nan, "slack_coverage": 30.0, "slack_floor_grip": -0.1}, study.scenario)
    assert [room.name for room in found] == ["floor_grip", "coverage", "arm_neck"]


def test_ranges_left_are_told_with_their_meaning(sheet: Sheet) -> None:
    assert set(sheet.ranges_left) == set(filter(None, str(sheet.design["validity"]).split(";")))
    assert all(sheet.ranges_left.values())


def test_sources_name_all_that_was_taken_from_the_catalogue(sheet: Sheet, design: pd.Series) -> None:
    assert {design["output_tyre"], design["hub_tyre"], design["motor"], "petg", "vinyl", "6800"} <= set(sheet.sources)
    assert all(sheet.sources.values())


# what moves what


def test_another_motor_changes_the_mass_by_two_motors(sheet: Sheet, design: pd.Series) -> None:
    """And by the bores of the two pinions, which are printed solid on the motors' shafts."""
    motors, density = shipped().motors, shipped().materials["petg"].density
    width = 8e-3 * float(design["gear_module_mm"])  # teeth are eight modules wide
    changed = [step for step in other_choices(list(sheet.steps)) if step.variable == "motor"]
    assert len(changed) == 2
    for step in changed:
        other, own = motors[str(step.value)], motors[design["motor"]]
        bores = math.pi / 4 * (own.shaft_diameter**2 - other.shaft_diameter**2) * width * density
        assert step.objectives["mass_kg"] == pytest.approx(2 * (other.mass - own.mass + bores), abs=1e-6)


def test_preload_moves_the_forward_grip_up_and_a_plain_bore_has_no_core(sheet: Sheet) -> None:
    up = next(step for step in sheet.steps if step.variable == "preload_N" and step.change > 0)
    assert up.objectives["torque_capacity_Nm"] > 0
    assert up.objectives["friction_loss_W"] > 0
    assert not any(step.variable == "tyre_thickness_mm" for step in sheet.steps)


def test_steps_are_small_and_stay_within_what_has_a_meaning(sheet: Sheet, design: pd.Series) -> None:
    steps = {(step.variable, step.change > 0): step for step in sheet.steps if not math.isnan(step.change)}
    assert steps["wheel_diameter_mm", True].change == pytest.approx(0.02 * (220 - 140))
    assert steps["output_roller_count", False].value == design["output_roller_count"] - 1
    assert steps["axle_diameter_mm", True].value == 5.0
    assert ("crown", False) not in steps  # a crown below 0 has no meaning


def step(variable: str, change: float, loss: float, mass: float = 0.0) -> Step:
    zero = dict.fromkeys(("torque_capacity_Nm", "slip_margin", "printability"), 0.0)
    return Step(variable, 1.0, change, {**zero, "friction_loss_W": loss, "mass_kg": mass}, ())


def test_movers_are_the_improving_steps_the_strongest_first() -> None:
    steps = [
        step("a", 1, -0.1), step("a", -1, 0.2), step("b", 1, 0.5), step("b", -1, -0.4), step("c", 1, 0.3), step("c", -1, 0.1),
        step("name", math.nan, -9.0), step("d", 1, math.nan),
    ]  # fmt: skip
    assert [(found.variable, found.change) for found in movers(steps, "friction_loss_W")] == [("b", -1), ("a", 1)]
    assert movers(steps, "mass_kg") == []


def test_a_step_that_breaks_what_held_says_so(study: Study, design: pd.Series) -> None:
    """Without play-free room to spare, a wider carrier closes the standoff between hub and carrier."""
    room = evaluate(design.to_frame().T.infer_objects(), study.scenario, phases=4)["slack_carrier_standoff"].iloc[0]
    tight = design.copy()
    tight["carrier_thickness_mm"] = design["carrier_thickness_mm"] + 2 * (room - 0.05)
    steps = make_sheet(study, tight, None).steps
    wider = next(step for step in steps if step.variable == "carrier_thickness_mm" and step.change > 0)
    assert "carrier_standoff" in wider.breaks
    assert math.isfinite(wider.objectives["torque_capacity_Nm"])


# text


@pytest.mark.parametrize("width", [80, 100])
def test_text_has_every_part_and_stays_within_its_width(
    sheet: Sheet, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], width: int
) -> None:
    text = shown(sheet, monkeypatch, capsys, width)
    for part in PARTS:
        assert f"\n{part}" in text
    assert "\x1b" not in text
    assert max(map(len, text.splitlines())) <= width
    for word in ("pinch", "Lithium", "people", "Patents", "licensed practice"):
        assert word in text


def test_text_says_what_is_broken_and_which_way_is_stronger(
    sheet: Sheet, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    text = squeezed(shown(sheet, monkeypatch, capsys))
    assert "NOT FEASIBLE: it breaks, or cannot be judged by, limit_mass_kg_max." in text
    forward, reverse = sheet.limits[0].worst, sheet.limits[1].worst
    assert forward > reverse * 1.02
    assert f"It is stronger forward than reverse, {forward / reverse:.2f} times" in text
    assert "the other way round swaps the two" in text


def test_losses_in_the_text_add_up_to_the_objective(
    sheet: Sheet, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    text = shown(sheet, monkeypatch, capsys)
    part = text[text.index("Losses over the duty") : text.index("Constraints, tightest")]
    lines = [line for line in part.splitlines() if line.split(" ")[0] in LOSSES and "%" in line]
    assert len(lines) == len(LOSSES)
    told = sum(float(line.split()[1]) for line in lines)
    assert told == pytest.approx(sheet.design["friction_loss_W"], rel=0.02)
    assert len(lines[0].split()[4]) == 12  # the largest has a full bar


def test_control_card_in_the_text_is_in_turns_a_minute(
    sheet: Sheet, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    text = shown(sheet, monkeypatch, capsys)
    line = next(line for line in text.splitlines() if line.startswith("left hub "))
    number = float(line.split()[2])
    assert number == pytest.approx(PER_MINUTE / 0.09, rel=1e-3)  # the baseline's wheel has a radius of 90 mm


def test_a_baseline_is_compared_with(study: Study, design: pd.Series, sheet: Sheet) -> None:
    other = design.copy()
    other["design"], other["mass_kg"] = "dother", design["mass_kg"] + 0.5
    assert make_sheet(study, design, other).baseline is other
    assert make_sheet(study, design, design).baseline is None


def test_a_wheel_without_shape_is_refused(study: Study, design: pd.Series) -> None:
    flat = design.copy()
    flat["output_roller_diameter_mm"] = 100.0  # rollers of 100 mm on a wheel of 180 mm leave no room at the rim
    flat["wheel_diameter_mm"], flat["status"] = 120.0, "geometry: arm_neck -40 mm"
    with pytest.raises(BadInput, match="arm_neck -40 mm"):
        make_sheet(study, flat, None)


def test_nothing_is_changed_by_making_a_sheet(study: Study, design: pd.Series) -> None:
    before: dict[Any, Any] = design.to_dict()
    make_sheet(study, design, None)
    after = design.to_dict()
    assert all(np.array_equal(before[key], after[key], equal_nan=isinstance(before[key], float)) for key in before)
