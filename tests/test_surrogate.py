"""The surrogate model against SciPy and numpy, and what a search that it leads finds."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
import scipy.linalg
from numpy.polynomial.legendre import leggauss, legval
from scipy.stats import multivariate_normal

from sweep.breeding import even
from sweep.front import hypervolume
from sweep.population import UNKNOWN, Evaluated, Population, Problem, as_population, joined
from sweep.proposing import EVENLY, _begun, batch, proposed
from sweep.search import step
from sweep.surrogate import CUBIC, FEWEST, NOISE, QUADRATIC, SINGLE, STEEPNESS, Features, Surrogate, kernel, product, solved
from tests.problems import Axis, dtlz2, inverted_dtlz2, problem

MIXED = [Axis("x"), Axis("span", low=-2.0, high=6.0), Axis("teeth", "integer", 10, 40), Axis("motor", "choice", options=4)]


def drawn(axes: list[Axis], count: int, seed: int = 0) -> np.ndarray:
    return even(axes, count, np.random.default_rng(seed))


def test_product_and_solution_are_those_of_scipy():
    rng = np.random.default_rng(1)
    root, right = rng.standard_normal((60, 60)), rng.standard_normal((60, 7))
    matrix = root @ root.T + 0.1 * np.eye(60)
    np.testing.assert_allclose(product(root, right), root @ right, rtol=0, atol=1e-12)
    expected = scipy.linalg.cho_solve(scipy.linalg.cho_factor(matrix), right)
    np.testing.assert_allclose(solved(matrix.copy(), right), expected, rtol=1e-9, atol=1e-9)


def test_features_are_legendre_polynomials_of_variance_1():
    """Values of numpy's Legendre polynomials; mean and variance by Gauss-Legendre quadrature, which is exact here."""
    nodes, weights = leggauss(8)
    features = Features.of([Axis("span", low=-2.0, high=6.0)], (2.0 + 4.0 * nodes)[:, None])
    together = np.hstack([features.linear, features.curved])
    shares = [1.0, QUADRATIC, CUBIC]
    for degree in (1, 2, 3):
        pure = legval(nodes, np.eye(4)[degree]) * np.sqrt((2 * degree + 1) * shares[degree - 1])
        np.testing.assert_allclose(together[:, degree - 1], pure, rtol=1e-12, atol=1e-12)
    np.testing.assert_allclose(weights @ together / 2, 0.0, atol=1e-12)
    np.testing.assert_allclose(weights @ together**2 / 2, shares, rtol=1e-12)


def test_an_option_is_told_by_features_of_mean_0_and_variance_1():
    features = Features.of([Axis("motor", "choice", options=4)], np.arange(4.0)[:, None]).linear
    np.testing.assert_allclose(features.mean(axis=0), 0.0, atol=1e-12)
    np.testing.assert_allclose(np.sum(features**2, axis=1), 1.0, rtol=1e-12)


def test_kernel_of_two_candidates_by_hand():
    """One axis from 0 to 1, at 0.5 and 1: polynomials 0, -1/2, 0 and 1, 1, 1; the squared distance of sqrt(3) is 3."""
    two = Features.of([Axis("x")], np.array([[0.5], [1.0]]))
    between = SINGLE * 5.0 * QUADRATIC * -0.5 + 1.0 + 1.0 / (1.0 + STEEPNESS * 3.0)
    alone = SINGLE * (3.0 + 5.0 * QUADRATIC + 7.0 * CUBIC) + 4.0 + 1.0
    found = kernel(two, two)
    assert found[0, 1] == pytest.approx(between, rel=1e-12)
    assert found[1, 1] == pytest.approx(alone, rel=1e-12)


def test_prediction_is_the_most_likely_value_of_a_joint_normal_distribution():
    """The mean of a normal distribution given some of its values maximises SciPy's joint density over the others."""
    known, asked = Features.of(MIXED, drawn(MIXED, 12)), Features.of(MIXED, drawn(MIXED, 2, seed=5))
    values = np.random.default_rng(2).standard_normal((12, 1))
    values = (values - values.mean()) / values.std()
    found = Surrogate(known, values)(asked)[:, 0]
    both = Features(np.vstack([known.linear, asked.linear]), np.vstack([known.curved, asked.curved]), known.axes)
    joint = multivariate_normal(np.zeros(14), kernel(both, both) + NOISE * np.diag([1.0] * 12 + [1e-3] * 2))

    def density(moved: np.ndarray) -> float:
        return float(joint.logpdf(np.concatenate([values[:, 0], found + moved])))

    for direction in np.eye(2):
        up, down = density(1e-3 * direction), density(-1e-3 * direction)
        assert density(np.zeros(2)) > max(up, down)
        assert up == pytest.approx(down, abs=1e-4 * (density(np.zeros(2)) - up) + 1e-7)


