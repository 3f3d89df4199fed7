"""Whether this machine has what the solids need, said clearly where it has not."""

from __future__ import annotations

import importlib

from sweep.errors import BadInput, Fault

#: system libraries that the CAD kernel is linked with, and the Debian packages that hold them
SYSTEM = {"libGL.so.1": "libgl1", "libX11.so.6": "libx11-6"}


def missing() -> str:
    """What is missing to make solids, with the remedy; empty where nothing is."""
    try:
        importlib.import_module("OCP.gp")
        importlib.import_module("build123d")
        importlib.import_module("bd_warehouse.fastener")
    except ImportError as error:
        library = next((name for name in SYSTEM if name in str(error)), "")
        if library:
            packages = " ".join(SYSTEM.values())
            return f"the system library {library} is missing; install it, on Debian: apt-get install {packages}"
        return f"{error}; pip install 'wheelfront[cad]'"
    return ""


def demand() -> None:
    """Raises BadInput where solids cannot be made here."""
    why = missing()
    if why:
        what, _, remedy = why.partition("; ")
        raise BadInput([Fault("solids", "must have build123d and bd_warehouse to be made", what, remedy=remedy)])
