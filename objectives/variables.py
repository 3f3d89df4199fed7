"""The design variables of a wheel: the columns of every table of designs, with unit, meaning and shipped range."""

from __future__ import annotations

from dataclasses import dataclass

#: kinds of variable
INTEGER, REAL, CHOICE = "integer", "real", "choice"

#: how an output roller turns on its axle, in the order of WheelBatch.bore
BORES = ("plain", "bushed", "ball")


@dataclass(frozen=True)
class Variable:
    """One design variable.

    ``low`` and ``high`` bound the shipped range of numbers, ``choices`` lists the shipped options of a choice
    (numbers for stock sizes, names for materials and motors; an empty tuple means "all rows of the catalogue").
    ``least`` and ``most`` are the limits outside which the number has no meaning; ``open_ends`` says that they are
    themselves excluded. All in the unit that the name ends with.
    """

    name: str
    kind: str
    meaning: str
    low: float = 0.0
    high: float = 0.0
    least: float = 0.0
    most: float = float("inf")
    open_ends: bool = False
    choices: tuple[str | float, ...] = ()
    names: bool = False  # a choice among names rather than numbers


VARIABLES: tuple[Variable, ...] = (
    Variable("output_roller_count", INTEGER, "rollers on the rim", 8, 26, least=4, most=32),
    Variable("hub_roller_count", INTEGER, "skewed rollers on each hub", 10, 40, least=4, most=64),
    Variable("wheel_diameter_mm", REAL, "over the middle of an output roller", 120, 260, least=20, most=2000),
    Variable("output_roller_diameter_mm", REAL, "at the middle of an output roller", 14, 44, least=2, most=400),
    Variable("output_roller_fill", REAL, "share of the room between neighbours that a roller's length takes", 0.6, 0.97,
             least=0.05, most=1.0),
    Variable("crown", REAL, "0 a straight roller, 1 a barrel whose outline follows the rim", 0.0, 1.0, least=0.0, most=1.0),
    Variable("hub_roller_diameter_mm", REAL, "over the tyre of a hub roller", 7, 24, least=2, most=200),
    Variable("hub_roller_length_mm", REAL, "length of a hub roller", 8, 36, least=1, most=400),
    Variable("contact_angle_deg", REAL, "from the wheel's axis inwards to the contact normal", 20, 70, most=90, open_ends=True),
    Variable("skew_angle_deg", REAL, "of a hub roller's axis out of the circumferential direction", 20, 70, most=90,
             open_ends=True),
    Variable("hub_axle_diameter_mm", CHOICE, "bolt that a hub roller turns on", least=1, most=20,
             choices=(2.0, 2.5, 3.0, 4.0, 5.0, 6.0)),
    Variable("preload_N", REAL, "axial force that presses each hub onto the output rollers", 15, 400, least=0.0, most=1e5,
             open_ends=True),
    Variable("preload_stiffness_N_per_mm", REAL, "stiffness of the spring stack or bushing behind a hub", 2, 300, least=0.0,
             most=1e6),
    Variable("output_tyre", CHOICE, "soft material of the output rollers", names=True),
    Variable("hub_tyre", CHOICE, "material of the hub rollers", names=True),
    Variable("bore", CHOICE, "plain: soft throughout, on the axle; bushed or ball: soft tyre on a printed core", choices=BORES,
             names=True),
    Variable("tyre_thickness_mm", REAL, "soft layer on the core (bushed and ball only)", 1.6, 8.0, least=0.2, most=100),
    Variable("bore_play_mm", REAL, "radial play of an output roller on its axle", 0.02, 0.5, least=0.0, most=5),
    Variable("axle_diameter_mm", CHOICE, "stock rod that an output roller turns on", least=1, most=30,
             choices=(2.0, 2.5, 3.0, 4.0, 5.0, 6.0)),
    Variable("carrier_thickness_mm", REAL, "axial thickness of the disc that holds the axles", 6, 24, least=1, most=200),
    Variable("motor", CHOICE, "motor with gearbox, one per hub", names=True),
    Variable("gear_module_mm", CHOICE, "module of pinion and hub gear, ISO 54 series", least=0.2, most=10,
             choices=(0.8, 1.0, 1.25, 1.5, 2.0)),
    Variable("pinion_teeth", INTEGER, "teeth of the pinion on the gearbox shaft", 10, 40, least=5, most=200),
    Variable("gear_teeth", INTEGER, "teeth of the hub gear", 24, 120, least=6, most=600),
)

VARIABLE = {variable.name: variable for variable in VARIABLES}
