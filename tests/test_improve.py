"""Few changes to a wheel that exists: what may change, what is found, what has to be printed again."""

import numpy as np
import pandas as pd
import pytest

from objectives.variables import VARIABLES
from sweep.designs import baseline_designs
from sweep.errors import BadInput
from sweep.front import OBJECTIVES, costs_of, nondominated
from sweep.problem import scored, scoring_of
from sweep.study import load_study
from sweep.workshop.improve import COUNT, improve
from sweep.workshop.parts import DEFINED_BY, MADE_FROM, PRINTED, kept, part_dimensions, same
from tests.problems import toy_score, toy_study


@pytest.fixture(scope="module")
def study():
    return load_study("studies/balancing.toml")


@pytest.fixture(scope="module")
def start(study):
    return baseline_designs(study).iloc[0].to_dict()


@pytest.fixture(scope="module")
def toy():
    made = toy_study()
    return made, made.space.decode(np.array([[0.5 * (gene.low + gene.high) for gene in made.space.genes]])).iloc[0].to_dict()


def differing(row, start):
    moved = {variable.name for variable in VARIABLES if row[variable.name] != start[variable.name]}
    return moved - {"tyre_thickness_mm"} if row["bore"] == "plain" else moved


@pytest.mark.parametrize("changes", [1, 2, 3])
def test_no_more_variables_change_than_asked_and_none_that_is_kept(toy, changes):
    made, start = toy
    found = improve(made, start, ["carrier", "preload_N"], changes, toy_score, 1500)
    stay = {*DEFINED_BY["carrier"], "preload_N"}
    assert len(found.designs)
    for _, row in found.designs.iterrows():
        moved = differing(row, start)
        assert len(moved) <= changes
        assert len(moved) <= row[COUNT]
        assert not moved & stay
        assert moved == {words.split()[0] for words in str(row["changed"]).split("; ") if words}


def test_the_best_single_change_is_that_of_trying_them_all(toy):
    """A fine grid over one variable at a time, scored apart: nothing on it beats what was found by more than a grid's step."""
    made, start = toy
    found = improve(made, start, [], 1, toy_score)
    assert found.evaluations < 500
    best = costs_of(found.designs).min(axis=0)
    apart = []
    for name in ("wheel_diameter_mm", "preload_N", "skew_angle_deg", "gear_teeth"):
        domain = made.space.domains[name]
        apart += [{**start, name: value} for value in np.linspace(domain.low, domain.high, 97).round()]
    table = scored(pd.DataFrame(apart), made.search.front_phases, toy_score)
    table = table[table["feasible"]]
    reached = costs_of(table).min(axis=0)
    width = costs_of(table).max(axis=0) - reached
    assert np.all(best <= reached + 0.05 * width)


def test_two_changes_reach_what_one_cannot(toy):
    """Torque of the toy is 4 preload skew + teeth: its best in two changes is at the ends of two of them."""
    made, start = toy
    one, two = (improve(made, start, ["wheel_diameter_mm"], k, toy_score, 4000).designs for k in (1, 2))
    assert two["torque_capacity_Nm"].max() > one["torque_capacity_Nm"].max()
    wheel = (start["wheel_diameter_mm"] - 120) / 140
    preload, skew = start["preload_N"] / 400, start["skew_angle_deg"] / 70
    room = 0.9 - 0.1 / made.search.front_phases - 0.2 * (start["bore"] != "plain")
    assert wheel * 1.0 < room  # so that the most preload holds
    best = max(4 * 1.0 * 1.0 + start["gear_teeth"] / 120, 4 * 1.0 * skew + 1.0, 4 * preload * 1.0 + 1.0)
    assert two["torque_capacity_Nm"].max() == pytest.approx(best, rel=0.01)


def test_the_same_seed_gives_the_same_wheels(toy):
    made, start = toy
    first, second = (improve(made, start, ["hub"], 3, toy_score, 800).designs for _ in range(2))
    pd.testing.assert_frame_equal(first, second)


def test_nothing_on_the_list_beats_another_with_fewer_changes(toy):
    made, start = toy
    found = improve(made, start, [], 2, toy_score, 1500).designs
    assert nondominated(np.column_stack([costs_of(found), found[COUNT]])).all()
    assert found[COUNT].is_monotonic_increasing


def test_a_wheel_that_slips_is_repaired_with_the_fewest_changes_first(study, start):
    """Preload too low for the recovery of a lean: more preload alone mends it, and nothing is printed again for it."""
    found = improve(study, start | {"preload_N": 85.0}, ["carrier", "output_roller", "hub"], 1, scoring_of(study))
    assert not bool(found.start["feasible"])
    assert found.feasible
    first = found.designs.iloc[0]
    assert first[COUNT] == 1
    assert "preload_N" in set(found.designs["changed"].str.split().str[0])
    alone = found.designs[found.designs["changed"].str.startswith("preload_N")]
    assert (alone["reprint"] == "").all()
    assert (alone["drive_limit_reverse_N"] > found.start["drive_limit_reverse_N"]).all()


