"""What the parts weigh, from their meshes, how they are printed and how long that takes."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from objectives.layout import wall_thickness
from objectives.mass import FLOW_SHARE, LAYER_TIME, STEEL_DENSITY
from objectives.scenario import Scenario
from objectives.units import HOUR, MM, MM3
from sweep.cad.meshes import Mesh, matrix_of
from sweep.cad.parts import PRINTED, TYRE, Part
from sweep.cad.shell import printed_volume

#: kg/m^3, of what is bought (handbook values, from memory)
DENSITIES: Mapping[str, float] = {"steel": STEEL_DENSITY, "bronze": 8800.0, "brass": 8500.0, "aluminium": 2700.0, "POM": 1410.0}
#: printed parts that are printed solid, since their teeth and threads carry: the start of their names
SOLID = ("pinion", "preload_cap", "hub_roller")
#: the catalogue's mass of a thrust bearing holds its washers
WITH_BEARING = "thrust_washer"
#: mm, between copies on a bed
BED_GAP = 5.0


@dataclass(frozen=True)
class Printing:
    """How a part is printed."""

    part: Part
    material: str
    walls: int
    infill: float  # 0..1
    size: tuple[float, float, float]  # mm, as it lies on the bed
    plastic: float  # mm^3, of one copy
    mass: float  # kg, of one copy
    plates: int  # beds that all copies take
    hours: float  # all copies


@dataclass(frozen=True)
class Weighed:
    """A part with its mass and where that is from."""

    part: Part
    mass: float  # kg, of one copy
    source: str

    @property
    def total(self) -> float:
        return self.mass * self.part.count


def printed(part: Part) -> bool:
    """Whether a part comes from the printer, hard or soft."""
    return part.make in (PRINTED, TYRE)


def printing(part: Part, mesh: Mesh, scenario: Scenario) -> Printing:
    """How a part is printed: hard parts with the study's walls and infill, soft ones and those with teeth solid.

    Time as ``objectives.mass.print_time`` counts it: V/(0.7 Q) and 4 s a layer, of each bed that the copies take.
    """
    material = scenario.catalogue.materials[part.material]
    solid = part.make == TYRE or part.name.startswith(SOLID)
    infill = 1.0 if solid else scenario.build.infill
    plastic = printed_volume(mesh, wall_thickness(scenario) / MM, infill)
    width, depth, height = (float(length) for length in np.ptp(mesh.moved(matrix_of(part.plate)).vertices, axis=0))
    bed = [length / MM for length in scenario.printer.bed]
    a_bed = max(1, int((bed[0] + BED_GAP) // (width + BED_GAP)) * int((bed[1] + BED_GAP) // (depth + BED_GAP)))
    plates = math.ceil(part.count / a_bed)
    flow = min(material.flow_limit, scenario.printer.flow)
    seconds = part.count * plastic * MM3 / flow / FLOW_SHARE + plates * LAYER_TIME * height * MM / scenario.build.layer
    return Printing(
        part, part.material, scenario.build.walls, infill, (width, depth, height), plastic,
        plastic * MM3 * material.density, plates, seconds / HOUR,
    )  # fmt: skip


def weighed(part: Part, scenario: Scenario, how: Printing | None) -> Weighed:
    """A part's mass: what is printed from its plastic, bearings and motors from the catalogue, the rest from its volume."""
    if how is not None:
        share = f"{how.walls} walls, {100 * how.infill:.0f} % infill" if how.infill < 1 else "solid"
        return Weighed(part, how.mass, f"mesh, {share}")
    if part.name == WITH_BEARING:
        return Weighed(part, 0.0, "with its bearing")
    words = re.findall(r"\w+", part.designation.lower())
    for rows in (scenario.catalogue.bearings, scenario.catalogue.motors):
        for name, row in rows.items():
            if name.lower() in words:
                return Weighed(part, row.mass, "catalogue")
    density = DENSITIES.get(part.material)
    if density is None:
        known = scenario.catalogue.materials.get(part.material)
        density = STEEL_DENSITY if known is None else known.density
    return Weighed(part, part.volume * MM3 * density, f"volume, {density:.0f} kg/m3")
