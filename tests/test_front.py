"""The front: thinning whatever the order, extremes, knee, hypervolume, baseline, filters."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from sweep.errors import BadInput
from sweep.front import (
    OBJECTIVES,
    Objective,
    against_baseline,
    costs_of,
    extremes,
    hypervolume,
    knee,
    nondominated,
    thin,
    where,
)

TWO = (Objective("mass_kg", False), Objective("slip_margin", True))


def dominates(one: np.ndarray, other: np.ndarray) -> bool:
    return bool(np.all(one <= other) and np.any(one < other))


# small whole numbers, so that ties, shared boxes and equal rows are common
sets = arrays(float, st.tuples(st.integers(1, 30), st.integers(2, 4)), elements=st.integers(0, 12).map(lambda n: n / 4))


@given(sets, st.randoms(use_true_random=False), st.sampled_from([0.1, 0.5, 0.7, 2.0]))
@settings(max_examples=150, deadline=None)
def test_thinning_does_not_depend_on_order_or_parts(costs, random, side):
    ids = [f"d{i:03d}" for i in range(len(costs))]
    resolution = [side] * costs.shape[1]
    whole = {ids[row] for row in thin(costs, ids, resolution)}
    order = list(range(len(costs)))
    random.shuffle(order)
    assert {ids[order[row]] for row in thin(costs[order], [ids[i] for i in order], resolution)} == whole
    # epoch by epoch, in that order
    held: list[int] = []
    cuts = sorted({0, len(order), *(random.randrange(len(order) + 1) for _ in range(3))})
    for start, end in pairwise(cuts):
        held += order[start:end]
        held = [held[row] for row in thin(costs[held], [ids[i] for i in held], resolution)]
    assert {ids[i] for i in held} == whole


@given(sets, st.sampled_from([0.1, 0.5, 0.7, 2.0]))
@settings(max_examples=150, deadline=None)
def test_thinned_rows_are_a_cover_of_the_front(costs, side):
    ids = [f"d{i:03d}" for i in range(len(costs))]
    kept = thin(costs, ids, [side] * costs.shape[1])
    assert len(kept)
    for row in kept:
        assert not any(dominates(other, costs[row]) for other in costs), "a dominated row was kept"
    for row in costs:
        assert np.any(np.all(costs[kept] <= row + side, axis=1)), "a row is better than all that is kept by more than a side"
    np.testing.assert_array_equal(costs[kept].min(axis=0), costs.min(axis=0))


def test_thinning_leaves_out_missing_numbers_and_takes_nothing():
    assert thin(np.array([[np.nan, 1.0], [2.0, 2.0]]), ["a", "b"], [1, 1]).tolist() == [1]
    assert thin(np.empty((0, 5)), [], [1] * 5).tolist() == []
    assert thin(np.full((3, 2), np.nan), ["a", "b", "c"], [1, 1]).tolist() == []


def test_one_of_a_box_stays_and_ties_go_to_the_smaller_id():
    costs = np.array([[0.2, 0.2], [0.1, 0.2], [0.2, 0.1], [0.1, 0.2]])
    # three share the box; rows 1 and 3 are equal, and best in the first cost; row 2 is best in the second
    assert thin(costs, ["z", "b", "c", "a"], [1, 1]).tolist() == [2, 3]


def front(rows: list[tuple[float, float]]) -> pd.DataFrame:
    table = pd.DataFrame(rows, columns=["mass_kg", "slip_margin"])
    return table.assign(design=[f"d{i}" for i in range(len(table))])


def test_costs_turn_what_is_maximised():
    np.testing.assert_array_equal(costs_of(front([(1.0, 3.0)]), TWO), [[1.0, -3.0]])
    assert [o.maximise for o in OBJECTIVES] == [True, True, False, False, True]


def test_nondominated_keeps_equal_rows_and_drops_nan():
    assert nondominated(np.array([[1.0, 1.0], [1.0, 1.0], [np.nan, 0.0], [2.0, 1.0]])).tolist() == [True, True, False, False]


def test_extremes_prefer_the_better_of_equals():
    table = front([(1.0, 2.0), (1.0, 3.0), (4.0, 9.0), (2.0, 5.0)])
    assert extremes(table, TWO) == {"mass_kg": 1, "slip_margin": 2}
    assert extremes(table.iloc[:0], TWO) == {}


def test_knee_of_a_bent_line():
    """On a hyperbola scaled to the unit square the point with the smallest sum of both costs is its middle."""
    share = np.linspace(0, 1, 101)
    cost = 0.1 * (1 - share) / (0.1 + share)  # from 1 to 0, symmetric about the diagonal
    table = front(list(zip(share, -cost, strict=True)))
    assert share[knee(table, TWO)] == pytest.approx(cost[knee(table, TWO)], abs=0.01)
    with pytest.raises(ValueError, match="at least"):
        knee(table.iloc[:0], TWO)


def test_knee_of_one_design_and_of_a_flat_objective():
    assert knee(front([(1.0, 2.0)]), TWO) == 0
    assert knee(front([(1.0, 2.0), (0.5, 2.0)]), TWO) == 1


def test_hypervolume_by_hand():
    """Two rectangles up to the reference (1.1, 1.1), less what they share."""
    costs = np.array([[0.5, 0.2], [0.2, 0.5]])
    by_hand = (1.1 - 0.5) * (1.1 - 0.2) * 2 - (1.1 - 0.5) * (1.1 - 0.5)
    assert hypervolume(costs, [0, 0], [1, 1]) == pytest.approx(by_hand / 1.21)
    # bounds scale
    assert hypervolume(costs * [10, 1] - [3, 0], [-3, 0], [7, 1]) == pytest.approx(by_hand / 1.21)
    assert hypervolume(costs, [0, 0], [0, 1]) == pytest.approx(0.9 / 1.1)
    assert hypervolume(np.empty((0, 2)), [0, 0], [1, 1]) == 0.0
    assert hypervolume(np.array([[1.2, 0.0]]), [0, 0], [1, 1]) == 0.0


def test_hypervolume_approximation_is_near_the_exact_and_repeats():
    rng = np.random.default_rng(0)
    points = np.abs(rng.standard_normal((400, 5)))
    points /= np.linalg.norm(points, axis=1, keepdims=True)
    exact, near, again = (hypervolume(points, [0] * 5, [1] * 5, limit) for limit in (1000, 100, 100))
    assert near == again
    assert near == pytest.approx(exact, rel=2e-3)
    assert near != exact


def test_baseline_comparison():
    table = front([(1.0, 3.0), (2.0, 5.0), (1.5, 2.0), (1.5, 4.0)])
    found = against_baseline(table, {"mass_kg": 1.5, "slip_margin": 2.0}, TWO)
    assert found.better_in_all == ("d0",)
    assert found.dominating == ("d0", "d3")
    assert not found.baseline_on_front
    assert found.best_gain == {"mass_kg": 0.5, "slip_margin": 3.0}
    assert found.gains.loc["d1"].tolist() == [-0.5, 3.0]
    assert against_baseline(table, {"mass_kg": 0.5, "slip_margin": 9.0}, TWO).baseline_on_front


TABLE = pd.DataFrame({
    "design": ["d1", "d2", "d3"],
    "mass_kg": [1.0, 2.0, np.nan],
    "output_roller_count": [10, 12, 14],
    "bore": ["ball", "plain", "bushed"],
    "feasible": [True, False, True],
    "output_tyre": ["soft85", "tpu-95 a", "soft85"],
})


@pytest.mark.parametrize(
    ("expression", "expected"),
    [
        ("mass_kg < 1.5", [1, 0, 0]),
        ("mass_kg >= 1", [1, 1, 0]),
        ("mass_kg != 1", [0, 1, 0]),
        ("1.5 > mass_kg", [1, 0, 0]),
        ("1 < mass_kg <= 2", [0, 1, 0]),
        ("mass_kg > -1e3", [1, 1, 0]),
        ("bore == ball", [1, 0, 0]),
        ("bore == 'ball'", [1, 0, 0]),
        ("bore != ball", [0, 1, 1]),
        ('output_tyre == "tpu-95 a"', [0, 1, 0]),
        ("bore == ball or bore == plain and output_roller_count > 12", [1, 0, 0]),
        ("(bore == ball or bore == plain) and output_roller_count >= 12", [0, 1, 0]),
        ("feasible == true", [1, 0, 1]),
        ("feasible == False", [0, 1, 0]),
        ("design == d3", [0, 0, 1]),
        ("  bore == steel ", [0, 0, 0]),
    ],
)
def test_where(expression, expected):
    assert where(TABLE, expression).astype(int).tolist() == expected


@pytest.mark.parametrize(
    ("expression", "part"),
    [
        ("mas_kg < 2", "mass_kg"),
        ("mass_kg", "must compare"),
        ("mass_kg = 2", "=="),
        ("mass_kg <", "comparisons"),
        ("", "comparisons"),
        ("mass_kg + 1 < 2", "'mass_kg + 1'"),
        ("mass_kg < output_roller_count", "number or a name"),
        ("mass_kg < ball", "holds numbers"),
        ("bore < ball", "by == or !="),
        ("bore == 3", "holds names"),
        ("1 < 2", "must compare a column"),
        ("not feasible == true", "only comparisons"),
        ("bore in ball", "<, <=, >, >=, == or !="),
        ("__import__('os').system('true') == 0", "__import__"),
        ("(lambda: 1)() == mass_kg", "lambda"),
        ("mass_kg < 1j", "1j"),
        ("mass_kg < [1][0]", "[1][0]"),
        ("[x for x in bore] == ball", "for x in"),
        ("mass_kg < 1 if feasible == true else mass_kg > 2", "if feasible"),
        ("mass_kg.values < 3", "mass_kg.values"),
        ("a" * 3000, "at most 2000"),
        ("(" * 500 + "mass_kg < 1" + ")" * 500, "comparisons"),
        ("mass_kg < " + "-" * 1900 + "1", ""),
        ("mass_kg < 1\x00", "comparisons"),
    ],
)
def test_where_says_what_is_wrong(expression, part):
    with pytest.raises(BadInput) as caught:
        where(TABLE, expression)
    assert part in str(caught.value)
    assert "--where" in str(caught.value)