def test_where_nothing_holds_the_nearest_are_shown(study, start):
    lame = start | {"preload_N": 20.0, "carrier_thickness_mm": 24.0}
    found = improve(study, lame, ["preload_N", "carrier_thickness_mm"], 1, scoring_of(study))
    assert not found.feasible
    assert 0 < len(found.designs) <= 5
    assert found.designs["violation"].is_monotonic_increasing or len(found.designs) == 1


def test_a_start_outside_the_study_s_space_may_stay_there(study, start):
    found = improve(study, start | {"wheel_diameter_mm": 230.0}, ["wheel_diameter_mm"], 1, scoring_of(study))
    assert (found.designs["wheel_diameter_mm"] == 230.0).all()


@pytest.mark.parametrize(
    ("keep", "changes", "words"),
    [
        (["carier"], 1, "--keep must name parts or variables, got 'carier'; nearest is 'carrier'"),
        (["carrier"], 0, "--changes must be at least 1, got 0"),
        ([variable.name for variable in VARIABLES], 1, "--keep must leave a variable that may change"),
    ],
)
def test_what_makes_no_sense_is_refused(study, start, keep, changes, words):
    with pytest.raises(BadInput) as raised:
        improve(study, start, keep, changes, scoring_of(study))
    assert words in str(raised.value)


def test_halves_and_sides_are_one_part():
    assert kept(["carrier_half_left", "carrier", "hub_right", "crown"])[0] == ("carrier", "hub")


def test_a_part_does_not_change_while_the_variables_that_define_it_stay():
    """Any other variables of wheels all over both shipped spaces, all drawn anew at once."""
    for path in ("studies/balancing.toml", "studies/castered.toml"):
        whole = load_study(path)
        rng = np.random.default_rng(5)
        low, high = (np.array([getattr(gene, end) for gene in whole.space.genes]) for end in ("low", "high"))
        drawn = whole.space.decode(low + (high - low) * rng.random((40, len(low))))
        for row in range(0, len(drawn), 2):
            one, other = drawn.iloc[row].to_dict(), drawn.iloc[row + 1].to_dict()
            before = part_dimensions(one, whole.scenario)
            for part in PRINTED:
                mixed = other | {name: one[name] for name in DEFINED_BY[part]}
                after = part_dimensions(mixed, whole.scenario)
                if part in before and part in after:
                    assert same(part, before, after), f"{part}: {before[part]} {after[part]}"


@pytest.mark.parametrize("part", ["carrier", "hub", "pinion", "output_roller", "hub_roller"])
def test_each_variable_that_defines_a_part_changes_it(study, start, part):
    before = part_dimensions(start | {"bore": "bushed"}, study.scenario)
    for name in DEFINED_BY[part]:
        domain = study.space.domains[name]
        values = [value for value in domain.choices or (domain.low, domain.high) if value != start[name]]
        moved = [part_dimensions(start | {"bore": "bushed"} | {name: value}, study.scenario) for value in values]
        assert any(not same(part, before, after) for after in moved), name


@pytest.mark.slow
def test_solids_read_no_dimension_that_their_part_is_not_made_from(study, start, cad_libraries):
    """Every dimension that the solid of a printed part reads, recorded while it is made."""
    from sweep.cad import carrier, hub, rollers, shaft
    from sweep.cad.dimensions import dimensions_of

    class Recording:
        def __init__(self, inner):
            self.inner, self.read, self.words = inner, set(), inner.words

        def __getitem__(self, name):
            self.read.add(name)
            return self.inner[name]

        def count(self, name):
            self.read.add(name)
            return self.inner.count(name)

    makers = {
        "carrier": lambda d: (carrier.carrier_half(d, 1), carrier.carrier_half(d, -1)), "hub": hub.hub,
        "pinion": shaft.pinion, "preload_cap": shaft.cap, "output_roller": rollers.soft_roller,
        "hub_roller": rollers.hub_roller, "output_core": rollers.core,
    }  # fmt: skip
    assert set(makers) == set(PRINTED)
    for bore, crown in (("plain", 0.0), ("bushed", 0.5), ("ball", 1.0)):
        d = dimensions_of(study, start | {"bore": bore, "crown": crown, "tyre_thickness_mm": 3.0})
        for part in PRINTED:
            if (part == "hub" and bore != "plain") or (part == "output_core" and bore == "plain"):
                continue
            recording = Recording(d)
            makers[part](recording)
            # a roller's outline is told by its ends and its middle
            spare = {"pitch_radius_mm", "wheel_radius_mm"} if part in ("output_roller", "output_core") else set()
            assert recording.read - spare <= set(MADE_FROM[part][0]), part


def test_gains_are_those_of_the_scores(study, start):
    found = improve(study, start, ["carrier", "output_roller", "hub", "hub_roller", "motor"], 1, scoring_of(study))
    again = scored(found.designs[[variable.name for variable in VARIABLES]], study.search.front_phases, scoring_of(study))
    for objective in OBJECTIVES:
        assert found.designs[objective.name].to_numpy() == pytest.approx(again[objective.name].to_numpy())
