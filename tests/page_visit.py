"""A visit to the page without a browser: what a visitor does and what the page sends, in this process."""

from __future__ import annotations

import asyncio
import re
from collections.abc import Awaitable, Callable
from pathlib import Path
from typing import Any

from nicegui import Client, background_tasks
from nicegui.testing import User
from nicegui.testing.user_simulation import user_simulation

from sweep.service.desk import Desk

HELD: list[Desk] = []
MAIN = Path(__file__).parent / "page_main.py"
#: s for the page to answer
PATIENCE, STEP = 8.0, 0.05


def visit(desk: Desk, what: Callable[[User], Awaitable[None]]) -> None:
    """Let ``what`` happen on the page of a desk."""

    async def simulated() -> None:
        _forget_ended()
        HELD.append(desk)
        try:
            async with user_simulation(main_file=MAIN) as user:
                user.javascript_rules[re.compile(r".*wheel\.theme\(\)")] = lambda _: "light"
                try:
                    await what(user)
                finally:
                    Client.page_routes.clear()  # else the modules of the page are taken out of Python's own list
        finally:
            HELD.pop()

    asyncio.run(simulated())


def _forget_ended() -> None:
    """Take tasks of earlier visits off NiceGUI's list: their loop is closed, and it would wait for them for ever."""
    own = asyncio.get_running_loop()
    background_tasks.running_tasks.difference_update({t for t in background_tasks.running_tasks if t.get_loop() is not own})
    for name, task in list(background_tasks.lazy_tasks_running.items()):
        if task.get_loop() is not own:
            del background_tasks.lazy_tasks_running[name]


def texts(user: User, marker: str = "") -> list[str]:
    """Text of what is shown, all or that of one marker."""
    assert user.client is not None
    found = []
    for element in user.client.elements.values():
        if marker and marker not in element._markers:
            continue
        shown, at = True, element
        while at is not None:
            shown = shown and at.visible
            at = at.parent_slot.parent if at.parent_slot else None
        if shown and isinstance(element._text, str):
            found.append(element._text)
    return found


async def sees(user: User, words: str, marker: str = "") -> None:
    """Wait until words are shown."""
    for _ in range(int(PATIENCE / STEP)):
        if any(words in text for text in texts(user, marker)):
            return
        await asyncio.sleep(STEP)
    raise AssertionError(f"{words!r} is not shown: {[text for text in texts(user, marker) if text][:400]}")


async def counts(user: User, kept: int) -> None:
    """Wait until so many designs are kept."""
    for _ in range(int(PATIENCE / STEP)):
        if texts(user, "count") == [f"{kept:,}"]:
            return
        await asyncio.sleep(STEP)
    raise AssertionError(f"{texts(user, 'count')} are kept, not {kept}")


async def until(holds: Callable[[], Any]) -> None:
    """Wait for something to hold."""
    for _ in range(int(PATIENCE / STEP)):
        if holds():
            return
        await asyncio.sleep(STEP)
    raise AssertionError("it did not come in time")
