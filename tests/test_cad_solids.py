"""Solids of a wheel unit: valid, in their places, measured, and clear of each other."""

import dataclasses
import math

import numpy as np
import pytest

from objectives.phases import phase_lattice
from sweep.cad.dimensions import dimensions_of
from sweep.designs import baseline_designs
from sweep.study import load_study

pytestmark = pytest.mark.usefixtures("cad_libraries")

CROWNED = {"crown": 0.7, "bore": "ball", "tyre_thickness_mm": 4.0}


def dimensions(study_name="balancing", **changes):
    study = load_study(f"studies/{study_name}.toml")
    return dimensions_of(study, baseline_designs(study).iloc[0].to_dict() | changes)


@pytest.fixture(scope="module")
def baseline(cad_libraries):
    from sweep.cad.assembly import solids

    d = dimensions()
    return d, solids(d)


@pytest.mark.parametrize("changes", [{}, {"crown": 0.7}, CROWNED, {**CROWNED, "bore": "bushed", "crown": 1.0}])
def test_roller_against_the_integral_of_its_outline(changes):
    """pi times the integral of r(z)^2, r = (1 - crown) r_o + crown (sqrt(R_w^2 - z^2) - R_p), by fine sums."""
    from sweep.cad import rollers

    d = dimensions(**changes)
    half, wheel = d["output_roller_length_mm"] / 2, 90.0
    z = (np.arange(20000) + 0.5) / 10000 * half - half
    radius = (1 - d["crown"]) * 15 + d["crown"] * (np.sqrt(wheel**2 - z**2) - 75)
    whole = math.pi * np.mean(radius**2) * 2 * half
    body = rollers.roller_body(d)
    assert body.is_valid
    assert body.volume == pytest.approx(whole, rel=1e-6)
    soft = rollers.soft_roller(d)
    if d.words["bore"] == "plain":
        assert soft.volume == pytest.approx(whole - math.pi * 2.2**2 * 2 * half, rel=1e-6)
    else:
        inside = math.pi * np.mean((radius - 4) ** 2) * 2 * half
        assert soft.volume == pytest.approx(whole - inside, rel=1e-6)
        assert rollers.core(d).is_valid


@pytest.mark.parametrize("teeth", [20, 56])
def test_gear_against_a_library(teeth):
    """bd_warehouse draws the same involute without a root fillet: the same tip and root, a little less at the roots."""
    from bd_warehouse.gear import SpurGear

    from sweep.cad.gears import Teeth, spur_gear

    ours = spur_gear(Teeth(1.5, teeth, 1.5, 1.875, 20.0, 0.0), 12.0)
    theirs = SpurGear(1.5, teeth, 20.0, 12.0)
    assert ours.is_valid
    assert ours.volume == pytest.approx(theirs.volume, rel=0.015)
    across = ours.bounding_box().size.X
    assert across == pytest.approx(1.5 * (teeth + 2), abs=1e-3)


def test_hub_and_carrier_are_in_one_piece_and_mirror(baseline):
    _, shapes = baseline
    for name in ("hub_left", "hub_right", "carrier_half_left", "carrier_half_right"):
        assert shapes[name].is_valid, name
        assert len(shapes[name].solids()) == 1, name
    left, right = shapes["hub_left"], shapes["hub_right"]
    assert left.volume == pytest.approx(right.volume)
    offset = left.center().Y
    assert offset == pytest.approx(-right.center().Y)


#: a castered wheel whose hub has long edges that the kernel makes one at the price of a face that it then finds unsound
LONG_EDGES = {
    "output_roller_count": 13, "hub_roller_count": 16, "wheel_diameter_mm": 157.9059, "output_roller_diameter_mm": 29.2088,
    "output_roller_fill": 0.7229, "crown": 0.0, "hub_roller_diameter_mm": 14.4615, "hub_roller_length_mm": 11.118,
    "contact_angle_deg": 42.9841, "skew_angle_deg": 45.0003, "hub_axle_diameter_mm": 2.5, "preload_N": 220.5137,
    "preload_stiffness_N_per_mm": 20.4512, "output_tyre": "tpu95a", "hub_tyre": "tpu95a", "bore": "plain",
    "bore_play_mm": 0.4119, "axle_diameter_mm": 3.0, "carrier_thickness_mm": 10.1497, "motor": "brushless42_24v_10to1",
    "gear_module_mm": 2.0, "pinion_teeth": 18, "gear_teeth": 44,
}  # fmt: skip


def test_edges_stay_in_pieces_where_a_hub_is_unsound_otherwise():
    from sweep.cad.hub import body
    from sweep.cad.meshes import mesh_of

    made = body(dimensions("castered", **LONG_EDGES))
    assert made.is_valid
    mesh = mesh_of(made)
    assert mesh.watertight
    assert mesh.volume == pytest.approx(made.volume, rel=0.005)


def test_parts_are_named_counted_and_lie_on_the_bed(baseline):
    from sweep.cad.assembly import assemble

    d, shapes = baseline
    assembly = assemble(d, shapes=shapes)
    counts = {part.name: part.count for part in assembly.parts}
    assert counts["output_roller"] == counts["output_axle"] == counts["clamp_screw"] == 12
    assert counts["hub_roller"] == counts["hub_bolt"] == 34
    assert counts["hub_washer"] == 68
    assert counts["radial_bearing"] == 5
    for part in assembly.parts:
        assert part.title
        if part.make in ("printed", "tyre"):
            lowest = part.shape.moved(part.plate).bounding_box().min.Z
            assert lowest == pytest.approx(0, abs=1e-6), part.name
        else:
            assert part.designation, part.name