def test_model_tells_a_smooth_function_of_many_axes():
    """Sixteen axes and 200 known: what is left of the variance of DTLZ2's g (Deb, Thiele, Laumanns and Zitzler 2002)."""
    axes = [Axis(f"x{i}") for i in range(16)]

    def g(x: np.ndarray) -> np.ndarray:
        return ((x[:, 4:] - 0.5) ** 2).sum(axis=1, keepdims=True)

    known, asked = drawn(axes, 200), drawn(axes, 500, seed=7)
    found = Surrogate(Features.of(axes, known), g(known))(Features.of(axes, asked))
    assert np.var(found - g(asked)) < 0.1 * np.var(g(asked))


def test_model_tells_what_options_do():
    def effect(x: np.ndarray) -> np.ndarray:
        return np.array([3.0, -1.0, 0.5, 2.0])[x[:, 3].astype(int)][:, None] + x[:, :1]

    known, asked = drawn(MIXED, 80), drawn(MIXED, 200, seed=3)
    found = Surrogate(Features.of(MIXED, known), effect(known))(Features.of(MIXED, asked))
    assert np.abs(found - effect(asked)).max() < 0.3


def test_an_output_that_is_always_the_same_is_told_exactly():
    features = Features.of(MIXED, drawn(MIXED, 20))
    for value in (0.0, -1.0):
        assert (Surrogate(features, np.full((20, 1), value))(features) == value).all()


def test_each_output_is_learnt_from_the_candidates_it_is_known_of():
    """The same as models of each alone; one that is known of too few is 0, and so is all where nothing is known."""
    genes, asked = drawn(MIXED, 60), Features.of(MIXED, drawn(MIXED, 9, seed=4))
    outputs = np.column_stack([genes[:, 0], genes[:, 1], genes[:, 2], 1.0 + genes[:, 0] ** 2])
    outputs[::3, 1] = outputs[20:, 2] = outputs[FEWEST - 1 :, 3] = np.nan
    found = Surrogate(Features.of(MIXED, genes), outputs)(asked)
    for column in range(3):
        rows = ~np.isnan(outputs[:, column])
        alone = Surrogate(Features.of(MIXED, genes[rows]), outputs[rows, column : column + 1])(asked)
        np.testing.assert_allclose(found[:, column], alone[:, 0], rtol=1e-12, atol=1e-12)
    assert (found[:, 3] == 0).all()
    assert (Surrogate(Features.of(MIXED, genes[:0]), outputs[:0])(asked) == 0).all()


def scored(what: Problem, genes: np.ndarray) -> Population:
    return as_population(what, what.evaluate(genes))


def test_a_batch_is_new_within_bounds_and_whole_and_the_same_again():
    what = problem(lambda x: np.column_stack([x[:, 0] + x[:, 2] / 40, 2.0 - x[:, 0] + x[:, 1]]), MIXED, 2)
    known = scored(what, drawn(MIXED, 60))
    first, again = (proposed(what, known, 10, np.random.default_rng(3)) for _ in range(2))
    np.testing.assert_array_equal(first, again)
    assert first.shape == (10, 4)
    assert (first >= [0.0, -2.0, 10, 0]).all()
    assert (first <= [1.0, 6.0, 40, 3]).all()
    assert (first[:, 2:] == np.rint(first[:, 2:])).all()


