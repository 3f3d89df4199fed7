"""A run's folder: what is stored where, so that a kill at any moment leaves every file whole and the run resumable."""

from __future__ import annotations

import contextlib
import io
import json
import os
import re
import socket
import zipfile
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from functools import cache
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.compute as pc
import pyarrow.parquet as pq

from sweep.columns import described
from sweep.errors import BadInput, Fault, SweepFailure
from sweep.search import Population

PACKAGES = ("wheelfront", "numpy", "pandas", "pyarrow", "numba", "optuna", "moocore")


@dataclass(frozen=True)
class Location:
    """A place that holds named blobs: a local folder. The only way the archive reads and writes.

    Names may hold ``/``. A write replaces a blob whole or not at all.
    """

    root: Path

    @staticmethod
    def at(place: str | os.PathLike[str]) -> Location:
        """A location from what a user gave. Raises BadInput for a URI, which is not supported."""
        if re.match(r"[A-Za-z][A-Za-z0-9+.-]+:/", str(place)):  # a Path has folded the second slash
            remedy = "give a path and copy the folder afterwards"
            raise BadInput([Fault("--out", "must be a local folder", str(place), "", remedy)])
        return Location(Path(place))

    def __str__(self) -> str:
        return str(self.root)

    def exists(self, name: str) -> bool:
        return (self.root / name).is_file()

    def names(self, under: str = "") -> list[str]:
        """Names of all blobs, or of those below a folder, sorted."""
        top = self.root / under
        if not top.is_dir():
            return []
        return sorted(path.relative_to(self.root).as_posix() for path in top.rglob("*") if path.is_file())

    def read(self, name: str) -> bytes:
        return (self.root / name).read_bytes()

    def write(self, name: str, content: bytes) -> None:
        """Replace a blob: a temporary file beside it, flushed to the disk, then renamed over it."""
        target = self.root / name
        temporary = target.with_name(f".{target.name}.{os.getpid()}.tmp")
        with self._failing_as(name):
            target.parent.mkdir(parents=True, exist_ok=True)
            with open(temporary, "wb") as file:
                file.write(content)
                file.flush()
                os.fsync(file.fileno())
            os.replace(temporary, target)
            folder = os.open(target.parent, os.O_RDONLY)
            try:
                os.fsync(folder)
            finally:
                os.close(folder)

    def append(self, name: str, line: bytes) -> None:
        with self._failing_as(name), open(self.root / name, "ab") as file:
            file.write(line)

    def create(self, name: str, content: bytes) -> bool:
        """Write a blob unless there is one; whether it was written."""
        with self._failing_as(name):
            self.root.mkdir(parents=True, exist_ok=True)
            try:
                with open(self.root / name, "xb") as file:
                    file.write(content)
            except FileExistsError:
                return False
        return True

    def remove(self, name: str) -> None:
        (self.root / name).unlink(missing_ok=True)

    def sweep_up(self) -> None:
        """Remove what killed writes have left. Only while nobody else writes here."""
        for name in self.names():
            if name.rsplit("/", 1)[-1].startswith(".") and name.endswith(".tmp"):
                self.remove(name)

    @contextlib.contextmanager
    def _failing_as(self, name: str) -> Iterator[None]:
        try:
            yield
        except OSError as error:
            raise SweepFailure(
                f"{self.root / name} could not be written: {error.strerror or error}",
                safe=f"what {self.root} held before is whole",
                go_on="free space or change permissions, then --resume",
            ) from error


@dataclass(frozen=True)
class State:
    """Where a search stands after whole epochs: enough to go on as if it had not stopped."""

    epoch: int  # the next one
    evaluations: int
    feasible: int
    populations: tuple[Population, ...]  # an island each
    emigrants: tuple[Population, ...]
    bounds: tuple[list[float], list[float]] | None = None  # ideal and nadir that the hypervolume is measured between
    broken: Mapping[str, int] = field(default_factory=dict)  # how many candidates broke each constraint
    failed: int = 0  # how many made scoring raise

    def pack(self) -> bytes:
        facts = {"epoch": self.epoch, "evaluations": self.evaluations, "feasible": self.feasible, "bounds": self.bounds,
                 "broken": dict(self.broken), "failed": self.failed, "islands": len(self.populations)}
        arrays = {"facts": np.frombuffer(json.dumps(facts).encode(), dtype=np.uint8)}
        for kind, populations in (("population", self.populations), ("emigrants", self.emigrants)):
            for island, population in enumerate(populations):
                for part in ("genes", "costs", "violation"):
                    arrays[f"{kind}_{island}_{part}"] = getattr(population, part)
        buffer = io.BytesIO()
        np.savez(buffer, **arrays)  # type: ignore[arg-type]
        return buffer.getvalue()

    @staticmethod
    def unpack(content: bytes) -> State:
        with np.load(io.BytesIO(content), allow_pickle=False) as arrays:
            facts = json.loads(bytes(arrays["facts"]))
            both = [
                tuple(
                    Population(*(arrays[f"{kind}_{island}_{part}"] for part in ("genes", "costs", "violation")))
                    for island in range(facts["islands"])
                )
                for kind in ("population", "emigrants")
            ]
        bounds = None if facts["bounds"] is None else (facts["bounds"][0], facts["bounds"][1])
        told = (facts[name] for name in ("epoch", "evaluations", "feasible", "broken", "failed"))
        epoch, evaluations, feasible, broken, failed = told
        return State(epoch, evaluations, feasible, both[0], both[1], bounds, broken, failed)


