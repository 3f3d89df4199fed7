"""The search: purity, order, senses, missing numbers, constraints, mixed axes, islands."""

from __future__ import annotations

import warnings

import moocore
import numpy as np
import pytest

from sweep.breeding import LEAST_PARENTS, draw
from sweep.population import UNKNOWN, Population, as_population, gathered
from sweep.search import SIZE, advance, first, step
from sweep.selection import survivors
from tests.problems import Axis, dtlz2, problem, search

MIXED = [
    *(Axis(f"x{i}") for i in range(4)),
    Axis("span", low=-2.0, high=6.0),
    Axis("teeth", "integer", 10, 40),
    Axis("pair", "integer", 0, 1),
    Axis("motor", "choice", options=5),
]


def mixed(genes: np.ndarray) -> np.ndarray:
    base = dtlz2(genes[:, :4], 3)
    return base + 0.01 * np.abs(genes[:, 5:6] - 23) + 0.2 * (genes[:, 7:8] != 3) + 0.1 * genes[:, 6:7] + genes[:, 4:5] ** 2


MIXED_PROBLEM = problem(mixed, MIXED, 3)


def started(what=MIXED_PROBLEM, seed: int = 5) -> Population:
    return advance(what, Population.empty(what), np.random.SeedSequence(seed))[1]


def test_advance_is_pure_and_changes_nothing_given_to_it():
    population = started()
    before = [array.copy() for array in (population.genes, population.costs, population.violation)]
    for array in (population.genes, population.costs, population.violation):
        array.flags.writeable = False
    results = [advance(MIXED_PROBLEM, population, np.random.SeedSequence([7, 0, 1])) for _ in range(2)]
    for (evaluated, after), (evaluated_again, after_again) in [results]:
        np.testing.assert_array_equal(evaluated.genes, evaluated_again.genes)
        np.testing.assert_array_equal(after.genes, after_again.genes)
        np.testing.assert_array_equal(after.costs, after_again.costs)
    for array, old in zip((population.genes, population.costs, population.violation), before, strict=True):
        np.testing.assert_array_equal(array, old)
    other, _ = advance(MIXED_PROBLEM, population, np.random.SeedSequence([7, 0, 2]))
    assert not np.array_equal(other.genes, results[0][0].genes)


def test_order_of_parents_does_not_matter():
    population = started()
    shuffled = population.take(np.random.default_rng(0).permutation(len(population)))
    straight, shuffled_too = (advance(MIXED_PROBLEM, p, np.random.SeedSequence(9)) for p in (population, shuffled))
    np.testing.assert_array_equal(straight[0].genes, shuffled_too[0].genes)
    np.testing.assert_array_equal(straight[1].genes, shuffled_too[1].genes)


def test_a_repeated_parent_counts_once():
    population = started()
    twice = gathered(population, population.take(np.arange(10)))
    np.testing.assert_array_equal(twice.genes, population.genes)


def test_global_random_state_has_no_influence():
    population = started()
    np.random.seed(1)  # noqa: NPY002
    one, _ = advance(MIXED_PROBLEM, population, np.random.SeedSequence(9))
    np.random.seed(2)  # noqa: NPY002
    two, _ = advance(MIXED_PROBLEM, population, np.random.SeedSequence(9))
    np.testing.assert_array_equal(one.genes, two.genes)


def test_candidates_stay_on_their_axes():
    population = started()
    for generation in range(5):
        evaluated, population = advance(MIXED_PROBLEM, population, np.random.SeedSequence(generation))
        genes = evaluated.genes
        assert len(genes) == SIZE
        for k, axis in enumerate(MIXED):
            high = axis.options - 1 if axis.kind == "choice" else axis.high
            assert genes[:, k].min() >= axis.low
            assert genes[:, k].max() <= high
            if axis.kind != "real":
                np.testing.assert_array_equal(genes[:, k], np.rint(genes[:, k]))


