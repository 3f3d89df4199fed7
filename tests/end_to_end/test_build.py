"""``wheelfront build`` as a shell would call it: what it writes, what it refuses, what it leaves behind."""

from __future__ import annotations

import csv
import hashlib
import json
import os
import re
import shutil
import subprocess
import sys
from pathlib import Path
from types import SimpleNamespace

import pandas as pd
import pytest

from sweep.cad import build as building
from sweep.cad import needs
from sweep.cad.build import STAGES
from sweep.designs import baseline_designs
from sweep.study import load_study
from tests.command_line import ROOT, SHIPPED, Outcome, call
from tests.stored_run import stored_run

#: designs of the shipped studies' fronts with all variables: straight and crowned, soft throughout, bushed, on ball bearings
DESIGNS = Path(__file__).parent / "builds.csv"
#: the design that is built twice, in two processes: the one that takes least
REPEATED = 0


@pytest.fixture(scope="module")
def run(tmp_path_factory: pytest.TempPathFactory) -> Path:
    place = tmp_path_factory.mktemp("stored") / "run"
    stored_run(place, SHIPPED)
    return place


@pytest.mark.parametrize("name", ["d44101c858", "../run", "/etc", "..", "d44/../../x", ""])
def test_designs_that_are_not_stored_are_refused(run: Path, name: str) -> None:
    unknown = "zz" + name if name.startswith("d44101") else name
    outcome = call("build", run, unknown)
    assert outcome.status == 2
    assert "DESIGN must be" in outcome.err
    assert not (run / "builds").exists()


def test_a_missing_run_is_refused(tmp_path: Path) -> None:
    outcome = call("build", tmp_path / "none", "knee")
    assert outcome.status == 2
    assert "RUN must be the folder of a run" in outcome.err


def test_an_infeasible_design_is_refused_with_what_it_breaks(tmp_path: Path) -> None:
    study = load_study(SHIPPED)
    designs = baseline_designs(study)
    assert designs is not None
    designs["carrier_thickness_mm"] = 40.0  # thicker than the hubs leave room for
    stored_run(tmp_path / "run", SHIPPED, designs)
    outcome = call("build", tmp_path / "run", "knee")
    assert outcome.status == 2
    assert re.search(r"DESIGN must be feasible to be built, got d\w+: it breaks .*carrier_standoff", outcome.err)
    assert not (tmp_path / "run" / "builds").exists()


def test_a_stored_id_that_would_leave_the_run_is_refused(tmp_path: Path) -> None:
    folder = stored_run(tmp_path / "run", SHIPPED)
    front = folder.front()
    assert front is not None
    folder.write_front(front.assign(design="../../out"), {})
    outcome = call("build", tmp_path / "run", "knee")
    assert outcome.status == 2
    assert "must be made of letters" in outcome.err
    assert [path.name for path in tmp_path.iterdir()] == ["run"]


