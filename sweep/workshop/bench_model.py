"""What the mechanics foretell of a measurement on the bench, from the parameters that are to be found."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
import pandas as pd

from objectives.catalogue import Catalogue
from objectives.contacts import contact_constants
from objectives.phases import kernel_inputs, phase_lattice
from objectives.scoring import evaluate
from objectives.states import solve_states
from objectives.units import MM, MPA
from objectives.variables import VARIABLES
from objectives.wheel import WheelBatch, friction_on, wheel_batch
from sweep.cad.coupon import MARKS, STRIP_THICKNESS, strip_width
from sweep.cad.measures import squash_force
from sweep.sheet import Preload
from sweep.study import Study
from sweep.workshop.measurements import Measurement

#: positions of the wheel that a pull is the mean over: who pulls does so at many, without knowing which
PHASES = 32
#: of the free-spin torque
SPIN_PHASES = 16
DIRECTIONS = {"slip_forward": 0.0, "slip_reverse": math.pi, "slip_sideways": math.pi / 2}
FREE_SPIN = "free_spin_torque_Nm"


@dataclass(frozen=True)
class Bench:
    """A wheel on the bench: the study it belongs to and its design variables."""

    study: Study
    design: Mapping[str, object]

    @property
    def plain(self) -> bool:
        """Whether output rollers are soft throughout and run on their axles."""
        return self.design["bore"] == "plain"

    def start(self) -> dict[str, float]:
        """The parameters as study and design have them."""
        scenario = self.study.scenario
        output, hub = (scenario.catalogue.materials[str(self.design[key])] for key in ("output_tyre", "hub_tyre"))
        return {
            "friction_roller": min(output.friction_roller, hub.friction_roller),
            "friction_floor": friction_on(output, scenario.robot.floor, scenario.catalogue),
            "friction_bore": output.friction_bore,
            "youngs_modulus_MPa": output.youngs_modulus / MPA,
            "bore_play_mm": float(self.design["bore_play_mm"]),  # type: ignore[arg-type]
            "preload_stiffness_N_per_mm": float(self.design["preload_stiffness_N_per_mm"]),  # type: ignore[arg-type]
            "touch_turns": 0.0,
            "clearance_mm": scenario.printer.clearance / MM,
        }

    def foretell(self, measured: Sequence[Measurement], parameters: Mapping[str, float]) -> np.ndarray:
        """What each measurement would read [N, N m, mm], shape (m,)."""
        values = np.empty(len(measured))
        pulls = [row for row, entry in enumerate(measured) if entry.kind.name in DIRECTIONS]
        spins = [row for row, entry in enumerate(measured) if entry.kind.name == "free_spin"]
        if pulls:
            values[pulls] = self._pulls([measured[row] for row in pulls], parameters)
        if spins:
            values[spins] = self._spins([measured[row] for row in spins], parameters)
        done = {*pulls, *spins}
        for row, entry in enumerate(measured):
            if row not in done:
                values[row] = self._simple(entry, parameters)
        return values

    @cached_property
    def _shape(self) -> tuple[float, float, float]:
        """Length of an output roller, radius of its outline and width of the coupon's strip [mm]: no parameter changes them."""
        wheel = self._wheel(pd.DataFrame([dict(self.design)]), self.start())
        crown = float(wheel.crown[0])
        outline = float(wheel.wheel_radius[0]) / MM / crown if crown > 0 else math.inf
        return float(wheel.output_roller_length[0]) / MM, outline, strip_width(wheel, self.study.scenario)

    def _simple(self, entry: Measurement, parameters: Mapping[str, float]) -> float:
        """A measurement that has a formula of its own."""
        catalogue, build = self.study.scenario.catalogue, self.study.scenario.build
        output = catalogue.materials[str(self.design["output_tyre"])]
        modulus, kind = parameters["youngs_modulus_MPa"], entry.kind.name
        if kind == "preload":
            per_turn = Preload.of(1.0, parameters["preload_stiffness_N_per_mm"], build.shaft_diameter / MM).per_turn
            return per_turn * (entry.at - parameters["touch_turns"])
        length, outline, width = self._shape
        if kind == "squash":
            return squash_force(modulus, output.poisson_ratio, entry.at, length, outline)
        if kind == "strip_stretch":
            return entry.at * MARKS / (width * STRIP_THICKNESS * modulus)
        if kind == "strip_wrap":
            return entry.at * math.exp(math.pi * parameters["friction_roller"])
        if kind == "bore_wrap":
            ratio = float(self.design["axle_diameter_mm"]) / float(self.design["output_roller_diameter_mm"])  # type: ignore[arg-type]
            drag = min(parameters["friction_bore"] * ratio, 0.99)
            return entry.at * (1 + drag) / (1 - drag)
        if kind == "floor_drag":
            return entry.at * parameters["friction_floor"]
        return parameters[{"play": "bore_play_mm", "clearance": "clearance_mm"}[kind]]

    def _pulls(self, measured: Sequence[Measurement], parameters: Mapping[str, float]) -> np.ndarray:
        """Mean over the phases of the pull that slips, at the rollers or on the floor, whichever gives way first [N].

        A phase in which the wheel touches nothing on a side holds nothing.
        """
        settings = sorted({(self._preload(entry), entry.at) for entry in measured})
        designs = pd.DataFrame([{**self.design, "preload_N": preload} for preload, _ in settings])
        loads = np.array([load for _, load in settings])
        wheel = self._wheel(designs, parameters)
        inputs = kernel_inputs(wheel, contact_constants(wheel, loads), loads)
        _, limits = solve_states(inputs, np.array(list(DIRECTIONS.values())), phase_lattice(PHASES))
        grip = (wheel.friction_floor * loads)[:, None, None]
        pulls = np.minimum(np.nan_to_num(limits.force), grip).mean(axis=2)
        order, rows = list(DIRECTIONS), {setting: row for row, setting in enumerate(settings)}
        return np.array([pulls[rows[self._preload(one), one.at], order.index(one.kind.name)] for one in measured])

    def _spins(self, measured: Sequence[Measurement], parameters: Mapping[str, float]) -> np.ndarray:
        designs = pd.DataFrame([{**self._design(parameters), "preload_N": self._preload(entry)} for entry in measured])
        scenario = replace(self.study.scenario, catalogue=self._catalogue(parameters))
        return evaluate(designs, scenario, phases=SPIN_PHASES, geometry_first=False)[FREE_SPIN].to_numpy(dtype=float)

    def _preload(self, entry: Measurement) -> float:
        return float(self.design["preload_N"]) if math.isnan(entry.preload) else entry.preload  # type: ignore[arg-type]

    def _design(self, parameters: Mapping[str, float]) -> dict[str, object]:
        own = {name: parameters[name] for name in ("bore_play_mm", "preload_stiffness_N_per_mm")}
        return {variable.name: self.design[variable.name] for variable in VARIABLES} | own

    def _wheel(self, designs: pd.DataFrame, parameters: Mapping[str, float]) -> WheelBatch:
        own = self._design(parameters)
        changed = designs.assign(**{name: own[name] for name in ("bore_play_mm", "preload_stiffness_N_per_mm")})
        return wheel_batch(changed, self._catalogue(parameters), self.study.scenario.robot.floor)

    def _catalogue(self, parameters: Mapping[str, float]) -> Catalogue:
        """The catalogue with the parameters in the rows of the two tyres."""
        catalogue, floor = self.study.scenario.catalogue, self.study.scenario.robot.floor
        output, hub = str(self.design["output_tyre"]), str(self.design["hub_tyre"])
        rows = dict(catalogue.materials)
        for name in {output, hub}:
            rows[name] = replace(rows[name], friction_roller=parameters["friction_roller"])
        rows[output] = replace(
            rows[output],
            youngs_modulus=parameters["youngs_modulus_MPa"] * MPA,
            friction_bore=parameters["friction_bore"],
            friction_floor={**rows[output].friction_floor, floor: parameters["friction_floor"]},
        )
        return replace(catalogue, materials=rows)
