"""What a sweep costs besides scoring. Ratios of processor times within one process, so the machine's load counts for little."""

import pytest

from tests.bench.search_overhead import STUDIES, costs_over_a_run, share_besides_scoring


@pytest.mark.slow
@pytest.mark.parametrize("name", STUDIES)
def test_at_most_fifteen_percent_is_not_scoring(name):
    assert min(share_besides_scoring(name, 2500) for _ in range(2)) <= 0.15


def test_a_candidate_costs_no_more_late_in_a_run():
    """The front grows for a while: what it costs is paid once an epoch."""
    early, middle, late = costs_over_a_run(8000)
    assert max(middle, late) < 2 * early
