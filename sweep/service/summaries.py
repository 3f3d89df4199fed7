"""What the service tells of runs and builds, and how it says no."""

from __future__ import annotations

from dataclasses import dataclass

STARTING, SEARCHING, SCORING = "starting", "searching", "scoring the front again"
STOPPED, FINISHED, FAILED, DAMAGED = "stopped", "finished", "failed", "damaged"
#: states of a run whose process is at work
AT_WORK = (STARTING, SEARCHING, SCORING)
NONE, BUILDING, DONE = "none", "building", "done"


@dataclass(frozen=True)
class RunSummary:
    """A run as it stands."""

    name: str  # of its folder below the results folder
    study: str  # the study's own name
    state: str  # starting, searching, scoring the front again, stopped, finished, failed or damaged
    evaluations: int
    planned: int  # evaluations, 0 where not known yet
    feasible: int
    front_size: int
    hypervolume: float | None
    rate_per_s: float | None  # evaluations, while searching
    seconds_left: float | None
    began: str | None  # ISO time
    message: str  # empty, or why it failed or what to do, in a line
    stage: str  # as the sweep tells it

    @property
    def at_work(self) -> bool:
        return self.state in AT_WORK


@dataclass(frozen=True)
class BuildSummary:
    """The build of a design as it stands."""

    design: str
    state: str  # none, building, done or failed
    share: float  # of its stages that are over, 0 to 1
    message: str
    proof_holds: bool | None  # None while there is no build
    files: tuple[str, ...]  # names below the build's folder


@dataclass(frozen=True)
class Kept:
    """An entry of a run's shortlist."""

    design: str
    note: str


class NotThere(Exception):  # noqa: N818
    """A run, design, build or file that there is none of. The message says which, and what there is."""


class NotNow(Exception):  # noqa: N818
    """What cannot be done as things stand. The message says why and what to do."""
