"""Reading what a user wrote: files into text, tables into checked values, and every fault kept until the end."""

from __future__ import annotations

import math
import os
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from pathlib import Path

from sweep.errors import BadInput, Fault, did_you_mean, nearest

LARGEST_STUDY = 4_000_000  # bytes; a study is a few kilobytes, so more is a wrong file
LARGEST_NUMBER = 1e300


@dataclass(frozen=True)
class Number:
    """What a number may be. The unit is part of ``key``. Without a ``default`` it must be given.

    >>> Number("voltage_V", 0, 100, open_least=True).interval
    '(0, 100]'
    """

    key: str
    least: float = -math.inf
    most: float = math.inf
    open_least: bool = False
    open_most: bool = False
    default: float | None = None
    integer: bool = False

    @property
    def interval(self) -> str:
        left = "(" if self.open_least or math.isinf(self.least) else "["
        right = ")" if self.open_most or math.isinf(self.most) else "]"
        return f"{left}{self.least:.15g}, {self.most:.15g}{right}"

    def broken_rule(self, value: object) -> str:
        """The rule that ``value`` breaks, an empty string where it keeps them all.

        >>> Number("walls", 1, 20, integer=True).broken_rule(2.5)
        'must be a whole number'
        """
        if isinstance(value, bool) or not isinstance(value, int | float):
            return "must be a number"
        if not abs(value) <= LARGEST_NUMBER:  # also nan
            return "must be finite"
        if self.integer and value != math.floor(value):
            return "must be a whole number"
        below = value <= self.least if self.open_least else value < self.least
        above = value >= self.most if self.open_most else value > self.most
        return f"must lie in {self.interval}" if below or above else ""


@dataclass
class Faults:
    """Faults of one file, collected while it is read."""

    file: str
    found: list[Fault] = field(default_factory=list)

    def add(self, quantity: str, rule: str, value: str = "", place: str = "", remedy: str = "") -> None:
        where = f"{self.file}, {place}" if place else self.file
        self.found.append(Fault(quantity, rule, value, where, remedy))

    def raise_if_any(self, shown: int | None = None) -> None:
        if self.found:
            raise BadInput(self.found, shown)


class Table:
    """A TOML table being read. Hands out checked values, records faults, and knows at the end which keys nobody asked for.

    A value that breaks a rule is recorded and comes back as nan or as the default, so that reading goes on.
    """

    def __init__(self, content: object, name: str, faults: Faults, place: str | None = None) -> None:
        self.name, self.faults = name, faults
        self.key = name  # in the table that it stands in
        self.is_table = isinstance(content, dict)
        self.place = f"[{name}]" if place is None else place
        self.asked: set[str] = set()
        self.content: Mapping[str, object] = {}
        if isinstance(content, dict):
            self.content = content
        else:
            faults.add(name, "must be a table", show(content), remedy=f"write it as [{name}] with one key = value a line")

    def __contains__(self, key: str) -> bool:
        return key in self.content

    def fault(self, quantity: str, rule: str, value: str = "", remedy: str = "") -> None:
        self.faults.add(quantity, rule, value, self.place, remedy)

    def take(self, key: str) -> object:
        """The raw value of ``key``, None where it is not given."""
        self.asked.add(key)
        return self.content.get(key)

    def number(self, spec: Number) -> float:
        value = self.take(spec.key)
        if value is None:
            if spec.default is None:
                self.fault(spec.key, f"must be given, a number in {spec.interval}", remedy=f"add {spec.key} = ...")
                return math.nan
            return spec.default
        if rule := spec.broken_rule(value):
            self.fault(spec.key, rule, show(value), remedy="" if "lie in" in rule else f"give a number in {spec.interval}")
            return math.nan
        return float(value)  # type: ignore[arg-type]  # broken_rule has seen that it is a number

    def integer(self, spec: Number) -> int:
        value = self.number(spec)
        return 0 if math.isnan(value) else int(value)

    def text(self, key: str, choices: Iterable[str] | None = None, default: str | None = None) -> str:
        value = self.take(key)
        options = None if choices is None else list(choices)
        if value is None:
            if default is None:
                self.fault(key, "must be given", remedy=_options(options) or f'add {key} = "..."')
            return default or ""
        if not isinstance(value, str):
            self.fault(key, "must be text in quotes", show(value), _options(options))
        elif not value.strip() or not value.isprintable():
            self.fault(key, "must be text that can be printed, not empty", show(value))
        elif options is not None and value not in options:
            self.fault(key, f"must be one of {', '.join(options[:40])}", show(value), _nearest(value, options))
        else:
            return value
        return default or ""

    def table(self, key: str) -> Table:
        """A table within this one, empty where it is not given."""
        value = self.take(key)
        inner = Table({} if value is None else value, f"{self.name}.{key}" if self.name else key, self.faults)
        inner.key = key
        return inner

    def tables(self, key: str) -> list[Table]:
        """A list of tables within this one ([[key]])."""
        value = self.take(key)
        if value is None:
            return []
        if not isinstance(value, list) or not all(isinstance(entry, dict) for entry in value):
            self.fault(key, "must be a list of tables", show(value), f"write each as [[{key}]]")
            return []
        return [Table(entry, key, self.faults, f"[[{key}]] number {i + 1}") for i, entry in enumerate(value)]

    def refuse(self, key: str, reason: str, remedy: str = "") -> None:
        """A key that has no place here for a reason worth telling."""
        if key in self.content:
            self.asked.add(key)
            self.fault(key, f"must not be given {reason}", show(self.content[key]), remedy or f"leave {key} out")

    def finish(self) -> None:
        """Record every key that nobody asked for."""
        for key in self.content:
            if key not in self.asked:
                what = "table" if isinstance(self.content[key], dict) else "key"
                self.fault(key, f"is not a known {what}", show(self.content[key]), did_you_mean(key, sorted(self.asked)))


