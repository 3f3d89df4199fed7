"""Lines, hatching, sections and hidden lines of a drawing, against areas and lengths worked by hand."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from sweep.cad.paper import Paper, hatch_lines
from sweep.cad.shapes import placed
from sweep.cad.views import Frame, cut, seen
from tests.simple_assembly import simple_assembly

SECTION = Frame((0.0, 0.0, 0.0), (0.0, -1.0, 0.0), (0.0, 0.0, 1.0))
FRONT = Frame((0.0, 0.0, 0.0), (1.0, 0.0, 0.0), (0.0, 0.0, 1.0))


def area(loop: np.ndarray) -> float:
    x, y = loop.T
    return abs(float(np.sum(x * np.roll(y, -1) - y * np.roll(x, -1)))) / 2


def square(side: float) -> np.ndarray:
    return np.array([(-1, -1), (1, -1), (1, 1), (-1, 1)]) * side / 2


@pytest.mark.parametrize("angle", [0.0, 0.7, 2.3])
def test_hatching_covers_the_area_and_leaves_holes_out(angle: float) -> None:
    """Lengths of the lines times their gap are the area: 40^2 - 20^2."""
    lines = np.array(hatch_lines([square(40.0), square(20.0)], angle, 0.1))
    lengths = np.hypot(*np.moveaxis(lines[:, 1] - lines[:, 0], 1, 0))
    assert lengths.sum() * 0.1 == pytest.approx(1200, rel=5e-3)
    middles = lines.mean(axis=1)
    assert not np.any(np.all(np.abs(middles) < 9.9, axis=1))


def test_a_sheet_is_the_same_every_time() -> None:
    def sheet(kind: str) -> bytes:
        paper = Paper()
        paper.hatched([square(40.0) + 100, square(20.0) + 100])
        paper.distance((80, 80), (120, 80), "40", -8)
        paper.angle((200, 100), 20, 0, 1.0, "57°")
        paper.title_block([("Scale", "1:1"), ("Units", "mm")], "A block", "for a test")
        return paper.save(kind)

    for kind in ("svg", "pdf"):
        assert sheet(kind) == sheet(kind)
        assert b"2026" not in sheet(kind)
    assert b'width="1190.551181pt"' in sheet("svg")  # 420 mm


def test_a_frame_looks_along_the_cross_of_its_directions() -> None:
    assert FRONT.towards == pytest.approx((0, -1, 0))  # from the right of the unit
    assert SECTION.towards == pytest.approx((-1, 0, 0))  # from behind
    assert SECTION.flat(np.array([[7.0, 2.0, 3.0]])) == pytest.approx(np.array([[-2.0, 3.0]]))


@pytest.mark.usefixtures("cad_libraries")
def test_sections_have_the_areas_of_their_parts() -> None:
    """The plane cuts the disc lengthwise, 2 (60 - 11) 12, the two rollers in it across, pi (15^2 - 2.2^2), and their rods."""
    areas: dict[str, list[float]] = {}
    for found in cut(simple_assembly().parts, SECTION):
        sizes = sorted(map(area, found.loops))
        whole = sum(sizes) if found.part.name in ("carrier", "radial_bearing") else sizes[-1] - sum(sizes[:-1])
        areas.setdefault(found.part.name, []).append(whole)
    assert areas["carrier"] == pytest.approx([2 * 49 * 12])
    assert areas["radial_bearing"] == pytest.approx([2 * 4.5 * 5])
    assert areas["output_roller"] == pytest.approx([math.pi * (15**2 - 2.2**2)] * 2, rel=5e-3)
    assert areas["output_axle"] == pytest.approx([math.pi * 4] * 2, rel=2e-2)


@pytest.mark.usefixtures("cad_libraries")
def test_hidden_lines_are_left_out() -> None:
    """A block before another of the same outline shows one square; a smaller one before it shows both."""
    from build123d import Box, Pos

    def length(front: float, back: float) -> float:
        lines = seen([Pos(0, -20, 0) * Box(front, 5, front), Pos(0, 20, 0) * Box(back, 5, back)], FRONT)
        return sum(float(np.hypot(*np.diff(line, axis=0).T).sum()) for line in lines)

    assert length(30, 20) == pytest.approx(120)
    assert length(20, 30) == pytest.approx(200)


@pytest.mark.usefixtures("cad_libraries")
def test_every_copy_is_placed() -> None:
    rollers = simple_assembly().part("output_roller")
    assert [placed(rollers.shape, place).center().length for place in rollers.places] == pytest.approx([80.0] * 6)


@pytest.mark.usefixtures("cad_libraries")
def test_a_part_is_one_valid_solid_whose_volume_is_known() -> None:
    from build123d import Box, Compound, Pos

    part = simple_assembly().part("output_roller")
    assert part.sound
    block = replace(part, shape=Box(2, 3, 4).solid())
    assert (block.sound, block.volume) == (True, pytest.approx(24.0))
    assert not replace(part, shape=Compound([Box(1, 1, 1).solid(), Pos(5, 0, 0) * Box(1, 1, 1).solid()])).sound
