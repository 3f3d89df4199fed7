"""The list of objectives, the output columns, and ``evaluate``, which scores a table of designs.

How far a wheel is from feasible, ``violation``: every shortfall of a constraint's or limit's slack over its scale, and 1 for
every constraint, limit or objective that cannot be told. So it is always a finite number, 0 where all holds.
"""

from __future__ import annotations

import difflib
from collections.abc import Callable
from dataclasses import dataclass, fields, replace
from typing import Any

import numpy as np
import pandas as pd

from objectives import contacts as contact_laws
from objectives.assessment import Assessment, Layout
from objectives.columns import NUMBER, OUTPUTS, WORDS, Column
from objectives.compiling import compile_apart
from objectives.constraints import CONSTRAINT, CONSTRAINTS, MECHANICS_CONSTRAINTS, geometry_slacks, shortfall, violation
from objectives.contacts import contact_constants
from objectives.drivetrain import drive
from objectives.friction_loss import friction_loss
from objectives.geometry_constraints import Constraint, GeometryPlan
from objectives.layout import layout
from objectives.mass import mass, mass_breakdown
from objectives.phases import kernel_inputs, phase_lattice
from objectives.printability import printability
from objectives.robot import load_cases
from objectives.running import solve_running
from objectives.scenario import Limit, Scenario
from objectives.slip_margin import slip_margin
from objectives.states import solve_states
from objectives.torque_capacity import torque_capacity
from objectives.unknowns import Unknowns
from objectives.validity import RANGES, ranges_left
from objectives.variables import INTEGER, VARIABLES
from objectives.wheel import PLAIN, WheelBatch, wheel_batch

MAX, MIN = "max", "min"

#: shortfall of a user's limit, over the limit itself, that counts as 1 in ``violation`` (over 1 of its unit for a limit of 0)
LIMIT_SCALE = 0.3


@dataclass(frozen=True)
class Objective:
    """What a wheel is wanted to be good at. ``sense`` is MAX or MIN; ``function`` gives it in ``unit``, shape (n,).

    ``resolution``, in ``unit``, is the difference below which two wheels count as equal unless a study says otherwise.
    """

    name: str
    unit: str
    sense: str
    function: Callable[[Assessment], np.ndarray]
    resolution: float
    meaning: str


#: a new objective is one module with one function, and one line here
OBJECTIVES: tuple[Objective, ...] = (
    Objective("torque_capacity_Nm", "N m", MAX, torque_capacity, 0.05, "torque of friction and motors at top speed, both ways"),
    Objective("slip_margin", NUMBER, MAX, slip_margin, 0.02, "smallest drive limit over force asked of all load cases"),
    Objective("friction_loss_W", "W", MIN, friction_loss, 0.1, "power lost between motors and floor over the duty"),
    Objective("mass_kg", "kg", MIN, mass, 0.02, "mass of the wheel unit, motors included"),
    Objective("printability", NUMBER, MAX, printability, 0.01, "how readily it prints, 0 to 1"),
)

#: every output column, in order. The limits of a scenario add slacks of their own: see ``columns_of``.
COLUMNS: dict[str, Column] = {
    **{objective.name: Column(objective.unit, objective.meaning) for objective in OBJECTIVES},
    "feasible": Column(WORDS, "whether every constraint and limit holds"),
    "violation": Column(NUMBER, "shortfalls over their scales, added up; 0 where feasible"),
    **{
        f"slack_{constraint.name}": Column(constraint.unit or NUMBER, f"room left: {constraint.meaning}")
        for constraint in CONSTRAINTS
    },
    "status": Column(WORDS, "why a number is missing; empty where none is"),
    "validity": Column(WORDS, "ranges of the laws that are left: " + ", ".join(range_.name for range_ in RANGES)),
    **{output.name: Column(output.unit, output.meaning) for output in OUTPUTS},
}

