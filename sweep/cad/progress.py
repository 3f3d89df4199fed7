"""How far a build is, and what came of it, told line by line."""

from __future__ import annotations

import time
from collections.abc import Callable

from sweep.cad.build import STAGES, Built
from sweep.cad.order import cautions
from sweep.errors import SweepFailure

Say = Callable[[str], None]
#: proofs that are named on the screen
SHOWN = 8


class Steps:
    """Says each stage as it begins, and how long it has been.

    >>> Steps(print, clock=iter([0.0, 2.2]).__next__)("meshes")
    3 of 8, after 2 s: meshes
    """

    def __init__(self, say: Say, clock: Callable[[], float] = time.monotonic) -> None:
        self._say, self._clock = say, clock
        self._began = clock()

    def __call__(self, stage: str) -> None:
        since = self._clock() - self._began
        self._say(f"{STAGES.index(stage) + 1} of {len(STAGES)}, after {since:.0f} s: {stage}")


def finish(built: Built, say: Say) -> None:
    """Say what a build has made. Raises SweepFailure where a proof does not hold."""
    dimensions = built.assembly.dimensions
    mass = next(check for check in built.checks if check.name == "mass")
    say(f"Built {dimensions.design}: {len(built.files)} files in {built.place}, what was proven in build.json.")
    say(f"The solids' mass is {100 * mass.measured:+.1f} % off mass_kg.")
    how = "can be replaced with the wheel on the robot" if dimensions.roller_in_place else "cannot be replaced in place"
    say(f"An output roller {how}: {dimensions.roller_in_place_reason}.")
    say("Print coupon/coupon.md's parts first. Cautions:")
    for text in cautions(built.choice):
        say(f"- {text}")
    if built.failures:
        more = f"\nand {len(built.failures) - SHOWN} more" if len(built.failures) > SHOWN else ""
        raise SweepFailure(
            f"{len(built.failures)} proofs do not hold:\n" + "\n".join(built.failures[:SHOWN]) + more,
            safe=f"all files, in {built.place}; build.json names each proof",
            go_on="do not print what they are about; please report the design and its study",
        )
