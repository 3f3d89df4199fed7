"""What a front is and what it says: dominance, thinning by resolution, hypervolume, extremes, knee, baseline, filters.

Costs are objectives turned so that smaller is better, shape (n, m). Dominance and hypervolume are moocore's.
"""

from __future__ import annotations

import ast
import operator
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import moocore
import numpy as np
import pandas as pd

from objectives import scoring
from objectives.scoring import MAX
from sweep.errors import BadInput, Fault, did_you_mean


@dataclass(frozen=True)
class Objective:
    """A column that is an objective, and whether more of it is better."""

    name: str
    maximise: bool


OBJECTIVES = tuple(Objective(objective.name, objective.sense == MAX) for objective in scoring.OBJECTIVES)

#: points up to which the hypervolume is exact; 1e4 points of five objectives take seconds, the time grows with the square
EXACT_UP_TO = 10_000
SAMPLES = 65_536
LONGEST_EXPRESSION = 2000
COMPARE = "write column < number or column == name"


def costs_of(table: pd.DataFrame, objectives: Sequence[Objective] = OBJECTIVES) -> np.ndarray:
    """Costs (n, m) of a table that has the objectives as columns."""
    columns = [(-1.0 if o.maximise else 1.0) * table[o.name].to_numpy(dtype=float) for o in objectives]
    return np.column_stack(columns) if columns else np.empty((len(table), 0))


def nondominated(costs: np.ndarray) -> np.ndarray:
    """Whether no other row dominates each row, shape (n,). Equal rows are all kept; a row with nan never is.

    >>> nondominated(np.array([[0.0, 1.0], [1.0, 0.0], [1.0, 1.0], [0.0, 1.0]])).tolist()
    [True, True, False, True]
    """
    known = np.asarray(~np.isnan(costs).any(axis=1))
    kept = np.zeros(len(costs), dtype=bool)
    if known.any():
        kept[known] = moocore.is_nondominated(costs[known], keep_weakly=True)
    return kept


def thin(costs: np.ndarray, ids: Sequence[str], resolution: Sequence[float]) -> np.ndarray:
    """Rows of the front at a resolution, ascending: an epsilon-dominance archive as a function of the set alone.

    Every row falls into a box with sides ``resolution`` (m,) [each objective's own unit]; only boxes that no other box
    dominates count, and of a box the row nearest to its better corner (sum of shares of the sides), then the one with the
    smaller costs, then the smaller id. The best of each objective stays whatever its box. No order of arrival matters, and
    thinning parts and then their union gives the same as thinning the union (Laumanns, Thiele, Deb and Zitzler, "Combining
    convergence and diversity in evolutionary multiobjective optimization", Evol. Comput. 10 (2002) 263, with the first
    arrival replaced by an order). Rows with nan are left out; of equal ids one is kept.

    >>> thin(np.array([[0.1, 0.9], [0.2, 0.8], [0.9, 0.1], [0.95, 0.95]]), ["a", "b", "c", "d"], [0.5, 0.5]).tolist()
    [0, 2]
    """
    rows = np.flatnonzero(np.isfinite(costs).all(axis=1))
    rows = rows[np.unique(np.asarray(ids, dtype=object)[rows].astype(str), return_index=True)[1]] if len(rows) else rows
    if not len(rows):
        return rows
    values, names = costs[rows], np.asarray(ids, dtype=object)[rows].astype(str)
    scaled = values / np.asarray(resolution, dtype=float)
    boxes = np.floor(scaled)
    depth = np.sum(scaled - boxes, axis=1)
    by_box = np.lexsort((names, *values.T[::-1], depth, *boxes.T[::-1]))
    heads = np.ones(len(by_box), dtype=bool)
    heads[1:] = np.any(boxes[by_box][1:] != boxes[by_box][:-1], axis=1)
    leaders = by_box[heads]
    leaders = leaders[moocore.is_nondominated(boxes[leaders])]
    total = np.sum(scaled, axis=1)
    ends = [np.lexsort((names, *values.T[::-1], total, values[:, k]))[0] for k in range(values.shape[1])]
    return np.sort(rows[np.unique(np.concatenate([leaders, ends]))])


def thinned(
    table: pd.DataFrame, resolution: Mapping[str, float], objectives: Sequence[Objective] = OBJECTIVES
) -> pd.DataFrame:
    """The front of a table of designs at a resolution by objective, in an order that does not depend on the table's."""
    costs = costs_of(table, objectives)
    rows = thin(costs, table["design"].tolist(), [resolution[objective.name] for objective in objectives])
    ids = table["design"].to_numpy(dtype=str)[rows]
    return table.iloc[rows[np.lexsort((ids, *costs[rows].T[::-1]))]].reset_index(drop=True)


