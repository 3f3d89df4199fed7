"""The page's logic by NiceGUI's simulation: what a visitor does, what stands there then, what is stored."""

from __future__ import annotations

import json
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

pytest.importorskip("nicegui", reason="NiceGUI is missing: pip install -c constraints.txt -e '.[service]'")
from fastapi import FastAPI
from fastapi.testclient import TestClient
from nicegui.testing import User

from sweep.front import OBJECTIVES
from sweep.page.columns import ENDLESS, NAMES, label, rounded
from sweep.page.drawings import DRAWINGS
from sweep.page.form_fields import groups, parsed, place_of, read, write
from sweep.page.letters import place
from sweep.page.routes import add_routes
from sweep.page.run_words import help_words, hypervolume_svg, progress_words
from sweep.page.snapshots import Snapshots, points, table_rows
from sweep.page.view import Bounds, View
from sweep.service.desk import BuildSummary, Kept
from sweep.service.summaries import DONE, FAILED, FINISHED, SEARCHING, STARTING, STOPPED
from sweep.study import read_study
from tests.page_stand_in import STUDY, Run, StandIn, invented, summary
from tests.page_visit import counts, sees, until, visit

COUNT = 60


@pytest.fixture
def front() -> pd.DataFrame:
    return invented(COUNT)


@pytest.fixture
def desk(front: pd.DataFrame) -> StandIn:
    """One finished run with a baseline that some designs beat."""
    baseline = front.iloc[0].copy()
    baseline["design"] = "d44101c858c"
    return StandIn({"shelf": Run(summary("shelf", COUNT), front, baseline)})


# the view, without a page


def test_filters_of_charts_and_table_keep_what_the_mask_keeps(front: pd.DataFrame) -> None:
    view = View(rounded(front))
    view.limit("mass_kg", None, 2.0)
    view.limit("torque_capacity_Nm", 1.0, 3.0)
    view.keep("bore", (view.options("bore")[0],))
    kept = np.ones(COUNT, dtype=bool)
    for condition in view.chart_filter()["and"]:
        each = condition.get("or", [condition])
        held = np.zeros(COUNT, dtype=bool)
        for one in each:
            values = view.numbers(one["dimension"])
            held |= (values >= one.get("gte", -np.inf)) & (values <= one.get("lte", np.inf)) & (
                (values == one["eq"]) if "eq" in one else True
            )
        kept &= held
    assert kept.tolist() == view.mask().tolist()
    assert 0 < kept.sum() < COUNT
    model = view.table_filter()
    assert model["mass_kg"] == {"filterType": "number", "type": "lessThanOrEqual", "filter": 2.0}
    assert model["bore"]["filter"] == view.options("bore")[0]


def test_what_lifting_a_limit_gives_back_is_told(front: pd.DataFrame) -> None:
    view = View(rounded(front))
    view.limit("mass_kg", None, 2.0)
    view.limit("slip_margin", 1.5, None)
    without = View(view.frame, limits={"slip_margin": Bounds(1.5, None)})
    assert view.regained()["mass_kg"] == without.mask().sum() - view.mask().sum()


def test_the_address_brings_back_the_view(front: pd.DataFrame) -> None:
    view = View(rounded(front))
    view.limit("mass_kg", 0.5, 2.0)
    view.limit("wheel_diameter_mm", None, 180.0)
    view.keep("motor", view.options("motor")[:1])
    view.picked, view.up, view.columns = str(front["design"][7]), "preload_N", ["mass_kg", "bore"]
    again = View(view.frame)
    again.read_address(view.address())
    assert (again.limits, again.names, again.picked) == (view.limits, view.names, view.picked)
    assert (again.up, again.columns, again.extra) == (view.up, view.columns, view.extra)


@pytest.mark.parametrize("text", ["abc", "1..b", "", "..", "nan..inf"])
def test_nonsense_in_the_address_is_passed_over(front: pd.DataFrame, text: str) -> None:
    view = View(rounded(front))
    view.read_address({"mass_kg": text, "no_such": "1..2", "design": text, "x": text, "columns": text, "motor": text})
    assert view.mask().all()
    assert view.picked is None


def test_limits_at_the_baseline_keep_the_baseline(front: pd.DataFrame) -> None:
    frame = rounded(front)
    view = View(frame)
    own = frame.iloc[5]
    view.beat(own)
    assert view.mask()[5]
    kept = frame[view.mask()]
    for entry in OBJECTIVES:
        worse = kept[entry.name] < own[entry.name] * 0.98 if entry.maximise else kept[entry.name] > own[entry.name] * 1.02
        assert not worse.any()


