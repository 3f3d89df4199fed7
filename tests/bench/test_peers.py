"""The search against two of its peers on a small budget; the whole comparison is ``tests.bench.search_peers``."""

import math

import pytest

from tests.bench.search_peers import CASES, METHODS, Meter, measured


def volume(problem: str, method: str, evaluations: int) -> float:
    """Hypervolume of the archive after so many evaluations, seed 1: no clock has a part in it."""
    meter = Meter(CASES[problem](), (evaluations,), (), math.inf)
    return measured(meter, METHODS[method], 1).readings[0]["hypervolume"]


@pytest.mark.parametrize("evaluations", [3000])
def test_ours_beats_even_draws_and_nsga3_on_dtlz2(evaluations):
    ours = volume("dtlz2", "ours", evaluations)
    assert ours > 1.03 * volume("dtlz2", "NSGA-III", evaluations)
    assert ours > 3 * volume("dtlz2", "Sobol", evaluations)


def test_ours_beats_even_draws_and_nsga3_on_a_study():
    ours = volume("balancing", "ours", 1000)
    assert ours > 1.05 * volume("balancing", "NSGA-III", 1000)
    assert ours > 1.5 * volume("balancing", "Sobol", 1000)


def test_meter_reads_at_counts_and_times_and_stops():
    """Even draws of 128 at 1.5 ms each: a batch is 0.192 s and a little, so 0.5 s lie within the third batch."""
    meter = measured(Meter(CASES["dtlz2"](), (100, 300), (0.5,), 30.0), METHODS["Sobol"], 1)
    read = {(reading["at"], reading["limit"]): reading for reading in meter.readings}
    assert set(read) == {("evaluations", 100), ("evaluations", 300), ("seconds", 0.5)}
    assert read["seconds", 0.5]["evaluations"] in (128, 256)
    assert 0 < read["evaluations", 100]["hypervolume"] < read["evaluations", 300]["hypervolume"] < 1
    assert meter.done == 384
