"""The search against two of its peers on a small budget; the whole comparison is ``tests.bench.search_peers``."""

import math

import pytest

from tests.bench.search_peers import CASES, METHODS, Meter, measured

pytestmark = pytest.mark.alone


def volume(problem: str, method: str, evaluations: int) -> float:
    """Hypervolume of the archive after so many evaluations, seed 1: no clock has a part in it."""
    meter = Meter(CASES[problem](), (evaluations,), (), math.inf)
    return measured(meter, METHODS[method], 1).readings[0]["hypervolume"]


def test_ours_beats_even_draws_and_nsga3_on_dtlz2():
    ours = volume("dtlz2", "ours", 3000)
    assert ours > 1.05 * volume("dtlz2", "NSGA-III", 3000)
    assert ours > 4 * volume("dtlz2", "Sobol", 3000)


@pytest.mark.slow
def test_ours_finds_wheels_where_even_draws_find_next_to_none():
    """A study's front is just begun here and NSGA-III not far off within its spread; at 10000 ours is far ahead."""
    ours = volume("balancing", "ours", 2000)
    assert ours > 3 * volume("balancing", "Sobol", 2000)
    assert ours > 0.8 * volume("balancing", "NSGA-III", 2000)


def test_meter_reads_at_counts_and_times_and_stops(monkeypatch):
    """Even draws come 128 at a time, each charged 1.5 ms and here nothing else: 0.5 s are over within the third batch."""
    monkeypatch.setattr("tests.bench.search_peers.time.process_time", lambda: 0.0)
    meter = measured(Meter(CASES["dtlz2"](), (100, 300), (0.5,), 30.0), METHODS["Sobol"], 1)
    read = {(reading["at"], reading["limit"]): reading for reading in meter.readings}
    assert set(read) == {("evaluations", 100), ("evaluations", 300), ("seconds", 0.5)}
    assert read["seconds", 0.5]["evaluations"] == 256
    assert read["evaluations", 100]["hypervolume"] <= read["evaluations", 300]["hypervolume"] < 1
    assert meter.done == 384
