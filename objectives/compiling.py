"""Code compiled by processes of their own before it is first used.

What a process has compiled itself and the same code read back from the folder differ in the last digits of some results: the
one holds inner functions twice, alone and within the kernels above, and either may be the one that runs. A search magnifies
last digits, so a sweep that began by compiling would not go on alike after a kill. Hence everybody reads back.

Two processes share the work. Each writes into a folder of its own: what one finds of the other's would change its code.
"""

from __future__ import annotations

import contextlib
import os
import pickle
import platform
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

from objectives.compiled import FOLDER, numba

if TYPE_CHECKING:
    import pandas as pd

    from objectives.scenario import Scenario

#: set in the processes that compile
COMPILING = "WHEELFRONT_COMPILING"
#: compiles all but the kernel of running states
MOST = """
import pickle, sys
from objectives import running, scoring
designs, scenario = pickle.load(sys.stdin.buffer)
running._run_batch = lambda *arrays: None
scores = scoring.evaluate(designs, scenario, phases=1, geometry_first=False)
sys.exit(bool(scores["mass_kg"].isna().all()))
"""
#: compiles the kernel of running states, a third of the work
RUNNING = "from objectives.running import compile_running; compile_running()"
#: s, between calls of ``waiting``
LOOK_SECONDS = 0.2
_tried = False


def compile_apart(designs: pd.DataFrame, scenario: Scenario, waiting: Callable[[], None] | None = None) -> None:
    """See that compiled code is there to be read back, as far as processes of their own can be had; else do nothing.

    ``designs`` has a few designs to compile with. Takes most of a minute where no code is there, else no time. ``waiting`` is
    called several times a second meanwhile; what it raises ends the compiling.
    """
    global _tried
    uncompiled = bool(numba.config.DISABLE_JIT)  # type: ignore[attr-defined]
    if _tried or uncompiled or not len(designs) or COMPILING in os.environ or _mark().exists():
        return
    _tried = True
    try:
        with contextlib.suppress(OSError), tempfile.TemporaryDirectory(dir=_folder(), prefix="apart-") as name:
            work, places = Path(name) / "work", [Path(name) / "most", Path(name) / "running"]
            work.write_bytes(pickle.dumps((designs.iloc[:8], scenario)))
            if _done([MOST, RUNNING], places, work, waiting):
                for place in places:
                    _move(next(place.glob(FOLDER + "*")), _folder())
                _mark().touch()
    except BaseException:
        _tried = False
        raise


def _done(codes: list[str], places: list[Path], work: Path, waiting: Callable[[], None] | None) -> bool:
    """Whether processes that compile into a place each have all done so. None is left behind."""
    quiet, processes = subprocess.DEVNULL, []
    with contextlib.ExitStack() as stack:
        for code, place in zip(codes, places, strict=True):
            known = {"PYTHONPATH": os.pathsep.join(filter(None, sys.path)), "NUMBA_CACHE_DIR": str(place)}
            process = stack.enter_context(subprocess.Popen(
                [sys.executable, "-c", code], stdin=stack.enter_context(work.open("rb")), stdout=quiet, stderr=quiet,
                env={**os.environ, COMPILING: "1", **known},
            ))  # fmt: skip
            stack.callback(process.kill)
            processes.append(process)
        while any(process.poll() is None for process in processes):
            if waiting is not None:
                waiting()
            with contextlib.suppress(subprocess.TimeoutExpired):
                processes[0].wait(LOOK_SECONDS)
                processes[1].wait(LOOK_SECONDS)
        return not any(process.returncode for process in processes)


def _move(made: Path, folder: Path) -> None:
    """Move compiled code to where it is looked for, what an index names before the index; what is there already stays."""
    for path in sorted(made.rglob("*.nb?"), key=lambda path: path.suffix):
        target = folder / path.relative_to(made)
        if not target.exists():
            target.parent.mkdir(exist_ok=True)
            shutil.move(path, target)


def _folder() -> Path:
    return Path(os.environ["NUMBA_CACHE_DIR"])


def _mark() -> Path:
    """The file that says that all code is there."""
    return _folder() / f"whole-{platform.python_version()}-{numba.__version__}"
