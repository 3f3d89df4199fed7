"""Where the shortlist's letters stand beside their designs in a small chart, so that none covers another or a mark."""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence

#: half width and half height of a letter, radius of a design's own mark, of what else is marked [px]
HALF_WIDTH, HALF_HEIGHT, MARK, OTHER = 5.0, 6.5, 4.0, 8.0
#: where a letter may stand about its mark [px], the best first
NEAR, FAR = 11.0, 19.0
PLACES = [
    (reach * math.cos(angle), reach * math.sin(angle))
    for reach, angle in itertools.product((NEAR, FAR), (0, math.pi, -math.pi / 2, math.pi / 2, -0.8, 0.8, -2.35, 2.35))
]


def place(
    marks: Sequence[tuple[float, float]], others: Sequence[tuple[float, float]], size: tuple[float, float]
) -> list[tuple[int, int]]:
    """Offsets of the letters from their marks [px], x to the right, y down. ``marks`` and ``others`` are in the chart's pixels.

    >>> place([(50, 50)], [], (100, 100))
    [(11, 0)]
    >>> place([(50, 50), (60, 50)], [], (200, 100))[0]
    (-11, 0)
    """
    taken: list[tuple[float, float]] = []
    found = []
    for k, (x, y) in enumerate(marks):
        best, least = PLACES[0], math.inf
        for order, (dx, dy) in enumerate(PLACES):
            cost = 0.02 * order
            at = (x + dx, y + dy)
            if not (HALF_WIDTH < at[0] < size[0] - HALF_WIDTH and HALF_HEIGHT < at[1] < size[1] - HALF_HEIGHT):
                cost += 2.0
            for other in taken:
                cost += 4.0 * (abs(other[0] - at[0]) < 2 * HALF_WIDTH and abs(other[1] - at[1]) < 2 * HALF_HEIGHT)
            for j, other in enumerate(marks):
                cost += 1.0 * (j != k and _covers(at, other, MARK))
            for other in others:
                cost += 1.0 * _covers(at, other, OTHER)
            if cost < least:
                best, least = (dx, dy), cost
        taken.append((x + best[0], y + best[1]))
        found.append((round(best[0]), round(best[1])))
    return found


def _covers(letter: tuple[float, float], mark: tuple[float, float], radius: float) -> bool:
    return abs(letter[0] - mark[0]) < HALF_WIDTH + radius and abs(letter[1] - mark[1]) < HALF_HEIGHT + radius
