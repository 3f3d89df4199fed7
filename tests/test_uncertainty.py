"""Spreads, samples and percentiles: against distributions and order statistics, and invariants of a sweep over samples."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
from functools import partial
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from sweep.archive import open_run
from sweep.columns import HOLDING, described
from sweep.designs import baseline_designs
from sweep.errors import BadInput
from sweep.front import OBJECTIVES
from sweep.problem import scored, scoring_of
from sweep.runner import run
from sweep.study import Study, read_study
from sweep.uncertainty import (
    AS_DESIGNED,
    HIGH,
    LOW,
    ROBUST,
    SPREAD_COLUMNS,
    differing,
    floor_factor,
    holding,
    percentiles,
    score_differing,
    sobol,
    with_spread,
)
from sweep.unknowns import FLOOR_SHARES, NAMES, UNKNOWNS, Spread
from tests.problems import STUDY, toy_score

BALANCING = Path(__file__).parent.parent / "studies" / "balancing.toml"
#: a study in which everything is known
KNOWN = "[uncertainty]\nfloor_condition = { dry = 1.0 }\n" + "".join(
    f"{entry.name} = {{ {entry.ways[-1]} = 0 }}\n" for entry in UNKNOWNS
)


def toy(more: str = "", **settings: int) -> Study:
    text = STUDY.format(name="toy", evaluations=settings.get("evaluations", 300), islands=settings.get("islands", 1), seed=3,
                        keep="front", front_phases=8)  # fmt: skip
    return read_study(text + more, "toy.toml")


def balancing(more: str = "") -> Study:
    return read_study(BALANCING.read_text(encoding="utf-8") + more, "balancing.toml")


def baseline(study: Study, **changes: float) -> pd.DataFrame:
    designs = baseline_designs(study)
    assert designs is not None
    return scored(designs.assign(**changes), 4, scoring_of(study))


def spread(study: Study, table: pd.DataFrame, samples: int = 16) -> pd.DataFrame:
    return with_spread(table, study, samples, 4, partial(score_differing, study=study))


def test_a_relative_spread_is_lognormal_with_that_coefficient_of_variation() -> None:
    """Against SciPy's lognormal: median at the value, standard deviation over mean as given."""
    shares = np.linspace(0.001, 0.999, 999)
    values = Spread(relative=0.3).around(np.array(2.0), stats.norm.ppf(shares))
    shape = np.sqrt(np.log(1 + 0.3**2))
    reference = stats.lognorm(shape, scale=2.0)
    np.testing.assert_allclose(values, reference.ppf(shares), rtol=1e-12)
    assert reference.std() / reference.mean() == pytest.approx(0.3)
    values = Spread(absolute=0.3).around(np.array(2.0), stats.norm.ppf(shares))
    np.testing.assert_allclose(values, stats.norm(2, 0.3).ppf(shares))


def test_the_sample_is_even_and_its_beginning_is_a_sample_too() -> None:
    points = sobol(64, 7)
    np.testing.assert_array_equal(sobol(8, 7), points[:8])
    assert not np.array_equal(sobol(64, 8), points)
    for count in (8, 64):  # of a sequence in base 2, one point in each of so many equal parts
        for column in points[:count].T:
            assert sorted(np.floor(column * count)) == list(range(count))


def test_percentiles_are_those_of_numpy_and_missing_counts_as_worst() -> None:
    values = np.random.default_rng(1).normal(size=(5, 64))
    low, high = percentiles(values, True)
    np.testing.assert_array_equal(low, np.quantile(values, 0.05, axis=1, method="inverted_cdf"))
    np.testing.assert_array_equal(high, np.quantile(values, 0.95, axis=1, method="inverted_cdf"))
    values[:, :3] = np.nan  # of 64 samples the fourth counts for 5 %
    low, _ = percentiles(values, True)
    np.testing.assert_array_equal(low, np.nanmin(values, axis=1))
    values[:, :4] = np.nan
    assert np.isnan(percentiles(values, True)[0]).all()
    assert np.isnan(percentiles(values, False)[1]).all()
    assert not np.isnan(percentiles(values, False)[0]).any()


def test_floor_conditions_come_with_their_shares() -> None:
    factors = floor_factor((np.arange(2000) + 0.5) / 2000, FLOOR_SHARES)
    found = {factor: float(np.mean(factors == factor)) for factor in (0.46, 0.7, 1.0)}
    assert found == pytest.approx({0.46: 0.05, 0.7: 0.15, 1.0: 0.8}, abs=1e-9)
    assert floor_factor(np.array([AS_DESIGNED]), {"wet": 1.0})[0] == 1.0  # as designed is dry


