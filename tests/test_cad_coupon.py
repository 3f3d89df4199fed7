"""What the coupon's readings mean: against closed formulas, tables and numbers from outside."""

from __future__ import annotations

import inspect
import math
import re

import numpy as np
import pytest
from scipy.special import ellipe, ellipk

from sweep.cad import measures
from sweep.cad.coupon import GAUGE_CLEARANCES, MARKS, STRIP_THICKNESS, Sizes, cradle, strip
from sweep.cad.coupon_text import squash_at
from sweep.cad.measures import (
    bore_friction_from_wrap,
    friction_from_drag,
    friction_from_wrap,
    modulus_from_squash,
    modulus_from_stretch,
    squash_area,
    squash_force,
)
from sweep.cad.meshes import mesh_of

SIZES = Sizes(
    roller_length=25.0, roller_radius=15.0, outline_radius=math.inf, axle_diameter=4.0, axle_length=36.0, play=0.2,
    side_washer=0.5, screw_diameter=3.0, hub_roller_length=16.0, strip_width=10.0, cheek=5.0, clearance=0.25,
)  # fmt: skip


def test_stretch_is_hooke_s_law():
    """A rod of 20 mm^2 and 100 mm of E = 200 GPa grows by 0.05 mm under 2 kN (any handbook)."""
    assert modulus_from_stretch(2000.0, 100.0, 5.0, 4.0, 0.05) == pytest.approx(200e3)


@pytest.mark.parametrize("turns", [0.25, 0.5, 1.0, 1.5])
def test_wrap_against_the_rope_table(turns):
    """Eytelwein's e^(mu theta) at mu = 0.3: 1.602, 2.566, 6.586, 16.90 for a quarter, half, one and one and a half turns
    (printed in handbooks; values from memory, and they are exp). The coupon's strip lies half round."""
    ratio = {0.25: 1.602, 0.5: 2.566, 1.0: 6.586, 1.5: 16.90}[turns]
    assert friction_from_wrap(ratio, 1.0) == pytest.approx(0.3 * 2 * turns, rel=2e-3)


def test_bore_friction_is_the_balance_of_moments():
    """Without friction both ends carry the same; with it the moments about the axle's middle cancel."""
    assert bore_friction_from_wrap(5.0, 5.0, 30.0, 4.0) == 0.0
    friction = bore_friction_from_wrap(6.0, 5.0, 30.0, 4.0)
    assert pytest.approx(friction * (6.0 + 5.0) * 2.0) == (6.0 - 5.0) * 15.0
    assert friction_from_drag(3.0, 5.0) == 0.6


@pytest.mark.parametrize(("depth", "outline"), [(0.1, 90.0), (0.5, 90.0), (0.3, math.inf), (2.0, 60.0)])
def test_squashed_area_is_the_sum_of_its_slices(depth, outline):
    z = np.linspace(-12.5, 12.5, 200_001)
    deep = np.maximum(depth - z**2 / (2 * outline), 0.0)
    assert squash_area(depth, 25.0, outline) == pytest.approx(np.trapezoid(deep, z), rel=1e-6)


@pytest.mark.parametrize("outline", [45.0, 90.0, 150.0])
def test_a_crowned_roller_against_exact_hertz(outline):
    """An ellipse of radii 15 and R on a flat, by elliptic integrals (Johnson 1985, 4.24-4.33, from memory).

    The law is fitted to be right at R/r_o = 6 and 17 % off at most from 3 to 16.
    """
    modulus, ratio, depth = 20e6, 0.48, 2e-4
    contact = modulus / (1 - ratio**2)
    a_curve, b_curve = 1 / (2 * outline * 1e-3), 1 / (2 * 15e-3)
    low, high = 1 + 1e-9, 1e4
    for _ in range(200):  # (B/A) = (k^2 E - K)/(K - E)
        k = math.sqrt(low * high)
        m = 1 - 1 / k**2
        found = (k**2 * ellipe(m) - ellipk(m)) / (ellipk(m) - ellipe(m))
        low, high = (k, high) if found < b_curve / a_curve else (low, k)
    m = 1 - 1 / k**2
    # b^3 = 3 F E/(2 pi k E* (A + B)) and delta = 3 F K/(2 pi a E*), a = k b
    exact = 2 * math.pi * k * contact / 3 * depth**1.5 * math.sqrt(ellipe(m) / (ellipk(m) ** 3 * (a_curve + b_curve)))
    ours = squash_force(modulus / 1e6, ratio, 2 * depth * 1e3, 1e3, outline)
    assert ours == pytest.approx(exact, rel=0.17)


def test_squash_and_stretch_come_back():
    for outline in (math.inf, 90.0):
        force = squash_force(18.0, 0.48, 0.6, 25.0, outline)
        assert modulus_from_squash(force, 0.48, 0.6, 25.0, outline) == pytest.approx(18.0)
        sizes = Sizes(**{**vars(SIZES), "outline_radius": outline})
        assert squash_at(force, 18.0, 0.48, sizes) == pytest.approx(0.6, rel=1e-6)


def test_every_measure_says_its_units_range_and_source():
    for name, function in vars(measures).items():
        if inspect.isfunction(function) and function.__module__ == measures.__name__:
            doc = inspect.getdoc(function) or ""
            for part in ("Parameters", "Returns", "Validity:", "Source:", ">>>"):
                assert part in doc, f"{name}: {part}"
            for parameter in inspect.signature(function).parameters:
                assert re.search(rf"^[\w, ]*\b{parameter}\b[\w, ]* : float\n +.*\[", doc, re.MULTILINE), f"{name}: {parameter}"


@pytest.mark.usefixtures("cad_libraries")
def test_the_cradle_holds_the_roller_and_the_strip_is_what_the_page_says():
    made, belt = cradle(SIZES), strip(SIZES)
    for solid in (made, belt):
        assert solid.is_valid
        assert mesh_of(solid).watertight
        assert abs(solid.bounding_box().min.Z) < 1e-6
    # the strip's middle: MARKS + 40 long, 10 x 1.2, and two tabs of 14 mm with holes of 5 mm
    exact = (MARKS + 40) * 10 * STRIP_THICKNESS + 2 * (14 * 14 - math.pi * 2.5**2) * STRIP_THICKNESS
    assert belt.volume == pytest.approx(exact, rel=1e-6)
    assert _shared(made, SIZES) < 1e-6


def _shared(made, sizes):
    """Volume that cradle and roller share."""
    from build123d import Cylinder, Pos, Rot

    height = 4.0 + sizes.roller_radius + 2.0
    shared = made.intersect(Pos(0, 0, height) * Rot(0, 90, 0) * Cylinder(sizes.roller_radius, sizes.roller_length))
    return 0.0 if shared is None else sum(one.volume for one in shared.solids())


@pytest.mark.usefixtures("cad_libraries")
def test_the_gauge_holes_are_there():
    """Their areas, summed: pi (2 + gap)^2 each, through a floor of 4 mm."""
    from build123d import Box, Pos

    start = SIZES.roller_length / 2 + SIZES.side_washer + SIZES.cheek
    block = Pos(start + 22, 0, 2) * Box(44, 18, 4)
    left = sum(one.volume for one in cradle(SIZES).intersect(block).solids())
    holes = sum(math.pi * (2 + gap) ** 2 for gap in GAUGE_CLEARANCES) * 4
    assert 44 * 18 * 4 - left == pytest.approx(holes, rel=1e-3)
