"""The table of designs: what the limits keep, columns by choice."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from nicegui import ui

from sweep.page.columns import NAMES, decimals, groups, is_word, label, meaning, unit
from sweep.page.parts import button, checkbox, el, section
from sweep.page.view import View

Column = dict[str, Any]
#: shorter words for heads that would be broken
HEADS = {
    "output_roller_count": "Output rollers", "hub_roller_count": "Hub rollers", "wheel_diameter_mm": "Wheel Ø",
    "skew_angle_deg": "Skew", "print_time_h": "Print time", "binding_clearance_mm": "Binding room",
    "torque_capacity_Nm": "Torque", "friction_loss_W": "Loss",
}  # fmt: skip
#: widths [px] of a number, a word, an id
NUMBER, WORD, ID = 76, 104, 104
LETTER, ROOM = 7.2, 22
CHOSEN = "design-chosen"
NUMBER_TEXT = "p => p.value == null ? '-' : p.value >= 1e9 ? 'no end' : p.value.toFixed({})"


class TablePanel:
    """The table. ``picked(design)`` is called when a row is chosen, ``columns_changed`` after columns were."""

    def __init__(self, view: View, picked: Callable[[str], Any], columns_changed: Callable[[], Any],
                 save: Callable[[], Any]) -> None:  # fmt: skip
        self.view, self._columns_changed = view, columns_changed
        self._chosen: str | None = None  # the row that was chosen here last
        with section("Designs", "b-tab", "What the limits keep. Arrow keys move, Space picks, a head sorts.") as row:
            with row:
                el("span", "grow")
                self._open = button("Columns", self._toggle, mark="columns", aria_expanded="false")
                button("Save as CSV", save, mark="csv")
            self._chooser = el("div", "chooser")
            self._chooser.set_visibility(False)
            self.grid = ui.aggrid(
                {
                    "columnDefs": self.definitions(), "rowData": [], "animateRows": False, "rowBuffer": 3,
                    "defaultColDef": {"resizable": True, "wrapHeaderText": True, "autoHeaderHeight": True, "sortable": True,
                                      "suppressHeaderMenuButton": True, "suppressHeaderFilterButton": True,
                                      "minWidth": 56},
                    "rowSelection": {"mode": "singleRow", "checkboxes": False, "enableClickSelection": True},
                    ":onSelectionChanged": f"e => e.api.getSelectedRows().forEach(r => emitEvent('{CHOSEN}', r.design))",
                    "suppressDragLeaveHidesColumns": True, "suppressMovableColumns": True,
                    ":getRowId": "p => String(p.data.design)", ":tabToNextHeader": "() => false",
                    ":tabToNextCell": "() => false", "overlayNoRowsTemplate": "No design holds all limits: lift one.",
                },
                auto_size_columns=False,
            ).mark("grid")  # fmt: skip

            def chosen(event: Any) -> None:
                self._chosen = str(event.args)
                picked(self._chosen)

            ui.on(CHOSEN, chosen)

    def definitions(self) -> list[Column]:
        """The columns as the table takes them; limited ones that are not shown are there unseen, for the filter."""
        hidden = [name for name in self.view.extra if name not in self.view.columns]
        missing = [name for name in NAMES if name not in self.view.columns]
        first: Column = {"field": "design", "headerName": "Design", "width": ID, "pinned": "left",
                         "headerTooltip": "Id of the design"}  # fmt: skip
        return [first, *(self._column(name) for name in self.view.columns),
                *({**self._column(name), "hide": True} for name in [*missing, *hidden])]  # fmt: skip

    def _column(self, name: str) -> Column:
        head = HEADS.get(name, label(name)) + (f" [{unit(name)}]".replace("N m", "N\u00a0m") if unit(name) else "")
        column: Column = {"field": name, "headerName": head, "headerTooltip": meaning(name) or label(name)}
        if is_word(self.view.frame[name]):
            return column | {"filter": "agTextColumnFilter", "filterParams": {"maxNumConditions": 40, "caseSensitive": True},
                             "width": WORD}  # fmt: skip
        return column | {
            "filter": "agNumberColumnFilter", "filterParams": {"inRangeInclusive": True},
            "width": max(NUMBER, round(ROOM + LETTER * max(map(len, head.split(" "))))),
            ":valueFormatter": NUMBER_TEXT.format(decimals(*self.view.span(name), name)), "cellStyle": {"textAlign": "right"},
            "headerClass": "ag-right-aligned-header", "sortingOrder": ["desc", "asc", None],
        }  # fmt: skip

    def fields(self) -> list[str]:
        """Columns that rows have to hold."""
        return list(dict.fromkeys([*self.view.columns, *NAMES, *self.view.extra]))

    def apply(self) -> None:
        """Show what the limits keep: only the filter is sent."""
        self.grid.run_grid_method("setFilterModel", self.view.table_filter())

    def select(self, design: str | None) -> None:
        """Select the picked design where it is listed, unless it was chosen here: a late answer would undo the next choice."""
        if design is not None and design == self.view.picked and design != self._chosen:
            self._chosen = None
            ui.run_javascript(f"wheel.select({self.grid.id}, {design!r})")

    def _toggle(self) -> None:
        shown = not self._chooser.visible
        self._chooser.set_visibility(shown)
        self._open.attribute("aria-expanded", str(shown).lower())
        if shown and not list(self._chooser):
            self._fill()

    def _fill(self) -> None:
        with self._chooser:
            for title, names in groups(self.view.frame).items():
                with el("fieldset"):
                    el("legend", "", title)
                    for name in names:
                        self._box(name)

    def _box(self, name: str) -> None:
        checkbox(label(name), name in self.view.columns, lambda on: self._ticked(name, on), mark=f"column-{name}",
                 title=meaning(name))  # fmt: skip

    def _ticked(self, name: str, on: bool) -> None:
        shown = set(self.view.columns) | {name} if on else set(self.view.columns) - {name}
        ordered = [one for names in groups(self.view.frame).values() for one in names]
        before = [one for one in self.view.columns if one in shown]
        self.view.columns = before + [one for one in ordered if one in shown and one not in before]
        self._columns_changed()
        if on:
            self.grid.run_grid_method("ensureColumnVisible", name)

