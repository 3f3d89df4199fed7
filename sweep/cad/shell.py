"""How much plastic a print takes: walls all round by a true inward offset, infill for the rest.

Found at points spread evenly through the closed surface, each by its distance to the surface. Independent of any formula for a
part's volume or surface.
"""

from __future__ import annotations

import numpy as np

from sweep.cad.meshes import Mesh

#: points looked at within a body, about, and points on a mm^2 of its surface
INSIDE_POINTS = 150_000
SURFACE_DENSITY = 6.0
MOST_SURFACE_POINTS = 1_000_000
#: where the grid begins within a cell
OFFSET = np.array([0.5123, 0.4871, 0.5347])
#: rad about x, y and z: turns a body so that none of its planes runs along the grid, which would then take or leave it whole
TURN = (0.1931, 0.1374, 0.2719)


def shell_share(mesh: Mesh, wall: float) -> float:
    """Share of a body's volume that lies nearer than ``wall`` [mm] to its surface, good to about 0.01.

    Source: derived here.
    """
    from scipy.spatial import cKDTree
    from scipy.spatial.transform import Rotation
    from trimesh.sample import sample_surface

    turned = Mesh(mesh.vertices @ Rotation.from_euler("xyz", TURN).as_matrix().T, mesh.triangles)
    step = (mesh.volume / INSIDE_POINTS) ** (1 / 3)
    points = inside_points(turned, step)
    if not len(points):
        return 1.0
    count = int(min(mesh.area * SURFACE_DENSITY, MOST_SURFACE_POINTS)) + 100
    surface, _ = sample_surface(turned.surface, count, seed=0)
    depth, _ = cKDTree(surface).query(points, distance_upper_bound=wall, workers=-1)
    return float(np.mean(np.isfinite(depth)))


def printed_volume(mesh: Mesh, wall: float, infill: float) -> float:
    """Plastic in a print [mm^3]: the shell solid, the rest at its ``infill`` (0 to 1)."""
    shell = shell_share(mesh, wall) if infill < 1 else 1.0
    return mesh.volume * (shell + infill * (1 - shell))


def inside_points(mesh: Mesh, step: float) -> np.ndarray:
    """Points of a grid that lie inside, shape (k, 3) in mm.

    The grid's rows cut the triangles in segments, its columns cut those in points; along a column each crossing of the surface
    switches between outside and inside.
    """
    low = mesh.vertices.min(axis=0) - (1 - OFFSET) * step
    corners = ((mesh.vertices - low) / step)[mesh.triangles]
    size = np.ceil((mesh.vertices.max(axis=0) - low) / step).astype(int) + 2
    triangle, row = _whole_numbers(corners[:, :, 1].min(axis=1), corners[:, :, 1].max(axis=1))
    ends = _cut(corners[triangle], row)
    segment, column = _whole_numbers(ends[:, :, 0].min(axis=1), ends[:, :, 0].max(axis=1))
    (x0, z0), (x1, z1) = np.moveaxis(ends[segment], 0, -1)
    height = z0 + (z1 - z0) * (column - x0) / (x1 - x0)
    crossings = np.zeros(size, dtype=np.int8)
    np.add.at(crossings, (column, row[segment], np.ceil(height).astype(int)), 1)
    return np.argwhere(np.cumsum(crossings, axis=2, dtype=np.int16) % 2 == 1) * step + low


def _whole_numbers(low: np.ndarray, high: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """All whole numbers in [low, high) of each interval: the interval's index and the number."""
    first = np.ceil(low).astype(int)
    count = np.ceil(high).astype(int) - first
    index = np.repeat(np.arange(len(low)), count)
    before = np.repeat(np.cumsum(count) - count, count)
    return index, np.arange(len(index)) - before + first[index]


def _cut(corners: np.ndarray, row: np.ndarray) -> np.ndarray:
    """Where the lines y = row cut triangles: the two ends' x and z, shape (k, 2, 2). Every line must cut its triangle."""
    sides = np.stack([corners, np.roll(corners, -1, axis=1)], axis=2)  # (k, side, end, xyz)
    y0, y1 = sides[:, :, 0, 1], sides[:, :, 1, 1]
    crossed = (y0 < row[:, None]) != (y1 < row[:, None])
    share = np.divide(row[:, None] - y0, y1 - y0, out=np.zeros_like(y0), where=crossed)[:, :, None]
    places = (sides[:, :, 0] + share * (sides[:, :, 1] - sides[:, :, 0]))[:, :, [0, 2]]
    return places[crossed].reshape(-1, 2, 2)
