"""What matters for the picked design: the first three things to measure and to change, worked out on request."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from sweep.matter_text import gains_in_words
from sweep.page.columns import label, unit
from sweep.page.parts import button, el, notice
from sweep.page.shell import told
from sweep.service.desk import Desk
from sweep.show import number


class MatterPart:
    """Asks for it by a button: it takes some ten seconds."""

    def __init__(self, desk: Desk, run: str) -> None:
        self.desk, self.run = desk, run
        self.design: str | None = None
        el("h3", "", "What matters first")
        self._place = el("div", "matter", data_mark="matter-part")

    def show(self, design: str) -> None:
        """Offer it for a design."""
        if design == self.design:
            return
        self.design = design
        self._place.clear()
        with self._place:
            el("p", "faint", "Which unknowns its numbers hang on, and which change gains most.")
            button("Work it out", self._work_out, mark="matter", classes="wide")

    async def _work_out(self) -> None:
        design = self.design
        if design is None:
            return
        self._place.clear()
        with self._place:
            words = "At work: the design is scored some thousand times, which takes about half a minute."
            el("p", "waiting", words, role="status")
        found = await told(self.desk.matter, self.run, design)
        if design != self.design:
            return
        self._place.clear()
        with self._place:
            if found is None:
                button("Try again", self._work_out, mark="matter", classes="wide")
            else:
                self._fill(found)

    def _fill(self, found: Mapping[str, Any]) -> None:
        with el("table", "v matter-table"):
            el("caption", "sr", "The first three things to measure and to change")
            with el("tbody"):
                for kind, entries in (("Measure", _measures(found)), ("Change", _changes(found))):
                    for place, (name, words) in enumerate(entries, 1):
                        with el("tr"):
                            el("th", "", f"{kind} {place}", scope="row")
                            with el("td"):
                                el("strong", "", name)
                                el("span", "", words)
        if not found.get("change"):
            notice("No small change of one variable gains more than it loses without breaking a constraint.")


def _measures(found: Mapping[str, Any]) -> list[tuple[str, str]]:
    """What to measure and how; entries are names, or tables that say how."""
    entries = []
    for one in found.get("measure", []):
        known = one if isinstance(one, Mapping) else {"name": one}
        how = str(known.get("how") or known.get("meaning") or "")
        spread = f" Known to {known['spread']}." if known.get("spread") else ""
        entries.append((label(str(known["name"])), how[:1].upper() + how[1:] + ("." if how else "") + spread))
    return entries


def _changes(found: Mapping[str, Any]) -> list[tuple[str, str]]:
    entries = []
    for step in found.get("change", []):
        target = step["to"] if isinstance(step["to"], str) else f"{number(step['to'], 4)} {unit(step['variable'])}".strip()
        entries.append((label(step["variable"]), f"to {target}: {gains_in_words(step)}"))
    return entries
