"""What the documents show of the program's output, and a command that writes it into them anew.

``python -m tests.examples`` sweeps the first shipped study into a temporary folder as the README's first command does, and
replaces the README's blocks of output and its table of variables, and the table of columns in results/README.md. Run it from
the project's folder after any change that moves numbers, words or columns.
"""

from __future__ import annotations

import math
import os
import re
import subprocess
import sys
import tempfile
from pathlib import Path

from objectives.catalogue import shipped
from objectives.scoring import COLUMNS
from objectives.variables import CHOICE, VARIABLES, Variable
from sweep.columns import described
from sweep.meaning import options
from sweep.unknowns import FLOOR_CONDITION, FLOOR_SHARES, UNKNOWNS, meaning_of

ROOT = Path(__file__).parent.parent
STUDY = "studies/balancing.toml"
EVALUATIONS = "12000"
#: what the README lists of the run once it was scored over samples
SURE = ("--where", "share_holding > 0.85", "--sort", "slip_margin_p05", "--top", "3")
LEFT_OUT = "..."
BLOCK = re.compile(r"(?<=^```text\n).*?(?=^```$)", re.DOTALL | re.MULTILINE)
VARIABLE_HEAD = "| variable | shipped range | meaning |"
UNKNOWN_HEAD = "| unknown | default | meaning |"
COLUMN_HEAD = "| column | unit | meaning |"


def shown_range(variable: Variable) -> str:
    if variable.kind != CHOICE:
        return f"{variable.low:g} to {variable.high:g}"
    if variable.names and variable.name != "bore":
        some = {"motor": "any motor", "output_tyre": "any tyre", "hub_tyre": "any tyre or print material"}
        return some[variable.name] + " of the catalogue"
    return ", ".join(f"{option}" for option in variable.choices or options(variable, shipped()))


def variable_rows() -> list[str]:
    return [f"| `{v.name}` | {shown_range(v)} | {v.meaning} |" for v in VARIABLES]


def unknown_rows() -> list[str]:
    rows = []
    for entry in UNKNOWNS:
        unit = "" if math.isnan(entry.shipped.absolute) else " " + described(entry.name)[0]
        rows.append(f"| `{entry.name}` | {entry.shipped}{unit} | {entry.meaning} ({entry.source}) |")
    shares = ", ".join(f"{100 * share:g} % {state}" for state, share in FLOOR_SHARES.items())
    floor = f"{meaning_of(FLOOR_CONDITION)} (common practice for a swept floor indoors)"
    return [*rows, f"| `{FLOOR_CONDITION}` | {shares} | {floor} |"]


def column_rows() -> list[str]:
    rows = []
    for name in COLUMNS:
        unit, meaning = described(name)
        escaped = meaning.replace("|", "\\|")
        rows.append(f"| `{name}` | {'-' if unit in ('', '1') else unit} | {escaped} |")
    return rows


def section(lines: list[str], title: str, most: int = 1000) -> list[str]:
    """The part of some output under a title, up to the next empty line; dots where more than ``most`` lines follow."""
    start = next(i for i, line in enumerate(lines) if line.startswith(title))
    end = next((i for i in range(start, len(lines)) if not lines[i]), len(lines))
    part = lines[start:end]
    return part[:most] + [LEFT_OUT] * (len(part) > most) + [""]


def check_example(lines: list[str]) -> list[str]:
    return [
        lines[0],
        "",
        *section(lines, "Robot"),
        *section(lines, "Load cases"),
        *section(lines, "Constraints, room", 9),
        *section(lines, "Cautions", 3),
    ]


def sheet_example(lines: list[str]) -> list[str]:
    return [
        lines[0],
        "",
        *section(lines, "Objectives"),
        *section(lines, "Limits at the floor"),
        *section(lines, "Load cases", 6),
        *section(lines, "Losses over", 6),
        *section(lines, "Constraints, tightest", 6),
        *section(lines, "What moves each", 6),
        *section(lines, "Setting the preload"),
        *section(lines, "Control card"),
        *section(lines, "Validity"),
    ]


def matter_example(lines: list[str]) -> list[str]:
    return [lines[0], "", *section(lines, "What to do first"), *section(lines, "Share of each")]


def _output(*words: str) -> list[str]:
    """Lines that a command prints on a pipe."""
    environment = {name: value for name, value in os.environ.items() if name != "COLUMNS"}
    command = [sys.executable, "-m", "sweep.cli", *words]
    done = subprocess.run(command, cwd=ROOT, env=environment, check=True, capture_output=True, text=True)
    return [line.rstrip() for line in done.stdout.splitlines()]


def _table(text: str, head: str, rows: list[str]) -> str:
    """The text with the rows of the table under ``head`` replaced."""
    start = text.index(head)
    end = text.index("\n\n", start) if "\n\n" in text[start:] else len(text)
    return text[:start] + "\n".join([head, "|---|---|---|", *rows]) + (text[end:] or "\n")


def main() -> None:
    from tests.bench_examples import write_chapter

    with tempfile.TemporaryDirectory() as folder:
        write_chapter(folder, STUDY, EVALUATIONS, _output, section)
        run = str(Path(folder) / "run")
        command = [sys.executable, "-m", "sweep.cli", "sweep", STUDY, "--evaluations", EVALUATIONS, "--out", run]
        subprocess.run(command, cwd=ROOT, check=True)
        wishes = ("--where", "mass_kg < 1.6 and bore == plain", "--sort", "slip_margin", "--top", "3")
        shown = [
            check_example(_output("check", STUDY)),
            _output("score", STUDY),
            _output("front", run),
            _output("front", run, *wishes),
            sheet_example(_output("sheet", run, "knee")),
            matter_example(_output("matter", run, "knee")),
        ]
        subprocess.run([*command, "--resume", "--uncertainty"], cwd=ROOT, check=True)
        shown.append(_output("front", run, *SURE))
    readme = ROOT / "README.md"
    written = iter("\n".join(lines).strip("\n") + "\n" for lines in shown)
    text = BLOCK.sub(lambda old: next(written, old.group()), readme.read_text(encoding="utf-8"))
    text = _table(_table(text, VARIABLE_HEAD, variable_rows()), UNKNOWN_HEAD, unknown_rows())
    readme.write_text(text, encoding="utf-8")
    results = ROOT / "results" / "README.md"
    results.write_text(_table(results.read_text(encoding="utf-8"), COLUMN_HEAD, column_rows()), encoding="utf-8")


if __name__ == "__main__":
    main()
