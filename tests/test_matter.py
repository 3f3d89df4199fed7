"""What matters for a design: indices against published values, slopes against differences, and what is kept of it."""

from __future__ import annotations

import json
import math
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from sweep.archive import RunFolder
from sweep.columns import HOLDING
from sweep.designs import baseline_designs
from sweep.front import OBJECTIVES
from sweep.matter import indices, matter_of, spread_unknowns, stored, summary
from sweep.problem import scored, scoring_of
from sweep.study import Study, read_study
from sweep.unknowns import UNKNOWNS
from tests.command_line import SEARCH, SHIPPED, call
from tests.stored_run import stored_run

SAMPLES = 16


def small(more: str = "") -> Study:
    text = SHIPPED.read_text(encoding="utf-8")
    return read_study(text[: text.index("[search]")] + SEARCH.format(evaluations=96, phases=4) + more, "small.toml")


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> RunFolder:
    place = tmp_path_factory.mktemp("matter")
    path = place / "small.toml"
    text = SHIPPED.read_text(encoding="utf-8")
    path.write_text(text[: text.index("[search]")] + SEARCH.format(evaluations=96, phases=4), encoding="utf-8")
    return stored_run(place / "run", path)


@pytest.fixture(scope="module")
def found(folder: RunFolder) -> dict[str, Any]:
    return summary(folder, "baseline", SAMPLES)


def test_indices_of_the_ishigami_function_are_the_published_ones() -> None:
    """f = sin x1 + a sin^2 x2 + b x3^4 sin x1 on (-pi, pi), a = 7, b = 0.1 (Ishigami and Homma 1990).

    Analytic (Sobol and Levitan 1999): first order 0.3139, 0.4424, 0; total 0.5576, 0.4424, 0.2437.
    """

    def ishigami(places: np.ndarray) -> np.ndarray:
        x = math.pi * (2 * places.reshape(3, -1) - 1)
        return (np.sin(x[0]) + 7 * np.sin(x[1]) ** 2 + 0.1 * x[2] ** 4 * np.sin(x[0]))[None, :]

    first, total, band = indices(ishigami, ["a", "b", "c"], 4096, 1)
    np.testing.assert_allclose(first[0], [0.3139, 0.4424, 0.0], atol=0.015)
    np.testing.assert_allclose(total[0], [0.5576, 0.4424, 0.2437], atol=0.015)
    np.testing.assert_allclose(band[0], 0.02, atol=0.02)


def test_indices_of_a_sum_are_the_shares_of_its_variance() -> None:
    def weighted(places: np.ndarray) -> np.ndarray:
        x = places.reshape(3, -1)
        return np.stack([3 * x[0] + 4 * x[1], 0 * x[0] + 1])

    first, total, _ = indices(weighted, ["a", "b", "c"], 1024, 1)
    np.testing.assert_allclose(first[0], [9 / 25, 16 / 25, 0], atol=0.02)
    np.testing.assert_allclose(total[0], [9 / 25, 16 / 25, 0], atol=0.02)
    assert not total[1].any()  # what does not vary hangs on nothing


def test_unknowns_that_are_known_are_not_looked_at() -> None:
    assert len(spread_unknowns(small())) == len(UNKNOWNS) + 1
    known = small("[uncertainty]\nfriction_roller = { relative = 0 }\nfloor_condition = { dry = 1.0 }\n")
    assert set(spread_unknowns(known)) == {entry.name for entry in UNKNOWNS} - {"friction_roller"}


def test_an_unknown_alone_has_all_of_the_spread() -> None:
    only = "[uncertainty]\nfloor_condition = { dry = 1.0 }\n" + "".join(
        f"{entry.name} = {{ {entry.ways[-1]} = 0 }}\n" for entry in UNKNOWNS if entry.name != "friction_roller"
    )
    study = small(only)
    designs = baseline_designs(study)
    assert designs is not None
    found = matter_of(study, scored(designs, 4, scoring_of(study)).iloc[0], 64)
    assert found["evaluations"] == 64 * 3
    assert found["measure"] == ["friction_roller"]
    assert found["unknowns"][0]["weight"] == pytest.approx(1.0)
    limit = next(entry for entry in found["outputs"] if entry["name"] == "drive_limit_forward_N")
    assert limit["indices"][0]["total"] == pytest.approx(1.0, abs=0.1)
    assert limit["p05"] < limit["nominal"] < limit["p95"]


