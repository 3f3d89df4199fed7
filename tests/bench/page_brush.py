"""How fast the page answers a brush at 5,000 designs, in a browser: ``python -m tests.bench.page_brush [--brushes N]``.

From the release of the mouse to the matrix redrawn and to the table filtered, by the browser's own clock, and the processor
time that browser and server took for it. A busy machine makes the first two long; the third says what they would be.
"""

from __future__ import annotations

import argparse
import os
import statistics
import tempfile
from pathlib import Path

from playwright.sync_api import sync_playwright

from tests.page_browser import chromium, loaded, opened, store
from tests.page_stand_in import invented, noisy
from tests.service_process import Server

DESIGNS = 5000
WATCH = """() => {
  const at = (selector, part) => getElement(+document.querySelector(selector).id.slice(1))[part];
  window.marks = {};
  document.addEventListener('mouseup', () => { window.marks = { up: performance.now() }; }, true);
  const kept = at('.mx-kept', 'chart'), set = kept.setOption.bind(kept);
  kept.setOption = (...given) => { window.marks.set = true; return set(...given); };
  kept.on('rendered', () => {
    if (window.marks.set && !window.marks.matrix) window.marks.matrix = performance.now() - window.marks.up;
  });
  at('.nicegui-aggrid', 'api').addEventListener('modelUpdated', () => requestAnimationFrame(() => {
    if (window.marks.up && !window.marks.table) window.marks.table = performance.now() - window.marks.up;
  }));
}"""


def ticks(process: int) -> float:
    """Processor time of a process and its children that ended [s]."""
    fields = Path(f"/proc/{process}/stat").read_text().rpartition(")")[2].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--brushes", type=int, default=20)
    given = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        store(Path(folder), "many", noisy(invented(60), DESIGNS))
        server = Server(Path(folder))
        try:
            with sync_playwright() as playwright:
                browser = playwright.chromium.launch(executable_path=chromium())
                with opened(browser, server.url) as page:
                    page.wait_for_timeout(4000)
                    page.goto("/run/many")
                    loaded(page)
                    page.wait_for_timeout(8000)
                    page.evaluate(WATCH)
                    client = page.context.new_cdp_session(page)
                    client.send("Performance.enable")
                    box = page.locator(".ax").bounding_box()
                    found, busy, own = [], [], []
                    for k in range(given.brushes):
                        y = box["y"] + box["height"] * (0.1 + 0.2 * (k % 3))
                        start, end = box["x"] + 30 + 4 * (k % 7), box["x"] + 90 + 5 * (k % 11)
                        page.mouse.move(start, y)
                        page.mouse.down()
                        page.mouse.move(end, y, steps=6)
                        before, spent = _task(client), ticks(server.process.pid)
                        page.mouse.up()
                        page.wait_for_function("window.marks.matrix && window.marks.table")
                        found.append(page.evaluate("window.marks"))
                        page.wait_for_timeout(700)
                        busy.append(1000 * (_task(client) - before))
                        own.append(1000 * (ticks(server.process.pid) - spent))
                browser.close()
        finally:
            server.end()
    for name in ("matrix", "table"):
        each = sorted(one[name] for one in found)
        most = each[int(0.9 * len(each)) - 1]
        print(f"{name}: median {statistics.median(each):.0f} ms, nine in ten within {most:.0f} ms, best {each[0]:.0f}, "
              f"worst {each[-1]:.0f}")
    print(f"processor time a brush: page {statistics.median(busy):.0f} ms, server {statistics.median(own):.0f} ms; "
          f"load {os.getloadavg()[0]:.1f}")  # fmt: skip


def _task(client: object) -> float:
    metrics = client.send("Performance.getMetrics")["metrics"]  # type: ignore[attr-defined]
    return next(float(entry["value"]) for entry in metrics if entry["name"] == "TaskDuration")


if __name__ == "__main__":
    main()
