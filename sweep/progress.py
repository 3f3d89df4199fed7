"""How far a sweep is, told on stderr: a live line on a terminal, a plain line every few seconds elsewhere."""

from __future__ import annotations

import sys
import time
from collections.abc import Callable
from dataclasses import dataclass

from rich.console import Console
from rich.live import Live
from rich.progress_bar import ProgressBar
from rich.table import Table
from rich.text import Text

from sweep.show import give_up

#: seconds between lines where stderr is no terminal
QUIET_INTERVAL = 10.0


@dataclass(frozen=True)
class Snapshot:
    """Where a sweep stands."""

    stage: str  # "searching" or "scoring the front again"
    done: int  # candidates of the stage
    total: int
    rate: float  # candidates per second since the sweep or its resumption began; 0 where not known yet
    feasible_share: float
    hypervolume: float
    front: int

    @property
    def seconds_left(self) -> float | None:
        return (self.total - self.done) / self.rate if self.rate > 0 else None

    def line(self) -> str:
        """All of it in a line.

        >>> Snapshot("searching", 5000, 20000, 250.0, 0.31, 0.412, 87).line()
        'searching 5000 of 20000, 1 min left, 250/s, feasible 31 %, front 87, hypervolume 0.4120'
        """
        left = self.seconds_left
        return (
            f"{self.stage} {self.done} of {self.total}, {'' if left is None else duration(left) + ' left, '}{self.rate:.3g}/s, "
            f"feasible {100 * self.feasible_share:.0f} %, front {self.front}, hypervolume {self.hypervolume:.4f}"
        )


def duration(seconds: float) -> str:
    """A time in two units at most.

    >>> duration(42), duration(150), duration(7 * 3600 + 1500), duration(3 * 86400)
    ('42 s', '2 min 30 s', '7 h 25 min', '3 d')
    """
    total = round(seconds)
    for size, name, part_size, part_name in ((86400, "d", 3600, "h"), (3600, "h", 60, "min"), (60, "min", 1, "s")):
        if total >= size:
            part = total % size // part_size
            return f"{total // size} {name}" + (f" {part} {part_name}" if part else "")
    return f"{total} s"


class _Unread(Console):
    """A console that goes on into nothing where its reader went away: a sweep does not end for that."""

    def on_broken_pipe(self) -> None:
        self.quiet = True
        give_up(sys.stderr)


class Display:
    """Shows snapshots. Use as a context and hand it to ``run`` as ``progress``."""

    def __init__(self, console: Console | None = None, clock: Callable[[], float] = time.monotonic) -> None:
        self._console = console or _Unread(file=sys.stderr)
        self._clock = clock
        self._live = Live(console=self._console, auto_refresh=False, transient=True) if self._console.is_terminal else None
        self._said = -float("inf")
        self._last: Snapshot | None = None

    def __enter__(self) -> Display:
        if self._live:
            self._live.start()
        return self

    def __exit__(self, *unused: object) -> None:
        if self._live:
            self._live.stop()
        if self._last:
            self._console.print(Text(self._last.line()), soft_wrap=True)

    def __call__(self, snapshot: Snapshot) -> None:
        self._last = snapshot
        now = self._clock()
        if self._live and now - self._said >= 0.1:
            self._said = now
            grid = Table.grid(padding=(0, 1))
            grid.add_row(ProgressBar(total=max(snapshot.total, 1), completed=snapshot.done, width=24), Text(snapshot.line()))
            self._live.update(grid, refresh=True)
        elif not self._live and now - self._said >= QUIET_INTERVAL:
            self._said = now
            self._console.print(Text(snapshot.line()), soft_wrap=True)
