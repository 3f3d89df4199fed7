"""The documents say what the program does: every command, option, study key, column and module, and its numbers."""

from __future__ import annotations

import io
import re
import shlex
import tomllib
from pathlib import Path
from typing import Any

import pytest
import typer

from objectives.scoring import COLUMNS
from objectives.variables import VARIABLES
from sweep import cli
from sweep.check import check
from sweep.check_text import show_check
from sweep.designs import baseline_designs
from sweep.front_table import show_scores
from sweep.problem import scored, scoring_of
from sweep.reading import Table
from sweep.show import console
from sweep.study import load_study, read_study
from tests.examples import LEFT_OUT, column_rows, unknown_rows, variable_rows

ROOT = Path(__file__).parent.parent
README = (ROOT / "README.md").read_text(encoding="utf-8")
DEVELOPERS = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
RESULTS = (ROOT / "results" / "README.md").read_text(encoding="utf-8")
DOCUMENTS = ("README.md", "DEVELOPERS.md", "CHANGELOG.md", "results/README.md")
SHIPPED = ("studies/balancing.toml", "studies/castered.toml", "studies/balancing_fitted.toml")

REWRITE = "the documents show what the program no longer says; python -m tests.examples writes them anew"

#: nothing of one machine or one registry may stand in what is shipped
ABSOLUTE_PATH = re.compile(r"(?<![\w.\])/*])/(work|root|home|tmp|usr|opt|var|mnt)\b")
HOST = re.compile(
    r"pypi\.org|pythonhosted|--(extra-)?index-url|--find-links|trusted-host|localhost"
    r"|(?<![\d.])(?!127\.0\.0\.1:8730)\d+\.\d+\.\d+\.\d+:\d+"  # but for where the service listens
)
PICTOGRAPH = re.compile("[\u2600-\u27bf\U0001f000-\U0001faff]")


def blocks(language: str, text: str = README) -> list[str]:
    """The fenced blocks of a language."""
    return re.findall(rf"^```{language}\n(.*?)^```$", text, re.DOTALL | re.MULTILINE)


def example_after(command: str) -> list[str]:
    """Lines of the block of output that follows the block of a command; a line of dots stands for what was left out."""
    at = README.index(f"```sh\n{command}")
    lines = blocks("text", README[at:])[0].splitlines()
    return [line.rstrip() for line in lines if line.strip() and line.strip() != LEFT_OUT]


def program() -> dict[str, Any]:
    """The commands by name, as typer built them."""
    return typer.main.get_command(cli.app).commands  # type: ignore[attr-defined]


def test_every_command_option_and_argument_stands_in_the_readme() -> None:
    table = {line.split("`")[1].split()[1]: line for line in README.splitlines() if line.startswith("| `wheelfront ")}
    assert set(table) == set(program())
    for name, command in program().items():
        for parameter in command.params:
            wanted = parameter.opts[0] if parameter.param_type_name == "option" else (parameter.metavar or "").strip("[]")
            assert wanted in table[name], f"{name} {wanted} is not in the README's row of {name}"


def full_study() -> str:
    return next(block for block in blocks("toml") if "[[demand]]" in block)


def test_the_readme_study_is_sound() -> None:
    study = read_study(full_study(), "README.md")
    assert study.scenario.limits
    assert study.uncertainty


@pytest.mark.parametrize("kind", ["balancing", "castered"])
def test_every_study_key_stands_in_the_readme(kind: str, monkeypatch: pytest.MonkeyPatch) -> None:
    asked: set[str] = set()
    finish = Table.finish

    def recording(table: Table) -> None:
        asked.update(table.asked)
        finish(table)

    monkeypatch.setattr(Table, "finish", recording)
    text = full_study()
    if kind == "castered":
        lines = [line for line in text.splitlines() if "balancing only" not in line]
        text = "\n".join(re.sub(r"^# (?=.*castered only)", "", line) for line in lines).replace('"balancing"', '"castered"')
    read_study(text)
    assert len(asked) > 90
    missing = sorted(key for key in asked if not re.search(rf"(?<!\w){re.escape(key)}(?!\w)", README))
    assert missing == []


def test_every_variable_stands_in_the_readme() -> None:
    assert [row for row in variable_rows() if row not in README] == [], REWRITE


def test_every_unknown_stands_in_the_readme() -> None:
    assert [row for row in unknown_rows() if row not in README] == [], REWRITE


def test_every_column_stands_in_the_results_readme() -> None:
    assert [row for row in column_rows() if row not in RESULTS] == [], REWRITE
    known = set(COLUMNS) | {variable.name for variable in VARIABLES} | {"design"}
    listed = re.findall(r"^\| `(\w+)` \|", RESULTS, re.MULTILINE)
    assert [name for name in listed if name not in known] == []


@pytest.mark.parametrize(
    "package", ["objectives", "sweep", "sweep.cad", "sweep.workshop", "sweep.figures", "sweep.page", "sweep.service"]
)
def test_every_module_stands_in_the_map(package: str) -> None:
    chapter = DEVELOPERS[re.search(rf"^### {re.escape(package)}\b(?!\.)", DEVELOPERS, re.MULTILINE).start() :]  # type: ignore[union-attr]
    chapter = chapter[: chapter.index("\n##", 5)]
    modules = {path.name for path in (ROOT / package.replace(".", "/")).glob("*.py")} - {"__init__.py"}
    rows = [line.split("|")[1] for line in chapter.splitlines() if line.startswith("| `")]
    assert set(re.findall(r"`(\w+\.py)`", " ".join(rows))) == modules