@dataclass(frozen=True)
class RunFolder:
    """The files of a run."""

    location: Location

    def about(self) -> dict[str, Any] | None:
        """What run.json says; None where there is none."""
        if not self.location.exists("run.json"):
            return None
        with self._whole("run.json"):
            return json.loads(self.location.read("run.json"))

    def write_about(self, about: Mapping[str, Any]) -> None:
        self.location.write("run.json", (json.dumps(about, indent=2, allow_nan=False) + "\n").encode())

    def study_text(self) -> str:
        return self.location.read("study.toml").decode()

    def write_study(self, text: str) -> None:
        self.location.write("study.toml", text.encode())

    def front(self) -> pd.DataFrame | None:
        """The front now; None before the first epoch has ended."""
        return self._table("front.parquet")

    def write_front(self, front: pd.DataFrame, facts: Mapping[str, str]) -> None:
        self.location.write("front.parquet", to_parquet(front, facts))

    def baseline(self) -> pd.DataFrame | None:
        return self._table("baseline.parquet")

    def write_baseline(self, baseline: pd.DataFrame, facts: Mapping[str, str]) -> None:
        self.location.write("baseline.parquet", to_parquet(baseline, facts))

    def failed(self) -> pd.DataFrame:
        """Designs that made scoring raise, with the message as ``status``; empty where there are none."""
        table = self._table("failed.parquet")
        return pd.DataFrame() if table is None else table

    def write_failed(self, failed: pd.DataFrame, facts: Mapping[str, str]) -> None:
        self.location.write("failed.parquet", to_parquet(failed, facts))

    def write_killers(self, designs: pd.DataFrame) -> str:
        """Save designs that keep killing the process that scores them; the file's name."""
        self.location.write("killers.csv", designs.to_csv(index=False).encode())
        return "killers.csv"

    def write_part(self, island: int, epoch: int, part: bytes) -> None:
        self.location.write(f"epochs/island={island:02d}/epoch={epoch:06d}.parquet", part)

    def parts(self) -> Iterator[pd.DataFrame]:
        """What the search kept, a table per island and epoch, with the columns ``island`` and ``epoch``."""
        for name in self.location.names("epochs"):
            island, epoch = (int(piece.split("=")[1].split(".")[0]) for piece in name.split("/")[1:])
            part = from_parquet(self.location.read(name))
            yield part.assign(island=island, epoch=epoch)

    def state(self) -> State | None:
        name = "state/populations.npz"
        if not self.location.exists(name):
            return None
        with self._whole(name):
            return State.unpack(self.location.read(name))

    def write_state(self, state: State) -> None:
        self.location.write("state/populations.npz", state.pack())

    def progress(self) -> list[dict[str, Any]]:
        """The lines of progress.jsonl, oldest first. A line that was cut in the writing is passed over."""
        if not self.location.exists("progress.jsonl"):
            return []
        lines = []
        for line in self.location.read("progress.jsonl").splitlines():
            with contextlib.suppress(ValueError):
                lines.append(json.loads(line))
        return [line for line in lines if isinstance(line, dict)]

    def add_progress(self, line: Mapping[str, Any]) -> None:
        self.location.append("progress.jsonl", json.dumps(line, allow_nan=False).encode() + b"\n")

    def cut_progress(self, evaluations: int) -> None:
        """Leave only the lines up to a number of evaluations, whole ones."""
        kept = [line for line in self.progress() if line.get("evaluations", 0) <= evaluations]
        self.location.write("progress.jsonl", "".join(json.dumps(line) + "\n" for line in kept).encode())

    def _table(self, name: str) -> pd.DataFrame | None:
        if not self.location.exists(name):
            return None
        with self._whole(name):
            return from_parquet(self.location.read(name))

    @contextlib.contextmanager
    def _whole(self, name: str) -> Iterator[None]:
        """Raises BadInput where a file of the run cannot be read for what it is."""
        try:
            yield
        except (ValueError, KeyError, EOFError, zipfile.BadZipFile, pa.ArrowException) as error:
            rule = f"must be a whole {name.rpartition('.')[2]} file"
            remedy = "copy the file back, or sweep anew with another --out"
            raise BadInput([Fault(name, rule, "one that is damaged", str(self.location), remedy)]) from error

    @contextlib.contextmanager
    def locked(self) -> Iterator[None]:
        """Keep every other sweep out of the folder. The lock of a process that has died on this host is taken over."""
        own = {"pid": os.getpid(), "host": socket.gethostname(), "began": _began(os.getpid())}
        content = json.dumps(own).encode()
        while not self.location.create("lock", content):
            holder = self._holder()
            if holder is None:
                continue
            if holder.get("host") != own["host"] or _alive(holder):
                raise BadInput([
                    Fault(
                        f"{self.location}",
                        "must not be written by two sweeps at once",
                        f"a lock of process {holder.get('pid')} on {holder.get('host')}",
                        f"{self.location}/lock",
                        "wait for it, give another --out, or delete the lock if that process is gone",
                    )
                ])
            self._take_over()
        try:
            yield
        finally:
            self.location.remove("lock")

    def _holder(self) -> dict[str, Any] | None:
        try:
            return dict(json.loads(self.location.read("lock")))
        except FileNotFoundError:
            return None
        except (ValueError, TypeError):  # cut in the writing
            return {"host": socket.gethostname(), "pid": 0}

    def _take_over(self) -> None:
        """Remove a stale lock so that of several who try only one succeeds: renaming it works once."""
        aside = self.location.root / f".lock.{os.getpid()}.tmp"
        with contextlib.suppress(FileNotFoundError):
            os.rename(self.location.root / "lock", aside)
            aside.unlink(missing_ok=True)


