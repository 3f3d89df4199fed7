"""Fitting what is not known well of a wheel to what was measured on it."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from sweep.errors import Fault, SweepFailure, did_you_mean
from sweep.reading import Faults, show
from sweep.show import number, quantity
from sweep.workshop.bench_model import Bench
from sweep.workshop.fitting import Fit, fit
from sweep.workshop.kinds import BASE, PARAMETERS, UNITS
from sweep.workshop.measurements import Measurement

#: half an interval over the value from which a parameter counts as not told
WIDEST = 0.5
#: standard deviations from which a residual is pointed at
FAR = 3.0
#: faults printed, and guesses at a unit for each
SHOWN, HINTS = 20, 2
#: a reading in another unit is held for meant where it then comes within this factor of what is foretold
NEAR = 2.0


@dataclass(frozen=True)
class Finding:
    """A parameter: as the study has it, as it was found, and whether the data tell it."""

    name: str
    before: float
    value: float
    low: float
    high: float
    why_kept: str  # empty where the data tell it; else why the study's value stays

    @property
    def told(self) -> bool:
        return not self.why_kept


@dataclass(frozen=True)
class Calibration:
    """What measurements say. ``foretold`` are the readings by the study as it is, ``fitted`` those by what was found."""

    bench: Bench
    measured: tuple[Measurement, ...]
    findings: tuple[Finding, ...]
    fit: Fit
    foretold: np.ndarray  # (m,)
    fitted: np.ndarray  # (m,)

    @property
    def residuals(self) -> np.ndarray:
        """Reading less fitted value over the standard deviation of the reading, shape (m,)."""
        return self.fit.residuals

    @property
    def found(self) -> dict[str, float]:
        """The parameters that the data tell."""
        return {finding.name: finding.value for finding in self.findings if finding.told}

    @property
    def outliers(self) -> list[Measurement]:
        return [entry for entry, size in zip(self.measured, self.residuals, strict=True) if abs(size) > FAR]


def calibrate(
    bench: Bench, measured: Sequence[Measurement], faults: Faults, names: Sequence[str] | None = None
) -> Calibration:
    """Fit the parameters that the measurements tell, or those of ``names``.

    Raises BadInput with every fault, those of ``faults`` that were found before among them, 20 of them printed.
    A parameter that moves no reading, as friction between rollers where the floor always gives way first, is left out and
    keeps the study's value.
    """
    start = bench.start()
    wanted = _parameters(measured, names, faults)
    measured = _possible(bench, measured, faults)
    foretold = bench.foretell(measured, start)
    _plausible(bench, measured, foretold, start, faults)
    if len(measured) <= len(wanted) and not faults.found:
        rule = f"must be more than the {len(wanted)} parameters to be found ({', '.join(wanted)})"
        faults.add("rows", rule, str(len(measured)), remedy="measure more, or name fewer with --fit")
    faults.raise_if_any(SHOWN)
    found = _fitted(bench, measured, start, wanted)
    idle = _idle(found)
    if idle and len(idle) < len(wanted):
        found = _fitted(bench, measured, start, [name for name in wanted if name not in idle])
    values = start | dict(zip(found.names, found.values.tolist(), strict=True))
    findings = [_finding(name, start, found, idle) for name in wanted]
    return Calibration(bench, tuple(measured), tuple(findings), found, foretold, bench.foretell(measured, values))


def _parameters(measured: Sequence[Measurement], names: Sequence[str] | None, faults: Faults) -> list[str]:
    """What to fit: in the order of PARAMETERS, those that the kinds tell or those that were asked for."""
    if names is not None:
        for name in names:
            if name not in PARAMETERS:
                remedy = did_you_mean(name, PARAMETERS, listed=len(PARAMETERS))
                faults.found.append(Fault("--fit", "must name parameters", show(name), "", remedy))
        return [name for name in PARAMETERS if name in names]
    told = {name for entry in measured for name in entry.kind.tells}
    turns = {entry.at for entry in measured if entry.kind.name == "preload"}
    if len(turns) < 3:  # a straight line through two points leaves nothing to see an error by
        told.discard("touch_turns")
    return [name for name in PARAMETERS if name in told]


def _possible(bench: Bench, measured: Sequence[Measurement], faults: Faults) -> list[Measurement]:
    """The measurements that this wheel can be given."""
    found = []
    for entry in measured:
        if entry.kind.plain_only and not bench.plain:
            remedy = "take the row out; its core and bore have their own, fixed figures"
            rule = f"must not be {entry.kind.name}, which is for rollers that are soft throughout"
            faults.add("kind", rule, f"bore {bench.design['bore']}", entry.where, remedy)
        else:
            found.append(entry)
    return found


def _plausible(
    bench: Bench, measured: Sequence[Measurement], foretold: np.ndarray, start: dict[str, float], faults: Faults
) -> None:
    """Readings that are so far off that a unit was mixed up, or the wrong thing measured."""
    for entry, expected in zip(measured, foretold.tolist(), strict=True):
        if not expected > 0:
            faults.add("row", f"must be one for which the wheel can be computed, {entry.kind.name} cannot", number(expected),
                       entry.where, "check load and preload of the row")
            continue
        ratio = entry.value / expected
        if 1 / entry.kind.wide <= ratio <= entry.kind.wide:
            continue
        unit = BASE[entry.kind.reading]
        low, high = expected / entry.kind.wide, expected * entry.kind.wide
        rule = f"must lie in [{number(low)}, {number(high)}] {unit}, around the {number(expected)} that the study foretells"
        faults.add(entry.kind.name, rule, quantity(entry.value, unit), entry.where, _unit_meant(bench, entry, expected, start))


def _unit_meant(bench: Bench, entry: Measurement, expected: float, start: dict[str, float]) -> str:
    """Which other unit of the reading or of its setting would make sense of a row."""
    units, found = UNITS[entry.kind.reading], []
    raw = entry.value / units[entry.unit]
    for other, factor in units.items():
        if other != entry.unit and 1 / NEAR <= raw * factor / expected <= NEAR:
            found.append(f"was it read in {other}, as {number(raw)} {other}?")
    settings = UNITS.get(entry.kind.setting, {})
    for other in settings:
        moved = bench.foretell([replace(entry, at=entry.at / settings[entry.at_unit] * settings[other])], start)[0]
        if other != entry.at_unit and moved > 0 and 1 / NEAR <= entry.value / moved <= NEAR:
            found.append(f"is the {entry.kind.at} in {other}, not in {entry.at_unit}?")
    return " or ".join(found[:HINTS]) or "check the unit, and measure again"


def _fitted(bench: Bench, measured: Sequence[Measurement], start: dict[str, float], names: Sequence[str]) -> Fit:
    values = np.array([entry.value for entry in measured])
    deviations = np.array([entry.deviation for entry in measured])

    def residuals(parameters: np.ndarray) -> np.ndarray:
        trial = start | dict(zip(names, parameters.tolist(), strict=True))
        return (values - np.nan_to_num(bench.foretell(measured, trial))) / deviations

    kinds = [PARAMETERS[name] for name in names]
    scale = [one.scale or abs(start[one.name]) for one in kinds]
    low, high = [one.low for one in kinds], [one.high for one in kinds]
    found = fit(residuals, names, [start[name] for name in names], low, high, scale)
    if not found.converged:
        raise SweepFailure("no parameters were found that fit the measurements", go_on="take rows out or fit fewer with --fit")
    return found


def _idle(found: Fit) -> list[str]:
    """Parameters that move no reading."""
    lost = np.isinf(np.diag(found.covariance))
    shared = {name for group in found.entangled() for name in group}
    return [name for name, gone in zip(found.names, lost, strict=True) if gone and name not in shared]


def _finding(name: str, start: dict[str, float], found: Fit, idle: Sequence[str]) -> Finding:
    before = start[name]
    if name in idle:
        return Finding(name, before, math.nan, math.nan, math.nan, "no reading depends on it")
    row = found.names.index(name)
    value = float(found.values[row])
    low, high = found.intervals[row].tolist()
    why = ""
    if not math.isfinite(low):
        others = [other for group in found.entangled() if name in group for other in group if other != name]
        why = f"cannot be told from {', '.join(dict.fromkeys(others))}" if others else "the data do not tell it"
    elif name in found.at_bound:
        why = "it ran to the end of what it may be"
    elif name != "touch_turns" and (high - low) / 2 > WIDEST * abs(value):
        why = "its interval is too wide"
    return Finding(name, before, value, low, high, why)

