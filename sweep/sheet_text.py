"""The sheet of a design as text."""

from __future__ import annotations

import math

import numpy as np
from rich.console import Console

from objectives.columns import LOSSES
from objectives.friction_loss import losses_by_name
from objectives.slip_margin import case_margins
from objectives.units import DEG, HOUR, MM
from objectives.variables import VARIABLES
from sweep.cad.dimensions import dimensions_of
from sweep.check_text import direction_words, share_words
from sweep.columns import described
from sweep.errors import BadInput
from sweep.front import OBJECTIVES
from sweep.front_table import SHORT, head
from sweep.sensitivity import Step, movers, other_choices
from sweep.sheet import Sheet, rpm
from sweep.show import (
    BETTER,
    MISSING,
    SAME,
    WORSE,
    against,
    bar,
    facts,
    heading,
    number,
    point,
    quantity,
    sentence,
    signed,
    table,
)
from sweep.space import PLAIN, TYRE_THICKNESS
from sweep.upkeep import DAY, YEAR, Band, upkeep

#: room, in shortfalls that count as one, at which a bar is full
FULL_BAR = 3.0
BAR = 12
BREAKS = "!"
#: s, beyond which a time has no meaning for a robot
LONG_LIFE = 30 * YEAR
#: what goes for every wheel of this kind
CAUTIONS = (
    "Rollers, hubs and gears pinch and draw in: cover them, keep fingers, hair and cables away while motors have power.",
    "Lithium cells burn when shorted, crushed or charged wrongly: fuse the battery, hold it firmly, charge it watched.",
    "The limits are computed, not tested. A robot that carries loads or moves near people needs its own tests, a stop within "
    "reach and speeds that hurt nobody when it falls.",
    "Patents may cover such drives in some countries: find out before you sell one.",
    "Local codes and the judgement of licensed practice come before this sheet.",
)


def show_sheet(sheet: Sheet, out: Console) -> None:
    """All of a sheet on a console."""
    own = sheet.design
    out.print(f"Design {own['design']} of {sheet.study.name}, at {sheet.phases} positions of the wheel")
    if str(own["status"]):
        sentence(out, f"Not all is known of it: {str(own['status']).replace(';', '; ')}.")
    if not bool(own["feasible"]):
        lost = [room.name for room in sheet.rooms if room.slack < 0 or math.isnan(room.slack)]
        sentence(out, f"NOT FEASIBLE: it breaks, or cannot be judged by, {', '.join(lost) or 'a missing objective'}.")
    _objectives(sheet, out)
    _geometry(sheet, out)
    _limits(sheet, out)
    _cases(sheet, out)
    _losses(sheet, out)
    _rooms(sheet, out)
    _moves(sheet, out)
    _preload(sheet, out)
    _upkeep(sheet, out)
    _control(sheet, out)
    _motors(sheet, out)
    heading(out, "Cautions")
    for text in CAUTIONS:
        point(out, text)
    heading(out, "Validity")
    if sheet.ranges_left:
        for name, meaning in sheet.ranges_left.items():
            point(out, f"{name}: {meaning}.")
    else:
        sentence(out, "Inside the ranges of all laws used.")
    heading(out, "What the numbers rest on")
    out.print(facts(sheet.sources.items()))


def _objectives(sheet: Sheet, out: Console) -> None:
    heading(out, "Objectives")
    rows = []
    for entry in OBJECTIVES:
        unit, meaning = described(entry.name)
        value = float(sheet.design[entry.name])
        row = [entry.name, f"{quantity(value, '' if unit == '1' else unit)}", meaning]
        if sheet.baseline is not None:
            other = float(sheet.baseline[entry.name])
            row[2:2] = [number(other), against(value, other, entry.maximise)]
        rows.append(row)
    compared = [("baseline", "right"), ("difference", "right")] if sheet.baseline is not None else []
    out.print(table(["objective", ("this", "right"), *compared, "what it is"], rows))
    if sheet.baseline is not None:
        sentence(out, f"{BETTER} better, {WORSE} worse, {SAME} the same as the baseline.")


