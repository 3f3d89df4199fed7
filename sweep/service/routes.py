"""The addresses of runs and studies."""

from __future__ import annotations

import json
from typing import Annotated, Any

from fastapi import APIRouter, Query, Request
from fastapi import Path as InPath
from pydantic import ValidationError
from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.responses import PlainTextResponse, Response, StreamingResponse

from sweep.errors import BadInput, Fault
from sweep.service.desk import Desk
from sweep.service.events import Listeners
from sweep.service.models import (
    Health,
    Progress,
    Run,
    RunList,
    Step,
    StudyCheck,
    StudyList,
    Submission,
    told,
)
from sweep.service.names import RUN, STUDY
from sweep.service.problems import FaultTold, answers
from sweep.service.summaries import NotThere

RunName = Annotated[str, InPath(pattern=RUN, description="name of a run")]
TEXTS = ("text/plain", "application/toml")
#: an event of a stream, for OpenAPI
EVENT = {
    "type": "object",
    "properties": {
        "event": {"enum": ["run", "end"]},
        "id": {"type": "string", "description": "changes whenever the run's files do"},
        "data": {"type": "string", "description": "JSON: version, and run as /api/runs/{run} tells it"},
    },
}
STUDY_TEXT = {"schema": {"type": "string", "description": "the study as TOML"}}


def study_body(schema: str) -> dict[str, Any]:
    """How a study is sent, for OpenAPI: as text, or in JSON."""
    json_body = {"schema": {"$ref": f"#/components/schemas/{schema}"}}
    return {
        "requestBody": {
            "required": True,
            "content": {"text/plain": STUDY_TEXT, "application/toml": STUDY_TEXT, "application/json": json_body},
        }
    }


async def submission(request: Request) -> Submission:
    """What a body asks for. Raises BadInput where it cannot be read, HTTPException where its type is another."""
    kind = request.headers.get("content-type", "").partition(";")[0].strip().lower()
    body = await request.body()
    if kind in TEXTS:
        return Submission.model_validate({"study": _text(body)})
    if kind != "application/json":
        raise HTTPException(415, f"send the study as {', '.join(TEXTS)} or application/json")
    try:
        return Submission.model_validate(json.loads(_text(body)))
    except ValidationError as error:
        faults = [(".".join(map(str, entry["loc"])), entry["msg"]) for entry in error.errors()]
        raise BadInput(Fault(place or "body", f"is wrong: {rule}", "", "the body") for place, rule in faults) from error
    except (ValueError, RecursionError) as error:
        raise BadInput([Fault("body", "must be a JSON document", "", "", "send the study as text/plain instead")]) from error


def _text(body: bytes) -> str:
    try:
        return body.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise BadInput([Fault("study", "must be text in UTF-8", "", f"byte {error.start}", "save it as UTF-8")]) from error


