"""How much the service takes on at once."""

from __future__ import annotations

import os
from dataclasses import dataclass, field


def processors() -> int:
    """How many processors this process may use."""
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


@dataclass(frozen=True)
class Limits:
    """What one server allows. Whoever wants more uses the command line on the machine itself."""

    body_bytes: int = 1_000_000
    #: of a study; the shipped ones have three kilobytes, and telling what is wrong with a huge one can take minutes
    study_bytes: int = 65_536
    evaluations: int = 1_000_000
    hours: float = 72.0
    islands: int = 64
    phases: int = 1024
    samples: int = 1024
    workers: int = field(default_factory=processors)
    #: at once
    readings: int = 4  # of studies
    sweeps: int = field(default_factory=processors)
    builds: int = 1
    #: requests for sheets that may wait for the one that is drawn
    sheets: int = 8
    #: event streams that may be open
    listeners: int = 200
    #: entries of a shortlist, characters of a note
    kept: int = 6
    note: int = 500