@pytest.mark.parametrize("document", DOCUMENTS)
def test_links_lead_somewhere(document: str) -> None:
    path = ROOT / document
    for target in re.findall(r"\]\(([^)#]+)\)", path.read_text(encoding="utf-8")):
        assert (path.parent / target).exists(), f"{document} links to {target}"


def commands() -> list[list[str]]:
    lines = [line for block in blocks("sh") for line in block.splitlines() if line.strip()]
    return [shlex.split(part) for line in lines for part in line.split("&&")]


def test_shell_commands_name_files_that_exist() -> None:
    runs = {f"results/{load_study(ROOT / study).slug}" for study in SHIPPED}
    for words in commands():
        for word in words[1:]:
            if word.startswith("results/"):
                assert word in runs
            elif "/" in word or word.endswith(".txt"):
                assert (ROOT / word).exists(), f"{' '.join(words)} names {word}"


def test_shell_commands_are_commands() -> None:
    known = program()
    ours = [words for words in commands() if Path(words[0]).name == "wheelfront"]
    assert {words[1] for words in ours} == set(known)
    for words in ours:
        known[words[1]].make_context(words[1], words[2:], resilient_parsing=False)


def test_the_check_script_runs_the_readme_tests() -> None:
    script = re.sub(r'["$]', "", (ROOT / ".ci" / "run").read_text(encoding="utf-8"))
    line = next(block for block in blocks("sh") if ".[all]" in block)
    parts = [part.strip().replace(".venv/bin/", "bin/").replace('"', "") for part in line.split("&&")]
    assert parts[0] == "python3 -m venv .venv"
    assert parts[1] in script
    runs = [line.partition(f"timed {parts[2]} ")[2] for line in script.splitlines() if f"timed {parts[2]} " in line]
    assert [line.split(" -n ")[0] for line in runs] == ["-rs -m alone", "-rs -m not alone"]  # all tests, in two parts


def test_the_score_in_the_readme_is_the_program_s() -> None:
    study = load_study(ROOT / "studies/balancing.toml")
    designs = baseline_designs(study)
    assert designs is not None
    out = io.StringIO()
    show_scores(scored(designs, study.search.front_phases, scoring_of(study)), study.scenario, console(out))
    assert out.getvalue().strip()
    said = [line.rstrip() for line in out.getvalue().splitlines() if line.strip()]
    assert example_after("wheelfront score") == said, REWRITE


def test_the_check_in_the_readme_is_the_program_s(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(ROOT)
    out = io.StringIO()
    show_check(check(load_study("studies/balancing.toml")), console(out))
    said = {line.rstrip() for line in out.getvalue().splitlines()}
    shown = example_after("wheelfront check")
    assert len(shown) > 20
    assert [line for line in shown if line not in said] == [], REWRITE


def test_designs_in_the_readme_are_of_one_run() -> None:
    front = example_after("wheelfront front")
    listed = set(re.findall(r"\bd[0-9a-f]{10}\b", "\n".join(front)))
    assert len(listed) > 3
    sheet = re.search(r"^Design (d[0-9a-f]{10}) of", README, re.MULTILINE)
    assert sheet is not None
    assert sheet.group(1) in listed


@pytest.mark.parametrize("name", [*DOCUMENTS, *SHIPPED, ".ci/run", "constraints.txt", "pyproject.toml"])
def test_nothing_of_one_machine_stands_in_what_is_shipped(name: str) -> None:
    text = (ROOT / name).read_text(encoding="utf-8")
    for pattern in (ABSOLUTE_PATH, HOST, PICTOGRAPH):
        assert pattern.search(text.removeprefix("#!/usr/bin/env bash")) is None


def test_paths_and_hosts_are_found() -> None:
    assert ABSOLUTE_PATH.search("see /home/me/wheel")
    assert not ABSOLUTE_PATH.search("results/tmp and .venv/bin")
    assert HOST.search("--index-url x")
    assert HOST.search("at 10.0.0.5:8730")
    assert not HOST.search("at 127.0.0.1:8730")
    assert PICTOGRAPH.search("\u2705")


def test_constraints_pin_versions_and_nothing_else() -> None:
    lines = (ROOT / "constraints.txt").read_text(encoding="utf-8").splitlines()
    assert [line for line in lines if not re.fullmatch(r"[A-Za-z0-9_.-]+==[0-9][A-Za-z0-9.]*", line)] == []
    pinned = {re.sub(r"[-_.]+", "-", line.split("==")[0]).lower() for line in lines}
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    extras = project["optional-dependencies"]
    wanted = [*project["dependencies"], *(entry for name in extras if name != "all" for entry in extras[name])]
    names = {re.sub(r"[-_.]+", "-", re.match(r"[\w.-]+", entry).group()).lower() for entry in wanted}  # type: ignore[union-attr]
    assert names <= pinned


def test_every_kind_of_measurement_stands_in_the_readme() -> None:
    from sweep.workshop.kinds import KINDS

    for kind in KINDS.values():
        tells = ", ".join(f"`{name}`" for name in kind.tells)
        assert f"| `{kind.name}` | {kind.meaning} | {kind.at or '-'} | {tells} |" in README
