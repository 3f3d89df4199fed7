"""The board of a run: limits, trade-offs, table, the picked design, the shortlist, all in step and all the time up to date."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any
from urllib.parse import urlencode

import pandas as pd
from nicegui import ui

from sweep.front import knee
from sweep.page.charts import ALL, KEPT, LINES, MARKS, dimensions
from sweep.page.design_panel import DesignPanel
from sweep.page.limits_panel import LimitsPanel
from sweep.page.parts import button, el, link, notice
from sweep.page.routes import address, design_row, joined, run_page
from sweep.page.run_bar import RunBar, run_notice
from sweep.page.shell import TOLD, Shell, gone, off_loop, tell, told
from sweep.page.shortlist_panel import ShortlistPanel
from sweep.page.snapshots import Snapshot, Snapshots
from sweep.page.table_panel import TablePanel
from sweep.page.tradeoffs_panel import TradeoffsPanel
from sweep.page.view import View
from sweep.service.desk import Desk, Kept, RunSummary

#: s between looks at the run while it is at work, and when it is not
QUICK, SLOW = 1.0, 4.0


@dataclass
class Found:
    """What is known of a run when its page is built."""

    summary: RunSummary
    version: str
    snapshot: Snapshot
    baseline: pd.Series | None
    lines: list[dict[str, Any]]
    kept: list[Kept]


def look(desk: Desk, snapshots: Snapshots, run: str) -> Found:
    """Read all that a board needs. Raises NotThere, BadInput."""
    return Found(desk.run(run), desk.version(run), snapshots.take(run), desk.baseline(run), desk.progress(run),
                 desk.shortlist(run))  # fmt: skip


async def board_page(desk: Desk, snapshots: Snapshots, run: str, given: Mapping[str, str]) -> None:
    """Build the page of a run."""
    shell = Shell()
    try:
        found = await off_loop(look, desk, snapshots, run)
    except TOLD as error:
        with shell.frame("", "board-waiting"):
            gone("This run cannot be shown", str(error))
        await ui.context.client.connected()
        await shell.begin()
        return
    ui.page_title(f"{run}, wheelfront")
    with shell.frame("", "board" if len(found.snapshot.frame) else "board-waiting"):
        board = Board(desk, snapshots, shell, run, found, given)
        board.build()
    await ui.context.client.connected()
    await shell.begin()
    await board.start()


class Board:
    """Everything of one visitor on one run. Every input goes through ``apply``."""

    def __init__(self, desk: Desk, snapshots: Snapshots, shell: Shell, run: str, found: Found,
                 given: Mapping[str, str]) -> None:  # fmt: skip
        self.desk, self.snapshots, self.shell, self.run, self.found = desk, snapshots, shell, run, found
        self.snapshot = found.snapshot
        self.view = View(self.snapshot.frame, beside=found.baseline)
        self.view.read_address(given)
        self.rows: dict[str, pd.Series | None] = {}
        self._given = given
        self._gone = False

    @property
    def empty(self) -> bool:
        return not len(self.snapshot.frame)

    def build(self) -> None:
        """Put the page together."""
        with self.shell.top:
            self.bar = RunBar(self.desk, self.found.summary, self._soon)
        with self.shell.end:
            self.new = button("Show new", self.take_new, mark="new", classes="main")
            self.new.move(target_index=0)
            self.new.show(False)
            again = link("Study", f"/new?{urlencode({'run': self.run})}", classes="b", label="A new study from this one")
            again.move(target_index=1)
        self.line = notice("", mark="run-help")
        if self.empty:
            with el("p"):
                link("All runs", "/", classes="b")
            self.bar.show(self.found.summary, self.found.lines)
            run_notice(self.found.summary, self.line)
            return
        colours = self.shell.colours
        with el("div", "b-page"):
            self.limits = LimitsPanel(self.view, colours, self.apply, self.rows_changed, self.beat_baseline)
            self.tradeoffs = TradeoffsPanel(self.view, colours, self._pick_row, self.rows_changed)
            self.panel = DesignPanel(self.desk, self.run, self.toggle)
            self.table = TablePanel(self.view, self.pick, self.columns_changed, self.save)
            self.shortlist = ShortlistPanel(self.run, self.pick, self.keep)
        self.shell.changed.append(self.redraw)
        self.bar.show(self.found.summary, self.found.lines)
        run_notice(self.found.summary, self.line)
        self.limits.apply("none")

    async def start(self) -> None:
        """Once the browser is there: data, shortlist, the design that the address names or the knee."""
        if not self.empty:
            ui.run_javascript(f"wheel.tint({self.limits.axes.id})")
            told_of = {
                self.limits.axes.id: "Parallel axes of the limits; the fields beside them do the same.",
                self.tradeoffs.layers[ALL].id: "Scatter plots of every pair of objectives; the table lists the same designs.",
            }
            for chart, words in told_of.items():
                ui.run_javascript(f"wheel.describe({chart}, {words!r})")
            for layer in (KEPT, MARKS):
                self.tradeoffs.layers[layer].props("aria-hidden=true")
            self.load()
            await self.show_shortlist(self.found.kept)
            if self.view.picked is None:
                self.view.picked = str(self.snapshot.frame["design"].iloc[knee(self.snapshot.frame)])
            await self.show_picked()
            if self.view.asked:
                self.apply("all")
        self.timer = ui.timer(QUICK if self.found.summary.at_work else SLOW, self.tick)

    # -- inputs

    def apply(self, source: str) -> None:
        """Bring all parts in line with the view. ``source`` is what changed it."""
        self.tradeoffs.apply()
        self.table.apply()
        self.limits.apply(source)
        self._tell_address()

    def rows_changed(self) -> None:
        """Another set of columns is among the limits or in the free pair: charts, data and rows anew."""
        self.limits.build_rows()
        self.redraw()
        self._tell_address()

    def columns_changed(self) -> None:
        """Other columns in the table."""
        self._load_table()
        self._tell_address()

    def redraw(self) -> None:
        """Charts anew, in the colours of the theme."""
        for part in (self.limits, self.tradeoffs):
            part.colours = self.shell.colours
            part.draw()
        self.load()
        self.tradeoffs.mark([one.design for one in self.shortlist.kept], self.found.baseline)
        self._mark_axes()
        self.limits.apply("all")

    def beat_baseline(self) -> None:
        """Limits at what the baseline has."""
        if self.found.baseline is None:
            tell("The study has no [baseline] to beat.", bad=True)
            return
        self.view.beat(self.found.baseline)
        self.apply("all")

    def _pick_row(self, row: int) -> None:
        if 0 <= row < len(self.snapshot.frame):
            self.pick(str(self.snapshot.frame["design"].iloc[row]))

    def pick(self, design: str) -> None:
        """Show a design in its panel and mark it."""
        if design != self.view.picked:
            self.view.picked = design
            self._tell_address()
            ui.timer(0.0, self.show_picked, once=True)

    async def toggle(self, design: str) -> None:
        """Put a design on the shortlist or take it off."""
        await self.keep(self.shortlist.toggled(design))

    async def keep(self, kept: list[Kept]) -> None:
        """Store a shortlist and show it."""
        before = [one.design for one in self.shortlist.kept]
        await told(self.desk.set_shortlist, self.run, kept)
        if before != [one.design for one in kept]:
            await self.show_shortlist(kept)

    async def save(self) -> None:
        """The kept designs with all their columns, as they are stored."""
        front = await told(self.desk.front, self.run)
        if front is not None:
            names = set(self.snapshot.frame["design"][self.view.mask()])
            ui.download.content(front[front["design"].isin(names)].to_csv(index=False), f"{self.run}.csv", "text/csv")

    # -- what is shown

    def load(self) -> None:
        """Points, lines and rows by address: shared by all visitors, and kept by the browser."""
        run, key = self.run, self.snapshot.key
        columns = joined(dimensions(self.view)[1:])
        every = address("points", run, key, columns=columns)
        some = address("points", run, key, columns=columns, most=LINES)
        matrix = [self.tradeoffs.layers[layer].id for layer in (ALL, KEPT)]
        ui.run_javascript(f"wheel.points({matrix}, 'all', {every!r})")
        ui.run_javascript(f"wheel.points([{self.limits.axes.id}], 'lines', {some!r})")
        self._load_table()

    def _load_table(self) -> None:
        self.table.grid.run_grid_method("setGridOption", "columnDefs", self.table.definitions())
        rows = address("rows", self.run, self.snapshot.key, columns=joined(self.table.fields()))
        model = self.table.view.table_filter()
        ui.run_javascript(f"wheel.rows({self.table.grid.id}, {rows!r}, {json.dumps(model)})")

    async def show_picked(self) -> None:
        """The picked design in its panel, in the charts and in the table."""
        design = self.view.picked
        row = None if design is None else await self._row(design)
        if design is not None and row is None:
            tell(f"Design {design} is stored no longer.", bad=True)
        self.panel.show(row, self.found.baseline, self.snapshot.key, self.found.summary)
        self._show_keeping()
        self.tradeoffs.mark([one.design for one in self.shortlist.kept], self.found.baseline)
        self._mark_axes()
        self.table.select(design)

    def _mark_axes(self) -> None:
        names, view = dimensions(self.view), self.view
        frame, found = self.snapshot.frame, []
        if view.picked in view.rows:
            at = view.rows[str(view.picked)]
            found.append({"id": "pick", "source": [[at, *(float(view.numbers(name)[at]) for name in names[1:])]]})
        own = self.found.baseline
        if own is not None and all(name in own and not isinstance(own[name], str) for name in view.axes):
            line = [float(own[name]) if name in view.axes else 0.0 for name in names[1:]]
            found.append({"id": "base", "source": [[len(frame), *line]]})
        self.limits.axes.run_chart_method("setOption", {"dataset": found})

    async def show_shortlist(self, kept: list[Kept]) -> None:
        """The shortlist in its panel and in the charts."""
        self.rows = {one.design: await self._row(one.design) for one in kept}
        self.shortlist.show(kept, self.rows, self.found.baseline, self.snapshot.key, self.found.summary)
        self._show_keeping()
        self.tradeoffs.mark([one.design for one in kept], self.found.baseline)

    def _show_keeping(self) -> None:
        designs = [one.design for one in self.shortlist.kept]
        self.panel.kept(self.panel.design in designs, len(designs) >= 6)

    async def _row(self, design: str) -> pd.Series | None:
        try:
            return await off_loop(design_row, self.desk, self.run, design)
        except TOLD:
            return None

    def _tell_address(self) -> None:
        ui.navigate.history.replace(f"{run_page(self.run)}?{urlencode(self.view.address())}")

    # -- the run goes on

    def _soon(self) -> None:
        ui.timer(0.3, self.tick, once=True)

    async def tick(self) -> None:
        """Look at the run; what is new waits behind its button."""
        if self._gone:
            return
        try:
            version = await off_loop(self.desk.version, self.run)
            if version != self.found.version or self.found.summary.at_work:
                self.found.summary = await off_loop(self.desk.run, self.run)
                self.found.lines = await off_loop(self.desk.progress, self.run)
                self.bar.show(self.found.summary, self.found.lines)
                run_notice(self.found.summary, self.line)
            if version != self.found.version:
                self.found.version = version
                await self._offer()
        except TOLD as error:
            self._went(str(error))
            return
        self.timer.interval = QUICK if self.found.summary.at_work else SLOW

    async def _offer(self) -> None:
        if self.empty:
            if len((await off_loop(self.snapshots.take, self.run)).frame):
                ui.navigate.to(run_page(self.run, **dict(self._given)))
            return
        later = await off_loop(self.snapshots.take, self.run)
        fresh = len(set(later.frame["design"]) - set(self.snapshot.frame["design"]))
        left = len(set(self.snapshot.frame["design"]) - set(later.frame["design"]))
        self.new.say(f"Show {fresh:,} new" if fresh else "Show the front as it is now")
        self.new.show(bool(fresh or left) or later.key != self.snapshot.key)

    async def take_new(self) -> None:
        """The front as it is now."""
        try:
            self.found = await off_loop(look, self.desk, self.snapshots, self.run)
        except TOLD as error:
            self._went(str(error))
            return
        self.snapshot = self.found.snapshot
        self.view.beside = self.found.baseline
        self.view.renew(self.snapshot.frame)
        self.new.show(False)
        self.limits.build_rows()
        self.redraw()
        self.apply("all")
        await self.show_shortlist(self.found.kept)
        await self.show_picked()

    def _went(self, why: str) -> None:
        """The run's folder went away under the page."""
        self._gone = True
        self.timer.deactivate()
        self.line.say(f"{why} What you see is the last that was known. The list of runs has what there is.")
        self.line.classes(add="bad")
        self.line.show(True)
        self.new.show(False)
