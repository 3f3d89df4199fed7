"""What the service can do, without HTTP: the page and the routes both work through it."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

from sweep.errors import Fault
from sweep.service.limits import Limits
from sweep.service.summaries import BuildSummary, Kept, NotNow, NotThere, RunSummary

if TYPE_CHECKING:
    import pandas as pd

    from sweep.study import Study

__all__ = ["BuildSummary", "Desk", "Kept", "Limits", "NotNow", "NotThere", "RunSummary"]


class Desk:
    """Studies, runs, fronts, sheets and builds of one results folder.

    All methods are synchronous and may be called from any thread. Those that say "slow" take seconds: call them off the event
    loop. A design is named by its id, ``baseline`` or ``knee``. Raises NotThere for what there is not, NotNow for what cannot
    be done now, BadInput for bad input.
    """

    def __init__(self, results: Path, *, limits: Limits | None = None) -> None:
        raise NotImplementedError

    def close(self) -> None:
        """End the process that draws sheets. Sweeps and builds go on."""
        raise NotImplementedError

    def runs(self) -> list[RunSummary]:
        """All runs, the newest first. Cheap."""
        raise NotImplementedError

    def run(self, name: str) -> RunSummary:
        raise NotImplementedError

    def progress(self, name: str) -> list[dict[str, Any]]:
        """Lines of progress.jsonl, the oldest first: evaluations, epoch, feasible, front, hypervolume, seconds."""
        raise NotImplementedError

    def version(self, name: str) -> str:
        """A text that changes whenever front, progress or state of a run do. Cheap."""
        raise NotImplementedError

    def front(self, name: str) -> pd.DataFrame:
        """The front with all columns; empty before the first epoch has ended. Shared: do not change it."""
        raise NotImplementedError

    def baseline(self, name: str) -> pd.Series | None:
        """The baseline as the run scored it, None where its study has none or it is not scored yet."""
        raise NotImplementedError

    def design(self, name: str, design: str) -> pd.Series:
        """A design of the front, the baseline, or what else the search kept: all columns."""
        raise NotImplementedError

    def study(self, name: str) -> Study:
        """The study as it runs."""
        raise NotImplementedError

    def study_text(self, name: str) -> str:
        raise NotImplementedError

    def shipped_studies(self) -> dict[str, str]:
        """Text of each shipped study by its file's name without ending; empty where none are shipped."""
        raise NotImplementedError

    def faults_of(self, text: str) -> list[Fault]:
        """What is wrong with a study; empty where it is sound and within the limits."""
        raise NotImplementedError

    def submit(
        self,
        text: str,
        *,
        name: str | None = None,
        evaluations: int | None = None,
        seed: int | None = None,
        workers: int | None = None,
    ) -> str:
        """Start a sweep in a process of its own; the run's name, made from the study's where none is given."""
        raise NotImplementedError

    def stop(self, name: str) -> None:
        """Ask a run's process to end. It ends within seconds and keeps what it has."""
        raise NotImplementedError

    def resume(self, name: str, *, evaluations: int | None = None) -> None:
        """Go on with a run that has stopped. ``evaluations`` can only be what the run began with."""
        raise NotImplementedError

    def sheet(self, name: str, design: str, kind: str) -> bytes:
        """A design's sheet, ``kind`` "html" or "pdf". Slow the first time."""
        raise NotImplementedError

    def matter(self, name: str, design: str) -> dict[str, Any]:
        """What to measure and what to change first, up to three each. Slow the first time.

        ``measure``: name, how, meaning, spread, weight. ``change``: variable, meaning, from, to, objectives, nominal.
        ``share_holding``: share of the samples in which every limit holds.
        """
        raise NotImplementedError

    def start_build(self, name: str, design: str) -> None:
        """Start a build in a process of its own. Nothing happens where the design is built already."""
        raise NotImplementedError

    def build(self, name: str, design: str) -> BuildSummary:
        """How far the build of a design is. Cheap."""
        raise NotImplementedError

    def build_zip(self, name: str, design: str) -> Path:
        """An archive of all files of a build. Takes a second the first time."""
        raise NotImplementedError

    def build_file(self, name: str, design: str, file: str) -> Path:
        """One file of a build, by its name in ``BuildSummary.files``."""
        raise NotImplementedError

    def shortlist(self, name: str) -> list[Kept]:
        """The designs that were chosen to be looked at, six at most."""
        raise NotImplementedError

    def set_shortlist(self, name: str, kept: list[Kept]) -> None:
        raise NotImplementedError