def test_first_generation_covers_every_slice_of_every_axis():
    genes = draw(MIXED, Population.empty(MIXED_PROBLEM), 40, np.random.default_rng(0))
    for k in range(4):
        assert sorted(np.floor(genes[:, k] * 40).astype(int)) == list(range(40))
    assert sorted(set(genes[:, 7])) == [0, 1, 2, 3, 4]
    assert np.bincount(genes[:, 6].astype(int)).tolist() == [20, 20]


def test_children_reach_every_option_and_every_integer():
    """From parents that all hold the same integer and option, mutation alone gets everywhere."""
    genes = draw(MIXED, Population.empty(MIXED_PROBLEM), 40, np.random.default_rng(0))
    genes[:, 5], genes[:, 7] = 23, 2
    parents = Population(genes, np.zeros((40, 3)), np.zeros(40), np.empty((40, 0)))
    children = draw(MIXED, parents, 4000, np.random.default_rng(1))
    assert set(children[:, 7]) == {0, 1, 2, 3, 4}
    others = np.bincount(children[:, 7].astype(int), minlength=5)[[0, 1, 3, 4]]
    # 4000 / 8 axes mutate, a quarter to each other option
    assert others.min() > 125 - 5 * np.sqrt(125)
    assert others.max() < 125 + 5 * np.sqrt(125)
    assert len(set(children[:, 5])) > 5


def test_few_parents_are_not_taken_for_a_population():
    few = started().take(np.arange(LEAST_PARENTS - 1))
    drawn, _ = advance(MIXED_PROBLEM, few, np.random.SeedSequence(1))
    assert sorted(np.floor(drawn.genes[:, 0] * SIZE).astype(int)) == list(range(SIZE))


def test_missing_objectives_are_infeasible_and_never_parents_of_choice():
    def holed(genes: np.ndarray) -> np.ndarray:
        costs = dtlz2(genes, 3)
        costs[genes[:, 0] > 0.5, 1] = np.nan
        return costs

    what = problem(holed, 6, 3)
    scored = search(what, 10 * SIZE)
    last = scored[-1]
    assert not last.feasible[last.genes[:, 0] > 0.5].any()
    assert (last.genes[:, 0] <= 0.5).mean() > 0.8
    evaluated, population = first(what, np.full((2, 6), 0.9))
    assert np.isnan(evaluated.objectives).any()
    assert (population.violation == UNKNOWN).all()
    assert np.isinf(population.costs).all()


def test_a_told_violation_counts_even_without_objectives():
    """What cannot be built has no objectives, but how far off it is leads back to what can."""
    what = problem(lambda x: np.full((len(x), 2), np.nan), 4, 2, broken=lambda x: x.sum(axis=1))
    scored = search(what, 20 * SIZE)
    assert not scored[-1].feasible.any()
    assert scored[-1].violation.mean() < 0.2 * scored[0].violation.mean()


def test_nan_violation_is_infeasible():
    what = problem(lambda x: dtlz2(x, 3), 6, 3, broken=lambda x: np.full(len(x), np.nan))
    evaluated, population = first(what, np.full((2, 6), 0.3))
    assert not evaluated.feasible.any()
    assert (population.violation == UNKNOWN).all()


def test_maximising_is_minimising_the_negative():
    down = problem(lambda x: dtlz2(x, 3), 6, 3)
    up = problem(lambda x: -dtlz2(x, 3), 6, 3, maximise=(True, True, True))
    np.testing.assert_array_equal(search(down, 4 * SIZE)[-1].genes, search(up, 4 * SIZE)[-1].genes)
    assert not as_population(up, first(up, np.full((1, 6), 0.3))[0]).costs.min() < 0


def test_constrained_front_is_found():
    """f1 = x0, f2 = g - x0 with g >= 1, allowed only where f1 + f2 >= 1.2 and x0 in a band of a tenth: the front is the line
    f1 + f2 = 1.2 over the band."""

    def function(x: np.ndarray) -> np.ndarray:
        g = 1 + x[:, 1:].sum(axis=1)
        return np.column_stack([x[:, 0], g - x[:, 0]])

    def broken(x: np.ndarray) -> np.ndarray:
        g = 1 + x[:, 1:].sum(axis=1)
        return np.maximum(1.2 - g, 0) + np.maximum(np.abs(x[:, 0] - 0.85) - 0.05, 0)

    what = problem(function, 8, 2, broken)
    scored = search(what, 40 * SIZE)
    costs = np.concatenate([part.objectives[part.feasible] for part in scored])
    # below the reference (1.0, 0.5): over the band a height that grows from 0.1 to 0.2, then 0.2 up to the reference
    exact = 0.1 * (0.1 + 0.2) / 2 + 0.1 * 0.2
    found = moocore.hypervolume(costs, ref=[1.0, 0.5])
    assert found <= exact + 1e-12
    assert found > 0.93 * exact
    assert scored[-1].feasible.mean() > 0.3
    assert scored[0].feasible.mean() < 0.2


