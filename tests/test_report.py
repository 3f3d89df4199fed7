"""Sheets as page and document, and their figures: read back against the data and against the mechanics."""

from __future__ import annotations

import io
import math
import re
from collections import Counter
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from html.parser import HTMLParser
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from objectives.scoring import evaluate
from sweep.designs import baseline_designs
from sweep.errors import BadInput
from sweep.figures.bars import losses_figure, losses_svg, moves_figure, slack_figure
from sweep.figures.grip import grip_figure, motors_figure
from sweep.figures.section import section_figure
from sweep.figures.shape import hub_roller_cut, hub_roller_face
from sweep.figures.style import DARK, LIGHT
from sweep.problem import scored
from sweep.report import Report, check_ending, html_of, pdf_of, report_of, sheet_html, write_sheet
from sweep.report_html import page as page_of
from sweep.report_pdf import HIGH, WIDE, document, first_page
from sweep.sheet import Sheet, make_sheet
from sweep.study import Study, read_study
from tests.command_line import ROOT, SEARCH
from tests.stored_run import stored_run


def study_named(name: str) -> Study:
    text = (ROOT / "studies" / f"{name}.toml").read_text(encoding="utf-8")
    return read_study(text[: text.index("[search]")] + SEARCH.format(evaluations=96, phases=4), f"{name}.toml")


def sheet_with(study: Study, **changes: object) -> Sheet:
    table = baseline_designs(study)
    assert table is not None
    for name, value in changes.items():
        table[name] = value

    def full(designs: pd.DataFrame, phases: int) -> pd.DataFrame:
        return evaluate(designs, study.scenario, phases=phases, geometry_first=False)

    return make_sheet(study, scored(table, 4, full).iloc[0], None)


@pytest.fixture(scope="module")
def sheet() -> Sheet:
    return sheet_with(study_named("balancing"))


@pytest.fixture(scope="module")
def report(sheet: Sheet) -> Report:
    return report_of(sheet)


@pytest.fixture(scope="module")
def page(report: Report) -> str:
    return page_of(report)


class Reader(HTMLParser):
    """Counts ids, headings and pictures; keeps what is referred to; minds that tags close."""

    EMPTY = frozenset({"meta", "path", "use", "rect", "circle", "line", "link"})

    def __init__(self) -> None:
        super().__init__()
        self.ids: Counter[str] = Counter()
        self.references: list[str] = []
        self.tags: Counter[str] = Counter()
        self.pictures: list[str] = []
        self.open: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.handle_startendtag(tag, attrs)
        if tag not in self.EMPTY - {"path", "use"}:
            self.open.append(tag)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags[tag] += 1
        given = dict(attrs)
        if given.get("id"):
            self.ids[str(given["id"])] += 1
        self.references += [str(given[name]) for name in ("href", "src", "data") if given.get(name)]
        if tag == "svg":
            self.pictures.append(str(given.get("aria-label", "")))

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag


# figures against the data


def test_section_draws_the_wheel_at_the_scale_it_tells(report: Report) -> None:
    """Wheel over paper: the floor is a radius below the axis, an output roller as wide as it is."""
    page = first_page(report)
    axes = next(axes for axes in page.axes if "1:" in axes.get_title(loc="left"))
    scale = float(axes.get_title(loc="left").rpartition("1:")[2])
    page.canvas.draw()
    box = axes.get_position()
    for span, share, paper in ((np.diff(axes.get_xlim()), box.width, WIDE), (np.diff(axes.get_ylim()), box.height, HIGH)):
        assert float(span[0]) / (share * paper) == pytest.approx(scale, rel=1e-6)
    assert next(line for line in axes.lines if line.get_gid() == "floor").get_ydata()[0] == pytest.approx(-90.0)
    rollers = [patch for patch in axes.patches if patch.get_gid() == "output-roller"]
    assert [2 * roller.radius for roller in rollers] == pytest.approx(2 * [report.sheet.design["output_roller_diameter_mm"]])
    on_paper = [abs(axes.transData.transform((0, y))[1]) / page.dpi * 25.4 for y in (-90.0, 90.0)]
    assert (on_paper[1] - on_paper[0]) * scale == pytest.approx(report.sheet.design["wheel_diameter_mm"])


def test_front_view_has_every_roller(report: Report) -> None:
    front = section_figure(report.shape).axes[1]
    drawn = Counter(patch.get_gid() for patch in front.patches)
    assert drawn["output-roller"] == report.sheet.design["output_roller_count"]
    assert drawn["hub-roller"] == report.sheet.design["hub_roller_count"]
    lowest = min(patch.get_xy()[:, 1].min() for patch in front.patches if patch.get_gid() == "output-roller")
    assert lowest == pytest.approx(-90.0)


