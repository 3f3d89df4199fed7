"""Code compiled by a process of its own before it is first used.

What a process has compiled itself and the same code read back from the folder differ in the last digits of some results: the
one holds inner functions twice, alone and within the kernels above, and either may be the one that runs. A search magnifies
last digits, so a sweep that began by compiling would not go on alike after a kill. Hence everybody reads back.
"""

from __future__ import annotations

import contextlib
import os
import pickle
import platform
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

from objectives.compiled import numba

if TYPE_CHECKING:
    import pandas as pd

    from objectives.scenario import Scenario

#: set in the process that compiles
COMPILING = "WHEELFRONT_COMPILING"
CODE = """
import pickle, sys
from objectives.scoring import evaluate
designs, scenario, mark = pickle.load(sys.stdin.buffer)
scores = evaluate(designs, scenario, phases=1, geometry_first=False)
if scores["mass_kg"].notna().any():
    open(mark, "w").close()
"""
#: s, between calls of ``waiting``
LOOK_SECONDS = 0.2
_tried = False


def compile_apart(designs: pd.DataFrame, scenario: Scenario, waiting: Callable[[], None] | None = None) -> None:
    """See that compiled code is there to be read back, as far as a process of its own can be had; else do nothing.

    ``designs`` has a few designs to compile with. Takes a minute where no code is there, else no time. ``waiting`` is called
    several times a second meanwhile; what it raises ends the compiling.
    """
    global _tried
    uncompiled = bool(numba.config.DISABLE_JIT)  # type: ignore[attr-defined]
    if _tried or uncompiled or not len(designs) or COMPILING in os.environ or _mark().exists():
        return
    _tried = True
    work = pickle.dumps((designs.iloc[:8], scenario, str(_mark())))
    environment = {**os.environ, COMPILING: "1", "PYTHONPATH": os.pathsep.join(filter(None, sys.path))}
    quiet = subprocess.DEVNULL
    with contextlib.suppress(OSError), subprocess.Popen(
        [sys.executable, "-c", CODE], stdin=subprocess.PIPE, stdout=quiet, stderr=quiet, env=environment
    ) as process:
        try:
            _feed(process, work, waiting)
        except OSError:  # it ended early, as it would again
            process.kill()
            raise
        except BaseException:
            process.kill()
            _tried = False
            raise


def _feed(process: subprocess.Popen[bytes], work: bytes, waiting: Callable[[], None] | None) -> None:
    assert process.stdin is not None
    process.stdin.write(work)
    process.stdin.close()
    while waiting is not None and process.poll() is None:
        waiting()
        with contextlib.suppress(subprocess.TimeoutExpired):
            process.wait(LOOK_SECONDS)


def _mark() -> Path:
    """The file that says that all code is there."""
    return Path(os.environ["NUMBA_CACHE_DIR"]) / f"whole-{platform.python_version()}-{numba.__version__}"

