"""Files of solids hold what they should and come out the same every time."""

from __future__ import annotations

import hashlib
import io
import json
import struct
import subprocess
import sys
import zipfile
from pathlib import Path

import numpy as np
import pytest

from sweep.cad.exports import assembly_step, coloured, print_mesh, scene, step
from sweep.cad.meshes import mesh_of
from tests.simple_assembly import DISC, ROLLERS, TYRE_VOLUME, simple_assembly

pytestmark = pytest.mark.usefixtures("cad_libraries")
ROOT = Path(__file__).parent.parent


def everything() -> dict[str, bytes]:
    assembly = simple_assembly()
    meshes = {part.name: mesh_of(part.shape) for part in assembly.parts}
    disc = assembly.part("carrier")
    return {
        "assembly.step": assembly_step(assembly, "unit"),
        "carrier.step": step(disc.shape.moved(disc.plate), disc.name),
        "carrier.3mf": print_mesh(meshes["carrier"], "carrier"),
        "assembly.glb": scene(assembly.parts, meshes),
    }


def digests() -> dict[str, str]:
    return {name: hashlib.sha256(content).hexdigest() for name, content in everything().items()}


def test_the_same_solids_give_the_same_bytes() -> None:
    assert digests() == digests()


@pytest.mark.slow
def test_another_process_writes_the_same_bytes() -> None:
    code = "import json; from tests.test_cad_exports import digests; print(json.dumps(digests()))"
    runs = [
        subprocess.run([sys.executable, "-c", code], cwd=ROOT, check=True, capture_output=True, text=True).stdout for _ in "ab"
    ]
    assert json.loads(runs[0].splitlines()[-1]) == json.loads(runs[1].splitlines()[-1]) == digests()


def test_the_assembly_reads_back_with_names_colours_and_places(tmp_path: Path) -> None:
    from build123d import import_step

    path = tmp_path / "unit.step"
    path.write_bytes(everything()["assembly.step"])
    read = import_step(path)
    assert read.label == "unit"
    names = [child.label for child in read.children]
    assert names.count("output_roller") == names.count("output_axle") == ROLLERS
    assert names.count("carrier") == 1
    rollers = [child for child in read.children if child.label == "output_roller"]
    assert sum(roller.volume for roller in rollers) == pytest.approx(ROLLERS * TYRE_VOLUME, rel=1e-6)
    assert [tuple(roller.color)[:3] for roller in rollers] == [pytest.approx((0.2, 0.2, 0.5), abs=1e-3)] * ROLLERS
    assert {round(roller.center().length, 6) for roller in rollers} == {80.0}


def test_copies_share_their_geometry() -> None:
    assert everything()["assembly.step"].count(b"MANIFOLD_SOLID_BREP") == len(simple_assembly().parts)


def test_colours_of_other_parts_are_refused() -> None:
    with pytest.raises(ValueError, match="4 shapes in a file of 1 parts"):
        coloured(everything()["assembly.step"], [(1, 0, 0)])


def test_the_print_file_holds_the_mesh_in_millimetres() -> None:
    import trimesh

    content = everything()["carrier.3mf"]
    with zipfile.ZipFile(io.BytesIO(content)) as archive:
        model = archive.read("3D/3dmodel.model").decode()
        assert {entry.date_time[0] for entry in archive.infolist()} == {1980}
    assert 'unit="millimeter"' in model
    assert 'name="carrier"' in model
    points = np.array([
        [float(word.split('"')[1]) for word in line.split()[1:4]] for line in model.splitlines() if "<vertex " in line
    ])
    corners = np.array([
        [int(word.split('"')[1]) for word in line.split()[1:4]] for line in model.splitlines() if "<triangle " in line
    ])
    read = trimesh.Trimesh(points, corners, process=False)
    assert read.is_watertight
    assert read.volume == pytest.approx(DISC, rel=5e-3)


def test_the_scene_is_in_metres_with_every_copy_named() -> None:
    content = everything()["assembly.glb"]
    assert content[:4] == b"glTF"
    size = struct.unpack("<I", content[12:16])[0]
    told = json.loads(content[20 : 20 + size])
    names = [node.get("name") for node in told["nodes"]]
    assert {"carrier", "output_roller 1", f"output_roller {ROLLERS}"} <= set(names)
    import trimesh

    read = trimesh.load(io.BytesIO(content), file_type="glb")
    # forwards the corner of a roller at 60 degrees: 80 sin 60 + 15 cos 30 + 15 sin 30; upwards 80 + 15; the shaft is last
    assert read.extents == pytest.approx((2 * 0.089772, 0.19, 0.03), abs=1e-4)