def test_outputs_hang_on_what_they_are_made_of(found: dict[str, Any]) -> None:
    leading = {entry["name"]: entry["indices"][0]["unknown"] for entry in found["outputs"]}
    assert leading["floor_grip"] in ("floor_condition", "friction_floor")
    assert leading["contact_pressure_max_MPa"] == "youngs_modulus_MPa"
    assert leading["preload_swing_N"] == "hub_run_out_mm"
    assert found["measure"] == [entry["name"] for entry in found["unknowns"][:3]]
    weights = [entry["weight"] for entry in found["unknowns"]]
    assert weights == sorted(weights, reverse=True)
    assert sum(weights) == pytest.approx(1.0)
    assert 0 <= found[HOLDING] <= 1


def test_slopes_are_differences_over_a_tenth_of_the_range(found: dict[str, Any]) -> None:
    """Preload: 15 to 400 N shipped, so 38.5 N; a step is 2 % of it either way."""
    study = small()
    designs = baseline_designs(study)
    assert designs is not None
    preload = float(designs["preload_N"].iloc[0])
    score = scoring_of(study)
    down, middle, up = (scored(designs.assign(preload_N=preload + step), 4, score).iloc[0] for step in (-7.7, 0.0, 7.7))
    entry = next(entry for entry in found["slopes"] if entry["variable"] == "preload_N")
    assert entry["over"] == pytest.approx(38.5)
    for objective in OBJECTIVES:
        expected = (up[objective.name] - down[objective.name]) / 15.4 * 38.5 / middle[objective.name]
        assert entry["objectives"][objective.name] == pytest.approx(expected, rel=1e-9, abs=1e-12)
    room = (up["slack_preload_after_wear"] - down["slack_preload_after_wear"]) / 15.4 * 38.5
    assert room == pytest.approx(38.5)  # a newton of preload is a newton of room
    assert entry["rooms"]["preload_after_wear"] == pytest.approx(38.5 / 20.0)  # whose shortfall counts as one at 20 N


def test_what_to_change_first_breaks_nothing_and_gains(found: dict[str, Any]) -> None:
    assert 0 < len(found["change"]) <= 3
    gains = [step["gain"] for step in found["change"]]
    assert gains == sorted(gains, reverse=True)
    assert gains[-1] > 0
    study = small()
    designs = baseline_designs(study)
    assert designs is not None
    step = found["change"][0]
    changed = scored(designs.assign(**{step["variable"]: step["to"]}), 4, scoring_of(study)).iloc[0]
    assert bool(changed["feasible"])


def test_it_is_kept_in_the_run_and_read_again(folder: RunFolder, found: dict[str, Any]) -> None:
    design = found["design"]
    assert stored(folder, design, SAMPLES) == found
    assert stored(folder, design, 2 * SAMPLES) is None
    assert stored(folder, design) == found
    assert stored(folder, design[:-1]) is None
    name = f"matter/{design}-{SAMPLES}.json"
    changed = json.loads(folder.location.read(name)) | {"study_hash": "another"}
    before = folder.location.read(name)
    folder.location.write(name, json.dumps(changed).encode())
    assert stored(folder, design, SAMPLES) is None  # of another study
    folder.location.write(name, b"{ cut")
    assert stored(folder, design, SAMPLES) is None
    folder.location.write(name, before)


def test_the_command_shows_it_and_the_sheet_repeats_what_comes_first(folder: RunFolder, found: dict[str, Any]) -> None:
    place = Path(str(folder.location))
    told = call("matter", place, "baseline", "--samples", SAMPLES)
    assert told.status == 0
    for words in ("What to do first", "measure 1", found["measure"][0], "total Sobol index", "How far the outputs spread"):
        assert words in told.out
    as_json = call("matter", place, "baseline", "--samples", SAMPLES, "--json")
    assert json.loads(as_json.out) == found
    wrong = call("matter", place, "baseline", "--samples", 100)
    assert wrong.status == 2
    assert "--samples must be a power of two, got 100; give 128" in wrong.err
    nobody = call("matter", place, "d000")
    assert nobody.status == 2
