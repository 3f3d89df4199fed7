"""The commands about a wheel that exists, and about several runs. Heavy imports stand inside the commands."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from sweep.arguments import Json, StudyFile
from sweep.errors import BadInput, Fault
from sweep.telling import check_ending, note, patience, write_table

if TYPE_CHECKING:
    import pandas as pd

    from sweep.comparing import Comparison, Front
    from sweep.study import Study

BASELINE = "baseline"
PICTURES = (".png", ".svg", ".pdf")


def improve(
    study: StudyFile,
    designs: Annotated[
        str, typer.Argument(metavar="DESIGNS", help="A CSV or Parquet table, its first row counts; or baseline.")
    ] = BASELINE,
    keep: Annotated[
        str, typer.Option("--keep", metavar="NAME,...", help="Parts and variables that stay as they are.")
    ] = "",
    changes: Annotated[int, typer.Option("--changes", help="How many variables may change.", min=1, max=24)] = 2,
    evaluations: Annotated[int, typer.Option("--evaluations", help="How many wheels to try.", min=1)] = 6000,
    out: Annotated[Path | None, typer.Option("--out", help="Write all columns to a .csv or .parquet file.")] = None,
    json: Json = False,
) -> None:
    """Improve a wheel that exists by few changes.

    The best wheels that change at most so many variables, and what has to be printed again for each.
    """
    check_ending(out)
    from sweep.front_table import records
    from sweep.problem import scoring_of
    from sweep.show import console, print_json
    from sweep.study import load_study
    from sweep.workshop.improve import improve as search
    from sweep.workshop.improve_text import show_improvement

    read = load_study(study)
    start = _start(read, designs)
    names = [name.strip() for name in keep.split(",") if name.strip()]
    with patience():
        found = search(read, start.to_dict(), names, changes, scoring_of(read), evaluations, note)
    if out is not None:
        write_table(found.designs, out, read, found.phases)
    if json:
        told = {"study": read.name, "phases": found.phases, "evaluations": found.evaluations, "feasible": found.feasible}
        kept = {"kept_parts": found.kept_parts, "fixed": sorted(found.fixed)}
        print_json(told | kept | {"start": found.start.to_dict(), "designs": records(found.designs)})
    else:
        show_improvement(found, console())
        note(f"{len(found.designs)} wheels in all, scored at {found.phases} positions; --out FILE writes them.")


def calibrate(
    study: StudyFile,
    measurements: Annotated[
        Path, typer.Argument(metavar="MEASUREMENTS", help="A CSV table, a measurement a row.", show_default=False)
    ],
    design: Annotated[
        str, typer.Option("--design", metavar="DESIGNS", help="The wheel that was measured: a table's first row; or baseline.")
    ] = BASELINE,
    fit: Annotated[
        str, typer.Option("--fit", metavar="NAME,...", help="Parameters to find; else those that the measurements tell.")
    ] = "",
    out: Annotated[Path | None, typer.Option("--out", help="Write a study with the fitted values, a .toml file.")] = None,
    overwrite: Annotated[bool, typer.Option("--overwrite", help="Write over a file that is there.")] = False,
    json: Json = False,
) -> None:
    """Fit friction, stiffness and play to bench data.

    Shows intervals, residuals and what the data cannot tell apart; writes a study with the fitted values.
    """
    check_ending(out, (".toml",))
    if out is not None and out.exists() and not overwrite:
        remedy = "name another file, or add --overwrite"
        raise BadInput([Fault("--out", "must not be there yet", str(out), "", remedy)])
    from sweep.location import write_output
    from sweep.reading import Faults
    from sweep.show import console, print_json
    from sweep.study import load_study
    from sweep.workshop.bench_model import Bench
    from sweep.workshop.calibrate import calibrate as find
    from sweep.workshop.calibrate_text import show_calibration, show_consequence
    from sweep.workshop.fitted_study import as_json, fitted_study
    from sweep.workshop.measurements import read_measurements

    read = load_study(study)
    faults = Faults(str(measurements))
    measured = read_measurements(measurements, faults)
    names = [name.strip() for name in fit.split(",") if name.strip()]
    with patience():
        found = find(Bench(read, _start(read, design).to_dict()), measured, faults, names or None)
        written = fitted_study(found, measurements.name)
        before, after = _scored(found.bench.study, found.bench.design), _scored(written, written.baseline or {})
    if out is not None:
        write_output(out, written.text.encode())
        note(f"Wrote the study with {len(found.found)} fitted values to {out}. Its [baseline] is the wheel that was measured.")
    if json:
        print_json(as_json(found, before.to_dict(), after.to_dict()))
    else:
        show_calibration(found, console())
        show_consequence(before, after, read, console())
        if out is None:
            note("--out FILE writes a study with these values.")


def compare(
    runs: Annotated[
        list[str], typer.Argument(metavar="RUN...", help="Folders of two runs or more, or their URIs.", show_default=False)
    ],
    out: Annotated[
        Path | None,
        typer.Option("--out", help="Write a picture (.png, .svg, .pdf), a page (.html) or the common front (.csv, .parquet)."),
    ] = None,
    json: Json = False,
) -> None:
    """Compare the fronts of several runs.

    Coverage, hypervolume between common bounds, who wins where.
    """
    check_ending(out, (*PICTURES, ".html", ".csv", ".parquet"))
    from sweep.comparing import as_json
    from sweep.comparing import compare as compared
    from sweep.comparing_text import show_comparison
    from sweep.show import console, print_json

    found = compared(_fronts(runs))
    if out is not None:
        _write_comparison(found, out)
    if json:
        print_json(as_json(found))
    else:
        show_comparison(found, console())


def _start(study: Study, designs: str) -> pd.Series:
    """The wheel to start from: the first row of a table, or the study's baseline."""
    from sweep.designs import baseline_designs, read_designs

    table = baseline_designs(study) if designs == BASELINE else read_designs(designs, study)
    if table is None:
        remedy = "name a CSV or Parquet file, or add [baseline] to the study"
        raise BadInput([Fault("DESIGNS", "must be given, the study has no [baseline]", "", study.path, remedy)])
    if len(table) > 1:
        note(f"{designs} has {len(table)} designs; the first one counts.")
    return table.iloc[0]


