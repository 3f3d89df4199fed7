"""What the page fetches by address: data of charts and table, drawings, sheets, files to take away. All under /page."""

from __future__ import annotations

import gzip
from collections.abc import Callable, Sequence
from functools import lru_cache
from pathlib import Path
from typing import Any
from urllib.parse import quote, urlencode

import pandas as pd
from fastapi import FastAPI
from fastapi.responses import FileResponse, PlainTextResponse, Response
from fastapi.staticfiles import StaticFiles

from sweep.errors import BadInput, SweepFailure
from sweep.page.comparison import comparison_svg
from sweep.page.drawings import DRAWINGS
from sweep.page.snapshots import Snapshots, points, table_rows
from sweep.service.desk import Desk, NotNow, NotThere

STATIC = Path(__file__).parent / "static"
ROOT = "/page"
#: drawings that are kept
DRAWINGS_KEPT = 240
GLB = "model/gltf-binary"


def address(*parts: str, **query: object) -> str:
    """An address below ROOT."""
    path = "/".join([ROOT, *(quote(part, safe="") for part in parts)])
    return f"{path}?{urlencode(query)}" if query else path


def run_page(run: str, **query: str) -> str:
    """The address of a run's board."""
    return f"/run/{quote(run, safe='')}" + (f"?{urlencode(query)}" if query else "")


def add_routes(app: FastAPI, desk: Desk, snapshots: Snapshots) -> None:
    """Answer below ROOT."""
    app.mount(f"{ROOT}/static", StaticFiles(directory=STATIC), name="page-static")

    @lru_cache(maxsize=DRAWINGS_KEPT)
    def drawn(run: str, key: str, design: str, kind: str) -> str:
        return DRAWINGS[kind](desk.study(run), design_row(desk, run, design), desk.baseline(run))

    @lru_cache(maxsize=24)
    def data(kind: str, run: str, key: str, columns: tuple[str, ...], most: int) -> bytes:
        found = snapshots.find(run, key)
        known = [name for name in columns if name in found.frame]
        made = table_rows(found, known) if kind == "rows" else points(found, known, most)
        return gzip.compress(made, 4)

    def sent(kind: str, run: str, key: str, columns: str, most: int = 0) -> Response:
        def make() -> Response:
            body = data(kind, run, key, tuple(filter(None, columns.split(","))), most)
            headers = {"Content-Encoding": "gzip", "Cache-Control": "private, max-age=3600"}
            return Response(body, media_type="application/json", headers=headers)

        return answered(make)

    @app.get(ROOT + "/points/{run}/{key}", include_in_schema=False)
    def get_points(run: str, key: str, columns: str = "", most: int = 0) -> Response:
        return sent("points", run, key, columns, max(0, min(most, 5000)))

    @app.get(ROOT + "/rows/{run}/{key}", include_in_schema=False)
    def get_rows(run: str, key: str, columns: str = "") -> Response:
        return sent("rows", run, key, columns)

    @app.get(ROOT + "/drawing/{run}/{key}/{design}/{kind}", include_in_schema=False)
    def get_drawing(run: str, key: str, design: str, kind: str) -> Response:
        def make() -> Response:
            if kind not in DRAWINGS:
                raise NotThere(f"There is no drawing {kind}: {', '.join(DRAWINGS)}.")
            try:
                return Response(drawn(run, key, design, kind), media_type="image/svg+xml")
            except (ValueError, KeyError, ArithmeticError) as error:  # a shape that nobody thought of
                raise SweepFailure(f"This drawing could not be made: {error}. The sheet says more.") from error

        return answered(make)

    @app.get(ROOT + "/sheet/{run}/{design}.{kind}", include_in_schema=False)
    def get_sheet(run: str, design: str, kind: str) -> Response:
        def make() -> Response:
            if kind not in ("html", "pdf"):
                raise NotThere(f"There is no sheet as {kind}: html and pdf.")
            media = "application/pdf" if kind == "pdf" else "text/html"
            return Response(desk.sheet(run, design, kind), media_type=media)

        return answered(make)

    @app.get(ROOT + "/build/{run}/{design}.zip", include_in_schema=False)
    def get_build(run: str, design: str) -> Response:
        def make() -> Response:
            return FileResponse(desk.build_zip(run, design), filename=f"{design}.zip", media_type="application/zip")

        return answered(make)

    @app.get(ROOT + "/part/{run}/{design}/{file:path}", include_in_schema=False)
    def get_part(run: str, design: str, file: str) -> Response:
        def make() -> Response:
            place = desk.build_file(run, design, file)
            return FileResponse(place, media_type=GLB if file.endswith(".glb") else None, filename=place.name)

        return answered(make)

    @app.get(ROOT + "/comparison.svg", include_in_schema=False)
    def get_comparison(runs: str) -> Response:
        return answered(lambda: Response(comparison_svg(desk, runs.split(",")), media_type="image/svg+xml"))


def design_row(desk: Desk, run: str, design: str) -> pd.Series:
    """A design of a run or its baseline, all columns as stored. Raises NotThere."""
    if design == "baseline":
        own = desk.baseline(run)
        if own is None:
            raise NotThere(f"{run} has no baseline.")
        return own
    return desk.design(run, design)


def answered(make: Callable[[], Response]) -> Response:
    """An answer, or in plain words why there is none."""
    try:
        return make()
    except NotThere as error:
        return PlainTextResponse(str(error), 404)
    except NotNow as error:
        return PlainTextResponse(str(error), 409)
    except BadInput as error:
        return PlainTextResponse(str(error), 422)
    except SweepFailure as error:
        return PlainTextResponse(str(error), 500)


def joined(columns: Sequence[Any]) -> str:
    """Columns as an address takes them."""
    return ",".join(map(str, columns))