def test_what_is_known_exactly_does_not_spread() -> None:
    study = balancing(KNOWN)
    table = baseline(study)
    found = spread(study, table)
    for name in SPREAD_COLUMNS:
        assert found[name + LOW].iloc[0] == found[name + HIGH].iloc[0] == table[name].iloc[0], name
    assert found[HOLDING].iloc[0] == 1.0 == float(table["feasible"].iloc[0])


def test_percentiles_stand_about_the_number_at_the_front_s_phases() -> None:
    """A number at more phases moves its percentiles along; one that is known exactly stays that number."""
    study = balancing(KNOWN)
    fine = scored(baseline_designs(study), 32, scoring_of(study))  # type: ignore[arg-type]
    found = spread(study, fine)
    assert found["slip_margin_p05"].iloc[0] == fine["slip_margin"].iloc[0] != baseline(study)["slip_margin"].iloc[0]


def test_a_normal_unknown_gives_its_own_percentiles() -> None:
    """The binding clearance of a wheel with much room else hangs on the play alone: normal about it."""
    study = balancing(KNOWN.replace("bore_play_mm = { absolute = 0 }", "bore_play_mm = { absolute = 0.04 }"))
    found = spread(study, baseline(study, bore_play_mm=0.15), 256)
    low, high = found["binding_clearance_mm_p05"].iloc[0], found["binding_clearance_mm_p95"].iloc[0]
    assert low == pytest.approx(stats.norm(0.15, 0.04).ppf(0.05), abs=0.001)
    assert high == pytest.approx(stats.norm(0.15, 0.04).ppf(0.95), abs=0.001)


def test_more_spread_moves_the_percentiles_apart() -> None:
    widths = []
    for size in (0.05, 0.1, 0.2):
        text = KNOWN.replace("friction_roller = { absolute = 0 }", f"friction_roller = {{ relative = {size} }}")
        found = spread(balancing(text), baseline(balancing(text)))
        widths.append(float(found["drive_limit_forward_N_p95"].iloc[0] - found["drive_limit_forward_N_p05"].iloc[0]))
    assert 0 < widths[0] < widths[1] < widths[2]
    assert widths[1] == pytest.approx(2 * widths[0], rel=0.1)


def test_absolute_and_relative_spreads_of_a_friction_agree_where_both_are_small() -> None:
    """0.005 of the 0.5 of two tyres is one hundredth."""
    found = []
    for given in ("relative = 0.01", "absolute = 0.005"):
        study = balancing(KNOWN.replace("friction_roller = { absolute = 0 }", f"friction_roller = {{ {given} }}"))
        table = baseline(study)
        found.append(spread(study, table).filter(like="_p05").iloc[0].astype(float))
    np.testing.assert_allclose(found[0], found[1], rtol=1e-3)


def test_a_wet_floor_takes_grip_and_nothing_of_the_drive() -> None:
    wet = KNOWN.replace("{ dry = 1.0 }", "{ wet = 1.0 }")
    table = baseline(balancing())
    found = spread(balancing(wet), table).iloc[0]
    assert found["floor_grip_p05"] == pytest.approx(0.46 * table["floor_grip"].iloc[0])
    assert found["drive_limit_forward_N_p05"] == table["drive_limit_forward_N"].iloc[0]


def test_all_designs_meet_the_same_sample_whatever_stands_beside_them() -> None:
    study = balancing("[uncertainty]\n")
    designs = baseline_designs(study)
    assert designs is not None
    several = pd.concat([designs.assign(preload_N=force) for force in (90.0, 110.0, 130.0)], ignore_index=True)
    together = spread(study, scored(several, 4, scoring_of(study)))
    alone = spread(study, scored(several.iloc[[1]], 4, scoring_of(study)))
    pd.testing.assert_frame_equal(together.iloc[[1]].reset_index(drop=True), alone, check_exact=True)
    drawn = differing(several, sobol(16, 7), study.uncertainty, study)
    factors = drawn["differs_friction_roller"].to_numpy().reshape(3, 16)
    np.testing.assert_allclose(factors[0], factors[2], rtol=1e-14)
    shares = drawn["preload_N"].to_numpy().reshape(3, 16) / several["preload_N"].to_numpy()[:, None]
    np.testing.assert_allclose(shares[0], shares[1], rtol=1e-12)


def test_variables_as_built_keep_within_their_meaning() -> None:
    study = balancing("[uncertainty]\ncrown = { absolute = 0.5 }\npreload_N = { absolute = 500 }\n")
    designs = baseline_designs(study)
    assert designs is not None
    drawn = differing(designs, sobol(64, 7), study.uncertainty, study)
    assert drawn["crown"].between(0, 1).all()
    assert (drawn["crown"] == 0).sum() > 10  # the baseline's own, cut off below
    assert (drawn["preload_N"] > 0).all()


