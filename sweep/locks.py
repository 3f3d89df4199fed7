"""Keeping a second sweep out: the lock of a process in a local folder, and a lease in an object store."""

from __future__ import annotations

import contextlib
import datetime
import json
import os
import random
import socket
import threading
import time
import uuid
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any, Protocol

from sweep.errors import BadInput, Fault, SweepFailure

LOCK = "lock"
#: s; a holder that has not been heard of for so long is taken for dead
LEASE = 120.0
#: s between two signs of life
BEAT = 20.0
#: s before the end of its lease at which a holder stops writing
MARGIN = 20.0
#: how often a claim is made while others claim too, and the longest pause in between [s]
TRIES, PAUSE = 3, 1.0


@contextlib.contextmanager
def process_lock(path: Path) -> Iterator[None]:
    """A lock file that names its process. The lock of a process that has died on this host is taken over."""
    own = identity(os.getpid())
    while not _created(path, json.dumps(own).encode()):
        holder = _read(path)
        if holder is None:
            continue
        if holder.get("host") != own["host"] or alive(holder):
            raise _second(str(path.parent), holder, str(path), "wait for it, give another --out, or delete the lock if that "
                          "process is gone")
        _take_over(path)
    try:
        yield
    finally:
        path.unlink(missing_ok=True)


def _created(path: Path, content: bytes) -> bool:
    try:
        with open(path, "xb") as file:
            file.write(content)
    except FileExistsError:
        return False
    return True


def _read(path: Path) -> dict[str, Any] | None:
    try:
        return dict(json.loads(path.read_bytes()))
    except FileNotFoundError:
        return None
    except (ValueError, TypeError):  # cut in the writing
        return {"host": socket.gethostname(), "pid": 0}


def _take_over(path: Path) -> None:
    """Remove a stale lock so that of several who try only one succeeds: renaming it works once."""
    aside = path.with_name(f".{path.name}.{os.getpid()}.tmp")
    with contextlib.suppress(FileNotFoundError):
        os.rename(path, aside)
        aside.unlink(missing_ok=True)


class Claims(Protocol):
    """What a lease needs of an object store."""

    def put(self, name: str, content: bytes) -> None: ...
    def read(self, name: str) -> bytes: ...
    def remove(self, name: str) -> None: ...
    def written(self, under: str) -> Mapping[str, datetime.datetime]:
        """When each blob below a folder was written, by the store's clock."""


