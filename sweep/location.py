"""Where a run is kept: a place that holds named blobs. The archive reads and writes through it and in no other way."""

from __future__ import annotations

import contextlib
import errno
import os
import re
from abc import ABC, abstractmethod
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from urllib.parse import unquote, urlsplit

from sweep.errors import BadInput, Fault, SweepFailure
from sweep.locks import LOCK, process_lock

FULL = (errno.ENOSPC, errno.EDQUOT, errno.EFBIG)
FORBIDDEN = (errno.EACCES, errno.EPERM, errno.EROFS)
IN_THE_WAY = (errno.EEXIST, errno.ENOTDIR, errno.EISDIR)


class Location(ABC):
    """A place that holds named blobs. Names may hold ``/``.

    A write replaces a blob whole or not at all, whatever ends it: nobody ever reads a part of one. What a write that was
    killed leaves has a hidden name, stands in no list and is removed by ``sweep_up``.
    """

    @staticmethod
    def at(place: str | os.PathLike[str], quantity: str = "--out") -> Location:
        """A location from what a user gave as ``quantity``: a path, or a URI. Raises BadInput, SweepFailure."""
        text = os.fspath(place)
        scheme = re.match(r"([A-Za-z][A-Za-z0-9+.-]+):/", text)  # one letter is a drive
        if not scheme:
            return LocalFolder(Path(text))
        if scheme[1].lower() == "file":
            return LocalFolder(_path_of(text, quantity))
        from sweep.object_store import ObjectStore

        return ObjectStore.at_uri(text, quantity)

    @abstractmethod
    def __str__(self) -> str:
        """What may be shown and given as ``--out`` again, without secrets."""

    @abstractmethod
    def place_of(self, name: str) -> str:
        """Where a blob is, to be shown."""

    @abstractmethod
    def exists(self, name: str) -> bool: ...

    @abstractmethod
    def names(self, under: str = "") -> list[str]:
        """Names of all blobs, or of those below a folder, sorted."""

    @abstractmethod
    def read(self, name: str) -> bytes:
        """A blob. Raises FileNotFoundError where there is none."""

    @abstractmethod
    def write(self, name: str, content: bytes) -> None:
        """Replace a blob."""

    @abstractmethod
    def append(self, name: str, line: bytes) -> None:
        """Add a line at a blob's end. A kill may leave a part of the line, never less than what was there."""

    @abstractmethod
    def remove(self, name: str) -> None: ...

    @abstractmethod
    def sweep_up(self) -> None:
        """Remove what killed writes have left. Only while nobody else writes here."""

    @abstractmethod
    def locked(self) -> contextlib.AbstractContextManager[None]:
        """Keep every other writer out. Raises BadInput where there is one, or where nothing can be written."""


