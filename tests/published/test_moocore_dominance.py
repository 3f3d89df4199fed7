"""moocore's dominance filters and hypervolume, which the front relies on, against definitions written out and Monte Carlo.

Definition 2 of Zitzler, Thiele, Laumanns, Fonseca and Grunert da Fonseca, "Performance assessment of multiobjective
optimizers: an analysis and review", IEEE Trans. Evol. Comput. 7 (2003) 117: one vector dominates another if it is no worse in
any objective and better in one.
"""

from __future__ import annotations

import moocore
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from sweep.front import hypervolume, nondominated


def brute_force(costs: np.ndarray) -> np.ndarray:
    no_worse = np.all(costs[:, None, :] <= costs[None, :, :], axis=2)
    better = np.any(costs[:, None, :] < costs[None, :, :], axis=2)
    return ~np.any(no_worse & better, axis=0)


@given(arrays(float, st.tuples(st.integers(1, 40), st.integers(2, 5)), elements=st.integers(-3, 3).map(float)))
@settings(max_examples=200, deadline=None)
def test_filter_with_many_ties(costs):
    np.testing.assert_array_equal(nondominated(costs), brute_force(costs))


@pytest.mark.parametrize("objectives", [2, 3, 5])
def test_filter_of_many(objectives):
    costs = np.random.default_rng(objectives).random((1500, objectives))
    np.testing.assert_array_equal(nondominated(costs), brute_force(costs))


@pytest.mark.parametrize("objectives", [2, 5])
def test_ranks_peel_the_fronts(objectives):
    costs = np.random.default_rng(objectives).random((300, objectives))
    rank, left = moocore.pareto_rank(costs), np.arange(300)
    for level in range(rank.max() + 1):
        front = brute_force(costs[left])
        assert set(left[front]) == set(np.flatnonzero(rank == level))
        left = left[~front]
    assert not len(left)


def test_hypervolume_against_monte_carlo():
    rng = np.random.default_rng(3)
    costs = rng.random((20, 5)) * 0.9
    samples = rng.random((200_000, 5)) * 1.1
    hit = np.zeros(len(samples), dtype=bool)
    for row in costs:
        hit |= np.all(samples >= row, axis=1)
    share = hit.mean()
    error = np.sqrt(share * (1 - share) / len(samples))
    assert hypervolume(costs, [0] * 5, [1] * 5) == pytest.approx(share, abs=4 * error)
