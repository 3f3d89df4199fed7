"""What can be measured on the bench: kinds of measurements, their units, and how far each may be from what is foretold."""

from __future__ import annotations

from dataclasses import dataclass

from objectives.units import GRAVITY

#: units by dimension, each over the first: N, N m, mm, turns
UNITS = {
    "force": {"N": 1.0, "kN": 1e3, "kg": GRAVITY, "g": GRAVITY * 1e-3, "lb": 0.45359237 * GRAVITY},
    "torque": {"Nm": 1.0, "Nmm": 1e-3, "Ncm": 1e-2, "kgcm": GRAVITY * 1e-2},
    "length": {"mm": 1.0, "cm": 10.0, "m": 1e3, "um": 1e-3, "in": 25.4},
    "turns": {"turns": 1.0, "deg": 1 / 360},
}
BASE = {dimension: next(iter(units)) for dimension, units in UNITS.items()}


@dataclass(frozen=True)
class Kind:
    """A kind of measurement: what is read at which setting.

    A reading is trusted to ``relative`` of itself or to ``absolute``, whichever is more (standard deviation, common practice
    with a luggage scale and calipers), unless its row has an ``sd``. ``wide`` is the factor from what the study foretells
    beyond which it is taken for a mistake.
    """

    name: str
    reading: str  # dimension of what is read
    setting: str  # dimension of what it is read at; "" where there is none
    meaning: str
    at: str  # what it is read at, in words
    tells: tuple[str, ...]  # parameters
    relative: float
    absolute: float  # in the dimension's first unit
    wide: float = 5.0
    plain_only: bool = False  # only on rollers that are soft throughout and run on their axle
    with_preload: bool = False  # depends on the wheel's preload


KINDS = {
    kind.name: kind
    for kind in (
        Kind("preload", "force", "turns", "force of the spring behind a hub", "turns of its nut from first touch",
             ("preload_stiffness_N_per_mm", "touch_turns"), 0.05, 1.0),
        Kind("slip_forward", "force", "force", "pull at which the wheel slips forwards, hubs held", "load on the wheel",
             ("friction_roller", "friction_floor"), 0.05, 0.5, with_preload=True),
        Kind("slip_reverse", "force", "force", "pull at which it slips in reverse", "load on the wheel",
             ("friction_roller", "friction_floor"), 0.05, 0.5, with_preload=True),
        Kind("slip_sideways", "force", "force", "pull at which it slips sideways", "load on the wheel",
             ("friction_roller", "friction_floor"), 0.05, 0.5, with_preload=True),
        Kind("squash", "force", "length", "force that squashes an output roller between two boards", "loss of height",
             ("youngs_modulus_MPa",), 0.08, 0.5, plain_only=True),
        Kind("free_spin", "torque", "", "torque of a hub turned against the other, wheel off the floor, motors off", "",
             ("friction_bore",), 0.1, 0.005, plain_only=True, with_preload=True),
        Kind("strip_stretch", "length", "force", "coupon: growth between the strip's marks", "pull",
             ("youngs_modulus_MPa",), 0.03, 0.1),
        Kind("strip_wrap", "force", "force", "coupon: pull that slides the strip half round a held hub roller", "weight",
             ("friction_roller",), 0.05, 0.1, wide=8.0),
        Kind("bore_wrap", "force", "force", "coupon: pull that turns an output roller by the strip", "weight",
             ("friction_bore",), 0.01, 0.05, wide=3.0, plain_only=True),
        Kind("floor_drag", "force", "force", "coupon: pull that drags the strip over the floor", "weight",
             ("friction_floor",), 0.05, 0.1),
        Kind("play", "length", "", "coupon: radial play of an output roller on its axle", "", ("bore_play_mm",), 0.0, 0.03,
             wide=8.0),
        Kind("clearance", "length", "", "coupon: clearance of the narrowest hole in which the rod turns", "", ("clearance_mm",),
             0.0, 0.03),
    )
}  # fmt: skip


@dataclass(frozen=True)
class Parameter:
    """A number that measurements tell, in its unit, with what it may be and the change that counts as large."""

    name: str
    unit: str
    low: float
    high: float
    meaning: str
    scale: float = 0.0  # 0: the value itself


PARAMETERS = {
    parameter.name: parameter
    for parameter in (
        Parameter("friction_roller", "", 0.02, 2.5, "between output and hub rollers"),
        Parameter("friction_floor", "", 0.02, 2.5, "of the output tyre on the study's floor"),
        Parameter("friction_bore", "", 0.002, 1.5, "of an output roller on its axle"),
        Parameter("youngs_modulus_MPa", "MPa", 0.2, 5000.0, "of the output tyre"),
        Parameter("bore_play_mm", "mm", 0.0, 4.0, "radial, of an output roller on its axle", 0.2),
        Parameter("preload_stiffness_N_per_mm", "N/mm", 0.05, 10000.0, "of what holds the preload behind a hub"),
        Parameter("touch_turns", "turns", -10.0, 10.0, "of the nut at which the spring really touches", 0.5),
        Parameter("clearance_mm", "mm", 0.01, 2.0, "that the printer needs between moving parts"),
    )
}
