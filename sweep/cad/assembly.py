"""A wheel unit of its parts, each in its place."""

from __future__ import annotations

from sweep.cad.dimensions import Dimensions
from sweep.cad.parts import Assembly


def assemble(dimensions: Dimensions, phase: tuple[float, float, float] = (0.0, 0.0, 0.0)) -> Assembly:
    """The unit with its hubs closed as far as they are before any load.

    ``phase`` as in ``objectives.phases``: shares of one pitch (0 to 1) that the carrier is turned against the floor, and each
    hub, left first, against the carrier.
    """
    raise NotImplementedError
