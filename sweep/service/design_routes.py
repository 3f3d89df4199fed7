"""The addresses of fronts, designs, sheets and builds."""

from __future__ import annotations

from typing import Annotated, Literal

from fastapi import APIRouter, Query
from fastapi import Path as InPath
from starlette.responses import FileResponse, HTMLResponse, Response

from sweep.service.desk import Desk
from sweep.service.models import Build, Column, Design, FrontTable, Matter, Shortlist, ShortlistEntry, told
from sweep.service.names import DESIGN
from sweep.service.problems import answers
from sweep.service.routes import RunName
from sweep.service.summaries import Kept
from sweep.service.tables import MEDIA, columns_of, rows_of

DesignName = Annotated[str, InPath(pattern=DESIGN, description="a design's id, or the words baseline and knee")]
Where = Annotated[
    str | None, Query(max_length=500, description="comparisons joined by and, or, brackets, as mass_kg < 2 and bore == ball")
]
Sort = Annotated[str | None, Query(max_length=80, description="column to sort by, objectives best first")]
Top = Annotated[int | None, Query(ge=1, le=1_000_000, description="only the first so many")]
Columns = Annotated[str | None, Query(max_length=8000, description="names of columns, with commas; all if left out")]
#: a document that was made from a study may hold words from it: nothing in it may run or fetch
SHUT = {
    "content-security-policy": "default-src 'none'; style-src 'unsafe-inline'; img-src data:; sandbox",
    "cache-control": "no-cache",
}
BINARY = {"type": "string", "format": "binary"}


