"""How the command line shows things: numbers, tables, bars and headings, the same on a terminal and in a pipe."""

from __future__ import annotations

import contextlib
import json
import math
import os
import sys
from collections.abc import Iterable, Mapping, Sequence
from typing import Any, TextIO

from rich import box
from rich.console import Console
from rich.table import Table
from rich.text import Text

#: columns that a pipe gets, where there is no terminal to tell
PIPE_WIDTH = 100
MISSING = "-"
#: two values count as the same that differ by less than this share of the other
ALIKE = 1e-4
BETTER, WORSE, SAME = "▲", "▼", "="


class Piped(Console):
    """A console whose reader may go away: that is for the caller to see, as with any other stream."""

    def on_broken_pipe(self) -> None:
        raise BrokenPipeError


def give_up(stream: TextIO) -> None:
    """Let what is still to be written to a stream go nowhere."""
    with contextlib.suppress(OSError, ValueError):  # a stream in memory has no number
        os.dup2(os.open(os.devnull, os.O_WRONLY), stream.fileno())


def console(stream: TextIO | None = None) -> Console:
    """A console without markup and automatic colours; plain text where the stream is no terminal."""
    stream = stream or sys.stdout
    reconfigure = getattr(stream, "reconfigure", None)
    if reconfigure:
        reconfigure(errors="replace")  # a terminal that lacks a sign shows a question mark rather than failing
    width = None if stream.isatty() or os.environ.get("COLUMNS") else PIPE_WIDTH
    return Piped(file=stream, width=width, highlight=False, markup=False, emoji=False)


def number(value: float, digits: int = 3) -> str:
    """A number with so many significant digits, from a thousand on four at least, and no exponents where they can be avoided.

    >>> number(1234.5), number(168903.0), number(0.012345), number(-2.0), number(math.nan), number(1e-9)
    ('1234', '168900', '0.0123', '-2', '-', '1.00e-09')
    """
    if value is None or math.isnan(value):
        return MISSING
    if math.isinf(value):
        return "inf" if value > 0 else "-inf"
    size = abs(value)
    if size == 0:
        return "0"
    if size < 1e-4 or size >= 1e7:
        return f"{value:.{digits - 1}e}"
    whole = math.floor(math.log10(size)) + 1
    decimals = max(digits, min(whole, 4)) - whole
    text = f"{round(value, decimals):.{max(decimals, 0)}f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


def quantity(value: float, unit: str, digits: int = 3) -> str:
    """A number with its unit, nothing but a dash where it is missing.

    >>> quantity(0.25, "mm"), quantity(3.0, "")
    ('0.25 mm', '3')
    """
    return MISSING if math.isnan(value) else f"{number(value, digits)} {unit}".rstrip()


def signed(value: float, digits: int = 3) -> str:
    """A difference with its sign.

    >>> signed(0.5), signed(-2), signed(0.0)
    ('+0.5', '-2', '0')
    """
    return ("+" if value > 0 else "") + number(value, digits)


def alike(value: float, other: float) -> bool:
    """Whether two values count as the same."""
    return abs(value - other) <= ALIKE * abs(other)


def against(value: float, other: float, maximise: bool, digits: int = 3) -> str:
    """The difference to another value with a mark that says which way it goes.

    >>> against(1.5, 1.0, True), against(1.5, 1.0, False), against(1.00001, 1.0, True)
    ('▲ +0.5', '▼ +0.5', '= 0')
    """
    gain = value - other
    if math.isnan(gain):
        return MISSING
    if alike(value, other):
        return f"{SAME} 0"
    return f"{BETTER if (gain > 0) == maximise else WORSE} {signed(gain, digits)}"


def bar(share: float, width: int) -> str:
    """A bar of ``width`` characters, filled to a share; what is not nothing shows at least a sliver.

    >>> bar(0.5, 4), bar(0.0, 4), bar(0.001, 4)
    ('██', '', '▏')
    """
    if not share > 0:
        return ""
    eighths = max(1, round(min(share, 1.0) * width * 8))
    return "█" * (eighths // 8) + " ▏▎▍▌▋▊▉"[eighths % 8].strip()


def heading(out: Console, text: str) -> None:
    """A heading with room above it."""
    out.print()
    out.print(Text(text, style="bold"))


def sentence(out: Console, text: str) -> None:
    """A paragraph, wrapped at the width of the console."""
    out.print(Text(text))


def point(out: Console, text: str) -> None:
    """An entry of a list; further lines stand below its text."""
    grid = Table.grid(padding=(0, 1))
    grid.add_row("-", Text(text, overflow="fold"))
    out.print(grid)


def table(columns: Iterable[str | tuple[str, str]], rows: Iterable[Sequence[object]]) -> Table:
    """A table with a rule below its header and nothing else.

    ``(name, "right")`` lines numbers up; ``(name, "whole")`` is never broken, and neither is a first column of single words.
    """
    cells = [[cell if isinstance(cell, Text) else Text(str(cell)) for cell in row] for row in rows]
    single = all(" " not in row[0].plain.strip() for row in cells)
    made = Table(box=box.SIMPLE_HEAD, pad_edge=False, show_edge=False, padding=(0, 1, 0, 0), header_style="bold")
    for i, column in enumerate(columns):
        name, kind = column if isinstance(column, tuple) else (column, "left")
        whole = kind == "whole" or (i == 0 and single)
        made.add_column(Text(name), justify="right" if kind == "right" else "left", overflow="fold", no_wrap=whole)
    for row in cells:
        made.add_row(*row)
    return made


def facts(pairs: Iterable[tuple[str, str]]) -> Table:
    """Names and what they are, in two columns."""
    grid = Table.grid(padding=(0, 2))
    grid.add_column(no_wrap=True)
    grid.add_column(overflow="fold")
    for name, value in pairs:
        grid.add_row(Text(name), Text(value))
    return grid


def plain(value: object) -> Any:
    """A value as JSON holds it: numpy scalars as plain ones, what is no number as null."""
    if isinstance(value, Mapping):
        return {str(key): plain(entry) for key, entry in value.items()}
    if isinstance(value, list | tuple):
        return [plain(entry) for entry in value]
    if hasattr(value, "tolist"):
        return plain(value.tolist())
    return None if isinstance(value, float) and not math.isfinite(value) else value


def print_json(value: object) -> None:
    """One JSON document on stdout."""
    sys.stdout.write(json.dumps(plain(value), indent=2, allow_nan=False, ensure_ascii=False) + "\n")
