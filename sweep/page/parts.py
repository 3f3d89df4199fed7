"""Small pieces that pages are put together from: plain HTML elements with words for screen readers."""

from __future__ import annotations

import contextlib
import json
from collections.abc import Awaitable, Callable, Iterator, Mapping, Sequence
from html import escape
from typing import Any

from nicegui import ui
from nicegui.element import Element

#: what a field sends when its value was changed
VALUE = "(event) => emit(event.target.value)"
CHECKED = "(event) => emit(event.target.checked)"
Handler = Callable[[], Any] | Callable[[], Awaitable[Any]]


class Node(Element):
    """An HTML element whose text can be changed, and a field whose value can be.

    A field's value is no property: every redrawing of the page would put it back, under the fingers of whoever is typing.
    """

    known = ""  # the value as the browser has it

    def put(self, value: str, force: bool = False) -> Node:
        """Put a value into a field; nothing is sent where the browser has it, unless forced."""
        if force or self.known != value:
            self.known = value
            self.client.run_javascript(f"wheel.put({self.id}, {json.dumps(value)})")
        return self

    def changes(self, act: Callable[[str], Any]) -> Node:
        """Call with the value whenever it was changed."""

        def changed(event: Any) -> Any:
            self.known = str(event.args)
            return act(self.known)

        self.on("change", changed, js_handler=VALUE)
        return self

    def say(self, text: str) -> Node:
        """Put text in place of the one it has; nothing is sent where it is the same."""
        if self._text != text:
            self._text = text
            self.update()
        return self

    def attribute(self, name: str, value: object) -> Node:
        """Set an attribute, or take it away with None; nothing is sent where it is the same."""
        if value is None:
            if name in self._props:
                del self._props[name]
                self.update()
        elif self._props.get(name) != value:
            self._props[name] = value
            self.update()
        return self

    def show(self, shown: bool) -> Node:
        """Show or hide it."""
        if self.visible != shown:
            self.set_visibility(shown)
        return self


def el(tag: str, classes: str = "", text: str | None = None, **attributes: object) -> Node:
    """An element. Attributes with a dash are written with an underscore; ``label`` is what is read out."""
    made = Node(tag)
    if classes:
        made.classes(classes)
    if text is not None:
        made._text = text
    for name, value in attributes.items():
        if value is not None:
            made._props["aria-label" if name == "label" else name.rstrip("_").replace("_", "-")] = value
    return made


def button(text: str, act: Handler, *, mark: str = "", classes: str = "", **attributes: Any) -> Node:
    """A button; ``mark`` is what tests find it by."""
    made = el("button", f"b {classes}".strip(), text, type="button", **attributes)
    made.on("click", lambda _: act())
    if mark:
        made.mark(mark)
        made._props["data-mark"] = mark
    return made


def link(text: str, to: str, *, classes: str = "", **attributes: object) -> Node:
    """A link."""
    return el("a", classes, text, href=to, **attributes)


def text_field(value: str, change: Callable[[str], Any], *, mark: str = "", classes: str = "n", **attributes: Any) -> Node:
    """A field of one line that tells its text when it was changed."""
    given: dict[str, Any] = {"type": "text", "autocomplete": "off", **attributes}
    made = el("input", classes, **given).changes(change)
    made._props["^value"] = made.known = value  # as an attribute: what it begins with
    if mark:
        made.mark(mark)
        made._props["data-mark"] = mark
    return made


def choice(
    options: Mapping[str, Sequence[tuple[str, str]]] | Sequence[tuple[str, str]], value: str, change: Callable[[str], Any],
    *, mark: str = "", classes: str = "s", **attributes: Any,
) -> Node:  # fmt: skip
    """A native list to choose from: pairs of value and text, in groups where a mapping is given."""
    made = el("select", classes, **attributes)
    made.changes(change)
    if mark:
        made.mark(mark)
        made._props["data-mark"] = mark
    fill_choice(made, options, value)
    return made


def fill_choice(
    made: Node, options: Mapping[str, Sequence[tuple[str, str]]] | Sequence[tuple[str, str]], value: str
) -> None:
    """Put options into a list, in place of those it has. They are text: every element costs at each redrawing of the page."""
    if isinstance(options, Mapping):
        inner = "".join(
            f'<optgroup label="{escape(title)}">{_options(entries, value)}</optgroup>' if title else _options(entries, value)
            for title, entries in options.items()
        )
    else:
        inner = _options(options, value)
    if made._props.get("innerHTML") == inner:  # chosen from meanwhile: back to what it began with
        made.put(value, force=True)
        return
    made._props["innerHTML"] = inner
    made.known = value
    made.update()


def _options(entries: Sequence[tuple[str, str]], value: str) -> str:
    return "".join(
        f'<option value="{escape(given)}"{" selected" * (given == value)}>{escape(text)}</option>' for given, text in entries
    )


def text_area(value: str, change: Callable[[str], Any], *, mark: str, classes: str, **attributes: Any) -> Node:
    """A field of several lines that tells its text when it was changed."""
    made = el("textarea", classes, value, **attributes).changes(change)
    made.known = value
    made.mark(mark)
    made._props["data-mark"] = mark
    return made


def checkbox(text: str, ticked: bool, change: Callable[[bool], Any], *, mark: str = "", **attributes: Any) -> Node:
    """A box to tick with its text."""
    with el("label", "tick") as whole:
        box = el("input", "", type="checkbox", **attributes)
        if ticked:
            box._props["checked"] = True
        box.on("change", lambda event: change(bool(event.args)), js_handler=CHECKED)
        if mark:
            box.mark(mark)
            box._props["data-mark"] = mark
        el("span", "", text)
    return whole


@contextlib.contextmanager
def section(title: str, classes: str = "", note: str = "") -> Iterator[Node]:
    """A part of the page with its heading; gives the heading's row."""
    with el("section", classes, label=title):
        with el("div", "h") as row:
            el("h2", "", title)
            if note:
                el("small", "", note)
        yield row


def notice(text: str, kind: str = "", *, mark: str = "") -> Node:
    """A line that helps where there is nothing to show; kind "bad" for what went wrong."""
    made = el("p", f"notice {kind}".strip(), text)
    if mark:
        made.mark(mark)
        made._props["data-mark"] = mark
    return made


def tell(text: str, bad: bool = False) -> None:
    """A short message at the page's edge, read out as well."""
    ui.notify(text, type=None, classes="told bad" if bad else "told", position="bottom", timeout=9000 if bad else 5000,
              close_button="Close", multi_line=True)  # fmt: skip
