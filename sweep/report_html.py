"""A sheet as one HTML page: figures in the page's own colours, light and dark, and all tables. Nothing is fetched."""

from __future__ import annotations

from collections.abc import Iterable
from html import escape

from sweep.figures.bars import losses_svg, moves_svg, slack_svg
from sweep.figures.grip import grip_svg, motors_svg
from sweep.figures.section import section_svg
from sweep.figures.style import DARK, LIGHT, with_variables
from sweep.report import Report
from sweep.sheet_blocks import Block

#: what stands on the second page beside the figures; the rest is folded away and not printed
TOLD = ("What to do first", "Setting the preload", "Upkeep", "Control card", "Cautions", "Validity", "What the numbers rest on")
STYLE = """
:root {{ color-scheme: light dark; {light} }}
@media (prefers-color-scheme: dark) {{ :root {{ {dark} }} }}
* {{ box-sizing: border-box; }}
body {{ font: 15px/1.45 system-ui, sans-serif; margin: 0 auto; max-width: 62rem; padding: 1.2rem; color: var(--ink);
  background: var(--paper); overflow-wrap: anywhere; }}
h1 {{ font-size: 1.5rem; margin: 0; }}
h2 {{ font-size: 1.05rem; margin: 1.4rem 0 .3rem; }}
p {{ margin: .3rem 0; }}
.of {{ color: var(--soft); margin: 0 0 .8rem; }}
.broken {{ border-left: .3rem solid var(--baseline); padding-left: .6rem; font-weight: 600; }}
figure {{ margin: 1rem 0; overflow-x: auto; }}
figure svg {{ display: block; width: 100%; height: auto; min-width: 20rem; }}
figcaption {{ color: var(--soft); font-size: .87rem; }}
.pair {{ display: grid; grid-template-columns: 1fr 1fr; gap: 1.2rem; align-items: start; }}
.wide {{ overflow-x: auto; }}
table {{ border-collapse: collapse; font-size: .87rem; font-variant-numeric: tabular-nums; }}
th, td {{ text-align: left; padding: .16rem .9rem .16rem 0; vertical-align: top; border-bottom: 1px solid var(--line);
  white-space: pre-line; overflow-wrap: normal; }}
th {{ font-weight: 600; }}
.num {{ text-align: right; }}
ul {{ margin: .3rem 0; padding-left: 1.1rem; }}
summary {{ cursor: pointer; font-weight: 600; padding: .6rem 0; }}
:focus-visible {{ outline: 2px solid var(--design); outline-offset: 2px; }}
@media (max-width: 44rem) {{ .pair {{ grid-template-columns: 1fr; }} }}
@page {{ size: A4; margin: 11mm; }}
@media print {{
  :root {{ {light} }}
  body {{ font-size: 7pt; line-height: 1.22; max-width: none; padding: 0; }}
  h1 {{ font-size: 14pt; }}
  h2 {{ font-size: 9.5pt; margin: .5rem 0 .1rem; }}
  figure {{ margin: .3rem 0; break-inside: avoid; }}
  figcaption {{ font-size: 7pt; }}
  figure svg {{ max-height: 62mm; }}
  .section svg {{ max-height: 84mm; }}
  .motors svg {{ max-height: 40mm; }}
  table {{ font-size: 6.6pt; }}
  td, th {{ padding-block: 0; }}
  .pair {{ grid-template-columns: 1fr 1fr; }}
  .second {{ break-before: page; }}
  details {{ display: none; }}
}}
"""
PAGE = """<!DOCTYPE html>
<html lang="en">
<head>
<meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1">
<title>{title}</title>
<style>{style}</style>
</head>
<body>
<main>
<h1>{heading}</h1>
<p class="of">{subtitle}</p>
{opening}
<section aria-label="Objectives">
{objectives}
</section>
<figure class="section">
{section}
</figure>
<figure>
{grip}
<figcaption>Left: positions that the wheel passes through while it drives in each direction, through the worst of those looked
at. Right: the lowest limit in each direction; the smallest of friction, motors and floor counts.</figcaption>
</figure>
<figure class="motors">
{motors}
<figcaption>At the force and speed of the robot's own effort in each direction; torque and speed at the gearbox
output.</figcaption>
</figure>
<div class="second">
<div class="pair">
<figure>
{losses}
</figure>
<figure>
{slack}
</figure>
</div>
<figure>
{moves}
</figure>
<div class="pair">
{told}
</div>
</div>
<details>
<summary>All tables: geometry, limits, load cases, losses, constraints, steps, motors</summary>
{rest}
</details>
</main>
</body>
</html>
"""


