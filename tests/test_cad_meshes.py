"""Meshes are closed and have their solids' volumes; shells are those of bodies whose offset is known."""

from __future__ import annotations

import math

import numpy as np
import pytest

from sweep.cad.meshes import Mesh, matrix_of, mesh_of
from sweep.cad.shell import inside_points, printed_volume, shell_share

pytestmark = pytest.mark.usefixtures("cad_libraries")


def block(*sides: float) -> Mesh:
    from build123d import Box, Rot

    return mesh_of(Rot(20, 30, 40) * Box(*sides))


@pytest.mark.parametrize("crown", [40.0, 100.0])
def test_a_barrel_s_mesh_is_closed_and_keeps_its_volume(crown: float) -> None:
    """A segment of a circle of radius R turned about its chord's parallel: V = int pi r(z)^2 dz, by Simpson's rule here."""
    from build123d import Axis, BuildLine, BuildPart, BuildSketch, Line, ThreePointArc, make_face, revolve

    half, middle = 12.0, 10.0
    end = middle - (crown - math.sqrt(crown**2 - half**2))
    with BuildPart() as made:
        with BuildSketch():
            with BuildLine():
                ThreePointArc((end, -half), (middle, 0), (end, half))
                Line((end, half), (0, half))
                Line((0, half), (0, -half))
                Line((0, -half), (end, -half))
            make_face()
        revolve(axis=Axis.Y)
    z = np.linspace(-half, half, 2001)
    radius = middle - crown + np.sqrt(crown**2 - z**2)
    exact = np.pi * np.trapezoid(radius**2, z)
    mesh = mesh_of(made.part)
    assert mesh.watertight
    assert mesh.volume == pytest.approx(exact, rel=5e-3)
    assert mesh.volume == pytest.approx(made.part.volume, rel=5e-3)


def test_faces_share_their_points() -> None:
    """A cube has 8 corners and 12 triangles; a hole through it keeps Euler's v - e + f = 0."""
    from build123d import Box, Cylinder

    cube = mesh_of(Box(1, 2, 3))
    assert (len(cube.vertices), len(cube.triangles)) == (8, 12)
    assert (cube.area, cube.volume) == pytest.approx((22.0, 6.0))
    drilled = mesh_of(Box(10, 10, 10) - Cylinder(2, 20))
    assert len(drilled.vertices) - len(drilled.triangles) / 2 == 0


def test_a_hole_in_a_mesh_is_seen() -> None:
    whole = block(1, 2, 3)
    assert whole.watertight
    assert not Mesh(whole.vertices, whole.triangles[1:]).watertight
    assert not Mesh(whole.vertices, whole.triangles[:, ::-1]).watertight


def test_a_location_s_matrix_moves_points_as_it_does() -> None:
    from build123d import Pos, Rot, Vector

    place = Pos(1, 2, 3) * Rot(10, 20, 30)
    moved = (matrix_of(place) @ [4, 5, 6, 1])[:3]
    from build123d import Vertex

    assert moved == pytest.approx(tuple(Vector(*Vertex(4, 5, 6).moved(place))))


def test_points_inside_fill_the_body() -> None:
    points = inside_points(block(20, 30, 40), 0.7)
    assert len(points) * 0.7**3 == pytest.approx(24000, rel=5e-3)


@pytest.mark.parametrize(
    ("sides", "wall"), [((20, 30, 40), 1.8), ((60, 60, 5), 1.8), ((100, 40, 3.6), 1.8), ((30, 30, 30), 0.9)]
)
def test_the_shell_of_a_block(sides: tuple[float, float, float], wall: float) -> None:
    """What is left within walls all round is a block smaller by two walls each way."""
    core = math.prod(max(side - 2 * wall, 0) for side in sides)
    assert shell_share(block(*sides), wall) == pytest.approx(1 - core / math.prod(sides), abs=0.012)


def test_the_shell_of_a_ball() -> None:
    from build123d import Sphere

    assert shell_share(mesh_of(Sphere(15)), 1.8) == pytest.approx(1 - (13.2 / 15) ** 3, abs=0.01)


def test_printed_volume_is_shell_and_infill() -> None:
    """A 20 mm cube, 1 mm walls, 25 %: 8000 - 18^3 = 2168 of shell, a quarter of 5832 within."""
    cube = block(20, 20, 20)
    assert printed_volume(cube, 1.0, 0.25) == pytest.approx(2168 + 1458, rel=0.012)
    assert printed_volume(cube, 1.0, 1.0) == pytest.approx(8000)
    assert printed_volume(cube, 1.0, 0.0) < printed_volume(cube, 2.0, 0.0) < 8000
