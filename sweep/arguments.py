"""Arguments and options that several commands take."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

StudyFile = Annotated[Path, typer.Argument(metavar="STUDY", help="The study, a TOML file.", show_default=False)]
RunPlace = Annotated[str, typer.Argument(metavar="RUN", help="The folder of a run, or its URI.", show_default=False)]
DesignName = Annotated[
    str, typer.Argument(metavar="DESIGN", help="A design's id or its beginning, baseline or knee.", show_default=False)
]
Json = Annotated[bool, typer.Option("--json", help="Machine-readable output on stdout.")]
