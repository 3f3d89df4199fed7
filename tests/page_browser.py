"""What tests in a real browser share: stored runs that cost nothing, a recorded build, the browser, what a page may not do."""

from __future__ import annotations

import json
import shutil
import struct
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pandas as pd
import pytest

from sweep.archive import RunFolder, versions
from sweep.location import LocalFolder
from sweep.study import read_study
from tests.page_stand_in import STUDY

#: names that Debian and others give the browser
NAMES = ("chromium", "chromium-browser", "google-chrome", "google-chrome-stable")
REMEDY = "no Chromium for tests of the page: apt-get install chromium"
#: ms for something to show; a busy machine takes its time
PATIENCE = 60_000


def chromium() -> str:
    """Where the browser is. Skips where there is none, and says what to install."""
    found = next((path for name in NAMES if (path := shutil.which(name))), None)
    if found is None:
        pytest.skip(REMEDY)
    return found


def store(results: Path, name: str, front: pd.DataFrame, state: str = "done", **about: Any) -> Path:
    """A run's folder with this front and its first design as the baseline."""
    study = read_study(STUDY)
    folder = RunFolder(LocalFolder(results / name))
    facts = {"study": study.name, "study_hash": study.hash}
    folder.write_study(STUDY)
    if len(front):
        folder.write_front(front, facts)
        folder.write_baseline(front.iloc[:1].assign(design="d44101c858c"), facts)
    for done in (1500, 3000, 6000):
        folder.add_progress({"evaluations": done, "epoch": 0, "feasible": done // 2, "front": len(front), "seconds": done / 50,
                             "hypervolume": 0.2 + done / 12000})  # fmt: skip
    folder.write_about({**facts, "state": state, "evaluations": 6000, "evaluations_done": 6000, "front": len(front),
                        "started": "2026-11-26T10:00:00+00:00", "hypervolume": 0.7, **about})  # fmt: skip
    return results / name


def record_build(run: Path, design: str) -> None:
    """A small build of a design, as ``wheelfront build`` would have left it: one triangle as its scene."""
    place = run / "builds" / design
    place.mkdir(parents=True)
    (place / "assembly.glb").write_bytes(triangle())
    (place / "parts.csv").write_text("part,count\ncarrier,2\n")
    about = {"design": design, "holds": True, "versions": dict(versions()), "study_hash": "", "proofs": [],
             "files": ["assembly.glb", "build.json", "parts.csv"], "geometry": {"failures": []}}  # fmt: skip
    (place / "build.json").write_text(json.dumps(about))


def triangle() -> bytes:
    """A scene of one triangle as binary glTF 2.0 (Khronos, section 4.4)."""
    corners = struct.pack("<9f", 0.0, 0.0, 0.0, 0.1, 0.0, 0.0, 0.0, 0.1, 0.0)
    scene = {
        "asset": {"version": "2.0"}, "scene": 0, "scenes": [{"nodes": [0]}], "nodes": [{"mesh": 0}],
        "meshes": [{"primitives": [{"attributes": {"POSITION": 0}}]}], "buffers": [{"byteLength": len(corners)}],
        "bufferViews": [{"buffer": 0, "byteLength": len(corners)}],
        "accessors": [{"bufferView": 0, "componentType": 5126, "count": 3, "type": "VEC3", "min": [0, 0, 0],
                       "max": [0.1, 0.1, 0]}],
    }  # fmt: skip
    text = json.dumps(scene).encode()
    text += b" " * (-len(text) % 4)
    chunks = struct.pack("<II", len(text), 0x4E4F534A) + text + struct.pack("<II", len(corners), 0x004E4942) + corners
    return struct.pack("<III", 0x46546C67, 2, 12 + len(chunks)) + chunks


@contextmanager
def opened(browser: Any, url: str, width: int = 1440, height: int = 900, theme: str = "light") -> Iterator[Any]:
    """A page of its own. Fails where a request leaves the machine or a script raises."""
    outside: list[str] = []
    raised: list[str] = []
    context = browser.new_context(viewport={"width": width, "height": height}, color_scheme=theme, base_url=url,
                                  accept_downloads=True)  # fmt: skip
    context.set_default_timeout(PATIENCE)
    page = context.new_page()
    page.on("request", lambda request: None if request.url.startswith((url, "data:", "blob:")) else outside.append(request.url))
    page.on("pageerror", lambda error: raised.append(str(error)))
    try:
        yield page
        assert outside == []
        assert raised == []
    finally:
        context.close()


def mark(page: Any, name: str) -> Any:
    """What is marked for tests."""
    return page.locator(f'[data-mark="{name}"]')


def loaded(page: Any) -> None:
    """Wait for points, lines and rows of a board."""
    page.wait_for_function("window.wheel && wheel.counts.points > 0 && wheel.counts.lines > 0 && wheel.counts.rows > 0",
                           timeout=PATIENCE)  # fmt: skip


def kept(page: Any) -> int:
    """How many designs the limits keep."""
    return int(page.locator("#count").inner_text().replace(",", ""))


def typed(page: Any, name: str, text: str) -> None:
    """Type into a field and leave it."""
    field = mark(page, name)
    field.fill(text)
    field.blur()
