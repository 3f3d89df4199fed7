"""What can go wrong, and how it is said: quantity, rule, value, where, remedy."""

from __future__ import annotations

import difflib
from collections.abc import Iterable
from dataclasses import dataclass


@dataclass(frozen=True)
class Fault:
    """One thing that is wrong with an input.

    ``rule`` reads on from ``quantity`` ("must lie in (0, 90)"); ``value`` is what was given, empty where nothing was;
    ``where`` names the file and the table or row; ``remedy`` says what to do.

    >>> print(Fault("contact_angle_deg", "must lie in (0, 90)", "95", "studies/a.toml, [space]"))
    contact_angle_deg must lie in (0, 90), got 95 (studies/a.toml, [space])
    """

    quantity: str
    rule: str
    value: str = ""
    where: str = ""
    remedy: str = ""

    def __str__(self) -> str:
        text = f"{self.quantity} {self.rule}"
        if self.value:
            text += f", got {self.value}"
        if self.where:
            text += f" ({self.where})"
        if self.remedy:
            text += f"; {self.remedy}"
        return text


class BadInput(Exception):  # noqa: N818
    """An input that cannot be used. Holds every fault; prints at most ``shown`` of them. Exit status 2."""

    exit_status = 2

    def __init__(self, faults: Iterable[Fault], shown: int | None = None) -> None:
        self.faults = tuple(faults)
        self.shown = len(self.faults) if shown is None else shown
        super().__init__(self.faults, shown)

    def __str__(self) -> str:
        lines = [str(fault) for fault in self.faults[: self.shown]]
        if len(self.faults) > self.shown:
            lines.append(f"and {len(self.faults) - self.shown} more")
        return "\n".join(lines)


class SweepFailure(Exception):  # noqa: N818
    """A failure while running. Says what happened, what is safe and how to go on. Exit status 1.

    >>> print(SweepFailure("the disk is full", safe="epochs 0 to 11 in results/scout", go_on="free space, then --resume"))
    the disk is full
    Safe: epochs 0 to 11 in results/scout
    To go on: free space, then --resume
    """

    exit_status = 1

    def __init__(self, what: str, safe: str = "", go_on: str = "") -> None:
        self.what, self.safe, self.go_on = what, safe, go_on
        super().__init__(what, safe, go_on)

    def __str__(self) -> str:
        lines = [self.what]
        if self.safe:
            lines.append(f"Safe: {self.safe}")
        if self.go_on:
            lines.append(f"To go on: {self.go_on}")
        return "\n".join(lines)


def nearest(name: str, options: Iterable[object]) -> str:
    """The option most like ``name``, or an empty string where none is like it.

    >>> nearest("sealed_concret", ["sealed_concrete", "tile"])
    'sealed_concrete'
    """
    lower = {str(option).lower(): str(option) for option in options}
    match = difflib.get_close_matches(name.lower(), lower, n=1, cutoff=0.5)
    return lower[match[0]] if match else ""


def did_you_mean(name: str, options: Iterable[object], listed: int = 12) -> str:
    """A remedy for an unknown name: the nearest option, and all of them where they are few.

    >>> did_you_mean("bal", ["plain", "bushed", "ball"])
    "nearest is 'ball'; give one of plain, bushed, ball"
    """
    names = [str(option) for option in options]
    close = nearest(name, names)
    parts = [f"nearest is {close!r}"] if close else []
    if names and (len(names) <= listed or not close):
        parts.append(f"give one of {', '.join(names[:40])}{', ...' if len(names) > 40 else ''}")
    return "; ".join(parts)
