"""Solids as closed surfaces of triangles: what is printed, looked at and weighed."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np

#: mm, how far a triangle may lie from the surface, and rad, how far neighbours along a curve may turn: a cylinder of facets
#: that turn by t loses t^2/6 of its volume, 0.17 % at 0.1
LINEAR, ANGULAR = 0.02, 0.1
#: what is tried in turn until a mesh is closed and true to its solid's volume within this share
FINENESS = ((LINEAR, 0.2), (LINEAR, ANGULAR), (0.01, 0.05), (0.004, 0.03), (0.05, 0.3))
TRUE_VOLUME = 0.004
#: mm, points of neighbouring faces nearer than this are one
SAME_POINT = 1e-4


@dataclass(frozen=True)
class Mesh:
    """Triangles over points. ``vertices`` (v, 3) in mm, ``triangles`` (t, 3) indices, seen anticlockwise from outside."""

    vertices: np.ndarray
    triangles: np.ndarray

    @cached_property
    def surface(self) -> Any:
        """The same as trimesh holds it."""
        import trimesh

        return trimesh.Trimesh(self.vertices, self.triangles, process=False)

    @property
    def watertight(self) -> bool:
        """Whether every edge joins two triangles that run along it in opposite senses, the solid inside."""
        surface = self.surface
        return bool(surface.is_watertight and surface.is_winding_consistent and surface.volume > 0)

    @property
    def volume(self) -> float:
        """mm^3."""
        return float(self.surface.volume)

    @property
    def area(self) -> float:
        """mm^2."""
        return float(self.surface.area)

    def moved(self, matrix: np.ndarray) -> Mesh:
        """The same surface under a rigid motion, a matrix of shape (4, 4)."""
        return Mesh(self.vertices @ matrix[:3, :3].T + matrix[:3, 3], self.triangles)

    @property
    def mirrored(self) -> Mesh:
        """The same surface mirrored at the plane y = 0."""
        return Mesh(self.vertices * (1.0, -1.0, 1.0), self.triangles[:, ::-1])


def sound_mesh(shape: Any, volume: float) -> Mesh:
    """The first mesh of a solid, over FINENESS, that is closed and has its volume [mm^3]; the first of all where none is."""
    found = []
    for linear, angular in FINENESS:
        found.append(mesh_of(shape, linear, angular))
        if found[-1].watertight and abs(found[-1].volume / volume - 1) <= TRUE_VOLUME:
            return found[-1]
    return found[0]


def mesh_of(shape: Any, linear: float = LINEAR, angular: float = ANGULAR) -> Mesh:
    """The surface of a build123d solid. Neighbouring faces share their points, so that a sound solid gives a closed surface."""
    from OCP.BRep import BRep_Tool
    from OCP.BRepMesh import BRepMesh_IncrementalMesh
    from OCP.BRepTools import BRepTools
    from OCP.TopAbs import TopAbs_Orientation
    from OCP.TopLoc import TopLoc_Location

    BRepTools.Clean_s(shape.wrapped)
    BRepMesh_IncrementalMesh(shape.wrapped, linear, False, angular, False)
    points: list[np.ndarray] = []
    triangles: list[np.ndarray] = []
    count = 0
    for face in shape.faces():
        place = TopLoc_Location()
        faceted = BRep_Tool.Triangulation_s(face.wrapped, place)
        if faceted is None:  # a face too small for a triangle
            continue
        motion = _matrix(place.Transformation())
        nodes = np.array([faceted.Node(i).Coord() for i in range(1, faceted.NbNodes() + 1)])
        corners = np.array([faceted.Triangle(i).Get() for i in range(1, faceted.NbTriangles() + 1)], dtype=int).reshape(-1, 3)
        backwards = face.wrapped.Orientation() == TopAbs_Orientation.TopAbs_REVERSED
        points.append(nodes @ motion[:3, :3].T + motion[:3, 3])
        triangles.append(corners[:, [0, 2, 1] if backwards else [0, 1, 2]] + count - 1)
        count += len(nodes)
    return _joined(np.concatenate(points), np.concatenate(triangles))


def matrix_of(location: Any) -> np.ndarray:
    """A build123d Location as a matrix of shape (4, 4), lengths in mm."""
    return _matrix(location.wrapped.Transformation())


def _matrix(motion: Any) -> np.ndarray:
    matrix = np.eye(4)
    matrix[:3] = [[motion.Value(row, column) for column in range(1, 5)] for row in range(1, 4)]
    return matrix


def _joined(points: np.ndarray, triangles: np.ndarray) -> Mesh:
    """Points that coincide made one, triangles that this leaves without area dropped."""
    from scipy.sparse import coo_matrix
    from scipy.sparse.csgraph import connected_components
    from scipy.spatial import cKDTree

    pairs = cKDTree(points).query_pairs(SAME_POINT, output_type="ndarray")
    links = coo_matrix((np.ones(len(pairs)), (pairs[:, 0], pairs[:, 1])), shape=(len(points), len(points)))
    _, group = connected_components(links, directed=False)
    _, first = np.unique(group, return_index=True)
    joined = group[triangles]
    whole = (joined[:, 0] != joined[:, 1]) & (joined[:, 1] != joined[:, 2]) & (joined[:, 2] != joined[:, 0])
    return Mesh(points[first], joined[whole])