def _geometry(sheet: Sheet, out: Console) -> None:
    own, plan, masses = sheet.design, sheet.assessment.layout, sheet.assessment.mass
    heading(out, "Geometry and choices")
    rows = []
    for variable in VARIABLES:
        value = own[variable.name]
        if variable.name == TYRE_THICKNESS and own["bore"] == PLAIN:
            continue
        rows.append((variable.name, str(value) if variable.names else number(float(value), 4), variable.meaning))
    out.print(table(["variable", "value", "meaning"], rows))
    bearings = [
        plan.bearing_names[int(index[0])] if index[0] >= 0 else "none fits"
        for index in (plan.radial_bearing, plan.thrust_bearing)
    ]
    heaviest = sorted(((float(part[0]), name) for name, part in masses.parts.items()), reverse=True)[:4]
    masses_by_part = ", ".join(f"{name.replace('_', ' ')} {quantity(mass, 'kg')}" for mass, name in heaviest)
    centres = quantity(float(plan.centre_distance[0]) / MM, "mm", 4)
    out.print()
    out.print(
        facts([
            ("output roller", f"{quantity(float(own['output_roller_length_mm']), 'mm')} long"),
            ("contact circle", f"radius {quantity(float(own['contact_circle_radius_mm']), 'mm')}"),
            ("wheel unit", f"{quantity(float(own['wheel_unit_width_mm']), 'mm')} wide, motors included"),
            ("gears", f"ratio {number(sheet.control.ratio)}, centres {centres} apart"),
            ("bearings", f"hubs and carrier {bearings[0]}, thrust {bearings[1]}"),
            ("mass", f"{masses_by_part}, and the rest"),
            ("print", f"{number(float(masses.part_count[0]))} parts, about {quantity(float(own['print_time_h']), 'h')}"),
            ("replacing a roller", _replacing(sheet)),
        ])
    )


def _replacing(sheet: Sheet) -> str:
    """Whether an output roller can be replaced with the wheel on the robot, and how or why not."""
    try:
        dimensions = dimensions_of(sheet.study, sheet.design)
    except BadInput:  # a design that cannot be built
        return MISSING
    how = "with the wheel on the robot" if dimensions.roller_in_place else "not with the wheel on the robot"
    return f"{how}: {dimensions.roller_in_place_reason}"


def _limits(sheet: Sheet, out: Console) -> None:
    heading(out, "Limits at the floor [N]")
    rows = [
        (
            limit.direction,
            number(limit.worst),
            number(limit.mean),
            number(limit.motor),
            number(limit.floor),
            " / ".join(f"{angle:.1f}" for angle in limit.phase_deg) if math.isfinite(limit.worst) else MISSING,
        )
        for limit in sheet.limits
    ]
    heads = [("friction,\nworst", "right"), ("friction,\nmean", "right"), ("motors", "right"), ("floor", "right")]
    out.print(table(["direction", *heads, ("worst position [deg]\nwheel / left / right hub", "right")], rows))
    sentence(
        out,
        "Friction: what the roller contacts carry before they slip, over the positions of the wheel; diagonals as the "
        "length of the force. Motors: at the speed of the robot's own effort in that direction. The lowest of the three "
        "counts. Left mirrors right.",
    )
    fast = sheet.assessment.drive.top_speed_motor_limit[0]
    sentence(
        out,
        f"At top speed the motors give {number(fast[0])} N forward and {number(fast[1])} N in reverse. The torque capacity is "
        "the lowest of that and of friction, both ways, times the wheel's radius; what the floor grips stands apart.",
    )
    forward, reverse = sheet.limits[0].worst, sheet.limits[1].worst
    if math.isfinite(forward) and math.isfinite(reverse) and min(forward, reverse) > 0:
        ratio = max(forward, reverse) / min(forward, reverse)
        if ratio < 1.02:
            sentence(out, "Forward and reverse are about equally strong.")
        else:
            strong, weak = ("forward", "reverse") if forward > reverse else ("reverse", "forward")
            sentence(
                out,
                f"It is stronger {strong} than {weak}, {number(ratio)} times: friction draws the hubs in one way and pushes "
                "them off the other. Building the skew of all hub rollers the other way round swaps the two.",
            )


def _cases(sheet: Sheet, out: Console) -> None:
    judged = sheet.assessment
    cases, margins = judged.cases, case_margins(judged)[0]
    floor = sheet.limits[0].floor
    heading(out, "Load cases, and how many times the force asked is there")
    rows = []
    for k, name in enumerate(cases.names):
        asked = float(cases.force[0, k])
        rows.append(
            (
                name,
                direction_words(float(cases.direction[k]) / DEG),
                number(asked),
                number(float(cases.speed[0, k])),
                share_words(float(cases.share[k])) if cases.share[k] else MISSING,
                number(float(margins[k])),
                number(float(judged.drive.motor_limit[0, k]) / asked),
                number(floor / asked),
            )
        )
    names = ("force\n[N]", "speed\n[m/s]", "of the\nduty", "friction\nmargin", "motor\nmargin", "floor\nmargin")
    out.print(table(["case", "direction", *((name, "right") for name in names)], rows))


