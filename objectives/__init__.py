"""What a wheel is and how it scores. ``objectives.evaluate`` scores a table of designs."""

from typing import Any


def __getattr__(name: str) -> Any:
    if name == "evaluate":  # only when it is used: scoring loads the compiler
        from objectives.scoring import evaluate

        return evaluate
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
