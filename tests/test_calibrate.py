"""Fitting a wheel to bench data: known values come back, and it is said where they cannot."""

import math

import numpy as np
import pytest

from objectives.layout import layout
from objectives.mass import mass_breakdown
from objectives.robot import load_cases
from objectives.scoring import evaluate
from objectives.wheel import wheel_batch
from sweep.designs import baseline_designs
from sweep.errors import BadInput
from sweep.reading import Faults
from sweep.study import load_study
from sweep.workshop import bench_model
from sweep.workshop.bench_model import Bench
from sweep.workshop.calibrate import calibrate
from sweep.workshop.fitted_study import fitted_study
from sweep.workshop.kinds import KINDS, PARAMETERS
from sweep.workshop.measurements import Measurement

TRUTH = {
    "friction_roller": 0.42, "friction_floor": 0.55, "friction_bore": 0.3, "youngs_modulus_MPa": 27.0, "bore_play_mm": 0.25,
    "preload_stiffness_N_per_mm": 13.0, "touch_turns": 0.2, "clearance_mm": 0.3,
}  # fmt: skip
COUPON = [
    *(("preload", turns) for turns in (1.0, 2.0, 3.0, 4.0, 5.0)), *(("squash", depth) for depth in (0.4, 0.8)),
    *(("strip_stretch", pull) for pull in (10.0, 15.0)), *(("strip_wrap", weight) for weight in (4.0, 8.0, 12.0)),
    *(("floor_drag", weight) for weight in (10.0, 20.0, 30.0)), *(("play", math.nan) for _ in range(3)),
    *(("clearance", math.nan) for _ in range(3)),
]  # fmt: skip
PULLS = [(kind, load, preload) for kind in ("slip_forward", "slip_reverse", "slip_sideways")
         for load in (60.0, 105.0, 160.0) for preload in (60.0, 110.0)]  # fmt: skip


@pytest.fixture(scope="module")
def bench():
    study = load_study("studies/balancing.toml")
    return Bench(study, baseline_designs(study).iloc[0].to_dict())


def taken(bench, rows, truth, seed=None, noise=0.03):
    """Measurements of a wheel with known values, scattered by a share of each reading unless there is no seed."""
    rows = [(*row, math.nan)[:3] for row in rows]
    exact = [Measurement(i + 2, KINDS[kind], 1.0, at, preload, 1.0, "", "") for i, (kind, at, preload) in enumerate(rows)]
    read = bench.foretell(exact, bench.start() | truth)
    if seed is not None:
        read = read * (1 + noise * np.random.default_rng(seed).normal(size=len(read)))
    return [
        Measurement(one.line, one.kind, float(value), one.at, one.preload, noise * abs(float(value)), "N", "N")
        for one, value in zip(exact, read, strict=True)
    ]


def test_exact_readings_give_the_true_values_back(bench):
    found = calibrate(bench, taken(bench, COUPON, TRUTH), Faults("x.csv"))
    for finding in found.findings:
        assert finding.value == pytest.approx(TRUTH[finding.name], rel=1e-5), finding.name
        assert finding.told


def test_intervals_of_a_wheel_hold_the_true_values(bench):
    """120 wheels measured with scales: of about 840 intervals 95 % are meant to hold, 93 to 97.5 allowed."""
    held = []
    for seed in range(120):
        found = calibrate(bench, taken(bench, COUPON, TRUTH, seed), Faults("x.csv"))
        held += [finding.low <= TRUTH[finding.name] <= finding.high for finding in found.findings]
    assert len(held) == 120 * 7
    assert 0.93 <= np.mean(held) <= 0.975


def test_pulls_tell_friction_through_the_mechanics(bench):
    names = ["friction_roller", "friction_floor"]
    truth = {name: TRUTH[name] for name in names}
    for seed in range(3):
        found = calibrate(bench, taken(bench, PULLS, truth, seed, 0.02), Faults("x.csv"), names)
        for finding in found.findings:
            assert finding.value == pytest.approx(TRUTH[finding.name], rel=0.05)
            assert (finding.high - finding.low) / 2 < 0.05 * finding.value


def test_pulls_alone_hardly_tell_play_from_friction(bench):
    """Play presses the floor's rollers onto the hubs as friction holds them: both move the sideways pull alike."""
    found = calibrate(bench, taken(bench, PULLS, {}, 1), Faults("x.csv"), ["friction_roller", "bore_play_mm"])
    sideways = [row for row in PULLS if row[0] == "slip_sideways" and row[2] == 110.0]
    alone = calibrate(bench, taken(bench, sideways, {}, 1, 0.01), Faults("x.csv"), ["friction_roller", "bore_play_mm"])
    assert alone.fit.entangled() == [("friction_roller", "bore_play_mm")]
    wide = {finding.name: finding.high - finding.low for finding in alone.findings}
    narrow = {finding.name: finding.high - finding.low for finding in found.findings}
    assert wide["bore_play_mm"] > 2 * narrow["bore_play_mm"]


