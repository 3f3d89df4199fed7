"""The search space: any point of the search is a wheel inside the study's ranges, and most of them can be built."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from objectives.contact_pass import PassGeometry, pass_contact
from objectives.geometry_constraints import GEOMETRY_CONSTRAINTS, GeometryPlan
from objectives.layout import layout
from objectives.variables import CHOICE, INTEGER, REAL, VARIABLE, VARIABLES
from objectives.wheel import WheelBatch, wheel_batch
from sweep.designs import baseline_designs
from sweep.hub_rollers import HubRollers
from sweep.space import Domain, Space, design_id, design_ids, space
from sweep.study import Study, load_study, read_study

STUDIES = [load_study(path) for path in sorted((Path(__file__).parent.parent / "studies").glob("*.toml"))]
STUDY = STUDIES[0]
ROBOT = STUDY.text[STUDY.text.index("[robot]") : STUDY.text.index("[[duty]]")]
studies = pytest.mark.parametrize("study", STUDIES, ids=lambda study: study.slug)


def draw(space: Space, n: int, seed: int = 0) -> np.ndarray:
    """Genes drawn evenly, as a sampler draws them."""
    rng = np.random.default_rng(seed)
    return np.column_stack(
        [rng.random(n) if gene.kind == REAL else rng.integers(int(gene.low), int(gene.high) + 1, n) for gene in space.genes]
    )


def drawn_without_room(space: Space, n: int) -> pd.DataFrame:
    """Designs drawn evenly from the ranges alone."""
    rng = np.random.default_rng(1)
    columns = {}
    for name, domain in space.domains.items():
        if domain.choices:
            columns[name] = np.array(domain.choices, dtype=object)[rng.integers(len(domain.choices), size=n)]
        elif domain.variable.kind == INTEGER:
            columns[name] = rng.integers(int(domain.low), int(domain.high) + 1, n)
        else:
            columns[name] = np.round(rng.uniform(domain.low, domain.high, n), 4)
    return space.canonical(pd.DataFrame(columns))


def wheels(study: Study, designs: pd.DataFrame) -> WheelBatch:
    return wheel_batch(designs, study.scenario.catalogue, study.scenario.robot.floor)


def can_be_put_together(study: Study, designs: pd.DataFrame) -> np.ndarray:
    """Whether every constraint of geometry holds."""
    wheel = wheels(study, designs)
    plan = GeometryPlan(wheel, study.scenario, layout(wheel, study.scenario))
    return np.logical_and.reduce([constraint.slack(plan) >= 0 for constraint in GEOMETRY_CONSTRAINTS])


@studies
def test_no_candidates_make_a_table_without_rows_and_back(study):
    some, none = (study.space.decode(np.zeros((n, len(study.space.genes)))) for n in (2, 0))
    assert none.shape == (0, len(VARIABLES))
    numbers = some.select_dtypes("number").dtypes
    assert none[numbers.index].dtypes.equals(numbers)
    assert study.space.encode(none).shape == (0, len(study.space.genes))


@studies
def test_genes_of_what_is_not_fixed(study: Study) -> None:
    names = [gene.name for gene in study.space.genes]
    assert sorted(names) == sorted(variable.name for variable in VARIABLES)
    motors = next(gene for gene in study.space.genes if gene.name == "motor")
    assert (motors.kind, motors.options) == (CHOICE, len(study.space.domains["motor"].choices))
    count = next(gene for gene in study.space.genes if gene.name == "output_roller_count")
    domain = study.space.domains[count.name]
    assert (count.kind, count.low, count.high) == (INTEGER, domain.low, domain.high)


def test_what_is_fixed_or_has_no_meaning_has_no_gene() -> None:
    space = read_study(f"{ROBOT}[space]\nbore = 'plain'\ncrown = 0\nmotor = ['brushed37_24v_30to1']\n").space
    names = {gene.name for gene in space.genes}
    assert {variable.name for variable in VARIABLES} - names == {"bore", "crown", "motor", "tyre_thickness_mm"}
    designs = space.decode(draw(space, 5))
    assert set(designs["tyre_thickness_mm"]) == {VARIABLE["tyre_thickness_mm"].low}
    assert set(designs["motor"]) == {"brushed37_24v_30to1"}


@studies
def test_even_draws_lie_inside_and_come_back(study: Study) -> None:
    genes = draw(study.space, 2000)
    before = genes.copy()
    designs = study.space.decode(genes)
    assert np.array_equal(genes, before)
    assert list(designs.columns) == [variable.name for variable in VARIABLES]
    assert study.space.contains(designs).all()
    assert all(designs[variable.name].dtype == np.int64 for variable in VARIABLES if variable.kind == INTEGER)
    pd.testing.assert_frame_equal(study.space.decode(study.space.encode(designs)), designs, check_exact=True)


@studies
def test_a_design_does_not_depend_on_its_neighbours_in_the_table(study: Study) -> None:
    genes = draw(study.space, 40)
    together = study.space.decode(genes)
    alone = pd.concat([study.space.decode(genes[i : i + 1]) for i in range(40)], ignore_index=True)
    pd.testing.assert_frame_equal(together, alone, check_exact=True)


@st.composite
def spaces(draw_one: st.DrawFn) -> Space:
    """Spaces with any ranges inside what has a meaning, however absurd together."""
    domains = dict(STUDY.space.domains)
    for variable in draw_one(st.lists(st.sampled_from(VARIABLES), max_size=8, unique=True)):
        if variable.kind == CHOICE:
            choices = domains[variable.name].choices
            domains[variable.name] = Domain(variable, choices=choices[: draw_one(st.integers(1, len(choices)))])
            continue
        most = min(variable.most, 2000.0)
        margin = 0.01 if variable.open_ends else 0.0
        ends = st.floats(variable.least + margin, most - margin, allow_nan=False)
        if variable.kind == INTEGER:
            ends = st.integers(int(variable.least), int(most)).map(float)
        low, high = sorted([draw_one(ends), draw_one(ends)])
        domains[variable.name] = Domain(variable, low, high)
    return space(domains, STUDY.scenario)


@settings(deadline=None, max_examples=150)
@given(spaces(), st.integers(0, 2**32 - 1))
def test_any_draw_of_any_space_lies_inside_and_comes_back(space: Space, seed: int) -> None:
    genes = draw(space, 8, seed)
    genes[0] = [0.0 if gene.kind == REAL else gene.low for gene in space.genes]
    genes[1] = [1.0 if gene.kind == REAL else gene.high for gene in space.genes]
    designs = space.decode(genes)
    assert space.contains(designs).all()
    pd.testing.assert_frame_equal(space.decode(space.encode(designs)), designs, check_exact=True)


@studies
def test_a_baseline_can_be_reached(study: Study) -> None:
    baseline = baseline_designs(study)
    assert baseline is not None
    assert study.space.contains(baseline).all()
    pd.testing.assert_frame_equal(study.space.decode(study.space.encode(baseline)), baseline, check_exact=True)


def test_what_cannot_be_reached_becomes_the_nearest_end() -> None:
    baseline = baseline_designs(STUDY)
    assert baseline is not None
    far = baseline.assign(wheel_diameter_mm=400.0, motor="unheard of", axle_diameter_mm=4.4, output_roller_count=30)
    assert not STUDY.space.contains(far).any()
    near = STUDY.space.decode(STUDY.space.encode(far)).iloc[0]
    domains = STUDY.space.domains
    assert near["wheel_diameter_mm"] == domains["wheel_diameter_mm"].high
    assert near["motor"] == domains["motor"].choices[0]
    assert near["axle_diameter_mm"] == 4.0
    assert near["output_roller_count"] == domains["output_roller_count"].high


@studies
def test_many_draws_can_be_put_together_and_hardly_any_without_the_rooms(study: Study) -> None:
    share = can_be_put_together(study, study.space.decode(draw(study.space, 2000))).mean()
    without = can_be_put_together(study, drawn_without_room(study.space, 8000)).mean()
    assert share > 0.35
    assert share > 30 * without


@studies
def test_the_rooms_shut_out_few_wheels_that_can_be_put_together(study: Study) -> None:
    designs = drawn_without_room(study.space, 40000)
    possible = designs[can_be_put_together(study, designs)].reset_index(drop=True)
    assert len(possible) > 80
    again = study.space.decode(study.space.encode(possible))
    assert (again == possible).all(axis=1).mean() > 0.88


def in_mm(wheel: WheelBatch) -> HubRollers:
    n = len(wheel)
    return HubRollers(
        wheel_radius=wheel.wheel_radius * 1e3, pitch_radius=wheel.pitch_radius * 1e3,
        output_radius=wheel.output_roller_radius * 1e3, output_length=wheel.output_roller_length * 1e3, crown=wheel.crown,
        contact_angle=wheel.contact_angle, skew_angle=wheel.skew_angle, bolt=np.full(n, 3.0), washer=np.full(n, 0.5),
        boss_radius=np.full(n, 3.0), between=1.4, clearance=0.25, rim=3.0, count=wheel.hub_roller_count,
        radius=wheel.hub_roller_radius * 1e3,
    )  # fmt: skip


def exact_places(wheel: WheelBatch, i: int, eps: float) -> tuple[float, float]:
    beta, gamma = wheel.contact_angle[i], wheel.skew_angle[i]
    geometry = PassGeometry(
        wheel.pitch_radius[i], wheel.wheel_radius[i], wheel.output_roller_radius[i], wheel.crown[i], wheel.hub_roller_radius[i],
        wheel.output_roller_length[i] / 2, wheel.hub_roller_length[i] / 2,
        math.sin(beta), math.cos(beta), math.sin(gamma), math.cos(gamma),
    )  # fmt: skip
    contact = pass_contact(geometry, eps)
    return contact.place_output * 1e3, contact.place_hub * 1e3


@pytest.mark.parametrize("sign", [-1, 1])
def test_places_of_a_contact_are_those_of_the_exact_pass(sign: int) -> None:
    designs = STUDY.space.decode(draw(STUDY.space, 300))
    designs.loc[:149, "crown"] = 0.0
    wheel = wheels(STUDY, designs)
    eps = sign * np.pi / wheel.hub_roller_count
    found = np.column_stack(in_mm(wheel).places(eps))
    exact = np.array([exact_places(wheel, i, eps[i]) for i in range(len(wheel))])
    assert found[:150] == pytest.approx(exact[:150], abs=1e-9)  # straight: closed form
    assert np.abs(found[150:] - exact[150:]).max() < 1.0  # a crown to second order
    assert np.median(np.abs(found[150:] - exact[150:])) < 0.1


def test_distance_of_neighbouring_axes_against_points_along_them() -> None:
    """Axes of the length at which they are said to be as near as they may be."""
    rollers = replace(in_mm(wheels(STUDY, pd.DataFrame([STUDY.baseline]))), count=np.array([45.0]), radius=np.array([2.0]))
    length, circle = rollers._length_apart(2 * rollers.radius)[0], rollers.circle[0]
    assert length > 5
    centre = np.array([0.0, circle, rollers.centre_distance[0] * math.cos(rollers.contact_angle[0])])
    axis = np.array([math.cos(rollers.skew_angle[0]), rollers.radial[0], rollers.tilt[0]])
    turn = 2 * math.pi / 45
    turned = np.array([[math.cos(turn), math.sin(turn), 0], [-math.sin(turn), math.cos(turn), 0], [0, 0, 1]])
    points = centre + np.linspace(-length / 2, length / 2, 801)[:, None] * axis
    nearest = np.linalg.norm(points[:, None] - (points @ turned.T)[None], axis=-1).min()
    assert nearest == pytest.approx(2 * 2.0 + 1.4, rel=0.03)


def test_a_design_has_one_name() -> None:
    baseline = baseline_designs(STUDY)
    assert baseline is not None
    row = dict(STUDY.baseline or {})
    (name,) = design_ids(baseline)
    assert name == design_id(row) == design_id(dict(reversed(row.items())))
    assert len(name) == 11
    assert name[0] == "d"
    assert design_id(row | {"output_roller_count": 12.0, "preload_N": 110}) == name
    assert design_id(row | {"preload_N": 110.00000001}) == name  # below what is kept
    assert design_id(row | {"tyre_thickness_mm": 5.0}) == name  # without meaning for a plain bore
    cored = row | {"bore": "ball"}
    assert design_id(cored) != design_id(cored | {"tyre_thickness_mm": 5.0})


@pytest.mark.parametrize("variable", [v for v in VARIABLES if v.name != "tyre_thickness_mm"], ids=lambda v: v.name)
def test_every_variable_is_part_of_the_name(variable: object) -> None:
    row = dict(STUDY.baseline or {})
    name = variable.name  # type: ignore[attr-defined]
    value = row[name]
    other = f"{value}x" if isinstance(value, str) else value + 1
    assert design_id(row | {name: other}) != design_id(row)
