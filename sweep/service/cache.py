"""What was read of files, kept until they change."""

from __future__ import annotations

import os
import threading
from collections import OrderedDict
from collections.abc import Callable, Hashable, Iterable
from pathlib import Path
from typing import Generic, TypeVar

T = TypeVar("T")
Stamp = tuple[tuple[int, int, int] | None, ...]
_NEVER = object()


def stamp_of(files: Iterable[Path]) -> Stamp:
    """What changes when any of some files does: time, size and number of each, None where there is none.

    Files are replaced whole by others with other numbers, so that a change within the clock's step is seen too.
    """
    return tuple(_stamp(file) for file in files)


def _stamp(file: Path) -> tuple[int, int, int] | None:
    try:
        about = os.stat(file)
    except OSError:
        return None
    return about.st_mtime_ns, about.st_size, about.st_ino


class _Entry(Generic[T]):
    def __init__(self) -> None:
        self.lock = threading.Lock()
        self.stamp: object = _NEVER
        self.value: T


class Cache(Generic[T]):
    """Values by key, made anew when their stamp changes. Keeps the ``size`` that were used last; one thread makes a value.

    >>> cache = Cache[int](2)
    >>> cache.get("a", 1, lambda: 10), cache.get("a", 1, lambda: 20), cache.get("a", 2, lambda: 30)
    (10, 10, 30)
    """

    def __init__(self, size: int) -> None:
        self._size, self._mutex = size, threading.Lock()
        self._entries: OrderedDict[Hashable, _Entry[T]] = OrderedDict()

    def kept(self, key: Hashable, stamp: object) -> T | None:
        """The value of a key where it is there already. Does not wait for one that is being made."""
        with self._mutex:
            entry = self._entries.get(key)
        return entry.value if entry is not None and entry.stamp == stamp else None

    def get(self, key: Hashable, stamp: object, make: Callable[[], T]) -> T:
        """The value of a key; whatever ``make`` raises is raised, and nothing kept."""
        with self._mutex:
            entry = self._entries.setdefault(key, _Entry())
            self._entries.move_to_end(key)
            while len(self._entries) > self._size:
                self._entries.popitem(last=False)
        with entry.lock:
            if entry.stamp != stamp:
                entry.value = make()
                entry.stamp = stamp
            return entry.value
