"""What matters for a design, as text."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from rich.console import Console

from sweep.check_text import share_words
from sweep.columns import HOLDING, described
from sweep.front import OBJECTIVES
from sweep.front_table import SHORT, head
from sweep.show import MISSING, against, heading, number, sentence, table

#: outputs whose indices are shown, as far as they spread
SHOWN = ("torque_capacity_Nm", "slip_margin", "friction_loss_W", "floor_grip", "binding_clearance_mm", HOLDING)
#: how a maker measures an unknown
HOW: Mapping[str, str] = {
    "friction_roller": "hold the hubs, load the wheel, pull it forward with a luggage scale until it slips",
    "friction_bore": "turn one hub against the other with a lever and the scale, wheel off the floor",
    "friction_floor": "block the rollers, pull the wheel sideways over the floor it will run on",
    "floor_condition": "the same pull on the floor as it is after a day, and wet",
    "youngs_modulus_MPa": "squash a roller by a known amount on the scale, or press the coupon's strip",
    "loss_tangent": "let a ball fall on the tyre and note how high it comes back, or time how it turns off",
    "motor_torque": "hold the shaft with a lever on a scale and note torque and current",
    "bore_play_mm": "calipers on the coupon's roller and its axle",
    "seat_error_mm": "depth of a hub roller in its pocket on the coupon, against the drawing",
    "hub_run_out_mm": "a dial gauge on the rollers of a turning hub",
    "preload_N": "press the spring on a scale and count the turns of the nut",
}
#: constraints whose slopes are shown, the tightest
ROOMS = 3
VARIABLES_SHOWN = 8
#: change of an objective, over itself, that is not worth telling
SLIGHT = 1e-3


def show_matter(found: Mapping[str, Any], out: Console) -> None:
    """All of it on a console."""
    basis = f"{found['evaluations']} samples at {found['phases']} positions of the wheel"
    out.print(f"Design {found['design']}: what matters, from {basis}")
    show_first(found, out)
    _unknowns(found, out)
    _outputs(found, out)
    _slopes(found, out)


def show_first(found: Mapping[str, Any], out: Console) -> None:
    """What to measure and what to change first."""
    heading(out, "What to do first")
    rows = [
        (f"measure {place + 1}", name, HOW.get(name, f"{described(name)[1]}, on what you have printed"))
        for place, name in enumerate(found["measure"])
    ]
    for place, step in enumerate(found["change"]):
        target = step["to"] if isinstance(step["to"], str) else number(step["to"], 4)
        rows.append((f"change {place + 1}", step["variable"], f"to {target}: {gains_in_words(step)}"))
    out.print(table([("first", "whole"), ("what", "whole"), "how, and what comes of it"], rows))
    if not found["change"]:
        sentence(out, "No small step of one variable gains more in some objectives than it loses in others without breaking "
                 "a constraint.")


def gains_in_words(step: Mapping[str, Any]) -> str:
    """What a change does to the objectives that it moves, each with a mark that says which way."""
    return ", ".join(
        f"{SHORT[entry.name]} {against(step['objectives'][entry.name], 0.0, entry.maximise, 2)}"
        for entry in OBJECTIVES
        if abs(step["objectives"][entry.name] or 0.0) > SLIGHT * abs(step["nominal"][entry.name] or 0.0)
    )


def _unknowns(found: Mapping[str, Any], out: Console) -> None:
    heading(out, "Share of each output's spread that hangs on an unknown, interactions counted (total Sobol index)")
    outputs = {entry["name"]: entry for entry in found["outputs"]}
    shown = [name for name in SHOWN if name in outputs]
    rows = []
    for unknown in found["unknowns"]:
        shares = [
            next(index["total"] for index in outputs[name]["indices"] if index["unknown"] == unknown["name"]) for name in shown
        ]
        rows.append((unknown["name"], unknown["spread"], *(f"{max(share, 0.0):.2f}" for share in shares)))
    heads = [(_head(name), "right") for name in shown]
    out.print(table(["unknown", ("spread", "right"), *heads], rows))
    bands = [index["band"] for name in shown for index in outputs[name]["indices"] if index["band"] is not None]
    if bands:
        sentence(out, f"Good to about {max(bands):.2f} (90 % of resamples); more --samples make it better.")


def _outputs(found: Mapping[str, Any], out: Console) -> None:
    heading(out, "How far the outputs spread")
    spread = [entry for entry in found["outputs"] if entry["name"] != HOLDING]
    rows = []
    for entry in spread:
        unit = "" if entry["unit"] == "1" else entry["unit"]
        numbers = [_number(entry[key]) for key in ("nominal", "p05", "p95")]
        rows.append((entry["name"], unit, *numbers, entry["indices"][0]["unknown"]))
    heads = [("nominal", "right"), ("5 % below", "right"), ("95 % below", "right")]
    out.print(table(["output", "unit", *heads, "most by"], rows))
    if any(entry["p05"] is None or entry["p95"] is None for entry in spread):
        sentence(out, f"{MISSING} where in more than a twentieth of the samples no state is found: that counts as the worst.")
    sentence(out, f"Every limit and constraint holds and nothing binds in {share_words(found[HOLDING])} of the samples.")


def _slopes(found: Mapping[str, Any], out: Console) -> None:
    heading(out, "What a tenth of a variable's range, or a stock size, does to each objective [%], all else kept")
    rows = []
    for entry in found["slopes"][:VARIABLES_SHOWN]:
        shares = [entry["objectives"][objective.name] for objective in OBJECTIVES]
        rows.append((entry["variable"], f"+{number(entry['over'])}", *(_percent(share) for share in shares), _tight(entry)))
    heads = [(head(entry.name), "right") for entry in OBJECTIVES]
    out.print(table(["variable", ("by", "right"), *heads, "takes room from"], rows))


def _tight(entry: Mapping[str, Any]) -> str:
    """The constraints that lose most by it, in shortfalls that count as one."""
    lost = sorted((value, name) for name, value in entry["rooms"].items() if value is not None and value < -0.01)
    return ", ".join(name for _, name in lost[:ROOMS]) or MISSING


def _head(name: str) -> str:
    return {"floor_grip": "floor\ngrip", "binding_clearance_mm": "binding\nclearance", HOLDING: "all\nholds"}.get(name) or (
        SHORT[name].replace(" ", "\n")
    )


def _number(value: float | None) -> str:
    return MISSING if value is None else number(value)


def _percent(share: float | None) -> str:
    return MISSING if share is None else f"{100 * share:+.1f}"
