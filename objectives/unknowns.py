"""What is not known well of a built wheel, as numbers by which it differs from what its tables say."""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np


@dataclass(frozen=True)
class Unknowns:
    """How each wheel of a batch differs from its tables. Shapes (n,); factors are 1 and lengths 0 where nothing differs.

    A factor goes for all materials alike: what shifts them, a printer, dust, the temperature, shifts them together. Stiffness
    and damping are those of tyres. ``friction_bore`` is that of every bore: output rollers, hub rollers, end faces.
    """

    friction_roller: np.ndarray
    friction_bore: np.ndarray
    friction_floor: np.ndarray
    youngs_modulus: np.ndarray
    loss_tangent: np.ndarray
    motor_torque: np.ndarray  # stall, peak and continuous torque alike
    play: np.ndarray  # m, radial, of an output roller on its axle beyond what the design says
    seat_error: np.ndarray  # m, mean of a hub's roller seats along the contact normal, positive: standing proud
    run_out: np.ndarray  # m, how far a hub's rollers stand nearer to the output rollers than where the preload was set

    @staticmethod
    def none(count: int) -> Unknowns:
        """Wheels that are as their tables say."""
        one, zero = np.ones(count), np.zeros(count)
        return Unknowns(one, one, one, one, one, one, zero, zero, zero)

    def __len__(self) -> int:
        return len(self.run_out)

    def take(self, rows: slice | np.ndarray) -> Unknowns:
        """Those of the wheels at ``rows``."""
        return Unknowns(*(getattr(self, item.name)[rows] for item in fields(self)))
