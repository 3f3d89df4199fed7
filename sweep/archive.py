"""A run's folder: what is stored where, so that a kill at any moment leaves every file whole and the run resumable."""

from __future__ import annotations

import contextlib
import io
import json
import os
import zipfile
import zlib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, fields
from functools import cache, lru_cache
from importlib.metadata import PackageNotFoundError, version
from typing import Any

import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.compute as pc
import pyarrow.parquet as pq

from sweep.columns import described
from sweep.errors import BadInput, Fault
from sweep.location import Location
from sweep.population import Population

PACKAGES = ("wheelfront", "numpy", "pandas", "pyarrow", "numba", "optuna", "moocore")
#: what run.json says from the beginning
NEEDED = {"study", "study_hash", "state"}


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
                arrays |= {f"{kind}_{island}_{part.name}": getattr(population, part.name) for part in fields(Population)}
        buffer = io.BytesIO()
        np.savez(buffer, **arrays)  # type: ignore[arg-type]
        return buffer.getvalue()

    @staticmethod
    def unpack(content: bytes) -> State:
        with np.load(io.BytesIO(content), allow_pickle=False) as arrays:
            facts = json.loads(bytes(arrays["facts"]))
            both = [
                tuple(_population(arrays, f"{kind}_{island}") for island in range(facts["islands"]))
                for kind in ("population", "emigrants")
            ]
        bounds = None if facts["bounds"] is None else (facts["bounds"][0], facts["bounds"][1])
        told = (facts[name] for name in ("epoch", "evaluations", "feasible", "broken", "failed"))
        epoch, evaluations, feasible, broken, failed = told
        return State(epoch, evaluations, feasible, both[0], both[1], bounds, broken, failed)


def _population(arrays: Mapping[str, np.ndarray], name: str) -> Population:
    """A packed population. A run that an older version began stored no slacks and has no model to need them."""
    genes, costs, violation = (arrays[f"{name}_{part}"] for part in ("genes", "costs", "violation"))
    slacks = f"{name}_slacks"
    return Population(genes, costs, violation, arrays[slacks] if slacks in arrays else np.empty((len(genes), 0)))


@dataclass(frozen=True)
class RunFolder:
    """The files of a run."""

    location: Location

    def about(self) -> dict[str, Any] | None:
        """What run.json says; None where there is none."""
        if not self.location.exists("run.json"):
            return None
        content = self.location.read("run.json")
        with self._whole("run.json"):
            about = json.loads(content)
            if not set(about) >= NEEDED:
                raise KeyError
            return about

    def write_about(self, about: Mapping[str, Any]) -> None:
        self.location.write("run.json", (json.dumps(about, indent=2, allow_nan=False) + "\n").encode())

    def study_text(self) -> str:
        content = self.location.read("study.toml")
        with self._whole("study.toml"):
            return content.decode()

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
            content = self.location.read(name)
            with self._whole(name):
                island, epoch = (int(piece.split("=")[1].split(".")[0]) for piece in name.split("/")[1:])
                part = from_parquet(content)
            yield part.assign(island=island, epoch=epoch)

    def state(self) -> State | None:
        name = "state/populations.npz"
        if not self.location.exists(name):
            return None
        content = self.location.read(name)
        with self._whole(name):
            return State.unpack(content)

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
        content = self.location.read(name)
        with self._whole(name):
            return from_parquet(content)

    def locked(self) -> contextlib.AbstractContextManager[None]:
        """Keep every other sweep out of the folder."""
        return self.location.locked()

    @contextlib.contextmanager
    def _whole(self, name: str) -> Iterator[None]:
        """Raises BadInput where what was read of a file cannot be taken for what it is."""
        try:
            yield
        except (ValueError, KeyError, TypeError, EOFError, OSError, zipfile.BadZipFile, zlib.error, pa.ArrowException) as error:
            rule = f"must be a whole {name.rpartition('.')[2]} file"
            remedy = "copy the file back, or sweep anew with another --out"
            raise BadInput([Fault(name, rule, "one that is damaged", str(self.location), remedy)]) from error


def open_run(place: str | os.PathLike[str]) -> RunFolder:
    """A folder that holds a run. Raises BadInput where it holds none."""
    folder = RunFolder(Location.at(place, "RUN"))
    if not folder.location.exists("run.json"):
        remedy = "give what --out of the sweep was"
        raise BadInput([Fault("RUN", "must be the folder of a run", str(folder.location), "", remedy)])
    return folder


def from_parquet(content: bytes) -> pd.DataFrame:
    """A table from Parquet. Without threads: one that lets go of a Python object late aborts the process as it ends."""
    return pq.ParquetFile(pa.BufferReader(content), pre_buffer=False).read(use_threads=False).to_pandas(use_threads=False)


def to_parquet(table: pd.DataFrame, facts: Mapping[str, str]) -> bytes:
    """A table as Parquet: unit and meaning with each column, ``facts`` and the package's version with the whole."""
    arrays = [_arrow(column) for _, column in table.items()]
    schema = _schema(tuple(map(str, table.columns)), tuple(array.type for array in arrays))
    schema = schema.with_metadata({**facts, "version": versions()["wheelfront"]})
    buffer = io.BytesIO()
    words = [field.name for field in schema if pa.types.is_string(field.type)]
    pq.write_table(pa.Table.from_arrays(arrays, schema=schema), buffer, compression="snappy", use_dictionary=words)
    return buffer.getvalue()


@lru_cache(maxsize=16)  # parts of a run have the same columns
def _schema(names: tuple[str, ...], types: tuple[pa.DataType, ...]) -> pa.Schema:
    told = [dict(zip(("unit", "meaning"), described(name), strict=True)) for name in names]
    return pa.schema([pa.field(*of, metadata=words) for *of, words in zip(names, types, told, strict=True)])


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
