"""Geometry of a pass: the kernel against searches over axes and over true surfaces, and against vectors."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import minimize, minimize_scalar

from objectives.contact_pass import Contact, pass_contact, roller_radius, speed_ratio, touches
from objectives.engagement import meet, stand
from objectives.phases import laws_of
from objectives.workspace import ALONG_C, ALONG_T, CONTACT, GAP, SIDE, SLOTS, new_workspace
from tests.kernel_inputs import kernel_geometry, kernel_row
from tests.reference import slow_geometry
from tests.reference.slow_geometry import R, T, Y, common_perpendicular, roller_outline
from tests.reference.slow_wheel import SlowWheel, typical_wheel

ANGLES = ((45, 45), (60, 35), (30, 55))


def askew(beta: float, gamma: float, **changes: float) -> SlowWheel:
    return typical_wheel(contact_angle=math.radians(beta), skew_angle=math.radians(gamma), **changes)


def kernel_contact(wheel: SlowWheel, eps_deg: float) -> Contact:
    return Contact(*pass_contact(kernel_geometry(wheel), math.radians(eps_deg)))


def surface_contact(wheel: SlowWheel, eps_deg: float) -> tuple[float, float, np.ndarray, np.ndarray]:
    """Station along the output roller [m], gap [m], contact point on its true surface, hub roller's axis: by search."""
    centre, a = slow_geometry.hub_roller_axis(wheel, math.radians(eps_deg), 1, 0.0, False)
    start = slow_geometry.pass_contact(wheel, math.radians(eps_deg))

    def surface(place: np.ndarray) -> np.ndarray:
        z, angle = place[0] * 1e-3, place[1]
        return wheel.pitch_radius * R + z * T + float(roller_outline(wheel, z)) * (math.cos(angle) * R + math.sin(angle) * Y)

    def distance(place: np.ndarray) -> float:
        offset = centre - surface(place)
        return float(np.linalg.norm(offset - (offset @ a) * a)) * 1e3

    first = [start.z_o * 1e3, math.atan2(start.normal[2], start.normal[0])]
    options = {"xatol": 1e-9, "fatol": 1e-13, "maxiter": 4000, "maxfev": 4000}
    found = minimize(distance, first, method="Nelder-Mead", options=options)
    return found.x[0] * 1e-3, found.fun * 1e-3 - wheel.hub_roller_radius, surface(found.x), a


@pytest.mark.parametrize(("beta", "gamma"), ANGLES)
@pytest.mark.parametrize("eps_deg", [-11.0, -4.0, 0.0, 3.0, 10.0])
def test_straight_rollers_meet_on_the_common_perpendicular(beta: float, gamma: float, eps_deg: float) -> None:
    wheel = askew(beta, gamma)
    found = kernel_contact(wheel, eps_deg)
    place, gap = common_perpendicular(wheel, math.radians(eps_deg))
    assert found.gap == pytest.approx(gap, abs=1e-14)
    assert found.place_output == pytest.approx(place, abs=1e-14)
    expected = slow_geometry.pass_contact(wheel, math.radians(eps_deg))
    assert found.place_hub == pytest.approx(expected.z_h, abs=1e-8)
    assert (found.inward, found.axial) == pytest.approx((-expected.normal[0], expected.normal[2]), abs=1e-7)
    assert (found.along_c, found.along_t) == pytest.approx((expected.a @ expected.c, expected.a[1]), abs=1e-7)


@pytest.mark.parametrize(("beta", "gamma"), ANGLES)
@pytest.mark.parametrize("eps_deg", [-10.0, 0.0, 7.0])
def test_levers_are_moments_about_the_shaft(beta: float, gamma: float, eps_deg: float) -> None:
    wheel = askew(beta, gamma)
    found = kernel_contact(wheel, eps_deg)
    normal = -found.inward * R + found.axial * Y
    point = wheel.pitch_radius * R + found.place_output * T + wheel.output_roller_radius * normal
    c = np.cross(T, normal)
    moment = [float(np.cross(Y, point) @ direction) for direction in (T, c)]  # of a unit force; y x r = t is forwards
    assert (found.lever_t, found.lever_c) == pytest.approx(moment, abs=1e-12)
    a = slow_geometry.pass_contact(wheel, math.radians(eps_deg)).a
    ratio = float(np.cross(Y, point) @ a) / float(a @ c)
    assert speed_ratio(found) == pytest.approx(ratio, rel=1e-6)


@pytest.mark.parametrize(("beta", "gamma"), ANGLES)
def test_at_the_middle_the_ratio_is_the_cotangent_of_the_skew(beta: float, gamma: float) -> None:
    wheel = askew(beta, gamma, crown=0.7)
    found = kernel_contact(wheel, 0.0)
    assert speed_ratio(found) == pytest.approx(wheel.contact_circle_radius / math.tan(wheel.skew_angle), rel=1e-12)
    assert (found.place_output, found.place_hub, found.gap) == pytest.approx((0, 0, 0), abs=1e-15)
    assert (found.inward, found.axial) == pytest.approx((math.sin(wheel.contact_angle), math.cos(wheel.contact_angle)))


