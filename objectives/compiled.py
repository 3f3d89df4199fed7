"""How formulas and kernels are compiled, and where the compiled code is kept.

One scalar function per formula, called from kernels as it is and from tables through ``on_arrays``. numba wants to know
the folder before it is imported, so nothing else in the package imports numba.
"""

from __future__ import annotations

import contextlib
import getpass
import hashlib
import os
import re
import shutil
import sys
import tempfile
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import numpy as np

COMPILES = re.compile(rb"^@(compiled|kernel|outer_kernel)\b", re.MULTILINE)


def source_key(package: Path) -> str:
    """Short hash of the package's sources that hold compiled functions.

    numba compiles anew when a function's own file has changed, but not when a function or constant that it takes from
    another file has; so compiled code is kept under a key made of all the files that hold any.
    """
    digest = hashlib.sha256()
    for path in sorted(package.glob("*.py")):
        text = path.read_bytes()
        if COMPILES.search(text):
            digest.update(path.name.encode() + b"\0" + text + b"\0")
    digest.update(Path(__file__).read_bytes())
    return digest.hexdigest()[:12]


def writable(folder: Path) -> bool:
    """Whether a file can be made in ``folder``, which is created if need be. Asked by doing: permissions alone mislead."""
    try:
        folder.mkdir(parents=True, exist_ok=True)
        with tempfile.TemporaryFile(dir=folder):
            return True
    except OSError:
        return False


def cache_folder(package: Path) -> Path:
    """Where compiled code goes: $NUMBA_CACHE_DIR, the package, the user's cache folder or the temporary files.

    The first of these that can be written; raises OSError where none can.
    """
    home = os.environ.get("XDG_CACHE_HOME") or os.path.join(os.path.expanduser("~"), ".cache")
    places = [
        package / "__pycache__",
        Path(home) / "wheelfront",
        Path(tempfile.gettempdir()) / f"wheelfront-{getpass.getuser()}",
    ]
    if os.environ.get("NUMBA_CACHE_DIR"):
        given = Path(os.environ["NUMBA_CACHE_DIR"])
        places.insert(0, given.parent if given.name.startswith(FOLDER) else given)
    name = FOLDER + source_key(package)
    for place in places:
        if writable(place / name):
            _clear_out(place)
            return place / name
    raise OSError(
        f"no folder to keep compiled code in: tried {', '.join(str(place) for place in places)}; "
        "set NUMBA_CACHE_DIR to a folder that can be written"
    )


def _clear_out(place: Path) -> None:
    """Keep the newest few folders of compiled code: each change of the sources leaves one of about 7 MB."""
    with contextlib.suppress(OSError):  # another process may clear out at the same time
        folders = sorted(place.glob(FOLDER + "*"), key=lambda folder: folder.stat().st_mtime, reverse=True)
        for folder in folders[KEPT:]:
            shutil.rmtree(folder, ignore_errors=True)


#: how folders of compiled code are named, followed by the key of the sources, and how many are kept
FOLDER = "kernels-"
KEPT = 5
os.environ["NUMBA_CACHE_DIR"] = str(cache_folder(Path(__file__).parent))


@contextlib.contextmanager
def absent(*names: str) -> Iterator[None]:
    """Importing these modules fails meanwhile, as where they are not installed; those imported already are left alone."""
    hidden = [name for name in names if name not in sys.modules]
    sys.modules.update(dict.fromkeys(hidden))  # type: ignore[arg-type]
    try:
        yield
    finally:
        for name in hidden:
            del sys.modules[name]


# for linear algebra and foreign functions, which no kernel uses, numba would take a fifth of a first score to load these
with absent("scipy.linalg", "cffi"):
    import numba  # (the folder must be known first)
    import numba.core.typing.cffi_utils
    import numba.np.arraymath

#: compiles a scalar formula. Division by zero gives inf or nan, as in numpy; no fastmath, so nan checks hold.
compiled = numba.njit(cache=True, error_model="numpy")

#: compiles a kernel. "contract", "reassoc" and "nsz" let sums be vectorised and keep nan and inf; a test holds compiled
#: against uncompiled. Without numba's reference counts, which cost half of the time here: a kernel may not allocate.
_KERNEL: dict[str, Any] = {
    "cache": True,
    "error_model": "numpy",
    "fastmath": {"contract", "reassoc", "nsz"},
    "_nrt": False,
    "no_cfunc_wrapper": True,
}
kernel = numba.njit(**_KERNEL)

#: compiles a kernel into its only caller. numba compiles everything below a kernel anew for each kernel above it; a short
#: chain of calls down to the heavy ones keeps the first start under a minute.
outer_kernel = numba.njit(**_KERNEL, inline="always")


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
