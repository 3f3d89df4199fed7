"""Factors between the units at the edge (millimetres, degrees, rpm) and SI, which is used everywhere inside.

Multiply by a factor to come in, divide by it to go out: ``length_m = length_mm * MM``.
"""

import math

MM = 1e-3  # m per mm
DEG = math.pi / 180.0  # rad per degree
RPM = math.pi / 30.0  # rad/s per rpm
MPA = 1e6  # Pa per MPa
N_PER_MM = 1e3  # N/m per N/mm
N_PER_MM15 = 1e3**1.5  # N/m^1.5 per N/mm^1.5
WH = 3600.0  # J per Wh
HOUR = 3600.0  # s per h
MM3 = 1e-9  # m^3 per mm^3

GRAVITY = 9.80665  # m/s^2, standard acceleration of free fall (ISO 80000-3)
