"""The list of runs: how far each is, its front, its hypervolume over time; the way to a new study and to a comparison."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from nicegui import ui

from sweep.page.comparison import MOST
from sweep.page.parts import Node, button, checkbox, el, link, notice
from sweep.page.routes import run_page
from sweep.page.run_bar import RunBar, run_notice
from sweep.page.shell import TOLD, Shell, off_loop
from sweep.service.desk import Desk, RunSummary

QUICK, SLOW = 1.0, 4.0
WELCOME = (
    "No run yet. A study says what your robot asks; its sweep scores some thousand wheels and leaves those that no other beats."
)


async def runs_page(desk: Desk) -> None:
    """Build the page of all runs."""
    shell = Shell()
    with shell.frame("Runs", "runs-page"):
        page = RunsPage(desk)
        page.build()
    await ui.context.client.connected()
    await shell.begin()
    await page.start()


class RunsPage:
    """Rows of runs, the newest first, kept up to date."""

    def __init__(self, desk: Desk) -> None:
        self.desk = desk
        self.rows: dict[str, RunRow] = {}
        self.ticked: list[str] = []
        self._order: list[str] = []
        self._seen: dict[str, RunSummary] = {}

    def build(self) -> None:
        """The frame of the list."""
        with el("div", "page-head"):
            el("h1", "", "Runs")
            link("New study", "/new", classes="b main", data_mark="new-study")
            self._compare = button("Compare", self._compared, mark="compare", disabled=True)
            self._hint = el("small", "faint", "Tick two runs or more to compare their fronts.")
        with el("div", "welcome") as self._welcome:
            notice(WELCOME, mark="no-runs")
            with el("p"):
                link("Begin with a shipped study", "/new", classes="b main")
        self._welcome.set_visibility(False)
        self._list = el("ul", "runs", label="Runs")

    async def start(self) -> None:
        """Once the browser is there: the runs, and again and again."""
        self.timer = ui.timer(QUICK, self.tick)

    async def tick(self) -> None:
        """Bring the list up to date."""
        try:
            found = await off_loop(self.desk.runs)
        except TOLD as error:
            self._hint.say(str(error))
            return
        self._welcome.show(not found)
        self._hint.show(len(found) > 1)
        self._compare.show(len(found) > 1)
        order = [summary.name for summary in found]
        if order != self._order:
            self._order = order
            self._list.clear()
            self.rows.clear()
            self._seen.clear()
            self.ticked = [name for name in self.ticked if name in order]
            with self._list:
                for summary in found:
                    on = summary.name in self.ticked
                    self.rows[summary.name] = RunRow(self.desk, summary, on, self._tick_one, self._soon)
        for summary in found:
            if self._seen.get(summary.name) != summary:
                self._seen[summary.name] = summary
                await self.rows[summary.name].show(summary)
        self.timer.interval = QUICK if any(summary.at_work for summary in found) else SLOW

    def _soon(self) -> None:
        ui.timer(0.3, self.tick, once=True)

    def _tick_one(self, name: str, on: bool) -> None:
        self.ticked = [one for one in self.ticked if one != name] + ([name] if on else [])
        self._compare.attribute("disabled", None if 2 <= len(self.ticked) <= MOST else True)
        self._compare.say(f"Compare {len(self.ticked)}" if len(self.ticked) > 1 else "Compare")
        self._hint.say(f"At most {MOST} fronts in one comparison." if len(self.ticked) > MOST
                       else "Tick two runs or more to compare their fronts.")  # fmt: skip

    def _compared(self) -> None:
        ui.navigate.to("/compare?runs=" + ",".join(self.ticked))


class RunRow:
    """One run of the list."""

    def __init__(self, desk: Desk, summary: RunSummary, ticked: bool, tick: Callable[[str, bool], Any],
                 soon: Callable[[], Any]) -> None:  # fmt: skip
        self.desk, self.name = desk, summary.name
        with el("li", "run") as self.node:
            with el("div", "run-name"):
                with el("h2"):
                    link(summary.name, run_page(summary.name), data_mark=f"run-{summary.name}", title=summary.name)
                el("small", "faint", _began(summary))
                with el("div", "run-tick"):
                    checkbox("compare", ticked, lambda on: tick(summary.name, on), mark=f"tick-{summary.name}",
                             label=f"Compare {summary.name}")  # fmt: skip
            with el("div", "run-bar"):
                self.bar = RunBar(desk, summary, soon, named=False)
            self.line: Node = notice("")
            self.line.set_visibility(False)

    async def show(self, summary: RunSummary) -> None:
        """Show the run as it stands."""
        try:
            lines = await off_loop(self.desk.progress, self.name)
        except TOLD:
            lines = []
        self.bar.show(summary, lines)
        run_notice(summary, self.line)


def _began(summary: RunSummary) -> str:
    when = (summary.began or "").replace("T", " ")[:16]
    same = summary.study == summary.name
    return ", ".join(filter(None, ["" if same else summary.study, f"began {when} UTC" if when else ""]))
