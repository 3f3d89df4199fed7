"""The proof of files and masses: meshes closed and true to their solids, weights as the objective has them."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

import numpy as np

from objectives.units import MM
from sweep.cad.meshes import Mesh
from sweep.cad.parts import Assembly, Part
from sweep.cad.weights import Printing, Weighed

#: share by which a mesh's volume may differ from its solid's, and the unit's mass from the objective
VOLUME_TOLERANCE, MASS_TOLERANCE = 0.005, 0.03


@dataclass(frozen=True)
class Check:
    """One thing that is proven of a build."""

    name: str
    measured: float
    limit: float
    unit: str
    meaning: str

    @property
    def holds(self) -> bool:
        return abs(self.measured) <= self.limit  # not where it is nan

    def __str__(self) -> str:
        return f"{self.name}: {self.measured:.4g} {self.unit.replace('1', '')}, more than {self.limit:g}".replace(" ,", ",")


#: groups that masses are compared in: the starts of the parts' names, and the masses of the objective. The first that fits
GROUPS: tuple[tuple[str, tuple[str, ...], tuple[str, ...]], ...] = (
    ("carrier", ("carrier",), ("carrier",)),
    ("output roller cores", ("output_core",), ("output_cores",)),
    ("core bushings", ("core_bushing",), ("core_bushings",)),
    ("output tyres", ("output_roller",), ("output_tyres",)),
    ("roller bearings", ("core_bearing",), ("roller_bearings",)),
    ("output axles", ("output_axle",), ("output_axles",)),
    ("shims", ("side_shim",), ("side_shims",)),
    ("hub roller bolts and washers", ("hub_bolt", "hub_washer"), ("hub_roller_bolts",)),
    ("hub rollers", ("hub_roller",), ("hub_rollers",)),
    ("hubs and gears", ("hub_",), ("hub_bodies", "gears")),
    ("pinions", ("pinion",), ("pinions",)),
    ("preload caps", ("preload_cap",), ("caps",)),
    ("clamping screws", ("clamp",), ("carrier_screws",)),
    ("hub and carrier bearings", ("radial_bearing", "thrust"), ("hub_bearings",)),
    ("shaft and nuts", ("shaft", "preload_nut"), ("shaft", "shaft_nuts")),
    ("springs", ("preload_spring",), ("springs",)),
    ("motors", ("motor",), ("motors",)),
)
OTHERS = "others"


def mesh_checks(parts: Iterable[Part], meshes: Mapping[str, Mesh]) -> list[Check]:
    """Each mesh closed, its volume that of its solid."""
    found = []
    for part in parts:
        mesh = meshes[part.name]
        error = mesh.volume / part.volume - 1 if mesh.watertight else np.nan
        found.append(
            Check(f"mesh of {part.name}", float(error), VOLUME_TOLERANCE, "1", "closed mesh's volume over the solid's, less 1")
        )
    return found


def mass_check(assembly: Assembly, masses: Mapping[str, Weighed], objective: float) -> Check:
    """The unit's mass from its meshes against the objective's [kg]."""
    whole = sum(masses[part.name].total for part in assembly.parts)
    return Check("mass", whole / objective - 1, MASS_TOLERANCE, "1", "mass of the solids over mass_kg, less 1")


def bed_checks(prints: Iterable[Printing], bed: tuple[float, float, float]) -> list[Check]:
    """Each printed part within the printer's space ``bed`` [m]."""
    found = []
    for how in prints:
        beyond = max(side - room / MM for side, room in zip(how.size, bed, strict=True))
        found.append(
            Check(f"bed of {how.part.name}", max(beyond, 0.0), 0.0, "mm", "how far it reaches out of the printer's space")
        )
    return found


def mass_groups(
    assembly: Assembly, masses: Mapping[str, Weighed], objective: Mapping[str, float]
) -> dict[str, dict[str, float]]:
    """Masses [kg] of the solids and of the objective, group by group."""
    groups = {name: {"solids_kg": 0.0, "objective_kg": sum(objective[key] for key in keys)} for name, _, keys in GROUPS}
    groups[OTHERS] = {"solids_kg": 0.0, "objective_kg": 0.0}
    for part in assembly.parts:
        name = next((name for name, starts, _ in GROUPS if part.name.startswith(starts)), OTHERS)
        groups[name]["solids_kg"] += masses[part.name].total
    return groups
