"""Contact constants of a batch against exact Hertz contact and the patch's own geometry."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest

from objectives.contact_pass import PassGeometry
from objectives.contacts import COLUMNS, Contacts, contact_constants
from objectives.engagement import Laws
from objectives.kalker import kalker_c22, kalker_c33
from objectives.phases import GEOMETRY_INPUTS, LAW_INPUTS, geometry_of, kernel_inputs, laws_of
from objectives.wheel import WheelBatch
from tests.plausible import wheels
from tests.reference.slow_contact import HertzEllipse, floor_line_stiffness, hertz_ellipse

SOFT_HUB = {"hub_tyre": "soft"}
VARIED: tuple[dict[str, Any], ...] = (
    {},
    SOFT_HUB,
    {"skew_angle_deg": 35.0, "contact_angle_deg": 55.0, "hub_roller_diameter_mm": 9.0},
    {"skew_angle_deg": 60.0, "hub_roller_diameter_mm": 16.0, "hub_axle_diameter_mm": 4.0} | SOFT_HUB,
)


def constants(*changes: dict[str, Any], load: float = 100.0) -> tuple[WheelBatch, Contacts]:
    wheel = wheels(*changes)
    return wheel, contact_constants(wheel, np.full(len(wheel), load))


def plane_moduli(wheel: WheelBatch, k: int) -> tuple[float, float]:
    return (
        float(wheel.output_youngs_modulus[k] / (1 - wheel.output_poisson_ratio[k] ** 2)),
        float(wheel.hub_youngs_modulus[k] / (1 - wheel.hub_poisson_ratio[k] ** 2)),
    )


def exact_ellipse(wheel: WheelBatch, k: int) -> HertzEllipse:
    output, hub = plane_moduli(wheel, k)
    modulus = 1 / (1 / output + 1 / hub)
    return hertz_ellipse(
        modulus, float(wheel.output_roller_radius[k]), float(wheel.hub_roller_radius[k]), float(wheel.skew_angle[k])
    )


def test_hertz_figures_are_those_of_elliptic_integrals() -> None:
    wheel, found = constants(*VARIED)
    for k in range(len(wheel)):
        ellipse = exact_ellipse(wheel, k)
        assert found["hertz_stiffness"][k] == pytest.approx(ellipse.approach**-1.5, rel=5e-5)
        # a plain bore is soft throughout: no thin tyre
        assert found["contact_stiffness"][k] == found["hertz_stiffness"][k]
        assert found["pressure"][k] == pytest.approx(1.5 / (math.pi * ellipse.major * ellipse.minor), rel=5e-5)
        assert found["floor_stiffness"][k] == pytest.approx(floor_line_stiffness(plane_moduli(wheel, k)[0]), rel=1e-12)
        output, hub = plane_moduli(wheel, k)
        assert found["compliance_share"][k] == pytest.approx((1 / output) / (1 / output + 1 / hub), rel=1e-12)
    assert found["layer_chi"] == pytest.approx(np.zeros(len(wheel)))
    assert found["floor_chi"] == pytest.approx(np.zeros(len(wheel)))


def patch_aspect(wheel: WheelBatch, k: int) -> float:
    """Half-width in the rolling direction over that of the ellipse of equal area across it, from the gap's quadratic form.

    The output roller's axis is (1, 0), the hub roller's lies at the skew angle; it rolls across its own axis.
    """
    skew = float(wheel.skew_angle[k])
    across_output, across_hub = np.array([0.0, 1.0]), np.array([-math.sin(skew), math.cos(skew)])
    form = np.outer(across_output, across_output) / wheel.output_roller_radius[k]
    form += np.outer(across_hub, across_hub) / wheel.hub_roller_radius[k]
    _, axes = np.linalg.eigh(form)  # the flattest first: there the patch is longest
    ellipse = exact_ellipse(wheel, k)
    part = axes.T @ across_hub
    half = 1 / math.hypot(part[0] / ellipse.major, part[1] / ellipse.minor)
    return half * half / (ellipse.major * ellipse.minor)


def test_creep_and_spin_belong_to_the_patch_at_one_newton() -> None:
    wheel, found = constants(*[change | SOFT_HUB for change in VARIED])
    for k in range(len(wheel)):
        ellipse, aspect = exact_ellipse(wheel, k), patch_aspect(wheel, k)
        area = ellipse.major * ellipse.minor
        poisson = wheel.output_poisson_ratio[k]
        shear = wheel.output_youngs_modulus[k] / (2 * (1 + poisson))
        expected = area**2 * shear * kalker_c33(aspect, poisson)  # both tyres of one stuff: combined is the same
        assert found["spin_linear"][k] == pytest.approx(expected, rel=2e-4)
        # creep at which mu N is used up: 3 mu N/(C22 G a b), for the friction left along the axis of a roller that turns;
        # drilling takes from both, so their ratio is held only to a few percent
        ratio = found["creep_saturation"][k] / found["friction_turning"][k]
        assert ratio == pytest.approx(3 / (kalker_c22(aspect, poisson) * shear * area), rel=0.03)


def test_full_slip_spin_of_a_round_patch() -> None:
    """Equal rollers crossed at right angles: 3 pi/16 mu N a."""
    wheel, found = constants({"skew_angle_deg": 90.0, "hub_roller_diameter_mm": 30.0, "hub_tyre": "soft"})
    radius = exact_ellipse(wheel, 0).major
    assert found["spin_full"][0] == pytest.approx(3 * math.pi / 16 * 0.6 * radius, rel=1e-5)


def test_friction_of_turning_hub_rollers() -> None:
    wheel, found = constants(*VARIED)
    load = 0.25 * wheel.hub_axle_diameter / 2 / wheel.hub_roller_radius
    force = 0.25 * 0.75 * wheel.hub_axle_diameter / wheel.hub_roller_radius
    assert found["hub_drag_of_load"] == pytest.approx(load)
    assert found["hub_drag_of_force"] == pytest.approx(force)
    assert found["drag_turning"] == pytest.approx(load + force * found["friction_turning"])
    used = np.hypot(found["friction_turning"], found["drag_turning"]) / wheel.friction_roller
    assert np.all(used < 1.0)  # drilling takes the rest
    assert np.all(used > 0.9)
    assert found["bore_drag"] == pytest.approx(wheel.friction_bore * wheel.axle_diameter / 2 / wheel.output_roller_radius)


def test_tyres_on_a_core_are_stiffer_the_thinner_they_are() -> None:
    tyres = [{"bore": "bushed", "tyre_thickness_mm": thickness} | SOFT_HUB for thickness in (1.0, 1.5, 2.0, 4.0, 8.0)]
    _, found = constants(*tyres)
    assert np.all(np.diff(found["contact_stiffness"]) < 0)
    assert np.all(np.diff(found["floor_stiffness"]) < 0)
    assert np.all(found["contact_stiffness"] > found["hertz_stiffness"])
    assert np.all(np.diff(found["layer_chi"]) < 0)
    # of two equal tyres one is thin: at most its half of the approach goes away, 2^1.5 in stiffness
    assert found["contact_stiffness"][0] < 2**1.5 * found["hertz_stiffness"][0]


def test_hysteresis_needs_loss_and_grows_with_it() -> None:
    _, found = constants({}, {"output_tyre": "plastic", "hub_tyre": "plastic"})
    assert np.all(found["hysteresis"] > 0)
    assert found["hysteresis"][0] > found["hysteresis"][1]
    assert np.all(found["floor_hysteresis"] > 0)
    # a heavier wheel rolls harder: the strip's half-width grows with the root of the load
    _, heavier = constants({}, load=400.0)
    assert heavier["floor_hysteresis"][0] == pytest.approx(2 * found["floor_hysteresis"][0], rel=1e-9)


def test_candidates_do_not_see_each_other() -> None:
    changes = [*VARIED, {"preload_N": math.nan}, {"bore": "ball", "tyre_thickness_mm": 2.0}]
    _, together = constants(*changes)
    assert together.table.shape == (len(changes), len(COLUMNS))
    for k, change in enumerate(changes):
        _, alone = constants(change)
        np.testing.assert_array_equal(alone.table[0], together.table[k])
    assert np.isnan(together["friction_turning"][4])
    assert np.isfinite(together.table[[0, 1, 2, 3, 5]]).all()


def test_rows_for_the_kernels_hold_what_their_names_say() -> None:
    wheel, found = constants(*VARIED)
    load = np.array([80.0, 90.0, 100.0, 110.0])
    rows = kernel_inputs(wheel, found, load)
    assert rows.shape == (len(wheel), GEOMETRY_INPUTS + LAW_INPUTS)
    for k in range(len(wheel)):
        g, laws = PassGeometry(*geometry_of(rows[k])), Laws(*laws_of(rows[k]))
        for name in ("pitch_radius", "wheel_radius", "crown"):
            assert getattr(g, name) == getattr(wheel, name)[k], name
        assert (g.output_radius, g.hub_radius) == (wheel.output_roller_radius[k], wheel.hub_roller_radius[k])
        assert (2 * g.half_output_length, 2 * g.half_hub_length) == pytest.approx(
            (wheel.output_roller_length[k], wheel.hub_roller_length[k])
        )
        assert math.atan2(g.sin_contact, g.cos_contact) == pytest.approx(wheel.contact_angle[k])
        assert math.atan2(g.sin_skew, g.cos_skew) == pytest.approx(wheel.skew_angle[k])
        for name in ("preload", "preload_stiffness", "friction_roller", "friction_floor"):
            assert getattr(laws, name) == getattr(wheel, name)[k], name
        for name in ("contact_stiffness", "floor_stiffness", "friction_turning", "drag_turning", "bore_drag"):
            assert getattr(laws, name) == found[name][k], name
        assert (laws.output_count, laws.hub_count) == (wheel.output_roller_count[k], wheel.hub_roller_count[k])
        assert (laws.play, laws.stop_stiffness) == (wheel.bore_play[k], wheel.axle_stop_stiffness[k])
        assert laws.wheel_load == load[k]
