"""The row of a run: how far it is as a ruler, its front, its hypervolume, and what can be done with it."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import Any

from nicegui import ui

from sweep.page.parts import Node, button, el
from sweep.page.run_words import help_words, hypervolume_svg, progress_words, share_done
from sweep.page.shell import tell, told
from sweep.service.desk import Desk, RunSummary
from sweep.service.summaries import AT_WORK, DAMAGED, FAILED, STOPPED


class RunBar:
    """Progress of one run. ``after`` is called when something was done with it."""

    def __init__(self, desk: Desk, summary: RunSummary, after: Callable[[], Any], *, named: bool = True) -> None:
        self.desk, self.name, self._after = desk, summary.name, after
        if named:
            with el("div", "cell name"):
                el("small", "", summary.study)
                el("h1", "", summary.name, title=summary.name)
        with el("div", "cell grow"):
            self._words = el("span", "prog", data_mark="progress")
            self._ruler = el("div", "ruler", role="progressbar", label="How far the search is", aria_valuemin="0",
                             aria_valuemax="100")  # fmt: skip
            with self._ruler:
                self._filled = el("i")
        with el("div", "cell"):
            el("small", "", "On the front")
            self._front = el("b")
        with el("div", "cell hv"):
            el("small", "", "Hypervolume")
            self._hypervolume = ui.html("", sanitize=False)
        with el("div", "run-do"):
            self._stop = button("Stop", self._stopped, mark="stop", label=f"Stop {summary.name}")
            self._resume = button("Resume", self._resumed, mark="resume", label=f"Resume {summary.name}")

    def show(self, summary: RunSummary, lines: Sequence[Mapping[str, Any]]) -> None:
        """Show a run as it stands."""
        self._words.say(progress_words(summary))
        share = f"{100 * share_done(summary):.1f}"
        self._filled.style(f"width:{share}%")
        self._ruler.attribute("aria-valuenow", str(round(float(share))))
        self._front.say(f"{summary.front_size:,}")
        self._hypervolume.set_content(hypervolume_svg(lines))
        self._stop.show(summary.state in AT_WORK)
        self._resume.show(summary.state in (STOPPED, FAILED))

    async def _stopped(self) -> None:
        await told(self.desk.stop, self.name)
        tell("The run ends within seconds. What it has found is kept, and Resume goes on from there.")
        self._after()

    async def _resumed(self) -> None:
        await told(self.desk.resume, self.name)
        self._after()


def run_notice(summary: RunSummary, place: Node) -> None:
    """The line that helps with a run's state, or nothing."""
    words = help_words(summary)
    place.say(words)
    place.show(bool(words))
    place.classes(add="bad" if summary.state in (FAILED, DAMAGED) else "",
                  remove="" if summary.state in (FAILED, DAMAGED) else "bad")  # fmt: skip
