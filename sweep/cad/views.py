"""What a drawing shows of solids: edges seen from a side, hidden ones left out, and areas cut by a plane. Lengths in mm."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from sweep.cad.meshes import matrix_of
from sweep.cad.parts import Part

#: mm, how far a line on paper may lie from a curve, at full size
FINE = 0.05
#: mm, on this side of a plane nothing counts as cut
NEAR = 1e-6


@dataclass(frozen=True)
class Frame:
    """A plane to draw on: an origin, a direction to the right and one upwards, unit vectors; seen against ``towards``."""

    origin: tuple[float, float, float]
    right: tuple[float, float, float]
    up: tuple[float, float, float]

    @property
    def towards(self) -> np.ndarray:
        """Out of the paper, to whoever looks."""
        return np.cross(self.right, self.up)

    def flat(self, points: np.ndarray) -> np.ndarray:
        """Points (k, 3) as they appear, (k, 2)."""
        return (np.asarray(points) - self.origin) @ np.array([self.right, self.up]).T


@dataclass(frozen=True)
class Cut:
    """A part cut through by a plane: the loops that bound it there."""

    part: Part
    loops: tuple[np.ndarray, ...]


def seen(shapes: Sequence[Any], frame: Frame) -> list[np.ndarray]:
    """Edges of shapes that are seen on a frame, as lines of points (k, 2)."""
    from build123d import Compound
    from OCP.gp import gp_Ax2, gp_Dir, gp_Pnt
    from OCP.HLRAlgo import HLRAlgo_Projector
    from OCP.HLRBRep import HLRBRep_Algo, HLRBRep_HLRToShape

    algorithm = HLRBRep_Algo()
    algorithm.Add(Compound(list(shapes)).wrapped)
    towards = gp_Dir(*map(float, frame.towards))
    algorithm.Projector(HLRAlgo_Projector(gp_Ax2(gp_Pnt(*frame.origin), towards, gp_Dir(*frame.right))))
    algorithm.Update()
    algorithm.Hide()
    found = HLRBRep_HLRToShape(algorithm)
    lines: list[np.ndarray] = []
    for compound in (found.VCompound(), found.OutLineVCompound()):  # sharp edges, outlines of rounded faces
        lines += _lines(compound)
    return lines


def cut(parts: Iterable[Part], frame: Frame) -> list[Cut]:
    """Parts where the plane of a frame cuts them, a Cut for each copy that is met."""
    from build123d import Face, Plane

    plane = Plane(origin=frame.origin, x_dir=frame.right, z_dir=tuple(frame.towards))
    sheet = Face.make_rect(4000, 4000, plane)
    found = []
    for part in parts:
        corners = _corners(part.shape)
        for place in part.places:
            matrix = matrix_of(place)
            depth = (corners @ matrix[:3, :3].T + matrix[:3, 3] - frame.origin) @ frame.towards
            if depth.min() > -NEAR or depth.max() < NEAR:
                continue
            loops: list[np.ndarray] = []
            for face in _faces(part.shape.moved(place).intersect(sheet)):
                loops += [_ordered(frame.flat(_points(wire))) for wire in [face.outer_wire(), *face.inner_wires()]]
            if loops:
                found.append(Cut(part, tuple(sorted(loops, key=lambda loop: tuple(loop[:2].flat)))))
    return found


def _ordered(loop: np.ndarray) -> np.ndarray:
    """A loop (k, 2) from its leftmost, lowest point on, anticlockwise: the kernel finds it otherwise in every process."""
    loop = np.round(loop, 6) + 0.0
    loop = np.roll(loop, -np.lexsort((loop[:, 1], loop[:, 0]))[0], axis=0)
    x, y = loop.T
    return loop if x @ np.roll(y, -1) > y @ np.roll(x, -1) else np.vstack([loop[:1], loop[:0:-1]])


def _corners(shape: Any) -> np.ndarray:
    """The eight corners of a shape's box, (8, 3)."""
    box = shape.bounding_box()
    return np.array(np.meshgrid(*zip(tuple(box.min), tuple(box.max), strict=True))).reshape(3, -1).T


def _faces(shape: Any) -> list[Any]:
    if shape is None:
        return []
    return list(shape.faces()) if hasattr(shape, "faces") else [face for one in shape for face in one.faces()]


def _points(wire: Any) -> np.ndarray:
    """Points along a closed wire, in its order."""
    from OCP.BRepAdaptor import BRepAdaptor_Curve
    from OCP.BRepTools import BRepTools_WireExplorer
    from OCP.TopAbs import TopAbs_Orientation

    pieces = []
    walk = BRepTools_WireExplorer(wire.wrapped)
    while walk.More():
        piece = _discretised(BRepAdaptor_Curve(walk.Current()))
        backwards = walk.Current().Orientation() == TopAbs_Orientation.TopAbs_REVERSED
        pieces.append(piece[::-1][:-1] if backwards else piece[:-1])
        walk.Next()
    return np.vstack(pieces)


def _lines(compound: Any) -> list[np.ndarray]:
    from OCP.BRepAdaptor import BRepAdaptor_Curve
    from OCP.BRepLib import BRepLib
    from OCP.TopAbs import TopAbs_ShapeEnum
    from OCP.TopExp import TopExp_Explorer
    from OCP.TopoDS import TopoDS

    if compound is None or compound.IsNull():
        return []
    BRepLib.BuildCurves3d_s(compound)
    lines = []
    edges = TopExp_Explorer(compound, TopAbs_ShapeEnum.TopAbs_EDGE)
    while edges.More():
        lines.append(_discretised(BRepAdaptor_Curve(TopoDS.Edge(edges.Current())))[:, :2])
        edges.Next()
    return lines


def _discretised(curve: Any) -> np.ndarray:
    """Points on a curve, ends included, (k, 3)."""
    from OCP.GCPnts import GCPnts_TangentialDeflection

    made = GCPnts_TangentialDeflection(curve, 0.15, FINE)
    return np.array([(p.X(), p.Y(), p.Z()) for p in (made.Value(i) for i in range(1, made.NbPoints() + 1))])
