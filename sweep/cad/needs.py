"""What the CAD build needs beside the rest: asked for when it is used, named where it is missing."""

from __future__ import annotations

from importlib import import_module
from typing import NamedTuple

from sweep.errors import SweepFailure

LIBRARIES = ("build123d", "bd_warehouse", "trimesh", "lib3mf", "matplotlib")
INSTALL = "pip install -c constraints.txt -e '.[cad]'"
SYSTEM = "install the system's libGL.so.1 and libX11.so.6 (on Debian and Ubuntu: apt-get install libgl1 libx11-6)"


class Missing(NamedTuple):
    """What cannot be loaded, and how to get it."""

    what: str
    remedy: str


def missing_library() -> Missing | None:
    """The first library that cannot be loaded, None where all can."""
    for name in LIBRARIES:
        try:
            import_module(name)
        except ImportError as error:
            return Missing(f"{name} cannot be loaded: {error}", SYSTEM if ".so" in str(error) else INSTALL)
    return None


def need_libraries() -> None:
    """Raises SweepFailure where a library is missing."""
    missing = missing_library()
    if missing:
        raise SweepFailure(f"the CAD build's libraries are not all there: {missing.what}", "the run", missing.remedy)