def test_a_space_smaller_than_a_generation_is_searched():
    what = problem(lambda x: np.column_stack([x[:, 0], 2 - x[:, 0]]), [Axis("c", "choice", options=3)], 2)
    scored = search(what, 3 * SIZE)
    assert {float(gene) for part in scored for gene in part.genes[:, 0]} == {0.0, 1.0, 2.0}


def test_a_space_without_axes_gives_its_one_design():
    what = problem(lambda x: np.ones((len(x), 2)), [], 2)
    _, population, scored = step(what, Population.empty(what), Population.empty(what), 1, 0, 0, 5)
    assert sum(len(part) for part in scored) == 5
    assert len(population) == 1


def test_step_counts_and_seeds():
    nobody = Population.empty(MIXED_PROBLEM)
    results = [step(MIXED_PROBLEM, nobody, nobody, 1, island, epoch, 250) for island, epoch in ((0, 0), (0, 0), (1, 0), (0, 1))]
    assert [len(part) for part in results[0][2]] == [96, 96, 58]
    np.testing.assert_array_equal(results[0][0].genes, results[1][0].genes)
    np.testing.assert_array_equal(results[0][1].genes, results[1][1].genes)
    assert not np.array_equal(results[0][0].genes, results[2][0].genes)
    assert not np.array_equal(results[0][0].genes, results[3][0].genes)
    population, sent = results[0][:2]
    assert len(population) <= SIZE
    assert 0 < len(sent) < len(population)
    owned = {tuple(row) for row in population.genes}
    assert all(tuple(row) in owned for row in sent.genes)


def test_immigrants_take_part():
    nobody = Population.empty(MIXED_PROBLEM)
    best = np.array([[0.5, 0.5, 0.5, 0.5, 0.0, 23, 0, 3]])
    _, arrived = first(MIXED_PROBLEM, best)
    population = started()
    after, _, _ = step(MIXED_PROBLEM, population, arrived, 1, 0, 1, SIZE)
    assert tuple(best[0]) in {tuple(row) for row in after.genes}
    alone, _, _ = step(MIXED_PROBLEM, population, nobody, 1, 0, 1, SIZE)
    assert not np.array_equal(alone.genes, after.genes)


def test_survivors_prefer_feasible_then_less_violation():
    costs = np.random.default_rng(0).random((30, 5))
    violation = np.r_[np.zeros(5), np.linspace(3, 1, 25)]
    kept = survivors(costs, violation, 10, np.random.default_rng(0))
    assert kept.tolist() == [*range(5), *range(25, 30)]


@pytest.mark.parametrize("objectives", [2, 3, 5])
def test_survivors_are_as_many_as_asked_and_hold_an_ideal_point(objectives):
    rng = np.random.default_rng(objectives)
    costs = rng.random((200, objectives))
    costs[17] = -0.5
    kept = survivors(costs, np.zeros(200), 60, np.random.default_rng(0))
    assert len(kept) == len(set(kept.tolist())) == 60
    assert 17 in kept


def test_survivors_take_equal_rows_and_flat_objectives():
    costs = np.ones((50, 3))
    assert len(survivors(costs, np.zeros(50), 20, np.random.default_rng(0))) == 20
    costs[:, 0] = np.arange(50)
    kept = survivors(costs, np.zeros(50), 20, np.random.default_rng(0))
    assert 0 in kept


def test_nothing_deprecated_is_used():
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        advance(MIXED_PROBLEM, started(), np.random.SeedSequence(1))
