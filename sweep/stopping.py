"""Ending a sweep on request."""

from __future__ import annotations

import contextlib
import signal
import threading
from collections.abc import Callable, Iterator


class Stopped(Exception):  # noqa: N818
    """The sweep was asked to end."""


@contextlib.contextmanager
def signals() -> Iterator[Callable[[], bool]]:
    """Whether Ctrl-C or SIGTERM came. A second one ends the process the hard way, which the files survive."""
    asked = threading.Event()
    if threading.current_thread() is not threading.main_thread():
        yield asked.is_set
        return
    before = {number: signal.getsignal(number) for number in (signal.SIGINT, signal.SIGTERM)}

    def note(number: int, _frame: object) -> None:
        asked.set()
        signal.signal(number, before[signal.Signals(number)])

    for number in before:
        signal.signal(number, note)
    try:
        yield asked.is_set
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)
