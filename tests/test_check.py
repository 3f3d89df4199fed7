"""A study looked into: draws, what empties a space, load cases, rates, cautions."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from objectives.units import GRAVITY
from sweep.check import Check, Sample, Trial, as_json, cautions, check, refuse_impossible, sampled, space_rows, tried
from sweep.check_text import direction_words, robot_in_words, share_words, show_check
from sweep.errors import BadInput
from sweep.show import console
from sweep.study import Study, load_study, read_study
from tests.command_line import ROOT, SHIPPED
from tests.problems import toy_study


@pytest.fixture(scope="module")
def study() -> Study:
    return load_study(SHIPPED)


@pytest.fixture(scope="module")
def found(study: Study) -> Check:
    return check(study)


def shown(found: Check, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], width: int) -> str:
    monkeypatch.setenv("COLUMNS", str(width))
    show_check(found, console())
    return capsys.readouterr().out


def test_draws_are_the_same_every_time_and_lie_in_the_space(study: Study) -> None:
    one, two = sampled(study, 300), sampled(study, 300)
    pd.testing.assert_frame_equal(one.designs, two.designs)
    assert study.space.contains(one.designs).all()
    assert 0 < one.possible.mean() < 1


def test_a_draw_is_possible_only_where_every_slack_holds_and_nan_does_not() -> None:
    slacks = {"a": np.array([1.0, 0.0, -1.0, np.nan]), "b": np.array([1.0, 0.0, 1.0, 1.0])}
    sample = Sample(pd.DataFrame(index=range(4)), slacks)
    assert sample.possible.tolist() == [True, True, False, False]
    assert sample.shares == {"a": 0.5, "b": 1.0}
    assert list(sample.shares) == ["a", "b"]


def test_an_impossible_space_is_refused_by_the_constraint_that_empties_it() -> None:
    """No wheel of 140 mm and more has a carrier that fits a bed of 60 mm."""
    text = SHIPPED.read_text(encoding="utf-8").replace("bed_mm = [220, 220, 240]", "bed_mm = [60, 60, 60]")
    bad = read_study(text, "narrow.toml")
    with pytest.raises(BadInput) as caught:
        refuse_impossible(bad, sampled(bad))
    message = str(caught.value)
    assert "none in 2000 draws: bed_fit (largest printed part fits the bed) holds for none" in message
    assert "narrow.toml" in message
    assert "mm short of it" in message


def test_of_constraints_that_each_hold_somewhere_the_rarest_is_named_first() -> None:
    n = 100
    slacks = {"arm_neck": np.where(np.arange(n) < 40, 1.0, -1.0), "coverage": np.where(np.arange(n) >= 90, 1.0, -1.0)}
    with pytest.raises(BadInput, match=r"coverage .* holds for 10 %; arm_neck .* holds for 40 %"):
        refuse_impossible(toy_study(), Sample(pd.DataFrame(index=range(n)), slacks))


def test_a_possible_space_is_not_refused(study: Study) -> None:
    refuse_impossible(study, sampled(study, 300))


def test_trial_counts_feasible_draws_and_keeps_the_share_of_possible_ones(study: Study) -> None:
    sample = sampled(study, 400)
    seen = []

    def score(designs: pd.DataFrame, phases: int) -> pd.DataFrame:
        seen.append(len(designs))
        slack = np.where(designs["hub_roller_count"] % 2, 1.0, -1.0)
        return pd.DataFrame({"slack_odd": slack, "feasible": slack > 0})

    trial = tried(sample, 4, score, draws=100)
    possible = round(100 * float(sample.possible.mean()))
    assert seen[1:] == [possible, 100 - possible]
    assert trial.draws == 100
    assert trial.shares["odd"] == pytest.approx(trial.feasible / 100)
    assert trial.rate > 0
    assert trial.rate_possible > 0


def test_a_constraint_that_cannot_be_told_counts_neither_way(study: Study) -> None:
    def score(designs: pd.DataFrame, phases: int) -> pd.DataFrame:
        slack = np.full(len(designs), np.nan)
        slack[:1] = 1.0
        return pd.DataFrame({"slack_seldom": slack, "feasible": np.zeros(len(designs), dtype=bool)})

    assert tried(sampled(study, 100), 4, score, draws=20).shares["seldom"] == 1.0


def test_time_left_is_evaluations_over_rate() -> None:
    trial = Trial(draws=100, feasible=5, shares={}, rate=200.0, rate_possible=100.0)
    some = Check(toy_study(), "baseline", pd.DataFrame(), 1.0, None, None, trial, 20000, ())  # type: ignore[arg-type]
    assert some.seconds == (100.0, 200.0)
    assert trial.feasible_share == 0.05


def test_load_on_the_floor_is_the_weight_of_robot_and_wheel_unit(found: Check) -> None:
    assert found.judged == "baseline"
    assert found.cases.wheel_load[0] == pytest.approx((9.0 + found.unit_mass) * GRAVITY)
    assert found.unit_mass == pytest.approx(found.design["mass_kg"].iloc[0])


def test_json_holds_space_cases_and_constraints(found: Check) -> None:
    told = as_json(found)
    space = {row["variable"]: row for row in told["space"]}
    assert (space["wheel_diameter_mm"]["low"], space["wheel_diameter_mm"]["high"]) == (140, 220)
    assert space["hub_tyre"]["choices"] == ["tpu95a", "petg"]
    sill = next(case for case in told["load_cases"] if case["name"] == "door sill")
    assert sill == {"name": "door sill", "direction_deg": 0.0, "force_N": 20.0, "speed_m_per_s": 0.2, "share": 0.0}
    assert sum(case["share"] for case in told["load_cases"]) == pytest.approx(1)
    assert all(0 <= row["share_holding"] <= 1 for row in told["constraints"])
    assert told["sweep"]["evaluations"] == 20000


def test_what_the_front_costs_is_told_with_samples_and_without(
    found: Check, study: Study, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    trial = Trial(100, 9, {}, 100.0, 50.0)  # 50 possible wheels a second at 16 positions
    plain = replace(found, trial=trial)
    assert plain.samples == 0
    assert plain.seconds_again(64) == pytest.approx((256 / 16 + 64) / 50)
    told = " ".join(shown(plain, monkeypatch, capsys, 100).split())
    assert "at 256 positions: about 32 s. With --uncertainty, over 64 samples: 2 min 40 s." in told
    asked = replace(plain, study=read_study(study.text + "\n[uncertainty]\nsamples = 16\n", "asked.toml"))
    told = " ".join(shown(asked, monkeypatch, capsys, 100).split())
    assert "at 256 positions and over 16 samples of what is not known: about 1 min 4 s." in told
    assert as_json(asked)["sweep"]["samples"] == 16


def test_fixed_variables_are_told_as_values() -> None:
    text = SHIPPED.read_text(encoding="utf-8").replace("[space]\n", "[space]\ncrown = 0.25\n")
    fixed = read_study(text, "fixed.toml")
    assert next(row for row in space_rows(fixed) if row["variable"] == "crown")["value"] == 0.25


@pytest.mark.parametrize("width", [80, 100])
def test_text_has_every_part_and_stays_within_its_width(
    found: Check, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], width: int
) -> None:
    text = shown(found, monkeypatch, capsys, width)
    for part in ("Robot", "Space", "Load cases", "Constraints", "Resolution", "The sweep"):
        assert f"\n{part}" in text
    assert "\x1b" not in text
    assert max(map(len, text.splitlines())) <= width
    for variable in ("preload_stiffness_N_per_mm", "output_roller_diameter_mm"):
        assert f"\n{variable} " in text  # not broken, so that it can be copied


def test_robot_in_words() -> None:
    balancing, castered = (robot_in_words(load_study(ROOT / "studies" / f"{name}.toml")) for name in ("balancing", "castered"))
    assert "A robot of 9 kg that balances on its wheel, on vinyl." in balancing
    assert "lean of 5 deg with 1.5 times" in balancing
    assert "130 N of its weight on the wheel" in castered
    assert "0.3 m/s^2 on a slope of 1.5 deg" in castered


def test_cautions_name_what_the_baseline_breaks_and_what_is_rough(study: Study) -> None:
    trial = Trial(100, 0, {"motor_margin": 0.1, "floor_grip": 0.5}, 100.0, 50.0)
    design = pd.Series({"slack_floor_grip": -0.1, "slack_arm_neck": 1.0, "status": ""})
    told = "\n".join(cautions(study, design, "baseline", trial, sampled(study, 100)))
    assert "The baseline breaks floor_grip" in told
    assert "motor_margin holds for the fewest (10 %)" in told
    assert "vinyl is a rough value" in told


def test_few_evaluations_are_a_caution(study: Study) -> None:
    trial, sample = Trial(100, 9, {}, 100.0, 50.0), sampled(study, 100)
    few = read_study(study.text.replace("evaluations = 20000", "evaluations = 300"), "few.toml")
    for case, expected in ((study, False), (few, True)):
        assert any("are few for" in text for text in cautions(case, pd.Series(), "baseline", trial, sample)) is expected


def test_words_of_directions_and_shares() -> None:
    assert [direction_words(angle) for angle in (180.0, -180.0, 360.0, 270.0)] == ["reverse", "reverse", "forward", "left"]
    assert share_words(math.nan) == "-"
    assert share_words(0.09996) == "10 %"