#: columns that no limit can be set on
NOT_LIMITED = {"violation"} | {name for name, column in COLUMNS.items() if column.unit == WORDS}


def limit_slacks(limit: Limit) -> dict[str, tuple[float, float]]:
    """Columns of a limit's slacks: name to bound and sign, slack = sign (value - bound).

    >>> limit_slacks(Limit("slip_margin", least=1.3))
    {'slack_limit_slip_margin_min': (1.3, 1.0)}
    """
    ends = {"min": (limit.least, 1.0), "max": (limit.most, -1.0)}
    return {f"slack_limit_{limit.column}_{end}": (bound, sign) for end, (bound, sign) in ends.items() if np.isfinite(bound)}


def slack_scales(scenario: Scenario) -> dict[str, float]:
    """Columns of slacks under a scenario, and the shortfall of each, in its unit, that counts as 1 in ``violation``.

    The scale of a user's limit is ``LIMIT_SCALE`` of the limit itself, or 1 of its unit where it is 0.
    """
    scales = {f"slack_{constraint.name}": constraint.scale for constraint in CONSTRAINTS}
    for limit in scenario.limits:
        scales |= {name: LIMIT_SCALE * abs(bound) or 1.0 for name, (bound, _) in limit_slacks(limit).items()}
    return scales


def columns_of(scenario: Scenario) -> dict[str, Column]:
    """Every output column that ``evaluate`` gives under a scenario, in order: COLUMNS and the slacks of its limits.

    Raises ValueError where a limit is set on what is no numeric output column.
    """
    slacks = {}
    for limit in scenario.limits:
        if limit.column not in COLUMNS or limit.column in NOT_LIMITED:
            numeric = [name for name in COLUMNS if name not in NOT_LIMITED]
            nearest = difflib.get_close_matches(limit.column, numeric, n=1)
            hint = f" (nearest: {nearest[0]!r})" if nearest else ""
            raise ValueError(f"a limit must be set on a numeric output column, got {limit.column!r}{hint}")
        for name, (bound, sign) in limit_slacks(limit).items():
            rule = "at least" if sign > 0 else "at most"
            slacks[name] = Column(COLUMNS[limit.column].unit, f"room left: {limit.column} {rule} {bound:g}")
    return COLUMNS | slacks


def evaluate(
    designs: pd.DataFrame,
    scenario: Scenario,
    *,
    phases: int = 16,
    chunk: int = 1000,
    geometry_first: bool = True,
    unknowns: Unknowns | None = None,
) -> pd.DataFrame:
    """Scores of a table of designs, same order and index; columns of ``columns_of(scenario)``.

    A design that breaks a geometry constraint is not given to the mechanics: its numbers are nan, ``status`` says why and
    its slacks how far off it is. ``geometry_first=False`` computes it all the same, as far as there is a wheel to compute.
    A design with a number that is missing or outside its meaning is never computed.

    ``designs`` has a column for each design variable; others are passed over. ``phases`` is the number of positions of the
    wheel that limits and losses are taken over: compare only at equal numbers. ``chunk`` designs at a time bound the memory;
    it has no influence on the numbers. ``unknowns`` says how each design, once built, differs from its tables.

    Raises KeyError where a column is missing, ValueError where a name (material, motor, bore, floor, limit) is not known.
    """
    for name, value in (("phases", phases), ("chunk", chunk)):
        if value != int(value) or value < 1:
            raise ValueError(f"{name} must be a whole number of at least 1, got {value}")
    columns = columns_of(scenario)
    table: dict[str, Any] = {
        name: np.full(len(designs), np.nan) if column.unit != WORDS else np.full(len(designs), "", dtype=object)
        for name, column in columns.items()
    }
    table["feasible"] = np.zeros(len(designs), dtype=bool)
    lattice = phase_lattice(phases)
    compile_apart(designs, scenario)
    for start in range(0, len(designs), chunk):
        rows = slice(start, start + chunk)
        differ = None if unknowns is None else unknowns.take(rows)
        for name, values in _score(designs.iloc[rows], scenario, lattice, geometry_first, differ).items():
            table[name][rows] = values
    for name in ("status", "validity"):
        table[name] = pd.Series(table[name], index=designs.index, dtype="str")
    return pd.DataFrame(table, index=designs.index)