@dataclass(frozen=True)
class LocalFolder(Location):
    """A folder of this machine."""

    root: Path

    def __str__(self) -> str:
        return str(self.root)

    def place_of(self, name: str) -> str:
        return str(self.root / name)

    def exists(self, name: str) -> bool:
        return os.path.isfile(self.root / name)

    def names(self, under: str = "") -> list[str]:
        return [name for name in self._all(under) if not is_hidden(name)]

    def read(self, name: str) -> bytes:
        return (self.root / name).read_bytes()

    def write(self, name: str, content: bytes) -> None:
        target = self.root / name
        with self._failing_as(name):
            target.parent.mkdir(parents=True, exist_ok=True)
            replace_file(target, content)

    def append(self, name: str, line: bytes) -> None:
        with self._failing_as(name), open(self.root / name, "ab") as file:
            file.write(line)

    def remove(self, name: str) -> None:
        (self.root / name).unlink(missing_ok=True)

    def sweep_up(self) -> None:
        for name in self._all():
            if is_hidden(name):
                self.remove(name)

    @contextlib.contextmanager
    def locked(self) -> Iterator[None]:
        with contextlib.ExitStack() as held:
            try:
                self.root.mkdir(parents=True, exist_ok=True)
                held.enter_context(process_lock(self.root / LOCK))
            except OSError as error:
                raise self._unusable(error) from error
            yield

    def _all(self, under: str = "") -> list[str]:
        top = self.root / under
        if not os.path.isdir(top):
            return []
        return sorted(path.relative_to(self.root).as_posix() for path in top.rglob("*") if path.is_file())

    def _unusable(self, error: OSError) -> BadInput | SweepFailure:
        """Why nothing can be kept here, found before anything was."""
        reason = error.strerror or str(error)
        if error.errno in FULL:
            return SweepFailure(f"{self.root} cannot be written to: {reason}", go_on="free space, then repeat the command")
        if os.path.exists(self.root) and not os.path.isdir(self.root):
            return BadInput([Fault("--out", "must be a folder", "a file", str(self.root), "give another --out")])
        rule = "must be a folder that can be made and written to"
        remedy = "give another --out" + (", or yourself the right to write there" if error.errno in FORBIDDEN else "")
        return BadInput([Fault("--out", rule, reason, error.filename or str(self.root), remedy)])

    @contextlib.contextmanager
    def _failing_as(self, name: str) -> Iterator[None]:
        try:
            yield
        except OSError as error:
            raise SweepFailure(
                f"{self.root / name} could not be written: {error.strerror or error}",
                safe=f"what {self.root} held before is whole",
                go_on=f"{remedy_for(error)}, then --resume",
            ) from error


def replace_file(target: Path, content: bytes) -> None:
    """Replace a file whole or not at all: one beside it, flushed to the disk, then renamed over it."""
    temporary = target.with_name(hidden_name(target.name, str(os.getpid())))
    try:
        with open(temporary, "wb") as file:
            file.write(content)
            file.flush()
            os.fsync(file.fileno())
        os.replace(temporary, target)
    except OSError:
        with contextlib.suppress(OSError):
            temporary.unlink(missing_ok=True)
        raise
    folder = os.open(target.parent, os.O_RDONLY)
    try:
        os.fsync(folder)
    finally:
        os.close(folder)


def write_output(out: Path, content: bytes) -> None:
    """Write a file that a user named with ``--out``, whole or not at all. Raises BadInput, SweepFailure."""
    if not out.parent.is_dir():
        raise BadInput([Fault("--out", "must name a file in a folder that exists", str(out), "", f"make {out.parent} first")])
    if out.is_dir():
        raise BadInput([Fault("--out", "must name a file", "a folder", str(out), "name a file in it")])
    try:
        replace_file(out, content)
    except OSError as error:
        reason = error.strerror or str(error)
        if error.errno in FORBIDDEN:
            raise BadInput([Fault("--out", "must be where you may write", reason, str(out), "name another file")]) from error
        go_on = f"{remedy_for(error)}, then repeat the command"
        raise SweepFailure(f"{out} could not be written: {reason}", go_on=go_on) from error


def remedy_for(error: OSError) -> str:
    """What to do about a failed write."""
    if error.errno in FULL:
        return "free space"
    if error.errno in FORBIDDEN:
        return "give yourself the right to write there"
    return "move away what stands there" if error.errno in IN_THE_WAY else "mend the cause"


def hidden_name(name: str, token: str) -> str:
    """The name of what is being written, beside its place; ``token`` keeps writers apart."""
    return f".{name}.{token}.tmp"


def is_hidden(name: str) -> bool:
    return name.rsplit("/", 1)[-1].startswith(".") and name.endswith(".tmp")


def _path_of(uri: str, quantity: str) -> Path:
    parts = urlsplit(uri)
    if parts.netloc not in ("", "localhost"):
        remedy = "three slashes begin the path: file:///..."
        raise BadInput([Fault(quantity, "must be a file of this machine", f"host {parts.netloc!r}", uri, remedy)])
    return Path(unquote(parts.path))
