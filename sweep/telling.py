"""What the commands share: notes on stderr, an explanation where it takes long, tables written to files that a user named."""

from __future__ import annotations

import contextlib
import sys
import threading
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

from sweep.errors import BadInput, Fault

if TYPE_CHECKING:
    import pandas as pd

    from sweep.study import Study

#: s, after which the wait is explained
PATIENCE = 6.0
ENDINGS = (".csv", ".parquet")


def note(text: str) -> None:
    """Something to know, on stderr. A reader that went away does not end what is at work."""
    try:
        print(text, file=sys.stderr, flush=True)
    except BrokenPipeError:
        from sweep.show import give_up

        give_up(sys.stderr)


@contextlib.contextmanager
def patience() -> Iterator[threading.Timer]:
    """Say why it takes long where it does: the kernels are compiled on their first use."""
    reason = "At work. The first use on a machine compiles the mechanics, which takes a minute or two."
    timer = threading.Timer(PATIENCE, note, [reason])
    timer.daemon = True
    timer.start()
    try:
        yield timer
    finally:
        timer.cancel()


def check_ending(out: Path | None, endings: tuple[str, ...] = ENDINGS) -> None:
    """Raises BadInput where a file to write has an ending that means nothing here."""
    if out is not None and out.suffix.lower() not in endings:
        rule = f"must end in {', '.join(endings[:-1])} or {endings[-1]}" if len(endings) > 1 else f"must end in {endings[0]}"
        raise BadInput([Fault("--out", rule, repr(out.suffix), str(out), "name another file")])


def write_table(table: pd.DataFrame, out: Path, study: Study, phases: int) -> None:
    """Write designs to a .csv or .parquet file, whole or not at all."""
    from sweep.archive import to_parquet
    from sweep.location import write_output

    if out.suffix.lower() == ".csv":
        content = table.to_csv(index=False).encode()
    else:
        content = to_parquet(table, {"study": study.name, "study_hash": study.hash, "phases": str(phases)})
    write_output(out, content)
    note(f"Wrote {len(table)} designs to {out}.")
