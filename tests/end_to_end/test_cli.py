"""The command line as a user meets it: what is printed where, exit statuses, files, refusals, stopping."""

from __future__ import annotations

import json
import signal
import subprocess
import sys
import time
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pyarrow.parquet as pq
import pytest
import typer

from objectives.scoring import COLUMNS, evaluate
from objectives.variables import VARIABLES
from sweep import cli
from sweep.archive import open_run
from sweep.designs import baseline_designs
from sweep.errors import SweepFailure
from sweep.runner import run
from sweep.study import load_study
from tests.command_line import ROOT, call, small_study, started
from tests.problems import toy_score, toy_study

OBJECTIVES = ["torque_capacity_Nm", "slip_margin", "friction_loss_W", "mass_kg", "printability"]
#: what each command takes; a change here is a change of the interface
OPTIONS = {
    "check": {"STUDY", "--json"},
    "score": {"STUDY", "DESIGNS", "--phases", "--out", "--json"},
    "sweep": {"STUDY", "--out", "--hours", "--evaluations", "--workers", "--ray", "--resume", "--seed", "--uncertainty",
              "--robust"},
    "front": {"RUN", "--where", "--sort", "--top", "--out", "--json"},
    "sheet": {"RUN", "DESIGN", "--out"},
    "matter": {"RUN", "DESIGN", "--samples", "--json"},
    "build": {"RUN", "DESIGN"},
    "improve": {"STUDY", "DESIGNS", "--keep", "--changes", "--evaluations", "--out", "--json"},
    "calibrate": {"STUDY", "MEASUREMENTS", "--design", "--fit", "--out", "--overwrite", "--json"},
    "compare": {"RUN...", "--out", "--json"},
    "serve": {"--host", "--port", "--results", "--token"},
}


def strict(text: str) -> Any:
    """One JSON document without NaN and Infinity."""

    def refuse(name: str) -> None:
        raise AssertionError(f"{name} is no JSON")

    return json.loads(text, parse_constant=refuse)