def test_a_batch_holds_each_candidate_once_and_none_that_is_known():
    """In a space of 72 candidates, of which 45 are known; and where there are fewer new ones than asked for, it ends."""
    axes = [Axis("teeth", "integer", 10, 15), Axis("motor", "choice", options=4), Axis("bore", "choice", options=3)]
    what = problem(lambda x: np.column_stack([x[:, 0] + x[:, 1], 20 - x[:, 0] + x[:, 2]]), axes, 2)
    whole = np.stack(np.meshgrid(np.arange(10, 16), np.arange(4), np.arange(3), indexing="ij"), axis=-1).reshape(-1, 3) + 0.0
    for seed in range(4):
        rng = np.random.default_rng(seed)
        known = scored(what, whole[rng.permutation(72)[:45]])
        found = {tuple(row) for row in proposed(what, known, 10, rng)}
        assert len(found) == 10
        assert not found & {tuple(row) for row in known.genes}
    assert proposed(what, scored(what, whole), 10, np.random.default_rng(0)).shape == (10, 3)


def test_the_first_candidates_are_spread_evenly():
    what = problem(lambda x: x[:, :2], 3, 2)
    assert batch(Population.empty(what)) == EVENLY
    cells = np.sort(np.floor(proposed(what, Population.empty(what), EVENLY, np.random.default_rng(0)) * EVENLY), axis=0)
    np.testing.assert_array_equal(cells, np.tile(np.arange(EVENLY), (3, 1)).T)


def told_in_part(x: np.ndarray) -> Evaluated:
    """Feasible in 1 of 4500 of the box; slack and costs of what breaks the first rule are unknown, as of wheels."""
    first = 0.25 - np.abs(x[:, :3] - 0.7).sum(axis=1)
    second = np.where(first < 0, np.nan, 0.2 - np.abs(x[:, 3:6] - 0.2).sum(axis=1))
    costs = np.where(first[:, None] < 0, np.nan, np.column_stack([x[:, 6], 1.0 - x[:, 6] + x[:, 7]]))
    violation = np.maximum(-first, 0) + np.where(np.isnan(second), 1.0, np.maximum(-second, 0))
    return Evaluated(x, costs, violation, np.column_stack([first, second]), pd.DataFrame(index=range(len(x))))


def test_slacks_lead_to_what_is_feasible():
    """Even draws of 300 find none: two rules of three axes each leave 4/3 0.25^3 times 4/3 0.2^3 of the box, 1 in 4500."""
    what = Problem([Axis(f"x{i}") for i in range(8)], (False, False), told_in_part)
    nobody = Population.empty(what)
    for seed in range(3):
        population, _, parts = step(what, nobody, nobody, seed, 0, 0, 300, 32, 300)
        assert len(population) == sum(map(len, parts)) == 300
        assert np.count_nonzero(population.violation <= 0) > 30
        assert not (told_in_part(drawn([*what.genes], 300, seed)).violation <= 0).any()


@pytest.mark.parametrize("kept", ["some fail", "feasible ones alone have costs"])
def test_candidates_that_tell_little_do_not_blind_the_model(kept):
    """One in ten fails and tells nothing; or, as under percentiles, no infeasible one has costs, though both its slacks."""
    axes = [Axis(f"x{i}") for i in range(8)]

    def evaluate(x: np.ndarray) -> Evaluated:
        slacks = np.column_stack([0.25 - np.abs(x[:, :3] - 0.7).sum(axis=1), 0.2 - np.abs(x[:, 3:6] - 0.2).sum(axis=1)])
        costs, violation = np.column_stack([x[:, 6], 1.0 - x[:, 6] + x[:, 7]]), np.maximum(-slacks, 0.0).sum(axis=1)
        if kept == "some fail":
            lost = np.floor(x[:, 7] * 1000) % 10 == 0
            slacks[lost], costs[lost], violation[lost] = np.nan, np.nan, UNKNOWN
        else:
            costs[violation > 0] = np.nan
        return Evaluated(x, costs, violation, slacks, pd.DataFrame(index=range(len(x))))

    what = Problem(axes, (False, False), evaluate)
    nobody = Population.empty(what)
    for seed in range(2):
        led, plain = (step(what, nobody, nobody, seed, 0, 0, 300, 32, modelled)[2] for modelled in (300, 0))
        assert sum(part.feasible.sum() for part in led) > sum(part.feasible.sum() for part in plain)


def cornered(x: np.ndarray) -> Evaluated:
    """Feasible about 0.2 on six axes; everywhere else the violation comes down to 0.1 at 0.8, where there is no way out."""
    away = np.abs(x[:, :6] - 0.2).sum(axis=1)
    slack = np.where(away < 0.8, 0.8 - away, -0.1 - 0.1 * np.abs(x[:, :6] - 0.8).sum(axis=1))
    costs = np.column_stack([x[:, 6], 1.0 - x[:, 6] + x[:, 7]])
    return Evaluated(x, costs, np.maximum(-slack, 0.0), slack[:, None], pd.DataFrame(index=range(len(x))))


