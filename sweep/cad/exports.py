"""Solids and meshes as files: STEP, 3MF and GLB. The same solids give the same bytes."""

from __future__ import annotations

import io
import re
import uuid
import zipfile
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

import numpy as np

from sweep.cad.meshes import Mesh, matrix_of
from sweep.cad.parts import Assembly, Part

#: what stands for the moment of writing where a format demands one
NO_TIME = "1980-01-01T00:00:00"
#: names in files are made from this, so that the same part has the same one every time
NAMES = uuid.uuid5(uuid.NAMESPACE_URL, "wheelfront")
#: numbers that the STEP writer counts up through a process
COUNTED = re.compile(rb"(NEXT_ASSEMBLY_USAGE_OCCURRENCE\(')\d+('[^;]*;)")
WRAPPED = re.compile(rb"\n *")
#: number of an entity of a STEP file; a shape of it: its items and its context
NUMBERED = re.compile(rb"^#(\d+)", re.MULTILINE)
SHAPES = re.compile(rb"= ADVANCED_BREP_SHAPE_REPRESENTATION\(\s*'[^']*',\s*\(([^)]*)\),\s*(#\d+)\s*\)")
FROM_MM = 1e-3


def step(shape: Any, title: str) -> bytes:
    """A build123d shape, or a compound of named ones, as STEP (ISO 10303-214)."""
    from build123d import export_step

    shape.label = title
    buffer = io.BytesIO()
    export_step(shape, buffer, write_pcurves=False, timestamp=NO_TIME)
    count = iter(range(1, 1 << 30))
    return COUNTED.sub(lambda entry: b"%s%d%s" % (entry[1], next(count), WRAPPED.sub(b"", entry[2])), buffer.getvalue())


def assembly_step(assembly: Assembly, title: str) -> bytes:
    """All parts where they belong, named and coloured; copies of a part share its geometry."""
    from build123d import Compound

    placed = []
    for part in assembly.parts:
        for place in part.places:
            one = part.shape.moved(place)
            one.label, one.color = part.name, None
            placed.append(one)
    return coloured(step(Compound(label=title, children=placed), title), [part.colour for part in assembly.parts])


def coloured(content: bytes, colours: Sequence[tuple[float, float, float]]) -> bytes:
    """A STEP file with a colour for the bodies of each of its parts, in the order in which the file holds them.

    The writer has colours too, but puts them in an order that changes from one process to the next.
    """
    shapes = SHAPES.findall(content)
    if len(shapes) != len(colours):
        raise ValueError(f"{len(shapes)} shapes in a file of {len(colours)} parts")
    number = max(map(int, NUMBERED.findall(content)))
    lines = []
    for (items, context), (red, green, blue) in zip(shapes, colours, strict=True):
        bodies = re.findall(rb"#\d+", items)[1:]  # the first is the shape's own frame
        style = [
            f"COLOUR_RGB('',{red:.4f},{green:.4f},{blue:.4f})",
            "FILL_AREA_STYLE_COLOUR('',#{})",
            "FILL_AREA_STYLE('',(#{}))",
            "SURFACE_STYLE_FILL_AREA(#{})",
            "SURFACE_SIDE_STYLE('',(#{}))",
            "SURFACE_STYLE_USAGE(.BOTH.,#{})",
            "PRESENTATION_STYLE_ASSIGNMENT((#{}))",
        ]
        for text in style:
            lines.append(f"#{number + 1} = {text.format(number)};")
            number += 1
        styled = [f"#{number + 1 + i}" for i in range(len(bodies))]
        lines += [
            f"{name} = STYLED_ITEM('',(#{number}),{body.decode()});" for name, body in zip(styled, bodies, strict=True)
        ]
        number += len(bodies) + 1
        of = "MECHANICAL_DESIGN_GEOMETRIC_PRESENTATION_REPRESENTATION"
        lines.append(f"#{number} = {of}('',({','.join(styled)}),{context.decode()});")
    head, end, tail = content.rpartition(b"ENDSEC;")
    return head + "\n".join(lines).encode() + b"\n" + end + tail


def print_mesh(mesh: Mesh, title: str) -> bytes:
    """A mesh as 3MF, in mm, standing on the bed's plane."""

    from lib3mf import Lib3MF, get_wrapper

    wrapper = get_wrapper()
    model = wrapper.CreateModel()
    model.SetUnit(Lib3MF.ModelUnit.MilliMeter)
    body = model.AddMeshObject()
    body.SetName(title)
    vertices = np.ascontiguousarray(mesh.vertices, dtype=np.float32)
    triangles = np.ascontiguousarray(mesh.triangles, dtype=np.uint32)
    body.SetGeometry(
        list((Lib3MF.Position * len(vertices)).from_buffer(vertices)),
        list((Lib3MF.Triangle * len(triangles)).from_buffer(triangles)),
    )
    item = model.AddBuildItem(body, wrapper.GetIdentityTransform())
    for thing, what in ((body, "object"), (item, "item")):
        thing.SetUUID(str(uuid.uuid5(NAMES, f"{title} {what}")))
    model.SetBuildUUID(str(uuid.uuid5(NAMES, f"{title} build")))
    return timeless(bytes(model.QueryWriter("3mf").WriteToBuffer()))


def timeless(archive: bytes) -> bytes:
    """A zip archive with the same files, in the same order, without the moment of writing."""
    buffer = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(archive)) as old, zipfile.ZipFile(buffer, "w") as new:
        for entry in old.infolist():
            fresh = zipfile.ZipInfo(entry.filename, (1980, 1, 1, 0, 0, 0))
            fresh.compress_type = zipfile.ZIP_DEFLATED
            fresh.external_attr = 0o644 << 16
            new.writestr(fresh, old.read(entry))
    return buffer.getvalue()


def scene(parts: Iterable[Part], meshes: Mapping[str, Mesh]) -> bytes:
    """Meshes of all parts where they belong as binary glTF, in metres, y upwards as that format has it."""
    import trimesh

    upright = np.array([[1, 0, 0, 0], [0, 0, 1, 0], [0, -1, 0, 0], [0, 0, 0, 1]]) * 1.0
    whole = trimesh.Scene()
    for part in parts:
        mesh = meshes[part.name]
        surface = trimesh.Trimesh(mesh.vertices * FROM_MM, mesh.triangles, process=False)
        colour = np.array([*(round(255 * share) for share in part.colour), 255], dtype=np.uint8)
        surface.visual = trimesh.visual.TextureVisuals(
            material=trimesh.visual.material.PBRMaterial(
                name=part.name, baseColorFactor=colour, metallicFactor=0.0, roughnessFactor=0.7
            )
        )
        for i, place in enumerate(part.places, 1):
            matrix = matrix_of(place)
            matrix[:3, 3] *= FROM_MM
            name = part.name if len(part.places) == 1 else f"{part.name} {i}"
            whole.add_geometry(surface, node_name=name, geom_name=part.name, transform=upright @ matrix)
    return bytes(whole.export(file_type="glb"))
