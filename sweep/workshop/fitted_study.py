"""A study with fitted values in it, the rest of its text as it was."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from objectives.variables import VARIABLES
from sweep.study import Study, read_study
from sweep.workshop.bench_model import Bench
from sweep.workshop.calibrate import Calibration, Finding

#: digits that a fitted value is written with
DIGITS = 4
#: end of the new study's name: its runs have a folder of their own
FITTED = " fitted"


def fitted_study(calibration: Calibration, file: str) -> Study:
    """The study of a calibration with the fitted values, each with its interval in a comment; ``file`` names the data.

    Friction and stiffness go into the rows of the two tyres, as the lower of both counts into both; play and preload stiffness
    into [baseline], which becomes the wheel that was measured; the clearance into [printer].
    """
    import tomlkit

    bench = calibration.bench
    document = tomlkit.parse(bench.study.text)
    if not bench.study.name.endswith(FITTED):
        document["name"] = bench.study.name + FITTED
    _put_baseline(document, bench)
    for finding in calibration.findings:
        if finding.told:
            _put(document, bench, finding, file)
    return read_study(tomlkit.dumps(document), bench.study.path)


def _put(document: Any, bench: Bench, finding: Finding, file: str) -> None:
    from tomlkit.items import InlineTable

    output, hub, floor = (str(bench.design["output_tyre"]), str(bench.design["hub_tyre"]), bench.study.scenario.robot.floor)
    places: dict[str, list[tuple[str, ...]]] = {
        "friction_roller": [("materials", name) for name in dict.fromkeys((output, hub))],
        "friction_bore": [("materials", output)],
        "youngs_modulus_MPa": [("materials", output)],
        "friction_floor": [("materials", output, "friction_floor")],
        "bore_play_mm": [("baseline",)],
        "preload_stiffness_N_per_mm": [("baseline",)],
        "clearance_mm": [("printer",)],
    }
    key = floor if finding.name == "friction_floor" else finding.name
    for place in places.get(finding.name, []):
        table = _table(document, place)
        table[key] = float(f"{finding.value:.{DIGITS}g}")
        if not isinstance(table, InlineTable):  # which holds no comments
            table[key].comment(f"{finding.low:.{DIGITS - 1}g} to {finding.high:.{DIGITS - 1}g} (95 %), fitted to {file}")


def _put_baseline(document: Any, bench: Bench) -> None:
    """Make the measured wheel the baseline."""
    baseline = _table(document, ("baseline",))
    for variable in VARIABLES:
        value = _plain(bench.design[variable.name])
        if baseline.get(variable.name) != value:
            baseline[variable.name] = value


def _table(document: Any, place: tuple[str, ...]) -> Any:
    """The table at a place, made where it is not there."""
    import tomlkit

    table = document
    for name in place:
        if name not in table:
            table[name] = tomlkit.table(is_super_table=name == "materials")
        table = table[name]
    return table


def _plain(value: object) -> object:
    return value.item() if hasattr(value, "item") else value


def as_json(calibration: Calibration, before: Mapping[str, Any] | None, after: Mapping[str, Any] | None) -> dict[str, Any]:
    """A calibration as one document."""
    return {
        "parameters": [
            {"name": one.name, "study": one.before, "fitted": one.value, "low": one.low, "high": one.high, "told": one.told,
             "why_kept": one.why_kept}
            for one in calibration.findings
        ],
        "rows": [
            {"line": row.line, "kind": row.kind.name, "at": row.at, "measured": row.value, "foretold": study, "fitted": fitted,
             "residual": residual}
            for row, study, fitted, residual in zip(
                calibration.measured, calibration.foretold, calibration.fitted, calibration.residuals, strict=True
            )
        ],
        "freedom": calibration.fit.freedom,
        "residual_deviation": calibration.fit.residual_deviation,
        "entangled": calibration.fit.entangled(),
        "correlation": calibration.fit.correlation,
        "baseline_before": before,
        "baseline_after": after,
    }
