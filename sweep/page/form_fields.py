"""The fields of a study's form: which key of which table each is, how its text becomes a value and back."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import tomlkit
from tomlkit import TOMLDocument
from tomlkit.exceptions import TOMLKitError

from objectives.catalogue import shipped
from objectives.variables import CHOICE, VARIABLES, Variable
from sweep.columns import described
from sweep.errors import Fault
from sweep.meaning import options
from sweep.page.columns import label

TEXT, NUMBER, PICK, THREE, SPACE = "text", "number", "pick", "three numbers", "space"
BALANCING, CASTERED = "balancing", "castered"
#: units of keys that no column has
UNITS = {"_m_per_s2": "m/s²", "_m": "m", "_Wh": "Wh"}
RANGE = re.compile(r"^\s*([-+0-9.eE]+)\s*(?:\.\.|to)\s*([-+0-9.eE]+)\s*$")
WHERE = re.compile(r"\[\[?([\w.]+)\]?\]")


@dataclass(frozen=True)
class Field:
    """One field. ``only`` is the kind of robot it belongs to, empty for both."""

    table: str
    key: str
    words: str
    kind: str = NUMBER
    options: tuple[str, ...] = ()
    hint: str = ""  # what counts where it is left empty, or what it is
    only: str = ""

    @property
    def name(self) -> str:
        return f"{self.table}.{self.key}" if self.table else self.key

    @property
    def unit(self) -> str:
        known = next((words for ending, words in UNITS.items() if self.key.endswith(ending)), described(self.key)[0])
        return "" if known == "1" else known


def groups() -> list[tuple[str, str, list[Field]]]:
    """Headings, a line about each, and their fields."""
    catalogue = shipped()
    floors, prints = tuple(catalogue.floors), tuple(n for n, row in catalogue.materials.items() if row.role != "tyre")
    return [
        ("What it is for", "", [
            Field("", "name", "Name of the study", TEXT),
            Field("robot", "kind", "Kind of robot", PICK, (BALANCING, CASTERED)),
            Field("robot", "floor", "Floor", PICK, floors),
            Field("robot", "mass_kg", "Mass without the wheel"),
            Field("robot", "top_speed_m_per_s", "Top speed"),
            Field("robot", "sideways_speed_m_per_s", "Speed sideways"),
            Field("robot", "centre_of_mass_height_m", "Height of the centre of mass", hint="above the floor",
                  only=BALANCING),
            Field("robot", "body_gyration_m", "Radius of gyration", hint="about the centre of mass", only=BALANCING),
            Field("robot", "recover_lean_deg", "Lean to recover from", only=BALANCING),
            Field("robot", "recover_reserve", "Reserve in recovering", hint="1.5", only=BALANCING),
            Field("robot", "wheel_load_N", "Load on the wheel", hint="from the mass", only=CASTERED),
            Field("robot", "acceleration_m_per_s2", "Acceleration", only=CASTERED),
            Field("robot", "slope_deg", "Slope", hint="0", only=CASTERED),
            Field("robot", "rolling_resistance", "Rolling resistance of the castors", hint="0.02", only=CASTERED),
        ]),
        ("Power", "", [
            Field("supply", "voltage_V", "Supply", hint="24"),
            Field("battery", "energy_Wh", "Battery", hint="none"),
        ]),
        ("Build and printer", "", [
            Field("build", "material", "Print material", PICK, prints),
            Field("build", "walls", "Walls", hint="4"),
            Field("build", "infill", "Infill", hint="0.3"),
            Field("build", "layer_mm", "Layer", hint="0.2"),
            Field("build", "shaft_diameter_mm", "Shaft", hint="10"),
            Field("printer", "bed_mm", "Bed", THREE, hint="width, depth, height"),
            Field("printer", "nozzle_mm", "Nozzle", hint="0.4"),
            Field("printer", "clearance_mm", "Clearance between moving parts", hint="0.25"),
        ]),
        ("Search", "", [
            Field("search", "evaluations", "Wheels to score", hint="20000"),
            Field("search", "seed", "Seed", hint="7"),
        ]),
        ("Space", "A number or name fixes a variable, 10..24 sweeps it, a list with commas gives choices. What is empty keeps "
                  "the range shown.", [Field("space", v.name, label(v.name), SPACE, hint=_range_of(v)) for v in VARIABLES]),
    ]  # fmt: skip


def _range_of(variable: Variable) -> str:
    if variable.kind != CHOICE:
        return f"{variable.low:g}..{variable.high:g}"
    named = [str(option) for option in variable.choices or options(variable, shipped())]
    return ", ".join(named[:4]) + (", ..." if len(named) > 4 else "")


def parsed(text: str) -> TOMLDocument | None:
    """A study's text as it can be changed, comments and all; None where it is no TOML."""
    try:
        return tomlkit.parse(text)
    except (TOMLKitError, ValueError):
        return None


