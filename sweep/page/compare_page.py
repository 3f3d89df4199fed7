"""Runs compared: the figure, who holds the common front, coverage, who wins where."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from nicegui import ui

from sweep.comparing import PART_NAMES, Comparison
from sweep.comparing_text import letters, share
from sweep.front import OBJECTIVES, knee
from sweep.page.columns import NAMES, label, with_unit
from sweep.page.comparison import comparison_of
from sweep.page.parts import el, link, notice
from sweep.page.routes import address, run_page
from sweep.page.shell import TOLD, Shell, gone, off_loop
from sweep.service.desk import Desk
from sweep.show import number


async def compare_page(desk: Desk, runs: str) -> None:
    """Build the page of a comparison; ``runs`` are names with commas between."""
    shell = Shell()
    with shell.frame("", "compare-page"):
        try:
            found = await off_loop(comparison_of, desk, runs.split(","))
        except TOLD as error:
            gone("These runs cannot be compared", str(error))
        else:
            _fill(found, runs)
    await ui.context.client.connected()
    await shell.begin()


def _fill(found: Comparison, runs: str) -> None:
    signs = letters(found)
    with el("div", "page-head"):
        el("h1", "", "Runs compared")
    for text in found.cautions:
        notice(text)
    with el("figure", "comparison", tabindex="0", label="Figure of the fronts"):
        words = "Designs of each front in five pairs of objectives, and who holds most in which third of their ranges"
        el("img", "", src=address("comparison.svg", runs=runs), alt=words)
    with el("div", "tables"):
        _fronts(found, signs)
        _coverage(found, signs)
        _extremes(found, signs)
        _thirds(found, signs)
        _weightings(found, signs)


def _table(title: str, note: str, head: Sequence[str], rows: Sequence[Sequence[str]], first: int = 1) -> None:
    with el("section", "card", label=title):
        el("h2", "", title)
        if note:
            el("p", "faint", note)
        with el("div", "wide", tabindex="0", role="region", label=f"{title}: table"), el("table", "v"):
            with el("thead"), el("tr"):
                for name in head:
                    el("th", "", name, scope="col") if name else el("td")
            with el("tbody"):
                for row in rows:
                    with el("tr"):
                        for place, text in enumerate(row):
                            el("th", "", text, scope="row") if place < first else el("td", "", text)


def _fronts(found: Comparison, signs: Sequence[str]) -> None:
    with el("section", "card", label="Fronts"):
        el("h2", "", "Fronts")
        el("p", "faint", f"Hypervolume between common bounds; all together {share(found.hypervolume_together)}. "
                         "Lost without it: what only this front holds.")  # fmt: skip
        with el("div", "wide", tabindex="0", role="region", label="Fronts: table"), el("table", "v"):
            with el("thead"), el("tr"):
                el("td")
                el("th", "text", "Run", scope="col")
                for name in ("Designs", "On the common front", "Hypervolume", "Lost without it"):
                    el("th", "", name, scope="col")
            with el("tbody"):
                for k, (sign, front) in enumerate(zip(signs, found.fronts, strict=True)):
                    with el("tr"):
                        el("th", "", sign, scope="row")
                        with el("td", "text"):
                            link(front.name, run_page(front.name))
                        for text in (f"{len(front.designs):,}", f"{int(found.on_common_front[k]):,}",
                                     share(float(found.hypervolume[k])), share(float(found.alone[k]))):  # fmt: skip
                            el("td", "", text)


def _coverage(found: Comparison, signs: Sequence[str]) -> None:
    rows = [
        [sign, *("" if i == j else share(float(value)) for j, value in enumerate(found.coverage[i]))]
        for i, sign in enumerate(signs)
    ]
    _table("Coverage", "Designs of the column that some design of the row is no worse than.", ["", *signs], rows)


def _extremes(found: Comparison, signs: Sequence[str]) -> None:
    rows = []
    for sign, front in zip(signs, found.fronts, strict=True):
        best = front.designs[list(NAMES)].agg({o.name: "max" if o.maximise else "min" for o in OBJECTIVES})
        own = front.designs.iloc[knee(front.designs)]
        rows.append([f"{sign} best", *(number(float(best[name])) for name in NAMES)])
        rows.append([f"{sign} knee", *(number(float(own[name])) for name in NAMES)])
    _table("Best of each objective, and the knee", "", ["", *map(with_unit, NAMES)], rows)


def _thirds(found: Comparison, signs: Sequence[str]) -> None:
    rows = []
    for k, objective in enumerate(OBJECTIVES):
        sense = -1.0 if objective.maximise else 1.0
        edges = sense * np.linspace(found.ideal[k], found.nadir[k], len(PART_NAMES) + 1)
        cells = [label(objective.name)]
        for part in range(len(PART_NAMES)):
            shares, winner = found.thirds[k, part], found.winner(k, part)
            who = signs[winner] if winner is not None else "even" if shares.any() else "-"
            told = " / ".join(share(float(value)) for value in shares)
            cells.append(f"{who}: {told} ({number(float(edges[part]))} to {number(float(edges[part + 1]))})")
        rows.append(cells)
    _table("Who wins where", f"Most hypervolume in the other objectives, by thirds of a range; shares of {' / '.join(signs)}.",
           ["", *(name.capitalize() for name in PART_NAMES)], rows)  # fmt: skip


def _weightings(found: Comparison, signs: Sequence[str]) -> None:
    names = [*(f"{label(name)} weighs most" for name in NAMES), "All weightings"]
    rows = [[name, *(share(float(value)) for value in row)] for name, row in zip(names, found.weightings, strict=True)]
    _table("Who has the best design", "Over weightings of the five objectives.", ["", *signs], rows)
