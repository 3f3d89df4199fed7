"""Calling the command line from tests: in this process, or in one of its own, as a shell would."""

from __future__ import annotations

import contextlib
import io
import os
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path

import pytest

from sweep.cli import main

ROOT = Path(__file__).parent.parent
SHIPPED = ROOT / "studies" / "balancing.toml"
SEARCH = "[search]\nevaluations = {evaluations}\nislands = 1\nseed = 7\nphases = {phases}\nfront_phases = 4\n"


@dataclass(frozen=True)
class Outcome:
    status: int
    out: str
    err: str


def small_study(folder: Path, *changes: tuple[str, str], evaluations: int = 192, phases: int = 2) -> Path:
    """The shipped study of a balancing robot with a short search; ``changes`` replace parts of its text."""
    text = SHIPPED.read_text(encoding="utf-8")
    text = text[: text.index("[search]")] + SEARCH.format(evaluations=evaluations, phases=phases)
    for old, new in changes:
        assert old in text
        text = text.replace(old, new)
    path = folder / "small.toml"
    path.write_text(text, encoding="utf-8")
    return path


def call(*arguments: object) -> Outcome:
    """``wheelfront`` with these arguments, in this process. Not for what runs long or is told by signals."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(sys, "argv", ["wheelfront", *map(str, arguments)])
        out, err, status = io.StringIO(), io.StringIO(), 0
        with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
            try:
                main()
            except SystemExit as ended:
                status = int(ended.code or 0)
    return Outcome(status, out.getvalue(), err.getvalue())


def started(*arguments: object, **environment: str) -> subprocess.Popen[str]:
    """``wheelfront`` in a process of its own."""
    command = [sys.executable, "-m", "sweep.cli", *map(str, arguments)]
    known = {**os.environ, **environment}
    return subprocess.Popen(command, cwd=ROOT, env=known, text=True, stdout=subprocess.PIPE, stderr=subprocess.PIPE)