def _losses(sheet: Sheet, out: Console) -> None:
    losses = {name: float(value[0]) for name, value in losses_by_name(sheet.assessment).items()}
    total = math.fsum(losses.values())
    heading(out, f"Losses over the duty: {quantity(total, 'W')}")
    if not math.isfinite(total):
        sentence(out, "They are not known, see above.")
        return
    ranked = sorted(losses.items(), key=lambda item: -item[1])
    largest = max(ranked[0][1], 1e-12)
    rows = [
        (name, number(value), f"{100 * value / max(total, 1e-12):.0f} %", bar(value / largest, BAR), LOSSES.get(name, ""))
        for name, value in ranked
    ]
    out.print(table(["loss", ("[W]", "right"), ("share", "right"), ("", "whole"), "where"], rows))
    own = sheet.design
    told = [f"Sideways the wheel delivers {100 * float(own['sideways_speed_ratio']):.0f} % of its ideal speed"]
    told.append(f"the rollers warm by {quantity(float(own['roller_temperature_rise_K']), 'K')}")
    if math.isfinite(float(own["battery_current_A"])):
        told.append(f"the supply gives {quantity(float(own['battery_current_A']), 'A')}")
    if math.isfinite(float(own["run_time_h"])):
        told.append(f"the battery lasts {quantity(float(own['run_time_h']), 'h')}")
    sentence(out, f"{', '.join(told)}.")
    held = float(own["held_time_s"])
    if math.isfinite(held):
        after = quantity(held, "s", 2)
        sentence(out, f"Held against a stop, its soft rollers reach their service temperature after about {after}.")


def _rooms(sheet: Sheet, out: Console) -> None:
    heading(out, "Constraints, tightest first")
    rows = []
    for room in sheet.rooms:
        drawn = bar(room.relative / FULL_BAR, BAR) if room.slack >= 0 else "BROKEN"
        shown = MISSING if math.isnan(room.slack) else drawn
        rows.append((room.name, quantity(room.slack, room.unit), shown, room.meaning))
    out.print(table(["constraint", ("room", "right"), ("", "whole"), "what it asks"], rows))


def _moves(sheet: Sheet, out: Console) -> None:
    heading(out, "What moves each objective most: the small step that improves it, all else kept")
    rows: list[list[str]] = []
    for entry in OBJECTIVES:
        unit, _ = described(entry.name)
        name = SHORT[entry.name] + (f" [{unit}]" if unit != "1" else "")
        for i, step in enumerate(movers(list(sheet.steps), entry.name)):
            rows.append([
                name if i == 0 else "",
                step.variable,
                f"{signed(step.change)} to {number(float(step.value), 4)}",
                against(step.objectives[entry.name], 0.0, entry.maximise),
                ", ".join(step.breaks) or MISSING,
            ])
    out.print(table(["objective", ("variable", "whole"), "step", ("changes by", "right"), "and breaks"], rows))
    others = other_choices(list(sheet.steps))
    if others:
        heading(out, "Other choices, all else kept, and what they break")
        out.print(table(["choice", *((head(entry.name), "right") for entry in OBJECTIVES)], map(_choice, others)))
        sentence(out, f"{BREAKS} what it would break.")


def _choice(step: Step) -> list[str]:
    changes = [against(step.objectives[entry.name], 0.0, entry.maximise, 2) for entry in OBJECTIVES]
    return ["\n".join([step.variable, str(step.value), *(BREAKS + name for name in step.breaks)]), *changes]


def _preload(sheet: Sheet, out: Console) -> None:
    own, preload = sheet.design, sheet.preload
    heading(out, "Setting the preload")
    sentence(
        out,
        f"With the wheel off the floor, turn each hub's nut until the spring just touches, then {number(preload.turns, 2)} "
        f"turns on: the spring gives way by {quantity(preload.deflection, 'mm')} and presses the hub with "
        f"{quantity(float(own['preload_N']), 'N')}. Thread M{number(preload.thread)} x {number(preload.pitch)}, ISO 261 "
        f"coarse: a turn is {quantity(preload.per_turn, 'N')}. Both sides alike, then lock the nuts.",
    )
    sentence(
        out,
        f"At 0.1 mm of wear {quantity(preload.lost_by_wear, 'N')} of it are lost "
        f"({share_words(preload.lost_by_wear / float(own['preload_N']))}): set it again after running in.",
    )


