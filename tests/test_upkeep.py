"""Upkeep: wear against a standard test and an energy balance, creep against softer tyres in the equilibrium itself."""

from __future__ import annotations

import math
from dataclasses import replace
from functools import cache
from typing import Any

import numpy as np
import pytest

from objectives.assessment import Assessment
from objectives.layout import layout
from objectives.phases import phase_lattice
from objectives.scoring import assess
from objectives.unknowns import Unknowns
from objectives.wear import archard_volume, creep_growth
from objectives.wheel import wheel_batch
from sweep.designs import baseline_designs
from sweep.study import load_study
from sweep.upkeep import CREEP_RATE, DAY, ROLLER_WEAR, SET_AFTER, YEAR, Upkeep, upkeep
from tests.command_line import SHIPPED

CORED = {"bore": "ball", "tyre_thickness_mm": 8.0}


@cache
def judged(softer: float = 0.0, **changes: Any) -> Assessment:
    """The shipped baseline, its tyres giving way by a share more at the same force."""
    study = load_study(SHIPPED)
    designs = baseline_designs(study)
    assert designs is not None
    # d ~ E^(-2/3) at a given force (Hertz)
    unknowns = replace(Unknowns.none(1), youngs_modulus=np.array([(1 + softer) ** -1.5]))
    wheel = wheel_batch(designs.assign(**changes), study.scenario.catalogue, study.scenario.robot.floor, unknowns)
    return assess(wheel, layout(wheel, study.scenario), study.scenario, phase_lattice(64))


@cache
def found(**changes: Any) -> Upkeep:
    return upkeep(judged(**changes))


def test_wear_of_the_abrasion_test_and_creep_of_a_rubber_spring() -> None:
    """ISO 4649: 10 N over 40 m; 25 mm^3 lost is 0.0625 mm^3/(N m). Natural rubber, 3 % a decade: 9 % from a minute to 1000."""
    assert archard_volume(6.25e-11, 10.0, 40.0) == pytest.approx(25e-9)
    assert creep_growth(0.03, 60_000.0, 60.0) == pytest.approx(0.09)
    assert creep_growth(0.03, 10.0, 60.0) == 0.0


def test_creep_closes_the_hub_as_far_as_softer_tyres_do() -> None:
    """The share of the preload lost, against the closure of the equilibrium with tyres that give way by a little more.

    On ball bearings, where the axle does not give way. Hub closures are means over contacts that open off the middle: a few
    per cent are left to that.
    """
    more = 0.02
    share = found(**CORED).creep_share_day.low / creep_growth(CREEP_RATE[0], DAY, SET_AFTER)  # at c = 1
    base = judged(**CORED)
    closed = float((judged(softer=more, **CORED).normal.closure_max - base.normal.closure_max)[0])
    by_closure = float(base.wheel.preload_stiffness[0]) * closed / float(base.wheel.preload[0]) / more
    assert by_closure == pytest.approx(share, rel=0.1)


def test_wear_is_a_share_of_what_slip_turns_into_heat() -> None:
    """mu N s is the power of creep and drilling: the volume worn off both bodies is twice k/mu times that energy."""
    base = judged()
    wheel = base.wheel
    energy = 3600 * sum(float(base.cases.over_duty(base.running.losses[name])[0]) for name in ("creep", "drilling"))
    worn = ROLLER_WEAR[1] / float(wheel.friction_roller[0]) * energy
    area = 12 * 2 * math.pi * 0.015 * float(wheel.output_roller_length[0])  # 12 rollers of 30 mm
    assert found().wear_output.high == pytest.approx(worn / area, rel=1e-9)
    hubs = 2 * 17 * 2 * math.pi * 0.006  # 17 rollers of 12 mm on each hub
    width = worn / found().wear_hub.high / hubs
    assert 0 < width <= 0.016 * (1 + 1e-9)  # not more than a hub roller is long


def test_bands_are_bands_and_agree_with_each_other() -> None:
    u = found()
    for name in ("creep_share_day", "creep_share_year", "creep_share_after", "creep_until_setting", "wear_output", "wear_hub",
                 "wear_floor", "wear_until_setting", "tyre_life"):  # fmt: skip
        band = getattr(u, name)
        assert 0 < band.low <= band.high
    assert u.creep_share_year.low == pytest.approx(u.creep_share_day.low + u.creep_share_after.low)
    assert u.creep_share_year.low / u.creep_share_day.low == pytest.approx(math.log(YEAR / 60) / math.log(DAY / 60))
    assert u.tyre_life.high == pytest.approx(u.tread / (u.wear_output.low + u.wear_floor.low) * 3600)
    assert u.weak_inputs


def test_a_stiffer_spring_loses_its_force_sooner() -> None:
    soft, stiff = found(preload_stiffness_N_per_mm=15.0), found(preload_stiffness_N_per_mm=150.0)
    assert stiff.creep_share_day.low == pytest.approx(10 * soft.creep_share_day.low, rel=1e-4)
    assert stiff.wear_until_setting.low == pytest.approx(soft.wear_until_setting.low / 10, rel=0.05)
    # after the time named, a tenth is lost
    hot = found(preload_stiffness_N_per_mm=300.0)
    share = hot.creep_share_day.high / creep_growth(CREEP_RATE[1], DAY, SET_AFTER)
    assert share * creep_growth(CREEP_RATE[1], hot.creep_until_setting.low, SET_AFTER) == pytest.approx(0.1)
