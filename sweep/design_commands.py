"""The commands about one design of a run. Heavy imports stand inside the commands."""

from __future__ import annotations

import math
from pathlib import Path
from typing import Annotated

import typer

from sweep.arguments import DesignName, Json, RunPlace
from sweep.errors import BadInput, Fault
from sweep.telling import note, patience


def sheet(
    run: RunPlace,
    design: DesignName,
    out: Annotated[
        Path | None, typer.Option("--out", help="Write it with drawings to an .html or .pdf file instead.")
    ] = None,
) -> None:
    """Explain one design of a run.

    Limits, margins, losses, constraints, what moves what, how to set and drive it.
    """
    if out is not None:
        from sweep.report import check_ending

        check_ending(out)
    from sweep.archive import open_run
    from sweep.matter import stored
    from sweep.matter_text import show_first
    from sweep.run_study import baseline_of, find_design, study_of
    from sweep.sheet import make_sheet
    from sweep.sheet_text import show_sheet
    from sweep.show import console

    folder = open_run(run)
    study = study_of(folder)
    found = find_design(folder, design)
    with patience():
        made = make_sheet(study, found, baseline_of(folder))
        matters = stored(folder, str(found["design"]))
        if out is not None:
            from sweep.report import write_sheet

            write_sheet(made, out, matters)
    if out is not None:
        note(f"Wrote the sheet of {made.design['design']} to {out}.")
        return
    show_sheet(made, console())
    if matters is not None:
        show_first(matters, console())


def matter(
    run: RunPlace,
    design: DesignName,
    samples: Annotated[
        int, typer.Option("--samples", help="Points of each of two samples, a power of two.", min=16, max=8192)
    ] = 256,
    json: Json = False,
) -> None:
    """Tell which unknowns and which variables matter most for a design.

    What to measure first, what to change first.
    """
    if samples & (samples - 1):
        near = 2 ** round(math.log2(samples))
        raise BadInput([Fault("--samples", "must be a power of two", f"{samples}", "", f"give {near}")])
    from sweep.archive import open_run
    from sweep.matter import summary
    from sweep.matter_text import show_matter
    from sweep.show import console, print_json

    folder = open_run(run)
    with patience():
        found = summary(folder, design, samples)
    if json:
        print_json(found)
    else:
        show_matter(found, console())


def build(
    run: RunPlace,
    design: DesignName,
) -> None:
    """Seed the CAD build of a design.

    Solids, print files, drawing, parts list, coupon and order of assembly, into builds/ of the run's folder.
    """
    from sweep.cad.build import build as make
    from sweep.cad.progress import Steps, finish

    steps = Steps(note)
    with patience() as waiting:

        def tell(stage: str) -> None:
            waiting.cancel()  # the design is scored: nothing is compiled from here on
            steps(stage)

        finish(make(run, design, tell), note)