def test_holding_asks_for_every_slack_and_that_nothing_binds() -> None:
    found = {
        "slip_margin": np.array([[1.0, 1.0, 1.0, np.nan]]),
        "slack_a": np.array([[0.0, -0.1, 1.0, 1.0]]),
        "binding_clearance_mm": np.array([[0.1, 0.1, 0.1, 0.1]]),
    }
    assert holding(found, ["slack_a"]).tolist() == [0.5]
    found["binding_clearance_mm"] = np.array([[0.0, 0.1, 0.1, 0.1]])
    assert holding(found, ["slack_a"]).tolist() == [0.25]


def test_new_columns_have_units_and_meanings() -> None:
    assert described("slip_margin_p05") == ("1", "5th percentile of smallest drive limit over force asked of all load cases")
    assert described("drive_limit_forward_N_p95")[0] == "N"
    assert described(HOLDING)[1].startswith("share of the samples")


@pytest.mark.parametrize(
    ("line", "words"),
    [
        ("friction_rolle = { relative = 0.1 }", ["friction_rolle", "nearest is 'friction_roller'"]),
        ("friction_roller = { relative = 0.1, absolute = 0.1 }", ["must have one of relative and absolute", "both"]),
        ("motor_torque = { absolute = 0.1 }", ["absolute has no meaning for motor_torque"]),
        ("seat_error_mm = { relative = 0.1 }", ["relative has no meaning for seat_error_mm"]),
        ("floor_condition = { dry = 0.5, wet = 0.6 }", ["must have shares that add up to 1", "1.1"]),
        ("floor_condition = { frozen = 1.0 }", ["frozen"]),
        ("samples = 100", ["must be a power of two", "give 128"]),
        ("samples = 4", ["samples must lie in [8, 4096]"]),
    ],
)
def test_faults_of_the_table_are_named(line: str, words: list[str]) -> None:
    with pytest.raises(BadInput) as caught:
        toy(f"[uncertainty]\n{line}\n")
    for word in words:
        assert word in str(caught.value)


def test_a_study_s_table_decides_whether_samples_are_scored(tmp_path: Path) -> None:
    without = run(toy(), tmp_path / "without", score=toy_score)
    assert HOLDING not in without.front
    assert without.folder.about()["uncertainty"] is None  # type: ignore[index]
    notes: list[str] = []
    given = run(toy("[uncertainty]\nsamples = 16\n"), tmp_path / "given", score=toy_score, note=notes.append)
    assert given.folder.about()["uncertainty"]["samples"] == 16  # type: ignore[index]
    assert any("16 samples" in text and "about" in text for text in notes)
    columns = [f"{entry.name}{end}" for entry in OBJECTIVES for end in (LOW, HIGH)]
    assert set(columns) | {HOLDING} <= set(given.front)
    pd.testing.assert_frame_equal(given.front[without.front.columns], without.front)
    stored = given.folder.front()
    pd.testing.assert_frame_equal(stored, given.front)
    # asked for later, it comes to the same as asked for at once
    asked = run(toy(), tmp_path / "asked", score=toy_score, uncertainty=True)
    later = run(toy(), tmp_path / "without", score=toy_score, uncertainty=True, resume=True)
    pd.testing.assert_frame_equal(later.front, asked.front)
    assert later.folder.about()["state"] == "done"  # type: ignore[index]
    again = run(toy(), tmp_path / "without", score=toy_score, resume=True)
    pd.testing.assert_frame_equal(again.front, later.front)


def test_percentiles_of_the_toy_follow_from_the_preload() -> None:
    """Its torque is 4 F s + t, F the preload over 400 N: monotone in the one unknown it knows."""
    study = toy("[uncertainty]\nsamples = 16\n")
    table = scored(study.space.decode(np.array([[0.5] * len(study.space.genes)])), 4, toy_score)
    factor = np.sort(Spread(relative=0.1).around(np.array(1.0), stats.norm.ppf(sobol(16, 3)[:, NAMES.index("preload_N")])))
    found = with_spread(table, study, 16, 4, toy_score).iloc[0]
    part = 4 * table["preload_N"].iloc[0] / 400 * table["skew_angle_deg"].iloc[0] / 70
    assert found["torque_capacity_Nm_p05"] == pytest.approx(found["torque_capacity_Nm"] + part * (factor[0] - 1), rel=1e-9)
    assert found["torque_capacity_Nm_p95"] == pytest.approx(found["torque_capacity_Nm"] + part * (factor[15] - 1), rel=1e-9)