class Lease:
    """A lock in a store that can only replace, list and remove.

    Each sweep puts a claim of its own into a folder, then lists the folder, and withdraws where it sees another claim that is
    alive. Of two that come at once the later one to list sees both claims, so never do both get in; both may withdraw. That
    holds without clocks where a list shows every finished write, as those of S3 and Google Cloud Storage do.

    A holder renews its claim every ``BEAT`` seconds. A claim that is older than ``LEASE`` by the store's own clock, or whose
    process has died on this machine, is removed by the next one to come. A holder that could not renew stops writing
    ``MARGIN`` before that, unless it gets in anew. Not covered: a write that is under way for longer than ``MARGIN``.
    """

    def __init__(self, store: Claims, place: str) -> None:
        self._store, self._place = store, place
        self._name = f"{LOCK}/{uuid.uuid4().hex}"
        self._renewed = -float("inf")
        self._lost_to: dict[str, Any] | None = None
        self._mutex, self._ended = threading.Lock(), threading.Event()
        self._thread = threading.Thread(target=self._beat, daemon=True)

    @contextlib.contextmanager
    def held(self) -> Iterator[None]:
        self._take()
        self._thread.start()
        try:
            yield
        finally:
            self._ended.set()
            with self._mutex, contextlib.suppress(SweepFailure):  # whatever stays lapses
                self._store.remove(self._name)

    def check(self) -> None:
        """Raises SweepFailure where this holder may no longer write."""
        if self._lost_to is None and self._lapsed():
            with contextlib.suppress(SweepFailure):
                self._renew()
        if self._lost_to is None and not self._lapsed():
            return
        taken = f", and {_words(self._lost_to)} has begun there" if self._lost_to else ""
        raise SweepFailure(
            f"the lock of {self._place} was lost: it could not be renewed in time{taken}",
            safe=f"what {self._place} held before is whole",
            go_on="--resume, once no other sweep writes there",
        )

    def _take(self) -> None:
        for left in reversed(range(TRIES)):
            began = _now()
            self._claim()
            other = self._other()
            if other is None:
                self._renewed = began
                return
            self._store.remove(self._name)
            if left:
                time.sleep(random.uniform(0.2, 1.0) * PAUSE)
        raise _second(self._place, other or {}, f"{LOCK}/", f"wait for it, {LEASE:.0f} s if it has died, or give another --out")

    def _claim(self) -> None:
        self._store.put(self._name, json.dumps(identity(os.getpid())).encode())

    def _other(self) -> dict[str, Any] | None:
        """Whose claim is alive beside ours, None where there is none. Removes those of the dead."""
        claims = dict(self._store.written(LOCK))
        now = claims.pop(self._name, None)  # ours was written a moment ago
        if now is None:
            return {}
        for name, written in claims.items():
            try:
                holder = dict(json.loads(self._store.read(name)))
            except FileNotFoundError:
                continue
            except (ValueError, TypeError):
                holder = {}
            died_here = holder.get("system") == _system() != "" and not alive(holder)
            if not died_here and (now - written).total_seconds() <= LEASE + 1:  # stores count whole seconds
                return holder
            self._store.remove(name)
        return None

    def _beat(self) -> None:
        while not self._ended.wait(BEAT):
            with contextlib.suppress(SweepFailure):  # the next one may do; ``check`` counts the time
                self._renew()

    def _renew(self) -> None:
        with self._mutex:
            if self._ended.is_set() or self._lost_to is not None:
                return
            # while the claim stands and counts, whoever comes withdraws; once it does not, one must get in anew
            anew = self._lapsed() or self._name not in self._store.written(LOCK)
            began = _now()
            self._claim()
            if anew:
                self._lost_to = self._other()
            if self._lost_to is None:
                self._renewed = began
            else:
                self._store.remove(self._name)

    def _lapsed(self) -> bool:
        return _now() - self._renewed >= LEASE - MARGIN


def _second(place: str, holder: Mapping[str, Any], where: str, remedy: str) -> BadInput:
    return BadInput([Fault(place, "must not be written by two sweeps at once", f"a lock of {_words(holder)}", where, remedy)])


def _words(holder: Mapping[str, Any]) -> str:
    return f"process {holder.get('pid')} on {holder.get('host')}" if holder else "another process"


def identity(pid: int) -> dict[str, Any]:
    """What tells a process from every other one, now and later: ``alive`` recognises it."""
    return {"pid": pid, "host": socket.gethostname(), "system": _system(), "began": start_of(pid)}


def _now() -> float:
    """s; goes on while the machine sleeps, where the system can tell."""
    return time.clock_gettime(time.CLOCK_BOOTTIME) if hasattr(time, "CLOCK_BOOTTIME") else time.monotonic()


def _system() -> str:
    """What shares our numbers of processes: a boot and a space of numbers; empty where the system does not tell."""
    try:
        return Path("/proc/sys/kernel/random/boot_id").read_text().strip() + " " + os.readlink("/proc/self/ns/pid")
    except OSError:
        return ""


def alive(holder: Mapping[str, Any]) -> bool:
    """Whether the process of an ``identity`` of this machine is still at work."""
    try:
        pid = int(holder["pid"])
        os.kill(pid, 0)
    except PermissionError:
        return True
    except (OSError, KeyError, ValueError, OverflowError):
        return False
    # a number that was given to another process since began at another moment
    return pid > 0 and start_of(pid) == holder.get("began")


def start_of(pid: int) -> str:
    """When a process began, in the system's own count; empty where the system does not tell, or it has ended."""
    try:
        fields = Path(f"/proc/{pid}/stat").read_text().rsplit(")", 1)[1].split()
        return "" if fields[0] == "Z" else fields[19]  # one that has ended and that nobody has asked about yet
    except (OSError, IndexError):
        return ""
