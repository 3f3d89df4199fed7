"""What a request is told that cannot be met: one document for all of them, without paths and traces."""

from __future__ import annotations

import json
import logging
from collections.abc import Iterable
from http import HTTPStatus
from pathlib import Path
from typing import Any

from fastapi import FastAPI, Request
from fastapi.exceptions import RequestValidationError
from pydantic import BaseModel, Field
from starlette.exceptions import HTTPException
from starlette.responses import Response

from sweep.errors import BadInput, Fault, SweepFailure
from sweep.service.names import shortened, without_paths
from sweep.service.summaries import NotNow, NotThere

LOG = logging.getLogger("uvicorn.error")
MEDIA = "application/problem+json"


class FaultTold(BaseModel):
    """One thing that is wrong with an input."""

    quantity: str = Field(description="what it is about")
    rule: str = Field(description="what holds for it; reads on from the quantity")
    value: str = Field("", description="what was given, empty where nothing was")
    where: str = Field("", description="the table, row or parameter")
    remedy: str = Field("", description="what to do")


class Problem(BaseModel):
    """Why a request could not be met."""

    type: str = Field("about:blank", description="always about:blank: the status tells the kind")
    title: str = Field(description="the status in words")
    status: int = Field(description="the status of the answer")
    detail: str = Field(description="what happened and what to do")
    faults: list[FaultTold] = Field(default_factory=list, description="each thing that is wrong with the input")


MEANINGS = {
    400: "The request cannot be read.",
    401: "The token is missing or wrong.",
    403: "The request comes from another site.",
    404: "There is no such run, design, build or file.",
    408: "The body did not come in time.",
    409: "It cannot be done as things stand: the message says why and what to do.",
    413: "The body is larger than this server takes.",
    415: "The body is of a type that is not read here.",
    421: "The request is for another host than this one.",
    422: "The input is wrong: every fault by name.",
}


def answers(*statuses: int) -> dict[int | str, dict[str, Any]]:
    """Answers of an operation that are problems, for OpenAPI."""
    return {status: {"model": Problem, "description": MEANINGS[status]} for status in sorted({401, 403, 421, *statuses})}


class ProblemResponse(Response):
    media_type = MEDIA

    def __init__(self, status: int, detail: str, faults: Iterable[Fault] = (), headers: dict[str, str] | None = None) -> None:
        content = {
            "type": "about:blank",
            "title": HTTPStatus(status).phrase,
            "status": status,
            "detail": detail,
            "faults": [vars(fault) for fault in faults],
        }
        super().__init__(json.dumps(content), status, headers)  # escaped: what was given may hold halves of characters


def install(app: FastAPI, results: Path) -> None:
    """Answer exceptions with problems."""

    def clean(text: str) -> str:
        return without_paths(text, results)

    def bad_input(faults: Iterable[Fault]) -> Response:
        # what the command line calls an option is a parameter here
        told = [Fault(*(clean(part).removeprefix("--") for part in vars(fault).values())) for fault in faults]
        return ProblemResponse(422, "; ".join(f"{fault.quantity} {fault.rule}" for fault in told[:5]), told)

    async def on_bad_input(_: Request, error: Exception) -> Response:
        assert isinstance(error, BadInput)
        return bad_input(error.faults)

    async def on_validation(_: Request, error: Exception) -> Response:
        assert isinstance(error, RequestValidationError)
        return bad_input(_fault(entry) for entry in error.errors())

    async def on_not_there(_: Request, error: Exception) -> Response:
        return ProblemResponse(404, clean(str(error)))

    async def on_not_now(_: Request, error: Exception) -> Response:
        return ProblemResponse(409, clean(str(error)))

    async def on_failure(_: Request, error: Exception) -> Response:
        assert isinstance(error, SweepFailure)
        return ProblemResponse(503, clean(str(error)))

    async def on_disk(_: Request, error: Exception) -> Response:
        assert isinstance(error, OSError)
        LOG.error("a file could not be read or written: %s", error)
        why = clean(error.strerror or type(error).__name__)
        return ProblemResponse(503, f"a file could not be read or written: {why}; the server's log tells which")

    async def on_http(_: Request, error: Exception) -> Response:
        assert isinstance(error, HTTPException)
        detail = "there is nothing at this address; /api/openapi.json tells what there is"
        if error.status_code != 404 or error.detail != "Not Found":
            detail = clean(str(error.detail))
        return ProblemResponse(error.status_code, detail, headers=dict(error.headers or {}))

    async def on_anything(_: Request, error: Exception) -> Response:
        return ProblemResponse(500, "the server failed; its log tells why. Runs are not touched by it")

    for kind, handler in (
        (BadInput, on_bad_input), (RequestValidationError, on_validation), (NotThere, on_not_there), (NotNow, on_not_now),
        (SweepFailure, on_failure), (OSError, on_disk), (HTTPException, on_http), (Exception, on_anything),
    ):  # fmt: skip
        app.add_exception_handler(kind, handler)


def _fault(entry: dict[str, Any]) -> Fault:
    """What pydantic tells, in the words of this program."""
    place = [str(part) for part in entry.get("loc", ())]
    given = entry.get("input")
    value = "" if given is None or entry.get("type") == "missing" else shortened(repr(given))
    message = str(entry.get("msg", "is wrong"))
    return Fault(place[-1] if place else "request", f"is wrong: {message}", value, ".".join(place[:-1]))
