"""The command line. Heavy imports stand inside the commands, so that help and mistakes answer at once."""

from __future__ import annotations

import os
import sys
from pathlib import Path
from shlex import quote
from typing import TYPE_CHECKING, Annotated

import typer

from sweep import design_commands as of_a_design
from sweep.arguments import Json, RunPlace, StudyFile
from sweep.errors import BadInput, Fault, SweepFailure
from sweep.telling import check_ending, note, patience, write_table
from sweep.threads import ONE_THREAD
from sweep.workshop import commands as workshop

if TYPE_CHECKING:
    import pandas as pd

    from sweep.archive import RunFolder
    from sweep.progress import Snapshot

#: set to anything to see where an unexpected failure happened
DEBUG = "WHEELFRONT_DEBUG"
MOST_WORKERS = 1024

app = typer.Typer(
    name="wheelfront",
    help="Chooses a friction-driven omnidirectional wheel: contact mechanics, five objectives, a Pareto front.",
    add_completion=False,
    no_args_is_help=True,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
)

Seed = Annotated[int | None, typer.Option("--seed", help="Seed of the search, in place of the study's.", min=0)]


@app.command()
def check(study: StudyFile, json: Json = False) -> None:
    """Validate a study and tell what it means.

    Its space, load cases, constraints, and how long a sweep takes here.
    """
    from sweep.check import as_json
    from sweep.check import check as look_into
    from sweep.check_text import show_check
    from sweep.show import console, print_json
    from sweep.study import load_study

    read = load_study(study)
    with patience():
        found = look_into(read)
    if json:
        print_json(as_json(found))
    else:
        show_check(found, console())


@app.command()
def score(
    study: StudyFile,
    designs: Annotated[
        Path | None,
        typer.Argument(metavar="DESIGNS", help="A CSV or Parquet table, a design a row; else the baseline."),
    ] = None,
    phases: Annotated[
        int | None, typer.Option("--phases", help="Positions of the wheel; else the study's front_phases.", min=1, max=4096)
    ] = None,
    out: Annotated[Path | None, typer.Option("--out", help="Write all columns to a .csv or .parquet file.")] = None,
    json: Json = False,
) -> None:
    """Score given designs.

    The wheel somebody already built is the first thing to score.
    """
    check_ending(out)
    from sweep.designs import baseline_designs, read_designs
    from sweep.front_table import records, show_scores
    from sweep.problem import scored, scoring_of
    from sweep.show import console, print_json
    from sweep.study import load_study

    read = load_study(study)
    table = baseline_designs(read) if designs is None else read_designs(designs, read)
    if table is None:
        remedy = "name a CSV or Parquet file, or add [baseline] to the study"
        raise BadInput([Fault("DESIGNS", "must be given, the study has no [baseline]", "", str(study), remedy)])
    positions = phases or read.search.front_phases
    with patience():
        scores = scored(table, positions, scoring_of(read))
    if out is not None:
        write_table(scores, out, read, positions)
    if json:
        print_json({"study": read.name, "hash": read.hash, "phases": positions, "designs": records(scores)})
    else:
        show_scores(scores, read.scenario, console())
        note(f"Scored at {positions} positions of the wheel; compare only with scores at as many.")


