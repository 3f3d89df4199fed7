"""A built wheel that differs from its tables, and how freely it turns: against other tables, closed forms and arithmetic."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from objectives.assessment import Assessment
from objectives.catalogue import extended
from objectives.free_spin import binding_clearance, free_spin_torque, preload_swing
from objectives.layout import layout
from objectives.phases import phase_lattice
from objectives.running import idle_torque
from objectives.scenario import Scenario
from objectives.scoring import assess, evaluate
from objectives.units import MM, N_PER_MM
from objectives.unknowns import Unknowns
from objectives.wheel import wheel_batch
from sweep.designs import baseline_designs
from sweep.study import Study, load_study
from tests.plausible import assessment

STUDIES = Path(__file__).parent.parent / "studies"
#: what a material of a study is called, by the name of its factor
MATERIAL_KEY = {"friction_roller": "friction_roller", "youngs_modulus": "youngs_modulus_MPa", "loss_tangent": "loss_tangent"}


@cache
def balancing() -> tuple[Study, pd.DataFrame]:
    study = load_study(STUDIES / "balancing.toml")
    designs = baseline_designs(study)
    assert designs is not None
    return study, designs


@cache
def assessed(name: str, preload: float = 0.0) -> Assessment:
    study = load_study(STUDIES / f"{name}.toml")
    designs = baseline_designs(study)
    assert designs is not None
    if preload:
        designs = designs.assign(preload_N=preload)
    wheel = wheel_batch(designs, study.scenario.catalogue, study.scenario.robot.floor)
    return assess(wheel, layout(wheel, study.scenario), study.scenario, phase_lattice(64))


def unknowns(**changes: float) -> Unknowns:
    return replace(Unknowns.none(1), **{name: np.array([value]) for name, value in changes.items()})


def scores(differ: Unknowns | None = None, scenario: Scenario | None = None, **changes: float) -> pd.Series:
    study, designs = balancing()
    return evaluate(designs.assign(**changes), scenario or study.scenario, phases=8, unknowns=differ).iloc[0]


def same(found: pd.Series, expected: pd.Series, but: str = "") -> None:
    numbers = [name for name in found.index if name not in ("status", "validity", *but.split())]
    np.testing.assert_allclose(found[numbers].astype(float), expected[numbers].astype(float), rtol=1e-12, atol=1e-12)


def test_a_wheel_as_its_tables_say_is_the_wheel_without_unknowns() -> None:
    pd.testing.assert_series_equal(scores(unknowns()), scores(), check_exact=True)


@pytest.mark.parametrize("name", MATERIAL_KEY)
def test_a_factor_is_the_same_as_other_tables(name: str) -> None:
    """But for the reserves that constraints keep to what the table says."""
    study, designs = balancing()
    key, changed = MATERIAL_KEY[name], {}
    for tyre in (designs["output_tyre"].iloc[0], designs["hub_tyre"].iloc[0]):
        material = study.scenario.catalogue.materials[tyre]
        in_si = getattr(material, "youngs_modulus" if name == "youngs_modulus" else name)
        changed[tyre] = {key: 1.15 * in_si / (1e6 if name == "youngs_modulus" else 1.0)}
    other = replace(study.scenario, catalogue=extended(study.scenario.catalogue, materials=changed))
    same(scores(unknowns(**{name: 1.15})), scores(scenario=other), but="slack_wedging slack_pull_in violation")


def test_reserves_of_friction_are_asked_of_the_table() -> None:
    nominal, more, much_more = (scores(unknowns(friction_roller=factor)) for factor in (1.0, 1.2, 1.3))
    assert more["slack_wedging"] == pytest.approx(nominal["slack_wedging"])  # the table's friction at its upper bound
    assert much_more["slack_wedging"] < nominal["slack_wedging"]
    ratio = nominal["pull_in_ratio"]
    assert much_more["slack_pull_in"] == pytest.approx(min(ratio - 1.3, ratio / 1.3 - 1.0))


def test_motor_torque_scales_what_the_motors_give_and_nothing_of_friction() -> None:
    nominal, strong = scores(), scores(unknowns(motor_torque=1.1))
    assert strong["motor_limit_forward_N"] > 1.05 * nominal["motor_limit_forward_N"]
    assert strong["drive_limit_forward_N"] == nominal["drive_limit_forward_N"]
    use = 1 - np.array([nominal["slack_continuous_torque"], strong["slack_continuous_torque"]])
    assert use[1] == pytest.approx(use[0] / 1.1)


def test_friction_of_bores_is_that_of_every_bore() -> None:
    """Losses of bores and washers grow by about the factor; a ball-borne wheel's grow too, its hub rollers turn on bolts."""
    for bore in ("plain", "ball"):
        nominal, dry = (scores(unknowns(friction_bore=factor), bore=bore, tyre_thickness_mm=3.0) for factor in (1.0, 1.5))
        assert dry["loss_hub_bore_W"] == pytest.approx(1.5 * nominal["loss_hub_bore_W"], rel=0.1)
    assert dry["loss_output_bore_W"] == pytest.approx(1.5 * nominal["loss_output_bore_W"], rel=0.1)


