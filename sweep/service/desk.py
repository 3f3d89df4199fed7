"""What the service can do, without HTTP: the page and the routes both work through it."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

from sweep.errors import BadInput, Fault
from sweep.service.builds import Builds
from sweep.service.cache import Cache
from sweep.service.limits import Limits
from sweep.service.names import STUDY, check_design, fits
from sweep.service.processes import Processes
from sweep.service.runs import BASELINE, KNEE, Runs
from sweep.service.sheets import Sheets
from sweep.service.shortlist import Shortlists
from sweep.service.summaries import BuildSummary, Kept, NotNow, NotThere, RunSummary
from sweep.service.sweeps import Sweeps
from sweep.service.tables import chosen, encoded

if TYPE_CHECKING:
    import pandas as pd

    from sweep.study import Study

__all__ = ["BuildSummary", "Desk", "Kept", "Limits", "NotNow", "NotThere", "RunSummary"]

STUDIES = Path(__file__).parent.parent.parent / "studies"
#: encoded fronts that are kept, a megabyte or a few each
ENCODED = 8


class Desk:
    """Studies, runs, fronts, sheets and builds of one results folder.

    All methods are synchronous and may be called from any thread. Those that say "slow" take seconds: call them off the event
    loop. A design is named by its id, ``baseline`` or ``knee``. Raises NotThere for what there is not, NotNow for what cannot
    be done now, BadInput for bad input.
    """

    def __init__(self, results: Path, *, limits: Limits | None = None) -> None:
        results.mkdir(parents=True, exist_ok=True)
        self.results, self.limits = results.resolve(), limits or Limits()
        self._processes = processes = Processes()
        self._runs = Runs(self.results)
        self._sweeps = Sweeps(self._runs, processes, self.limits)
        self._builds = Builds(self._runs, processes, self.limits)
        self._sheets = Sheets(self._runs, self.limits)
        self._shortlists = Shortlists(self.limits)
        self._encoded: Cache[bytes] = Cache(ENCODED)

    def close(self) -> None:
        """End the processes that work out sheets. Sweeps and builds go on."""
        self._sheets.close()

    def runs(self) -> list[RunSummary]:
        """All runs, the newest first. Cheap."""
        self._processes.reap()
        return self._runs.all()

    def run(self, name: str) -> RunSummary:
        return self._runs.summary(name)

    def progress(self, name: str) -> list[dict[str, Any]]:
        """Lines of progress.jsonl, the oldest first: evaluations, epoch, feasible, front, hypervolume, seconds."""
        return self._runs.progress(name)

    def version(self, name: str) -> str:
        """A text that changes whenever front, progress, state or shortlist of a run do. Cheap."""
        return self._runs.version(name)

    def front(self, name: str) -> pd.DataFrame:
        """The front with all columns; empty before the first epoch has ended. Shared: do not change it."""
        return self._runs.front(name)

    def front_as(
        self,
        name: str,
        kind: str,
        *,
        where: str | None = None,
        sort: str | None = None,
        top: int | None = None,
        columns: list[str] | None = None,
    ) -> bytes:
        """The front, or some of it, as "json", "csv", "parquet" or "arrow"."""

        def make() -> bytes:
            return encoded(chosen(self.front(name), where, sort, top, columns), kind, self._facts(name))

        if (where, sort, top, columns) == (None, None, None, None):
            return self._encoded.get((name, kind), self._runs.front_stamp(name), make)
        return make()

    def baseline(self, name: str) -> pd.Series | None:
        """The baseline as the run scored it, None where its study has none or it is not scored yet."""
        return self._runs.baseline(name)

    def design(self, name: str, design: str) -> pd.Series:
        """A design of the front, the baseline, or what else the search kept: all columns."""
        return self._runs.design(name, design)

    def study(self, name: str) -> Study:
        """The study as it runs."""
        return self._runs.study(name)

    def study_text(self, name: str) -> str:
        return self._runs.study_text(name)

    def shipped_studies(self) -> dict[str, str]:
        """Text of each shipped study by its file's name without ending; empty where none are shipped."""
        files = sorted(STUDIES.glob("*.toml")) if STUDIES.is_dir() else []
        return {file.stem: file.read_text(encoding="utf-8") for file in files if fits(STUDY, file.stem)}

    def faults_of(self, text: str) -> list[Fault]:
        """What is wrong with a study; empty where it is sound and within the limits."""
        return self._sweeps.faults_of(text)

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
        return self._sweeps.submit(text, name, evaluations, seed, workers)

    def stop(self, name: str) -> None:
        """Ask a run's process to end. It ends within seconds and keeps what it has."""
        self._sweeps.stop(name)

    def resume(self, name: str, *, evaluations: int | None = None) -> None:
        """Go on with a run that has stopped. ``evaluations`` can only be what the run began with."""
        self._sweeps.resume(name, evaluations)

    def sheet(self, name: str, design: str, kind: str) -> bytes:
        """A design's sheet, ``kind`` "html" or "pdf". Slow the first time."""
        return self._sheets.sheet(name, design, kind)

    def matter(self, name: str, design: str) -> dict[str, Any]:
        """What to measure and what to change first, up to three each. Slow the first time.

        ``measure``: name, how, meaning, spread, weight. ``change``: variable, meaning, from, to, objectives (what the step
        changes each by), nominal. ``share_holding``: share of the samples in which every limit holds.
        """
        return self._sheets.matter(name, design)

    def start_build(self, name: str, design: str) -> None:
        """Start a build in a process of its own. Nothing happens where the design is built already."""
        self._builds.start(name, str(self.design(name, design)["design"]))

    def build(self, name: str, design: str) -> BuildSummary:
        """How far the build of a design is. Cheap."""
        return self._builds.summary(name, self._id(name, design))

    def build_zip(self, name: str, design: str) -> Path:
        """An archive of all files of a build. Takes a second the first time."""
        return self._builds.archive(name, self._id(name, design))

    def build_file(self, name: str, design: str, file: str) -> Path:
        """One file of a build, by its name in ``BuildSummary.files``."""
        return self._builds.file(name, self._id(name, design), file)

    def shortlist(self, name: str) -> list[Kept]:
        """The designs that were chosen to be looked at, six at most."""
        return self._shortlists.read(self._runs.place(name).folder)

    def set_shortlist(self, name: str, kept: list[Kept]) -> None:
        """Replace the shortlist. Raises NotNow while the run has written nothing."""
        self._runs.folder(name)
        self._shortlists.write(self._runs.place(name).folder, kept)

    def _id(self, name: str, design: str) -> str:
        """The whole name of a design that is stored or was built. Raises NotThere."""
        if check_design(design) not in (BASELINE, KNEE) and self._builds.known(name, design):
            return design
        return str(self.design(name, design)["design"])

    def _facts(self, name: str) -> dict[str, Any]:
        try:
            about = self._runs.folder(name).about() or {}
        except (NotNow, BadInput):
            about = {}
        return {"run": name, "study": str(about.get("study") or name), "study_hash": str(about.get("study_hash") or "")}
