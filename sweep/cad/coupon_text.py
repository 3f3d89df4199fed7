"""The page that goes with the coupon: what to measure, and which key of the study each reading becomes."""

from __future__ import annotations

import math

from objectives.units import MPA
from sweep.cad.choice import Choice
from sweep.cad.coupon import GAUGE_CLEARANCES, MARKS, STRIP_THICKNESS, Sizes
from sweep.cad.measures import (
    bore_friction_from_wrap,
    friction_from_wrap,
    modulus_from_squash,
    modulus_from_stretch,
    squash_force,
)
from sweep.cad.parts import Assembly, Part
from sweep.show import number

#: N, that the readings are foretold for: pull on the strip, weight on it as a belt, weights on the squashed roller
STRETCH, BELT = 10.0, 2.0
SQUASHES = (20.0, 50.0, 100.0)


def squash_at(force: float, modulus: float, poisson_ratio: float, sizes: Sizes) -> float:
    """Loss of height at a force [mm]: ``squash_force`` solved for it by bisection."""
    low, high = 0.0, sizes.roller_radius
    for _ in range(50):
        middle = (low + high) / 2
        found = squash_force(modulus, poisson_ratio, middle, sizes.roller_length, sizes.outline_radius)
        low, high = (middle, high) if found < force else (low, middle)
    return high


def coupon_page(choice: Choice, assembly: Assembly, made: tuple[Part, ...]) -> str:
    """The instruction, Markdown on about a page."""
    sizes, own, scenario = Sizes.of(choice), choice.design, choice.study.scenario
    tyre = scenario.catalogue.materials[str(own["output_tyre"])]
    soft_throughout = own["bore"] == "plain"
    modulus = tyre.youngs_modulus / MPA
    stretch = STRETCH * MARKS / (sizes.strip_width * STRIP_THICKNESS * modulus)
    assert math.isclose(modulus_from_stretch(STRETCH, MARKS, sizes.strip_width, STRIP_THICKNESS, stretch), modulus)
    friction = float(choice.assessment.wheel.friction_roller[0])
    belt = BELT * math.exp(math.pi * friction)
    assert math.isclose(friction_from_wrap(belt, BELT), friction)
    gaps = ", ".join(f"{gap:g}" for gap in GAUGE_CLEARANCES)
    hub_tyre, roller = str(own["hub_tyre"]), "output_roller" if soft_throughout else "output_tyre and output_core"
    files = ", ".join(f"`{part.name}.3mf`" for part in made)
    rows = [
        f"# Coupon of {own['design']}: an evening before a week of printing",
        f"Print {files}, one {roller} and one hub_roller from `../print`, with the settings of `../print_list.csv`; the strip "
        f"solid, of {tyre.name}, from the spool that the rollers will have. Put the output roller with its side washers into "
        f"the cradle on a {sizes.axle_diameter:g} mm rod of {sizes.axle_length:.0f} mm, the hub roller with its washers and "
        f"its M{sizes.screw_diameter:g} bolt into the pocket. You need calipers, a luggage scale (1 kg is 9.81 N), a bottle "
        "to hang, two flat boards and a clamp. Let soft prints rest a day. Read everything three times and take the mean.",
        "## Does it fit?",
        f"- The hub roller must turn freely in its pocket without rattling, the bolt must bite, the output roller must turn "
        f"between its washers. Tyres: measure over them in four places; more than 0.1 mm off {2 * sizes.roller_radius:.2f} mm "
        "or out of round: tune flow and seam first.",
        f"- Holes in the cradle's tongue: {gaps} mm wider per side than the {sizes.axle_diameter:g} mm rod, in rows from the "
        "cheek outwards. The narrowest in which the rod turns freely is **`clearance_mm`** in `[printer]` "
        f"(the study counts with {sizes.clearance:g}).",
        "## What does the study get?",
        f"1. **Stiffness**, `youngs_modulus_MPa` in `[materials.{tyre.name}]`. Draw two lines {MARKS:g} mm apart on the strip. "
        f"Hang it up by one hole, pull the other with {STRETCH:g} N, wait ten seconds, measure the growth dL: "
        f"E = F L/(b t dL) = F {MARKS:g}/({sizes.strip_width:g} t dL) in N and mm, t the strip's thickness as measured (about "
        f"{STRIP_THICKNESS:g}). With the study's {number(modulus)} MPa it grows by {number(stretch)} mm.",
        *_squash(sizes, tyre.poisson_ratio, modulus, tyre.name, soft_throughout),
        f"3. **Friction between rollers**, `friction_roller` in `[materials.{tyre.name}]`"
        + (f" and `[materials.{hub_tyre}]`" if hub_tyre != tyre.name else "")
        + f". Clamp the cradle's tongue to a table, bolt the hub roller to the ear so that it cannot turn, lay the strip "
        f"half round it, hang G on one end and pull the other slowly down with F: mu = ln(F/G)/pi. At G = {BELT:g} N the "
        f"study's {friction:g} asks {number(belt)} N. Clean, then dusty: use the lower one.",
        *_bore(sizes, tyre.friction_bore, tyre.name, soft_throughout),
        f"5. **Play**, `bore_play_mm` in `[space]` or `[baseline]`. Measure over roller and axle with the roller pushed "
        f"towards the axle's one side, then the other: play = (larger - smaller)/2. The design asks {sizes.play:g} mm: "
        "ream the bore, or put the number that came out.",
        f"6. **Floor**, `friction_floor = {{ {scenario.robot.floor} = ... }}` in `[materials.{tyre.name}]`. Lay the strip on "
        "your floor, a bottle of weight G on it, pull level and slowly with F: mu = F/G.",
        "Then score the design anew: `wheelfront score STUDY` with these numbers in the study. Where E is off by more than a "
        "third or friction by more than a fifth, sweep again before you print the wheel.",
        "**Care:** the strip flies back when it slips off; a loaded bucket falls: keep face, feet and fingers away. Molten "
        f"plastic and the bed are hot; air the room, {tyre.name} smells when it prints too hot.",
    ]
    return "\n\n".join(rows) + "\n"