def _upkeep(sheet: Sheet, out: Console) -> None:
    if not math.isfinite(float(sheet.design["friction_loss_W"])):
        return
    found = upkeep(sheet.assessment)
    heading(out, "Upkeep, from the mildest to the worst that is likely")
    tread = quantity(found.tread / MM, "mm")
    once = f"{_shares(found.creep_share_day)} in a day, {_shares(found.creep_share_year)} in a year"
    out.print(
        facts([
            ("preload lost to creep", f"{once}; set again after a day {_shares(found.creep_share_after)} in that year"),
            ("set again for creep", f"a tenth is lost after {_times(found.creep_until_setting)}"),
            ("set again for wear", f"a tenth is lost after {_times(found.wear_until_setting, HOUR)} of duty"),
            ("output rollers", f"{tread} of tread are worn off after {_times(found.tyre_life, HOUR)} of duty"),
        ])
    )
    for text in found.weak_inputs:
        point(out, f"Weak: {text}.")


def _shares(band: Band) -> str:
    return f"{100 * band.low:.2g} to {100 * band.high:.2g} %"


def _times(band: Band, longest_unit: float = YEAR) -> str:
    low, high = (_time(end, longest_unit) for end in (band.low, band.high))
    return low if low == high else f"{low} to {high}"


def _time(seconds: float, longest_unit: float) -> str:
    """A time to two digits at most, for what is not known better."""
    if seconds > LONG_LIFE:
        return "more than 30 years"
    for size, unit in ((YEAR, "years"), (DAY, "days"), (HOUR, "h")):
        if seconds >= 2 * size and size <= longest_unit:
            return f"{float(f'{seconds / size:.2g}'):g} {unit}"
    return f"{float(f'{seconds / 60:.2g}'):g} min"


def _control(sheet: Sheet, out: Console) -> None:
    card, robot = sheet.control, sheet.study.scenario.robot
    a, b = rpm(card.per_forward), rpm(card.per_sideways)
    heading(out, "Control card")
    sentence(out, "v_x forward and v_y to the right in m/s; hub speeds in 1/min, positive as the wheel rolls forward:")
    signs = (("left hub", "-"), ("right hub", "+"))
    pairs = [(name, f"{number(a, 4)} v_x {sign} {number(b, 4)} v_y") for name, sign in signs]
    pairs += [
        ("v_x", f"(left + right) / {number(2 * a, 4)}"),
        ("v_y", f"(right - left) / {number(2 * b, 4)}"),
        ("motor, at its gearbox", f"{number(card.ratio, 4)} times its hub; a pinion turns against its gear"),
    ]
    for name, (forward, right) in (
        ("top speed forward", (robot.top_speed, 0.0)), ("top speed right", (0.0, robot.sideways_speed)),
    ):  # fmt: skip
        hubs = [rpm(speed) for speed in card.hubs(forward, right)]
        at_hubs, at_motors = (" and ".join(number(speed * factor) for speed in hubs) for factor in (1.0, card.ratio))
        pairs.append((name, f"hubs {at_hubs}, motors {at_motors} 1/min"))
    out.print(facts(pairs))
    own = sheet.design
    sentence(
        out,
        f"The sideways factor holds the creep at the duty (speed ratio {number(float(own['sideways_speed_ratio']))}, ripple "
        f"{100 * float(own['sideways_speed_ripple']):.1f} % over a pass). It changes with the load: close the loop over a "
        "measured speed.",
    )


def _motors(sheet: Sheet, out: Console) -> None:
    judged = sheet.assessment
    heading(out, f"Motors over the load cases, {sheet.design['motor']}")
    rows = []
    for k, name in enumerate(judged.cases.names):
        drive = judged.drive
        values = [drive.motor_torque[0, k], rpm(drive.motor_speed[0, k]), drive.motor_current[0, k]]
        rows.append((name, *(number(float(side)) for value in values for side in np.asarray(value))))
    names = [f"{side}\n{what}" for what in ("[N m]", "[1/min]", "[A]") for side in ("left", "right")]
    out.print(table(["case", *((name, "right") for name in names)], rows))
    sentence(out, "Torque and speed at the gearbox output, signed as the hubs; all losses included.")
    use = float(judged.drive.continuous_torque_use[0])
    sentence(out, f"Over the duty the harder-working motor gives {share_words(use)} of its continuous torque.")
