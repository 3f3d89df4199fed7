"""Work done beside other work, in a copy of this process: solids need not be written and read again for it."""

from __future__ import annotations

import contextlib
import ctypes
import multiprocessing
import os
import signal
import sys
import threading
from collections.abc import Callable, Iterator
from multiprocessing.connection import Connection
from typing import Any, TypeVar

T = TypeVar("T")

#: prctl(2): the signal that a process is sent when the one that made it ends
PR_SET_PDEATHSIG = 1


@contextlib.contextmanager
def beside(work: Callable[[], T]) -> Iterator[Callable[[], T]]:
    """Begin ``work`` on another core; what is given waits for it and gives its result, or raises what it raised.

    The result has to be one that pickles. What the work does to solids is not seen here. Where there is no other core, where
    threads run, which a copy would not have, and where the system does not copy processes well, the work is done here when it
    is asked for. The copy does not outlive the context.
    """
    if not can_copy():
        yield work
        return
    _end_threads()
    context = multiprocessing.get_context("fork")
    receiving, sending = context.Pipe(duplex=False)
    process = context.Process(target=_send, args=(work, sending), daemon=True)
    process.start()
    sending.close()  # the copy's end alone is left: it closes when the copy ends

    def result() -> T:
        try:
            value, failure = receiving.recv()
        except EOFError:  # the copy was killed: memory may have been short
            return work()
        if failure is not None:
            raise failure
        return value

    try:
        yield result
    finally:
        receiving.close()
        process.kill()
        process.join()


def can_copy() -> bool:
    """Whether work can be done beside."""
    return sys.platform == "linux" and len(os.sched_getaffinity(0)) > 1 and threading.active_count() == 1


def _end_threads() -> None:
    """End the threads of the kernel of solids: a copy would wait for them for ever."""
    from OCP.OSD import OSD_ThreadPool

    OSD_ThreadPool.DefaultPool_s().Init(1)


def _send(work: Callable[[], Any], sending: Connection) -> None:
    """What the copy does. Ctrl-C reaches it too and is left to the process that it serves. When that ends, so does the copy."""
    ctypes.CDLL(None).prctl(PR_SET_PDEATHSIG, signal.SIGKILL)
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    signal.signal(signal.SIGTERM, signal.SIG_DFL)
    answer: tuple[Any, Exception | None]
    try:
        answer = work(), None
    except Exception as failure:
        answer = None, failure
    with contextlib.suppress(BrokenPipeError):  # nobody waits any more
        sending.send(answer)
