"""``wheelfront build``: from a design of a run to the files that a maker continues from, with the proof that they are right."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from contextlib import ExitStack
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from sweep.archive import open_run, versions
from sweep.cad.assembly import assemble
from sweep.cad.beside import beside
from sweep.cad.checks import Check, bed_checks, mass_check, mass_groups, mesh_checks
from sweep.cad.choice import Choice
from sweep.cad.coupon import coupon
from sweep.cad.coupon_text import coupon_page
from sweep.cad.dimensions import dimensions_of
from sweep.cad.drawing import drawing
from sweep.cad.exports import assembly_step, print_mesh, scene, step
from sweep.cad.folder import build_place, replacing
from sweep.cad.meshes import Mesh, matrix_of, mesh_of, sound_mesh
from sweep.cad.needs import need_libraries
from sweep.cad.order import assembly_page, cautions
from sweep.cad.parts import Assembly, Part
from sweep.cad.proof import prove
from sweep.cad.tables import as_json, parameters_csv, parameters_json, parts_csv, print_folder, print_list_csv
from sweep.cad.weights import Printing, Weighed, printed, printing, weighed
from sweep.errors import SweepFailure
from sweep.run_study import find_design, study_of

#: mm and rad, coarser: what is only looked at
LOOKED_AT = (0.1, 0.35)
#: the second of these is the first one mirrored: it takes over mesh and print
MIRRORED = ("hub_left", "hub_right")

STAGES = ("solids", "coupon", "meshes", "masses", "print files", "assembly", "drawing and proof of the geometry", "record")

Tell = Callable[[str], None]


@dataclass(frozen=True)
class Built:
    """What a build has made."""

    choice: Choice
    assembly: Assembly
    place: Path
    files: tuple[str, ...]
    checks: tuple[Check, ...]
    geometry: dict[str, Any]

    @property
    def failures(self) -> list[str]:
        """Every proof that does not hold, in words."""
        return [str(check) for check in self.checks if not check.holds] + list(self.geometry["failures"])


def build(run: str | Path, name: str, tell: Tell) -> Built:
    """Build a design of a run into its folder. Raises BadInput and SweepFailure, with nothing half-written."""
    folder = open_run(run)
    study = study_of(folder)
    stored = find_design(folder, name)
    place = build_place(folder, str(stored["design"]))
    choice = Choice.of(study, stored)
    need_libraries()
    tell("solids")
    assembly = assemble(dimensions_of(study, choice.design))
    with replacing(place) as work:
        files, checks, geometry = write(choice, assembly, work, tell)
    return Built(choice, assembly, place, files, checks, geometry)


def write(
    choice: Choice, assembly: Assembly, work: Path, tell: Tell
) -> tuple[tuple[str, ...], tuple[Check, ...], dict[str, Any]]:
    """All files of a build into a folder: their names, the proofs of meshes and masses, that of the geometry.

    Raises SweepFailure, before it writes, where a solid is not sound.
    """
    shapes = {part.name: part.shape for part in assembly.parts}
    valid = {part.name: part.sound for part in assembly.parts}
    unsound = [part.title for part in assembly.parts if not valid[part.name]]
    if unsound:
        go_on = "choose a neighbour of the front; please report the design and its study"
        raise SweepFailure(f"no sound solid came of: {', '.join(unsound)}", "the run; nothing was written", go_on)
    scenario = choice.study.scenario
    own = [part for part in assembly.parts if printed(part)]
    with ExitStack() as copies:
        # what cuts into solids leaves marks on them: in copies, or where there are none after all that writes them
        drawn = copies.enter_context(beside(lambda: _drawn(choice, assembly)))
        tell("coupon")
        extra = coupon(choice, assembly)
        tell("meshes")
        meshes = {part.name: sound_mesh(part.shape, part.volume) for part in (*own, *extra) if part.name != MIRRORED[1]}
        meshes[MIRRORED[1]] = meshes[MIRRORED[0]].mirrored
        seen = {part.name: meshes.get(part.name) or mesh_of(part.shape, *LOOKED_AT) for part in assembly.parts}
        proven = copies.enter_context(beside(lambda: prove(assembly.dimensions, shapes, meshes)))
        tell("masses")
        prints = {part.name: printing(part, meshes[part.name], scenario) for part in (*own, *extra) if part.name != MIRRORED[1]}
        prints[MIRRORED[1]] = replace(prints[MIRRORED[0]], part=assembly.part(MIRRORED[1]))
        masses = {part.name: weighed(part, scenario, prints.get(part.name)) for part in assembly.parts}
        files = Files(work)
        files.write("parameters.csv", parameters_csv(assembly.dimensions))
        files.write("parameters.json", parameters_json(assembly.dimensions))
        files.write("parts.csv", parts_csv(assembly, masses))
        files.write("print_list.csv", print_list_csv([prints[part.name] for part in own], scenario))
        files.write("assembly.md", assembly_page(choice, assembly).encode())
        files.write("coupon/coupon.md", coupon_page(choice, assembly, extra).encode())
        tell("print files")
        _print_files(files, ((print_folder(part), part) for part in own), meshes)
        _print_files(files, (("coupon", part) for part in extra), meshes)
        tell("assembly")
        title = f"wheel unit {choice.design['design']}"
        files.write("assembly.step", assembly_step(assembly, title))
        files.write("assembly.glb", scene(assembly.parts, seen))
        tell("drawing and proof of the geometry")
        for kind, sheet in drawn().items():
            files.write(f"drawing.{kind}", sheet)
        geometry = {"valid": valid, **proven()}
    tell("record")
    checks = (
        *mesh_checks((*own, *extra), meshes),
        *bed_checks(prints.values(), scenario.printer.bed),
        mass_check(assembly, masses, float(choice.design["mass_kg"])),
    )
    files.write("build.json", as_json(record(choice, assembly, [*files.names, "build.json"], checks, geometry, prints, masses)))
    return tuple(files.names), checks, geometry


def _drawn(choice: Choice, assembly: Assembly) -> dict[str, bytes]:
    """The drawing in each kind of file."""
    paper = drawing(choice, assembly)
    return {kind: paper.save(kind) for kind in ("svg", "pdf")}


@dataclass(frozen=True)
class Files:
    """Writes files below a folder and remembers their names."""

    root: Path

    def write(self, name: str, content: bytes) -> None:
        path = self.root / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(content)

    @property
    def names(self) -> list[str]:
        return sorted(path.relative_to(self.root).as_posix() for path in self.root.rglob("*") if path.is_file())


def _print_files(files: Files, parts: Iterable[tuple[str, Part]], meshes: dict[str, Mesh]) -> None:
    """One STEP and one 3MF of each part, as it lies on the bed."""
    for folder, part in parts:
        files.write(f"{folder}/{part.name}.step", step(part.shape.moved(part.plate), part.name))
        files.write(f"{folder}/{part.name}.3mf", print_mesh(meshes[part.name].moved(matrix_of(part.plate)), part.name))


def _rounded(value: Any) -> Any:
    """Numbers of a document to six figures: in what is measured on solids the last ones differ between processes."""
    if isinstance(value, float):
        return float(f"{value:.6g}")
    if isinstance(value, dict):
        return {name: _rounded(each) for name, each in value.items()}
    return [_rounded(each) for each in value] if isinstance(value, (list, tuple)) else value


def record(
    choice: Choice, assembly: Assembly, files: list[str], checks: tuple[Check, ...], geometry: dict[str, Any],
    prints: dict[str, Printing], masses: dict[str, Weighed],
) -> dict[str, object]:
    """What build.json says: of what, with what, what was proven."""
    own = [prints[part.name] for part in assembly.parts if part.name in prints]
    objective = {name: float(mass[0]) for name, mass in choice.assessment.mass.parts.items()}
    groups = mass_groups(assembly, masses, objective)
    return {
        "design": str(choice.design["design"]),
        "study": choice.study.name,
        "study_hash": choice.study.hash,
        "versions": dict(versions()),
        "holds": all(check.holds for check in checks) and not geometry["failures"],
        "proofs": [
            {"name": check.name, "holds": check.holds, "measured": float(f"{check.measured:.6g}"), "limit": check.limit,
             "unit": check.unit, "meaning": check.meaning} for check in checks
        ],
        "geometry": _rounded(geometry),
        "mass": {
            "solids_kg": round(sum(masses[part.name].total for part in assembly.parts), 6),
            "objective_kg": round(float(choice.design["mass_kg"]), 6),
            "groups": {name: {key: round(value, 6) for key, value in group.items()} for name, group in groups.items()},
        },
        "printing": {
            "hours": round(sum(how.hours for how in own), 2), "objective_hours": round(float(choice.design["print_time_h"]), 2),
            "beds": sum(how.plates for how in own),
        },
        "roller_in_place": assembly.dimensions.roller_in_place,
        "roller_in_place_how": assembly.dimensions.roller_in_place_reason,
        "cautions": cautions(choice),
        "files": sorted(files),
    }  # fmt: skip
