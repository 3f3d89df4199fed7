"""What a run's folder is about: its study, and a design of it by name."""

from __future__ import annotations

import pandas as pd

from sweep.archive import RunFolder
from sweep.errors import BadInput, Fault, nearest
from sweep.front import knee
from sweep.study import Study, read_study

BASELINE, KNEE = "baseline", "knee"


def study_of(folder: RunFolder) -> Study:
    """The study as it ran."""
    return read_study(folder.study_text(), folder.location.place_of("study.toml"))


def baseline_of(folder: RunFolder) -> pd.Series | None:
    """The baseline as the run scored it, None where its study has none."""
    table = folder.baseline()
    return None if table is None or not len(table) else table.iloc[0]


def find_design(folder: RunFolder, name: str) -> pd.Series:
    """A stored design by its id or a unique beginning of it, ``baseline`` or ``knee``: all columns as stored.

    Looks at the front, then at the baseline, then at what else the search kept. Raises BadInput.
    """
    front, baseline = folder.front(), baseline_of(folder)
    if name == BASELINE:
        if baseline is None:
            raise _unknown(folder, name, "the study has no [baseline]", "name a design of the front")
        return baseline
    if name == KNEE:
        if front is None or not len(front):
            raise _unknown(folder, name, "the front is empty", "go on with the sweep")
        return front.iloc[knee(front)]
    known: dict[str, pd.Series] = {}
    for table in (front, folder.baseline()):
        _add(known, table, name)
    if not known:
        for part in folder.parts():
            _add(known, part, name)
    if name in known:
        return known[name]
    if len(known) == 1:
        return next(iter(known.values()))
    if known:
        listed = ", ".join(sorted(known)[:8]) + (", ..." if len(known) > 8 else "")
        rule, got = "must be the beginning of one id", f"{name!r}, of {len(known)}"
        raise BadInput([Fault("DESIGN", rule, got, str(folder.location), f"give one of {listed}")])
    ids = [] if front is None else front["design"].astype(str).tolist()
    close = nearest(name, [*ids, BASELINE, KNEE])
    see = f"nearest is {close!r}; " if close else ""
    raise _unknown(folder, name, "it is not stored", f"{see}wheelfront front {folder.location} lists designs")


def _add(known: dict[str, pd.Series], table: pd.DataFrame | None, name: str) -> None:
    if table is None or not name:
        return
    starting = table[table["design"].astype(str).str.startswith(name)]
    for _, row in starting.iterrows():
        known.setdefault(str(row["design"]), row)


def _unknown(folder: RunFolder, name: str, why: str, remedy: str) -> BadInput:
    return BadInput([Fault("DESIGN", f"must be a design of the run, {why}", repr(name), str(folder.location), remedy)])