def test_what_has_no_end_passes_a_floor_and_is_json() -> None:
    frame = invented(4)
    frame.loc[0, "held_time_s"] = np.inf
    frame.loc[1, "held_time_s"] = np.nan
    view = View(rounded(frame))
    assert view.frame["held_time_s"][0] == ENDLESS
    view.limit("held_time_s", 0.0, None)
    assert view.mask().tolist() == [True, False, True, True]


def test_data_for_the_browser_are_the_view_s_own_numbers(desk: StandIn, front: pd.DataFrame) -> None:
    snapshot = Snapshots(desk).take("shelf")
    told = np.array(json.loads(points(snapshot, ["mass_kg", "motor"])))
    assert told[:, 1].tolist() == snapshot.frame["mass_kg"].tolist()
    assert set(told[:, 2]) <= set(range(len(View(snapshot.frame).options("motor"))))
    rows = json.loads(table_rows(snapshot, ["mass_kg", "bore"]))
    assert [row["design"] for row in rows] == front["design"].tolist()


def test_letters_do_not_cover_each_other() -> None:
    marks = [(50.0, 50.0), (52.0, 51.0), (54.0, 50.0), (50.0, 54.0), (56.0, 56.0), (48.0, 48.0)]
    at = [(x + dx, y + dy) for (x, y), (dx, dy) in zip(marks, place(marks, [(60.0, 50.0)], (140.0, 100.0)), strict=True)]
    for i, one in enumerate(at):
        for other in at[:i]:
            assert abs(one[0] - other[0]) >= 9 or abs(one[1] - other[1]) >= 12


def test_columns_have_words() -> None:
    names = [str(name) for name in invented(1).columns]
    assert all(label(name) and "_" not in label(name) for name in names)


# words of runs


@pytest.mark.parametrize(
    ("given", "words"),
    [
        ({"state": STARTING}, "compiled first"),
        ({"state": FAILED, "message": "the disk is full"}, "the disk is full"),
        ({"state": FINISHED, "front_size": 0}, "No design holds every constraint"),
        ({"state": FINISHED, "front_size": 1}, "One design on the front"),
        ({"state": STOPPED, "front_size": 9}, "Resume goes on"),
        ({"state": SEARCHING, "front_size": 0}, "No design yet"),
    ],
)
def test_each_state_of_a_run_has_a_line_that_helps(given: dict[str, object], words: str) -> None:
    assert words in help_words(replace(summary("one"), **given))


def test_progress_says_what_is_left() -> None:
    one = summary("one", state=SEARCHING, evaluations=1500, seconds_left=90.0, rate_per_s=50.0)
    assert progress_words(one) == "1,500 of 6,000 evaluations, 1 min 30 s left, 50 a second"


def test_hypervolume_is_drawn_and_read_out() -> None:
    drawn = hypervolume_svg([{"evaluations": 100, "hypervolume": 0.2}, {"evaluations": 200, "hypervolume": 0.45}])
    assert "0.450" in drawn
    assert "aria-label" in drawn
    assert "no hypervolume" in hypervolume_svg([{"evaluations": 100, "hypervolume": None}])


# the form


def test_fields_write_a_study_that_reads_as_they_say() -> None:
    fields = {field.name: field for _, _, listed in groups() for field in listed}
    document = parsed(STUDY)
    assert document is not None
    for name, text in (("robot.mass_kg", "11.5"), ("space.crown", "0.2..0.8"), ("space.bore", "ball"), ("name", "a new one"),
                       ("printer.bed_mm", "200, 210, 220"), ("battery.energy_Wh", "")):  # fmt: skip
        write(document, fields[name], text)
        assert read(document, fields[name]) == text
    study = read_study(document.as_string())
    assert study.name == "a new one"
    assert study.space.domains["crown"].high == 0.8
    assert "# whole robot without the wheel unit" in document.as_string()


def test_every_field_is_one_that_a_study_knows(desk: StandIn) -> None:
    """A field that a study did not know would be a fault of an unknown key."""
    for _, _, fields in groups():
        for field in fields:
            document = parsed(STUDY)
            assert document is not None
            write(document, field, "no such thing")
            found = [fault for fault in desk.faults_of(document.as_string()) if place_of(fault, [field])]
            assert field.kind == "text" or found, field.name


