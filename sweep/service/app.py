"""The application: addresses, access, and the page where it is there."""

from __future__ import annotations

import importlib
import secrets
from collections.abc import AsyncIterator, Collection
from contextlib import asynccontextmanager
from importlib.util import find_spec
from typing import Any

from fastapi import FastAPI
from starlette.concurrency import run_in_threadpool
from starlette.responses import HTMLResponse

from sweep.archive import versions
from sweep.service.access import LOOPBACK_NAMES, Guard, Token
from sweep.service.design_routes import design_routes
from sweep.service.desk import Desk
from sweep.service.events import Listeners
from sweep.service.login import login_routes
from sweep.service.problems import MEDIA, install
from sweep.service.routes import routes

ABOUT = """Sweeps of wheel studies: submit one, follow it, read its front, a design, its sheet and its build.

A study is TOML and holds data only. Runs go on without this server. With a token, send `Authorization: Bearer TOKEN`."""
TAGS = [
    {"name": "studies", "description": "What a wheel is judged by and what may be built: checked, and shipped to begin from."},
    {"name": "runs", "description": "Sweeps: submitted, followed, stopped, resumed."},
    {"name": "fronts", "description": "Designs that no other one beats in everything."},
    {"name": "designs", "description": "One design, its sheet, what matters for it; the shortlist."},
    {"name": "builds", "description": "Solids, print files, drawing and lists of a design."},
    {"name": "access", "description": "The token as a cookie, for browsers."},
    {"name": "service", "description": "The server itself."},
]
INDEX = """<!DOCTYPE html><html lang="en"><head><meta charset="utf-8"><title>wheelfront</title></head><body>
<h1>wheelfront</h1><p>The service is up. Its addresses are told at <a href="/api/openapi.json">/api/openapi.json</a>,
its runs at <a href="/api/runs">/api/runs</a>.</p></body></html>
"""


def create_app(desk: Desk, *, token: str | None = None, hosts: Collection[str] = LOOPBACK_NAMES, page: bool = True) -> FastAPI:
    """The service of a desk. Without a token it answers only to the names in ``hosts``; with ``page`` it holds the page too."""

    @asynccontextmanager
    async def lifespan(_: FastAPI) -> AsyncIterator[None]:
        yield
        await run_in_threadpool(desk.close)

    app = FastAPI(
        title="wheelfront",
        description=ABOUT,
        version=versions()["wheelfront"],
        openapi_tags=TAGS,
        openapi_url="/api/openapi.json",
        docs_url=None,  # they fetch from elsewhere
        redoc_url=None,
        redirect_slashes=False,
        lifespan=lifespan,
        generate_unique_id_function=lambda route: route.name,
        license_info={"name": "Apache-2.0", "identifier": "Apache-2.0"},
    )
    known = Token(token) if token else None
    install(app, desk.results)
    app.state.listeners = Listeners(desk.limits.listeners)
    app.include_router(routes(desk, app.state.listeners))
    app.include_router(design_routes(desk))
    app.include_router(login_routes(known))
    _document(app)
    if page and find_spec("sweep.page") and find_spec("nicegui"):
        secret = known.secret() if known else secrets.token_hex(32)
        importlib.import_module("sweep.page").mount(app, desk, secret=secret)
    else:
        app.add_api_route("/", lambda: HTMLResponse(INDEX), include_in_schema=False)
    # last, so that it stands before whatever the page adds
    app.add_middleware(Guard, token=known, hosts=frozenset(hosts), body_bytes=desk.limits.body_bytes)
    return app


def _document(app: FastAPI) -> None:
    """Tell problems as what they are, and how the token is sent."""
    plain = app.openapi

    def document() -> dict[str, Any]:
        if app.openapi_schema is None:
            found = plain()
            for operations in found["paths"].values():
                for operation in operations.values():
                    for status, response in operation["responses"].items():
                        content = response.get("content", {})
                        if status[0] in "45" and "application/json" in content:
                            response["content"] = {MEDIA: content["application/json"]}
                        elif status[0] in "45" and content:
                            problem = next((entry for kind, entry in content.items() if "$ref" in str(entry)), None)
                            response["content"] = {MEDIA: problem} if problem else content
            schemes = found.setdefault("components", {}).setdefault("securitySchemes", {})
            schemes["bearer"] = {"type": "http", "scheme": "bearer", "description": "the server's token"}
            schemes["cookie"] = {"type": "apiKey", "in": "cookie", "name": "wheelfront_session", "description": "from /login"}
            found["security"] = [{}, {"bearer": []}, {"cookie": []}]
        return app.openapi_schema or found

    app.openapi = document  # type: ignore[method-assign]
