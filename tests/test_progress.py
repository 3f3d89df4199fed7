"""What a sweep tells while it runs."""

from __future__ import annotations

import io

from rich.console import Console

from sweep.progress import Display, Snapshot


def snapshot(done: int) -> Snapshot:
    return Snapshot("searching", done, 1000, 50.0, 0.25, 0.5, 12)


def test_without_a_terminal_a_line_now_and_then_and_one_at_the_end():
    output, now = io.StringIO(), [0.0]
    with Display(Console(file=output, width=40), clock=lambda: now[0]) as display:
        for done in range(0, 300, 10):  # a snapshot a second
            display(snapshot(done))
            now[0] += 1.0
    lines = output.getvalue().splitlines()
    assert [line.split()[1] for line in lines] == ["0", "100", "200", "290"]
    assert lines[-1] == "searching 290 of 1000, 14 s left, 50/s, feasible 25 %, front 12, hypervolume 0.5000"


def test_on_a_terminal_the_line_is_live_and_stays_at_the_end():
    output = io.StringIO()
    with Display(Console(file=output, width=200, force_terminal=True)) as display:
        display(snapshot(500))
    assert "searching 500 of 1000" in output.getvalue()
    assert output.getvalue().rstrip().endswith("hypervolume 0.5000")


def test_nothing_is_said_where_nothing_happened():
    output = io.StringIO()
    with Display(Console(file=output)):
        pass
    assert output.getvalue() == ""
