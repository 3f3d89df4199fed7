"""The README's chapter about the bench: what its commands print, written into it anew by ``python -m tests.examples``."""

from __future__ import annotations

import re
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

ROOT = Path(__file__).parent.parent
FITTED = "studies/balancing_fitted.toml"
CALIBRATE = ("calibrate", "studies/balancing.toml", "studies/bench_balancing.csv", "--out", FITTED, "--overwrite")
IMPROVE = ("improve", FITTED, "--keep", "carrier,output_roller", "--changes", "2")

Section = Callable[..., list[str]]
Output = Callable[..., list[str]]


def calibrate_example(lines: list[str], section: Section) -> list[str]:
    return [
        lines[0],
        "",
        *section(lines, "Parameters"),
        *section(lines, "Readings", 16),
        *section(lines, "How far"),
        *section(lines, "The wheel that was measured"),
    ]


def improve_example(lines: list[str], section: Section) -> list[str]:
    start = next(i for i, line in enumerate(lines) if not line)
    return [*lines[:start], "", *section(lines, "The wheel as it is"), *section(lines, "What changes", 16)]


def replaced(text: str, command: str, lines: list[str]) -> str:
    """The text with the block of output replaced that follows the block of a command."""
    at = text.index(f"wheelfront {command} ", text.index("## From first guess"))
    start = text.index("```text\n", at) + len("```text\n")
    end = re.compile(r"^```$", re.MULTILINE).search(text, start)
    assert end is not None
    return text[:start] + "\n".join(lines).strip("\n") + "\n" + text[end.start() :]


def write_chapter(folder: str, study: str, evaluations: str, output: Output, section: Section) -> None:
    """Write the fitted study anew, then the README's chapter; sweeps both studies into ``folder``."""
    readme = ROOT / "README.md"
    text = replaced(readme.read_text(encoding="utf-8"), "calibrate", calibrate_example(output(*CALIBRATE), section))
    text = replaced(text, "improve", improve_example(output(*IMPROVE), section))
    runs = []
    for number, path in enumerate((study, FITTED)):
        runs.append(str(Path(folder) / f"bench{number}"))
        command = [sys.executable, "-m", "sweep.cli", "sweep", path, "--evaluations", evaluations, "--out", runs[-1]]
        subprocess.run(command, cwd=ROOT, check=True)
    readme.write_text(replaced(text, "compare", output("compare", *runs)), encoding="utf-8")
