"""A calibration as text: what was found, how well the readings are met, what the data cannot tell."""

from __future__ import annotations

import math

import pandas as pd
from rich.console import Console

from sweep.front_table import NAMES, head
from sweep.show import heading, number, point, quantity, sentence, table
from sweep.slacks import broken
from sweep.study import Study
from sweep.workshop.calibrate import FAR, Calibration
from sweep.workshop.fitting import ALIKE
from sweep.workshop.kinds import BASE, PARAMETERS


def show_calibration(calibration: Calibration, out: Console) -> None:
    """Parameters, residuals and cautions on a console."""
    fit, count = calibration.fit, len(calibration.measured)
    out.print(f"{calibration.bench.study.name}: {count} measurements, {len(fit.names)} parameters.")
    heading(out, "Parameters")
    rows = []
    for finding in calibration.findings:
        about = PARAMETERS[finding.name]
        interval = f"{number(finding.low)} to {number(finding.high)}" if math.isfinite(finding.low) else "-"
        kept = finding.why_kept and f"kept as it was: {finding.why_kept}"
        rows.append([finding.name, number(finding.before), number(finding.value), interval, about.unit, kept or about.meaning])
    heads: list[str | tuple[str, str]] = ["parameter", ("study", "right"), ("fitted", "right"), "95 % interval", "unit", ""]
    out.print(table(heads, rows))
    heading(out, "Readings")
    rows = []
    for entry, foretold, fitted, size in zip(
        calibration.measured, calibration.foretold, calibration.fitted, calibration.residuals, strict=True
    ):
        setting = quantity(entry.at, BASE[entry.kind.setting]) if entry.kind.setting else ""
        preload = "" if math.isnan(entry.preload) else number(entry.preload)
        far = " !" if abs(size) > FAR else ""
        rows.append([str(entry.line), entry.kind.name, setting, preload, quantity(entry.value, BASE[entry.kind.reading]),
                     number(foretold), number(fitted), f"{size:+.1f}{far}"])  # fmt: skip
    heads = [("line", "right"), "kind", ("at", "right"), ("preload\n[N]", "right"), ("read", "right"), ("study\nsays", "right"),
             ("fitted", "right"), ("off by\n[sd]", "right")]  # fmt: skip
    out.print(table(heads, rows))
    sentence(out, "Off by: reading less fitted value, in standard deviations of the reading.")
    heading(out, "How far to trust it")
    for text in cautions(calibration):
        point(out, text)


def cautions(calibration: Calibration) -> list[str]:
    """What whoever uses the numbers should know."""
    fit, found = calibration.fit, []
    spread = fit.residual_deviation
    found.append(
        f"Readings scatter {number(spread, 2)} times as much as their standard deviations say, with {fit.freedom} readings "
        "more than parameters. Intervals count with the scatter seen."
    )
    if spread > 2:
        found.append("That is more than such readings should: something was measured otherwise than the model takes it.")
    for entry in calibration.outliers:
        found.append(f"Line {entry.line} ({entry.kind.name}) is far off the others: measure it again, or take it out.")
    for group in fit.entangled():
        found.append(
            f"The data hardly tell {' from '.join(group)}: their errors go together (correlation above {ALIKE:g}). Measure "
            "one of them by itself."
        )
    for finding in calibration.findings:
        if not finding.told:
            found.append(f"{finding.name} keeps the study's {number(finding.before)}: {finding.why_kept}.")
    if len(calibration.findings) > len(calibration.found):
        found.append("What is kept still enters the others' values as if it were known.")
    if "touch_turns" in calibration.found:
        own = calibration.found["touch_turns"]
        when = f"{number(abs(own), 2)} turns {'later' if own > 0 else 'earlier'} than it seems to"
        found.append(f"The spring touches {when}: count from there with the turns that a sheet gives for the nut.")
    tyres = dict.fromkeys(str(calibration.bench.design[key]) for key in ("output_tyre", "hub_tyre"))
    if "friction_roller" in calibration.found and len(tyres) > 1:
        found.append(
            f"friction_roller is that of {' on '.join(tyres)}. It goes into both rows, so other pairs of theirs count with it "
            "too until they are measured."
        )
    found.append(
        "Intervals are linear about the values found. Where one is wider than a third of its value the true one is lopsided."
    )
    return found


def show_consequence(before: pd.Series, after: pd.Series, study: Study, out: Console) -> None:
    """What the fitted values make of the wheel that was measured."""
    heading(out, "The wheel that was measured, by the study and by what was found")
    rows = []
    for name, design in (("study", before), ("fitted", after)):
        lost = ", ".join(broken(design, study.scenario)) or str(design["status"] or "")
        holds = "holds" if bool(design["feasible"]) else f"breaks {lost}"
        rows.append([name, *(number(float(design[objective])) for objective in NAMES), holds])
    out.print(table(["", *((head(objective), "right") for objective in NAMES), ""], rows))
