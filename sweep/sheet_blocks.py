"""The words of a sheet as headings, paragraphs, points and tables, for whoever does not print on a terminal."""

from __future__ import annotations

import io
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from rich.console import Console
from rich.table import Table
from rich.text import Text

from sweep.matter_text import show_first
from sweep.sheet import Sheet
from sweep.sheet_text import show_sheet

POINT = "-"


@dataclass
class Block:
    """A paragraph (``text``), a point of a list (``text``, ``kind`` "point"), or a table (``rows``; ``head`` may be empty)."""

    kind: str  # "text", "point" or "table"
    text: str = ""
    head: tuple[str, ...] = ()
    numeric: tuple[bool, ...] = ()
    rows: list[tuple[str, ...]] = field(default_factory=list)


class Collector(Console):
    """Takes what is printed on it apart. What comes before the first heading stands under ""."""

    def __init__(self) -> None:
        super().__init__(file=io.StringIO(), width=100)
        self.sections: dict[str, list[Block]] = {"": []}
        self._at = ""

    def print(self, *objects: Any, **options: Any) -> None:
        for thing in objects:
            if isinstance(thing, Text) and "bold" in str(thing.style):
                self._at = thing.plain
                self.sections[self._at] = []
            elif isinstance(thing, Table):
                self._take(thing)
            else:
                self.sections[self._at].append(Block("text", getattr(thing, "plain", None) or str(thing)))

    def _take(self, table: Table) -> None:
        columns = [[_plain(cell) for cell in column._cells] for column in table.columns]
        rows = [tuple(row) for row in zip(*columns, strict=True)]
        if len(columns) == 2 and all(row[0] == POINT for row in rows):
            self.sections[self._at] += [Block("point", row[1]) for row in rows]
            return
        head = tuple(_plain(column.header) for column in table.columns)
        numeric = tuple(column.justify == "right" for column in table.columns)
        self.sections[self._at].append(Block("table", "", head if any(head) else (), numeric, rows))


def sections_of(sheet: Sheet, matters: Mapping[str, Any] | None = None) -> dict[str, list[Block]]:
    """The blocks of a sheet under their headings, in the order of the text; they say the same as the terminal.

    ``matters`` is what ``wheelfront matter`` found for the design, where it was asked.
    """
    collector = Collector()
    show_sheet(sheet, collector)
    if matters is not None:
        show_first(matters, collector)
    return collector.sections


def _plain(cell: Any) -> str:
    return cell.plain if isinstance(cell, Text) else str(cell)