def routes(desk: Desk, listeners: Listeners) -> APIRouter:
    """Addresses below ``/api`` that are about runs and studies."""
    router = APIRouter(prefix="/api")

    @router.get("/health", tags=["service"], summary="Tell that the server is up")
    def health() -> Health:
        """Answers without a token."""
        return Health(status="up")

    @router.get("/studies", tags=["studies"], summary="List the shipped studies", responses=answers())
    def studies() -> StudyList:
        """Studies to begin from."""
        return StudyList(studies=list(desk.shipped_studies()))

    @router.get(
        "/studies/{study}", tags=["studies"], summary="Read a shipped study", response_class=PlainTextResponse,
        responses=answers(404, 422),
    )  # fmt: skip
    def shipped(study: Annotated[str, InPath(pattern=STUDY, description="name of a shipped study")]) -> PlainTextResponse:
        """The study's text, TOML."""
        texts = desk.shipped_studies()
        if study not in texts:
            raise NotThere(f"there is no shipped study {study!r}; there are {', '.join(texts) or 'none'}")
        return PlainTextResponse(texts[study])

    @router.post(
        "/studies/check", tags=["studies"], summary="Check a study", responses=answers(400, 408, 413, 415, 422),
        openapi_extra=study_body("Submission"),
    )  # fmt: skip
    async def check(request: Request) -> StudyCheck:
        """Every fault of a study at once, and what goes beyond this server's limits. Nothing is started."""
        asked = await submission(request)
        faults = await run_in_threadpool(desk.faults_of, asked.study)
        return StudyCheck(sound=not faults, faults=[FaultTold(**vars(fault)) for fault in faults])

    @router.get("/runs", tags=["runs"], summary="List runs", responses=answers())
    def runs() -> RunList:
        """All runs of the results folder, the newest first; those too that were started by hand."""
        return RunList(runs=[told(Run, run) for run in desk.runs()])

    @router.post(
        "/runs", tags=["runs"], summary="Submit a study", status_code=201, responses=answers(400, 408, 409, 413, 415, 422),
        openapi_extra=study_body("Submission"),
    )  # fmt: skip
    async def submit(
        request: Request,
        response: Response,
        name: Annotated[str | None, Query(pattern=RUN, description="of the run; else made from the study's name")] = None,
        evaluations: Annotated[int | None, Query(ge=1, le=10**9, description="designs to score, else the study's")] = None,
        seed: Annotated[int | None, Query(ge=0, le=2**32 - 1, description="of the search, else the study's")] = None,
        workers: Annotated[int | None, Query(ge=1, le=1024, description="processes to search with")] = None,
    ) -> Run:
        """Start a sweep as a process of its own. What stands in a JSON body goes before the parameters."""
        asked = await submission(request)
        options = {"name": name, "evaluations": evaluations, "seed": seed, "workers": workers}
        options |= {key: value for key, value in asked.model_dump(exclude={"study"}).items() if value is not None}
        made = await run_in_threadpool(desk.submit, asked.study, **options)  # type: ignore[arg-type]
        response.headers["location"] = f"/api/runs/{made}"
        return told(Run, await run_in_threadpool(desk.run, made))

    @router.get("/runs/{run}", tags=["runs"], summary="Look at a run", responses=answers(404, 422))
    def look(run: RunName) -> Run:
        """Where a run stands."""
        return told(Run, desk.run(run))

    @router.get(
        "/runs/{run}/study", tags=["runs"], summary="Read a run's study", response_class=PlainTextResponse,
        responses=answers(404, 422),
    )  # fmt: skip
    def study(run: RunName) -> PlainTextResponse:
        """The study as it runs, TOML."""
        return PlainTextResponse(desk.study_text(run))

    @router.get("/runs/{run}/progress", tags=["runs"], summary="Read how a run came along", responses=answers(404, 409, 422))
    def progress(run: RunName) -> Progress:
        """A step for each epoch that has ended."""
        return Progress(run=run, steps=[Step.model_validate(_step(line)) for line in desk.progress(run)])

    @router.get(
        "/runs/{run}/events", tags=["runs"], summary="Follow a run", response_class=StreamingResponse,
        responses={
            **answers(404, 409, 422),
            200: {
                "description": "Events `run` whenever the run changes and `end` once it is not at work any more.",
                "content": {"text/event-stream": {"schema": EVENT}},
            },
        },
    )  # fmt: skip
    async def follow(run: RunName) -> StreamingResponse:
        """Server-sent events, until the run has ended or the client leaves."""
        await run_in_threadpool(desk.run, run)
        listeners.check()
        headers = {"cache-control": "no-store", "x-accel-buffering": "no"}
        return StreamingResponse(listeners.follow(desk, run), media_type="text/event-stream", headers=headers)

    @router.post("/runs/{run}/stop", tags=["runs"], summary="Stop a run", status_code=202, responses=answers(404, 409, 422))
    def stop(run: RunName) -> Run:
        """Ask the run's process to end. It keeps what it has and ends within seconds."""
        desk.stop(run)
        return told(Run, desk.run(run))

    @router.post("/runs/{run}/resume", tags=["runs"], summary="Resume a run", status_code=202, responses=answers(404, 409, 422))
    def resume(
        run: RunName,
        evaluations: Annotated[int | None, Query(ge=1, le=10**9, description="only what the run began with")] = None,
    ) -> Run:
        """Go on with a run that was stopped, killed or has failed."""
        desk.resume(run, evaluations=evaluations)
        return told(Run, desk.run(run))

    return router


def _step(line: dict[str, Any]) -> dict[str, Any]:
    """A line of progress with every number that a step has."""
    found = {name: line.get(name, 0) for name in Step.model_fields}
    return {name: value if isinstance(value, int | float) and abs(value) < 1e300 else 0 for name, value in found.items()}
