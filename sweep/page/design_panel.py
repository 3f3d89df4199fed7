"""The picked design: answers, drawings, the built parts, what matters, parameters, and what to do with it."""

from __future__ import annotations

from collections.abc import Awaitable, Callable, Mapping
from typing import Any

import pandas as pd
from nicegui import ui

from sweep.page.answers import BETTER, SHORTER, WORSE, answers, certainty, largest_loss, parameters, subtitle, verdict
from sweep.page.build_part import BuildPart
from sweep.page.columns import label, meaning
from sweep.page.matter_part import MatterPart
from sweep.page.parts import Node, button, el, link, notice
from sweep.page.routes import address
from sweep.page.run_words import RunSummary
from sweep.service.desk import Desk

#: drawings of the panel: name, heading, words below
FIGURES = (
    ("section", "Section", "Through the shaft, to scale; motors dashed."),
    ("grip", "Grip as a roller passes", "Lowest limits at the floor; open marks are the forces asked."),
    ("turn", "Grip around a turn", "The smallest of friction, motors and floor counts."),
    ("losses", "Losses", "Over the duty; diamonds are the baseline's."),
    ("slack", "Room in the constraints", "The tightest first; hatched ones are broken."),
    ("front", "Front", "Hub body left away."),
)


class DesignPanel:
    """Shows a design. ``keep`` puts it on the shortlist or takes it off."""

    def __init__(self, desk: Desk, run: str, keep: Callable[[str], Awaitable[None] | None]) -> None:
        self.desk, self.run, self._keep = desk, run, keep
        self.design: str | None = None
        self.row: Mapping[str, Any] | None = None
        with el("section", "b-des", label="Picked design"), el("div", "des-scroll"):
            with el("div", "des-head", aria_live="polite"):
                self._title = el("h2", "", "No design picked")
                self._sub = el("p", "faint")
                self._verdict = el("p", "verdict")
            self._none = notice("Click a point, or choose a row of the table, and its drawings stand here.", mark="no-design")
            with el("div", "des-body") as self._body:
                with el("table", "v answers") as self._answers:
                    pass
                self._more = el("p", "faint")
                self._figures: dict[str, Node] = {}
                self._figure("section")
                self.build = BuildPart(desk, run)
                for name, _, _ in FIGURES[1:]:
                    self._figure(name)
                self.matter = MatterPart(desk, run)
                el("h3", "", "Parameters")
                self._parameters = el("dl", "par")
                self._validity = el("p", "faint")
            with el("div", "act") as self._act:
                self._keeper = button("Add to shortlist", self._kept, mark="keep")
                self._sheet = link("Sheet", "#", classes="b main", target="_blank", data_mark="sheet")
                self._pdf = link("PDF", "#", classes="b", target="_blank", label="Sheet as PDF")
        self._body.set_visibility(False)
        self._act.set_visibility(False)

    def _figure(self, name: str) -> None:
        title, words = next((title, words) for key, title, words in FIGURES if key == name)
        with el("figure", f"fig fig-{name}"):
            el("h3", "", title)
            self._figures[name] = el("div", "drawing", data_mark=f"drawing-{name}")
            el("figcaption", "", words)

    def show(self, row: pd.Series | None, baseline: pd.Series | None, key: str, summary: RunSummary) -> None:
        """Show a stored design, or that none is picked. ``key`` stands for the run's state in addresses."""
        self.row = None if row is None else row
        self.design = None if row is None else str(row["design"])
        for part in (self._body, self._act):
            part.show(row is not None)
        self._none.show(row is None)
        if row is None:
            self._title.say("No design picked")
            self._sub.say("")
            self._verdict.say("")
            return
        design = str(row["design"])
        self._title.say(f"Design {design}")
        self._sub.say(subtitle(row))
        self._verdict.say(verdict(row, baseline))
        self._fill_answers(row, None if baseline is not None and baseline["design"] == design else baseline)
        self._more.say(" ".join(filter(None, [largest_loss(row), certainty(row)])))
        for name, place in self._figures.items():
            ui.run_javascript(f"wheel.figure({place.id}, {address('drawing', self.run, key, design, name)!r})")
        self.build.show(design, bool(row.get("feasible", True)))
        self.matter.show(design)
        self._fill_parameters(row)
        left = str(row.get("validity", "") or "")
        self._validity.say(f"Beyond the laws' ranges: {left.replace(';', ', ').replace('_', ' ')}." if left else "")
        self._sheet.attribute("href", address("sheet", self.run, f"{design}.html"))
        self._pdf.attribute("href", address("sheet", self.run, f"{design}.pdf"))

    def kept(self, on: bool, full: bool) -> None:
        """Whether the design is on the shortlist, and whether that has no room left."""
        self._keeper.say("Take off shortlist" if on else "Shortlist is full" if full else "Add to shortlist")
        self._keeper.attribute("disabled", True if full and not on else None)

    async def _kept(self) -> None:
        if self.design is not None:
            done = self._keep(self.design)
            if done is not None:
                await done

    def _fill_answers(self, row: pd.Series, baseline: pd.Series | None) -> None:
        self._answers.clear()
        with self._answers:
            el("caption", "sr", "Numbers of the design, and the difference from the baseline")
            for question, known in answers(row, baseline):
                with el("tbody"):
                    for place, one in enumerate(known):
                        with el("tr"):
                            if not place:
                                el("th", "q", question, scope="rowgroup", rowspan=str(len(known)))
                            words = "; ".join(filter(None, [meaning(one.name), one.said]))
                            el("th", "", SHORTER.get(one.name, label(one.name)), scope="row", title=words)
                            el("td", "", one.text)
                            with el("td", {BETTER: "up", WORSE: "dn"}.get(one.verdict, "")):
                                el("span", "", one.difference)
                                if one.verdict in (BETTER, WORSE):
                                    el("span", "sr", f"{one.verdict} than the baseline")

    def _fill_parameters(self, row: pd.Series) -> None:
        self._parameters.clear()
        with self._parameters:
            for name, text, words in parameters(row):
                with el("div"):
                    el("dt", "", name, title=words)
                    el("dd", "", text)