@pytest.mark.parametrize("crown", [0.0, 0.4, 1.0])
def test_outline_of_an_output_roller(crown: float) -> None:
    wheel = typical_wheel(crown=crown)
    for z in (0.0, 5e-3, -12e-3):
        assert roller_radius(kernel_geometry(wheel), z) == pytest.approx(float(roller_outline(wheel, z)), rel=1e-14)
    if crown == 1.0:  # follows the rim
        assert math.hypot(wheel.pitch_radius + roller_radius(kernel_geometry(wheel), 8e-3), 8e-3) == pytest.approx(90e-3)


# measured over -11.5..11.5 degrees: 0.50, 0.30 and 0.68 % of the gap (or of 0.1 mm where that is more); 4.3, 2.6 and 5.9 % with
# the sphere of radius r(z)
@pytest.mark.parametrize(("angles", "bound"), [((45, 45), 0.0055), ((60, 35), 0.0035), ((30, 55), 0.0075)])
@pytest.mark.parametrize("eps_deg", [-11.0, -5.0, 5.0, 11.0])
def test_gap_of_a_barrel_is_that_of_its_true_surface(angles: tuple[float, float], bound: float, eps_deg: float) -> None:
    wheel = askew(*angles, crown=1.0)
    gap = surface_contact(wheel, eps_deg)[1]
    found = kernel_contact(wheel, eps_deg).gap
    assert abs(found - gap) < bound * max(gap, 1e-4)
    plain = slow_geometry.pass_contact(wheel, math.radians(eps_deg)).gap
    assert abs(found - gap) < 0.2 * abs(plain - gap)


@pytest.mark.parametrize("crown", [0.5, 1.0])
def test_gap_of_a_crown_is_the_smallest_over_its_spheres(crown: float) -> None:
    """The rule of the docstring, minimised by search; the contact is where the sphere found is touched."""
    wheel = typical_wheel(crown=crown)
    for eps_deg in (-11.0, 3.0, 11.0):
        found = kernel_contact(wheel, eps_deg)
        centre, a = slow_geometry.hub_roller_axis(wheel, math.radians(eps_deg), 1, 0.0, False)

        def to_axis(z: float, centre: np.ndarray = centre, a: np.ndarray = a) -> np.ndarray:
            offset = centre - wheel.pitch_radius * R - z * T
            return offset - (offset @ a) * a

        def sphere(z: float) -> float:
            slope = crown * z / math.sqrt(wheel.wheel_radius**2 - z * z)
            return float(roller_outline(wheel, z)) - wheel.output_roller_radius * slope**2 / 2

        def gap(z: float) -> float:
            return float(np.linalg.norm(to_axis(z))) - sphere(z) - wheel.hub_roller_radius

        best = minimize_scalar(gap, bounds=(-15e-3, 15e-3), method="bounded", options={"xatol": 1e-11})
        assert found.gap == pytest.approx(float(best.fun), abs=1e-13)
        touched = best.x + sphere(best.x) * to_axis(best.x)[1] / np.linalg.norm(to_axis(best.x))
        assert found.place_output == pytest.approx(touched, abs=1e-8)


@pytest.mark.parametrize("eps_deg", [-10.0, 5.0, 10.0])
def test_moment_of_a_crowned_roller_is_that_of_its_true_surface(eps_deg: float) -> None:
    wheel = typical_wheel(crown=1.0)
    found = kernel_contact(wheel, eps_deg)
    _, _, point, a = surface_contact(wheel, eps_deg)
    lever = found.along_t * found.lever_t + found.along_c * found.lever_c
    assert lever == pytest.approx(float(np.cross(Y, point) @ a), rel=0.011)


@pytest.mark.parametrize("eps_deg", [-10.0, 10.0])
def test_place_on_a_crowned_roller_is_where_its_surface_is_touched(eps_deg: float) -> None:
    wheel = typical_wheel(crown=1.0)
    assert kernel_contact(wheel, eps_deg).place_output == pytest.approx(surface_contact(wheel, eps_deg)[0], rel=0.006)