def test_missing_libraries_are_named_with_their_remedy(run: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def missing(name: str) -> None:
        raise ImportError("libGL.so.1: cannot open shared object file: No such file or directory")

    monkeypatch.setattr(needs, "import_module", missing)
    outcome = call("build", run, "baseline")
    assert outcome.status == 1
    assert "libGL.so.1: cannot open" in outcome.err
    assert "apt-get install libgl1 libx11-6" in outcome.err
    monkeypatch.undo()
    monkeypatch.setattr(needs, "LIBRARIES", ("no_such_library",))
    outcome = call("build", run, "baseline")
    assert outcome.status == 1
    assert "To go on: pip install -c constraints.txt -e '.[cad]'" in outcome.err


@pytest.mark.usefixtures("cad_libraries")
def test_a_full_disk_leaves_nothing_half_written(run: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def full(*unused: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(building, "dimensions_of", lambda *unused: None)
    monkeypatch.setattr(building, "assemble", lambda *unused: SimpleNamespace(parts=()))
    monkeypatch.setattr(building, "write", full)
    outcome = call("build", run, "baseline")
    assert outcome.status == 1
    assert "No space left on device" in outcome.err
    assert "Safe: the run; nothing was left half-written" in outcome.err
    assert list((run / "builds").iterdir()) == []


def rows(path: Path) -> list[dict[str, str]]:
    return list(csv.DictReader(path.read_text(encoding="utf-8").splitlines()))


@pytest.mark.slow
@pytest.mark.usefixtures("cad_libraries")
@pytest.mark.parametrize("number", [0, 1, 2])
def test_designs_of_the_fronts_build_and_prove_themselves(tmp_path: Path, number: int) -> None:
    designs = pd.read_csv(DESIGNS).iloc[[number]].reset_index(drop=True)
    study = SHIPPED.parent / f"{designs.pop('study')[0]}.toml"
    stored_run(tmp_path / "run", study, designs)
    again = built_elsewhere(tmp_path) if number == REPEATED else None
    outcome = call("build", tmp_path / "run", "knee")
    assert outcome.status == 0, outcome.err
    if again is not None:
        told = again.communicate()[1]
        assert again.returncode == 0, told
        assert contents(tmp_path / "other" / "builds") == contents(tmp_path / "run" / "builds")
    check_told(outcome)
    (place,) = (tmp_path / "run" / "builds").iterdir()
    record = json.loads((place / "build.json").read_text())
    assert record["holds"]
    geometry = record["geometry"]
    assert geometry["soft_contacts"]["contacts"] > 100
    assert geometry["rigid_overlaps"]["pairs_cut"] > 40
    assert geometry["gears"]["gear"]["count"] == designs["gear_teeth"][0]
    assert record["files"] == sorted(path.relative_to(place).as_posix() for path in place.rglob("*") if path.is_file())
    assert record["mass"]["solids_kg"] == pytest.approx(record["mass"]["objective_kg"], rel=0.03)
    parts, prints = rows(place / "parts.csv"), rows(place / "print_list.csv")
    counts = {part["name"]: int(part["count"]) for part in parts}
    assert counts["output_roller"] == designs["output_roller_count"][0]
    assert counts["hub_roller"] == counts["hub_bolt"] == 2 * designs["hub_roller_count"][0]
    assert sum(float(part["total_g"]) for part in parts) / 1000 == pytest.approx(record["mass"]["solids_kg"], abs=2e-3)
    for entry in prints:
        assert (place / entry["file"]).exists()
        assert (place / entry["file"].replace(".3mf", ".step")).exists()
        assert ("tyres" in entry["file"]) == (entry["material"].startswith("tpu"))
    values = {entry["name"]: entry for entry in rows(place / "parameters.csv")}
    radius = designs["wheel_diameter_mm"][0] / 2 - designs["output_roller_diameter_mm"][0] / 2
    assert float(values["pitch_radius_mm"]["value"]) == pytest.approx(radius, rel=1e-5)
    assert all(entry["formula"] for entry in values.values() if entry["unit"])
    drawing = (place / "drawing.svg").read_text()
    assert drawing.count("<path") > 100
    assert (place / "drawing.pdf").read_bytes()[:5] == b"%PDF-"
    page = (place / "coupon" / "coupon.md").read_text()
    for key in ("youngs_modulus_MPa", "friction_roller", "clearance_mm", "bore_play_mm", "friction_floor"):
        assert f"`{key}" in page


def built_elsewhere(tmp_path: Path) -> subprocess.Popen[str]:
    """The same build in a process of its own, with other hashes, beside this one."""
    shutil.copytree(tmp_path / "run", tmp_path / "other")
    words = [sys.executable, "-m", "sweep.cli", "build", str(tmp_path / "other"), "knee"]
    own = {"PYTHONHASHSEED": "7", "TZ": "Asia/Tokyo"}
    return subprocess.Popen(words, cwd=ROOT, env=os.environ | own, text=True, stdout=subprocess.PIPE, stderr=subprocess.PIPE)


def contents(folder: Path) -> dict[str, str]:
    """Hash of each file below a folder."""
    files = (path for path in folder.rglob("*") if path.is_file())
    return {path.relative_to(folder).as_posix(): hashlib.sha256(path.read_bytes()).hexdigest() for path in files}


def check_told(outcome: Outcome) -> None:
    """Every stage in its turn, the result, the cautions."""
    told = re.findall(r"^(\d+) of (\d+), after \d+ s: (.*)$", outcome.err, re.MULTILINE)
    assert [stage for _, _, stage in told] == list(STAGES)
    assert [int(at) for at, _, _ in told] == list(range(1, len(STAGES) + 1))
    for words in ("pinch", "supply", "bolts of the hub rollers", "soften with heat", "% off mass_kg", "An output roller can"):
        assert words in outcome.err