def open_run(place: str | os.PathLike[str]) -> RunFolder:
    """A folder that holds a run. Raises BadInput where it holds none."""
    folder = RunFolder(Location.at(place))
    if not folder.location.exists("run.json"):
        raise BadInput([Fault("RUN", "must be the folder of a run", str(place), "", "give what --out of the sweep was")])
    return folder


def from_parquet(content: bytes) -> pd.DataFrame:
    """A table from Parquet. Without threads: one that lets go of a Python object late aborts the process as it ends."""
    return pq.ParquetFile(pa.BufferReader(content), pre_buffer=False).read(use_threads=False).to_pandas(use_threads=False)


def to_parquet(table: pd.DataFrame, facts: Mapping[str, str]) -> bytes:
    """A table as Parquet: unit and meaning with each column, ``facts`` and the package's version with the whole."""
    arrays, fields = [], []
    for name, column in table.items():
        array = _arrow(column)
        unit, meaning = described(str(name))
        arrays.append(array)
        fields.append(pa.field(str(name), array.type, metadata={"unit": unit, "meaning": meaning}))
    schema = pa.schema(fields, metadata={**facts, "version": versions()["wheelfront"]})
    buffer = io.BytesIO()
    words = [field.name for field in fields if pa.types.is_string(field.type)]
    pq.write_table(pa.Table.from_arrays(arrays, schema=schema), buffer, compression="zstd", use_dictionary=words)
    return buffer.getvalue()


def _arrow(column: pd.Series) -> pa.Array:
    if column.dtype.kind in "biuf":  # a tenth of the time of asking pandas what it is
        return pa.array(column.to_numpy())
    return pc.fill_null(pa.array(column, type=pa.string(), from_pandas=True), "")


@cache
def versions() -> Mapping[str, str]:
    """Versions of the packages that a result depends on."""
    found = {}
    for package in PACKAGES:
        try:
            found[package] = version(package)
        except PackageNotFoundError:
            found[package] = "unknown"
    return found


def _alive(holder: Mapping[str, Any]) -> bool:
    try:
        pid = int(holder["pid"])
        os.kill(pid, 0)
    except PermissionError:
        return True
    except (OSError, KeyError, ValueError, OverflowError):
        return False
    # a number that was given to another process since began at another moment
    return pid > 0 and _began(pid) == holder.get("began")


def _began(pid: int) -> str:
    """When a process began, in the system's own count; empty where the system does not tell."""
    try:
        return Path(f"/proc/{pid}/stat").read_text().rsplit(")", 1)[1].split()[19]
    except (OSError, IndexError):
        return ""
