"""A new study: a form, the study's file beside it, both the same thing; errors stand at their field."""

from __future__ import annotations

from collections.abc import Mapping

from nicegui import ui

from sweep.errors import BadInput, Fault
from sweep.page.form_fields import PICK, Field, groups, parsed, place_of, read, write
from sweep.page.parts import Node, button, choice, el, link, notice, text_area, text_field
from sweep.page.routes import run_page
from sweep.page.shell import TOLD, Shell, off_loop, tell
from sweep.service.desk import Desk

EMPTY = """name = "my wheel"

[robot]
kind = "balancing"
mass_kg = 9.0
centre_of_mass_height_m = 0.4
body_gyration_m = 0.2
recover_lean_deg = 5.0
top_speed_m_per_s = 0.8
sideways_speed_m_per_s = 0.5
floor = "tile"

[search]
evaluations = 6000
"""
OWN = "empty"
LINES = 34


async def form_page(desk: Desk, given: Mapping[str, str]) -> None:
    """Build the page of a new study; ``given`` may name a run (``run``) or a shipped study (``from``) to begin with."""
    shell = Shell()
    shipped: dict[str, str] = {}
    text, trouble = EMPTY, ""
    try:
        shipped = await off_loop(desk.shipped_studies)
        if "run" in given:
            text = await off_loop(desk.study_text, given["run"])
        else:
            text = shipped.get(given.get("from", ""), next(iter(shipped.values()), EMPTY))
    except TOLD as error:
        trouble = str(error)
    with shell.frame("New study", "form-page"):
        page = StudyForm(desk, shipped, text)
        page.build(given, trouble)
    await ui.context.client.connected()
    await shell.begin()
    await page.check()


class StudyForm:
    """Form and file; ``text`` is the study as it stands."""

    def __init__(self, desk: Desk, shipped: Mapping[str, str], text: str) -> None:
        self.desk, self.shipped, self.text = desk, shipped, text
        self.groups = groups()
        self.fields: dict[str, Field] = {field.name: field for _, _, fields in self.groups for field in fields}
        self.inputs: dict[str, Node] = {}
        self.errors: dict[str, Node] = {}
        self.rows: dict[str, Node] = {}
        self.faults: list[Fault] = []
        self._asked = 0

    def build(self, given: Mapping[str, str], trouble: str) -> None:
        """Put form and file together."""
        with el("div", "page-head"):
            el("h1", "", "New study")
            options = [(name, name.replace("_", " ")) for name in self.shipped] + [(OWN, "an empty one")]
            if "run" in given:
                options.insert(0, ("", f"that of {given['run']}"))
            with el("label", "begin"):
                el("span", "", "Begin with")
                chosen = given.get("from", "" if "run" in given else next(iter(self.shipped), OWN))
                choice(options, chosen, self._begin, mark="begin")
        if trouble:
            notice(trouble, "bad")
        with el("div", "form-cols"):
            with el("div", "form"):
                for title, words, fields in self.groups:
                    with el("fieldset", "group"):
                        el("legend", "", title)
                        if words:
                            el("p", "faint", words)
                        with el("div", "group-fields"):
                            for field in fields:
                                self._field(field)
            with el("section", "file", label="The study's file"):
                el("h2", "", "The study's file")
                el("p", "faint", "What the form says stands here, and the other way round. Duties, materials, motors, limits "
                                 "and the baseline are written here.")  # fmt: skip
                with el("div", role="status"):
                    self._faults = el("ul", "faults")
                self.file = text_area(self.text, self._file_changed, mark="toml", classes="toml", rows=str(LINES),
                                      spellcheck="false", label="Study as TOML")  # fmt: skip
                with el("div", "form-end"):
                    button("Start the sweep", self._submit, mark="submit", classes="main")
                    link("Cancel", "/", classes="b")
                    self._state = el("span", "faint", "", role="status", data_mark="form-state")
        self._show_values()

    def _field(self, field: Field) -> None:
        with el("div", "f") as row:
            with el("label") as named:
                el("span", "", field.words)
                if field.unit:
                    el("small", "", field.unit)

            def changed(text: str) -> object:
                return self._field_changed(field, text)

            if field.kind == PICK:
                made = choice([("", "choose"), *((option, option.replace("_", " ")) for option in field.options)], "", changed,
                              mark=field.name)  # fmt: skip
            else:
                made = text_field("", changed, mark=field.name, placeholder=field.hint or None)
            self.inputs[field.name] = made
            self.errors[field.name] = error = el("p", "error", "", data_mark=f"error-{field.name}")
            named._props["for"] = made.html_id
            made._props["aria-describedby"] = error.html_id
        self.rows[field.name] = row

    def _show_values(self) -> None:
        """The fields as the file has them."""
        document = parsed(self.text)
        if document is None:
            return
        robot = document.get("robot")
        kind = str(robot.get("kind", "")) if isinstance(robot, Mapping) else ""
        for name, field in self.fields.items():
            text = read(document, field)
            self.inputs[name].put(text)
            self.rows[name].show(not field.only or not kind or field.only == kind or bool(text))

    async def _field_changed(self, field: Field, text: str) -> None:
        document = parsed(self.text)
        if document is None:
            tell("The file is no TOML as it stands: mend it first.", bad=True)
            return
        write(document, field, text)
        self.text = document.as_string()
        self._show_file()
        self._show_values()
        await self.check()

    async def _file_changed(self, text: str) -> None:
        self.text = text
        self._show_values()
        await self.check()

    def _show_file(self) -> None:
        self.file.put(self.text)

    async def _begin(self, name: str) -> None:
        self.text = self.shipped.get(name, EMPTY)
        self._show_file()
        self._show_values()
        await self.check()

    async def check(self) -> None:
        """Look the study over, and show each fault at its field."""
        self._asked += 1
        asked = self._asked
        faults = await off_loop(self.desk.faults_of, self.text)
        if asked == self._asked:
            self._show_faults(faults)

    def _show_faults(self, faults: list[Fault]) -> None:
        self.faults = faults
        at: dict[str, list[str]] = {}
        elsewhere = []
        for fault in faults:
            place = place_of(fault, list(self.fields.values()))
            words = f"{fault.rule}{f', got {fault.value}' if fault.value else ''}{f'; {fault.remedy}' if fault.remedy else ''}"
            if place:
                at.setdefault(place, []).append(words[:1].upper() + words[1:] + ".")
            else:
                elsewhere.append(str(fault))
        for name, error in self.errors.items():
            error.say(" ".join(at.get(name, [])))
            self.inputs[name].attribute("aria-invalid", "true" if name in at else None)
            if name in at:
                self.rows[name].show(True)
        self._faults.clear()
        with self._faults:
            for text in elsewhere:
                el("li", "", text)
        count = len(faults)
        self._state.say("The study is sound." if not count else f"{count} {'fault' if count == 1 else 'faults'} to mend.")

    async def _submit(self) -> None:
        await self.check()
        if self.faults:
            first = next((name for name in self.fields if self.errors[name]._text), "")
            if first:
                self.inputs[first].run_method("focus")
            tell("The study has faults: each stands at its field, the others above the file.", bad=True)
            return
        self._state.say("Starting …")
        try:
            name = await off_loop(self.desk.submit, self.text)
        except BadInput as error:
            self._show_faults(list(error.faults))
            tell("The study has faults: each stands at its field, the others above the file.", bad=True)
        except TOLD as error:
            self._state.say("Not started.")
            tell(str(error), bad=True)
        else:
            ui.navigate.to(run_page(name))