def _squash(sizes: Sizes, poisson_ratio: float, modulus: float, name: str, soft_throughout: bool) -> list[str]:
    if not soft_throughout:
        return [
            "2. **Squash**: not with this design, whose core is hard; the strip's stiffness is what the study takes, and the "
            "program counts the thin tyre as stiffer by itself."
        ]
    foretold = [(force, squash_at(force, modulus, poisson_ratio, sizes)) for force in SQUASHES]
    told = ", ".join(f"{force:g} N {number(squash)} mm" for force, squash in foretold if squash < 0.4 * sizes.roller_radius)
    factor = modulus_from_squash(1.0, poisson_ratio, 1.0, sizes.roller_length, sizes.outline_radius)
    law = (
        f"E = {factor:.4g} F/s" if math.isinf(sizes.outline_radius)
        else f"E = {factor:.4g} F/s^1.5 while the patch is shorter than the roller"
    )  # fmt: skip
    return [
        f"2. **Stiffness as a roller**, the same key. Lay the roller without its axle between two boards, put a bucket of "
        f"known weight F on the upper one, measure between the boards at both ends before and after: s is the loss of "
        f"height. {law} in N, mm and MPa. The study foretells {told}. Take this E where it and the strip's differ: it "
        "holds the infill and the layers as they are printed, and is what the contacts see."
    ]


def _bore(sizes: Sizes, friction: float, name: str, soft_throughout: bool) -> list[str]:
    if not soft_throughout:
        return ["4. **Bore**: bushings and bearings are bought, the program takes their usual friction."]
    ratio = 2 * sizes.roller_radius / sizes.axle_diameter
    weight = 10.0
    pull = weight * (ratio + friction) / (ratio - friction)
    assert math.isclose(bore_friction_from_wrap(pull, weight, 2 * sizes.roller_radius, sizes.axle_diameter), friction)
    return [
        f"4. **Friction of the bore**, `friction_bore` in `[materials.{name}]`. Turn the cradle so that the strip can lie over "
        f"the output roller and hang down on both sides. Hang G on one end, pull the other slowly down so that the roller "
        f"turns: mu = {ratio:.4g} (F - G)/(F + G). At {weight:g} N the study's {friction:g} asks {number(pull)} N."
    ]


