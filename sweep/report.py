"""A design's sheet as a page or a document: ``sheet_html`` and ``sheet_pdf`` of a run and a design by name."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from objectives.assessment import Assessment
from objectives.friction_loss import losses_by_name
from sweep.archive import RunFolder, open_run
from sweep.around import Pass, Ring, passes, ring
from sweep.errors import BadInput, Fault
from sweep.figures.grip import Asked
from sweep.figures.shape import Shape, shape_of
from sweep.location import write_output
from sweep.matter import stored
from sweep.run_study import baseline_of, find_design, study_of
from sweep.sheet import DIRECTIONS, Sheet, make_sheet
from sweep.sheet_blocks import Block, sections_of

ENDINGS = (".html", ".pdf")


@dataclass(frozen=True)
class Report:
    """What a sheet is drawn from."""

    sheet: Sheet
    shape: Shape
    passes: tuple[Pass, ...]
    cases: tuple[Asked, ...]
    ring: Ring
    losses: Mapping[str, float]  # W
    baseline_losses: Mapping[str, float] | None
    sections: Mapping[str, list[Block]]


def report_of(sheet: Sheet, matters: Mapping[str, Any] | None = None) -> Report:
    """Work out what a sheet's figures need beyond the sheet."""
    judged, other = sheet.assessment, sheet.baseline
    losses = {name: float(value[0]) for name, value in losses_by_name(judged).items()}
    return Report(
        sheet=sheet,
        shape=shape_of(judged.wheel, judged.layout, judged.scenario),
        passes=tuple(passes(judged, DIRECTIONS, sheet.phases)),
        cases=asked_of(sheet.assessment),
        ring=ring(judged),
        losses=losses,
        baseline_losses=None if other is None else {name: float(other[f"loss_{name}_W"]) for name in losses},
        sections=sections_of(sheet, matters),
    )


def asked_of(assessment: Assessment) -> tuple[Asked, ...]:
    """The load cases as the figures of grip draw them; left mirrors right."""
    cases = assessment.cases
    found = []
    for name, angle, force in zip(cases.names, cases.direction, cases.force[0], strict=True):
        turn = abs(math.remainder(float(angle), 2 * math.pi))
        direction = next((word for word, other in DIRECTIONS if math.isclose(turn, other, abs_tol=1e-6)), "")
        found.append(Asked(name, direction, float(angle), float(force)))
    return tuple(found)


def sheet_html(run: str | RunFolder, design: str) -> str:
    """The sheet of a stored design as a page that needs nothing else. ``run`` is a folder or its URI; ``design`` an id, the
    beginning of one, ``knee`` or ``baseline``. Raises BadInput."""
    return html_of(*_stored(run, design))


def sheet_pdf(run: str | RunFolder, design: str) -> bytes:
    """The sheet of a stored design on two pages of A4. Arguments as of sheet_html. Raises BadInput."""
    return pdf_of(*_stored(run, design))


def html_of(sheet: Sheet, matters: Mapping[str, Any] | None = None) -> str:
    """A sheet as a page."""
    from sweep.report_html import page

    return page(report_of(sheet, matters))


def pdf_of(sheet: Sheet, matters: Mapping[str, Any] | None = None) -> bytes:
    """A sheet as a document."""
    from sweep.report_pdf import document

    return document(report_of(sheet, matters))


def check_ending(out: Path) -> None:
    """Raises BadInput where a sheet cannot be written as the file's ending says."""
    if out.suffix.lower() not in ENDINGS:
        rule = f"must end in {' or '.join(ENDINGS)}"
        raise BadInput([Fault("--out", rule, repr(out.suffix), str(out), "name another file")])
    from sweep.figures.style import plain_settings

    with plain_settings():  # said before the long work, where matplotlib is missing
        pass


def write_sheet(sheet: Sheet, out: Path, matters: Mapping[str, Any] | None = None) -> None:
    """Write a sheet as HTML or PDF by the file's ending, whole or not at all. Raises BadInput, SweepFailure."""
    write_output(out, pdf_of(sheet, matters) if out.suffix.lower() == ".pdf" else html_of(sheet, matters).encode())


def _stored(run: str | RunFolder, design: str) -> tuple[Sheet, Mapping[str, Any] | None]:
    folder = run if isinstance(run, RunFolder) else open_run(run)
    found = find_design(folder, design)
    return make_sheet(study_of(folder), found, baseline_of(folder)), stored(folder, str(found["design"]))
