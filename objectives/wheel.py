"""A batch of candidate wheels: the design variables and what follows from them, an array per quantity, candidate axis first."""

from __future__ import annotations

import difflib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, fields
from typing import Any

import numpy as np
import pandas as pd

from objectives.catalogue import Catalogue, Material
from objectives.units import DEG, MM, N_PER_MM
from objectives.unknowns import Unknowns
from objectives.variables import BORES, VARIABLES

PLAIN, BUSHED, BALL = range(3)

#: N/m, radial stiffness of the axle stop of a soft tyre on a printed core (common practice; order of magnitude)
CORE_STOP_STIFFNESS = {BUSHED: 2e6, BALL: 5e6}
#: friction of the bore of a core on its axle: plain bronze or polymer bushing, ball bearing (common practice)
CORE_BORE_FRICTION = {BUSHED: 0.12, BALL: 0.0015}


@dataclass(frozen=True)
class WheelBatch:
    """Candidate wheels. Every field has shape (n,), is read-only and in SI units and radians.

    The first block holds the design variables; ``output_*`` and ``hub_*`` material figures are those of the two tyres;
    the last block follows from the others (mechanics of the wheel, section "The wheel").
    """

    output_roller_count: np.ndarray
    hub_roller_count: np.ndarray
    wheel_radius: np.ndarray
    output_roller_radius: np.ndarray
    output_roller_fill: np.ndarray
    crown: np.ndarray
    hub_roller_radius: np.ndarray
    hub_roller_length: np.ndarray
    contact_angle: np.ndarray
    skew_angle: np.ndarray
    hub_axle_diameter: np.ndarray
    preload: np.ndarray
    preload_stiffness: np.ndarray
    bore: np.ndarray  # PLAIN, BUSHED or BALL
    tyre_thickness: np.ndarray  # for a plain bore: from the axle to the surface
    bore_play: np.ndarray
    axle_diameter: np.ndarray
    carrier_thickness: np.ndarray
    gear_module: np.ndarray
    pinion_teeth: np.ndarray
    gear_teeth: np.ndarray
    output_tyre: np.ndarray  # index into tyre_names
    hub_tyre: np.ndarray  # index into tyre_names
    motor: np.ndarray  # index into motor_names
    tyre_names: tuple[str, ...]
    motor_names: tuple[str, ...]
    # the two tyres
    output_youngs_modulus: np.ndarray
    output_poisson_ratio: np.ndarray
    output_density: np.ndarray
    output_loss_tangent: np.ndarray
    hub_youngs_modulus: np.ndarray
    hub_poisson_ratio: np.ndarray
    hub_density: np.ndarray
    hub_loss_tangent: np.ndarray
    friction_roller: np.ndarray  # between output and hub rollers: the lower of the two materials
    friction_bore: np.ndarray  # of an output roller on its axle
    friction_floor: np.ndarray  # of the output tyre on the scenario's floor
    # how it differs from its tables, as in objectives.unknowns; the figures above and the preload count it already
    friction_roller_factor: np.ndarray
    friction_bore_factor: np.ndarray
    motor_torque_factor: np.ndarray
    play: np.ndarray  # m, bore_play as it turned out; a hole too small for its axle has none
    seat_error: np.ndarray  # m
    run_out: np.ndarray  # m
    # what follows
    pitch_radius: np.ndarray  # R_p, of the axles of the output rollers
    output_roller_length: np.ndarray  # L_o
    contact_circle_radius: np.ndarray  # R_c
    axle_stop_stiffness: np.ndarray  # k_b, N/m
    hub_roller_centre_radius: np.ndarray  # of a hub roller's centre from the shaft's axis
    hub_roller_centre_offset: np.ndarray  # of a hub roller's centre from the wheel's mid-plane, before closure

    def __len__(self) -> int:
        return len(self.wheel_radius)

    def take(self, index: np.ndarray) -> WheelBatch:
        """The candidates at ``index`` (integer positions or a mask), in that order."""
        values: dict[str, Any] = {}
        for item in fields(self):
            value = getattr(self, item.name)
            values[item.name] = _frozen(value[index]) if isinstance(value, np.ndarray) else value
        return WheelBatch(**values)