def design_routes(desk: Desk) -> APIRouter:
    """Addresses below ``/api/runs/{run}`` that are about designs."""
    router = APIRouter(prefix="/api/runs/{run}")

    @router.get(
        "/front", tags=["fronts"], summary="Read the front as JSON", response_model=FrontTable, responses=answers(404, 409, 422)
    )
    def front(run: RunName, where: Where = None, sort: Sort = None, top: Top = None, columns: Columns = None) -> Response:
        """The front as it stands, all of it or what is asked for; no designs before the first epoch has ended."""
        content = desk.front_as(run, "json", where=where, sort=sort, top=top, columns=_names(columns))
        return Response(content, media_type=MEDIA["json"])

    @router.get(
        "/front.{kind}", tags=["fronts"], summary="Read the front as CSV, Parquet or Arrow", response_class=Response,
        responses={
            **answers(404, 409, 422),
            200: {
                "description": "The table. Parquet and Arrow tell unit and meaning with each column.",
                "content": {
                    MEDIA["csv"]: {"schema": {"type": "string"}},
                    MEDIA["parquet"]: {"schema": BINARY},
                    MEDIA["arrow"]: {"schema": BINARY},
                },
            },
        },
    )  # fmt: skip
    def front_file(
        run: RunName,
        kind: Annotated[Literal["csv", "parquet", "arrow"], InPath(description="format of the file")],
        where: Where = None,
        sort: Sort = None,
        top: Top = None,
        columns: Columns = None,
    ) -> Response:
        """The same as a file for other programs."""
        content = desk.front_as(run, kind, where=where, sort=sort, top=top, columns=_names(columns))
        headers = {"content-disposition": f'attachment; filename="{run}.{kind}"'}
        return Response(content, media_type=MEDIA[kind], headers=headers)

    @router.get("/designs/{design}", tags=["designs"], summary="Read a design", responses=answers(404, 409, 422))
    def read(run: RunName, design: DesignName) -> Design:
        """All columns of a design of the front, the baseline, or what else the search kept."""
        row = desk.design(run, design).to_frame().T
        columns = {name: Column(**column) for name, column in columns_of(row).items()}
        return Design(run=run, design=str(row["design"].iloc[0]), columns=columns, values=rows_of(row)[0])

    @router.get(
        "/designs/{design}/sheet.html", tags=["designs"], summary="Read a design's sheet as a page",
        response_class=HTMLResponse, responses=answers(404, 409, 422),
    )  # fmt: skip
    def sheet_page(run: RunName, design: DesignName) -> HTMLResponse:
        """A page that needs nothing else. Takes seconds the first time."""
        return HTMLResponse(desk.sheet(run, design, "html"), headers=SHUT)

    @router.get(
        "/designs/{design}/sheet.pdf", tags=["designs"], summary="Read a design's sheet as two pages of A4",
        response_class=Response,
        responses={
            **answers(404, 409, 422),
            200: {"description": "The sheet.", "content": {"application/pdf": {"schema": BINARY}}},
        },
    )  # fmt: skip
    def sheet_pdf(run: RunName, design: DesignName) -> Response:
        """For printing. Takes seconds the first time."""
        headers = {"content-disposition": f'inline; filename="{run}-{design}.pdf"', "cache-control": "no-cache"}
        return Response(desk.sheet(run, design, "pdf"), media_type="application/pdf", headers=headers)

    @router.get(
        "/designs/{design}/matter", tags=["designs"], summary="Tell what matters for a design", responses=answers(404, 409, 422)
    )
    def matter(run: RunName, design: DesignName) -> Matter:
        """What to measure and what to change first. Takes up to a minute the first time."""
        return Matter.model_validate(desk.matter(run, design))

    @router.get("/designs/{design}/build", tags=["builds"], summary="Look at a build", responses=answers(404, 409, 422))
    def build(run: RunName, design: DesignName) -> Build:
        """How far the build is, and what it has made."""
        return told(Build, desk.build(run, design))

    @router.post(
        "/designs/{design}/build", tags=["builds"], summary="Start a build", status_code=202, responses=answers(404, 409, 422)
    )
    def start_build(run: RunName, design: DesignName) -> Build:
        """Solids, print files, drawing and lists, as a process of its own. Nothing happens where they are there already."""
        desk.start_build(run, design)
        return told(Build, desk.build(run, design))

    @router.get(
        "/designs/{design}/build.zip", tags=["builds"], summary="Download a build", response_class=FileResponse,
        responses={
            **answers(404, 409, 422),
            200: {"description": "All files of the build.", "content": {"application/zip": {"schema": BINARY}}},
        },
    )  # fmt: skip
    def archive(run: RunName, design: DesignName) -> FileResponse:
        """All files of a build in one archive."""
        return FileResponse(desk.build_zip(run, design), media_type="application/zip", filename=f"{run}-{design}.zip")

    @router.get(
        "/designs/{design}/build/files/{file:path}", tags=["builds"], summary="Download a file of a build",
        response_class=FileResponse,
        responses={
            **answers(404, 409, 422),
            200: {"description": "The file.", "content": {"application/octet-stream": {"schema": BINARY}}},
        },
    )  # fmt: skip
    def file(
        run: RunName,
        design: DesignName,
        file: Annotated[str, InPath(max_length=200, description="a name that the build lists")],
    ) -> FileResponse:
        """One of the files that the build lists."""
        found = desk.build_file(run, design, file)
        return FileResponse(found, media_type="application/octet-stream", filename=found.name, headers=SHUT)

    @router.get("/shortlist", tags=["designs"], summary="Read the shortlist", responses=answers(404, 422))
    def shortlist(run: RunName) -> Shortlist:
        """Designs that were chosen to be looked at."""
        return Shortlist(designs=[ShortlistEntry(**vars(entry)) for entry in desk.shortlist(run)])

    @router.put(
        "/shortlist", tags=["designs"], summary="Replace the shortlist", responses=answers(400, 404, 408, 409, 413, 422)
    )
    def set_shortlist(run: RunName, shortlist: Shortlist) -> Shortlist:
        """Six designs at most, each once, with a note."""
        desk.set_shortlist(run, [Kept(entry.design, entry.note) for entry in shortlist.designs])
        return Shortlist(designs=[ShortlistEntry(**vars(entry)) for entry in desk.shortlist(run)])

    return router


def _names(columns: str | None) -> list[str] | None:
    return None if columns is None else [name.strip() for name in columns.split(",") if name.strip()]
