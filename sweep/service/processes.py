"""Sweeps and builds as processes of their own: started so that they outlive the server, recognised by number and start."""

from __future__ import annotations

import contextlib
import datetime
import json
import os
import signal
import socket
import subprocess
import sys
import threading
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from sweep.location import replace_file
from sweep.locks import alive, identity
from sweep.service.summaries import NotNow

#: of a log, enough for the last words
LAST_BYTES = 8192
#: where a server's token can stand instead of on the command line, which others on the machine can read
TOKEN = "WHEELFRONT_TOKEN"
PACKAGE = Path(__file__).parent.parent.parent


class Processes:
    """Starts commands and keeps a record of each in a file, by which a later server knows them again."""

    def __init__(self) -> None:
        self._children: list[subprocess.Popen[bytes]] = []
        self._mutex = threading.Lock()

    def start(self, arguments: list[str], where: Path, log: Path, record: Path, facts: Mapping[str, Any]) -> None:
        """Start ``wheelfront`` with arguments in a folder; what it says goes to ``log``, what it is to ``record``."""
        log.parent.mkdir(parents=True, exist_ok=True)
        with open(log, "wb") as words:
            # -P keeps the folder it works in, which others may write to, out of the search for modules
            child = subprocess.Popen(
                [sys.executable, "-P", "-m", "sweep.cli", *arguments],
                cwd=where, env=environment(), stdin=subprocess.DEVNULL, stdout=words, stderr=subprocess.STDOUT,
                start_new_session=True,
            )  # fmt: skip
        with self._mutex:
            self._children.append(child)
        write_record(record, {**facts, **identity(child.pid), "started": now()})

    def reap(self) -> None:
        """Let children go that have ended."""
        with self._mutex:
            self._children = [child for child in self._children if child.poll() is None]


def environment() -> dict[str, str]:
    """What a process is started with: it finds this package from any folder, and does not know the server's token."""
    known = os.environ.get("PYTHONPATH")
    kept = {name: value for name, value in os.environ.items() if name != TOKEN}
    return {**kept, "PYTHONPATH": os.pathsep.join([str(PACKAGE), *([known] if known else [])])}


def now() -> str:
    return datetime.datetime.now(datetime.UTC).isoformat(timespec="seconds")


def write_record(record: Path, facts: Mapping[str, Any]) -> None:
    record.parent.mkdir(parents=True, exist_ok=True)
    replace_file(record, (json.dumps(facts, indent=1) + "\n").encode())


def read_record(record: Path) -> dict[str, Any]:
    """What is known of a process; empty where there is no record, or none that can be read."""
    try:
        found = json.loads(record.read_bytes())
    except (OSError, ValueError):
        return {}
    return found if isinstance(found, dict) else {}


def is_here(holder: Mapping[str, Any]) -> bool:
    """Whether a record or lock is of a process of this machine."""
    return holder.get("host") == socket.gethostname()


def end(holder: Mapping[str, Any]) -> None:
    """Ask a process to end. Nothing is sent to another one that was given its number since."""
    if not is_here(holder):
        raise NotNow(f"it runs on {holder.get('host')}: stop it there")
    pid = int(holder["pid"])
    with contextlib.suppress(ProcessLookupError):
        if hasattr(os, "pidfd_open"):
            handle = os.pidfd_open(pid)  # stays with this process, so that what is checked is what is told
            try:
                if alive(holder):
                    signal.pidfd_send_signal(handle, signal.SIGTERM)
            finally:
                os.close(handle)
        elif alive(holder):
            os.kill(pid, signal.SIGTERM)


def last_words(log: Path) -> list[str]:
    """The last lines of a log."""
    try:
        with open(log, "rb") as words:
            size = words.seek(0, os.SEEK_END)
            words.seek(max(0, size - LAST_BYTES))
            text = words.read().decode("utf-8", "replace")
    except OSError:
        return []
    return [line.strip() for line in text.splitlines() if line.strip()]