def assess(wheel: WheelBatch, plan: Layout, scenario: Scenario, lattice: np.ndarray) -> Assessment:
    """Everything that is known of a batch of wheels that can be put together; at least one."""
    masses = mass_breakdown(wheel, plan, scenario)
    cases = load_cases(wheel, masses.total, masses.wheel_inertia, scenario)
    contacts = contact_constants(wheel, cases.wheel_load)
    inputs = kernel_inputs(wheel, contacts, cases.wheel_load)
    _, first = np.unique(cases.direction.round(9), return_index=True)
    normal, limits = solve_states(inputs, cases.direction[first], lattice)
    running = solve_running(wheel, contacts, inputs, cases, normal, lattice)
    return Assessment(
        wheel=wheel,
        scenario=scenario,
        layout=plan,
        mass=masses,
        cases=cases,
        normal=normal,
        limits=limits,
        running=running,
        drive=drive(wheel, plan, cases, running, limits, scenario),
        extra={"kernel_inputs": inputs, **{name: contacts[name] for name in contact_laws.COLUMNS}},
    )


def _score(
    designs: pd.DataFrame, scenario: Scenario, lattice: np.ndarray, geometry_first: bool, unknowns: Unknowns | None
) -> dict[str, np.ndarray]:
    """Columns of one chunk; those that stay nan for all of it may be missing."""
    with np.errstate(invalid="ignore"):  # of numbers that make no sense
        wheel = wheel_batch(designs, scenario.catalogue, scenario.robot.floor, unknowns)
    plan = layout(wheel, scenario)
    room = geometry_slacks(GeometryPlan(wheel, scenario, plan))
    count = len(wheel)
    status: list[list[str]] = [[] for _ in range(count)]
    sound = ~_meaningless(designs, wheel, status)
    broken = _broken(room, sound, status)
    rows = np.flatnonzero(sound & ~broken if geometry_first else sound & has_shape(wheel))
    found: dict[str, np.ndarray] = {}
    if len(rows):
        assessment = assess(wheel.take(rows), take(plan, rows), scenario, lattice)
        _unsettled(assessment, rows, status)
        found = {constraint.name: constraint.slack(assessment) for constraint in MECHANICS_CONSTRAINTS}
        found = {f"slack_{name}": values for name, values in found.items()}
        with np.errstate(all="ignore"):
            found |= {objective.name: objective.function(assessment) for objective in OBJECTIVES}
        found |= {output.name: output.of(assessment) for output in OUTPUTS}
        found["validity"] = np.array(ranges_left(assessment), dtype=object)
    scored = {name: _scattered(values, rows, count) for name, values in found.items()}
    scored |= {f"slack_{name}": values for name, values in room.items()}
    missing = np.full(count, np.nan)
    scales = slack_scales(scenario)
    short = violation({c.name: scored.get(f"slack_{c.name}", missing) for c in CONSTRAINTS})
    for limit in scenario.limits:
        for name, (bound, sign) in limit_slacks(limit).items():
            scored[name] = sign * (scored.get(limit.column, missing) - bound)
            short += shortfall(scored[name], scales[name])
    untold = sum(np.isnan(scored.get(objective.name, missing)).astype(float) for objective in OBJECTIVES)
    scored["violation"] = short + untold
    scored["feasible"] = scored["violation"] == 0
    scored["status"] = np.array([";".join(reasons) for reasons in status], dtype=object)
    return scored


