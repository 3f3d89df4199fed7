"""What all pages share: head, style, the row on top, and what is done where something is not there."""

from __future__ import annotations

import asyncio
import contextlib
from collections.abc import Awaitable, Callable, Iterator
from typing import Any, TypeVar, cast

from nicegui import run, ui

from sweep.errors import BadInput, SweepFailure
from sweep.page.palette import DARK_THEME, LIGHT_THEME, THEMES, variables
from sweep.page.parts import Node, button, el, link, notice, tell
from sweep.page.routes import ROOT
from sweep.service.desk import NotNow, NotThere

T = TypeVar("T")
#: what a person can do something about
TOLD = (NotThere, NotNow, BadInput, SweepFailure)
NAME = "wheelfront"


def head() -> str:
    """What stands in the head of every page: style, theme before the first paint."""
    return (
        f"<style>{variables()}</style>\n"
        f'<link rel="stylesheet" href="{ROOT}/static/page.css">\n'
        f'<script src="{ROOT}/static/page.js"></script>'
    )


async def off_loop(act: Callable[..., T], *given: Any) -> T:
    """Do something slow in a thread."""
    return cast(T, await run.io_bound(act, *given))  # None comes only where the server ends


async def told(act: Callable[..., T], *given: Any) -> T | None:
    """Do something slow in a thread; what a person can do something about is told, and gives None."""
    try:
        return await off_loop(act, *given)
    except TOLD as error:
        tell(str(error), bad=True)
        return None


class Shell:
    """The frame of a page while it is built: the row on top, and the theme that charts are drawn in."""

    def __init__(self) -> None:
        self.theme = LIGHT_THEME
        self.changed: list[Callable[[], None]] = []
        self.top: Node
        self.end: Node
        self._dark: Node

    @property
    def colours(self) -> dict[str, str]:
        return THEMES[self.theme]

    async def begin(self) -> None:
        """Once the browser is there: take its theme."""
        with contextlib.suppress(TimeoutError):
            self._take(str(await ui.run_javascript("wheel.theme()", timeout=5.0)))

    async def _other(self) -> None:
        with contextlib.suppress(TimeoutError):
            self._take(str(await ui.run_javascript("wheel.otherTheme()", timeout=5.0)))

    def _take(self, theme: str) -> None:
        self._dark.attribute("aria-pressed", str(theme == DARK_THEME).lower())
        if theme in THEMES and theme != self.theme:
            self.theme = theme
            for act in self.changed:
                act()

    @contextlib.contextmanager
    def frame(self, here: str, classes: str = "") -> Iterator[None]:
        """The row on top with places to go, then the page itself."""
        link("To the content", "#content", classes="skip")
        with el("header", "top"):
            link(NAME, "/", classes="brand", label=f"{NAME}: all runs")
            with el("nav", label="Pages"):
                for text, target in (("Runs", "/"), ("New study", "/new")):
                    link(text, target, aria_current="page" if here == text else None)
            self.top = el("div", "top-more")
            self.end = el("div", "top-end")
            with self.end:
                self._dark = button("Dark", self._other, mark="dark", aria_pressed="false")
        el("p", "trouble", id="trouble", role="alert", hidden=True)
        with el("div", classes, id="content", tabindex="-1"):  # the main landmark is NiceGUI's, about all of it
            yield


def gone(what: str, text: str) -> None:
    """In place of a page that cannot be shown."""
    el("h1", "", what)
    notice(text, "bad", mark="gone")
    with el("p"):
        link("All runs", "/", classes="b")


async def until_done(act: Callable[[], Awaitable[bool]], seconds: float, tries: int = 10_000) -> None:
    """Ask again and again until it is done."""
    for _ in range(tries):
        if await act():
            return
        await asyncio.sleep(seconds)
