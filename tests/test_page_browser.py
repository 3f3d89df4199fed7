"""The page in a real browser, on the real service: from a new study to the files of a build, and what may not go wrong."""

from __future__ import annotations

import contextlib
import io
import json
import re
import signal
import zipfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import httpx
import pytest

pytest.importorskip("nicegui", reason="NiceGUI is missing: pip install -c constraints.txt -e '.[service]'")
pytest.importorskip("playwright", reason="Playwright is missing: pip install -c constraints.txt -e '.[dev]'")
from playwright.sync_api import expect, sync_playwright

from tests.command_line import SHIPPED
from tests.page_browser import PATIENCE, chromium, kept, loaded, mark, opened, record_build, store, typed
from tests.page_stand_in import invented, noisy
from tests.service_process import Server, no_sweep_left, until
from tests.stored_run import stored_run

pytestmark = pytest.mark.slow
LONG = "a-run-with-a-name-that-somebody-made-up-in-a-hurry-and-that-does-not-end"
SEARCH = "[search]\nevaluations = 96\nislands = 1\nphases = 2\nfront_phases = 4\n"
#: axe-core's findings that count
SEVERE = ("critical", "serious", "moderate")


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    """One browser for all tests of this module; it ends with them, else asyncio could not be used by others."""
    path = chromium()
    with sync_playwright() as playwright:
        made = playwright.chromium.launch(executable_path=path, args=["--enable-unsafe-swiftshader"])
        yield made
        made.close()


