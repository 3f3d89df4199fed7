"""The page on the service's app: its addresses, and what is set once."""

from __future__ import annotations

from fastapi import FastAPI, Request
from nicegui import ui

from sweep.page.board import board_page
from sweep.page.compare_page import compare_page
from sweep.page.form_page import form_page
from sweep.page.routes import add_routes
from sweep.page.runs_page import runs_page
from sweep.page.shell import NAME, head
from sweep.page.snapshots import Snapshots
from sweep.service.desk import Desk

#: s: how long a page may be built, and how long its state is kept for a browser that went away
BUILD, RECONNECT = 20.0, 30.0


def mount_page(app: FastAPI, desk: Desk, secret: str) -> None:
    """Put the page at the root of an app. Once in a process: NiceGUI's state belongs to the process."""
    snapshots = Snapshots(desk)
    add_routes(app, desk, snapshots)
    ui.add_head_html(head(), shared=True)

    @ui.page("/", title=NAME, response_timeout=BUILD)
    async def runs() -> None:
        await runs_page(desk)

    @ui.page("/run/{name}", title=NAME, response_timeout=BUILD)
    async def board(name: str, request: Request) -> None:
        await board_page(desk, snapshots, name, dict(request.query_params))

    @ui.page("/new", title=f"New study, {NAME}", response_timeout=BUILD)
    async def new(request: Request) -> None:
        await form_page(desk, dict(request.query_params))

    @ui.page("/compare", title=f"Runs compared, {NAME}", response_timeout=BUILD)
    async def comparison(request: Request) -> None:
        await compare_page(desk, request.query_params.get("runs", ""))

    ui.run_with(
        app, title=NAME, language="en-US", tailwind=False, storage_secret=secret, show_welcome_message=False,
        reconnect_timeout=RECONNECT, message_history_length=200, binding_refresh_interval=None,
    )  # fmt: skip
