"""How formulas and kernels are compiled, and where the compiled code is kept.

One scalar function per formula, called from kernels as it is and from tables through ``on_arrays``. Compiled code is kept
in the package's own folder where that is writable (the usual case), else in the user's cache folder, else in a folder for
this user among the temporary files; numba wants to know before it is imported.
"""

from __future__ import annotations

import getpass
import os
import tempfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np


def writable(folder: Path) -> bool:
    """Whether a file can be made in ``folder``, which is created if need be. Asked by doing: permissions alone mislead."""
    try:
        folder.mkdir(parents=True, exist_ok=True)
        with tempfile.TemporaryFile(dir=folder):
            return True
    except OSError:
        return False


def cache_folder(package: Path) -> Path | None:
    """Where compiled code goes; None where the package's own ``__pycache__`` will do. Raises OSError where nowhere will."""
    if writable(package / "__pycache__"):
        return None
    home = os.environ.get("XDG_CACHE_HOME") or os.path.join(os.path.expanduser("~"), ".cache")
    for folder in (Path(home) / "wheelfront", Path(tempfile.gettempdir()) / f"wheelfront-{getpass.getuser()}"):
        if writable(folder):
            return folder
    raise OSError(
        f"no folder to keep compiled code in: tried {package / '__pycache__'}, {home} and {tempfile.gettempdir()}; "
        "set NUMBA_CACHE_DIR to a folder that can be written"
    )


if "NUMBA_CACHE_DIR" not in os.environ:
    _folder = cache_folder(Path(__file__).parent)
    if _folder is not None:
        os.environ["NUMBA_CACHE_DIR"] = str(_folder)

import numba  # noqa: E402  (the folder must be known first)

#: compiles a scalar formula. Division by zero gives inf or nan, as in numpy; no fastmath, so nan checks hold.
compiled = numba.njit(cache=True, error_model="numpy")

#: compiles a kernel. "contract", "reassoc" and "nsz" let sums be vectorised and keep nan and inf; a test holds compiled
#: against uncompiled.
kernel = numba.njit(cache=True, error_model="numpy", fastmath={"contract", "reassoc", "nsz"})


def on_arrays(function: Callable[..., Any], *values: Any) -> Any:
    """A compiled scalar formula over broadcast arrays; a formula that returns a tuple gives a tuple of arrays.

    About a microsecond an element: for tables and reports, not for inner loops.

    >>> from objectives.hertz import line_half_width
    >>> on_arrays(line_half_width, np.array([1e3, 4e3]), 0.01, 1e7).round(6)
    array([0.001128, 0.002257])
    """
    arrays = np.broadcast_arrays(*(np.asarray(value, dtype=float) for value in values))
    if arrays[0].size == 0:
        raise ValueError(f"on_arrays needs at least one element, got shape {arrays[0].shape}")
    return np.vectorize(function)(*arrays)
