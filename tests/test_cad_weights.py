"""Masses and print times of simple parts, worked by hand."""

from __future__ import annotations

import json
from dataclasses import replace

import pytest

from sweep.cad.checks import mass_check, mass_groups, mesh_checks
from sweep.cad.meshes import Mesh, mesh_of
from sweep.cad.tables import as_csv, as_json
from sweep.cad.weights import printing, weighed
from sweep.study import load_study
from tests.command_line import SHIPPED
from tests.simple_assembly import DISC, ROD, TYRE_VOLUME, simple_assembly

pytestmark = pytest.mark.usefixtures("cad_libraries")


def scenario():
    return load_study(SHIPPED).scenario


def judged_by(**build):
    one = scenario()
    return replace(one, build=replace(one.build, **build))


def test_a_part_printed_solid_weighs_its_volume():
    one = judged_by(infill=1.0)
    part = simple_assembly().part("carrier")
    how = printing(part, mesh_of(part.shape), one)
    assert how.mass == pytest.approx(DISC * 1e-9 * one.catalogue.materials["petg"].density, rel=2e-3)
    assert how.size == pytest.approx((120, 120, 12), abs=0.05)


def test_a_disc_s_shell_and_infill():
    """Within walls of w the disc leaves a ring of radii 11 + w and 60 - w, 12 - 2 w thick."""
    one = judged_by(walls=4, infill=0.25)
    wall = 4 * 1.125 * one.printer.nozzle * 1e3
    part = simple_assembly().part("carrier")
    core = ((60 - wall) ** 2 - (11 + wall) ** 2) / (60**2 - 11**2) * (12 - 2 * wall) / 12 * DISC
    exact = DISC - 0.75 * core
    assert printing(part, mesh_of(part.shape), one).plastic == pytest.approx(exact, rel=0.01)


def test_tyres_are_printed_solid_and_share_beds():
    """Beds of 220 x 220 mm hold 6 x 6 rollers of 30 mm; melting at 0.7 of the material's flow, 4 s a layer."""
    one = judged_by(infill=0.1, layer=2e-4)
    part = simple_assembly().part("output_roller")
    how = printing(part, mesh_of(part.shape), one)
    flow = min(one.catalogue.materials["tpu90a"].flow_limit, one.printer.flow) * 1e9
    assert how.infill == 1.0
    assert how.plates == 1
    assert how.hours * 3600 == pytest.approx(6 * TYRE_VOLUME / flow / 0.7 + 4 * 30 / 0.2, rel=5e-3)
    crowded = replace(one, printer=replace(one.printer, bed=(0.07, 0.07, 0.24)))
    assert printing(part, mesh_of(part.shape), crowded).plates == 2


def test_bought_parts_weigh_what_the_catalogue_says_or_their_steel():
    assembly, one = simple_assembly(), scenario()
    bearing, rod = assembly.part("radial_bearing"), assembly.part("output_axle")
    assert weighed(bearing, one, None).mass == one.catalogue.bearings["6800"].mass
    assert weighed(rod, one, None).mass == pytest.approx(ROD * 7850e-9)


def test_masses_are_compared_group_by_group():
    assembly, one = simple_assembly(), scenario()
    masses = {}
    for part in assembly.parts:
        how = printing(part, mesh_of(part.shape), one) if part.make in ("printed", "tyre") else None
        masses[part.name] = weighed(part, one, how)
    keys = ("carrier", "output_tyres", "output_cores", "roller_bearings", "output_axles", "hub_roller_bolts", "hub_rollers",
            "hub_bodies", "gears", "pinions", "caps", "carrier_screws", "hub_bearings", "shaft", "shaft_nuts", "springs",
            "motors", "side_shims", "core_bushings")  # fmt: skip
    groups = mass_groups(assembly, masses, dict.fromkeys(keys, 0.01))
    assert groups["output tyres"]["solids_kg"] == pytest.approx(6 * masses["output_roller"].mass)
    assert groups["hubs and gears"] == {"solids_kg": 0.0, "objective_kg": 0.02}
    whole = sum(group["solids_kg"] for group in groups.values())
    assert whole == pytest.approx(sum(one.total for one in masses.values()))
    assert mass_check(assembly, masses, whole / 1.02).holds
    assert not mass_check(assembly, masses, whole / 1.04).holds


def test_a_mesh_that_is_open_or_too_coarse_fails():
    assembly = simple_assembly()
    fine = {part.name: mesh_of(part.shape) for part in assembly.parts}
    assert all(check.holds for check in mesh_checks(assembly.parts, fine))
    open_one = Mesh(fine["output_axle"].vertices, fine["output_axle"].triangles[:-1])
    coarse = mesh_of(simple_assembly().part("carrier").shape, 5.0, 1.5)
    failed = mesh_checks(assembly.parts, fine | {"output_axle": open_one, "carrier": coarse})
    assert [check.name for check in failed if not check.holds] == ["mesh of carrier", "mesh of output_axle"]


def test_tables_are_plain():
    assert as_csv(("a", "b"), [(1, "x, y")]) == b'a,b\n1,"x, y"\n'
    assert json.loads(as_json({"a": float("nan")})) == {"a": None}
