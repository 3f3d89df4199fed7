"""What the page knows of one visitor's wishes, without any page: limits to a mask, and to the filters of charts and table."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any, NamedTuple

import numpy as np
import pandas as pd

from sweep.page.columns import ENDLESS, LEFT_OUT, MAXIMISE, NAMES, SHOWN, decimals, is_word

#: keys of the address that are no columns
DESIGN, ACROSS, UP, COLUMNS = "design", "x", "y", "columns"
RANGE = re.compile(r"^([-+0-9.eE]*)\.\.([-+0-9.eE]*)$")


class Bounds(NamedTuple):
    """At least, at most; None where there is no such end."""

    low: float | None = None
    high: float | None = None


@dataclass
class View:
    """Limits on the columns of a front, in its rounded numbers, and what is picked."""

    frame: pd.DataFrame
    limits: dict[str, Bounds] = field(default_factory=dict)
    names: dict[str, tuple[str, ...]] = field(default_factory=dict)  # kept names of a column of words
    picked: str | None = None
    across: str = "wheel_diameter_mm"
    up: str = "print_time_h"
    extra: list[str] = field(default_factory=list)  # columns beside the objectives that have a row among the limits
    columns: list[str] = field(default_factory=list)  # of the table
    beside: Mapping[str, Any] | None = None  # a baseline that axes reach to as well

    def __post_init__(self) -> None:
        self.columns = self.columns or [name for name in SHOWN if name in self.frame]

    @cached_property
    def rows(self) -> dict[str, int]:
        """Row of each design."""
        return {str(name): row for row, name in enumerate(self.frame["design"])} if len(self.frame) else {}

    def renew(self, frame: pd.DataFrame) -> None:
        """Another front in place of this one; wishes stay."""
        self.frame = frame
        self.__dict__.pop("rows", None)

    def limit(self, name: str, low: float | None = None, high: float | None = None) -> None:
        """Set or, without ends, lift a limit. Ends that are the wrong way round are swapped."""
        if low is not None and high is not None and low > high:
            low, high = high, low
        self.add(name)
        if low is None and high is None:
            self.limits.pop(name, None)
        else:
            self.limits[name] = Bounds(low, high)

    def add(self, name: str) -> None:
        """Give a column a row among the limits."""
        if name not in NAMES and name not in self.extra:
            self.extra.append(name)

    def take_away(self, name: str) -> None:
        """Lift a column's limit and take its row away."""
        self.limits.pop(name, None)
        self.names.pop(name, None)
        if name in self.extra:
            self.extra.remove(name)

    @property
    def axes(self) -> tuple[str, ...]:
        """Numbers that have a row among the limits."""
        return (*NAMES, *(name for name in self.extra if not is_word(self.frame[name])))

    @property
    def word_rows(self) -> tuple[str, ...]:
        """Columns of words that have a row among the limits."""
        return tuple(name for name in self.extra if is_word(self.frame[name]))

    def keep(self, name: str, kept: tuple[str, ...]) -> None:
        """Keep only these names of a column of words; all of them or none lift it."""
        self.add(name)
        options = self.options(name)
        chosen = tuple(option for option in options if option in kept)
        if not chosen or len(chosen) == len(options):
            self.names.pop(name, None)
        else:
            self.names[name] = chosen

    def lift(self) -> None:
        """Lift every limit."""
        self.limits.clear()
        self.names.clear()

    def beat(self, baseline: Mapping[str, Any]) -> None:
        """Limits at a baseline's objectives: what is no worse in any of them stays."""
        for name in NAMES:
            value = baseline.get(name)
            if value is not None and math.isfinite(float(value)):
                places = decimals(*self.span(name), name)
                # rounded away from the better side, so that the baseline itself would stay
                step = 10.0**-places
                value = (math.floor if MAXIMISE[name] else math.ceil)(round(float(value) / step, 6)) * step
                value = round(value, places)
                self.limit(name, *((value, None) if MAXIMISE[name] else (None, value)))

    def options(self, name: str) -> tuple[str, ...]:
        """The names that a column of words holds, in order."""
        return tuple(sorted({str(value) for value in self.frame[name]}))

    def span(self, name: str) -> tuple[float, float]:
        """Ends of an axis: the column's range and a little beyond; round numbers are for the axis itself."""
        values = self.numbers(name)
        known = values[np.isfinite(values)]
        own = None if self.beside is None or is_word(self.frame[name]) else self.beside.get(name)
        if own is not None and math.isfinite(float(own)) and abs(float(own)) < ENDLESS:
            known = np.append(known, float(own))
        if not len(known):
            return 0.0, 1.0
        low, high = float(known.min()), float(known.max())
        margin = 0.04 * (high - low) or max(0.04 * abs(high), 1e-6)
        return float(f"{low - margin:.5g}"), float(f"{high + margin:.5g}")

    def numbers(self, name: str) -> np.ndarray:
        """A column as numbers (n,): words as their place among the options."""
        column = self.frame[name]
        if is_word(column):
            place = {option: float(k) for k, option in enumerate(self.options(name))}
            return np.array([place[str(value)] for value in column], dtype=float)
        return np.asarray(column.to_numpy(dtype=float))

    def _one(self, name: str) -> np.ndarray:
        if name in self.names:
            return np.asarray(self.frame[name].isin(self.names[name]).to_numpy())
        values, (low, high) = self.numbers(name), self.limits[name]
        held = np.isfinite(values)
        if low is not None:
            held &= values >= low
        if high is not None:
            held &= values <= high
        return held

    @property
    def asked(self) -> tuple[str, ...]:
        """Columns under a limit."""
        return (*self.limits, *self.names)

    def mask(self, without: str | None = None) -> np.ndarray:
        """Which designs hold every limit, but for one, shape (n,)."""
        held = np.ones(len(self.frame), dtype=bool)
        for name in self.asked:
            if name != without:
                held &= self._one(name)
        return held

    def regained(self) -> dict[str, int]:
        """How many designs would be kept more, were one limit lifted, by column."""
        each = {name: self._one(name) for name in self.asked}
        breaks = sum((~held).astype(int) for held in each.values()) if each else np.zeros(len(self.frame), dtype=int)
        return {name: int(np.sum(~held & (breaks == 1))) for name, held in each.items()}

    def chart_filter(self) -> dict[str, Any]:
        """The limits as the condition of a chart's filter; words stand there as their places."""
        held: list[dict[str, Any]] = []
        for name, (low, high) in self.limits.items():
            ends: dict[str, Any] = {"dimension": name}
            if low is not None:
                ends["gte"] = low
            if high is not None:
                ends["lte"] = high
            held.append(ends)
        for name, kept in self.names.items():
            options = self.options(name)
            held.append({"or": [{"dimension": name, "eq": options.index(word)} for word in kept]})
        return {"and": held or [{"dimension": "row", "gte": 0}]}

    def table_filter(self) -> dict[str, Any]:
        """The limits as the table's filter model."""
        found: dict[str, Any] = {}
        for name, (low, high) in self.limits.items():
            if low is not None and high is not None:
                found[name] = {"filterType": "number", "type": "inRange", "filter": low, "filterTo": high}
            elif low is not None:
                found[name] = {"filterType": "number", "type": "greaterThanOrEqual", "filter": low}
            else:
                found[name] = {"filterType": "number", "type": "lessThanOrEqual", "filter": high}
        for name, kept in self.names.items():
            each = [{"filterType": "text", "type": "equals", "filter": word} for word in kept]
            found[name] = each[0] if len(each) == 1 else {"filterType": "text", "operator": "OR", "conditions": each}
        return found

    def address(self) -> dict[str, str]:
        """What the page's address says of the view."""
        def ends(one: Bounds) -> str:
            return "..".join("" if end is None else f"{end:g}" for end in one)

        found = {name: ends(self.limits.get(name, Bounds())) for name in self.axes if name in self.limits or name in self.extra}
        found |= {name: ",".join(self.names.get(name, ())) for name in self.word_rows}
        found |= {ACROSS: self.across, UP: self.up}
        if self.columns != [name for name in SHOWN if name in self.frame]:
            found[COLUMNS] = ",".join(self.columns)
        return found | ({DESIGN: self.picked} if self.picked else {})

    def read_address(self, given: Mapping[str, str]) -> None:
        """Take what an address says; what makes no sense is passed over."""
        for name, text in given.items():
            if name == DESIGN:
                self.picked = text if text in self.rows else None
            elif name in (ACROSS, UP):
                if text in self.frame:
                    setattr(self, "across" if name == ACROSS else "up", text)
            elif name == COLUMNS:
                self.columns = [one for one in text.split(",") if one in self.frame and one not in LEFT_OUT] or self.columns
            elif name in self.frame and name not in LEFT_OUT:
                found = RANGE.match(text)
                if is_word(self.frame[name]):
                    self.keep(name, tuple(text.split(",")))
                elif found:
                    low, high = (number_in(end) for end in found.groups())
                    self.limit(name, low, high)


def number_in(text: object) -> float | None:
    """A number that somebody typed, with a point or a comma; None where it is none.

    >>> number_in("1,5"), number_in(" 2 "), number_in("abc"), number_in("inf")
    (1.5, 2.0, None, None)
    """
    try:
        value = float(str(text).strip().replace(",", "."))
    except ValueError:
        return None
    return value if math.isfinite(value) else None
