"""A server in a process of its own, as a user starts one, on a free port of loopback."""

from __future__ import annotations

import contextlib
import os
import re
import signal
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import httpx

from sweep.locks import alive
from sweep.service.names import OWN
from sweep.service.processes import read_record
from tests.command_line import started

#: s in which a server has to listen, and to end when asked
PATIENCE = 60.0


class Server:
    """``wheelfront serve`` over a results folder."""

    def __init__(self, results: Path, *options: str) -> None:
        self.process = started("serve", "--port", 0, "--results", results, *options)
        assert self.process.stderr is not None
        said = ""
        while not (found := re.search(r"at (http://\S+?)\.\s", said)):
            line = self.process.stderr.readline()
            assert line, f"the server ended: {said}"
            said += line
        self.url = found.group(1)

    def calls(self, **headers: str) -> httpx.Client:
        return httpx.Client(base_url=self.url, timeout=PATIENCE, headers=headers)

    def end(self, number: signal.Signals = signal.SIGTERM) -> int:
        """Send its process a signal and wait; its exit status."""
        if self.process.poll() is None:
            os.kill(self.process.pid, number)
        status = self.process.wait(PATIENCE)
        for pipe in (self.process.stdout, self.process.stderr):
            assert pipe is not None
            pipe.close()
        return status


@contextlib.contextmanager
def no_sweep_left(results: Path) -> Iterator[None]:
    """End whatever a test has started, by number and start."""
    try:
        yield
    finally:
        for record in (results / OWN).glob("*/sweep.json"):
            known = read_record(record)
            if alive(known):
                with contextlib.suppress(ProcessLookupError):
                    os.kill(int(known["pid"]), signal.SIGKILL)


def until(holds: Callable[[], bool], seconds: float = PATIENCE) -> None:
    """Wait for something to hold."""
    end = time.monotonic() + seconds
    while not holds():
        assert time.monotonic() < end, "it did not come in time"
        time.sleep(0.1)