def _scored(study: Study, design: object) -> pd.Series:
    import pandas as pd

    from objectives.variables import VARIABLES
    from sweep.problem import scored, scoring_of

    own = dict(design)  # type: ignore[call-overload]
    table = study.space.canonical(pd.DataFrame([{variable.name: own[variable.name] for variable in VARIABLES}]))
    return scored(table, study.search.front_phases, scoring_of(study)).iloc[0]


def _fronts(runs: list[str]) -> list[Front]:
    """The fronts of runs, each under a name of its own. Raises BadInput with every fault."""
    from sweep.archive import open_run
    from sweep.comparing import Front
    from sweep.front import OBJECTIVES
    from sweep.run_study import study_of

    faults: list[Fault] = []
    if len(runs) < 2:
        faults.append(Fault("RUN", "must be given twice at least", f"{len(runs)}", "", "name the folders of two runs or more"))
    found: list[Front] = []
    places: list[str] = []
    for run in runs:
        try:
            folder = open_run(run)
            study, table = study_of(folder), folder.front()
        except BadInput as error:
            faults += error.faults
            continue
        place = str(folder.location)
        if place in places:
            faults.append(Fault("RUN", "must not be given twice", place, "", "name two different runs"))
        places.append(place)
        if table is None or not len(table):
            remedy = "go on with --resume, or sweep with more --evaluations"
            faults.append(Fault("front", "must hold a design at least", "none", place, remedy))
            continue
        missing = [objective.name for objective in OBJECTIVES if objective.name not in table.columns]
        if missing:
            faults.append(Fault("front", f"must have the column {missing[0]}", "", place, "sweep anew with this version"))
            continue
        phases = int((folder.about() or {}).get("front_phases", 0))
        found.append(Front(study.name, table, study.scenario, phases))
    if faults:
        raise BadInput(faults)
    names = [front.name for front in found]
    labels = [
        f"{front.name} ({place})" if names.count(front.name) > 1 else front.name
        for front, place in zip(found, places, strict=True)
    ]
    return [replace(front, name=label) for front, label in zip(found, labels, strict=True)]


def _write_comparison(found: Comparison, out: Path) -> None:
    from sweep.location import write_output

    ending = out.suffix.lower()
    if ending in (".csv", ".parquet"):
        from sweep.archive import to_parquet
        from sweep.comparing import common_front

        table = common_front(found)
        write_output(out, table.to_csv(index=False).encode() if ending == ".csv" else to_parquet(table, {}))
        note(f"Wrote the {len(table)} designs of the common front to {out}.")
        return
    try:
        from sweep.figures.comparing import page, picture

        content = page(found).encode() if ending == ".html" else picture(found, ending.removeprefix("."))
    except ModuleNotFoundError as error:
        remedy = 'pip install -c constraints.txt -e ".[report]"'
        raise BadInput([Fault("--out", f"needs {error.name}", str(out), "", remedy)]) from error
    write_output(out, content)
    note(f"Wrote the comparison to {out}.")
