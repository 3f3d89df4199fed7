"""The tables [space] and [baseline] of a study: what each variable may be, and a design to beat."""

from __future__ import annotations

import math

from objectives.catalogue import Catalogue
from objectives.variables import CHOICE, INTEGER, VARIABLES, Variable
from sweep.meaning import broken_rule, number, options
from sweep.reading import Table, show
from sweep.space import PLAIN, TYRE_THICKNESS, Domain, shipped_domain


def read_space(table: Table, catalogue: Catalogue) -> dict[str, Domain]:
    """The domain of every variable: a value fixes it, {low, high} sweeps it, a list gives choices."""
    domains = {}
    for variable in VARIABLES:
        value = table.take(variable.name)
        domain = shipped_domain(variable, catalogue)
        if isinstance(value, dict):
            domain = _range(table, variable, value, catalogue) or domain
        elif isinstance(value, list):
            domain = _list(table, variable, value, catalogue) or domain
        elif value is not None and _allowed(table, variable, value, catalogue):
            domain = _fixed(variable, value)
        domains[variable.name] = domain
    table.finish()
    return domains


def _fixed(variable: Variable, value: object) -> Domain:
    if variable.kind == CHOICE:
        return Domain(variable, choices=(_plain(value),))
    return Domain(variable, float(value), float(value))  # type: ignore[arg-type]  # checked to be a number


def _range(table: Table, variable: Variable, value: dict[str, object], catalogue: Catalogue) -> Domain | None:
    """{low, high}: of numbers that may be anything between, or of stock sizes, those in it."""
    if variable.names:
        table.fault(variable.name, "must not be a range, it is a choice among names", show(value),
                    "give a name or a list of names")
        return None
    entry = Table(value, f"space.{variable.name}", table.faults)
    before = len(table.faults.found)
    low, high = (_end(entry, variable, end) for end in ("low", "high"))
    entry.finish()
    if len(table.faults.found) > before:
        return None
    if low > high:
        entry.fault(variable.name, "must have low not above high", f"low {low:g}, high {high:g}", "swap them")
        return None
    if variable.kind != CHOICE:
        return Domain(variable, low, high)
    known = [float(size) for size in options(variable, catalogue)]
    inside = tuple(size for size in known if low <= size <= high)
    if not inside:
        listed = ", ".join(f"{size:g}" for size in known)
        got = f"low {low:g}, high {high:g}"
        entry.fault(variable.name, "must have a stock size between low and high", got, f"sizes are {listed}")
        return None
    return Domain(variable, choices=inside)


def _end(entry: Table, variable: Variable, end: str) -> float:
    value = entry.take(end)
    spec = number(variable)
    if value is None:
        entry.fault(f"{variable.name} {end}", "must be given", "", f"write {variable.name} = {{ low = ..., high = ... }}")
    elif rule := spec.broken_rule(value):
        remedy = "" if "lie in" in rule else f"give a number in {spec.interval}"
        entry.fault(f"{variable.name} {end}", rule, show(value), remedy)
    else:
        return float(value)  # type: ignore[arg-type]  # checked to be a number
    return math.nan


def _list(table: Table, variable: Variable, values: list[object], catalogue: Catalogue) -> Domain | None:
    if not values:
        table.fault(variable.name, "must have at least one choice", "an empty list", "leave it out for the shipped range")
        return None
    allowed = [_allowed(table, variable, value, catalogue) for value in values]  # of each, to name every fault
    if not all(allowed):
        return None
    choices = tuple(_plain(value) for value in values)
    twice = [choice for i, choice in enumerate(choices) if choice in choices[:i]]
    if twice:
        table.fault(variable.name, "must not have a choice twice", show(twice[0]), "leave one of them out")
        return None
    return Domain(variable, choices=choices)


def _allowed(table: Table, variable: Variable, value: object, catalogue: Catalogue) -> bool:
    rule, remedy = broken_rule(variable, value, catalogue)
    if rule:
        table.fault(variable.name, rule, show(value), remedy)
    return not rule


def read_baseline(table: Table, catalogue: Catalogue, domains: dict[str, Domain]) -> dict[str, str | float | int]:
    """A design, all variables given. A plain bore has no core, so its tyre thickness may be left out."""
    design: dict[str, str | float | int] = {}
    for variable in VARIABLES:
        value = table.take(variable.name)
        if value is None and variable.name == TYRE_THICKNESS and table.content.get("bore") == PLAIN:
            value = domains[TYRE_THICKNESS].least
        if value is None:
            table.fault(variable.name, "must be given, a baseline has all variables", "", f"add {variable.name} = ...")
        elif _allowed(table, variable, value, catalogue):
            plain = _plain(value)
            design[variable.name] = int(plain) if variable.kind == INTEGER else plain
    table.finish()
    return design


def _plain(value: object) -> str | float:
    return value if isinstance(value, str) else float(value)  # type: ignore[arg-type]  # checked to be a number