def test_faults_find_their_field(desk: StandIn) -> None:
    fields = [field for _, _, listed in groups() for field in listed]
    for old, new, name in (("mass_kg = 9.0 ", "mass_kg = -9.0 ", "robot.mass_kg"),
                           ('floor = "vinyl"', 'floor = "lava"', "robot.floor"),
                           ("low = 140", "low = 1400", "space.wheel_diameter_mm")):  # fmt: skip
        assert old in STUDY
        assert name in [place_of(fault, fields) for fault in desk.faults_of(STUDY.replace(old, new))]


# addresses


def test_drawings_and_data_by_address(desk: StandIn, front: pd.DataFrame) -> None:
    app = FastAPI()
    snapshots = Snapshots(desk)
    add_routes(app, desk, snapshots)
    key, design = snapshots.take("shelf").key, str(front["design"][3])
    with TestClient(app) as calls:
        for kind in set(DRAWINGS) - {"grip", "turn"}:  # those want the mechanics
            answer = calls.get(f"/page/drawing/shelf/{key}/{design}/{kind}")
            assert answer.status_code == 200, answer.text
            assert "var(--" in answer.text
            assert 'role="img"' in answer.text
        assert calls.get(f"/page/drawing/shelf/{key}/nothing/section").status_code == 404
        assert calls.get(f"/page/drawing/shelf/{key}/{design}/nothing").status_code == 404
        assert len(calls.get(f"/page/points/shelf/{key}?columns=mass_kg").json()) == COUNT
        assert len(calls.get(f"/page/points/shelf/{key}?columns=mass_kg&most=10").json()) == 10
        assert "load the page anew" in calls.get("/page/rows/shelf/older?columns=mass_kg").text
        assert "There is no run" in calls.get("/page/points/other/key?columns=mass_kg").text
        assert calls.get(f"/page/build/shelf/{design}.zip").status_code == 409
        assert "sheet of" in calls.get(f"/page/sheet/shelf/{design}.html").text


# visits


def test_a_field_narrows_and_nonsense_does_not(desk: StandIn, front: pd.DataFrame) -> None:
    async def visitor(user: User) -> None:
        await user.open("/run/shelf")
        await counts(user, COUNT)
        user.find(marker="mass_kg-high").trigger("change", "2,0")
        await counts(user, int((front["mass_kg"] <= 2.0).sum()))
        user.find(marker="mass_kg-high").trigger("change", "abc")
        await counts(user, COUNT)

    visit(desk, visitor)


def test_a_brush_does_what_the_fields_do(desk: StandIn, front: pd.DataFrame) -> None:
    async def visitor(user: User) -> None:
        await user.open("/run/shelf")
        event = {"parallelAxisId": "mass_kg", "intervals": [[2.0, 1.0]]}  # reversed, as an axis sends it that is
        user.find(marker="axes").trigger("chart:axisareaselected", event)
        kept = int(((front["mass_kg"] >= 1.0) & (front["mass_kg"] <= 2.0)).sum())
        await counts(user, kept)
        user.find(marker="axes").trigger("chart:axisareaselected", {"parallelAxisId": "mass_kg", "intervals": []})
        await counts(user, COUNT)

    visit(desk, visitor)


def test_names_are_limits_too(desk: StandIn, front: pd.DataFrame) -> None:
    async def visitor(user: User) -> None:
        await user.open("/run/shelf")
        user.find(marker="add-limit").trigger("change", "bore")
        await sees(user, "bushed")
        user.find(marker="bore-bushed").click()
        await counts(user, int((front["bore"] == "bushed").sum()))

    visit(desk, visitor)


def test_limits_come_from_the_address(desk: StandIn, front: pd.DataFrame) -> None:
    async def visitor(user: User) -> None:
        design = str(front["design"][9])
        await user.open(f"/run/shelf?mass_kg=..2&design={design}")
        await counts(user, int((front["mass_kg"] <= 2.0).sum()))
        await sees(user, f"Design {design}")

    visit(desk, visitor)


