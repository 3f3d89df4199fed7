"""What the CAD build needs beside the rest: asked for when it is used, named where it is missing."""

from __future__ import annotations

import importlib

from sweep.errors import SweepFailure

LIBRARIES = ("build123d", "bd_warehouse", "trimesh", "lib3mf", "matplotlib")
INSTALL = "pip install -c constraints.txt -e '.[cad]'"
SYSTEM = "install the system's libGL.so.1 and libX11.so.6 (on Debian and Ubuntu: apt-get install libgl1 libx11-6)"


def missing_libraries() -> str:
    """What is missing and how to get it; an empty string where nothing is."""
    for name in LIBRARIES:
        try:
            importlib.import_module(name)
        except ImportError as error:
            of_system = ".so" in str(error)
            return f"{name} cannot be loaded ({error}): {SYSTEM if of_system else INSTALL}"
    return ""


def need_libraries() -> None:
    """Raises SweepFailure where a library is missing."""
    missing = missing_libraries()
    if missing:
        what, _, remedy = missing.rpartition(": ")
        raise SweepFailure(f"the CAD build's libraries are not all there: {what}", "the run", remedy)
