"""The search space: what each design variable may be, and how a point of the search becomes a wheel.

A real gene is a share of the room there is, in [0, 1]; an integer gene is the number itself; a choice gene is the position
of an option. Reals of a design are rounded to 1e-4 of their unit (a tenth of a micrometre), so that a design has one name
wherever it is stored.
"""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import pandas as pd

from objectives.catalogue import Catalogue
from objectives.scenario import Scenario
from objectives.variables import CHOICE, INTEGER, REAL, VARIABLES, Variable
from sweep.meaning import options
from sweep.room import ROOMS, Bounds, Drawn, Surroundings

DECIMALS = 4
PLAIN = "plain"
TYRE_THICKNESS = "tyre_thickness_mm"


@dataclass(frozen=True)
class Domain:
    """What one variable may be: the numbers from ``low`` to ``high``, or one of ``choices`` where there are any."""

    variable: Variable
    low: float = 0.0
    high: float = 0.0
    choices: tuple[str | float, ...] = ()

    @property
    def fixed(self) -> bool:
        return len(self.choices) == 1 or (not self.choices and self.low == self.high)

    @property
    def value(self) -> str | float:
        """The value of a fixed variable, the first or lowest of another."""
        return self.choices[0] if self.choices else self.low

    @property
    def least(self) -> float:
        """The lowest number. Names have none."""
        return min(float(choice) for choice in self.choices) if self.choices else self.low

    @property
    def most(self) -> float:
        """The highest number. Names have none."""
        return max(float(choice) for choice in self.choices) if self.choices else self.high

    def contains(self, values: np.ndarray) -> np.ndarray:
        if self.choices:
            return np.isin(values, np.array(self.choices, dtype=values.dtype))
        return (values >= self.low) & (values <= self.high)


@dataclass(frozen=True)
class Gene:
    """One axis of the search: ``real`` in [0, 1], ``integer`` from low to high, ``choice`` of ``options`` positions."""

    name: str
    kind: str
    low: float = 0.0
    high: float = 1.0
    options: int = 0


def shipped_domain(variable: Variable, catalogue: Catalogue) -> Domain:
    """What a variable may be where the study does not say."""
    if variable.kind == CHOICE:
        return Domain(variable, choices=variable.choices or options(variable, catalogue))
    return Domain(variable, variable.low, variable.high)


def space(domains: Mapping[str, Domain], scenario: Scenario) -> Space:
    """The search space of a scenario."""
    numbers = {name: domain for name, domain in domains.items() if not domain.variable.names}
    least = {name: domain.least for name, domain in numbers.items()}
    most = {name: domain.most for name, domain in numbers.items()}
    return Space(domains, Surroundings(scenario, least, most))