@app.command()
def sweep(
    study: StudyFile,
    out: Annotated[
        str | None, typer.Option("--out", help="The run's folder or URI (s3://, gs://); else results/ and the study's name.")
    ] = None,
    hours: Annotated[
        float | None, typer.Option("--hours", help="How long; becomes a number of evaluations at the start.", min=0)
    ] = None,
    evaluations: Annotated[int | None, typer.Option("--evaluations", help="How many designs to score.", min=1)] = None,
    workers: Annotated[
        int | None, typer.Option("--workers", help="Search on so many processes of this machine.", show_default=False)
    ] = None,
    ray: Annotated[
        str | None, typer.Option("--ray", metavar="ADDRESS", help="Search on the Ray cluster at HOST:PORT, or auto.")
    ] = None,
    resume: Annotated[bool, typer.Option("--resume", help="Go on with the run in the folder.")] = False,
    seed: Seed = None,
    uncertainty: Annotated[
        bool, typer.Option("--uncertainty", help="Score the front over samples of what is not known, without the table too.")
    ] = False,
    robust: Annotated[
        bool, typer.Option("--robust", help="Search for good percentiles over those samples, not for good nominal values.")
    ] = False,
) -> None:
    """Search the space of a study.

    Keeps the front in a folder. Ctrl-C ends it at any time, --resume goes on.
    """
    _check_workers(workers, ray)
    if hours is not None and evaluations is not None:
        raise BadInput([Fault("--hours", "must not be given beside --evaluations", f"{hours:g}", "", "leave one of them out")])
    if hours is not None and not 0 < hours <= 10000:
        raise BadInput([Fault("--hours", "must lie in (0, 10000]", f"{hours:g}")])
    try:
        from sweep.check import refuse_impossible, sampled
        from sweep.progress import Display
        from sweep.runner import run
        from sweep.study import load_study

        read = load_study(study)
        for text in read.notes:
            note(text)
        if not resume:
            refuse_impossible(read, sampled(read))
        if workers is not None and workers > (os.cpu_count() or workers):
            note(f"{workers} workers share {os.cpu_count()} processors of this machine.")
    except KeyboardInterrupt:
        note("Stopped before the search began; nothing was written.")
        return
    with Display() as display, patience() as waiting:

        def tell(snapshot: Snapshot) -> None:
            waiting.cancel()
            display(snapshot)

        result = run(
            read,
            out,
            evaluations=evaluations,
            hours=hours,
            seed=seed,
            resume=resume,
            progress=tell,
            workers=workers,
            ray=ray,
            note=note,
            uncertainty=uncertainty,
            robust=robust,
        )
    place = result.folder.location
    if result.state == "stopped":
        note(f"Stopped after {result.evaluations} evaluations. {_front_words(len(result.front))} is in {place}.")
        spread = f" --workers {workers}" if workers is not None else f" --ray {ray}" if ray is not None else ""
        note(f"Go on with: wheelfront sweep {quote(str(study))} --out {quote(str(place))}{spread} --resume")
        return
    if not len(result.front):
        name, share = next(iter(result.broken.items()), ("", 0.0))
        name = name.removeprefix("slack_")
        most = f" {name} is broken most often, by {100 * share:.0f} % of them." if name else ""
        note(
            f"None of {result.evaluations} designs is feasible.{most} More --evaluations into another --out may find some; "
            f"wheelfront check {study} says how many draws each constraint lets through."
        )
        return
    note(
        f"{_front_words(len(result.front))} is in {place}, from {result.evaluations} evaluations, "
        f"{100 * result.feasible_share:.0f} % of them feasible."
    )
    note(f"Look at it with: wheelfront front {quote(str(place))}")


@app.command()
def front(
    run: RunPlace,
    where: Annotated[
        str | None, typer.Option("--where", help="Only designs for which this holds, e.g. \"mass_kg < 2 and bore == ball\".")
    ] = None,
    sort: Annotated[str | None, typer.Option("--sort", help="Column to sort by, objectives best first.")] = None,
    top: Annotated[int | None, typer.Option("--top", help="Only the first so many.", min=1)] = None,
    out: Annotated[Path | None, typer.Option("--out", help="Write all columns to a .csv or .parquet file.")] = None,
    json: Json = False,
) -> None:
    """Show a run's front.

    Without options its extremes, its knee and how it compares with the baseline.
    """
    check_ending(out)
    from sweep.archive import open_run
    from sweep.front_table import front_json, records, rows_asked, show_designs, show_front
    from sweep.run_study import baseline_of, study_of
    from sweep.show import console, print_json

    folder = open_run(run)
    table = _front_of(folder)
    about = folder.about() or {}
    baseline = baseline_of(folder)
    if about.get("state") not in ("done", None):
        note(f"The run is {about['state']} at {about.get('evaluations_done', 0)} of {about.get('evaluations')} evaluations.")
    chosen = rows_asked(table, where, sort, top)
    if out is not None:
        write_table(chosen, out, study_of(folder), int(about.get("front_phases", 0)))
    if where is sort is top is None:
        if json:
            told = {"run": str(folder.location), "study": about.get("study"), "state": about.get("state")}
            print_json(told | front_json(table, baseline))
        elif out is None:
            show_front(table, baseline, _title(about, len(table)), console())
            note("More: --where, --sort and --top list designs, wheelfront sheet RUN DESIGN explains one.")
        return
    if json:
        print_json({"run": str(folder.location), "study": about.get("study"), "of": len(table), "designs": records(chosen)})
    elif len(chosen):
        show_designs(chosen, [name for name in [sort, *_named(where, table)] if name], console())
        note(f"{len(chosen)} of {len(table)} designs.")
    else:
        note(f"None of {len(table)} designs.")


