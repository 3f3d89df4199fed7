"""The designs of a run that were chosen to be looked at: ``shortlist.json`` in its folder."""

from __future__ import annotations

import json
import threading
from pathlib import Path

from sweep.errors import BadInput, Fault
from sweep.location import replace_file
from sweep.service.limits import Limits
from sweep.service.names import DESIGN, can_be_written, fits
from sweep.service.summaries import Kept

FILE = "shortlist.json"
#: a sweep that begins removes what looks like the rest of a killed write: one that was just under way is repeated
TRIES = 3


class Shortlists:
    """Shortlists of runs; one thread writes at a time, readers never see half of one."""

    def __init__(self, limits: Limits) -> None:
        self._limits, self._mutex = limits, threading.Lock()

    def read(self, folder: Path) -> list[Kept]:
        """Empty where there is none, or none that can be read."""
        try:
            found = json.loads((folder / FILE).read_bytes())
            kept = [Kept(str(entry["design"]), str(entry["note"])) for entry in found]
        except (OSError, ValueError, TypeError, KeyError):
            return []
        return [entry for entry in kept if fits(DESIGN, entry.design)][: self._limits.kept]

    def write(self, folder: Path, kept: list[Kept]) -> None:
        """Raises BadInput where there are too many, one twice, or a note is too long."""
        limits, faults = self._limits, []
        if len(kept) > limits.kept:
            remedy = "take one off first"
            faults.append(Fault("shortlist", f"must hold at most {limits.kept} designs", str(len(kept)), "", remedy))
        seen: set[str] = set()
        for entry in kept:
            if not fits(DESIGN, entry.design) or entry.design in seen:
                rule = "must be a design's id, each once"
                faults.append(Fault("design", rule, repr(entry.design[:50]), "", "take it from the front"))
            if len(entry.note) > limits.note or not can_be_written(entry.note):
                rule = f"must be text of at most {limits.note} characters"
                faults.append(Fault("note", rule, str(len(entry.note)), entry.design[:50], "shorten it"))
            seen.add(entry.design)
        if faults:
            raise BadInput(faults)
        content = json.dumps([{"design": entry.design, "note": entry.note} for entry in kept], indent=1) + "\n"
        with self._mutex:
            for left in reversed(range(TRIES)):
                try:
                    replace_file(folder / FILE, content.encode())
                    return
                except FileNotFoundError:
                    if not left:
                        raise
