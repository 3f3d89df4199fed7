"""A front as JSON, CSV, Parquet or Arrow."""

from __future__ import annotations

import io
import json
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

from sweep.errors import BadInput, Fault, did_you_mean

if TYPE_CHECKING:
    import pandas as pd

MEDIA = {
    "json": "application/json",
    "csv": "text/csv; charset=utf-8",
    "parquet": "application/vnd.apache.parquet",
    "arrow": "application/vnd.apache.arrow.file",
}


def chosen(
    front: pd.DataFrame, where: str | None, sort: str | None, top: int | None, columns: Sequence[str] | None
) -> pd.DataFrame:
    """Rows for which an expression holds, the best first, the first so many, some columns of them. Raises BadInput."""
    from sweep.front_table import rows_asked

    if not len(front):
        return front
    front = rows_asked(front, where, sort, top)
    if columns:
        faults = [
            Fault(name[:80], "is not a column", "", "columns", did_you_mean(name[:80], map(str, front.columns)))
            for name in columns
            if name not in front.columns
        ]
        if faults:
            raise BadInput(faults)
        front = front[list(dict.fromkeys(["design", *columns] if "design" in front else columns))]
    return front


def encoded(front: pd.DataFrame, kind: str, facts: Mapping[str, Any]) -> bytes:
    """A front in a format; ``facts`` stand beside it in JSON, in the schema of Parquet and Arrow, and nowhere in CSV."""
    if kind == "json":
        return as_json(front, facts)
    if kind == "csv":
        return front.to_csv(index=False).encode() if len(front.columns) else b"design\n"
    from sweep.archive import to_parquet

    content = to_parquet(front, {name: str(value) for name, value in facts.items()})
    return content if kind == "parquet" else _arrow(content)


def as_json(front: pd.DataFrame, facts: Mapping[str, Any]) -> bytes:
    """Designs as a list of objects; a number that is missing is null."""
    return json.dumps(
        {**facts, "count": len(front), "columns": columns_of(front), "designs": rows_of(front)}, allow_nan=False
    ).encode()


def columns_of(front: pd.DataFrame) -> dict[str, dict[str, str]]:
    from sweep.columns import described

    return {str(name): dict(zip(("unit", "meaning"), described(str(name)), strict=True)) for name in front.columns}


def rows_of(front: pd.DataFrame) -> list[dict[str, Any]]:
    """Rows for JSON."""
    from sweep.show import plain

    columns = [plain(front[name].tolist()) for name in front.columns]
    names = [str(name) for name in front.columns]
    return [dict(zip(names, row, strict=True)) for row in zip(*columns, strict=True)]


def _arrow(parquet: bytes) -> bytes:
    """The same table in Arrow's file format."""
    import pyarrow as pa
    import pyarrow.ipc as ipc
    import pyarrow.parquet as pq

    table = pq.ParquetFile(pa.BufferReader(parquet), pre_buffer=False).read(use_threads=False)
    stream = io.BytesIO()
    with ipc.new_file(stream, table.schema) as writer:
        writer.write_table(table)
    return stream.getvalue()