for command in (
    of_a_design.sheet, of_a_design.matter, of_a_design.build, workshop.improve, workshop.calibrate, workshop.compare,
):  # fmt: skip
    app.command()(command)


@app.command()
def serve(
    host: Annotated[str, typer.Option("--host", help="Address to listen at; any but loopback needs a token.")] = "127.0.0.1",
    port: Annotated[int, typer.Option("--port", help="Port to listen at, 0 for any that is free.", min=0, max=65535)] = 8730,
    results: Annotated[Path, typer.Option("--results", help="Folder of the runs.")] = Path("results"),
    token: Annotated[
        str | None, typer.Option("--token", help="What a client must know; better in WHEELFRONT_TOKEN.", show_default=False)
    ] = None,
) -> None:
    """Serve the page and the service.

    Studies are submitted, followed, stopped and resumed there; sweeps go on without the server.
    """
    from sweep.service.serving import serve as listen

    listen(host, port, results, token, note)


def _check_workers(workers: int | None, ray: str | None) -> None:
    if workers is not None and ray is not None:
        raise BadInput([Fault("--workers", "must not be given beside --ray", f"{workers}", "", "leave one of them out")])
    if workers is not None and not 1 <= workers <= MOST_WORKERS:
        remedy = "leave it out to search in this process"
        raise BadInput([Fault("--workers", f"must lie between 1 and {MOST_WORKERS}", f"{workers}", "", remedy)])
    if ray is not None:
        from sweep.executors import check_address

        check_address(ray)


def main() -> None:
    """Run the command line and end the process with its status: 0 done, 1 failed while running, 2 bad input."""
    os.environ.update(ONE_THREAD)
    for name in ("stdout", "stderr"):
        if getattr(sys, name) is None:  # closed by whoever called; its number must not go to a file that is opened next
            setattr(sys, name, open(os.devnull, "w"))  # noqa: SIM115
    try:
        try:
            app()
        finally:
            sys.stdout.flush()
    except (BadInput, SweepFailure) as error:
        note(str(error))
        sys.exit(error.exit_status)
    except BrokenPipeError:  # whoever read has seen enough
        from sweep.show import give_up

        give_up(sys.stdout)
        sys.exit(0)
    except OSError as error:
        if os.environ.get(DEBUG):
            raise
        note(f"wheelfront could not read or write: {error}.")
        from sweep.show import give_up

        give_up(sys.stdout)
        sys.exit(1)
    except Exception as error:
        if os.environ.get(DEBUG):
            raise
        note(
            f"wheelfront failed unexpectedly: {type(error).__name__}: {str(error).rstrip('.')}. A sweep that was stopped by it "
            f"goes on with --resume. Please report it with the command and its study; {DEBUG}=1 shows where it happened."
        )
        sys.exit(1)


def _front_of(folder: RunFolder) -> pd.DataFrame:
    table = folder.front()
    if table is None or not len(table):
        broken = (folder.about() or {}).get("broken") or {}
        name = next(iter(broken), "")
        why = f"; {name.removeprefix('slack_')} is broken by {100 * broken[name]:.0f} % of what was scored" if name else ""
        rule = "must hold a design at least, none is feasible so far" if table is not None else "is not there yet"
        more = "sweep with more --evaluations into another --out, or widen the study's space"
        remedy = more if table is not None else "go on with --resume"
        raise BadInput([Fault("front", rule + why, "", str(folder.location), remedy)])
    return table


def _title(about: dict[str, object], count: int) -> str:
    share = about.get("feasible_share")
    feasible = f", {100 * share:.0f} % feasible" if isinstance(share, float) else ""
    return f"{about.get('study')}: {_front_words(count)}, from {about.get('evaluations_done')} evaluations{feasible}."


def _front_words(count: int) -> str:
    return f"A front of {count} design{'' if count == 1 else 's'}"


def _named(where: str | None, table: pd.DataFrame) -> list[str]:
    """Columns that an expression names."""
    import re

    return [name for name in dict.fromkeys(re.findall(r"[A-Za-z_]\w*", where or "")) if name in table.columns]


if __name__ == "__main__":
    main()
