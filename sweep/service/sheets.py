"""Sheets and what matters: worked out by processes beside the server, one request at a time, and kept."""

from __future__ import annotations

import base64
import contextlib
import hashlib
import json
import os
import select
import subprocess
import sys
import threading
from collections.abc import Callable, Hashable
from pathlib import Path
from typing import Any, TypeVar

from sweep.errors import BadInput, Fault
from sweep.service.cache import Cache
from sweep.service.limits import Limits
from sweep.service.names import without_paths
from sweep.service.processes import environment
from sweep.service.runs import Runs
from sweep.service.summaries import NotNow, NotThere

T = TypeVar("T")
KINDS = ("html", "pdf")
#: s for one request; the first one on a machine compiles the mechanics
PATIENCE = 420.0
#: sheets and findings that are kept, some hundred kilobytes each
KEPT = 48


class SideProcess:
    """A process that answers one request at a time, at work in a folder. Starts when needed, anew where it has ended."""

    def __init__(self, where: Path, patience: float = PATIENCE) -> None:
        self._where, self._patience = where, patience
        self._process: subprocess.Popen[bytes] | None = None
        self._mutex = threading.Lock()

    def ask(self, request: dict[str, Any]) -> dict[str, Any]:
        """Raises NotNow where no answer comes."""
        with self._mutex:
            for _ in range(2):  # one that has just ended for want of work is started anew
                process = self._started()
                answer = self._asked(process, request)
                if answer is not None:
                    return answer
                self._end()
        raise NotNow("what works out sheets ended before it was done; try again, or make the sheet on the command line")

    def close(self) -> None:
        with self._mutex:
            self._end()

    @property
    def pid(self) -> int | None:
        return self._process.pid if self._process else None

    def _started(self) -> subprocess.Popen[bytes]:
        if self._process is None or self._process.poll() is not None:
            self._end()
            self._process = subprocess.Popen(
                [sys.executable, "-P", "-m", "sweep.service.side_work"],
                cwd=self._where, env=environment(),
                stdin=subprocess.PIPE, stdout=subprocess.PIPE, bufsize=0, start_new_session=True,
            )  # fmt: skip
        return self._process

    def _asked(self, process: subprocess.Popen[bytes], request: dict[str, Any]) -> dict[str, Any] | None:
        assert process.stdin is not None
        assert process.stdout is not None
        with contextlib.suppress(BrokenPipeError):
            process.stdin.write(json.dumps(request).encode() + b"\n")
            answer = b""
            while not answer.endswith(b"\n"):
                if not select.select([process.stdout], [], [], self._patience)[0]:
                    self._end()
                    raise NotNow(f"it took longer than {self._patience:.0f} s and was given up; try again later")
                part = os.read(process.stdout.fileno(), 1 << 20)
                if not part:
                    return None
                answer += part
            return dict(json.loads(answer))
        return None

    def _end(self) -> None:
        if self._process is None:
            return
        self._process.kill()
        for pipe in (self._process.stdin, self._process.stdout):
            if pipe:
                with contextlib.suppress(OSError):
                    pipe.close()
        self._process.wait()
        self._process = None


class Sheets:
    """Sheets of a results folder's designs, kept until the design's own numbers change."""

    def __init__(self, runs: Runs, limits: Limits) -> None:
        self._runs = runs
        self._drawing, self._finding = SideProcess(runs.results), SideProcess(runs.results)
        self._sheets: Cache[bytes] = Cache(KEPT)
        self._matters: Cache[dict[str, Any]] = Cache(4 * KEPT)
        self._places = threading.BoundedSemaphore(limits.sheets)

    def sheet(self, name: str, design: str, kind: str) -> bytes:
        if kind not in KINDS:
            raise NotThere(f"there is no sheet of kind {kind[:20]!r}; it is {' or '.join(KINDS)}")
        full, stamp = self._design(name, design)

        def make() -> bytes:
            return base64.b64decode(self._ask(self._drawing, name, full, kind)["content"])

        return self._in_turn(self._sheets, (name, full, kind), stamp, make)

    def matter(self, name: str, design: str) -> dict[str, Any]:
        full, stamp = self._design(name, design)

        def make() -> dict[str, Any]:
            return dict(self._ask(self._finding, name, full, "matter")["matter"])

        return self._in_turn(self._matters, (name, full), stamp, make)

    def close(self) -> None:
        for process in (self._drawing, self._finding):
            process.close()

    def _in_turn(self, cache: Cache[T], key: Hashable, stamp: object, make: Callable[[], T]) -> T:
        """What is kept, at once; else what is made, with so many who wait for it and no more: each holds a thread."""
        kept = cache.kept(key, stamp)
        if kept is not None:
            return kept
        if not self._places.acquire(blocking=False):
            raise NotNow("many sheets are asked for at once; try again in some seconds")
        try:
            return cache.get(key, stamp, make)
        finally:
            self._places.release()

    def _design(self, name: str, design: str) -> tuple[str, str]:
        """The whole id of a design, and what its sheet is made from in short."""
        row, baseline = self._runs.design(name, design), self._runs.baseline(name)
        facts = repr((row.to_dict(), None if baseline is None else baseline.to_dict(), self._runs.study_text(name)))
        return str(row["design"]), hashlib.sha256(facts.encode()).hexdigest()

    def _ask(self, process: SideProcess, name: str, design: str, task: str) -> dict[str, Any]:
        self._runs.place(name)
        answer = process.ask({"task": task, "run": name, "design": design})
        results = self._runs.results
        if "faults" in answer:
            faults = [{key: without_paths(str(text), results) for key, text in fault.items()} for fault in answer["faults"]]
            raise BadInput([Fault(**fault) for fault in faults])
        if "failure" in answer:
            raise NotNow(f"it could not be worked out: {without_paths(str(answer['failure']), results)}")
        return answer
