"""A study: one TOML file that says which robot the wheel is for, what may be built and how to search."""

from __future__ import annotations

import hashlib
import json
import os
import re
import tomllib
import unicodedata
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from objectives.scenario import Robot, Scenario
from objectives.scoring import COLUMNS, NOT_LIMITED
from objectives.units import MM
from sweep.errors import BadInput, Fault
from sweep.reading import LARGEST_STUDY, Faults, Table, read_text, show
from sweep.space import Domain, Space, space
from sweep.space_table import read_baseline, read_space
from sweep.study_catalogue import read_catalogue
from sweep.study_tables import (
    Search,
    read_battery,
    read_build,
    read_demand,
    read_duty,
    read_limits,
    read_printer,
    read_robot,
    read_search,
    read_supply,
)
from sweep.unknowns import Uncertainty, read_uncertainty

LONGEST_NAME = 80
WHERE_IT_FAILED = re.compile(r" \(at ([^)]*)\)$")


@dataclass(frozen=True)
class Study:
    """A study, read and found sound. ``text`` is the file as it stands; ``notes`` tell what was assumed."""

    name: str
    path: str
    text: str
    scenario: Scenario
    space: Space
    search: Search
    baseline: Mapping[str, str | float | int] | None
    uncertainty: Uncertainty
    notes: tuple[str, ...]
    hash: str

    @property
    def slug(self) -> str:
        """The name of the folder that a run of this study writes into, unless it is told another."""
        return slug(self.name) or f"study-{self.hash[:10]}"


def load_study(path: str | os.PathLike[str]) -> Study:
    """Read and validate a study. Raises BadInput with every fault found."""
    return read_study(read_text(path, "study", LARGEST_STUDY), str(path))


def read_study(text: str, path: str = "study.toml") -> Study:
    """A study from its text; ``path`` is what messages name."""
    content = _parse(text, path)
    faults = Faults(path)
    top = Table(content, "", faults, "top level")
    notes: list[str] = []

    name = top.text("name", default=Path(path).stem or "study")
    if len(name) > LONGEST_NAME:
        top.fault("name", f"must have at most {LONGEST_NAME} characters", str(len(name)), "shorten it")
    catalogue = read_catalogue(top)
    if "robot" in top:
        robot = read_robot(top.table("robot"), catalogue, notes)
    else:
        top.asked.add("robot")
        robot = None
        top.fault("robot", "must be given, a table that says what the wheel is for", remedy="add [robot] with its kind")
    build = read_build(top.table("build"), catalogue)
    printer = read_printer(top.table("printer"), build)
    battery = read_battery(top.table("battery"), given="battery" in top)
    voltage = read_supply(top.table("supply"))
    duty, demand = read_duty(top.tables("duty")), read_demand(top.tables("demand"))
    limits = read_limits(top.table("limits"), set(COLUMNS) - NOT_LIMITED)
    domains = read_space(top.table("space"), catalogue)
    baseline = read_baseline(top.table("baseline"), catalogue, domains) if "baseline" in top else None
    uncertainty = read_uncertainty(top.table("uncertainty"), given="uncertainty" in top)
    search = read_search(top.table("search"))
    _check_height(top, robot, domains)
    top.asked.add("baseline")
    top.finish()
    faults.raise_if_any()
    assert robot is not None  # a study without a robot has a fault

    scenario = Scenario(
        name=name,
        robot=robot,
        supply_voltage=voltage,
        build=build,
        printer=printer,
        catalogue=catalogue,
        duty=duty,
        demand=demand,
        battery_energy=battery,
        limits=limits,
    )
    return Study(
        name=name,
        path=path,
        text=text,
        scenario=scenario,
        space=space(domains, scenario),
        search=search,
        baseline=baseline,
        uncertainty=uncertainty,
        notes=tuple(notes),
        hash=content_hash(content),
    )


def _check_height(top: Table, robot: Robot | None, domains: Mapping[str, Domain]) -> None:
    """A body balances only with its centre of mass above the axle that it turns about."""
    diameter = domains["wheel_diameter_mm"].least
    if robot is not None and robot.kind == "balancing" and robot.centre_of_mass_height <= diameter / 2 * MM:
        top.table("robot").fault(
            "centre_of_mass_height_m", "must lie above the wheel's axle", f"{robot.centre_of_mass_height:g}",
            f"give a height above {diameter / 2 * MM:g} m, or smaller wheels in [space]",
        )


def content_hash(content: Mapping[str, object]) -> str:
    """sha256 of what a study says, whatever the order of its keys, its comments and the way its numbers are written.

    >>> content_hash({"a": 1, "b": 2.0}) == content_hash({"b": 2, "a": 1.0})
    True
    """
    return hashlib.sha256(json.dumps(_same(content), sort_keys=True, ensure_ascii=True).encode()).hexdigest()


def _same(value: object) -> object:
    if isinstance(value, dict):
        return {key: _same(entry) for key, entry in value.items()}
    if isinstance(value, list):
        return [_same(entry) for entry in value]
    return float(value) if isinstance(value, int) and not isinstance(value, bool) else value


def slug(name: str) -> str:
    """A name that is safe as a folder's: letters without accents, digits, dots, dashes and underscores.

    >>> slug("greenhouse scout"), slug("../etc"), slug("Prüfstand v1.2")
    ('greenhouse-scout', 'etc', 'Prufstand-v1.2')
    """
    ascii_name = unicodedata.normalize("NFKD", name).encode("ascii", "ignore").decode()
    return re.sub(r"[^A-Za-z0-9._-]+", "-", ascii_name).strip("-._")


def _parse(text: str, path: str) -> dict[str, object]:
    try:
        content = tomllib.loads(text)
    except (ValueError, RecursionError) as error:  # ValueError: TOML syntax, or an integer of thousands of digits
        message = "nested too deeply" if isinstance(error, RecursionError) else str(error)
        place = WHERE_IT_FAILED.search(message)
        where = f"{path}, {place.group(1)}" if place else path
        rule = f"must be TOML: {WHERE_IT_FAILED.sub('', message)}"
        raise BadInput([Fault("study", rule, "", where, "look at that line and the one before it")]) from error
    if not content:
        raise BadInput([Fault("study", "must not be empty", show(text.strip()), path, "add [robot] at least")])
    return content
