"""From a wheel that exists: the best wheels that change few variables, and what has to be printed again for them.

Every single change is tried on a grid, every pair of variables at some values; further combinations are bred from the best of
those found so far. All of it follows from the study's seed.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from objectives.variables import INTEGER, VARIABLES
from sweep.errors import BadInput, Fault
from sweep.front import OBJECTIVES, bounds_of, costs_of, nondominated, thin
from sweep.population import UNKNOWN
from sweep.problem import Score, scored
from sweep.search import SIZE
from sweep.selection import survivors
from sweep.space import DECIMALS, PLAIN, TYRE_THICKNESS, Domain
from sweep.study import Study
from sweep.workshop.parts import changed_parts, kept, part_dimensions, same

#: values that a real variable is tried at over its range, and steps from where it stands as shares of the range
GRID = 13
NEAR = (0.01, 0.03)
#: steps over a real variable's range, at least: values in between are rounded away
STEPS = 200
#: whole numbers tried of one variable
MOST_WHOLE = 25
#: candidates unless said otherwise: of single changes all are tried, so that this is for combinations
EVALUATIONS = 6000
#: share of the candidates that go into pairs of variables
PAIR_SHARE = 0.3
#: chances of what a child does with its parent's changes: join those of two, move one, add one, swap one, drop one
JOIN, MOVE, ADD, SWAP = 0.25, 0.4, 0.17, 0.12
#: chance that a further change moves with the one that is moved
TOGETHER = 0.3
#: spread of a moved real, as shares of its range
SPREADS = (0.02, 0.1, 0.3)
#: of the best with so many changes, how many are scored again at the front's phases, spread and of each objective; how many of
#: the nearest where none holds
MOST_AGAIN, ENDS = 48, 8
NEAREST = 5

Changes = dict[str, object]
COUNT = "changes"


@dataclass(frozen=True)
class Improvement:
    """What came of it. ``designs`` have all columns, ``changes``, ``changed``, ``reprint`` and ``also_new`` beside them.

    They are the front over the objectives and the number of changes; where no wheel holds, those nearest to holding.
    """

    study: Study
    start: pd.Series
    designs: pd.DataFrame
    kept_parts: tuple[str, ...]
    fixed: frozenset[str]
    changes: int
    evaluations: int
    phases: int

    @property
    def feasible(self) -> bool:
        """Whether any wheel holds."""
        return bool(len(self.designs) and self.designs["feasible"].all())


def improve(
    study: Study,
    start: Mapping[str, object],
    keep: Sequence[str],
    changes: int,
    score: Score,
    evaluations: int = EVALUATIONS,
    note: Callable[[str], None] = lambda text: None,
) -> Improvement:
    """The best wheels within ``changes`` variables of ``start``. Raises BadInput.

    Variables that ``keep`` names, and those that define a part it names, stay; so does what the study fixes at the start's own
    value. New values lie within the study's space.
    """
    parts, fixed, faults = kept(keep)
    if changes < 1:
        faults.append(Fault("--changes", "must be at least 1", str(changes)))
    base = {variable.name: start[variable.name] for variable in VARIABLES}
    free = [variable.name for variable in VARIABLES if variable.name not in fixed]
    tried = {name: _values(study.space.domains[name], base[name]) for name in free}
    tried = {name: values for name, values in tried.items() if values}
    if not tried and not faults:
        remedy = "keep less, or widen the study's [space]"
        faults.append(Fault("--keep", "must leave a variable that may change", ", ".join(keep) or "", study.path, remedy))
    if faults:
        raise BadInput(faults)
    pool = _Pool(study, base, score)
    pool.add([{}])
    singles = [{name: value} for name, values in tried.items() for value in values]
    note(f"Trying {len(singles)} single changes of {len(tried)} variables.")
    pool.add(singles)
    rng = np.random.default_rng(study.search.seed)
    if changes > 1:
        note(f"Trying combinations of up to {min(changes, len(tried))}, {max(evaluations - len(singles), 0)} candidates.")
        pool.add(_pairs(tried, evaluations - pool.scored))
        _breed(pool, study, base, sorted(tried), min(changes, len(tried)), evaluations, rng)
    best = pool.best(study.search.front_phases)
    designs = _described(best, study, base, parts)
    own = scored(pd.DataFrame([base]), study.search.front_phases, score).iloc[0]
    return Improvement(study, own, designs, parts, fixed, changes, pool.scored, study.search.front_phases)


def _values(domain: Domain, own: object) -> list[object]:
    """What a variable may be tried at, other than what it is."""
    variable = domain.variable
    if domain.choices:
        return [choice for choice in domain.choices if choice != own]
    if variable.kind == INTEGER:
        low, high, at = int(domain.low), int(domain.high), int(own)  # type: ignore[call-overload]
        picked = np.rint(np.linspace(low, high, min(high - low + 1, MOST_WHOLE))).astype(int).tolist()
        near = [at + step for step in (-2, -1, 1, 2) if low <= at + step <= high]
        return [int(value) for value in sorted({*picked, *near}) if value != at]
    width = domain.high - domain.low
    here = float(own)  # type: ignore[arg-type]
    near = [here + sign * share * width for share in NEAR for sign in (-1, 1)]
    grid = [_rounded(domain, value) for value in (*np.linspace(domain.low, domain.high, GRID).tolist(), *near)]
    return [value for value in sorted({*grid}) if domain.low <= value <= domain.high and value != here]


def _rounded(domain: Domain, value: float) -> float:
    """A value with no more decimals than a maker wants: steps of a two hundredth of the range or finer."""
    width = domain.high - domain.low
    decimals = min(max(0, -math.floor(math.log10(width / STEPS))), DECIMALS) if width > 0 else DECIMALS
    return float(np.clip(round(value, decimals), domain.low, domain.high))


def _pairs(tried: Mapping[str, list[object]], evaluations: int) -> list[Changes]:
    """Two changes at a time: every pair of variables at a few values each that are spread over those tried of it.

    As many values as fit into a share of the evaluations. What mends a wheel together may look bad alone and not be bred.
    """
    pairs = list(itertools.combinations(sorted(tried), 2))
    each = math.isqrt(int(PAIR_SHARE * max(evaluations, 0) / max(len(pairs), 1)))
    shares = [(k + 0.5) / each for k in range(each)]
    some = {name: [values[int(share * len(values))] for share in shares] for name, values in tried.items()}
    return [{one: a, two: b} for one, two in pairs for a in dict.fromkeys(some[one]) for b in dict.fromkeys(some[two])]


class _Pool:
    """All candidates scored so far, each once, in the order in which they were made."""

    def __init__(self, study: Study, base: Changes, score: Score) -> None:
        self.study, self.base, self.score = study, base, score
        self.known: dict[tuple[tuple[str, object], ...], int] = {}
        self.changes: list[Changes] = []
        self.costs = np.empty((0, len(OBJECTIVES)))
        self.violation = np.empty(0)
        self.scored = 0
        self.elite, self.seen = np.empty(0, dtype=int), 0

    def add(self, candidates: Sequence[Changes]) -> None:
        """Score those that are new."""
        fresh: list[Changes] = []
        for candidate in candidates:
            key = tuple(sorted(candidate.items()))
            if key not in self.known:
                self.known[key] = len(self.changes) + len(fresh)
                fresh.append(candidate)
        if not fresh:
            return
        table = scored(self.designs(fresh), self.study.search.phases, self.score)
        costs = costs_of(table)
        known = np.isfinite(costs).all(axis=1)
        violation = table["violation"].to_numpy(dtype=float)
        holds = table["feasible"].to_numpy(dtype=bool) & known
        self.costs = np.concatenate([self.costs, np.where(known[:, None], costs, np.inf)])
        self.violation = np.concatenate([self.violation, np.where(holds, 0.0, np.where(violation > 0, violation, UNKNOWN))])
        self.changes += fresh
        self.scored += len(fresh)

    def designs(self, changes: Sequence[Changes]) -> pd.DataFrame:
        table = pd.DataFrame([{**self.base, **own} for own in changes])
        for variable in VARIABLES:
            if not variable.names:
                table[variable.name] = table[variable.name].astype(np.int64 if variable.kind == INTEGER else float)
        return self.study.space.canonical(table)

    def parents(self, rng: np.random.Generator) -> list[Changes]:
        """The survivors of the last parents and of what was scored since."""
        rows = np.concatenate([self.elite, np.arange(self.seen, self.scored)]).astype(int)
        self.elite, self.seen = rows[survivors(self.costs[rows], self.violation[rows], SIZE, rng)], self.scored
        return [self.changes[row] for row in self.elite]

    def best(self, phases: int) -> pd.DataFrame:
        """The front over objectives and number of changes, at ``phases``; the nearest where none holds."""
        counts = np.array([len(own) for own in self.changes])
        rows = np.flatnonzero(self.violation <= 0)
        if len(rows):
            rows = rows[self._front(self.costs[rows], counts[rows], [str(row) for row in rows])]
            rows = np.concatenate([self._spread(rows[counts[rows] == count]) for count in np.unique(counts[rows])])
        again = self._again(rows, phases) if len(rows) else pd.DataFrame()
        if len(again) and again["feasible"].any():
            again = again[again["feasible"].to_numpy(dtype=bool)].reset_index(drop=True)
            costs, counts = costs_of(again), again[COUNT].to_numpy(dtype=float)
            return again.iloc[self._front(costs, counts, again["design"].tolist())].reset_index(drop=True)
        nearest = np.lexsort((counts, self.violation))
        return self._again(nearest[counts[nearest] > 0][:NEAREST], phases)

    def _spread(self, rows: np.ndarray) -> np.ndarray:
        """Some of many rows: the best of each objective, since the very best may not hold at more phases, and a spread."""
        costs = self.costs[rows]
        picked = survivors(costs, self.violation[rows], MOST_AGAIN, np.random.default_rng(self.study.search.seed))
        ends = np.argsort(costs, axis=0, kind="stable")[:ENDS].ravel()
        return rows[np.unique(np.concatenate([picked, ends]))]

    def _again(self, rows: np.ndarray, phases: int) -> pd.DataFrame:
        changes = [self.changes[row] for row in rows]
        table = scored(self.designs(changes), phases, self.score)
        return table.assign(**{COUNT: [len(own) for own in changes], "_own": changes})

    def _front(self, costs: np.ndarray, counts: np.ndarray, ids: Sequence[str]) -> np.ndarray:
        """Rows that nothing beats in objectives and fewness of changes; those of as many changes thinned by resolution."""
        best = np.flatnonzero(nondominated(np.column_stack([costs, counts])))
        steps = [self.study.search.resolution[objective.name] for objective in OBJECTIVES]
        found = []
        for count in np.unique(counts[best]):
            own = best[counts[best] == count]
            found.append(own[thin(costs[own], [ids[row] for row in own], steps)])
        return np.sort(np.concatenate(found))


def _breed(
    pool: _Pool, study: Study, base: Changes, names: Sequence[str], most: int, evaluations: int, rng: np.random.Generator
) -> None:
    """Combinations of changes until so many candidates are scored, or nothing new comes up."""
    idle = 0
    while pool.scored < evaluations and idle < 5:
        parents, before = pool.parents(rng), pool.scored
        wanted = min(SIZE, evaluations - pool.scored)
        pool.add([_child(parents, study, base, names, most, rng) for _ in range(wanted)])
        idle = idle + 1 if pool.scored == before else 0


def _child(
    parents: Sequence[Changes], study: Study, base: Changes, names: Sequence[str], most: int, rng: np.random.Generator
) -> Changes:
    own = dict(parents[int(rng.integers(len(parents)))])
    chance = rng.random()
    if chance < JOIN:
        own = parents[int(rng.integers(len(parents)))] | own
        while len(own) > most:
            del own[sorted(own)[rng.integers(len(own))]]
    elif chance < JOIN + MOVE and own:
        # several at once: along a constraint one alone can go nowhere
        least = sorted(own)[rng.integers(len(own))]
        for name in sorted(own):
            if name == least or rng.random() < TOGETHER:
                own[name] = _moved(study.space.domains[name], own[name], rng)
    elif chance < JOIN + MOVE + ADD + SWAP or not own:
        if own and (len(own) >= most or chance > JOIN + MOVE + ADD):
            del own[sorted(own)[rng.integers(len(own))]]
        name = names[int(rng.integers(len(names)))]
        own[name] = _moved(study.space.domains[name], own.get(name, base[name]), rng)
    elif len(own) > 1:
        del own[sorted(own)[rng.integers(len(own))]]
    return {name: value for name, value in own.items() if value != base[name]}


def _moved(domain: Domain, value: object, rng: np.random.Generator) -> object:
    """Another value of a variable, near or far."""
    if domain.choices:
        others = [choice for choice in domain.choices if choice != value]
        return others[rng.integers(len(others))] if others else value
    width, at = domain.high - domain.low, float(value)  # type: ignore[arg-type]
    spread = SPREADS[rng.integers(len(SPREADS))] * width
    if domain.variable.kind == INTEGER:
        step = int(np.rint(rng.normal() * max(spread, 1.0))) or int(rng.choice([-1, 1]))
        return int(np.clip(at + step, domain.low, domain.high))
    return _rounded(domain, at + rng.normal() * spread)


def _total(costs: np.ndarray) -> np.ndarray:
    """Sum of the costs, each from 0 at its best to 1 at its worst."""
    ideal, nadir = bounds_of(costs)
    return np.asarray(((costs - ideal) / np.where(nadir > ideal, nadir - ideal, 1.0)).sum(axis=1))


def _described(designs: pd.DataFrame, study: Study, base: Changes, parts: Sequence[str]) -> pd.DataFrame:
    """Designs with what changes in words and what has to be made again, the fewest changes first, then the best in sum.

    A kept part whose dimensions would change all the same rules a design out.
    """
    before = part_dimensions(base, study.scenario)
    if before is None:
        raise BadInput([Fault("DESIGNS", "must be a wheel that has a shape", "", study.path, "check its numbers")])
    rows, words = [], []
    for row, (_, design) in enumerate(designs.iterrows()):
        after = part_dimensions(design, study.scenario)
        if after is None or not all(same(part, before, after) for part in parts):
            continue
        own = design["_own"]
        moved = [name for name in base if name in own and _counts(name, base, own)]
        told = [f"{name} {_short(base[name])} to {_short(own[name])}" for name in moved]
        reprint, others = changed_parts(before, after)
        rows.append(row)
        words.append(("; ".join(told), ";".join(reprint), ";".join(others)))
    found = designs.iloc[rows].drop(columns="_own").reset_index(drop=True)
    columns = dict(zip(("changed", "reprint", "also_new"), zip(*words, strict=True), strict=True)) if words else {}
    found = found.assign(**columns)
    if not len(found):
        return found
    leading = ["design", COUNT, *columns]
    found = found[[*leading, *(name for name in found.columns if name not in leading)]]
    if not found["feasible"].all():
        return found
    return found.iloc[np.lexsort((_total(costs_of(found)), found[COUNT]))].reset_index(drop=True)


def _counts(name: str, base: Changes, own: Changes) -> bool:
    """Whether a change of a variable changes the wheel: the tyre's thickness does not on a plain bore."""
    return name != TYRE_THICKNESS or own.get("bore", base["bore"]) != PLAIN


def _short(value: object) -> str:
    return value if isinstance(value, str) else f"{float(value):g}"  # type: ignore[arg-type]

