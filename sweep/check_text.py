"""A check of a study as text."""

from __future__ import annotations

import math

from rich.console import Console

from objectives.units import DEG, MM, WH
from sweep.check import Check, case_rows, space_rows
from sweep.front import OBJECTIVES
from sweep.planning import spread
from sweep.progress import duration
from sweep.show import MISSING, heading, number, point, quantity, sentence, table
from sweep.slacks import rooms
from sweep.study import Study

#: directions [deg] that have a name
DIRECTION_WORDS = {
    0.0: "forward", 45.0: "forward right", 90.0: "right", 135.0: "reverse right", -180.0: "reverse", -135.0: "reverse left",
    -90.0: "left", -45.0: "forward left",
}  # fmt: skip


def show_check(found: Check, out: Console) -> None:
    """Everything that ``check`` tells, on a console."""
    study = found.study
    out.print(f"{study.name}: {study.path} is a sound study.")
    heading(out, "Robot")
    sentence(out, robot_in_words(study))
    sentence(
        out,
        f"With the wheel unit of the {found.judged} ({quantity(found.unit_mass, 'kg')}) the floor under the wheel carries "
        f"{quantity(float(found.cases.wheel_load[0]), 'N')}.",
    )
    _space(study, out)
    _cases(found, out)
    _constraints(found, out)
    heading(out, "Resolution")
    steps = (f"{name} {number(study.search.resolution[name])}" for name in (objective.name for objective in OBJECTIVES))
    sentence(out, f"Designs nearer than this in every objective count as one: {', '.join(steps)}.")
    if found.cautions:
        heading(out, "Cautions")
        for text in found.cautions:
            point(out, text)
    _sweep(found, out)


def robot_in_words(study: Study) -> str:
    """What the wheel is for."""
    robot, scenario = study.scenario.robot, study.scenario
    speeds = f"{number(robot.top_speed)} m/s forwards and {number(robot.sideways_speed)} m/s sideways"
    if robot.kind == "balancing":
        what = (
            f"A robot of {number(robot.mass)} kg that balances on its wheel, on {robot.floor}. Its centre of mass is "
            f"{number(robot.centre_of_mass_height)} m above the floor, its radius of gyration {number(robot.body_gyration)} m. "
            f"It has to recover from a lean of {number(robot.recover_lean / DEG)} deg with "
            f"{number(robot.recover_reserve)} times the force that holds it, and goes up to {speeds}."
        )
    else:
        load = f", {number(robot.wheel_load)} N of its weight on the wheel" if math.isfinite(robot.wheel_load) else ""
        what = (
            f"A robot of {number(robot.mass)} kg on castors and one driven wheel{load}, on {robot.floor}. It has to accelerate "
            f"by {number(robot.acceleration)} m/s^2 on a slope of {number(robot.slope / DEG)} deg against a rolling "
            f"resistance of {number(robot.rolling_resistance)} of its weight, and goes up to {speeds}."
        )
    battery = f", {number(scenario.battery_energy / WH)} Wh" if math.isfinite(scenario.battery_energy) else ""
    build, printer = scenario.build, scenario.printer
    return (
        f"{what} Supply {number(scenario.supply_voltage)} V{battery}. Printed in {build.material} with {build.walls} walls and "
        f"{100 * build.infill:.0f} % infill on a bed of {' x '.join(f'{side / MM:.0f}' for side in printer.bed)} mm, nozzle "
        f"{number(printer.nozzle / MM)} mm; shaft {number(build.shaft_diameter / MM)} mm."
    )


def direction_words(degrees: float) -> str:
    """A direction as a word where it has one.

    >>> direction_words(0.0), direction_words(-90.0), direction_words(30.0)
    ('forward', 'left', '30 deg')
    """
    turned = round((degrees + 180) % 360 - 180, 6)
    return DIRECTION_WORDS.get(turned, f"{number(degrees)} deg")


