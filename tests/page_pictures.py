"""The README's pictures of the page: ``python -m tests.page_pictures RUN FOLDER`` of a swept run."""

from __future__ import annotations

import argparse
import io
import shutil
import tempfile
from pathlib import Path
from typing import Any

from PIL import Image
from playwright.sync_api import sync_playwright

from sweep.archive import open_run
from sweep.front import knee
from sweep.run_study import study_of
from sweep.service.desk import Desk, Kept
from tests.page_browser import chromium, loaded, mark, opened, typed
from tests.service_process import Server

SIZE = {"width": 1440, "height": 900}
LIMITS = "torque_capacity_Nm=3..&mass_kg=..1.6"
NOTES = ("first to print", "", "the light one", "")


def board(page: Any, run: str, design: str) -> None:
    """The board with limits, a picked design and a shortlist."""
    page.goto(f"/run/{run}?{LIMITS}&design={design}")
    loaded(page)
    mark(page, "drawing-section").locator("svg").wait_for()
    page.wait_for_timeout(1500)


def form(page: Any) -> None:
    """The form with a fault at its field."""
    page.goto("/new")
    typed(page, "robot.top_speed_m_per_s", "-0.8")
    page.locator(".error:not(:empty)").first.wait_for()
    page.wait_for_timeout(800)


def picture(page: Any, path: Path) -> None:
    """The window as a picture of few colours, a third of the size."""
    Image.open(io.BytesIO(page.screenshot())).convert("RGB").quantize(160).save(path, optimize=True)


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("run", type=Path)
    parser.add_argument("out", type=Path)
    given = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        results = Path(folder)
        shutil.copytree(given.run, results / given.run.name)
        stored = open_run(results / given.run.name)
        front = stored.front()
        assert front is not None
        light = front.sort_values("mass_kg")["design"].iloc[[2, len(front) // 3]]
        strong = front.sort_values("torque_capacity_Nm")["design"].iloc[[-3]]
        picked = str(front["design"].iloc[knee(front)])
        chosen = list(dict.fromkeys([picked, *strong, *light]))
        Desk(results).set_shortlist(given.run.name, [Kept(str(d), n) for d, n in zip(chosen, NOTES, strict=False)])
        server = Server(results)
        try:
            with sync_playwright() as playwright:
                browser = playwright.chromium.launch(executable_path=chromium(), args=["--enable-unsafe-swiftshader"])
                with opened(browser, server.url, **SIZE) as page:
                    page.wait_for_timeout(4000)
                    board(page, given.run.name, picked)
                    picture(page, given.out / "page_board.png")
                with opened(browser, server.url, theme="dark", **SIZE) as page:
                    form(page)
                    picture(page, given.out / "page_study.png")
                browser.close()
        finally:
            server.end()
    print(f"Pictures of {study_of(open_run(given.run)).name} are in {given.out}.")


if __name__ == "__main__":
    main()
