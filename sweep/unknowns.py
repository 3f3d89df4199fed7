"""What is not known well before a wheel is built, how far it may be off, and how a study says so."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np

from objectives.variables import REAL, VARIABLE, VARIABLES
from sweep.errors import did_you_mean
from sweep.reading import Number, Table, show

RELATIVE, ABSOLUTE = "relative", "absolute"
#: name of the unknown that is a state of the floor, with shares of the time instead of a spread
FLOOR_CONDITION = "floor_condition"
#: friction of the floor over its dry one. Wet: as the shipped tyres on wet and dry tile; dirty: common practice
FLOOR_FRICTION: Mapping[str, float] = {"dry": 1.0, "dirty": 0.7, "wet": 0.46}
#: shares of the time that count where a study says nothing (common practice for a swept floor indoors)
FLOOR_SHARES: Mapping[str, float] = {"dry": 0.8, "dirty": 0.15, "wet": 0.05}
SHARES_TOLERANCE = 1e-6


@dataclass(frozen=True)
class Spread:
    """How well a number is known: a standard deviation, ``relative`` or ``absolute`` in its own unit; the other is nan."""

    relative: float = math.nan
    absolute: float = math.nan

    @property
    def exact(self) -> bool:
        """Whether it is no spread at all."""
        return self.relative == 0 or self.absolute == 0

    def around(self, value: np.ndarray, normal: np.ndarray) -> np.ndarray:
        """Values about ``value`` at standard normal numbers, of shapes that broadcast.

        A relative spread is lognormal, v exp(s z) with s^2 = ln(1 + r^2): never negative, the median at v. An absolute one
        is normal, v + a z.

        >>> Spread(relative=0.1).around(np.array([2.0]), np.array([0.0])).tolist()
        [2.0]
        >>> Spread(absolute=0.1).around(np.array([2.0]), np.array([-1.0])).tolist()
        [1.9]
        """
        if math.isnan(self.relative):
            return value + self.absolute * normal
        return value * np.exp(math.sqrt(math.log1p(self.relative**2)) * normal)

    def __str__(self) -> str:
        """The spread in a few signs, without a unit.

        >>> str(Spread(relative=0.15)), str(Spread(absolute=0.05))
        ('15 %', '0.05')
        """
        return f"{self.absolute:g}" if math.isnan(self.relative) else f"{100 * self.relative:g} %"


@dataclass(frozen=True)
class Unknown:
    """Something that is not known well. ``shipped`` is its spread where a study says nothing, ``source`` where that is from.

    ``field`` is its place in ``objectives.unknowns.Unknowns``; empty for a variable, which is changed in the design itself.
    ``ways`` are the spreads that make sense for it.
    """

    name: str
    meaning: str
    shipped: Spread
    source: str
    field: str = ""
    ways: tuple[str, ...] = (RELATIVE, ABSOLUTE)


UNKNOWNS: tuple[Unknown, ...] = (
    Unknown("friction_roller", "friction between rollers, all tyres alike", Spread(relative=0.2),
            "printed TPU on TPU, band from memory, low confidence", "friction_roller"),
    Unknown("friction_bore", "friction of every bore, washer and end face", Spread(relative=0.3),
            "dry plastic on steel 0.15 to 0.35, common practice", "friction_bore"),
    Unknown("friction_floor", "friction of the tyre on the floor as it is", Spread(relative=0.15),
            "bands of the floors' table, from memory, low confidence", "friction_floor"),
    Unknown("youngs_modulus_MPa", "stiffness of the tyres, all alike", Spread(relative=0.25),
            "2.5 points of hardness at 90 Shore A by Gent 1958", "youngs_modulus"),
    Unknown("loss_tangent", "damping of the tyres, all alike", Spread(relative=0.3),
            "TPU 0.05 to 0.15 at 1 to 10 Hz, from memory, low confidence", "loss_tangent"),
    Unknown("motor_torque", "torque of the motors, all figures alike", Spread(relative=0.1),
            "tolerance of motor constants and a warm winding, common practice", "motor_torque", (RELATIVE,)),
    Unknown("bore_play_mm", "radial play of the output rollers as printed", Spread(absolute=0.05),
            "printed holes come out 0.1 to 0.3 mm small, common practice", "play"),
    Unknown("seat_error_mm", "how proud a hub's roller seats stand", Spread(absolute=0.1),
            "printers hold 0.2 mm, taken as two standard deviations, common practice", "seat_error", (ABSOLUTE,)),
    Unknown("hub_run_out_mm", "how far a hub's rollers run out along the shaft", Spread(absolute=0.07),
            "0.2 mm from end to end on a dial gauge, common practice", "run_out", (ABSOLUTE,)),
    Unknown("preload_N", "preload as set by turns of the nut", Spread(relative=0.1),
            "rates of springs and reading of turns, common practice"),
)
UNKNOWN: Mapping[str, Unknown] = {unknown.name: unknown for unknown in UNKNOWNS}
#: further variables are known exactly unless a study says otherwise
OTHERS = tuple(v.name for v in VARIABLES if v.kind == REAL and v.name not in UNKNOWN)
NAMES = (*UNKNOWN, FLOOR_CONDITION, *OTHERS)

SAMPLES = Number("samples", 8, 4096, integer=True, default=64.0)


@dataclass(frozen=True)
class Uncertainty:
    """What a study says of the unknowns. ``given`` tells whether it has the table; ``spreads`` holds every one that spreads.

    The order of ``spreads`` is that of NAMES, whatever the study's; ``floor`` holds shares by condition.
    """

    given: bool = False
    samples: int = int(SAMPLES.default or 0)
    spreads: Mapping[str, Spread] = field(default_factory=lambda: {name: entry.shipped for name, entry in UNKNOWN.items()})
    floor: Mapping[str, float] = field(default_factory=lambda: dict(FLOOR_SHARES))


def meaning_of(name: str) -> str:
    """What an unknown is, in a few words."""
    if name == FLOOR_CONDITION:
        return "dry, dirty or wet floor"
    return UNKNOWN[name].meaning if name in UNKNOWN else f"{VARIABLE[name].meaning}, as built"


def read_uncertainty(table: Table, given: bool) -> Uncertainty:
    """The table ``[uncertainty]``; what it leaves out has the shipped spread. A spread of 0 says that a number is known."""
    samples = table.integer(SAMPLES)
    if samples > 0 and samples & (samples - 1):
        near = 2 ** round(math.log2(samples))
        table.fault("samples", "must be a power of two", f"{samples}", f"give {near}: a Sobol sequence is even only then")
    found: dict[str, Spread] = {}
    floor: Mapping[str, float] = FLOOR_SHARES
    for name in table.content:
        if name == SAMPLES.key:
            continue
        table.asked.add(name)
        if name not in NAMES:
            table.fault(name, "is not an unknown that can be spread", "", did_you_mean(name, NAMES, listed=0))
            continue
        entry = Table(table.content[name], f"uncertainty.{name}", table.faults)
        if not isinstance(table.content[name], dict):
            continue
        if name == FLOOR_CONDITION:
            floor = _shares(entry)
        else:
            found[name] = _spread(name, entry)
        entry.finish()
    table.finish()
    spreads = {name: found.get(name, UNKNOWN[name].shipped if name in UNKNOWN else Spread(absolute=0.0)) for name in NAMES
               if name != FLOOR_CONDITION}
    return Uncertainty(given, samples, {name: spread for name, spread in spreads.items() if not spread.exact}, floor)


def _spread(name: str, entry: Table) -> Spread:
    ways = UNKNOWN[name].ways if name in UNKNOWN else (RELATIVE, ABSOLUTE)
    given = [key for key in (RELATIVE, ABSOLUTE) if key in entry]
    relative = entry.number(Number(RELATIVE, 0, 2, default=math.nan))
    absolute = entry.number(Number(ABSOLUTE, 0, 1e6, default=math.nan))
    if len(given) != 1:
        got = "both" if given else ""
        entry.fault(name, "must have one of relative and absolute", got, f"write {name} = {{ {ways[0]} = 0.1 }}")
    elif given[0] not in ways:
        remedy = f"write {name} = {{ {ways[0]} = ... }}"
        entry.fault(given[0], f"has no meaning for {name}", show(entry.content[given[0]]), remedy)
    return Spread(relative, absolute)


def _shares(entry: Table) -> Mapping[str, float]:
    shares = {name: entry.number(Number(name, 0, 1, default=0.0)) for name in FLOOR_FRICTION}
    total = math.fsum(shares.values())
    if not math.isnan(total) and abs(total - 1) > SHARES_TOLERANCE:
        entry.fault(FLOOR_CONDITION, "must have shares that add up to 1", f"{total:.9g}", "scale the shares")
    return shares
