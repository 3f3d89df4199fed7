"""The shortlist: up to six designs beside the baseline, with a note each that the run's folder keeps."""

from __future__ import annotations

from collections.abc import Awaitable, Callable, Mapping, Sequence
from typing import Any

import pandas as pd
from nicegui import ui

from sweep.page.answers import cell
from sweep.page.charts import LETTERS
from sweep.page.columns import NAMES, maximised, with_unit
from sweep.page.parts import button, el, link, notice, section, text_area
from sweep.page.routes import address
from sweep.page.run_words import RunSummary
from sweep.service.desk import Kept

MOST = len(LETTERS)
LONGEST_NOTE = 500
BASELINE = "baseline"
#: rows under the objectives
ROWS = (
    "print_time_h", "binding_clearance_mm", "wheel_diameter_mm", "output_roller_count", "hub_roller_count", "bore",
    "output_tyre", "motor",
)  # fmt: skip


class ShortlistPanel:
    """Columns of designs side by side. ``pick`` shows one, ``change`` stores the list."""

    def __init__(self, run: str, pick: Callable[[str], Any], change: Callable[[list[Kept]], Awaitable[None]]) -> None:
        self.run, self._pick, self._change = run, pick, change
        self.kept: list[Kept] = []
        with section("Shortlist", "b-sho") as row:
            with row:
                self._note = el("small", "", "")
            self._place = el("div", "sho-wide", tabindex="0", role="region", label="Shortlisted designs side by side")

    def show(self, kept: Sequence[Kept], rows: Mapping[str, pd.Series | None], baseline: pd.Series | None, key: str,
             summary: RunSummary) -> None:  # fmt: skip
        """Show these designs; one that is stored no longer has no row."""
        self.kept = list(kept)
        self._note.say(f"{len(self.kept)} of {MOST}. The best of each row is underlined." if kept else f"None of {MOST} yet.")
        self._place.clear()
        with self._place:
            if not self.kept:
                notice("Add the picked design with the button in its panel: designs stand here side by side, with your notes.",
                       mark="no-shortlist")  # fmt: skip
                return
            self._table(rows, baseline, key)

    def _table(self, rows: Mapping[str, pd.Series | None], baseline: pd.Series | None, key: str) -> None:
        columns: list[tuple[str, pd.Series | None]] = [(one.design, rows.get(one.design)) for one in self.kept]
        if baseline is not None:
            columns.insert(0, (BASELINE, baseline))
        with el("table", "v short", id="short"):
            el("caption", "sr", "Shortlisted designs beside the baseline")
            with el("thead"), el("tr"):
                el("td")
                for name, _ in columns:
                    with el("th", "bc" if name == BASELINE else "", scope="col"):
                        self._head(name)
            with el("tbody"):
                with el("tr", "mini"):
                    el("th", "", "Face", scope="row")
                    for name, row in columns:
                        with el("td", "bc" if name == BASELINE else ""):
                            if row is not None:
                                place = el("div", "drawing face")
                                drawing = address("drawing", self.run, key, name, "face")
                                ui.run_javascript(f"wheel.figure({place.id}, {drawing!r})")
                for name in (*NAMES, *ROWS):
                    if any(row is not None and name in row for _, row in columns):
                        self._row(name, columns)
                with el("tr", "notes"):
                    el("th", "", "Note", scope="row")
                    if baseline is not None:
                        el("td", "bc")
                    for place_in_list, one in enumerate(self.kept):
                        with el("td"):
                            self._note_field(place_in_list, one)

    def _head(self, name: str) -> None:
        if name == BASELINE:
            el("span", "", "Baseline")
            return
        letter = LETTERS[[one.design for one in self.kept].index(name)]
        button(letter, lambda: self._pick(name), label=f"Show design {letter}, {name}", mark=f"show-{letter}", classes="letter")
        el("span", "id", name)

    def _row(self, name: str, columns: Sequence[tuple[str, pd.Series | None]]) -> None:
        values = [None if row is None else row.get(name) for _, row in columns]
        numbers = [float(value) for value in values if isinstance(value, int | float) and value == value]
        more = maximised(name)
        best = None if more is None or len(numbers) < 2 else max(numbers) if more else min(numbers)
        with el("tr"):
            el("th", "", with_unit(name), scope="row")
            for (column, row), value in zip(columns, values, strict=True):
                classes = ("bc " if column == BASELINE else "") + ("best" if best is not None and value == best else "")
                el("td", classes.strip(), "-" if row is None else cell(name, row))

    def _note_field(self, place: int, one: Kept) -> None:
        letter = LETTERS[place]

        async def changed(text: str) -> None:
            note = text[:LONGEST_NOTE]
            self.kept = [Kept(other.design, note) if k == place else other for k, other in enumerate(self.kept)]
            await self._change(self.kept)

        text_area(one.note, changed, mark=f"note-{letter}", classes="note", rows="2", maxlength=str(LONGEST_NOTE),
                  placeholder="note", label=f"Note on design {letter}")  # fmt: skip
        with el("div", "sho-end"):
            link("Sheet", address("sheet", self.run, f"{one.design}.html"), target="_blank", label=f"Sheet of design {letter}")
            button("Take off", lambda: self._take_off(one.design), classes="small plain", mark=f"off-{letter}",
                   label=f"Take design {letter} off the shortlist")  # fmt: skip

    async def _take_off(self, design: str) -> None:
        await self._change([one for one in self.kept if one.design != design])

    def toggled(self, design: str) -> list[Kept]:
        """The list with a design put on, where there is room, or taken off."""
        left = [one for one in self.kept if one.design != design]
        if len(left) < len(self.kept) or len(self.kept) >= MOST:
            return left
        return [*self.kept, Kept(design, "")]
