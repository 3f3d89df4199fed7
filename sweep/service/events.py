"""Following a run: server-sent events, from a cheap look at the run's files every second."""

from __future__ import annotations

import json
import time
from collections.abc import AsyncIterator
from dataclasses import asdict

import anyio
from starlette.concurrency import run_in_threadpool

from sweep.service.desk import Desk
from sweep.service.summaries import NotNow, NotThere, RunSummary

#: s between two looks, s of silence after which a line without meaning keeps the connection up
LOOK, SILENCE = 1.0, 15.0


class Listeners:
    """How many streams are open."""

    def __init__(self, most: int) -> None:
        self._most, self._open = most, 0
        self._ending = False

    def end(self) -> None:
        """End all streams at their next look; a browser comes back by itself."""
        self._ending = True

    def check(self) -> None:
        if self._open >= self._most:
            raise NotNow(f"{self._open} streams are open, as many as this server allows; ask for the run now and then instead")

    async def follow(self, desk: Desk, name: str, look: float = LOOK, silence: float = SILENCE) -> AsyncIterator[bytes]:
        """Events of a run until it has ended or whoever listens has gone."""
        self._open += 1
        try:
            seen, said = "", 0.0
            while not self._ending:
                version = await run_in_threadpool(desk.version, name)
                if version != seen:
                    run = await run_in_threadpool(desk.run, name)
                    seen, said = version, time.monotonic()
                    yield event("run", version, run)
                    if not run.at_work:
                        yield event("end", version, run)
                        return
                elif time.monotonic() - said >= silence:
                    said = time.monotonic()
                    yield b": still here\n\n"
                await anyio.sleep(look)
        except NotThere:  # removed since
            return
        finally:
            self._open -= 1


def event(kind: str, version: str, run: RunSummary) -> bytes:
    """An event as it goes over the wire."""
    return f"event: {kind}\nid: {version}\ndata: {json.dumps({'version': version, 'run': asdict(run)})}\n\n".encode()
