"""A run's folder that was not swept: some designs of a study stored as its front."""

from __future__ import annotations

from pathlib import Path

import pandas as pd

from sweep.archive import RunFolder
from sweep.designs import baseline_designs
from sweep.location import LocalFolder
from sweep.problem import scored, scoring_of
from sweep.study import load_study


def stored_run(place: Path, study_path: Path, designs: pd.DataFrame | None = None) -> RunFolder:
    """The designs, or the baseline alone, scored and stored."""
    study = load_study(study_path)
    baseline = baseline_designs(study)
    assert baseline is not None
    folder = RunFolder(LocalFolder(place))
    facts = {"study": study.name, "study_hash": study.hash}
    folder.write_study(study_path.read_text(encoding="utf-8"))
    folder.write_front(scored(baseline if designs is None else designs, 4, scoring_of(study)), facts)
    folder.write_baseline(scored(baseline, 4, scoring_of(study)), facts)
    folder.write_about({"study": study.name, "study_hash": study.hash, "state": "done"})
    return folder
