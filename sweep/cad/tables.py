"""The tables of a build: dimensions, parts to buy and to make, what to print and how. CSV with a header, lines end in LF."""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Iterable, Mapping, Sequence

from objectives.scenario import Scenario
from objectives.units import MM
from sweep.cad.dimensions import Dimensions
from sweep.cad.parts import TYRE, Assembly, Part
from sweep.cad.weights import Printing, Weighed
from sweep.show import plain

#: folders of what is printed: hard parts, soft parts
RIGID, SOFT = "print/rigid", "print/tyres"
#: what stands for a formula where a number is chosen, not worked out
GIVEN = "given"


def print_folder(part: Part) -> str:
    """Where the files of a printed part stand in a build."""
    return SOFT if part.make == TYRE else RIGID


def as_json(value: object) -> bytes:
    """A JSON document, keys in their order."""
    return (json.dumps(plain(value), indent=2, allow_nan=False, ensure_ascii=False) + "\n").encode()


def as_csv(head: Sequence[str], rows: Iterable[Sequence[object]]) -> bytes:
    """A CSV table."""
    buffer = io.StringIO()
    writer = csv.writer(buffer, lineterminator="\n")
    writer.writerow(head)
    writer.writerows(rows)
    return buffer.getvalue().encode()


def parameters_csv(dimensions: Dimensions) -> bytes:
    """Every dimension for somebody who models by hand; the choices by name at the end."""
    rows: list[Sequence[object]] = [
        (entry.name, f"{entry.value:.6g}", entry.unit, entry.formula or GIVEN, entry.meaning)
        for entry in dimensions.entries.values()
    ]
    rows += [(name, word, "", "", "chosen by name") for name, word in dimensions.words.items()]
    return as_csv(("name", "value", "unit", "formula", "meaning"), rows)


def parameters_json(dimensions: Dimensions) -> bytes:
    """The same for programs."""
    return as_json({
        "design": dimensions.design,
        "dimensions": {
            entry.name: {"value": entry.value, "unit": entry.unit, "formula": entry.formula or GIVEN, "meaning": entry.meaning}
            for entry in dimensions.entries.values()
        },
        "choices": dict(dimensions.words),
        "roller_in_place": dimensions.roller_in_place,
        "roller_in_place_how": dimensions.roller_in_place_reason,
    })


def parts_csv(assembly: Assembly, masses: Mapping[str, Weighed]) -> bytes:
    """All parts with counts and designations."""
    rows = []
    for part in assembly.parts:
        weighed = masses[part.name]
        rows.append((
            part.name, part.title, part.count, part.make, part.material, part.designation, f"{1000 * weighed.mass:.2f}",
            f"{1000 * weighed.total:.1f}", weighed.source, part.replaces,
        ))  # fmt: skip
    head = ("name", "title", "count", "make", "material", "designation", "mass_g", "total_g", "mass_from", "note")
    return as_csv(head, rows)


def print_list_csv(prints: Iterable[Printing], scenario: Scenario) -> bytes:
    """What to print, how often, and how."""
    rows = []
    for how in prints:
        part = how.part
        rows.append((
            f"{print_folder(part)}/{part.name}.3mf", part.title, part.count, how.material, how.walls, f"{100 * how.infill:.0f}",
            f"{scenario.build.layer / MM:g}", " x ".join(f"{side:.1f}" for side in how.size), f"{1000 * how.mass:.2f}",
            f"{1000 * how.mass * part.count:.1f}", how.plates, f"{how.hours:.1f}",
        ))  # fmt: skip
    head = ("file", "title", "count", "material", "walls", "infill_percent", "layer_mm", "size_mm", "mass_g", "total_g", "beds",
            "hours")  # fmt: skip
    return as_csv(head, rows)