def bounds_of(costs: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Ideal and nadir: the smallest and largest cost of each objective over a front, both (m,)."""
    return costs.min(axis=0), costs.max(axis=0)


def hypervolume(
    costs: np.ndarray,
    ideal: Sequence[float] | np.ndarray,
    nadir: Sequence[float] | np.ndarray,
    exact_up_to: int = EXACT_UP_TO,
    samples: int = SAMPLES,
) -> float:
    """Share of the box from ``ideal`` to a tenth beyond ``nadir`` that a set of costs dominates [-].

    ``costs`` (n, m); ``ideal`` and ``nadir`` (m,) are stated by the caller, so that values of different sets compare; a set
    that is better than ``ideal`` counts with more than 1. Exact up to ``exact_up_to`` points on the front, beyond that the
    deterministic quadrature over directions of moocore with ``samples`` of them. An objective without span is left out.

    >>> round(hypervolume(np.array([[0.0, 0.5], [0.5, 0.0]]), [0.0, 0.0], [1.0, 1.0]) * 1.21, 6)
    0.96
    """
    ideal, nadir = np.asarray(ideal, dtype=float), np.asarray(nadir, dtype=float)
    spans = nadir > ideal
    if not spans.any() or not len(costs):
        return 0.0
    scaled = (costs[:, spans] - ideal[spans]) / (1.1 * (nadir - ideal)[spans])
    scaled = scaled[np.all(scaled < 1.0, axis=1)]
    if not len(scaled):
        return 0.0
    scaled = scaled[moocore.is_nondominated(scaled)]
    reference = np.ones(scaled.shape[1])
    if len(scaled) <= exact_up_to or scaled.shape[1] < 4:
        return float(moocore.hypervolume(scaled, ref=reference))
    return float(moocore.hv_approx(scaled, ref=reference, nsamples=samples))


def extremes(front: pd.DataFrame, objectives: Sequence[Objective] = OBJECTIVES) -> dict[str, int]:
    """Position of the best design of each objective; of several, the one better in the sum of the others, then the first id."""
    costs = costs_of(front, objectives)
    if not len(costs):
        return {}
    total, ids = _normalised(costs).sum(axis=1), front["design"].to_numpy(dtype=str)
    return {o.name: int(np.lexsort((ids, total, costs[:, k]))[0]) for k, o in enumerate(objectives)}


def knee(front: pd.DataFrame, objectives: Sequence[Objective] = OBJECTIVES) -> int:
    """Position of the design farthest from the plane through the front's corners, on the side of the ideal point.

    Each objective is scaled to 0 at its best and 1 at its worst over the front; the plane is the one through the points that
    are best in nothing but one objective, ``sum_k scaled_k = m - 1``, so the farthest design is that of the smallest sum.
    The idea of the bulge is from I. Das, "On characterizing the knee of the Pareto curve based on normal-boundary
    intersection", Struct. Optim. 18 (1999) 107; corners taken as those of the scaled box, so that a front whose extremes
    coincide has a knee too. Of equals, the first id. Raises ValueError on an empty front.
    """
    if not len(front):
        raise ValueError("front must hold a design at least, got none")
    total = _normalised(costs_of(front, objectives)).sum(axis=1)
    return int(np.lexsort((front["design"].to_numpy(dtype=str), total))[0])


def _normalised(costs: np.ndarray) -> np.ndarray:
    ideal, nadir = bounds_of(costs)
    return (costs - ideal) / np.where(nadir > ideal, nadir - ideal, 1.0)


@dataclass(frozen=True)
class Comparison:
    """A front against a baseline. Gains are positive where a design is better, in the objective's own unit."""

    better_in_all: tuple[str, ...]  # designs better than the baseline in every objective
    dominating: tuple[str, ...]  # no worse in any and better in one
    baseline_on_front: bool  # no design dominates the baseline
    gains: pd.DataFrame  # a row per design in the front's order, a column per objective
    best_gain: Mapping[str, float]  # largest gain of each objective over the front


def against_baseline(
    front: pd.DataFrame, baseline: Mapping[str, object] | pd.Series, objectives: Sequence[Objective] = OBJECTIVES
) -> Comparison:
    """How the designs of a front compare with a baseline that has the objectives. A baseline's nan is beaten by any number."""
    own = costs_of(pd.DataFrame([dict(baseline)]), objectives)[0]
    gain = np.where(np.isnan(own), np.inf, own - costs_of(front, objectives))
    ids = front["design"].to_numpy(dtype=object)
    over = np.all(gain >= 0, axis=1) & np.any(gain > 0, axis=1)
    gains = pd.DataFrame(gain, columns=[o.name for o in objectives], index=pd.Index(ids, name="design"))
    best = {o.name: float(gain[:, k].max()) if len(gain) else float("nan") for k, o in enumerate(objectives)}
    return Comparison(tuple(ids[np.all(gain > 0, axis=1)]), tuple(ids[over]), not over.any(), gains, best)


COMPARISONS: dict[type[ast.cmpop], tuple[str, Callable[[Any, Any], Any]]] = {
    ast.Lt: ("<", operator.lt),
    ast.LtE: ("<=", operator.le),
    ast.Gt: (">", operator.gt),
    ast.GtE: (">=", operator.ge),
    ast.Eq: ("==", operator.eq),
    ast.NotEq: ("!=", operator.ne),
}


def where(table: pd.DataFrame, expression: str) -> np.ndarray:
    """Which rows meet an expression, shape (n,): comparisons of a column with a number or a name, joined by and, or, brackets.

    Nothing else is understood and nothing is executed. A comparison with a missing value is false. Raises BadInput.

    >>> table = pd.DataFrame({"mass_kg": [1.0, 2.0], "bore": ["ball", "plain"]})
    >>> where(table, "mass_kg < 1.5 or (bore == plain and 1 < mass_kg)").tolist()
    [True, True]
    """
    if len(expression) > LONGEST_EXPRESSION:
        raise _fault(f"must have at most {LONGEST_EXPRESSION} characters", str(len(expression)), "shorten it")
    try:
        tree = ast.parse(expression.strip(), mode="eval")
        return _mask(table, tree.body, expression)
    except (SyntaxError, ValueError, RecursionError, MemoryError) as error:
        remedy = "write column < number, column == name, joined by and, or, brackets; equality is =="
        raise _fault("must be comparisons joined by and, or, brackets", repr(expression), remedy) from error


def _mask(table: pd.DataFrame, node: ast.expr, text: str) -> np.ndarray:
    if isinstance(node, ast.BoolOp):
        join = np.logical_and if isinstance(node.op, ast.And) else np.logical_or
        return np.asarray(join.reduce([_mask(table, part, text) for part in node.values]))  # noqa: PD011
    if isinstance(node, ast.Compare):
        sides = [node.left, *node.comparators]
        pairs = zip(sides[:-1], node.ops, sides[1:], strict=True)
        return np.asarray(np.logical_and.reduce([_compared(table, left, op, right, text) for left, op, right in pairs]))
    if isinstance(node, ast.Name | ast.Constant):
        raise _fault("must compare a column with something", repr(_source(node, text)), COMPARE)
    raise _fault("must hold only comparisons, and, or, brackets", repr(_source(node, text)), "take that part out")


def _compared(table: pd.DataFrame, left: ast.expr, op: ast.cmpop, right: ast.expr, text: str) -> np.ndarray:
    if type(op) not in COMPARISONS:
        raise _fault("must compare with <, <=, >, >=, == or !=", repr(text), "use one of them")
    symbol, compare = COMPARISONS[type(op)]
    sides = [_side(table, left, text), _side(table, right, text)]
    columns = [isinstance(side, pd.Series) for side in sides]
    if not any(columns):
        named = next((node.id for node in (left, right) if isinstance(node, ast.Name)), "")
        if not named:
            raise _fault("must compare a column with something", repr(text), COMPARE)
        raise BadInput([Fault(named, "is not a column", "", "--where", did_you_mean(named, table.columns))])
    if all(columns):
        raise _fault("must compare a column with a number or a name", repr(text), "compare each of the two with a number")
    column, other = (sides[0], sides[1]) if columns[0] else (sides[1], sides[0])
    assert isinstance(column, pd.Series)
    words = not (pd.api.types.is_numeric_dtype(column) or pd.api.types.is_bool_dtype(column))
    if isinstance(other, str) and not words and other.lower() in ("true", "false"):
        other = other.lower() == "true"
    if words != isinstance(other, str):
        rule = "holds names, so it must be compared with a name" if words else "holds numbers, so it must be compared with one"
        raise BadInput([Fault(str(column.name), rule, repr(other), "--where")])
    if words and symbol not in ("==", "!="):
        raise BadInput([Fault(str(column.name), "holds names, so it must be compared by == or !=", symbol, "--where")])
    values = column.to_numpy(dtype=object if words else float)
    mask = np.asarray(compare(values, other) if columns[0] else compare(other, values), dtype=bool)
    return mask & ~column.isna().to_numpy()


def _side(table: pd.DataFrame, node: ast.expr, text: str) -> pd.Series | float | str:
    if isinstance(node, ast.Name):
        return table[node.id] if node.id in table.columns else node.id
    if isinstance(node, ast.UnaryOp) and isinstance(node.op, ast.USub | ast.UAdd):
        value = _side(table, node.operand, text)
        if isinstance(value, float):
            return -value if isinstance(node.op, ast.USub) else value
    if isinstance(node, ast.Constant) and isinstance(node.value, int | float | str):
        return node.value if isinstance(node.value, str) else float(node.value)
    remedy = "put a name that is more than one word in quotes"
    raise _fault("must compare columns with numbers or names", repr(_source(node, text)), remedy)


def _source(node: ast.expr, text: str) -> str:
    return ast.get_source_segment(text.strip(), node) or text


def _fault(rule: str, value: str, remedy: str) -> BadInput:
    return BadInput([Fault("expression", rule, value, "--where", remedy)])