@dataclass(frozen=True)
class Space:
    """The domains of all design variables, by name and in their order."""

    domains: Mapping[str, Domain]
    around: Surroundings

    @cached_property
    def genes(self) -> tuple[Gene, ...]:
        """The axes of the search, in the order in which they are drawn; a fixed variable has none."""
        return tuple(self._gene(self.domains[name]) for name in self._order if not self._settled(self.domains[name]))

    @cached_property
    def _order(self) -> tuple[str, ...]:
        free = [variable.name for variable in VARIABLES if variable.name not in ROOMS]
        return (*free, *ROOMS)

    def _settled(self, domain: Domain) -> bool:
        """Fixed, or without meaning because no roller has a core."""
        return domain.fixed or (domain.variable.name == TYRE_THICKNESS and self.domains["bore"].choices == (PLAIN,))

    @staticmethod
    def _gene(domain: Domain) -> Gene:
        name = domain.variable.name
        if domain.choices:
            return Gene(name, CHOICE, 0, len(domain.choices) - 1, len(domain.choices))
        if domain.variable.kind == INTEGER and name not in ROOMS:
            return Gene(name, INTEGER, domain.low, domain.high)
        return Gene(name, REAL)

    def decode(self, genes: np.ndarray) -> pd.DataFrame:
        """Designs, one row each and all variables as columns, of ``genes`` of shape (n, d). Always inside the study's ranges.

        A variable with a geometric room takes its share of the room within its range; where the two do not meet, of its
        range, and the constraints will say no.
        """
        genes = np.asarray(genes, dtype=float).reshape(len(genes), len(self.genes))
        columns = {gene.name: genes[:, i] for i, gene in enumerate(self.genes)}
        values: dict[str, np.ndarray] = {}
        drawn = Drawn(values, self.around)
        for name in self._order:
            values[name] = self._value(self.domains[name], columns.get(name), drawn, len(genes))
        values[TYRE_THICKNESS] = self._thickness(values["bore"], values[TYRE_THICKNESS])
        return _table(values)

    def encode(self, designs: pd.DataFrame) -> np.ndarray:
        """Genes of designs: the inverse of ``decode`` for what it can reach.

        A value outside its room or its range becomes the nearest end, and a choice that the study does not have becomes
        the nearest size or the first name; those after it keep as near to their values as the room then allows.
        """
        genes = np.empty((len(designs), len(self.genes)))
        place = {gene.name: i for i, gene in enumerate(self.genes)}
        values: dict[str, np.ndarray] = {}
        drawn = Drawn(values, self.around)
        for name in self._order:
            domain, gene = self.domains[name], None
            if name in place:
                column = designs[name].to_numpy(dtype=object if domain.variable.names else float)
                gene = genes[:, place[name]] = self._gene_of(domain, column, drawn)
            values[name] = self._value(domain, gene, drawn, len(designs))
        return genes

    def contains(self, designs: pd.DataFrame) -> np.ndarray:
        """Whether each design lies inside the study's ranges and choices."""
        inside = np.ones(len(designs), dtype=bool)
        cored = designs["bore"].to_numpy(dtype=object) != PLAIN
        for name, domain in self.domains.items():
            column = designs[name].to_numpy(dtype=object if domain.variable.names else float)
            within = domain.contains(column)
            inside &= within | ~cored if name == TYRE_THICKNESS else within
        return inside

    def canonical(self, designs: pd.DataFrame) -> pd.DataFrame:
        """The same wheels, each with one name: a plain bore has no core, so its tyre thickness is set to the lowest."""
        thickness = designs[TYRE_THICKNESS].to_numpy(dtype=float)
        return designs.assign(**{TYRE_THICKNESS: self._thickness(designs["bore"].to_numpy(dtype=object), thickness)})

    def _thickness(self, bore: np.ndarray, thickness: np.ndarray) -> np.ndarray:
        return np.where(bore == PLAIN, self.domains[TYRE_THICKNESS].least, thickness)

    @staticmethod
    def _limits(domain: Domain, drawn: Drawn) -> Bounds:
        """Least and most that a gene spans: range and room together, the range alone where they do not meet."""
        low, high = float(domain.low), float(domain.high)
        name = domain.variable.name
        if name not in ROOMS:
            return low, high
        with np.errstate(all="ignore"):
            room_low, room_high = ROOMS[name](drawn)
        least, most = np.maximum(low, room_low), np.minimum(high, room_high)
        if domain.variable.kind == INTEGER:
            least, most = np.ceil(least), np.floor(most)
        meets = least <= most  # False for nan
        return np.where(meets, least, low), np.where(meets, most, high)

    def _value(self, domain: Domain, gene: np.ndarray | None, drawn: Drawn, n: int) -> np.ndarray:
        """Values of a variable from its gene, None where it has none, and the variables drawn before."""
        if gene is None:
            return np.full(n, domain.value, dtype=object if domain.variable.names else float)
        if domain.choices:
            return _choices(domain)[np.clip(np.rint(gene), 0, len(domain.choices) - 1).astype(int)]
        low, high = self._limits(domain, drawn)
        if domain.variable.kind != INTEGER:
            return np.clip(np.round(low + np.clip(gene, 0, 1) * (high - low), DECIMALS), domain.low, domain.high)
        if domain.variable.name not in ROOMS:
            return np.clip(np.rint(gene), low, high)
        return np.minimum(low + np.floor(np.clip(gene, 0, 1) * (high - low + 1)), high)

    def _gene_of(self, domain: Domain, column: np.ndarray, drawn: Drawn) -> np.ndarray:
        """The gene that comes nearest to a column of values."""
        if domain.choices and domain.variable.names:
            position = {choice: float(k) for k, choice in enumerate(domain.choices)}
            return np.array([position.get(value, 0.0) for value in column])
        if domain.choices:
            return np.abs(column[:, None] - _choices(domain)[None, :]).argmin(axis=1).astype(float)
        low, high = self._limits(domain, drawn)
        if domain.variable.kind != INTEGER:
            width = high - low
            return np.clip(np.divide(column - low, width, out=np.zeros_like(column), where=width > 0), 0, 1)
        if domain.variable.name not in ROOMS:
            return np.clip(column, low, high)
        return np.clip((column - low + 0.5) / (high - low + 1), 0, 1)


def design_id(design: Mapping[str, object]) -> str:
    """A short name made of the variables alone, the same for one wheel in every study and file.

    ``d`` and ten hexadecimal digits of the sha256 of all variables in their order, reals to 1e-4 of their unit; the tyre
    thickness of a plain bore, which has none, is left out.
    """
    return _id(tuple(design[variable.name] for variable in VARIABLES))


def design_ids(designs: pd.DataFrame) -> list[str]:
    """The names of all designs of a table."""
    own = designs if designs.columns.equals(COLUMNS) else designs[COLUMNS]
    return [_id(tuple(row)) for row in own.to_numpy(dtype=object).tolist()]


def _id(row: tuple[object, ...]) -> str:
    text = (TEXT % row).replace("=-0.0000;", "=0.0000;")
    if row[BORE] == PLAIN:
        start = text.index(TYRE_THICKNESS)
        text = text[:start] + text[text.index(";", start) + 1 :]
    return "d" + hashlib.sha256(text[:-1].encode()).hexdigest()[:10]


def _format(variable: Variable) -> str:
    return "%s" if variable.names else "%d" if variable.kind == INTEGER else f"%.{DECIMALS}f"


#: how a design is written out for its id, and where its bore stands
TEXT = "".join(f"{variable.name}={_format(variable)};" for variable in VARIABLES)
BORE = [variable.name for variable in VARIABLES].index("bore")
#: one index for all tables: pandas takes long to make one of words, and to find names in it for the first time
COLUMNS = pd.Index([variable.name for variable in VARIABLES])


def _choices(domain: Domain) -> np.ndarray:
    return np.array(domain.choices, dtype=object if domain.variable.names else float)


def _table(values: Mapping[str, np.ndarray]) -> pd.DataFrame:
    """Columns in the order of the variables, whole numbers as integers."""
    table = pd.DataFrame({
        place: values[variable.name].astype(np.int64) if variable.kind == INTEGER else values[variable.name]
        for place, variable in enumerate(VARIABLES)
    })
    table.columns = COLUMNS
    return table
