"""The commands about a wheel that exists and about several runs, as a user calls them."""

from __future__ import annotations

import json
from pathlib import Path

import pandas as pd
import pytest

from sweep.designs import baseline_designs
from sweep.study import load_study
from tests.command_line import call, small_study
from tests.stored_run import stored_run

STUDY, READINGS = "studies/balancing.toml", "studies/bench_balancing.csv"


@pytest.fixture(scope="module")
def runs(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Path]:
    """Two runs that were not swept: the baseline with other preloads, and with other hub rollers."""
    folder = tmp_path_factory.mktemp("runs")
    other = small_study(folder, ('name = "shelf counter"', 'name = "stiff tyres"'))
    base = baseline_designs(load_study(STUDY))
    assert base is not None
    some = pd.concat([base.assign(preload_N=preload) for preload in (105.0, 110.0, 115.0)], ignore_index=True)
    more = pd.concat([base.assign(hub_roller_count=count) for count in (17, 19)], ignore_index=True)
    stored_run(folder / "one", Path(STUDY), some)
    stored_run(folder / "two", other, more)
    return folder / "one", folder / "two"


def test_calibrate_writes_a_study_that_the_others_read(tmp_path: Path) -> None:
    out = tmp_path / "fitted.toml"
    done = call("calibrate", STUDY, READINGS, "--out", out)
    assert (done.status, "friction_roller" in done.out) == (0, True)
    assert "breaks drive_margin" in done.out
    assert f"to {out}" in done.err
    written = load_study(out)
    assert written.name == "shelf counter fitted"
    # the readings were computed with 0.42, 26.5 MPa, 0.28 mm and 13.4 N/mm
    assert written.scenario.catalogue.materials["tpu90a"].friction_roller == pytest.approx(0.42, rel=0.05)
    assert written.scenario.catalogue.materials["tpu90a"].youngs_modulus == pytest.approx(26.5e6, rel=0.05)
    assert written.baseline is not None
    assert written.baseline["bore_play_mm"] == pytest.approx(0.28, rel=0.1)
    assert written.baseline["preload_stiffness_N_per_mm"] == pytest.approx(13.4, rel=0.1)
    again = call("calibrate", STUDY, READINGS, "--out", out)
    assert again.status == 2
    assert "--out must not be there yet" in again.err
    shipped = load_study("studies/balancing_fitted.toml")
    friction = [study.scenario.catalogue.materials["tpu90a"].friction_roller for study in (written, shipped)]
    assert friction[0] == pytest.approx(friction[1], rel=2e-3), "python -m tests.examples writes it anew"


def test_calibrate_as_json_and_with_chosen_parameters(tmp_path: Path) -> None:
    out = tmp_path / "fitted.toml"
    out.write_text("# an older one\n", encoding="utf-8")
    wanted = ("--fit", "friction_roller,friction_floor", "--json", "--out", out, "--overwrite")
    done = call("calibrate", STUDY, READINGS, *wanted)
    assert load_study(out).baseline["bore_play_mm"] == 0.2  # type: ignore[index]  # not fitted
    told = json.loads(done.out)
    assert [entry["name"] for entry in told["parameters"]] == ["friction_roller", "friction_floor"]
    assert len(told["rows"]) > 20
    assert told["baseline_after"]["slip_margin"] < told["baseline_before"]["slip_margin"]


def test_bad_measurements_end_with_status_2(tmp_path: Path) -> None:
    path = tmp_path / "bench.csv"
    path.write_text("kind,value,unit,at,at_unit\nslip_forward,-4,N,10,kg\nslip_forwards,4,N,10,kg\n", encoding="utf-8")
    done = call("calibrate", STUDY, path)
    assert done.status == 2
    assert len(done.err.strip().splitlines()) == 2
    assert "line 2" in done.err
    assert "line 3" in done.err


def test_improve_writes_what_it_shows(tmp_path: Path) -> None:
    out = tmp_path / "better.csv"
    done = call("improve", STUDY, "--keep", "carrier,output_roller,hub,hub_roller,motor", "--changes", 1, "--out", out)
    assert done.status == 0
    assert "print again" in done.out
    table = pd.read_csv(out)
    assert list(table.columns[:3]) == ["design", "changes", "changed"]
    told = json.loads(call("improve", STUDY, out, "--keep", "carrier,hub,motor", "--changes", 1, "--json").out)
    assert told["start"]["design"] == table["design"][0]  # its first row is where the next one starts
    assert told["kept_parts"] == ["carrier", "hub", "motor"]
    assert all(entry["feasible"] for entry in told["designs"])


def test_improve_names_what_it_does_not_know() -> None:
    done = call("improve", STUDY, "--keep", "carier")
    assert done.status == 2
    assert "nearest is 'carrier'" in done.err


def test_compare_in_every_form(runs: tuple[Path, Path], tmp_path: Path) -> None:
    done = call("compare", *runs)
    assert done.status == 0
    for words in ("shelf counter", "stiff tyres", "Coverage", "Who wins where"):
        assert words in done.out
    told = json.loads(call("compare", *runs, "--json").out)
    assert len(told["fronts"][0]["designs"]) == 3
    for ending, begins in ((".png", b"\x89PNG"), (".svg", b"<?xml"), (".pdf", b"%PDF"), (".html", b"<!DOCTYPE html>")):
        out = tmp_path / f"compared{ending}"
        assert call("compare", *runs, "--out", out).status == 0
        assert out.read_bytes().startswith(begins)
    out = tmp_path / "common.csv"
    assert call("compare", *runs, "--out", out).status == 0
    assert set(pd.read_csv(out)["front"]) <= {"shelf counter", "stiff tyres"}


def test_runs_that_cannot_be_compared_are_all_named(runs: tuple[Path, Path], tmp_path: Path) -> None:
    base = baseline_designs(load_study(STUDY))
    assert base is not None
    stored_run(tmp_path / "empty", Path(STUDY), base.iloc[:0])
    done = call("compare", runs[0], runs[0], tmp_path / "empty", tmp_path / "nowhere")
    assert done.status == 2
    for words in ("RUN must not be given twice", "front must hold a design at least", "nowhere"):
        assert words in done.err
    assert "RUN must be given twice at least, got 1" in call("compare", runs[0]).err
    assert "--out must end in" in call("compare", *runs, "--out", "x.docx").err