def test_where_the_floor_always_gives_way_friction_between_rollers_keeps_the_study_s_value(bench):
    rows = [("slip_forward", load, 300.0) for load in (20.0, 30.0, 40.0)]
    found = calibrate(bench, taken(bench, rows, {"friction_floor": 0.5}, 2, 0.01), Faults("x.csv"))
    by_name = {finding.name: finding for finding in found.findings}
    assert by_name["friction_floor"].value == pytest.approx(0.5, rel=0.03)
    assert by_name["friction_roller"].why_kept == "no reading depends on it"
    assert "friction_roller" not in found.found


def test_a_turn_of_the_nut_by_hand(bench):
    """M10 coarse has a pitch of 1.5 mm: 15 N/mm give 22.5 N a turn."""
    one = Measurement(2, KINDS["preload"], 1.0, 2.0, math.nan, 1.0, "N", "turns")
    assert bench.foretell([one], bench.start())[0] == pytest.approx(45.0)


def test_a_pull_is_what_scoring_says_at_the_same_load(bench):
    """In reverse the rollers give way before the floor does, so the pull is the mean drive limit of the output columns."""
    designs, scenario = baseline_designs(bench.study), bench.study.scenario
    wheel = wheel_batch(designs, scenario.catalogue, scenario.robot.floor)
    masses = mass_breakdown(wheel, layout(wheel, scenario), scenario)
    load = float(load_cases(wheel, masses.total, masses.wheel_inertia, scenario).wheel_load[0])
    one = Measurement(2, KINDS["slip_reverse"], 1.0, load, math.nan, 1.0, "N", "N")
    scores = evaluate(designs, scenario, phases=bench_model.PHASES).iloc[0]
    assert bench.foretell([one], bench.start())[0] == pytest.approx(scores["drive_limit_reverse_mean_N"], rel=1e-9)


def test_a_study_with_fitted_values_keeps_its_text(bench):
    found = calibrate(bench, taken(bench, COUPON, TRUTH), Faults("x.csv"))
    written = fitted_study(found, "x.csv")
    before, after = bench.study.text.splitlines(), written.text.splitlines()
    gone = [line for line in before if line not in after]
    assert {line.split(" = ")[0] for line in gone} == {"name", "preload_stiffness_N_per_mm", "bore_play_mm", "clearance_mm"}
    tyre = written.scenario.catalogue.materials["tpu90a"]
    assert tyre.friction_roller == pytest.approx(0.42)
    assert tyre.friction_floor["vinyl"] == pytest.approx(0.55)
    assert tyre.youngs_modulus == pytest.approx(27e6)
    assert written.scenario.catalogue.materials["tpu95a"].friction_roller == pytest.approx(0.42)
    assert written.scenario.printer.clearance == pytest.approx(0.3e-3)
    assert written.baseline["bore_play_mm"] == pytest.approx(0.25)
    assert "(95 %), fitted to x.csv" in written.text
    again = Bench(written, dict(written.baseline))
    assert again.start() == pytest.approx(bench.start() | TRUTH | {"touch_turns": 0.0, "friction_bore": 0.25}, rel=1e-3)


def test_a_table_of_a_study_that_is_there_takes_the_values(bench):
    from dataclasses import replace

    from sweep.study import read_study

    text = bench.study.text + "\n[materials.tpu90a]\nfriction_floor = { vinyl = 0.6, wood = 0.5 }\ndensity_kg_per_m3 = 1190\n"
    other = replace(bench, study=read_study(text))
    written = fitted_study(calibrate(other, taken(other, COUPON, TRUTH), Faults("x.csv")), "x.csv")
    tyre = written.scenario.catalogue.materials["tpu90a"]
    assert tyre.friction_floor["vinyl"] == pytest.approx(0.55)
    assert tyre.friction_floor["wood"] == 0.5
    assert tyre.density == 1190.0


def test_a_wheel_with_cores_cannot_be_squashed(bench):
    cored = Bench(bench.study, dict(bench.design) | {"bore": "ball", "tyre_thickness_mm": 3.0})
    with pytest.raises(BadInput, match=r"must not be squash, which is for rollers that are .*, got bore ball .*line 7"):
        calibrate(cored, taken(bench, COUPON, TRUTH), Faults("x.csv"))


def test_every_kind_tells_parameters_that_there_are():
    for kind in KINDS.values():
        assert kind.tells
        assert set(kind.tells) <= set(PARAMETERS)
