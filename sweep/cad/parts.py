"""What a wheel unit is made of: its parts, where each copy of them is, how it is made.

Frame of the unit: x forward, y left, z up, origin in the middle of the wheel; mm and degrees. Solids and locations are
those of build123d, imported late.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Any

from sweep.cad.dimensions import Dimensions

#: how a part comes about: printed of the build's material, printed or cast soft, bought whole, cut from stock
PRINTED, TYRE, BOUGHT, STOCK = "printed", "tyre", "bought", "stock"

Colour = tuple[float, float, float]


@dataclass(frozen=True)
class Part:
    """One kind of part, and every place it is used in."""

    name: str  # snake_case, unique
    title: str  # words for people
    make: str  # PRINTED, TYRE, BOUGHT or STOCK
    material: str  # a name of the catalogue, or plain words
    designation: str  # of bought and stock parts, e.g. "ISO 4762 M4 x 40"; "" for others
    shape: Any  # solid in the part's own frame
    places: tuple[Any, ...]  # Locations in the unit's frame, one for each copy
    lying: Any  # Location that lays a printed part on the bed but for its height; None for others
    colour: Colour
    replaces: str = ""  # a note for whoever handles it, e.g. the tool of a screw

    @property
    def count(self) -> int:
        return len(self.places)

    @cached_property
    def volume(self) -> float:
        """Volume of one copy [mm^3]; integrating over its faces takes long, so that it is done once."""
        return float(self.shape.volume)

    @property
    def sound(self) -> bool:
        """Whether the shape is one valid solid. It takes long."""
        return bool(self.shape.is_valid) and len(self.shape.solids()) == 1 and self.volume > 0

    @cached_property
    def plate(self) -> Any:
        """The Location that lays a printed part on the bed, its lowest point at z = 0; made when it is asked for."""
        from build123d import Location

        if self.lying is None:
            return Location()
        return Location((0, 0, -self.shape.moved(self.lying).bounding_box().min.Z)) * self.lying


@dataclass(frozen=True)
class Assembly:
    """A wheel unit in one phase of its hubs against its carrier."""

    dimensions: Dimensions
    parts: tuple[Part, ...]

    def part(self, name: str) -> Part:
        """The part of a name; raises KeyError."""
        for part in self.parts:
            if part.name == name:
                return part
        raise KeyError(name)
