"""The order in which a wheel unit goes together, with what to watch, as Markdown."""

from __future__ import annotations

from collections.abc import Sequence

from objectives.units import MM, N_PER_MM
from sweep.cad.choice import Choice
from sweep.cad.parts import Assembly, Part
from sweep.cad.weights import printed
from sweep.sheet import Preload
from sweep.show import number

#: what can hurt, of every wheel unit
CAUTIONS = (
    "Rollers and gears pinch and draw in. Fingers, hair, sleeves and cables stay away while the motors have power; cover them "
    "in use.",
    "Disconnect the motors' supply before you turn hubs, rollers or gears by hand, and before any step below. A motor turned "
    "by hand gives current back: its driver may start.",
    "The bolts of the hub rollers turn with the hubs and work loose: thread lock on each, a mark across head and rim, a look "
    "after the first hour and before every longer run.",
    "The springs are under load: back the preload nuts off in full before you take anything apart.",
    "Printed parts soften with heat: keep the unit out of the sun behind glass and away from hot motors; "
    "{material} holds its shape to about {service:.0f} °C, its tyres to about {tyre:.0f} °C.",
    "Printing: hot nozzle and bed, fumes; air the room. Reaming and sawing: glasses.",
)


def cautions(choice: Choice) -> list[str]:
    """What can hurt, with this design's materials."""
    catalogue, own = choice.study.scenario.catalogue, choice.design
    structure = catalogue.materials[choice.study.scenario.build.material]
    tyre = min(catalogue.materials[str(own[name])].service_temperature for name in ("output_tyre", "hub_tyre"))
    return [
        text.format(material=structure.name, service=structure.service_temperature, tyre=tyre) for text in CAUTIONS
    ]


def assembly_page(choice: Choice, assembly: Assembly) -> str:
    """The order of assembly."""
    dimensions, own = assembly.dimensions, choice.design
    wheel, scenario = choice.assessment.wheel, choice.study.scenario
    preload = Preload.of(
        float(wheel.preload[0]), float(wheel.preload_stiffness[0]) / N_PER_MM, scenario.build.shaft_diameter / MM
    )
    steps = [
        ("Print and measure the coupon", "See `coupon/coupon.md`. Its numbers may change the design."),
        ("Print", "By `print_list.csv`: hard parts from `print/rigid`, soft ones from `print/tyres`, each file as it lies. Cut "
                  "strings and brims off; nothing may stand proud in pockets, grooves and bearing seats."),
        ("Lay out", _laid_out(assembly)),
        ("Output rollers", _rollers(assembly, str(own["bore"]))),
        ("Carrier", _carrier(assembly)),
        ("Hubs", _hubs(assembly)),
        ("Shaft", "From the middle outwards: carrier with its bearing, then on each side the hub, left on the left (its hub "
                  "rollers lean as in `assembly.step`), thrust bearing between its washers, spring, preload cap, nut. The "
                  "hubs must slide on the shaft: polish it where they do not."),
        ("Preload", "With the wheel off the floor turn each nut until the spring just touches, then "
                    f"{number(preload.turns, 2)} turns on: {number(preload.deflection)} mm, "
                    f"{number(float(wheel.preload[0]))} N. Both sides alike. Lock the nuts. Every output roller must have hub "
                    "rollers on both sides; turn the wheel over a whole pitch and look."),
        ("Motors", f"Pinions on the gearbox shafts, flat against flat. Centres {dimensions['centre_distance_mm']:.2f} mm from "
                   f"the shaft: leave the teeth {dimensions['clearance_mm']:g} mm of play, felt by rocking a hub. The motors "
                   "are held by the robot's frame, which also holds both ends of the shaft against turning."),
        ("First run", "Wheel off the floor, a tenth of the voltage, both hubs forward, then opposed. It must run without "
                      "ticking. After an hour: bolts, preload, heat of the rollers."),
        ("Replacing an output roller", _sentence(dimensions.roller_in_place_reason)),
    ]  # fmt: skip
    lines = [f"# Wheel unit {own['design']} of {choice.study.name}: order of assembly", "", "## Care", ""]
    lines += [f"- {text}" for text in cautions(choice)]
    lines += ["", "## Steps", ""]
    lines += [f"{i}. **{title}.** {text}" for i, (title, text) in enumerate(steps, 1)]
    return "\n".join(lines) + "\n"


def _sentence(text: str) -> str:
    return text[:1].upper() + text[1:].rstrip(".") + "."


def _named(parts: Sequence[Part]) -> str:
    return ", ".join(f"{part.count} {part.title}" + (f" ({part.designation})" if part.designation else "") for part in parts)


def _laid_out(assembly: Assembly) -> str:
    return "Bought and cut parts: " + _named([part for part in assembly.parts if not printed(part)]) + "."


def _notes(assembly: Assembly, *starts: str) -> str:
    """What the parts' own notes say, e.g. the key of a screw."""
    notes = [f"{part.title}: {part.replaces}" for part in assembly.parts if part.name.startswith(starts) and part.replaces]
    return " " + "; ".join(notes).rstrip(".") + "." if notes else ""


def _rollers(assembly: Assembly, bore: str) -> str:
    count = next(part.count for part in assembly.parts if part.name.startswith("output_"))
    made = {
        "plain": f"Ream the bores of the {count} output rollers until they turn on their axles with the play of the drawing",
        "bushed": f"Press a bushing into each of the {count} cores, pull the tyres on (warm water helps), ream the bushings",
        "ball": f"Press a ball bearing into both ends of each of the {count} cores, pull the tyres on (warm water helps)",
    }[bore]
    return f"{made}. A side washer on either side, then the axle through." + _notes(assembly, "output_", "side_", "roller_")


def _carrier(assembly: Assembly) -> str:
    return (
        "Bearing into its seat of one half, axles with their rollers into the grooves, the other half on it, screws loosely "
        "all round, then tight crosswise. Every roller must spin freely." + _notes(assembly, "carrier", "clamp")
    )


def _hubs(assembly: Assembly) -> str:
    count = next(part.count for part in assembly.parts if part.name.startswith("hub_roller"))
    return (
        f"Two radial bearings into each hub. {count // 2} hub rollers a hub: a washer on both sides of the roller, into its "
        "pocket, bolt from outside with thread lock. Tight, then a touch back, until the roller turns freely with no play "
        "along its bolt." + _notes(assembly, "hub_")
    )