def _space(study: Study, out: Console) -> None:
    rows = space_rows(study)
    free = [row for row in rows if "value" not in row]
    heading(out, f"Space: {len(study.space.genes)} variables are searched, {len(rows) - len(free)} are fixed")
    shown = []
    for row in (*free, *(row for row in rows if "value" in row)):
        if "value" in row:
            may_be = f"{_plain(row['value'])} (fixed)"
        elif "choices" in row:
            may_be = ", ".join(_plain(choice) for choice in row["choices"])
        else:
            may_be = f"{number(row['low'], 4)} to {number(row['high'], 4)}"
        shown.append((row["variable"], may_be, row["meaning"]))
    out.print(table(["variable", "may be", "meaning"], shown))


def _cases(found: Check, out: Console) -> None:
    heading(out, f"Load cases, for the {found.judged}")
    rows = [
        (
            case["name"],
            direction_words(case["direction_deg"]),
            number(case["force_N"]),
            number(case["speed_m_per_s"]),
            f"{100 * case['share']:.0f} %" if case["share"] else MISSING,
        )
        for case in case_rows(found.cases)
    ]
    out.print(table(["case", "direction", ("force [N]", "right"), ("speed [m/s]", "right"), ("of the duty", "right")], rows))


def _constraints(found: Check, out: Console) -> None:
    heading(out, f"Constraints, room of the {found.judged}")
    rows = [
        (room.name, room.meaning, share_words(found.share_holding(room.name)), quantity(room.slack, room.unit))
        for room in rooms(found.design.iloc[0], found.study.scenario)
    ]
    out.print(table(["constraint", "what it asks", ("holds for", "right"), ("room", "right")], rows))
    sentence(
        out,
        "\"Holds for\" counts random draws from the space; \"room\" is what is left, negative where the constraint is broken.",
    )
    design, hardest = found.design.iloc[0], float(found.cases.force.max())
    if "floor_limit_N" in design and math.isfinite(float(design["floor_limit_N"])):
        sentence(
            out,
            f"Grip: the floor takes {quantity(float(design['floor_limit_N']), 'N')} from this wheel; the hardest case asks "
            f"{quantity(hardest, 'N')}.",
        )


def _sweep(found: Check, out: Console) -> None:
    search, trial = found.study.search, found.trial
    heading(out, "The sweep")
    low, high = found.seconds
    times = duration(low) if duration(low) == duration(high) else f"{duration(low)} to {duration(high)}"
    count = spread(found.evaluations, search)["islands"]
    islands = f"{count} island" + "s" * (count > 1)
    total = f"{found.evaluations} evaluations on {islands}, seed {search.seed}, at {search.phases} positions"
    if search.hours is not None:
        out.print(f"{number(search.hours)} h: about {total}.")
    else:
        sentence(out, f"{total}: about {times} here.")
    over = f" and over {found.samples} samples of what is not known" if found.samples else ""
    again = f"Each hundred designs of the front are then scored at {search.front_phases} positions{over}"
    told = f"{again}: about {duration(100 * found.seconds_again(found.samples))}."
    if not found.samples:
        count = found.study.uncertainty.samples
        told += f" With --uncertainty, over {count} samples: {duration(100 * found.seconds_again(count))}."
    sentence(out, told)
    sentence(
        out,
        f"Measured: {number(trial.rate)} random draws a second, {number(trial.rate_possible)} of those that can be put "
        "together. "
        f"Of {len(found.sample.designs)} random draws {share_words(float(found.sample.possible.mean()))} can be put together; "
        f"of {trial.draws} that were scored {share_words(trial.feasible_share)} are feasible.",
    )


def share_words(share: float) -> str:
    """A share in percent.

    >>> share_words(1.0), share_words(0.0), share_words(0.00321)
    ('100 %', 'none', '0.32 %')
    """
    if math.isnan(share):
        return MISSING
    if share == 0:
        return "none"
    percent = 100 * share
    return f"{percent:.0f} %" if percent >= 10 else f"{percent:.2g} %"


def _plain(value: object) -> str:
    return number(value, 4) if isinstance(value, float | int) else str(value)

