"""Proof that the solids of a design are the design: valid, clear of each other, and measured as they were asked.

Runs at each build; ``failures`` lists in words what does not hold.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

from objectives.phases import phase_lattice
from sweep.cad.assembly import Shift, assemble
from sweep.cad.dimensions import Dimensions
from sweep.cad.measured import contact_geometry, end_face, floor_depth, overlap_of, pockets, teeth_measured
from sweep.cad.meshes import SAME_POINT, Mesh
from sweep.cad.overlaps import NOISE, Overlap, meshes_of, still_overlaps, turning_overlaps
from sweep.cad.resting import resting

#: phases of hubs against carrier
PHASES = 8
#: mm and degrees that a measured solid may be off
LENGTH, ANGLE = 0.01, 0.05
#: share of the gap of a crowned roller that the mechanics may be off: they take the slope to second order
CROWNED_GAP = 0.015
#: of the backlash: what teeth must turn freely, and where they must touch
FREE, TOUCHING = 0.9, 1.1


def prove(d: Dimensions, shapes: Mapping[str, Any], known: Mapping[str, Mesh] | None = None) -> dict[str, Any]:
    """All proofs of valid solids of a design, as plain numbers and words. ``known`` meshes save making them anew."""
    failures: list[str] = []
    rest = [(_phase(row), resting(d.plan, _phase(row))) for row in phase_lattice(PHASES)]
    shifted = [(phase, state.shift) for phase, state in rest]
    document: dict[str, Any] = {}
    document["contact"] = _within(contact_geometry(d, shapes), "contact", failures)
    document["pockets"] = _pockets(d, shapes, failures)
    document["soft_contacts"] = _soft(d, shapes, rest, failures)
    document["gears"] = _gears(d, shapes, failures)
    meshes = meshes_of(shapes, known or {})
    still, pairs = still_overlaps(d, shapes, meshes, shifted[0][1])
    turning, turning_pairs = turning_overlaps(d, shapes, meshes, shifted)
    failures += [str(overlap) for overlap in still + turning]
    document["rigid_overlaps"] = {
        "phases": PHASES, "pairs_cut": pairs + turning_pairs, "found": [_told(overlap) for overlap in still + turning],
    }  # fmt: skip
    document["failures"] = failures
    return document


def _phase(row: Any) -> tuple[float, float, float]:
    return float(row[0]), float(row[1]), float(row[2])


def _told(overlap: Overlap) -> dict[str, Any]:
    return {"first": overlap.first, "second": overlap.second, "volume_mm3": overlap.volume, "phase": overlap.phase}


def _within(differences: dict[str, float], what: str, failures: list[str]) -> dict[str, float]:
    """Differences from the design, judged by the unit at the end of their names."""
    for name, value in differences.items():
        limit = ANGLE if name.endswith("_deg") else LENGTH
        if value > limit:
            failures.append(f"{what}: {name} is off by {value:.4g}, more than {limit:g}")
    return differences


def _pockets(d: Dimensions, shapes: Mapping[str, Any], failures: list[str]) -> dict[str, float]:
    found = pockets(d, shapes)
    asked = 2 * d.count("hub_roller_count")
    if found["count"] != asked:
        failures.append(f"pockets: {asked} pockets were asked for, {found['count']:g} found")
    _within({name: found[name] for name in ("off_mm", "lean_deg")}, "pockets", failures)
    return found


def _soft(d: Dimensions, shapes: Mapping[str, Any], rest: list[Any], failures: list[str]) -> dict[str, Any]:
    """Overlaps of the rollers at rest, and of rollers and floor, against the equilibrium's.

    Where the place of contact is past a roller's end the mechanics end the contact, and on the solids the edge of the end still
    presses. The rollers lie within endless ones, so it presses no deeper than those would overlap there. The mechanics take
    the place of the unloaded wheel. Closed hubs and rollers in their play shift it along the hub rollers, so that it may lie
    past an end: there the depth of longer hub rollers is what the equilibrium says, and these press less deep.
    """
    soft = {name: shapes[name] for name in ("output_roller", "hub_roller")}
    worst, floor, seen, edge, beyond, deepest, past = 0.0, 0.0, 0, 0.0, -math.inf, 0.0, 0.0
    for phase, state in rest:
        assembly = assemble(d, phase, state.shift, soft)
        for meeting in state.meetings:
            pressed = overlap_of(d, assembly, meeting)
            # a gap is as large as the closure that it takes from the overlap
            gap = max(sum(state.shift.closure) / 2 - pressed.depth, 0.0) if d["crown"] > 0 else 0.0
            allowed = LENGTH + CROWNED_GAP * gap
            if meeting.on_both and max(pressed.depth, meeting.overlap) > 0:
                seen += 1
                deepest, past = max(deepest, pressed.depth), max(past, pressed.past_end)
                worst = max(worst, abs(pressed.endless - meeting.overlap) / allowed)
            elif pressed.depth > 0 and pressed.inside:
                edge = max(edge, pressed.depth)
                beyond = max(beyond, pressed.depth - max(meeting.overlap, 0.0) - allowed)
        for i, depth in enumerate(state.floor_depths):
            if depth > -0.5:
                floor = max(floor, abs(max(floor_depth(assembly, i, state.shift.height), 0.0) - max(depth, 0.0)))
    if worst > 1:
        failures.append(f"soft contacts: an overlap is off by {worst:.3g} times what is allowed")
    if beyond > 0:
        failures.append(f"soft contacts: the edge of a roller's end presses {beyond:.3g} mm deeper than endless rollers would")
    if floor > LENGTH:
        failures.append(f"soft contacts: a roller's depth in the floor is off by {floor:.3g} mm")
    return {
        "phases": len(rest), "contacts": seen, "deepest_mm": deepest, "off_over_allowed": worst, "past_ends_mm": past,
        "at_edges_mm": edge, "floor_off_mm": floor,
    }  # fmt: skip


def _gears(d: Dimensions, shapes: Mapping[str, Any], failures: list[str]) -> dict[str, Any]:
    """Teeth against ISO 53 rack A, and the pair at its centre distance."""
    from build123d import Rot

    upright = Rot(90, 0, 0)
    faces = {
        "gear": end_face(shapes["hub_left"].moved(upright), d["gear_offset_mm"] + d["gear_width_mm"] / 2),
        "pinion": end_face(shapes["pinion"], d["gear_width_mm"]),
    }
    document: dict[str, Any] = {}
    module, thickness = d["gear_module_mm"], math.pi * d["gear_module_mm"] / 2 - d["backlash_mm"] / 2
    for name, face in faces.items():
        teeth = d.count(f"{name}_teeth")
        found = teeth_measured(face, module * teeth / 2)
        document[name] = found
        _within({
            "addendum_mm": abs(found["tip_radius_mm"] - module * (teeth / 2 + 1)),
            "dedendum_mm": abs(found["root_radius_mm"] - module * (teeth / 2 - 1.25)),
            "thickness_mm": abs(found["thickness_mm"] - thickness),
            "pressure_angle_deg": abs(found["pressure_angle_deg"] - 20.0),
            "teeth_mm": abs(found["count"] - teeth),
        }, name, failures)  # fmt: skip
    small = {"hub_left": shapes["hub_left"], "pinion": shapes["pinion"]}
    slack = math.degrees(d["backlash_mm"] / 2 / d["pinion_pitch_radius_mm"])
    shared, touching, distance = 0.0, True, 0.0
    for row in phase_lattice(PHASES):
        assembly = assemble(d, _phase(row), Shift(), small)
        gear = _near_pinion(faces["gear"].moved(upright.inverse()).moved(assembly.part("hub_left").places[0]), d)
        place = assembly.part("pinion").places[0]
        distance = math.hypot(place.position.X, place.position.Z)
        shared = max(shared, _shared_area(gear, faces["pinion"].moved(place)))
    for sense in (-1, 1):
        free, tight = (faces["pinion"].moved(place * Rot(0, 0, sense * share * slack)) for share in (FREE, TOUCHING))
        shared, touching = max(shared, _shared_area(gear, free)), touching and _shared_area(gear, tight) > 0
    if shared * d["gear_width_mm"] > NOISE:
        failures.append(f"gears: teeth share {shared:.3g} mm^2")
    if not touching:
        failures.append("gears: the teeth have more backlash than asked")
    _within({"centre_distance_mm": abs(distance - d["centre_distance_mm"])}, "gears", failures)
    return document | {"shared_mm2": shared, "backlash_as_asked": touching, "centre_distance_mm": distance}


def _near_pinion(face: Any, d: Dimensions) -> Any:
    """The wedge of a gear about the shaft that the teeth of a pinion over the shaft can reach: a few teeth instead of all."""
    from build123d import Edge, Face, Wire

    reach = math.asin(min((d["pinion_pitch_radius_mm"] + 2 * d["gear_module_mm"]) / d["centre_distance_mm"], 1.0))
    edges = [edge for edge in face.outer_wire().edges() if _leaning(edge @ 0.5) < reach + 2 * math.pi / d.count("gear_teeth")]
    corners = [tuple(edge @ share) for edge in edges for share in (0, 1)]
    ends = [corner for corner in corners if sum(math.dist(corner, other) < SAME_POINT for other in corners) == 1]
    middle = (0.0, ends[0][1], 0.0)
    return Face(Wire([*edges, *(Edge.make_line(end, middle) for end in ends)]))


def _leaning(point: Any) -> float:
    """Angle of a place about the shaft, from straight up [rad]."""
    return abs(math.atan2(point.X, point.Z))


def _shared_area(first: Any, second: Any) -> float:
    shared = first.intersect(second)
    return sum((face.area for shape in shared for face in shape.faces()), 0.0) if shared else 0.0