def test_a_robust_search_finds_better_percentiles_of_a_toy_that_has_a_cliff(tmp_path: Path) -> None:
    """Beyond a preload the toy's slip margin falls to nothing: what stands at the edge falls off in some samples."""
    plain = run(toy(evaluations=960), tmp_path / "plain", score=cliff, uncertainty=True)
    safe = run(toy(evaluations=960), tmp_path / "robust", score=cliff, robust=True)
    assert safe.folder.about()["uncertainty"]["robust"] is True  # type: ignore[index]
    fallen = [float((found.front["slip_margin_p05"] < 0.9).mean()) for found in (plain, safe)]
    assert fallen[1] < 0.6 * fallen[0]
    assert safe.front["slip_margin_p05"].max() >= plain.front["slip_margin_p05"].max() - 0.05
    costs = safe.front[[entry.name for entry in ROBUST]].to_numpy() * [-1 if entry.maximise else 1 for entry in ROBUST]
    assert not any(((costs <= row).all(axis=1) & (costs < row).any(axis=1)).any() for row in costs)
    with pytest.raises(BadInput, match="--robust must be given when a run begins"):
        run(toy(evaluations=960), tmp_path / "plain", score=cliff, robust=True, resume=True)


def cliff(designs: pd.DataFrame, phases: int) -> pd.DataFrame:
    """The toy, with a slip margin that rises with the preload up to an edge and is small beyond."""
    outputs = toy_score(designs, phases)
    preload = designs["preload_N"].to_numpy(dtype=float)
    return outputs.assign(slip_margin=np.where(preload < 200, 1 + preload / 200, 0.5))


@pytest.mark.slow
def test_a_robust_run_is_the_same_after_a_stop_and_on_two_workers(tmp_path: Path) -> None:
    settings = {"evaluations": 1000, "islands": 1}
    whole = run(toy("[uncertainty]\nsamples = 16\n", **settings), tmp_path / "whole", score=toy_score, robust=True)
    study = toy("[uncertainty]\nsamples = 16\n", **settings)
    asked = iter(range(100_000))
    stopped = run(study, tmp_path / "part", score=toy_score, robust=True, stop=lambda: next(asked) > 40)
    assert stopped.state == "stopped"
    resumed = run(study, tmp_path / "part", score=toy_score, resume=True)
    assert resumed.state == "done"
    pd.testing.assert_frame_equal(resumed.front, whole.front)
    workers = run(study, tmp_path / "workers", score=toy_score, robust=True, workers=2)
    pd.testing.assert_frame_equal(workers.front, whole.front)
    assert (tmp_path / "workers" / "front.parquet").read_bytes() == (tmp_path / "whole" / "front.parquet").read_bytes()


def test_a_kill_while_samples_are_scored_changes_nothing(tmp_path: Path) -> None:
    code = (
        "import sys; from pathlib import Path; from sweep.runner import run; from tests.test_uncertainty import toy\n"
        "from tests.problems import toy_score\n"
        "from functools import partial; from tests.toy_sweep import slow_score\n"
        "run(toy(), Path(sys.argv[1]), score=partial(slow_score, delay=0.002), uncertainty=True, note=print)\n"
    )
    killed = subprocess.Popen([sys.executable, "-u", "-c", code, str(tmp_path / "run")], stdout=subprocess.PIPE, text=True)
    assert killed.stdout is not None
    for line in killed.stdout:
        if "samples" in line:
            os.kill(killed.pid, signal.SIGKILL)
    assert killed.wait() == -signal.SIGKILL
    assert json.loads((tmp_path / "run" / "run.json").read_text())["state"] == "running"
    resumed = run(toy(), tmp_path / "run", score=toy_score, resume=True)
    whole = run(toy(), tmp_path / "whole", score=toy_score, uncertainty=True)
    pd.testing.assert_frame_equal(resumed.front, whole.front)


def test_the_baseline_has_percentiles_too(tmp_path: Path) -> None:
    text = BALANCING.read_text(encoding="utf-8")
    text = text[: text.index("[search]")] + "[search]\nevaluations = 96\nislands = 1\nphases = 2\nfront_phases = 2\n"
    study = read_study(text + "[uncertainty]\nsamples = 8\n", "small.toml")
    result = run(study, tmp_path / "run")
    table = open_run(tmp_path / "run").baseline()
    assert table is not None
    assert table["slip_margin_p05"].iloc[0] < table["slip_margin"].iloc[0] < table["slip_margin_p95"].iloc[0]
    assert 0 <= table[HOLDING].iloc[0] <= 1
    assert result.state == "done"
