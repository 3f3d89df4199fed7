"""Fronts as the page holds them: a rounded copy for each version, shared by all who look at it."""

from __future__ import annotations

import hashlib
import json
import threading
from collections import OrderedDict
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from sweep.page.columns import is_word, rounded
from sweep.page.view import View
from sweep.service.desk import Desk, NotThere

#: versions of fronts that are kept for pages that still show them
KEPT = 12


@dataclass(frozen=True)
class Snapshot:
    """A front at one moment. ``key`` stands for its run and version in addresses."""

    run: str
    key: str
    frame: pd.DataFrame


class Snapshots:
    """The latest fronts, by run and version. From any thread."""

    def __init__(self, desk: Desk) -> None:
        self._desk = desk
        self._lock = threading.Lock()
        self._kept: OrderedDict[tuple[str, str], Snapshot] = OrderedDict()

    def take(self, run: str) -> Snapshot:
        """The front of a run as it is now. Reads and rounds it, so call it off the event loop. Raises NotThere."""
        key = hashlib.sha256(f"{run} {self._desk.version(run)}".encode()).hexdigest()[:12]
        with self._lock:
            if (run, key) in self._kept:
                self._kept.move_to_end((run, key))
                return self._kept[run, key]
        made = Snapshot(run, key, rounded(self._desk.front(run)))
        with self._lock:
            self._kept[run, key] = made
            while len(self._kept) > KEPT:
                self._kept.popitem(last=False)
        return made

    def find(self, run: str, key: str) -> Snapshot:
        """A front that some page shows. Raises NotThere where it is kept no longer."""
        with self._lock:
            if (run, key) in self._kept:
                return self._kept[run, key]
        latest = self.take(run)
        if latest.key == key:
            return latest
        raise NotThere(f"This state of {run} is kept no longer: load the page anew.")


def points(snapshot: Snapshot, columns: Sequence[str], most: int = 0) -> bytes:
    """A dataset of the charts as JSON: its row, then numbers; words as their places. ``most`` rows at random where given."""
    view, frame = View(snapshot.frame), snapshot.frame
    values = np.column_stack([np.arange(len(frame), dtype=float), *(view.numbers(name) for name in columns)])
    if most and len(values) > most:
        values = values[np.sort(np.random.default_rng(1).choice(len(values), most, replace=False))]
    if most:  # lines are counted anew, in an order that says nothing
        values = np.random.default_rng(2).permutation(values)
        values[:, 0] = np.arange(len(values))
    return pd.DataFrame(values).to_json(orient="values", double_precision=10).encode()


def table_rows(snapshot: Snapshot, columns: Sequence[str]) -> bytes:
    """Rows of the table as JSON, an object each."""
    frame = snapshot.frame
    lists = {name: _plain(frame[name]) for name in ["design", *columns]}
    return json.dumps([dict(zip(lists, row, strict=True)) for row in zip(*lists.values(), strict=True)]).encode()


def _plain(column: pd.Series) -> list[object]:
    if is_word(column):
        return [str(value) for value in column]
    return [value if value == value else None for value in column.tolist()]  # nan is unlike itself
