"""The trade-offs: every pair of objectives, and in the empty corner a pair of any two columns."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import Any

from nicegui import ui

from sweep.page.charts import ALL, KEPT, MARKS, Colours, marks, matrix_option
from sweep.page.columns import groups, label
from sweep.page.parts import choice, el, section
from sweep.page.view import View


class TradeoffsPanel:
    """The matrix. ``picked(row)`` is called with the row that was clicked, ``pair_changed`` after another pair was chosen."""

    def __init__(self, view: View, colours: Colours, picked: Callable[[int], Any], pair_changed: Callable[[], Any]) -> None:
        self.view, self.colours, self._picked, self._pair_changed = view, colours, picked, pair_changed
        with section("Trade-offs", "b-mat") as row:
            with row, el("ul", "key", label="What the marks mean"):
                for sign, text, words in (("dot kept", "", "kept"), ("dot rest", "", "others"), ("dia", "", "baseline"),
                                          ("ltr", "A", "shortlist"), ("ring", "", "picked")):  # fmt: skip
                    with el("li"):
                        el("i", sign, text, aria_hidden="true")
                        el("span", "", words)
            with el("div", "mx-box"):
                self.layers = {layer: ui.echart(matrix_option(view, colours, layer)).classes(f"mx mx-{layer}").mark(layer)
                               for layer in (ALL, KEPT, MARKS)}  # fmt: skip
                self.layers[ALL].on("componentClick", self._clicked, ["value"])
                with el("div", "pair"):
                    found = groups(view.frame).items()
                    options = {title: [(name, label(name)) for name in names] for title, names in found}
                    choice(options, view.up, lambda name: self._chosen("up", name), mark="up",
                           label="Upwards in the free chart")  # fmt: skip
                    el("span", "", "over")
                    choice(options, view.across, lambda name: self._chosen("across", name), mark="across",
                           label="Across in the free chart")  # fmt: skip

    def draw(self) -> None:
        """The matrix anew, without its points."""
        for layer, chart in self.layers.items():
            chart.run_chart_method("setOption", matrix_option(self.view, self.colours, layer), {"notMerge": True})

    def apply(self) -> None:
        """Show what the limits keep: only the filter is sent."""
        kept = {"id": "kept", "transform": {"type": "filter", "config": self.view.chart_filter()}}
        self.layers[KEPT].run_chart_method("setOption", {"dataset": [kept]})

    def mark(self, shortlist: Sequence[str], baseline: Mapping[str, Any] | None) -> None:
        """Show baseline, picked design and shortlist."""
        self.layers[MARKS].run_chart_method("setOption", {"series": marks(self.view, shortlist, baseline)})

    def _clicked(self, event: Any) -> None:
        value = event.args.get("value")
        if isinstance(value, list) and value:
            self._picked(int(value[0]))

    def _chosen(self, which: str, name: str) -> None:
        if name in self.view.frame:
            setattr(self.view, which, name)
            self._pair_changed()
