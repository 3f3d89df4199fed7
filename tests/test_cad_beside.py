"""Work beside other work: its result, its failure, its end, and that it is done here where it cannot be elsewhere."""

from __future__ import annotations

import multiprocessing
import os
import select
import signal
import subprocess
import sys
import threading
import time

import pytest

from sweep.cad import beside as module
from sweep.cad.beside import beside, can_copy
from sweep.errors import SweepFailure

pytestmark = pytest.mark.usefixtures("cad_libraries")


@pytest.fixture
def copying(monkeypatch: pytest.MonkeyPatch) -> None:
    """Copies are made whatever threads other tests have left and however many cores there are."""
    monkeypatch.setattr(module, "can_copy", lambda: True)


@pytest.mark.usefixtures("copying")
def test_work_is_done_in_another_process_meanwhile() -> None:
    seen: list[str] = []

    def work() -> tuple[int, bytes]:
        seen.append("there")
        return os.getpid(), b"x" * 10**6  # more than a pipe holds

    with beside(work) as result:
        seen.append("here")
        process, content = result()
    assert process != os.getpid()
    assert len(content) == 10**6
    assert seen == ["here"]


@pytest.mark.usefixtures("copying")
def test_solids_are_cut_in_a_copy() -> None:
    """The kernel of solids keeps threads, and a copy that waited for one of them would never end."""
    from build123d import Box

    def shared() -> float:
        return float(sum(solid.volume for solid in Box(1, 2, 3).intersect(Box(2, 1, 1)) or []))

    here = shared()
    with beside(shared) as result:
        assert result() == here == pytest.approx(1.0)


@pytest.mark.usefixtures("copying")
def test_a_failure_there_is_one_here() -> None:
    def work() -> None:
        raise SweepFailure("no room", "the disk", "make room")

    with beside(work) as result, pytest.raises(SweepFailure, match="make room"):
        result()


@pytest.mark.usefixtures("copying")
def test_work_whose_copy_was_killed_is_done_here() -> None:
    here = os.getpid()

    def work() -> int:
        if os.getpid() != here:
            os.kill(os.getpid(), signal.SIGKILL)
        return os.getpid()

    with beside(work) as result:
        assert result() == here


@pytest.mark.usefixtures("copying")
def test_a_copy_does_not_outlive_what_it_was_made_for() -> None:
    with beside(lambda: time.sleep(600)):
        assert multiprocessing.active_children()
    assert not multiprocessing.active_children()


def test_a_copy_does_not_outlive_a_process_that_is_killed() -> None:
    code = (
        "import os, time\n"
        "from sweep.cad import beside\n"
        "beside.can_copy = lambda: True\n"
        "def work():\n"
        "    print(os.getpid(), flush=True)\n"
        "    time.sleep(600)\n"
        "with beside.beside(work) as result:\n"
        "    result()\n"
    )
    process = subprocess.Popen([sys.executable, "-c", code], stdout=subprocess.PIPE, text=True)
    assert process.stdout is not None
    copy = os.pidfd_open(int(process.stdout.readline()))
    try:
        process.kill()
        process.communicate()  # the copy held the pipe open too
        assert select.select([copy], [], [], 20)[0]
    finally:
        os.close(copy)


def test_work_is_done_here_while_threads_run() -> None:
    """A copy has none of the threads, nor what they would have let go of."""
    ended = threading.Event()
    waiting = threading.Thread(target=ended.wait)
    waiting.start()
    try:
        assert not can_copy()
        with beside(os.getpid) as result:
            assert result() == os.getpid()
    finally:
        ended.set()
        waiting.join()
