"""Arrays that the kernels work in: one set a batch, reused for every candidate and phase.

Everything that belongs to an output roller lies in rows of ROW numbers inside flat arrays, ``array[NAME + roller]``, so
that the loops over rollers compile to vector instructions (a factor of about four against rows of a two-dimensional
array, measured). Rows past the last roller are padding: the loops run to a multiple of four rollers, where padding has no
contact, no load and stays at rest.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np

from objectives.compiled import kernel

#: rollers that fit a row, and hub rollers that one output roller can meet on one side
ROW = 32
SLOTS = 18
#: output rollers that can stand on the floor at once
FLOOR_ROLLERS = 3

# contacts[side][slot]: rows of one hub roller's contact with each output roller
GAP, INWARD, AXIAL, ALONG_C, ALONG_T, LEVER_T, LEVER_C, RELAXED = (k * ROW for k in range(8))
# and, at the present displacements, what the creep of a turning roller follows from (see objectives.creeping)
TOWARDS, BESIDE, PRESSED, WIDTH, STILL = (k * ROW for k in range(8, 13))
CONTACT = 13 * ROW
SIDE = SLOTS * CONTACT
#: gap of an empty slot, m: far beyond any overlap
EMPTY = 1e3

# passes: rows of what each hub roller of a side does
HUB_ROW = 64
(
    PASS_SINE,  # of its angle from the middle of the output roller nearest to it
    PASS_COSINE,
    PASS_ROLLER,  # which output roller
    PASS_TOUCHES,  # 1 where both rollers reach
    PASS_GAP,
    PASS_INWARD,
    PASS_AXIAL,
    PASS_ALONG_C,
    PASS_ALONG_T,
    PASS_LEVER_T,
    PASS_LEVER_C,
) = (k * HUB_ROW for k in range(11))
PASSES = 11 * HUB_ROW

# unknowns
U, V, SPEED = (k * ROW for k in range(3))
#: numbers of an equilibrium that is kept: rows U and V, the two closures, the axle's height
EQUILIBRIUM = 2 * ROW + 3

# floor: rows that are zero for all but the rollers that stand on the floor
FLOOR_FORCE, FLOOR_STIFFNESS, FLOOR_COSINE = (k * ROW for k in range(3))

#: rows of the sums over the contacts of a side, and of what is kept per roller during a step
SUMS = 25 * ROW
STEP = 40 * ROW
SHARE = 14 * ROW
SCRATCH = 4 * 3 * ROW + 32
#: numbers that every array begins at a multiple of: a line of the processor's cache
LINE = 8


class Workspace(NamedTuple):
    """Scratch arrays of the kernels."""

    slots: np.ndarray  # (2,) slots in use on each side
    unknowns: np.ndarray  # rows U, V, SPEED
    floor: np.ndarray  # rows FLOOR_*
    floor_roller: np.ndarray  # (FLOOR_ROLLERS,) which rollers
    floor_angle: np.ndarray  # (FLOOR_ROLLERS, 3) angle from straight down, its cosine and sine
    breaks: np.ndarray  # (2 FLOOR_ROLLERS + 1,) levels of side force, see objectives.sharing
    left: np.ndarray  # SUMS
    right: np.ndarray  # SUMS
    step: np.ndarray  # STEP
    share: np.ndarray  # SHARE
    load: np.ndarray  # rows U, V: loads given from outside
    passes: np.ndarray  # PASSES
    scratch: np.ndarray  # SCRATCH, for the states of a phase
    matrix: np.ndarray  # (4, 5) border system
    contacts: np.ndarray  # 2 * SIDE


def new_workspace() -> Workspace:
    """A fresh set of arrays, parts of one block in a fixed order.

    Compiled loops look at run time whether arrays might overlap, by their addresses, and take a slower way that rounds
    otherwise if so. Arrays that lie anywhere would make the last digits of a result depend on where they happened to be. The
    contacts come last: before the sums over them they would seem to reach into these (a tenth of the time, measured).
    """
    shapes: tuple[tuple[int, ...], ...] = (
        (2,),
        (3 * ROW,),
        (3 * ROW,),
        (FLOOR_ROLLERS,),
        (FLOOR_ROLLERS, 3),
        (2 * FLOOR_ROLLERS + 1,),
        (SUMS,),
        (SUMS,),
        (STEP,),
        (SHARE,),
        (2 * ROW,),
        (PASSES,),
        (SCRATCH,),
        (4, 5),
        (2 * SIDE,),
    )
    starts = np.cumsum([0, *(-(-math.prod(shape) // LINE) * LINE for shape in shapes)])
    block = np.zeros(starts[-1] + LINE)
    block = block[(-block.ctypes.data // block.itemsize) % LINE :]
    parts = [block[at : at + math.prod(shape)].reshape(shape) for at, shape in zip(starts, shapes, strict=False)]
    work = Workspace(*parts)
    return work._replace(slots=work.slots.view(np.int64), floor_roller=work.floor_roller.view(np.int64))


@kernel
def padded(count: int) -> int:
    """Rollers that the loops run over: the next multiple of four."""
    return (count + 3) // 4 * 4


@kernel
def copy(source: np.ndarray, target: np.ndarray) -> None:
    """Copy the numbers of one flat array into another at least as long."""
    for i in range(len(source)):
        target[i] = source[i]
