"""The spring behind a hub: a helical one where one fits, else the room for a stack of disc springs or a bushing."""

from __future__ import annotations

import math
from dataclasses import dataclass

#: Pa, shear modulus of spring steel and the stress that it bears at rest (EN 10270-1 wire, common practice)
SHEAR_MODULUS = 81.5e9
ALLOWED_SHEAR = 7.5e8
#: m, wires that are wound (common practice)
WIRES = (0.5e-3, 0.63e-3, 0.8e-3, 1.0e-3, 1.25e-3, 1.6e-3, 2.0e-3, 2.5e-3, 3.2e-3, 4.0e-3, 5.0e-3)
#: coils that lie closed and ground at the ends, and fewest that work between them (common practice)
CLOSED_COILS, FEWEST_COILS = 2.0, 1.5
#: m, left between neighbouring coils under load, over the wire
COIL_GAP = 0.1


@dataclass(frozen=True)
class Spring:
    """A helical compression spring with closed, ground ends. SI units."""

    wire: float
    mean_diameter: float
    coils: float  # that work
    installed_length: float
    stress: float  # shear, at the preload


def shear_stress(force: float, wire: float, mean_diameter: float) -> float:
    """Shear stress in the wire of a helical spring [Pa]: 8 F D k/(pi d^3), k = (4 c - 1)/(4 c - 4) + 0.615/c, c = D/d.

    ``force`` [N], ``wire`` and ``mean_diameter`` [m]; for c from 3 to 20. EN 13906-1 with Wahl's factor (from memory).

    >>> round(shear_stress(100.0, 0.002, 0.02) / 1e6, 1)
    728.8
    """
    index = mean_diameter / wire
    factor = (4 * index - 1) / (4 * index - 4) + 0.615 / index
    return 8 * force * mean_diameter * factor / (math.pi * wire**3)


def working_coils(stiffness: float, wire: float, mean_diameter: float) -> float:
    """Coils that give a stiffness [-]: n = G d^4/(8 D^3 K). ``stiffness`` [N/m], ``wire`` and ``mean_diameter`` [m].

    EN 13906-1 (from memory).

    >>> round(working_coils(10e3, 0.002, 0.016), 3)
    3.979
    """
    return SHEAR_MODULUS * wire**4 / (8 * mean_diameter**3 * stiffness)


def helical_spring(force: float, stiffness: float, length: float, inside: float, outside: float) -> Spring | None:
    """The helical spring of least stress that fits an installed ``length`` between two diameters; None where none does.

    ``force`` [N] at that length, ``stiffness`` [N/m], lengths in m.
    """
    fitting = []
    for wire in WIRES:
        for mean in (outside - wire, (inside + outside) / 2, inside + wire):
            if mean - wire < inside - 1e-9 or mean + wire > outside + 1e-9 or not 3 <= mean / wire <= 20:
                continue
            coils, stress = working_coils(stiffness, wire, mean), shear_stress(force, wire, mean)
            room = (coils * (1 + COIL_GAP) + CLOSED_COILS) * wire
            if coils >= FEWEST_COILS and room <= length and stress <= ALLOWED_SHEAR:
                fitting.append(Spring(wire, mean, coils, length, stress))
    return min(fitting, key=lambda spring: spring.stress, default=None)