def has_shape(wheel: WheelBatch) -> np.ndarray:
    """Whether the rollers and circles have positive sizes, shape (n,): what the mechanics cannot do without."""
    with np.errstate(invalid="ignore"):
        return (
            (wheel.output_roller_radius > wheel.axle_diameter / 2)
            & (wheel.pitch_radius > wheel.output_roller_radius)
            & (wheel.output_roller_length > 0)
            & (wheel.output_roller_length < 2 * wheel.wheel_radius)
            & (wheel.contact_circle_radius > 0)
            & (wheel.hub_roller_centre_radius > 0)
        )


def _meaningless(designs: pd.DataFrame, wheel: WheelBatch, status: list[list[str]]) -> np.ndarray:
    """Which designs have a number that is missing or has no meaning; says so in ``status``."""
    faulty = np.zeros(len(designs), dtype=bool)
    for variable in VARIABLES:
        if variable.names:
            continue
        values = designs[variable.name].to_numpy(dtype=float)
        with np.errstate(invalid="ignore"):
            inside = (values >= variable.least) & (values <= variable.most) & np.isfinite(values)
            if variable.open_ends:
                inside &= (values > variable.least) & (values < variable.most)
            if variable.kind == INTEGER:
                inside &= values == np.rint(values)
        if variable.name == "tyre_thickness_mm":
            inside |= wheel.bore == PLAIN  # soft throughout, without a core
        faulty |= ~inside
        ends = "()" if variable.open_ends else "[]"
        whole = "be a whole number" if variable.kind == INTEGER else "lie"
        for row in np.flatnonzero(~inside):
            status[row].append(
                f"input: {variable.name} must {whole} in {ends[0]}{variable.least:g}, {variable.most:g}{ends[1]}, "
                f"got {values[row]:g}"
            )
    return faulty


def _broken(room: dict[str, np.ndarray], sound: np.ndarray, status: list[list[str]]) -> np.ndarray:
    """Which designs break a constraint of the geometry; says by how much in ``status`` where the input is sound."""
    broken = np.zeros(len(sound), dtype=bool)
    for name, slack in room.items():
        fails = ~(slack >= 0)  # nan too
        broken |= fails
        for row in np.flatnonzero(fails & sound):
            status[row].append(f"geometry: {_told(CONSTRAINT[name], slack[row])}")
    return broken


def _told(constraint: Constraint, slack: float) -> str:
    if np.isnan(slack):
        return f"{constraint.name} cannot be told"
    return f"{constraint.name} {slack:.3g} {constraint.unit}".rstrip()


def _unsettled(assessment: Assessment, rows: np.ndarray, status: list[list[str]]) -> None:
    """Say in ``status`` which states of the mechanics are missing."""
    limits, running = assessment.limits, assessment.running
    lost = np.isnan(running.hub_torque).any(axis=2)
    for at in np.flatnonzero((limits.without_contact > 0) | (limits.unresolved > 0) | lost.any(axis=1)):
        reasons = status[rows[at]]
        if limits.without_contact[at]:
            reasons.append(f"no contact on a side in {limits.without_contact[at]} of {limits.force.shape[2]} phases")
        if limits.unresolved[at]:
            reasons.append(f"limit state not found in {limits.unresolved[at]} states")
        if lost[at].any() and not limits.without_contact[at]:
            cases = [name for name, missed in zip(assessment.cases.names, lost[at], strict=True) if missed]
            reasons.append(f"no steady running under {', '.join(cases)}")


def take(plan: Layout, rows: np.ndarray) -> Layout:
    """The layouts at ``rows``."""
    arrays = {item.name: getattr(plan, item.name) for item in fields(plan)}
    return replace(plan, **{name: value[rows] for name, value in arrays.items() if isinstance(value, np.ndarray)})


def _scattered(values: np.ndarray, rows: np.ndarray, count: int) -> np.ndarray:
    """``values`` at ``rows`` of an array of ``count``; nan, or no words, elsewhere."""
    spread = np.full(count, "" if values.dtype == object else np.nan, dtype=values.dtype if values.dtype == object else float)
    spread[rows] = values
    return spread
