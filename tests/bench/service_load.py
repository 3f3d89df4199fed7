"""The service under many clients: ``python -m tests.bench.service_load`` prints latencies and the server's memory.

Fifty clients for a minute on loopback ask for what the page asks for, one request after the other, each with a stream of events
open beside. Run it on a quiet machine: clients and server share its processors.
"""

from __future__ import annotations

import argparse
import asyncio
import os
import signal
import subprocess
import sys
import tempfile
import time
from collections import defaultdict
from dataclasses import dataclass, field
from pathlib import Path

import httpx
import numpy as np

from sweep.locks import identity
from sweep.service.processes import write_record
from tests.service_calls import toy_run
from tests.service_process import Server

#: what a client asks for in turn
ADDRESSES = (
    "/api/runs", "/api/runs/toy", "/api/runs/toy/progress", "/api/runs/toy/front", "/api/runs/toy/designs/knee",
    "/api/runs/toy/front.csv", "/api/runs/toy/shortlist", "/api/runs/toy/front?where=mass_kg<1.5&sort=slip_margin&top=20",
    "/api/runs/toy/front.parquet", "/api/runs/toy/designs/knee/build", "/api/openapi.json",
)  # fmt: skip
#: s that a client thinks before its next request
THOUGHT = 0.2


@dataclass
class Found:
    """What came of a load."""

    seconds: dict[str, list[float]] = field(default_factory=lambda: defaultdict(list))
    errors: list[str] = field(default_factory=list)
    events: int = 0
    megabytes: list[float] = field(default_factory=list)  # of the server, a value a second, once it is warm

    @property
    def count(self) -> int:
        return sum(map(len, self.seconds.values()))


def load(results: Path, clients: int, seconds: float, thought: float = THOUGHT) -> Found:
    """Load a server over a results folder that holds a run ``toy``; clients think for so long [s] between two requests."""
    found = Found()
    waiting = subprocess.Popen([sys.executable, "-c", "import time; time.sleep(600)"])  # in the place of a sweep
    server = Server(results)
    try:
        write_record(results / ".service/at-work/sweep.json", {"study": "at work", "started": "2026", **identity(waiting.pid)})
        asyncio.run(_all(server, clients, seconds, thought, found))
    finally:
        server.end(signal.SIGTERM)
        waiting.kill()
        waiting.wait()
    return found


async def _all(server: Server, clients: int, seconds: float, thought: float, found: Found) -> None:
    limits = httpx.Limits(max_connections=None, max_keepalive_connections=None)
    async with httpx.AsyncClient(base_url=server.url, timeout=30.0, limits=limits) as calls:
        for address in ADDRESSES:
            await calls.get(address)
        end = time.monotonic() + seconds
        listening = [asyncio.create_task(_listen(calls, end, found)) for _ in range(clients)]
        watching = asyncio.create_task(_watch(server.process.pid, end, found))
        await asyncio.gather(*(_ask(calls, number, end, thought, found) for number in range(clients)))
        await watching
        for task in listening:
            task.cancel()
        await asyncio.gather(*listening, return_exceptions=True)


async def _ask(calls: httpx.AsyncClient, number: int, end: float, thought: float, found: Found) -> None:
    while time.monotonic() < end:
        address = ADDRESSES[number % len(ADDRESSES)]
        number += 1
        began = time.perf_counter()
        try:
            answer = await calls.get(address)
            if answer.status_code != 200:
                found.errors.append(f"{address}: {answer.status_code} {answer.text[:200]}")
        except httpx.HTTPError as error:
            found.errors.append(f"{address}: {error!r}")
        found.seconds[address].append(time.perf_counter() - began)
        await asyncio.sleep(thought)


async def _listen(calls: httpx.AsyncClient, end: float, found: Found) -> None:
    """Follow a run that is at work; a stream must stay open."""
    try:
        async with calls.stream("GET", "/api/runs/at-work/events", timeout=None) as answer:
            async for _ in answer.aiter_lines():
                found.events += 1
        if time.monotonic() < end:
            found.errors.append(f"a stream ended: {answer.status_code}")
    except httpx.HTTPError as error:
        found.errors.append(f"a stream: {error!r}")


async def _watch(pid: int, end: float, found: Found) -> None:
    while time.monotonic() < end:
        await asyncio.sleep(1.0)
        pages = int(Path(f"/proc/{pid}/statm").read_text().split()[1])
        found.megabytes.append(pages * os.sysconf("SC_PAGE_SIZE") / 1e6)


def report(found: Found) -> str:
    """Latencies by address and the course of the memory, as text."""
    lines = [f"{'[ms]':52s} {'count':>6s} {'median':>7s} {'95 %':>7s} {'99 %':>7s} {'most':>7s}"]
    everything = [second for part in found.seconds.values() for second in part]
    for name, seconds in [*found.seconds.items(), ("all", everything)]:
        if seconds:
            shares = [1000 * float(np.quantile(seconds, share)) for share in (0.5, 0.95, 0.99, 1.0)]
            lines.append(f"{name[:52]:52s} {len(seconds):6d} " + " ".join(f"{value:7.1f}" for value in shares))
    if found.megabytes:
        kept = [found.megabytes[round(at)] for at in np.linspace(0, len(found.megabytes) - 1, 7)]
        lines.append("memory of the server [MB]: " + " ".join(f"{value:.0f}" for value in kept))
    lines.append(f"{found.events} lines of events, {len(found.errors)} errors")
    return "\n".join([*lines, *found.errors[:10]])


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--clients", type=int, default=50)
    parser.add_argument("--seconds", type=float, default=60.0)
    parser.add_argument("--thought", type=float, default=THOUGHT, help="s between two requests of a client")
    given = parser.parse_args()
    with tempfile.TemporaryDirectory() as place:
        toy_run(Path(place))
        found = load(Path(place), given.clients, given.seconds, given.thought)
    print(report(found))
    sys.exit(1 if found.errors else 0)


if __name__ == "__main__":
    main()
