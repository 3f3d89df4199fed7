"""The limits: an axis for each column, better to the right, with the fields that do what its brush does; names to keep."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

from nicegui import ui

from sweep.page.charts import Colours, axes_option, ends
from sweep.page.columns import NAMES, decimals, group, groups, is_word, label, maximised, meaning, unit
from sweep.page.parts import Node, button, choice, el, fill_choice, section, text_field
from sweep.page.view import View, number_in

#: a brush that reaches this near to an axis's end has no limit there, as a share of the axis
NEAR_END = 0.015
SIDES = ("low", "high")
WORDS = {"low": "at least", "high": "at most"}
#: height of an axis's row [px]
ROW_HEIGHT = 82
ADD = "add"


class LimitsPanel:
    """Fields, axes and counts of the limits. ``changed(source)`` is called with what changed: a column, "axis" or "all"."""

    def __init__(self, view: View, colours: Colours, changed: Callable[[str], Any], rows_changed: Callable[[], Any],
                 baseline: Callable[[], Any]) -> None:  # fmt: skip
        self.view, self.colours, self._changed, self._rows_changed = view, colours, changed, rows_changed
        self.fields: dict[tuple[str, str], Node] = {}
        self.gains: dict[str, Node] = {}
        self.words: dict[tuple[str, str], Node] = {}
        with section("Limits", "b-lim", "Better is to the right") as row:
            with row, el("div", "keptn", role="status"):
                self.count = el("b", "", "", id="count").mark("count")
                self.of = el("span")
            with el("div", "sieve-box"), el("div", "sieve") as self.sieve:
                self.rows = el("div", "sieve-rows")
                self.axes = ui.echart(axes_option(view, colours)).classes("ax").mark("axes")
                self.axes.on("chart:axisareaselected", self._brushed, ["parallelAxisId", "intervals"])
            self.named = el("div", "named")
            with el("div", "lim-foot"):
                self._more = choice([], ADD, self._add, mark="add-limit", label="Limit something else")
                self._beat = button("Beat the baseline", baseline, mark="beat",
                                    title="Limits at the baseline's own numbers: what is left is no worse in any objective")
                button("Lift all limits", self._lift, mark="lift")
        self.build_rows()

    def build_rows(self) -> None:
        """Rows for the columns that have one, in place of those there are; the axes with them."""
        self.fields.clear()
        self.gains.clear()
        self.words.clear()
        self.rows.clear()
        self.named.clear()
        self.sieve.style(f"min-height:{ROW_HEIGHT * len(self.view.axes)}px")
        with self.rows:
            for name in self.view.axes:
                self._row(name)
        with self.named:
            for name in self.view.word_rows:
                self._names(name)
        options: dict[str, list[tuple[str, str]]] = {"": [(ADD, "Limit something else …")]}
        for title, names in groups(self.view.frame).items():
            left = [(name, label(name)) for name in names if name not in NAMES and name not in self.view.extra]
            if left:
                options[title] = left
        fill_choice(self._more, options, ADD)

    def draw(self) -> None:
        """The axes anew, without their lines."""
        self.axes.run_chart_method("setOption", axes_option(self.view, self.colours), {"notMerge": True})

    def _row(self, name: str) -> None:
        worst, best = ("high", "low") if maximised(name) is False else ("low", "high")
        with el("div", "lim-row"):
            with el("div", "lab"):
                el("strong", "", label(name), title=meaning(name))
                with el("label"):
                    el("span", "", WORDS[worst])
                    self._field(name, worst)
                    el("span", "", unit(name))
                with el("div", "gain-line"):
                    self.gains[name] = el("span", "gain")
                    if group(name) != "Objectives":
                        words = f"Remove the limit on {label(name)}"
                        button("Remove", lambda: self._remove(name), classes="small", label=words)
            with el("div", "end"), el("label"):
                el("span", "", WORDS[best])
                self._field(name, best)

    def _field(self, name: str, side: str) -> None:
        words = f"{label(name)} {WORDS[side]}" + (f", in {unit(name)}" if unit(name) else "")
        made = text_field("", lambda text: self._typed(name, side, text), mark=f"{name}-{side}", inputmode="decimal",
                          placeholder="any", label=words)  # fmt: skip
        self.fields[name, side] = made

    def _names(self, name: str) -> None:
        with el("fieldset", "names"):
            el("legend", "", label(name))
            self.gains[name] = el("span", "gain")
            for option in self.view.options(name):
                made = button(option or "none", lambda option=option: self._toggled(name, option), classes="small",
                              mark=f"{name}-{option}", aria_pressed="false")  # fmt: skip
                self.words[name, option] = made
            button("Remove", lambda: self._remove(name), classes="small plain", label=f"Remove the limit on {label(name)}")

    def apply(self, source: str) -> None:
        """Show what the view holds; ``source`` is what changed it, so that nothing is sent that is there already."""
        kept, whole = int(self.view.mask().sum()), len(self.view.frame)
        self.count.say(f"{kept:,}")
        self.of.say(f"kept of {whole:,}")
        regained = self.view.regained()
        for name in self.view.axes:
            held = self.view.limits.get(name)
            for side, value in zip(SIDES, held or (None, None), strict=True):
                field = self.fields[name, side]
                text = "" if value is None else f"{value:.{decimals(*self.view.span(name), name)}f}"
                if field.known != text or source == name:
                    field.put(text, force=source == name)
                    field.classes(add="on" if text else "", remove="" if text else "on")
        for name, gain in self.gains.items():
            gain.say(f"+{regained[name]:,} if lifted" if name in regained else "")
        for (name, option), made in self.words.items():
            held_names = self.view.names.get(name)
            made.attribute("aria-pressed", str(held_names is not None and option in held_names).lower())
        if source != "axis":
            self._cover(self.view.axes if source == "all" else [source] if source in self.view.axes else [])

    def _cover(self, names: Sequence[str]) -> None:
        """Bring the axes' covers in line with the limits."""
        if not names:
            return
        for name in names:
            low, high = ends(self.view, name)
            held = self.view.limits.get(name)
            intervals = []
            if held is not None:
                intervals = [[low if held.low is None else held.low, high if held.high is None else held.high]]
            action = {"type": "axisAreaSelect", "parallelAxisId": name, "intervals": intervals}
            self.axes.run_chart_method("dispatchAction", action, {"silent": True})
        self.axes.run_chart_method("setOption", {})  # the action leaves out the cover of the axis it names; this draws it

    def _brushed(self, event: Any) -> None:
        name, intervals = str(event.args["parallelAxisId"]), event.args["intervals"]
        if name not in self.view.axes:
            return
        if not intervals:
            self.view.limit(name)
        else:
            low, high = sorted(float(end) for end in intervals[0])
            first, last = ends(self.view, name)
            places, near = decimals(*self.view.span(name), name), (last - first) * NEAR_END
            self.view.limit(name, None if low <= first + near else round(low, places),
                            None if high >= last - near else round(high, places))  # fmt: skip
        self._changed("axis")

    def _typed(self, name: str, side: str, text: str) -> None:
        low, high = self.view.limits.get(name, (None, None))
        value = number_in(text)
        self.view.limit(name, *((value, high) if side == "low" else (low, value)))
        self._changed(name)

    def _toggled(self, name: str, option: str) -> None:
        kept = set(self.view.names.get(name, ()))
        self.view.keep(name, tuple(kept ^ {option}))
        self._changed("names")

    def _add(self, name: str) -> None:
        if name in self.view.frame:
            self.view.add(name)
            self._rows_changed()
            first = self.fields.get((name, "low"))
            if first is not None and not is_word(self.view.frame[name]):
                first.run_method("focus")

    def _remove(self, name: str) -> None:
        self.view.take_away(name)
        self._rows_changed()

    def _lift(self) -> None:
        self.view.lift()
        self._changed("all")
