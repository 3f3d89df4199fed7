"""A picture of a binary glTF scene: ``python -m tests.render SCENE.glb PICTURE.png [--from X Y Z] [--hide NAME ...]``.

For the README's picture and for looking at what a build has made. A plain depth buffer, each triangle shaded by its slope and
every pixel the mean of nine.
"""

from __future__ import annotations

import argparse
from pathlib import Path

import numba
import numpy as np
import trimesh
from matplotlib.image import imsave

FINER = 3
PAPER = np.array([1.0, 1.0, 1.0])
LIGHT = np.array([0.35, 0.75, 0.55])


@numba.njit
def fill(points: np.ndarray, shades: np.ndarray, depth: np.ndarray, picture: np.ndarray) -> None:
    """Draw triangles (t, 3, 3), x right, y down, z towards the eye, with their colours (t, 3)."""
    high, wide = depth.shape
    for t in range(len(points)):
        (ax, ay, az), (bx, by, bz), (cx, cy, cz) = points[t]
        area = (bx - ax) * (cy - ay) - (cx - ax) * (by - ay)
        if area == 0.0:
            continue
        for y in range(max(int(min(ay, by, cy)), 0), min(int(max(ay, by, cy)) + 2, high)):
            for x in range(max(int(min(ax, bx, cx)), 0), min(int(max(ax, bx, cx)) + 2, wide)):
                u = ((bx - x) * (cy - y) - (cx - x) * (by - y)) / area
                v = ((cx - x) * (ay - y) - (ax - x) * (cy - y)) / area
                if u >= 0.0 and v >= 0.0 and u + v <= 1.0:
                    z = u * az + v * bz + (1.0 - u - v) * cz
                    if z > depth[y, x]:
                        depth[y, x] = z
                        picture[y, x] = shades[t]


def render(scene: trimesh.Scene, eye: np.ndarray, width: int, hide: tuple[str, ...] = ()) -> np.ndarray:
    """The scene seen from far away in the direction of ``eye``, colours 0 to 1, shape (height, width, 3)."""
    towards = eye / np.linalg.norm(eye)
    right = np.cross([0.0, 1.0, 0.0], towards)
    right /= np.linalg.norm(right)
    view = np.stack([right, np.cross(towards, right), towards])
    triangles, colours = [], []
    for name in scene.graph.nodes_geometry:
        matrix, geometry = scene.graph[name]
        if name.startswith(hide):
            continue
        mesh = scene.geometry[geometry]
        triangles.append(mesh.triangles @ (view @ matrix[:3, :3]).T + view @ matrix[:3, 3])
        colour = np.asarray(mesh.visual.material.baseColorFactor[:3], dtype=float)
        colours.append(np.repeat([colour / 255 if colour.max() > 1 else colour], len(mesh.triangles), axis=0))
    points, colour = np.concatenate(triangles), np.concatenate(colours)
    low, high = points.min(axis=(0, 1)), points.max(axis=(0, 1))
    scale = FINER * width / (high[0] - low[0]) * 0.94
    edge = 0.03 * FINER * width
    normal = np.cross(points[:, 1] - points[:, 0], points[:, 2] - points[:, 0])
    normal /= np.maximum(np.linalg.norm(normal, axis=1, keepdims=True), 1e-30)
    lit = 0.42 + 0.58 * np.clip(normal @ LIGHT / np.linalg.norm(LIGHT), 0, 1)
    flat = np.stack(
        [(points[..., 0] - low[0]) * scale + edge, (high[1] - points[..., 1]) * scale + edge, points[..., 2] * scale], axis=-1
    )
    rows = int((high[1] - low[1]) * scale + 2 * edge) // FINER * FINER
    depth = np.full((rows, FINER * width), -np.inf)
    picture = np.tile(PAPER, (*depth.shape, 1))
    fill(flat, colour * lit[:, None], depth, picture)
    # a dark line where the depth jumps
    jump = np.zeros(depth.shape, dtype=bool)
    near = np.where(np.isfinite(depth), depth, -1e9)
    for axis in (0, 1):
        jump |= np.abs(near - np.roll(near, 1, axis)) > 0.012 * scale * (high[0] - low[0])
    picture[jump] *= 0.25
    return picture.reshape(rows // FINER, FINER, width, FINER, 3).mean(axis=(1, 3))


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("scene", type=Path)
    parser.add_argument("picture", type=Path)
    parser.add_argument("--from", dest="eye", nargs=3, type=float, default=(1.0, 0.55, 0.95))
    parser.add_argument("--hide", nargs="*", default=(), help="beginnings of names")
    parser.add_argument("--width", type=int, default=1000)
    options = parser.parse_args()
    scene = trimesh.load(options.scene, file_type="glb")
    imsave(options.picture, np.clip(render(scene, np.array(options.eye), options.width, tuple(options.hide)), 0, 1))


if __name__ == "__main__":
    main()