@pytest.fixture(scope="module")
def results(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Runs that were never swept."""
    place = tmp_path_factory.mktemp("results")
    front = invented(60)
    store(place, "shelf", front)
    store(place, "many", noisy(front, 5000))
    store(place, LONG, front.iloc[:1])
    store(place, "to-go", front)
    store(place, "nothing-found", front.iloc[:0])
    record_build(place / "shelf", str(front["design"][5]))
    return place


@pytest.fixture(scope="module")
def server(results: Path) -> Iterator[Server]:
    with no_sweep_left(results):
        running = started(results)
        yield running
        running.end()


def started(results: Path, *options: str) -> Server:
    """A server that answers."""
    made = Server(results, *options)

    def answers() -> bool:
        with contextlib.suppress(httpx.HTTPError):
            return httpx.get(f"{made.url}/api/health").status_code == 200
        return False

    until(answers)
    return made


def brush(page: Any, axis: int, start: float, end: float) -> None:
    """Drag along an axis of the limits; places are shares of its chart."""
    box = page.locator(".ax").bounding_box()
    assert box
    y = box["y"] + box["height"] * (0.1 + 0.2 * axis)
    page.mouse.move(box["x"] + start * box["width"], y)
    page.mouse.down()
    page.mouse.move(box["x"] + (start + end) / 2 * box["width"], y, steps=4)
    page.mouse.move(box["x"] + end * box["width"], y, steps=4)
    page.mouse.up()


def test_from_a_new_study_to_its_files(browser: Any, tmp_path: Path) -> None:
    """Submit, watch, brush, shortlist, open a design, build, download; reload and kill the server in between."""
    with no_sweep_left(tmp_path):
        server = started(tmp_path)
        port = server.url.rpartition(":")[2]
        try:
            with opened(browser, server.url) as page:
                page.goto("/")
                expect(mark(page, "no-runs")).to_be_visible()
                mark(page, "new-study").click()
                expect(mark(page, "form-state")).to_have_text("The study is sound.")
                typed(page, "robot.mass_kg", "-9")
                typed(page, "name", "tiny one")
                expect(mark(page, "error-robot.mass_kg")).to_contain_text("got -9")
                typed(page, "robot.mass_kg", "9.5")
                mark(page, "robot.floor").select_option("vinyl")
                file = mark(page, "toml")
                expect(file).to_have_value(re.compile(r"mass_kg = 9\.5"))
                text = file.input_value()
                file.fill(text[: text.index("[search]")] + SEARCH)
                file.blur()
                expect(mark(page, "search.evaluations")).to_have_value("96")
                mark(page, "submit").click()
                page.wait_for_url("**/run/tiny-one*")
                expect(mark(page, "run-help")).to_be_visible()
                page.reload()
                expect(page.locator("#count")).to_be_visible(timeout=4 * PATIENCE)
                expect(mark(page, "progress")).to_have_text(re.compile("finished"), timeout=4 * PATIENCE)
                page.reload()
                loaded(page)
                before = kept(page)
                assert before >= 1
                design = page.locator(".des-head h2").inner_text().split()[-1]
                brush(page, 3, 0.1, 0.97)
                expect(page).to_have_url(re.compile("mass_kg="))
                brushed = kept(page)
                mark(page, "keep").click()
                typed(page, "note-A", "the quiet one")
                until(lambda: "the quiet one" in "".join(p.read_text() for p in tmp_path.rglob("shortlist.json")))

                record_build(tmp_path / "tiny-one", design)
                page.evaluate("window.before = true")
                server.end(signal.SIGKILL)
                server = started(tmp_path, "--port", port)
                page.wait_for_function("window.before === undefined")  # the page comes back by itself
                loaded(page)
                assert kept(page) == brushed
                expect(mark(page, "note-A")).to_have_value("the quiet one")
                expect(page.locator(".des-head h2")).to_contain_text(design)
                with page.expect_download() as waiting:
                    mark(page, "download").click()
                archive = zipfile.ZipFile(io.BytesIO(Path(waiting.value.path()).read_bytes()))
                assert any(name.endswith("parts.csv") for name in archive.namelist())
                sheet = page.request.get(str(mark(page, "sheet").get_attribute("href")), timeout=2 * PATIENCE)
                assert f"Design {design}" in sheet.text()
        finally:
            server.end()


def test_a_brush_sends_a_filter_and_no_data(browser: Any, server: Server) -> None:
    with opened(browser, server.url) as page:
        frames: list[int] = []
        page.on("websocket", lambda socket: socket.on("framereceived", lambda data: frames.append(len(data))))
        page.goto("/run/many")
        loaded(page)
        page.wait_for_timeout(500)
        frames.clear()
        brush(page, 0, 0.5, 0.9)
        expect(page).to_have_url(re.compile("torque_capacity_Nm="))
        assert 0 < kept(page) < 5000
        assert sum(frames) < 8000
        drawn = page.evaluate("getElement(+document.querySelector('.mx-kept').id.slice(1)).chart.getModel()"
                              ".getSeriesByIndex(0).getData().count()")  # fmt: skip
        listed = page.evaluate("getElement(+document.querySelector('.nicegui-aggrid').id.slice(1)).api.getDisplayedRowCount()")
        assert drawn == listed == kept(page)


def test_points_rows_and_keys_pick(browser: Any, server: Server) -> None:
    with opened(browser, server.url) as page:
        page.goto("/run/shelf")
        loaded(page)
        heading = page.locator(".des-head h2")
        page.locator(".ag-row [col-id=design]").nth(2).click()
        row = page.locator(".ag-row [col-id=design]").nth(2).inner_text()
        expect(heading).to_have_text(f"Design {row}")
        page.keyboard.press("ArrowDown")
        page.keyboard.press("Space")
        expect(heading).not_to_have_text(f"Design {row}")
        picked = heading.inner_text()
        point = page.evaluate(
            "() => { const e = document.querySelector('.mx-all'), c = getElement(+e.id.slice(1)).chart;"
            " const data = c.getModel().getSeriesByIndex(10).getData(), box = e.getBoundingClientRect();"
            " const at = data.getItemLayout(1) || data.getLayout('points').slice(2, 4);"
            " return [at[0] + box.x, at[1] + box.y]; }"
        )
        page.mouse.click(*point)
        expect(heading).not_to_have_text(picked)
        page.keyboard.press("Tab")
        focused = "document.activeElement.tagName"
        mark(page, "mass_kg-high").focus()
        page.keyboard.type("2")
        page.keyboard.press("Tab")
        expect(page).to_have_url(re.compile("mass_kg=..2"))
        assert page.evaluate(focused) == "INPUT"
        stops = set()
        for _ in range(60):
            page.keyboard.press("Tab")
            stops.add(page.evaluate("document.activeElement.closest('section')?.getAttribute('aria-label') || ''"))
        assert {"Limits", "Trade-offs", "Picked design", "Designs", "Shortlist"} <= stops


def test_other_columns_in_limits_charts_and_table(browser: Any, server: Server) -> None:
    with opened(browser, server.url) as page:
        page.goto("/run/shelf")
        loaded(page)
        mark(page, "add-limit").select_option("preload_N")
        typed(page, "preload_N-low", "150")
        expect(page).to_have_url(re.compile(r"preload_N=150\.\."))
        assert 0 < kept(page) < 60
        mark(page, "up").select_option("loss_gearbox_W")
        expect(page).to_have_url(re.compile("y=loss_gearbox_W"))
        mark(page, "columns").click()
        mark(page, "column-pinion_teeth").check()
        expect(page.locator("[col-id=pinion_teeth]").first).to_be_attached()
        page.reload()
        loaded(page)
        expect(mark(page, "preload_N-low")).to_have_value(re.compile("150"))
        expect(mark(page, "up")).to_have_value("loss_gearbox_W")


def test_built_parts_drawings_and_a_page_that_fits(browser: Any, server: Server, results: Path) -> None:
    design = json.loads(next((results / "shelf" / "builds").glob("*/build.json")).read_text())["design"]
    with opened(browser, server.url, width=375, height=812) as page:
        page.goto(f"/run/shelf?design={design}")
        loaded(page)
        expect(page.locator(".three canvas").first).to_be_visible()
        for kind in ("section", "losses", "slack"):
            expect(mark(page, f"drawing-{kind}").locator("svg")).to_be_visible()
        for path in ("/run/shelf", "/", "/new", f"/run/{LONG}", "/compare?runs=shelf,many"):
            page.goto(path)
            page.locator("h1").first.wait_for()
            page.wait_for_timeout(400)
            assert page.evaluate("document.documentElement.scrollWidth") <= 375, path
            small = page.evaluate(
                "[...document.querySelectorAll('a, button, select, input:not([type=checkbox]), textarea, .tick')]"
                ".filter(e => e.offsetParent && !e.closest('.nicegui-aggrid'))"
                ".map(e => [e.textContent, e.getBoundingClientRect()])"
                ".filter(([t, r]) => r.width && (r.height < 24 || r.width < 24)).map(([t, r]) => `${t} ${r.width} ${r.height}`)"
            )
            assert small == [], path


@pytest.mark.parametrize("theme", ["light", "dark"])
def test_axe_finds_nothing(browser: Any, server: Server, theme: str) -> None:
    axe = pytest.importorskip("axe_playwright_python.sync_playwright").Axe()
    with opened(browser, server.url, theme=theme) as page:
        pages = ("/run/shelf?mass_kg=..3&bore=plain", "/", "/new", "/compare?runs=shelf,many", "/run/none")
        for path in pages[: 5 if theme == "light" else 3]:
            page.goto(path)
            page.locator("h1").first.wait_for()
            if path.startswith("/run/shelf"):
                loaded(page)
                assert page.evaluate("document.documentElement.dataset.theme") == theme
            page.wait_for_timeout(600)
            found = axe.run(page).response["violations"]
            severe = [(one["id"], one["nodes"][0]["html"][:200]) for one in found if one["impact"] in SEVERE]
            assert severe == [], path


def test_lines_that_help(browser: Any, server: Server, results: Path) -> None:
    with opened(browser, server.url) as page:
        page.goto("/run/no-such-run")
        expect(mark(page, "gone")).to_be_visible()
        page.goto("/run/nothing-found")
        expect(mark(page, "run-help")).to_be_visible()
        page.goto(f"/run/{LONG}")
        expect(mark(page, "run-help")).to_contain_text("One design on the front")
        mark(page, "dark").click()
        expect(page.locator("html")).to_have_attribute("data-theme", "dark")
        page.reload()
        expect(page.locator("html")).to_have_attribute("data-theme", "dark")
        page.goto("/run/to-go")
        loaded(page)
        (results / "to-go").rename(results.parent / "gone")
        expect(mark(page, "run-help")).to_contain_text("The list of runs has what there is.")
        page.goto("/")
        expect(mark(page, "run-shelf")).to_be_visible()
        expect(mark(page, "run-to-go")).to_have_count(0)


@pytest.mark.usefixtures("cad_libraries")
def test_a_real_build(browser: Any, tmp_path: Path) -> None:
    """The study's own baseline as the only design: built by a click, shown in space, taken away."""
    stored_run(tmp_path / "own", SHIPPED)
    with no_sweep_left(tmp_path):
        server = started(tmp_path)
        try:
            with opened(browser, server.url) as page:
                page.goto("/run/own")
                loaded(page)
                mark(page, "build").click()
                expect(mark(page, "build-part")).to_contain_text("Building")
                expect(mark(page, "download")).to_be_visible(timeout=6 * PATIENCE)
                expect(page.locator(".three canvas").first).to_be_visible()
                expect(mark(page, "build-part")).to_contain_text("Every proof of the solids holds.")
                with page.expect_download() as waiting:
                    mark(page, "download").click()
                names = zipfile.ZipFile(io.BytesIO(Path(waiting.value.path()).read_bytes())).namelist()
                assert any(name.endswith("assembly.step") for name in names)
        finally:
            server.end()