def wheel_batch(
    designs: pd.DataFrame, catalogue: Catalogue, floor: str, unknowns: Unknowns | None = None
) -> WheelBatch:
    """Wheels from a table of design variables (columns and units as in objectives.variables), one row each.

    ``unknowns`` says how each differs from its tables. A hub that runs out by t is pressed by its spring: the preload is
    F_a + K_p t there, and nothing where that is less. Numbers may be nan; what follows from them is nan too. Raises KeyError
    where a column is missing and ValueError where a name (material, motor, bore, floor) is not known.
    """
    missing = [variable.name for variable in VARIABLES if variable.name not in designs.columns]
    if missing:
        raise KeyError(f"designs must have every design variable as a column, missing: {', '.join(missing)}")
    if floor not in catalogue.floors:
        raise ValueError(f"floor must be one of the catalogue's floors, got {floor!r}{_nearest(floor, catalogue.floors)}")
    number = {
        variable.name: designs[variable.name].to_numpy(dtype=float)
        for variable in VARIABLES
        if not variable.names
    }
    tyre_names = tuple(catalogue.materials)
    motor_names = tuple(catalogue.motors)
    tyres = [catalogue.materials[name] for name in tyre_names]
    output = _positions(designs, "output_tyre", tyre_names)
    hub = _positions(designs, "hub_tyre", tyre_names)
    bore = _positions(designs, "bore", BORES)

    differs = Unknowns.none(len(designs)) if unknowns is None else unknowns
    soft = np.array([tyre.role == "tyre" for tyre in tyres])

    def of_tyre(index: np.ndarray, attribute: str, factor: np.ndarray | float = 1.0) -> np.ndarray:
        return np.array([getattr(tyre, attribute) for tyre in tyres])[index] * np.where(soft[index], factor, 1.0)

    output_count = number["output_roller_count"]
    wheel_radius = number["wheel_diameter_mm"] * MM / 2
    roller_radius = number["output_roller_diameter_mm"] * MM / 2
    hub_radius = number["hub_roller_diameter_mm"] * MM / 2
    contact_angle = number["contact_angle_deg"] * DEG
    axle = number["axle_diameter_mm"] * MM
    with np.errstate(invalid="ignore", divide="ignore"):
        pitch_radius = wheel_radius - roller_radius
        length = number["output_roller_fill"] * 2 * (pitch_radius - roller_radius) * np.tan(np.pi / output_count)
        soft_stop = of_tyre(output, "youngs_modulus", differs.youngs_modulus) * length * axle / (roller_radius - axle / 2)
    stop = np.select([bore == BUSHED, bore == BALL], [CORE_STOP_STIFFNESS[BUSHED], CORE_STOP_STIFFNESS[BALL]], soft_stop)
    bore_friction = np.select(
        [bore == BUSHED, bore == BALL],
        [CORE_BORE_FRICTION[BUSHED], CORE_BORE_FRICTION[BALL]],
        of_tyre(output, "friction_bore"),
    )
    floor_friction = np.array([friction_on(tyre, floor, catalogue) for tyre in tyres])[output]
    roller_friction = np.minimum(of_tyre(output, "friction_roller"), of_tyre(hub, "friction_roller"))
    stiffness = number["preload_stiffness_N_per_mm"] * N_PER_MM
    centre_distance = roller_radius + hub_radius
    arrays = dict(
        output_roller_count=output_count,
        hub_roller_count=number["hub_roller_count"],
        wheel_radius=wheel_radius,
        output_roller_radius=roller_radius,
        output_roller_fill=number["output_roller_fill"],
        crown=number["crown"],
        hub_roller_radius=hub_radius,
        hub_roller_length=number["hub_roller_length_mm"] * MM,
        contact_angle=contact_angle,
        skew_angle=number["skew_angle_deg"] * DEG,
        hub_axle_diameter=number["hub_axle_diameter_mm"] * MM,
        preload=np.maximum(number["preload_N"] + stiffness * differs.run_out, 0.0),
        preload_stiffness=stiffness,
        bore=bore,
        tyre_thickness=np.where(bore == PLAIN, roller_radius - axle / 2, number["tyre_thickness_mm"] * MM),
        bore_play=number["bore_play_mm"] * MM,
        axle_diameter=axle,
        carrier_thickness=number["carrier_thickness_mm"] * MM,
        gear_module=number["gear_module_mm"] * MM,
        pinion_teeth=number["pinion_teeth"],
        gear_teeth=number["gear_teeth"],
        output_tyre=output,
        hub_tyre=hub,
        motor=_positions(designs, "motor", motor_names),
        output_youngs_modulus=of_tyre(output, "youngs_modulus", differs.youngs_modulus),
        output_poisson_ratio=of_tyre(output, "poisson_ratio"),
        output_density=of_tyre(output, "density"),
        output_loss_tangent=of_tyre(output, "loss_tangent", differs.loss_tangent),
        hub_youngs_modulus=of_tyre(hub, "youngs_modulus", differs.youngs_modulus),
        hub_poisson_ratio=of_tyre(hub, "poisson_ratio"),
        hub_density=of_tyre(hub, "density"),
        hub_loss_tangent=of_tyre(hub, "loss_tangent", differs.loss_tangent),
        friction_roller=roller_friction * differs.friction_roller,
        friction_bore=bore_friction * differs.friction_bore,
        friction_floor=floor_friction * differs.friction_floor,
        friction_roller_factor=differs.friction_roller,
        friction_bore_factor=differs.friction_bore,
        motor_torque_factor=differs.motor_torque,
        play=np.maximum(number["bore_play_mm"] * MM + differs.play, 0.0),
        seat_error=differs.seat_error,
        run_out=differs.run_out,
        pitch_radius=pitch_radius,
        output_roller_length=length,
        contact_circle_radius=pitch_radius - roller_radius * np.sin(contact_angle),
        axle_stop_stiffness=stop,
        hub_roller_centre_radius=pitch_radius - centre_distance * np.sin(contact_angle),
        hub_roller_centre_offset=centre_distance * np.cos(contact_angle),
    )
    return WheelBatch(tyre_names=tyre_names, motor_names=motor_names,
                      **{name: _frozen(value) for name, value in arrays.items()})


def friction_on(tyre: Material, floor: str, catalogue: Catalogue) -> float:
    """Friction coefficient of a tyre on a floor: its own entry, else the floor's."""
    return tyre.friction_floor.get(floor, catalogue.floors[floor].friction)


def _frozen(value: np.ndarray) -> np.ndarray:
    value = np.ascontiguousarray(value)
    if value.flags.writeable:
        value = value.copy()
        value.flags.writeable = False
    return value


def _positions(designs: pd.DataFrame, column: str, names: Iterable[str]) -> np.ndarray:
    order = {name: position for position, name in enumerate(names)}
    values = designs[column].to_numpy(dtype=object)
    unknown = sorted({str(value) for value in values if value not in order})
    if unknown:
        raise ValueError(f"{column} must be one of {', '.join(order)}, got {unknown[0]!r}{_nearest(unknown[0], order)}")
    return np.array([order[value] for value in values], dtype=np.int64).reshape(len(values))


def _nearest(name: str, names: Mapping[str, object] | Iterable[str]) -> str:
    match = difflib.get_close_matches(name, list(names), n=1)
    return f" (nearest: {match[0]!r})" if match else ""
