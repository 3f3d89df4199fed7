"""The window of a pass against a brute-force contact search and against counting hub rollers phase by phase."""

import math

import numpy as np
import pytest

from objectives.pass_window import pass_window
from objectives.wheel import WheelBatch
from tests.plausible import wheels
from tests.reference.slow_geometry import pass_contact
from tests.reference.slow_wheel import SlowWheel, typical_wheel

SOME = [
    {"crown": 0.0},
    {"crown": 0.0, "contact_angle_deg": 30.0, "skew_angle_deg": 55.0},
    {"crown": 0.0, "hub_roller_length_mm": 9.0},
    {"crown": 0.0, "contact_angle_deg": 60.0, "skew_angle_deg": 35.0, "output_roller_fill": 0.65, "hub_roller_length_mm": 24.0},
]
CROWNED = [{"crown": 0.5, "hub_roller_length_mm": 9.0}, {"crown": 1.0, "hub_roller_length_mm": 9.0}]


def slow(wheel: WheelBatch) -> SlowWheel:
    fields = ("wheel_radius", "output_roller_radius", "crown", "hub_roller_radius", "hub_roller_length", "contact_angle",
              "skew_angle", "output_roller_length")
    return typical_wheel(
        N=int(wheel.output_roller_count[0]), M=int(wheel.hub_roller_count[0]),
        **{name: float(getattr(wheel, name)[0]) for name in fields},
    )


@pytest.mark.parametrize("change", SOME)
def test_window_ends_where_brute_force_loses_contact(change):
    wheel = wheels(change)
    window, reference = pass_window(wheel), slow(wheel)
    half_pitch = math.pi / reference.N
    for end, sense in ((window.low[0], -1), (window.high[0], 1)):
        assert pass_contact(reference, end - sense * 1e-5).touches
        if abs(end) < half_pitch - 1e-9:
            assert not pass_contact(reference, end + sense * 1e-5).touches
        else:
            assert abs(end) == pytest.approx(half_pitch)


@pytest.mark.parametrize("change", SOME)
def test_slopes_and_hub_place_by_brute_force(change):
    """The contact's own normal has no part along t where rollers are straight."""
    wheel = wheels(change)
    window, reference = pass_window(wheel), slow(wheel)
    passes = [pass_contact(reference, eps) for eps in np.linspace(window.low[0], window.high[0], 25)]
    slope = max(abs(contact.a[2] / contact.normal[2]) for contact in passes)
    assert window.wedge_slope[0] == pytest.approx(slope, rel=2e-3)
    pull_in = min(-contact.normal[0] / abs(contact.a @ contact.c * contact.normal[2]) for contact in passes)
    assert window.pull_in_slope[0] == pytest.approx(pull_in, rel=2e-3)
    place = max(abs(pass_contact(reference, sense * math.pi / reference.M).z_h) for sense in (-1, 1))
    assert window.hub_place[0] == pytest.approx(place, abs=2e-7)


@pytest.mark.parametrize("change", CROWNED)
def test_a_crowned_window_is_near_the_search_that_leaves_the_outline_s_slope_out(change):
    """The search takes the distance of the axes less r(z), good to a few percent of the gap on a barrel."""
    window, reference = pass_window(wheels(change)), slow(wheels(change))
    for end, sense in ((window.low[0], -1), (window.high[0], 1)):
        assert pass_contact(reference, 0.95 * end).touches
        assert not pass_contact(reference, end + sense * 0.05 * abs(end)).touches


@pytest.mark.parametrize("hubs", range(14, 26))
def test_coverage_is_what_counting_finds(hubs):
    """A hub turned through a fine grid of phases: some phase leaves the roller bare just where the window is too short."""
    wheel = wheels({"hub_roller_count": hubs, "hub_roller_length_mm": 14.0, "output_roller_fill": 0.7})
    window = pass_window(wheel)
    pitch = 2 * math.pi / hubs
    phases = np.linspace(0, pitch, 4001)[:, None] + np.arange(-3, 4) * pitch
    engaged = ((phases >= window.low[0]) & (phases <= window.high[0])).sum(axis=1)
    covered = window.high[0] - window.low[0] >= pitch
    assert (engaged.min() >= 1) == covered


def test_no_more_hub_rollers_than_output_rollers_never_cover():
    few, equal, more = (pass_window(wheels({"hub_roller_count": count, "output_roller_fill": 0.8})) for count in (12, 14, 18))
    for window, count in ((few, 12), (equal, 14)):
        assert window.high[0] - window.low[0] <= 2 * math.pi / count + 1e-12
    assert more.high[0] - more.low[0] > 2 * math.pi / 18


def test_slopes_at_the_middle_are_their_closed_forms():
    """Very short hub rollers touch only near the middle: |a_y|/|n_y| = sin(gamma) tan(beta)."""
    window = pass_window(wheels({"hub_roller_length_mm": 1e-4, "contact_angle_deg": 50.0, "skew_angle_deg": 40.0}))
    assert window.wedge_slope[0] == pytest.approx(math.sin(math.radians(40)) * math.tan(math.radians(50)), rel=1e-4)
    assert window.pull_in_slope[0] == pytest.approx(math.tan(math.radians(50)) / math.sin(math.radians(40)), rel=1e-4)


def test_compiled_and_plain_python_agree():
    from objectives import pass_window as module

    wheel = wheels(*SOME)
    found = pass_window(wheel)
    table = np.array([[0.085, 0.1, 0.015, 0.3, 0.006, 0.0127, 0.009] + 4 * [math.sqrt(0.5)]])
    compiled, plain = np.empty((1, 5)), np.empty((1, 5))
    arguments = (table, np.array([0.45]), np.array([0.35]))
    module.survey(*arguments, compiled)
    module.survey.py_func(*arguments, plain)
    assert compiled == pytest.approx(plain, rel=1e-9)
    assert np.isfinite(np.stack(found)).all()


def test_nan_stays_with_its_candidate():
    window = pass_window(wheels({}, {"skew_angle_deg": np.nan}))
    assert np.isfinite(np.stack(window)[:, 0]).all()
    assert np.isnan(np.stack(window)[:, 1]).all()