def read(document: Mapping[str, Any], field: Field) -> str:
    """A field's text as a study has it; empty where it says nothing."""
    table = document if not field.table else document.get(field.table)
    if not isinstance(table, Mapping) or field.key not in table:
        return ""
    return words_of(table[field.key])


def words_of(value: Any) -> str:
    """A value as its field shows it.

    >>> words_of({"low": 8, "high": 20}), words_of(["a", "b"]), words_of(2.5), words_of([220, 220, 240])
    ('8..20', 'a, b', '2.5', '220, 220, 240')
    """
    if isinstance(value, Mapping):
        return f"{_one(value.get('low', ''))}..{_one(value.get('high', ''))}"
    if isinstance(value, list | tuple):
        return ", ".join(map(_one, value))
    return _one(value)


def _one(value: Any) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    return f"{value:g}" if isinstance(value, float) else str(value)


def value_of(field: Field, text: str) -> Any:
    """What a field's text stands for in a study; what is no number stays a text, for the study's check to name.

    >>> space = Field("space", "crown", "", SPACE)
    >>> value_of(space, "0.2..0.8"), value_of(space, "0.5"), value_of(Field("", "name", "", TEXT), "2")
    ({'low': 0.2, 'high': 0.8}, 0.5, '2')
    """
    text = text.strip()
    if field.kind in (TEXT, PICK):
        return text
    ends = RANGE.match(text)
    if field.kind == SPACE and ends:
        return {"low": _number(ends[1]), "high": _number(ends[2])}
    if field.kind in (SPACE, THREE) and ("," in text or field.kind == THREE):
        return [_number(part.strip()) for part in text.split(",") if part.strip()]
    return _number(text)


def _number(text: str) -> Any:
    text = text.strip()
    try:
        return int(text)
    except ValueError:
        pass
    try:
        return float(text)
    except ValueError:
        return text


def write(document: TOMLDocument, field: Field, text: str) -> None:
    """Put a field's text into a study; an empty one takes the key away. Comments and order stay."""
    whole: Any = document
    table = whole
    if field.table:
        if field.table not in whole:
            if not text.strip():
                return
            whole[field.table] = tomlkit.table()
        table = whole[field.table]
    if not hasattr(table, "keys"):
        return
    if not text.strip():
        if field.key in table:
            del table[field.key]
        if field.table and not len(table):
            del whole[field.table]
        return
    value = value_of(field, text)
    if isinstance(value, dict):
        inline = tomlkit.inline_table()
        inline.update(value)
        value = inline
    table[field.key] = value


def place_of(fault: Fault, fields: Sequence[Field]) -> str:
    """The name of the field that a fault is about; empty where none is.

    >>> place_of(Fault("mass_kg", "must be given", "", "study.toml, [robot]"), [Field("robot", "mass_kg", "")])
    'robot.mass_kg'
    """
    found = WHERE.search(fault.where)
    table, _, inner = (found.group(1) if found else "").partition(".")
    for field in fields:
        if field.table == table and field.key in (fault.quantity.strip("'\""), inner):
            return field.name
    return ""