def show(value: object) -> str:
    """A value as a user would write it, cut where it is long.

    >>> show(True), show("red"), show([1, 2.5])
    ('true', "'red'", '[1, 2.5]')
    """
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, dict):
        return "a table" if value else "an empty table"
    try:
        text = repr(value) if isinstance(value, str | float | int | list) else str(value)
    except ValueError:  # an integer of thousands of digits
        return "a very large number"
    return text if len(text) <= 60 else f"{text[:57]}..."


def read_bytes(path: str | os.PathLike[str], what: str, largest: int | None = None) -> bytes:
    """The bytes of a file that the user named; one clear fault where there is none to read."""
    file = Path(path)
    shown = str(path)

    def refuse(rule: str, remedy: str, value: str = "") -> BadInput:
        return BadInput([Fault(what, rule, value, shown, remedy)])

    try:
        if file.is_dir():
            raise refuse("must be a file", "name a file in it", "a directory")
        if not file.exists():
            near = nearest(file.name, _siblings(file))
            remedy = f"nearest is {str(file.with_name(near))!r}" if near else "check the path"
            raise refuse("must be a file that exists", remedy)
        if largest is not None and file.stat().st_size > largest:
            raise refuse(f"must be at most {largest} bytes long", f"is this a {what}?", f"{file.stat().st_size} bytes")
        content = file.read_bytes()
    except (OSError, ValueError) as error:  # ValueError: a path with a null byte in it
        raise refuse(f"cannot be read: {error}", "check the path and its permissions") from error
    if not content.strip():
        raise refuse("must not be empty", f"write a {what} into it", "an empty file")
    return content


def read_text(path: str | os.PathLike[str], what: str, largest: int | None = None) -> str:
    """The text of a UTF-8 file that the user named, line ends as they are."""
    content = read_bytes(path, what, largest)
    try:
        if b"\x00" in content:
            raise ValueError("it holds null bytes")
        return content.decode("utf-8-sig")
    except ValueError as error:
        fault = Fault(what, f"must be text in UTF-8: {error}", "", str(path), "save it as UTF-8 text; is it the right file?")
        raise BadInput([fault]) from error


def _siblings(file: Path) -> list[str]:
    return sorted(entry.name for entry in file.parent.iterdir()) if file.parent.is_dir() else []


def _options(options: list[str] | None) -> str:
    return f"give one of {', '.join(options[:40])}" if options else ""


def _nearest(value: str, options: Iterable[str]) -> str:
    close = nearest(value, options)
    return f"nearest is {close!r}" if close else ""
