"""An assembly of a few simple solids whose volumes can be worked by hand, for tests of what is written about an assembly."""
from __future__ import annotations

from typing import Any

from sweep.cad.parts import Assembly, Part


def simple_assembly() -> Assembly:
    from build123d import Box, Cylinder, Location, Pos, Rot
    disc = Cylinder(60, 12) - Cylinder(11, 20)
    tyre = Cylinder(15, 30) - Cylinder(2.2, 40)
    rod = Cylinder(2, 38)
    ring = [Rot(0, 60 * i, 0) * Pos(0, 0, 50) * Rot(0, 90, 0) for i in range(6)]
    here = Location()
    return Assembly(dimensions=None, parts=(
        Part("carrier", "carrier", "printed", "petg", "", disc, (Rot(90, 0, 0),), Pos(0, 0, 6), (0.9, 0.5, 0.1)),
        Part("output_roller", "output roller", "tyre", "tpu90a", "", tyre, tuple(ring), Pos(0, 0, 15), (0.2, 0.2, 0.25)),
        Part("axle", "axle", "stock", "steel", "rod 4 mm", rod, tuple(ring), here, (0.7, 0.7, 0.75)),
        Part("bearing", "bearing", "bought", "steel", "6800", Cylinder(9.5, 5) - Cylinder(5, 6), (Rot(90, 0, 0),), here, (0.6, 0.6, 0.6)),
    ))
