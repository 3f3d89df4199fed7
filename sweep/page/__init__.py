"""The page of the service: runs, the board of a front, a design's panel, a shortlist, new studies."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from fastapi import FastAPI

    from sweep.service.desk import Desk


def mount(app: FastAPI, desk: Desk, *, secret: str) -> None:
    """Put the page at the root of the service's app. Call it last: it answers every address that nothing else does."""
    from sweep.page.mounting import mount_page

    mount_page(app, desk, secret)
