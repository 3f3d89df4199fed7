"""What a design variable may be: the numbers that have a meaning, the names and stock sizes of the catalogue."""

from __future__ import annotations

from objectives.catalogue import Catalogue
from objectives.units import MM
from objectives.variables import BORES, CHOICE, INTEGER, Variable
from sweep.errors import nearest
from sweep.reading import Number

#: roles that a tyre's material may have: an output roller is soft, a hub roller may be hard
ROLES = {"output_tyre": ("tyre",), "hub_tyre": ("tyre", "print")}


def options(variable: Variable, catalogue: Catalogue) -> tuple[str | float, ...]:
    """Every option that a choice has in this catalogue: names, or stock sizes in mm."""
    if variable.name in ROLES:
        roles = ROLES[variable.name]
        return tuple(name for name, material in catalogue.materials.items() if material.role in roles)
    if variable.name == "motor":
        return tuple(catalogue.motors)
    if variable.name == "bore":
        return BORES
    if variable.name == "hub_axle_diameter_mm":
        return tuple(sorted(catalogue.screws))
    sizes = {"axle_diameter_mm": catalogue.rod_diameters, "gear_module_mm": catalogue.gear_modules}[variable.name]
    return tuple(sorted(round(size / MM, 6) for size in sizes))


def number(variable: Variable) -> Number:
    """The numbers that have a meaning for a variable."""
    return Number(
        variable.name,
        variable.least,
        variable.most,
        open_least=variable.open_ends,
        open_most=variable.open_ends,
        integer=variable.kind == INTEGER,
    )


def broken_rule(variable: Variable, value: object, catalogue: Catalogue) -> tuple[str, str]:
    """The rule that a value breaks and the remedy, both empty where it keeps them all."""
    if variable.kind != CHOICE:
        rule = number(variable).broken_rule(value)
        return rule, f"give a number in {number(variable).interval}" if rule and "lie in" not in rule else ""
    known = options(variable, catalogue)
    listed = ", ".join(str(option) if variable.names else f"{option:g}" for option in known)
    if variable.names:
        if not isinstance(value, str):
            return "must be a name in quotes", f"give one of {listed}"
        if value in known:
            return "", ""
        if variable.name in ROLES and value in catalogue.materials:
            roles = " or ".join(ROLES[variable.name])
            role = catalogue.materials[value].role
            return f"must be a material of role {roles}", f"{value} is of role {role}; give one of {listed}"
        close = nearest(value, known)
        return f"must be one of {listed}", f"nearest is {close!r}" if close else ""
    if rule := number(variable).broken_rule(value):
        return rule, f"give one of {listed}"
    if float(value) not in known:  # type: ignore[arg-type]  # broken_rule has seen that it is a number
        close_size = min((float(size) for size in known), key=lambda size: abs(size - float(value)), default=0.0)  # type: ignore[arg-type]
        return f"must be a stock size, one of {listed}", f"nearest is {close_size:g}"
    return "", ""
