"""Standard parts by their sizes: screws, nuts, washers. Solids from bd_warehouse, which is imported late."""

from __future__ import annotations

from typing import Any

#: mm, coarse threads as bd_warehouse names them, ISO 261
THREADS = {
    2.0: "M2-0.4", 2.5: "M2.5-0.45", 3.0: "M3-0.5", 4.0: "M4-0.7", 5.0: "M5-0.8", 6.0: "M6-1", 8.0: "M8-1.25",
    10.0: "M10-1.5", 12.0: "M12-1.75", 14.0: "M14-2", 16.0: "M16-2", 20.0: "M20-2.5", 24.0: "M24-3", 30.0: "M30-3.5",
}  # fmt: skip
#: mm, lengths that screws are sold in (ISO 888 and common practice for the shortest)
LENGTHS = (4, 5, 6, 8, 10, 12, 16, 20, 25, 30, 35, 40, 45, 50, 55, 60, 65, 70, 80, 90, 100, 110, 120)
#: mm, socket keys of ISO 4762 and of ISO 10642 by thread (from memory)
SOCKET_KEYS = {2.0: 1.5, 2.5: 2.0, 3.0: 2.5, 4.0: 3.0, 5.0: 4.0, 6.0: 5.0, 8.0: 6.0}
COUNTERSUNK_KEYS = {3.0: 2.0, 4.0: 2.5, 5.0: 3.0}
#: mm, the screw that clamps the carrier: thread, head over the cone and its depth (ISO 10642), nut across flats and its
#: height (ISO 4032), hole (ISO 273 medium), all from memory
CLAMP, CLAMP_HEAD, CLAMP_HEAD_DEPTH, CLAMP_NUT, CLAMP_NUT_HEIGHT, CLAMP_HOLE = 3.0, 6.0, 1.7, 5.5, 2.4, 3.4
#: mm, of print that stays under the nut of that screw; share of the nut's height that the screw must hold
CLAMP_FLOOR, CLAMP_HELD = 0.6, 0.75


def next_length(length: float, below: bool = False) -> float:
    """The shortest screw that is at least as long [mm], or the longest that is at most as long.

    >>> next_length(17.0), next_length(17.0, below=True)
    (20.0, 16.0)
    """
    if below:
        return float(max((size for size in LENGTHS if size <= length + 1e-6), default=LENGTHS[0]))
    return float(min((size for size in LENGTHS if size >= length - 1e-6), default=LENGTHS[-1]))


def clamping(thickness: float) -> tuple[float, float, float]:
    """Length of the screw that clamps a carrier, how deep its head is sunk, and depth of its nut's pocket, all in mm.

    The longest screw up to the carrier's thickness, its end in the nut's outer face as far as CLAMP_FLOOR under the nut
    allows. Where that leaves it less than CLAMP_HELD of the nut's height, the next longer one, sunk by what it is too long.

    >>> clamping(8.0), clamping(7.0), clamping(7.5)
    ((8.0, 0.0, 2.4), (6.0, 0.0, 2.9), (8.0, 0.5, 2.4))
    """
    length = next_length(thickness, below=True)
    pocket = min(thickness - length + CLAMP_NUT_HEIGHT, thickness / 2 - CLAMP_FLOOR)
    if pocket - (thickness - length) >= CLAMP_HELD * CLAMP_NUT_HEIGHT - 1e-9:
        return length, 0.0, pocket
    length = next_length(thickness)
    return length, length - thickness, CLAMP_NUT_HEIGHT


def shaft_thread(shaft: float) -> float:
    """The largest coarse thread that a shaft [mm] can be given.

    >>> shaft_thread(15.0)
    14.0
    """
    return max((size for size in THREADS if size <= shaft + 1e-6), default=min(THREADS))


def socket_screw(thread: float, length: float) -> Any:
    """ISO 4762: head above z = 0, shank below, as long as asked (cut where no such length is sold)."""
    from bd_warehouse.fastener import SocketHeadCapScrew

    return SocketHeadCapScrew(THREADS[thread], length, fastener_type="iso4762").solid()


def countersunk_screw(thread: float, length: float) -> Any:
    """ISO 10642: the head's face at z = 0, all else below."""
    from bd_warehouse.fastener import CounterSunkScrew

    return CounterSunkScrew(THREADS[thread], length, fastener_type="iso10642").solid()


def hex_nut(thread: float) -> Any:
    """ISO 4032, standing on z = 0."""
    from bd_warehouse.fastener import HexNut

    return HexNut(THREADS[thread], fastener_type="iso4032").solid()


def washer(thread: float, outside: float, thickness: float) -> Any:
    """ISO 7089 with the catalogue's sizes, standing on z = 0; its hole a twentieth and 0.1 mm larger than the thread."""
    from sweep.cad.shapes import tube

    return tube(0.525 * thread + 0.05, outside / 2, 0.0, thickness)