def test_run_out_presses_the_spring() -> None:
    """F_a + K_p t: 15 N/mm over 0.2 mm is 3 N."""
    study, designs = balancing()
    assert designs["preload_stiffness_N_per_mm"].iloc[0] == 15.0
    same(scores(unknowns(run_out=0.2 * MM)), scores(preload_N=designs["preload_N"].iloc[0] + 3.0),
         but="preload_swing_N binding_clearance_mm violation")  # fmt: skip
    lost = wheel_batch(designs, study.scenario.catalogue, study.scenario.robot.floor, unknowns(run_out=-1.0))
    assert lost.preload[0] == 0.0


def test_play_as_printed_moves_the_rollers_and_leaves_the_drawing_alone() -> None:
    wider, drawn_wider = scores(unknowns(play=0.1 * MM)), scores(bore_play_mm=0.3)
    for name in ("drive_limit_forward_N", "slip_margin", "contact_force_max_N"):
        assert wider[name] == pytest.approx(drawn_wider[name], rel=1e-3)  # the drawing moves the mass a little
    assert wider["slack_arm_neck"] == scores()["slack_arm_neck"] > drawn_wider["slack_arm_neck"]


def test_binding_clearance_is_the_least_of_three() -> None:
    """Standoff less closure, radial play 0.2 mm, printer's clearance 0.25 mm, each with what the print takes from it."""
    base = assessment()
    beta = base.wheel.contact_angle[0]
    hub = base.layout.carrier_standoff[0] - max(base.normal.closure_max[0], base.limits.closure_max[0])
    assert hub > 0.3 * MM

    def clearance(**changes: float) -> float:
        changed = replace(base.wheel, **{name: np.array([value]) for name, value in changes.items()})
        return float(binding_clearance(replace(base, wheel=changed))[0])

    assert clearance() == pytest.approx(0.2 * MM)
    assert clearance(play=0.0) == 0.0
    assert clearance(seat_error=0.1 * MM) == pytest.approx(0.15 * MM)
    assert clearance(seat_error=-0.1 * MM) == pytest.approx(0.15 * MM)
    assert clearance(seat_error=-0.3 * MM) < 0  # the roller rubs in its pocket
    assert clearance(run_out=hub) == pytest.approx(0.0, abs=1e-9)
    assert clearance(run_out=hub, seat_error=0.05 * MM) == pytest.approx(0.05 * MM / np.cos(beta), rel=1e-9)


def test_preload_swings_with_passes_and_run_out() -> None:
    base = assessment()
    travel = (base.normal.closure_max[0] - base.normal.closure_min[0]) / 2
    changed = replace(base, wheel=replace(base.wheel, run_out=np.array([-0.1 * MM])))
    assert preload_swing(base)[0] == pytest.approx(20 * N_PER_MM * travel)
    assert preload_swing(changed)[0] - preload_swing(base)[0] == pytest.approx(2.0)  # 20 N/mm over 0.1 mm


@pytest.mark.parametrize("name", ["balancing", "castered"])
def test_free_spin_torque_is_a_little_more_than_the_closed_form_without_creep(name: str) -> None:
    """At a roller's middle there is no creep: V = Omega R_c cot(gamma), hub rollers turn at Omega R_c/sin(gamma).

    Each contact then costs (d N + h N^(4/3)) R_c/sin(gamma) of torque for bore and rolling, its drilling moment times
    cos(beta), and half of what the output roller's bore takes under 2 N sin(beta). Elsewhere in a pass the ratios differ and
    contacts creep, which comes on top.
    """
    judged = assessed(name)
    wheel, law = judged.wheel, judged.extra
    engaged = np.minimum(wheel.output_roller_count, wheel.hub_roller_count)
    force = wheel.preload / (engaged * np.cos(wheel.contact_angle))
    sine, circle, axial = np.sin(wheel.skew_angle), wheel.contact_circle_radius, np.cos(wheel.contact_angle)
    rolling = (law["hub_drag_of_load"] * force + law["hysteresis"] * force ** (4 / 3)) * circle / sine
    drilling = np.minimum(law["spin_linear"] * axial * sine / circle, law["spin_full"]) * force ** (4 / 3) * axial
    bore = law["bore_drag"] * force * np.sin(wheel.contact_angle) * circle / np.tan(wheel.skew_angle)
    without_creep = engaged * (rolling + drilling + bore)
    rollers = idle_torque(wheel, law, law["kernel_inputs"], phase_lattice(64))
    assert without_creep < rollers < 1.35 * without_creep
    # the thrust bearing on top: mu F_a d_m/2
    plan = judged.layout
    thrust = judged.scenario.catalogue.bearings[plan.bearing_names[int(plan.thrust_bearing[0])]]
    friction = thrust.friction * wheel.preload * (thrust.bore + thrust.outside) / 4
    fewer = idle_torque(wheel, law, law["kernel_inputs"], phase_lattice(8))
    assert free_spin_torque(judged) == pytest.approx(fewer + friction, rel=1e-12)
    assert fewer == pytest.approx(rollers, rel=0.05)


def test_free_spin_torque_grows_with_the_preload() -> None:
    assert free_spin_torque(assessed("balancing", 220.0)) > 1.8 * free_spin_torque(assessed("balancing"))