@pytest.fixture(scope="session")
def toy_run(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The run of a study without a baseline, scored by arithmetic."""
    place = tmp_path_factory.mktemp("runs") / "toy"
    run(toy_study(evaluations=1000), place, score=toy_score)
    return place


@pytest.fixture(scope="session")
def real_study(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return small_study(tmp_path_factory.mktemp("study"))


@pytest.fixture(scope="session")
def real_run(real_study: Path) -> Path:
    """A short sweep by the command, with a baseline, scored by the mechanics."""
    place = real_study.parent / "run"
    done = call("sweep", real_study, "--out", place)
    assert (done.status, done.out) == (0, "")
    assert f"wheelfront front {place}" in done.err
    return place


# what there is


def test_commands_and_options_are_those_of_the_interface() -> None:
    group = typer.main.get_command(cli.app)
    found = {}
    for name, command in group.commands.items():  # type: ignore[attr-defined]
        names = {one.opts[0] if one.param_type_name == "option" else one.metavar for one in command.params}
        found[name] = names - {"--help"}
    assert found == OPTIONS


def test_help_names_every_command() -> None:
    told = call("--help")
    assert told.status == 0
    assert all(f"\n  {name} " in told.out for name in OPTIONS)
    for name, options in OPTIONS.items():
        one = call(name, "--help")
        assert one.status == 0
        assert all(option in one.out for option in options)


def test_help_loads_nothing_heavy() -> None:
    code = "import sweep.cli, sys; print(sorted({'numpy', 'pandas', 'numba', 'optuna', 'pyarrow', 'rich'} & set(sys.modules)))"
    done = subprocess.run([sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


@pytest.mark.parametrize("arguments", [("chek",), ("front",), ("sweep", "a.toml", "--fast"), ("front", "x", "--top", "0")])
def test_a_wrong_command_or_option_is_bad_input(arguments: tuple[str, ...]) -> None:
    told = call(*arguments)
    assert (told.status, told.out) == (2, "")
    assert "Error" in told.err


# check


def test_check_prints_a_report_and_nothing_but_json_with_json(real_study: Path) -> None:
    text, document = call("check", real_study), call("check", real_study, "--json")
    assert (text.status, document.status) == (0, 0)
    assert "is a sound study" in text.out
    assert "\x1b" not in text.out
    told = strict(document.out)
    assert told["study"] == "shelf counter"
    assert told["sweep"]["evaluations"] == 192
    assert {row["variable"] for row in told["space"]} == {variable.name for variable in VARIABLES}


def test_check_names_every_fault_of_a_study_at_once(tmp_path: Path) -> None:
    bad = small_study(tmp_path, ("voltage_V = 24.0", "voltage_V = -3.0"), ("floor = \"vinyl\"", "floor = \"vinil\""))
    told = call("check", bad)
    assert (told.status, told.out) == (2, "")
    assert "voltage_V must lie in (0, 100], got -3" in told.err
    assert "nearest is 'vinyl'" in told.err


def test_a_space_without_a_possible_wheel_is_refused_before_anything_is_written(tmp_path: Path) -> None:
    bad = small_study(tmp_path, ("bed_mm = [220, 220, 240]", "bed_mm = [60, 60, 60]"))
    for command in (("check", bad), ("sweep", bad, "--out", tmp_path / "run")):
        told = call(*command)
        assert (told.status, told.out) == (2, "")
        assert "bed_fit (largest printed part fits the bed) holds for none" in told.err
    assert not (tmp_path / "run").exists()


# score


def test_the_baseline_is_scored_where_no_file_is_given(real_study: Path) -> None:
    told = strict(call("score", real_study, "--json").out)
    study = load_study(real_study)
    baseline = baseline_designs(study)
    assert baseline is not None
    expected = evaluate(baseline, study.scenario, phases=study.search.front_phases).iloc[0]
    assert told["phases"] == 4
    assert [told["designs"][0][name] for name in OBJECTIVES] == pytest.approx([expected[name] for name in OBJECTIVES])
    text = call("score", real_study)
    assert told["designs"][0]["design"] in text.out
    assert "at 4 positions" in text.err


@pytest.mark.parametrize("ending", [".csv", ".parquet"])
def test_scores_are_written_in_full_and_read_again(real_study: Path, tmp_path: Path, ending: str) -> None:
    out = tmp_path / f"scores{ending}"
    first = call("score", real_study, "--out", out, "--phases", 2)
    assert first.status == 0
    table = pd.read_csv(out) if ending == ".csv" else pd.read_parquet(out)
    assert set(COLUMNS) | {variable.name for variable in VARIABLES} | {"design"} <= set(table.columns)
    again = strict(call("score", real_study, out, "--phases", 2, "--json").out)
    assert again["designs"][0]["design"] == table["design"].iloc[0]
    assert again["designs"][0]["mass_kg"] == pytest.approx(table["mass_kg"].iloc[0])
    if ending == ".parquet":
        field = pq.read_schema(out).field("mass_kg")
        assert field.metadata[b"unit"] == b"kg"


def test_a_missing_number_is_null_and_its_reason_is_told(real_study: Path, tmp_path: Path) -> None:
    table = baseline_designs(load_study(real_study))
    assert table is not None
    table["hub_roller_length_mm"] = 6.0  # shorter than a pass
    table.to_csv(tmp_path / "short.csv", index=False)
    told = strict(call("score", real_study, tmp_path / "short.csv", "--json").out)["designs"][0]
    assert told["torque_capacity_Nm"] is None
    assert told["feasible"] is False
    assert "hub_roller_length" in told["status"]
    assert "hub_roller_length" in call("score", real_study, tmp_path / "short.csv").out


def test_designs_that_cannot_be_used_are_refused(real_study: Path, tmp_path: Path) -> None:
    (tmp_path / "bad.csv").write_text("crown,motor\n2.0,none\n")
    told = call("score", real_study, tmp_path / "bad.csv")
    assert (told.status, told.out) == (2, "")
    assert "crown must lie in [0, 1], got 2" in told.err


def test_score_without_designs_and_baseline_is_refused(tmp_path: Path) -> None:
    study = small_study(tmp_path)
    text = study.read_text()
    study.write_text(text[: text.index("[baseline]")] + text[text.index("[search]") :])
    told = call("score", study)
    assert told.status == 2
    assert "the study has no [baseline]" in told.err


# sweep


def test_a_sweep_is_not_written_over_and_resumes(real_study: Path, real_run: Path) -> None:
    before = (real_run / "front.parquet").read_bytes()
    told = call("sweep", real_study, "--out", real_run)
    assert told.status == 2
    assert "add --resume" in told.err
    assert call("sweep", real_study, "--out", real_run, "--resume").status == 0
    assert (real_run / "front.parquet").read_bytes() == before


def test_hours_and_evaluations_exclude_each_other(real_study: Path) -> None:
    for options in (("--hours", 1, "--evaluations", 9), ("--hours", 0), ("--hours", 1e9)):
        told = call("sweep", real_study, *options)
        assert told.status == 2
        assert told.err.startswith("--hours must")


def test_ctrl_c_before_the_search_writes_nothing(
    real_study: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def interrupted(*_: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr("sweep.check.sampled", interrupted)
    told = call("sweep", real_study, "--out", tmp_path / "run")
    assert told.status == 0
    assert "nothing was written" in told.err
    assert not (tmp_path / "run").exists()


@pytest.mark.slow
@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM])
def test_a_signal_leaves_a_front_and_says_how_to_go_on(tmp_path: Path, number: signal.Signals) -> None:
    study, place = small_study(tmp_path, evaluations=100_000, phases=1), tmp_path / "run"
    process = started("sweep", study, "--out", place)
    try:
        deadline = time.monotonic() + 240
        while not (place / "front.parquet").exists() and time.monotonic() < deadline and process.poll() is None:
            time.sleep(0.2)
        process.send_signal(number)
        out, err = process.communicate(timeout=120)
    finally:
        process.kill()
    assert (process.returncode, out) == (0, "")
    assert "Stopped after" in err
    assert f"wheelfront sweep {study} --out {place} --resume" in err
    about = open_run(place).about()
    assert about is not None
    assert about["state"] == "stopped"
    assert call("front", place).status == 0


@pytest.mark.slow
def test_a_sweep_that_is_still_compiling_ends_at_once(tmp_path: Path) -> None:
    study, place = small_study(tmp_path), tmp_path / "run"
    began = time.monotonic()
    process = started("sweep", study, "--out", place, NUMBA_CACHE_DIR=str(tmp_path / "nothing compiled"))
    try:
        while not (place / "run.json").exists() and time.monotonic() < began + 120 and process.poll() is None:
            time.sleep(0.1)
        starting = time.monotonic() - began
        time.sleep(0.5)
        asked = time.monotonic()
        process.send_signal(signal.SIGTERM)
        _, err = process.communicate(timeout=120)
    finally:
        process.kill()
    # on a machine that is not busy starting takes two seconds, compiling a minute
    assert time.monotonic() - asked < max(5.0, 2 * starting)
    assert process.returncode == 0, err
    about = open_run(place).about()
    assert about is not None
    assert about["state"] == "stopped"
    assert not list((tmp_path / "nothing compiled").glob("whole-*"))


# front


def test_the_front_shows_extremes_knee_and_baseline(real_run: Path) -> None:
    told = call("front", real_run)
    assert told.status == 0
    for part in ("best torque", "best slip margin", "best loss", "best mass", "best printability", "knee", "baseline"):
        assert f"\n{part} " in told.out
    assert "[N m]" in told.out
    assert "\x1b" not in told.out
    assert "better than the baseline in every objective" in told.out


def test_the_front_as_json_agrees_with_the_file(real_run: Path) -> None:
    told, front = strict(call("front", real_run, "--json").out), pd.read_parquet(real_run / "front.parquet")
    assert told["designs"] == len(front)
    for name in OBJECTIVES:
        best = front[name].max() if name in ("torque_capacity_Nm", "slip_margin", "printability") else front[name].min()
        assert told["extremes"][name][name] == pytest.approx(best)
    own = told["baseline"]
    sign = {name: 1 if name in ("torque_capacity_Nm", "slip_margin", "printability") else -1 for name in OBJECTIVES}
    better = np.all([sign[name] * (front[name] - own[name]) > 0 for name in OBJECTIVES], axis=0)
    assert set(own["better_in_all"]) == set(front["design"][better])


def test_filters_sorting_and_a_number_of_designs(toy_run: Path) -> None:
    front = pd.read_parquet(toy_run / "front.parquet")
    options = ("--where", "mass_kg < 1.3 and bore != ball", "--sort", "slip_margin", "--top", 5)
    told = strict(call("front", toy_run, *options, "--json").out)
    expected = front[(front["mass_kg"] < 1.3) & (front["bore"] != "ball")].sort_values(
        ["slip_margin", "design"], ascending=[False, True]
    )
    assert [row["design"] for row in told["designs"]] == expected["design"].head(5).tolist()
    assert told["of"] == len(front)
    lightest = strict(call("front", toy_run, "--sort", "mass_kg", "--top", 1, "--json").out)["designs"][0]
    assert lightest["mass_kg"] == front["mass_kg"].min()
    text = call("front", toy_run, "--where", "bore == plain", "--sort", "preload_N", "--top", 3)
    assert len(text.out.splitlines()) == 3 + 3  # a head of three lines
    assert "preload_N" in text.out
    assert f"3 of {len(front)} designs" in text.err


def test_no_design_left_is_no_fault(toy_run: Path) -> None:
    told = call("front", toy_run, "--where", "mass_kg < 0")
    assert (told.status, told.out) == (0, "")
    assert "None of" in told.err
    assert strict(call("front", toy_run, "--where", "mass_kg < 0", "--json").out)["designs"] == []


def test_the_front_is_written_to_a_file(toy_run: Path, tmp_path: Path) -> None:
    told = call("front", toy_run, "--top", 4, "--out", tmp_path / "best.csv")
    assert told.status == 0
    front = pd.read_parquet(toy_run / "front.parquet")
    assert pd.read_csv(tmp_path / "best.csv")["design"].tolist() == front["design"].head(4).tolist()


def test_a_front_without_a_baseline_says_so(toy_run: Path) -> None:
    assert "no [baseline] to compare with" in call("front", toy_run).out


@pytest.mark.parametrize(
    ("options", "expected"),
    [
        (("--sort", "mas"), "mas is not a column (--sort); nearest is 'mass_kg'"),
        (("--where", "mass < 2"), "mass is not a column (--where); nearest is 'mass_kg'"),
        (("--where", "__import__('os')"), "must hold only comparisons"),
        (("--out", "front.xls"), "--out must end in .csv or .parquet, got '.xls'"),
    ],
)
def test_wrong_options_of_front(toy_run: Path, options: tuple[str, str], expected: str) -> None:
    told = call("front", toy_run, *options)
    assert (told.status, told.out) == (2, "")
    assert expected in told.err


def test_folders_that_hold_no_run_are_refused(tmp_path: Path) -> None:
    for place in (tmp_path / "nowhere", tmp_path):
        for command in (("front", place), ("sheet", place, "knee")):
            told = call(*command)
            assert (told.status, told.out) == (2, "")
            assert f"RUN must be the folder of a run, got {place}" in told.err


def test_a_run_without_a_front_says_why(tmp_path: Path) -> None:
    def hopeless(designs: pd.DataFrame, phases: int) -> pd.DataFrame:
        return toy_score(designs, phases).assign(feasible=False, violation=1.0, slack_room=-1.0)

    run(toy_study(evaluations=200), tmp_path / "run", score=hopeless)
    told = call("front", tmp_path / "run")
    assert told.status == 2
    assert "none is feasible" in told.err
    assert "room is broken by 100 %" in told.err


@pytest.mark.skipif(not Path("/proc/self/task").is_dir(), reason="threads are counted in /proc")
def test_reading_a_front_leaves_no_thread_behind(toy_run: Path) -> None:
    """A thread of the reader that lets go of its part while the process ends aborts it, whatever status it would have had."""
    code = (
        "import os, sys, sweep.archive as a; count = lambda: len(os.listdir('/proc/self/task')); before = count(); "
        "a.open_run(sys.argv[1]).front(); print(count() - before)"
    )
    done = subprocess.run([sys.executable, "-c", code, str(toy_run)], cwd=ROOT, capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "0"


# sheet


def test_a_sheet_by_id_beginning_and_name(real_run: Path) -> None:
    front = pd.read_parquet(real_run / "front.parquet")
    whole = front["design"].iloc[0]
    begun = next(whole[:k] for k in range(2, 12) if front["design"].str.startswith(whole[:k]).sum() == 1)
    for name in (whole, begun):
        assert call("sheet", real_run, name).out.startswith(f"Design {whole} of shelf counter")
    knee = strict(call("front", real_run, "--json").out)["knee"]["design"]
    assert call("sheet", real_run, "knee").out.startswith(f"Design {knee} ")
    baseline = pd.read_parquet(real_run / "baseline.parquet")["design"].iloc[0]
    assert call("sheet", real_run, "baseline").out.startswith(f"Design {baseline} ")


def test_designs_that_are_not_there(toy_run: Path) -> None:
    front = pd.read_parquet(toy_run / "front.parquet")
    ambiguous = call("sheet", toy_run, "d")
    assert ambiguous.status == 2
    assert f"must be the beginning of one id, got 'd', of {len(front)}" in ambiguous.err
    close = front["design"].iloc[0][:-1] + "x"
    told = call("sheet", toy_run, close)
    assert told.status == 2
    assert "nearest is 'd" in told.err
    assert "the study has no [baseline]" in call("sheet", toy_run, "baseline").err
    assert "nearest is 'knee'" in call("sheet", toy_run, "knees").err


# failures


def test_what_is_printed_fits_80_columns(
    real_study: Path, real_run: Path, toy_run: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("COLUMNS", "80")
    for command in (("score", real_study), ("front", real_run), ("front", toy_run, "--top", 3), ("sheet", real_run, "knee")):
        assert max(map(len, call(*command).out.splitlines())) <= 80


def test_a_failure_while_running_says_what_is_safe(real_study: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def full(*_: object) -> None:
        raise SweepFailure("the disk is full", safe="what was there", go_on="free space")

    monkeypatch.setattr("sweep.study.load_study", full)
    told = call("check", real_study)
    assert (told.status, told.err) == (1, "the disk is full\nSafe: what was there\nTo go on: free space\n")


def test_an_unexpected_failure_is_one_line(real_study: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def broken(*_: object) -> None:
        raise RuntimeError("the cat sat on it")

    monkeypatch.setattr("sweep.study.load_study", broken)
    told = call("check", real_study)
    assert (told.status, told.out) == (1, "")
    assert told.err.startswith("wheelfront failed unexpectedly: RuntimeError: the cat sat on it.")
    assert told.err.count("\n") == 1
    monkeypatch.setenv(cli.DEBUG, "1")
    with pytest.raises(RuntimeError):
        call("check", real_study)


def test_a_reader_that_has_seen_enough_is_no_failure(toy_run: Path) -> None:
    line = f"{sys.executable} -m sweep.cli front {toy_run} --json | head -c 10"
    done = subprocess.run(["bash", "-o", "pipefail", "-c", line], cwd=ROOT, capture_output=True, text=True, check=False)
    assert (done.returncode, done.stderr) == (0, "")


def test_the_entry_point_is_the_command() -> None:
    assert 'wheelfront = "sweep.cli:main"' in (ROOT / "pyproject.toml").read_text()