def page(report: Report) -> str:
    """The page of a report."""
    sheet, sections = report.sheet, report.sections
    name, study = str(sheet.design["design"]), sheet.study.name
    style = STYLE.format(light=_variables(LIGHT), dark=_variables(DARK))
    told = {title: blocks for title, blocks in sections.items() if title.startswith(TOLD)}
    rest = {title: blocks for title, blocks in sections.items() if title and title not in told and title != "Objectives"}
    left = {title: blocks for title, blocks in told.items() if title.startswith(TOLD[:4])}
    right = {title: blocks for title, blocks in told.items() if title not in left}
    opening = "".join(f'<p class="broken">{escape(block.text)}</p>' for block in sections[""][1:])
    return PAGE.format(
        title=escape(f"{name}, {study}"),
        style=style,
        heading=escape(f"Design {name}"),
        subtitle=escape(f"{study}, at {sheet.phases} positions of the wheel"),
        opening=opening,
        objectives=_blocks(sections.get("Objectives", [])),
        section=with_variables(section_svg(report.shape)),
        grip=with_variables(grip_svg(report.passes, report.cases, ring=report.ring)),
        motors=with_variables(motors_svg(report.ring)),
        losses=with_variables(losses_svg(report.losses, baseline=report.baseline_losses)),
        slack=with_variables(slack_svg(sheet.rooms)),
        moves=with_variables(moves_svg(sheet.steps)),
        told="\n".join(f"<div>{_sections(half)}</div>" for half in (left, right)),
        rest=_sections(rest),
    )


def _variables(theme: dict[str, str]) -> str:
    return " ".join(f"--{name}: {colour};" for name, colour in theme.items())


def _sections(sections: dict[str, list[Block]]) -> str:
    return "\n".join(f"<h2>{escape(title)}</h2>\n{_blocks(blocks)}" for title, blocks in sections.items())


def _blocks(blocks: Iterable[Block]) -> str:
    parts, points = [], list[str]()
    for block in [*blocks, Block("end")]:
        if block.kind == "point":
            points.append(f"<li>{escape(block.text)}</li>")
            continue
        if points:
            parts.append(f"<ul>{''.join(points)}</ul>")
            points = []
        if block.kind == "table":
            parts.append(_table(block))
        elif block.text:
            parts.append(f"<p>{escape(block.text)}</p>")
    return "\n".join(parts)


def _table(block: Block) -> str:
    kinds = [' class="num"' if numeric else "" for numeric in block.numeric]

    def line(cells: Iterable[str], tag: str) -> str:
        shown = [
            f'<th scope="row">{escape(cell)}</th>' if tag == "td" and i == 0 and cell else
            f'<th scope="col"{kind}>{escape(cell)}</th>' if tag == "th" and cell else f"<td{kind}>{escape(cell)}</td>"
            for i, (cell, kind) in enumerate(zip(cells, kinds, strict=True))
        ]  # fmt: skip
        return f"<tr>{''.join(shown)}</tr>"

    head = f"<thead>{line(block.head, 'th')}</thead>" if block.head else ""
    return f'<div class="wide"><table>{head}<tbody>{"".join(line(row, "td") for row in block.rows)}</tbody></table></div>'
