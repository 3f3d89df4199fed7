"""An assembly of a few simple solids whose volumes are worked by hand, for tests of what is written about an assembly."""

from __future__ import annotations

import math
from types import SimpleNamespace
from typing import Any

from sweep.cad.parts import BOUGHT, PRINTED, STOCK, TYRE, Assembly, Part

#: mm^3
DISC = math.pi * (60**2 - 11**2) * 12
TYRE_VOLUME = math.pi * (15**2 - 2.2**2) * 30
ROD = math.pi * 2**2 * 38
ROLLERS = 6


def simple_assembly() -> Assembly:
    """A disc, six rollers on rods round it, a bearing in its middle; the shaft along y as in a wheel unit."""
    from build123d import Cylinder, Location, Pos, Rot

    ring = tuple(Rot(0, 360 / ROLLERS * i, 0) * Pos(0, 0, 80) * Rot(0, 90, 0) for i in range(ROLLERS))
    upright, here = (Rot(90, 0, 0),), Location()
    tyre, bearing = (Cylinder(15, 30) - Cylinder(2.2, 40)).solid(), (Cylinder(9.5, 5) - Cylinder(5, 6)).solid()

    def part(name: str, make: str, material: str, designation: str, shape: Any, places: Any, plate: Any, grey: float) -> Part:
        return Part(name, name.replace("_", " "), make, material, designation, shape, places, plate, (grey, grey, 0.5))

    return Assembly(
        dimensions=SimpleNamespace(design="d0"),  # type: ignore[arg-type]
        parts=(
            part("carrier", PRINTED, "petg", "", (Cylinder(60, 12) - Cylinder(11, 20)).solid(), upright, Pos(0, 0, 6), 0.9),
            part("output_roller", TYRE, "tpu90a", "", tyre, ring, Pos(0, 0, 15), 0.2),
            part("output_axle", STOCK, "steel", "rod 4 mm", Cylinder(2, 38).solid(), ring, here, 0.7),
            part("radial_bearing", BOUGHT, "steel", "6800, 10 x 19 x 5", bearing, upright, here, 0.6),
        ),
    )