@settings(max_examples=60, deadline=None)
@given(
    beta=st.floats(20, 65), gamma=st.floats(30, 65), eps=st.floats(-0.2, 0.2), crown=st.floats(0, 1), r_h=st.floats(3e-3, 8e-3)
)
def test_directions_are_unit_vectors_and_the_other_winding_mirrors(
    beta: float, gamma: float, eps: float, crown: float, r_h: float
) -> None:
    wheel = askew(beta, gamma, crown=crown, hub_roller_radius=r_h)
    g = kernel_geometry(wheel)
    found = Contact(*pass_contact(g, eps))
    assert math.hypot(found.inward, found.axial) == pytest.approx(1.0, abs=1e-12)
    assert math.hypot(found.along_c, found.along_t) == pytest.approx(1.0, abs=1e-12)
    # skew wound the other way round, hub roller on the other side: t turns into -t
    other = Contact(*pass_contact(g._replace(cos_skew=-g.cos_skew), -eps))
    assert other.gap == pytest.approx(found.gap, abs=1e-13)
    assert (other.place_output, other.place_hub) == pytest.approx((-found.place_output, found.place_hub), abs=1e-12)
    assert (other.along_t, other.along_c) == pytest.approx((-found.along_t, found.along_c), abs=1e-12)
    assert (other.lever_t, other.lever_c) == pytest.approx((found.lever_t, -found.lever_c), abs=1e-12)


@pytest.mark.parametrize("counts", [(15, 22), (12, 12), (9, 31), (22, 15), (4, 64)])
@pytest.mark.parametrize("shares", [(0.2, 0.7), (0.93, 0.05), (0.47, 1.43)])
def test_every_hub_roller_meets_its_nearest_output_roller(counts: tuple[int, int], shares: tuple[float, float]) -> None:
    wheel = typical_wheel(N=counts[0], M=counts[1])
    row, work = kernel_row(wheel)[0], new_workspace()
    pitch = 2 * math.pi / wheel.M
    placed = slow_geometry.engaged_contacts(wheel, (0.0, shares[0] * pitch, shares[1] * pitch))
    for side, share in enumerate(shares):
        found = meet(kernel_geometry(wheel), laws_of(row), side, share * pitch, work)
        expected = sorted((p.roller, p.contact.gap) for p in placed if p.contact.side == 1 - 2 * side)
        seen = [
            (i, float(work.contacts[side * SIDE + slot * CONTACT + GAP + i]))
            for slot in range(work.slots[side])
            for i in range(wheel.N)
            if work.contacts[side * SIDE + slot * CONTACT + GAP + i] < 1.0
        ]
        assert found == len(expected) == len(seen)
        assert [roller for roller, _ in sorted(seen)] == [roller for roller, _ in expected]
        assert sorted(gap for _, gap in seen) == pytest.approx(sorted(gap for _, gap in expected), abs=1e-12)


def test_slots_are_enough_for_the_most_hub_rollers_and_are_emptied() -> None:
    row, work = kernel_row(typical_wheel(N=4, M=64, output_roller_length=1.0, hub_roller_length=1.0))[0], new_workspace()
    assert meet(kernel_geometry(typical_wheel(N=4, M=64, output_roller_length=1.0, hub_roller_length=1.0)), laws_of(row), 0,
                0.3, work) == 64  # fmt: skip
    assert work.slots[0] <= SLOTS
    small = typical_wheel(N=15, M=15)
    assert meet(kernel_geometry(small), laws_of(kernel_row(small)[0]), 0, 0.0, work) == 15
    assert work.slots[0] == 1
    assert np.all(work.contacts[GAP : GAP + 15] < 1.0)
    assert np.all(work.contacts[GAP + 15 : GAP + 32] > 1.0)
    assert np.all(work.contacts[ALONG_C + 15 : ALONG_C + 32] == 0.0)
    assert np.all(work.contacts[ALONG_T : ALONG_T + 15] > 0.5)


def test_a_contact_must_lie_on_both_rollers() -> None:
    wheel = typical_wheel()
    g, far = kernel_geometry(wheel), math.radians(10)
    contact = pass_contact(g, far)
    assert touches(g, contact)
    assert not touches(g._replace(half_output_length=0.99 * abs(contact.place_output)), contact)
    assert not touches(g._replace(half_hub_length=0.99 * abs(contact.place_hub)), contact)


@pytest.mark.parametrize(
    ("count", "share"),
    [(8, 0.001), (15, 0.31), (26, 0.499), (26, 0.999), (15, 0.5), (26, 0.5)],
)
def test_rollers_that_can_stand_on_the_floor_are_the_lowest(count: int, share: float) -> None:
    wheel = typical_wheel(N=count, M=20)
    work, carrier = new_workspace(), share * 2 * math.pi / count
    standing = stand(laws_of(kernel_row(wheel)[0]), carrier, work)
    angles = slow_geometry.roller_angles(wheel, (carrier, 0.0, 0.0))
    lowest = np.argsort(np.abs(angles))
    found = set(work.floor_roller[:standing])
    assert set(lowest[:2]) <= found
    if share != 0.5:  # else the third is as low as the fourth, and neither touches
        assert found == set(lowest[:3])
    for k in range(standing):
        assert work.floor_angle[k] == pytest.approx(
            [angles[work.floor_roller[k]], math.cos(angles[work.floor_roller[k]]), math.sin(angles[work.floor_roller[k]])],
            abs=1e-12,
        )