def test_contact_and_pockets_measure_as_designed(baseline):
    from sweep.cad.measured import contact_geometry, pockets

    found = contact_geometry(*baseline)
    assert all(value < 0.01 for value in found.values()), found
    of_pockets = pockets(*baseline)
    assert of_pockets["count"] == 34
    assert of_pockets["off_mm"] < 0.01
    assert of_pockets["lean_deg"] < 0.05


def test_a_hub_of_other_angles_is_found_out(baseline):
    """Rollers laid for 45 degrees of skew do not lie in pockets cut for 46."""
    from sweep.cad.hub import hub
    from sweep.cad.measured import contact_geometry, pockets

    d, shapes = baseline
    skewed = dimensions(skew_angle_deg=46.0)
    assert pockets(d, {**shapes, "hub_left": hub(skewed)})["lean_deg"] == pytest.approx(1.0, abs=0.1)
    assert contact_geometry(dataclasses.replace(d, entries={**d.entries, "contact_circle_radius_mm": dataclasses.replace(
        d.entries["contact_circle_radius_mm"], value=64.0)}), shapes)["contact_circle_radius_mm"] > 0.3  # fmt: skip


@pytest.mark.parametrize("changes", [{}, {"crown": 0.7}, {"hub_roller_length_mm": 9.0, "bore_play_mm": 0.6}])
def test_soft_contacts_press_as_deep_as_the_equilibrium_says(changes):
    from sweep.cad.assembly import assemble
    from sweep.cad.measured import overlap_of
    from sweep.cad.resting import resting
    from sweep.cad.rollers import hub_roller, soft_roller

    d = dimensions(**changes)
    shapes = {"output_roller": soft_roller(d), "hub_roller": hub_roller(d)}
    phase = tuple(float(share) for share in phase_lattice(3)[2])
    state = resting(d.plan, phase)
    assembly = assemble(d, phase, state.shift, shapes)
    pressed = [m for m in state.meetings if m.on_both and m.overlap > 0]
    assert len(pressed) > 12
    for meeting in pressed:
        measured = overlap_of(d, assembly, meeting)
        assert measured.endless == pytest.approx(meeting.overlap, abs=0.01)
        assert measured.depth == measured.endless if measured.inside else measured.depth <= measured.endless + 1e-9
    ends = [overlap_of(d, assembly, meeting).past_end for meeting in pressed]
    assert (max(ends) > 0.3) == ("hub_roller_length_mm" in changes)
    # past the ends an edge presses, no deeper than endless rollers would overlap there
    past = [(m, overlap_of(d, assembly, m)) for m in state.meetings if not m.on_both]
    assert all(found.depth <= max(m.overlap, 0.0) + 0.01 for m, found in past if found.inside)
    still = assemble(d, phase, shapes=shapes)
    assert max(overlap_of(d, still, meeting).depth for meeting in pressed) < 0.1  # nothing presses before the hubs close


@pytest.mark.parametrize("thickness", [6.0, 7.2, 7.9, 9.9])
def test_a_carrier_of_any_thickness_has_room_for_its_screws_and_nuts(thickness):
    from sweep.cad import carrier, hardware
    from sweep.cad.assembly import Shift
    from sweep.cad.overlaps import meshes_of, still_overlaps

    d = dimensions(carrier_thickness_mm=thickness)
    halves = {f"carrier_half_{name}": carrier.carrier_half(d, side) for name, side in (("left", 1), ("right", -1))}
    screw = hardware.countersunk_screw(hardware.CLAMP, d["clamp_screw_length_mm"])
    few = halves | {"clamp_screw": screw, "clamp_nut": hardware.hex_nut(hardware.CLAMP)}
    found, _ = still_overlaps(d, few, meshes_of(few, {}), Shift())
    assert not found
    end = d["clamp_screw_length_mm"] - d["clamp_head_sunk_mm"]  # from the left face
    assert end <= thickness + 1e-9
    assert d["clamp_nut_pocket_mm"] <= thickness / 2 - 0.6 + 1e-9
    assert min(d["clamp_nut_pocket_mm"] - (thickness - end), 2.4) >= 0.75 * 2.4 - 1e-9


def test_an_overlap_of_rigid_parts_is_found_out(baseline):
    """An axle of 5 mm in grooves of 4 mm: pi/4 (25 - 16) times its length in the arms."""
    from sweep.cad.assembly import Shift
    from sweep.cad.overlaps import meshes_of, still_overlaps
    from sweep.cad.shapes import rod

    d, shapes = baseline
    few = {name: shapes[name] for name in ("carrier_half_left", "output_axle", "side_shim", "clamp_screw")}
    found, _ = still_overlaps(d, few, meshes_of(few, {}), Shift())
    assert not found
    thick = rod(2.5, -d["axle_length_mm"] / 2, d["axle_length_mm"] / 2)
    few["output_axle"] = thick
    found, _ = still_overlaps(d, few, meshes_of(few, {}), Shift())
    assert ("carrier_half_left", "output_axle") in {(overlap.first, overlap.second) for overlap in found}
    held = d["axle_length_mm"] - 2 * d["window_half_width_mm"]
    volume = next(overlap.volume for overlap in found if overlap.first == "carrier_half_left")
    assert volume == pytest.approx(math.pi / 8 * (25 - 16) * held, rel=0.1)