def test_hub_roller_touches_the_output_roller_in_the_section(report: Report) -> None:
    """The cut is an ellipse whose nearest point to the output roller's centre lies on that roller's surface."""
    cut = hub_roller_cut(report.shape, report.shape.hub_roller_radius)
    distance = np.hypot(cut[:, 0], cut[:, 1] - report.shape.pitch_radius).min()
    assert distance == pytest.approx(report.shape.roller_radius, rel=2e-3)
    face = hub_roller_face(report.shape)
    area = 0.5 * abs(float(np.sum(face[:, 0] * np.roll(face[:, 1], -1) - face[:, 1] * np.roll(face[:, 0], -1))))
    assert area < 4 * report.shape.hub_roller_radius**2 + 2 * report.shape.hub_roller_radius * report.shape.hub_roller_length


def test_grip_runs_through_the_worst_position(report: Report) -> None:
    limits = {limit.direction: limit.worst for limit in report.sheet.limits}
    axes = grip_figure(report.passes, report.cases).axes[0]
    for one in report.passes:
        drawn = next(line for line in axes.lines if line.get_gid() == one.direction).get_ydata()
        assert drawn[len(drawn) // 2] == pytest.approx(limits[one.direction], rel=1e-6)
        if "diagonal" not in one.direction:
            assert drawn[0] == pytest.approx(drawn[-1], rel=1e-3)  # a pass further the wheel stands as it did
    asked = sorted(float(line.get_ydata()[0]) for line in axes.lines if line.get_gid() == "case")
    assert asked == pytest.approx(sorted(report.sheet.assessment.cases.force[0]))


def test_ring_agrees_with_the_load_cases(report: Report) -> None:
    """Motors in the directions of the robot's own effort are those of its load cases; left exchanges the motors."""
    drive, ring = report.sheet.assessment.drive, report.ring
    at = {round(angle): k for k, angle in enumerate(ring.direction_deg[:-1])}
    for case, angle in enumerate((0, 180, 90, 45, 135)):
        assert ring.torque[at[angle]] == pytest.approx(drive.motor_torque[0, case], rel=0.15, abs=0.02)
        assert ring.motor[at[angle]] == pytest.approx(drive.motor_limit[0, case], rel=0.1)
    assert ring.speed[at[270]] == pytest.approx(ring.speed[at[90]][::-1])
    lines = {line.get_gid(): line.get_ydata() for line in motors_figure(ring).axes[0].lines}
    assert lines["right"][at[90]] == pytest.approx(-lines["left"][at[90]], rel=0.05)
    assert lines["right"][at[90]] > 0


def test_bars_are_as_long_as_the_numbers(report: Report) -> None:
    bars = losses_figure(report.losses).axes[0].patches
    widths = [bar.get_width() for bar in bars]
    assert widths == sorted(widths, reverse=True)
    assert math.fsum(widths) == pytest.approx(report.sheet.design["friction_loss_W"])
    slack = slack_figure(report.sheet.rooms).axes[0].patches
    for bar, room in zip(slack, report.sheet.rooms, strict=False):
        assert bar.get_width() == pytest.approx(min(room.relative, 3.0))


def test_steps_to_the_right_are_better(report: Report) -> None:
    figure = moves_figure(report.sheet.steps)
    mass = figure.axes[3]
    names = [label.get_text() for label in figure.axes[0].get_yticklabels()]
    row = names.index("gear module")
    up = next(step for step in report.sheet.steps if step.variable == "gear_module_mm" and step.change > 0)
    assert up.objectives["mass_kg"] > 0
    bars = [bar for bar in mass.patches if bar.get_y() < row < bar.get_y() + 0.4 or abs(bar.get_y() - (row - 0.38)) < 0.05]
    assert min(bar.get_width() for bar in bars) == pytest.approx(-up.objectives["mass_kg"])


# readability


def luminance(colour: str) -> float:
    """Relative luminance, WCAG 2.2."""
    parts = [int(colour[k : k + 2], 16) / 255 for k in (1, 3, 5)]
    linear = [part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


@pytest.mark.parametrize("theme", [LIGHT, DARK])
def test_words_and_lines_stand_out_from_the_paper(theme: dict[str, str]) -> None:
    paper = luminance(theme["paper"])
    for name in ("design", "baseline", "ink", "soft"):
        high, low = max(paper, luminance(theme[name])), min(paper, luminance(theme[name]))
        assert (high + 0.05) / (low + 0.05) >= 4.5, name


# page and document


def test_page_is_sound_and_fetches_nothing(page: str) -> None:
    reader = Reader()
    reader.feed(page)
    assert reader.open == []
    assert [name for name, count in reader.ids.items() if count > 1] == []
    assert all(reference.startswith("#") for reference in reader.references)
    assert {reference[1:] for reference in reader.references} <= set(reader.ids)
    assert set(re.findall(r"url\(#([^)]+)\)", page)) <= set(reader.ids)
    assert "@import" not in page
    assert re.findall(r"https?://[^\"' ]+", page) == ["http://www.w3.org/2000/svg"] * reader.tags["svg"]
    assert len(reader.pictures) == 6
    assert all(len(label) > 20 for label in reader.pictures)
    assert reader.tags["h1"] == 1
    assert "prefers-color-scheme: dark" in page


def test_colours_of_the_pictures_are_the_pages(page: str) -> None:
    body = page[page.index("<body") :]
    assert "var(--design)" in body
    assert not [colour for colour in LIGHT.values() if colour in body.lower()]


def test_page_says_what_the_text_says(page: str) -> None:
    for words in ("Setting the preload", "Control card", "left hub", "pinch", "Lithium", "What the numbers rest on", "tpu85a"):
        assert words in page


def test_same_bytes_for_the_same_design(sheet: Sheet, page: str) -> None:
    assert html_of(sheet) == page


def test_names_are_escaped(report: Report, page: str) -> None:
    study = replace(report.sheet.study, name="<b>a & $x_y$ " + "long " * 60)
    odd = replace(report, sheet=replace(report.sheet, study=study))
    assert "<b>" not in page_of(odd)
    assert "&lt;b&gt;a &amp; $x_y$" in page_of(odd)
    assert first_page(odd) is not None


def test_document_has_two_pages_of_a4_with_its_fonts(sheet: Sheet, report: Report) -> None:
    pypdf = pytest.importorskip("pypdf")
    written = pdf_of(sheet)
    assert document(report) == written
    reader = pypdf.PdfReader(io.BytesIO(written))
    assert len(reader.pages) == 2
    for one in reader.pages:
        assert [float(side) / 72 * 25.4 for side in one.mediabox[2:]] == pytest.approx([WIDE, HIGH], abs=0.1)
        for font in one["/Resources"]["/Font"].values():
            held = font.get_object()
            inner = held["/DescendantFonts"][0].get_object() if "/DescendantFonts" in held else held
            assert "/FontFile2" in inner["/FontDescriptor"].get_object()
    words = "".join(one.extract_text() for one in reader.pages)
    assert str(sheet.design["design"]) in words
    assert "Setting the preload" in words


def test_threads_draw_the_same(report: Report) -> None:
    alone = losses_svg(report.losses)
    with ThreadPoolExecutor(4) as pool:
        assert set(pool.map(lambda _: losses_svg(report.losses), range(8))) == {alone}


@pytest.mark.slow
@pytest.mark.parametrize(
    ("study", "changes"),
    [
        ("castered", {}),
        ("balancing", {"bore": "ball", "tyre_thickness_mm": 3.0, "crown": 1.0}),
        ("balancing", {"bore": "bushed", "tyre_thickness_mm": 3.0}),
        ("balancing", {"preload_N": 5.0}),  # far from feasible
    ],
)
def test_every_kind_of_wheel_and_robot(study: str, changes: dict[str, object]) -> None:
    made = report_of(sheet_with(study_named(study), **changes))
    text = page_of(made)
    assert text.count("<svg") == 6
    assert document(made).startswith(b"%PDF")
    if changes.get("preload_N"):
        assert "BROKEN" in text


# files


def test_a_stored_design_by_name(tmp_path: Path) -> None:
    folder = stored_run(tmp_path / "run", ROOT / "studies" / "castered.toml")
    text = sheet_html(folder, "knee")
    design: pd.Series = folder.baseline().iloc[0]  # type: ignore[union-attr]
    assert f"Design {design['design']}" in text


def test_faults_of_the_file(sheet: Sheet, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    with pytest.raises(BadInput, match=r"--out must end in \.html or \.pdf, got '\.doc'"):
        check_ending(tmp_path / "a.doc")
    with pytest.raises(BadInput, match="a folder that exists"):
        write_sheet(sheet, tmp_path / "none" / "a.html")
    write_sheet(sheet, tmp_path / "a.html")
    assert [path.name for path in tmp_path.iterdir()] == ["a.html"]
    monkeypatch.setitem(__import__("sys").modules, "matplotlib", None)
    with pytest.raises(BadInput, match=r"need matplotlib .*pip install .*\[report\]"):
        check_ending(tmp_path / "a.pdf")
