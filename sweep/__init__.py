"""Search, store and show: from a study file to a front of wheels. ``load_study`` and ``run`` are loaded when first used."""

from __future__ import annotations

import importlib
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from sweep.runner import run as run
    from sweep.study import load_study as load_study

__all__ = ["load_study", "run"]

_HOMES = {"load_study": "sweep.study", "run": "sweep.runner"}


def __getattr__(name: str) -> Any:
    if name not in _HOMES:
        raise AttributeError(f"module 'sweep' has no attribute {name!r}; it has {', '.join(__all__)}")
    return getattr(importlib.import_module(_HOMES[name]), name)
