"""Processor time of the search alone, per candidate: a mixed space of 24 axes, scored by arithmetic that costs nothing.

Run as ``python tests/bench/search_overhead.py [generations]``.
"""

from __future__ import annotations

import sys
import time
from dataclasses import dataclass

import numpy as np
import pandas as pd

from sweep.search import SIZE, Evaluated, Population, Problem, advance


@dataclass(frozen=True)
class Axis:
    name: str
    kind: str
    low: float = 0.0
    high: float = 1.0
    options: int = 0


def main(generations: int) -> None:
    axes = [Axis(f"x{i}", "real") for i in range(14)] + [Axis(f"n{i}", "integer", 8, 40) for i in range(4)]
    axes += [Axis(f"c{i}", "choice", options=5) for i in range(6)]
    scale = np.array([1.0] * 14 + [40.0] * 4 + [4.0] * 6)

    def evaluate(genes: np.ndarray) -> Evaluated:
        share = genes / scale
        rest = 1.0 + ((share[:, 4:] - 0.5) ** 2).sum(axis=1)
        angle = share[:, :4] * np.pi / 2
        sides = [rest * np.prod(np.cos(angle[:, : 4 - k]), axis=1) * (np.sin(angle[:, 4 - k]) if k else 1.0) for k in range(5)]
        return Evaluated(genes, np.column_stack(sides), np.zeros(len(genes)), pd.DataFrame(index=range(len(genes))))

    problem = Problem(axes, (False,) * 5, evaluate)
    population = Population.empty(problem)
    spent = []
    for generation in range(generations):
        began = time.process_time()
        _, population = advance(problem, population, np.random.SeedSequence([1, 0, generation]))
        spent.append((time.process_time() - began) / SIZE * 1e3)
    tenth = max(generations // 10, 1)
    print(f"search alone, {generations} generations of {SIZE}: {np.mean(spent):.3f} ms a candidate")
    print(f"first tenth {np.mean(spent[1 : tenth + 1]):.3f} ms, last tenth {np.mean(spent[-tenth:]):.3f} ms")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 100)
