"""A service over runs that cost little, called in this process."""

from __future__ import annotations

import json
import shutil
import subprocess
import sys
from pathlib import Path
from typing import Any

import pandas as pd
import pytest
from fastapi.testclient import TestClient

from sweep.runner import run
from sweep.service.app import create_app
from sweep.service.desk import Desk, Limits
from sweep.service.processes import Processes
from tests.problems import toy_score, toy_study

#: what a test server goes by
BASE = "http://localhost"
TOKEN = "an-invented-token-of-some-length"
BUILT = {
    "design": "d0123456789", "holds": True, "versions": {}, "study_hash": "", "files": ["build.json", "coupon/coupon.md"],
    "proofs": [{"name": "mass", "holds": True}], "geometry": {"failures": []},
}  # fmt: skip


def toy_run(place: Path, name: str = "toy") -> Path:
    """A finished run of the toy, below a results folder."""
    run(toy_study(name, evaluations=300, islands=1), place / name, score=toy_score)
    return place / name


def client(desk: Desk, token: str | None = None, **more: Any) -> TestClient:
    return TestClient(create_app(desk, token=token, page=False), base_url=BASE, follow_redirects=False, **more)


def desk_over(results: Path, **limits: Any) -> Desk:
    return Desk(results, limits=Limits(**limits))


def copied(run_folder: Path, results: Path, name: str, **about: Any) -> Path:
    """A copy of a run under another name, with other facts in its run.json."""
    place = results / name
    shutil.copytree(run_folder, place)
    told = json.loads((place / "run.json").read_text())
    (place / "run.json").write_text(json.dumps({**told, **about}))
    return place


def front_of(run_folder: Path) -> pd.DataFrame:
    return pd.read_parquet(run_folder / "front.parquet")


def waiting_process() -> subprocess.Popen[bytes]:
    """A process that waits, in the place of a sweep."""
    return subprocess.Popen([sys.executable, "-c", "import time; time.sleep(60)"])


def built(run_folder: Path, **about: object) -> Path:
    place = run_folder / "builds" / "d0123456789"
    (place / "coupon").mkdir(parents=True)
    (place / "coupon/coupon.md").write_text("# Coupon")
    (place / "unlisted.txt").write_text("not part of it")
    (place / "build.json").write_text(json.dumps({**BUILT, **about}))
    return place


class NoProcesses:
    """Takes the place of ``Processes.start``: remembers what would have been started."""

    def __init__(self, patch: pytest.MonkeyPatch) -> None:
        self.started: list[list[str]] = []
        patch.setattr(Processes, "start", self._start)

    def _start(self, arguments: list[str], where: Path, log: Path, record: Path, facts: dict[str, Any]) -> None:
        from sweep.service.processes import write_record

        self.started.append(arguments)
        write_record(record, {**facts, "pid": 0, "host": "nowhere", "began": "", "started": "2026-11-26T10:00:00+00:00"})