def test_the_shortlist_is_stored_and_holds_six(desk: StandIn, front: pd.DataFrame) -> None:
    async def visitor(user: User) -> None:
        await user.open("/run/shelf?design=" + str(front["design"][0]))
        await sees(user, "None of 6 yet.")
        await sees(user, "Add to shortlist")
        user.find(marker="keep").click()
        await sees(user, "1 of 6.")
        user.find(marker="note-A").trigger("change", "quiet, but heavy")
        await until(lambda: desk.held["shelf"].kept == [Kept(str(front["design"][0]), "quiet, but heavy")])
        desk.held["shelf"].kept = [Kept(str(name), "") for name in front["design"][:6]]
        await user.open("/run/shelf?design=" + str(front["design"][7]))
        await sees(user, "Shortlist is full")
        user.find(marker="off-B").click()
        await until(lambda: len(desk.held["shelf"].kept) == 5)
        await sees(user, "Add to shortlist")

    visit(desk, visitor)


def test_new_designs_wait_behind_a_button(desk: StandIn, front: pd.DataFrame) -> None:
    run = desk.held["shelf"]
    run.front, run.summary = front.iloc[:40], replace(run.summary, state=SEARCHING, front_size=40)

    async def visitor(user: User) -> None:
        await user.open("/run/shelf")
        await counts(user, 40)
        run.front, run.version = front, 1
        await sees(user, "Show 20 new")
        await counts(user, 40)
        user.find(marker="new").click()
        await counts(user, COUNT)

    visit(desk, visitor)


def test_a_run_that_is_deleted_under_the_page(desk: StandIn) -> None:
    desk.held["shelf"].summary = replace(desk.held["shelf"].summary, state=SEARCHING)

    async def visitor(user: User) -> None:
        await user.open("/run/shelf")
        await counts(user, COUNT)
        desk.held.clear()
        await sees(user, "The list of runs has what there is.")
        await user.open("/run/shelf")
        await sees(user, "This run cannot be shown")
        await user.open("/")
        await sees(user, "No run yet")

    visit(desk, visitor)


def test_a_run_without_designs_says_why(desk: StandIn) -> None:
    desk.held["broken"] = Run(summary("broken", state=FAILED, message="the disk is full"), pd.DataFrame())

    async def visitor(user: User) -> None:
        await user.open("/run/broken")
        await sees(user, "the disk is full")
        await user.open("/")
        await sees(user, "the disk is full")
        user.find(marker="tick-broken").trigger("change", True)
        user.find(marker="tick-shelf").trigger("change", True)
        user.find(marker="compare").click()
        await sees(user, "has no design yet")

    visit(desk, visitor)


def test_what_matters_is_worked_out_on_request(desk: StandIn) -> None:
    async def visitor(user: User) -> None:
        await user.open("/run/shelf")
        await sees(user, "Work it out")
        user.find(marker="matter").click()
        await sees(user, "Pull it until it slips")
        await sees(user, "Pinion teeth")

    visit(desk, visitor)


def test_a_build_is_started_followed_and_offered(desk: StandIn, front: pd.DataFrame) -> None:
    async def visitor(user: User) -> None:
        design = str(front["design"][2])
        await user.open(f"/run/shelf?design={design}")
        await sees(user, "Not built yet")
        user.find(marker="build").click()
        await sees(user, "Building: solids")
        desk.held["shelf"].builds[design] = BuildSummary(design, DONE, 1.0, "", True, ("parts.csv",))
        await sees(user, "Download build")
        desk.held["shelf"].builds[design] = BuildSummary(design, FAILED, 0.4, "the carrier came out open", None, ())
        await user.open(f"/run/shelf?design={design}")
        await sees(user, "the carrier came out open")

    visit(desk, visitor)


def test_a_study_with_a_fault_is_not_started(desk: StandIn) -> None:
    async def visitor(user: User) -> None:
        await user.open("/new")
        await sees(user, "The study is sound.")
        user.find(marker="robot.mass_kg").trigger("change", "-3")
        await sees(user, "1 fault to mend.")
        await sees(user, "got -3")
        user.find(marker="submit").click()
        await sees(user, "1 fault to mend.")
        assert not desk.submitted
        user.find(marker="robot.mass_kg").trigger("change", "9.5")
        await sees(user, "The study is sound.")
        user.find(marker="submit").click()
        await until(lambda: desk.submitted)
        assert "mass_kg = 9.5" in desk.submitted[0]

    visit(desk, visitor)


def test_every_objective_has_a_row_among_the_limits(desk: StandIn) -> None:
    async def visitor(user: User) -> None:
        await user.open("/run/shelf")
        for name in NAMES:
            await sees(user, label(name))

    visit(desk, visitor)