def test_a_search_that_is_led_into_a_corner_begins_anew(monkeypatch):
    what = Problem([Axis(f"x{i}") for i in range(8)], (False, False), cornered)
    nobody = Population.empty(what)

    def feasible(seed: int) -> int:
        return int(np.count_nonzero(step(what, nobody, nobody, seed, 0, 0, 1000, 32, 1000)[0].violation <= 0))

    assert min(feasible(seed) for seed in (1, 2, 3)) > 30
    monkeypatch.setattr("sweep.proposing.PATIENCE", 1000)
    assert max(feasible(seed) for seed in (1, 2, 3)) == 0


@pytest.mark.parametrize(
    ("violation", "begun"),
    [
        ([], 0),
        ([2.0, 1.0] * 50, 0),  # the hundredth since the best is still to come
        ([2.0, 1.0] + [1.0] * 99, 0),
        ([2.0, 1.0] + [1.0] * 100, 102),
        ([2.0, 1.0] + [0.995] * 100, 102),  # less than a hundredth better
        ([2.0, 1.0] + [1.0] * 60 + [0.9] + [1.0] * 60, 0),
        ([2.0, 0.0] + [1.0] * 300, 0),
        ([1.0] * 101 + [2.0, 0.0] + [1.0] * 300, 101),
        ([1.0] * 101 + [2.0] * 101 + [3.0], 202),
    ],
)
def test_where_a_search_last_began(violation, begun):
    assert _begun(np.array(violation)) == begun


def test_edges_of_a_search_led_by_a_model():
    """No axis at all; fewer evaluations than are drawn evenly; nothing that can be scored."""

    def unknown(x: np.ndarray) -> Evaluated:
        nothing = np.full((len(x), 3), np.nan)
        return Evaluated(x, nothing[:, :2], nothing[:, 0], nothing, pd.DataFrame(index=range(len(x))))

    lost = Problem([Axis("x")], (False, False), unknown)
    point = problem(lambda x: np.ones((len(x), 2)), 0, 2)
    for what, evaluations in ((lost, 70), (point, 70), (problem(lambda x: x, 2, 2), 5)):
        nobody = Population.empty(what)
        assert sum(map(len, step(what, nobody, nobody, 1, 0, 0, evaluations, 32, evaluations)[2])) == evaluations


def test_violations_alone_lead_there_too():
    def broken(x: np.ndarray) -> np.ndarray:
        return np.maximum(np.abs(x[:, :4] - 0.6).sum(axis=1) - 0.2, 0.0)

    what = problem(lambda x: np.column_stack([x[:, 4], 1.0 - x[:, 4]]), 6, 2, broken)
    population, _, _ = step(what, Population.empty(what), Population.empty(what), 1, 0, 0, 200, 32, 200)
    assert np.count_nonzero(population.violation <= 0) > 20


@pytest.mark.parametrize("function", [dtlz2, inverted_dtlz2])
def test_a_short_search_finds_what_takes_children_twice_as_many(function):
    what = problem(lambda x: function(x, 5), 16, 5)

    def volume(evaluations: int, modelled: int) -> float:
        nobody = Population.empty(what)
        _, _, parts = step(what, nobody, nobody, 4, 0, 0, evaluations, 32, modelled)
        return hypervolume(np.concatenate([part.objectives for part in parts]), [0.0] * 5, [1.0] * 5, 2000, 8192)

    assert volume(200, 200) > 2 * volume(200, 0)
    assert volume(200, 200) > volume(400, 0)


def test_children_go_on_from_what_a_model_proposed():
    what = problem(lambda x: dtlz2(x, 3), 8, 3)
    nobody = Population.empty(what)
    population, sent, parts = step(what, nobody, nobody, 1, 0, 0, 400, 32, 150)
    counts = [len(part) for part in parts]
    assert sum(counts) == 400
    assert counts[0] == EVENLY
    assert counts[-1] == 250 % 32
    assert len(population) == 32
    modelled = joined(*(as_population(what, part) for part in parts[: counts.index(32)]))
    assert len(modelled) == 150
    assert sent.slacks.shape[1] == 0
