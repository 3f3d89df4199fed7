"""The kernels as compiled against the same lines run by Python: a compiler may reorder sums, and no more."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

from objectives import equilibrium
from objectives.phases import phase_lattice
from objectives.states import solve_states
from tests.kernel_inputs import kernel_rows
from tests.reference.slow_wheel import typical_wheel

ROOT = Path(__file__).parents[2]
CODE = "from tests.invariants.test_compiled_equals_uncompiled import *; print(json.dumps(results()))"


def results() -> dict[str, list]:
    """All figures of two small wheels at two phases, and what a kernel is."""
    rows = kernel_rows(typical_wheel(N=9, M=13, crown=0.6), typical_wheel(N=8, M=13))
    angles = np.radians([0.0, 180.0, 90.0, -90.0, 45.0, 135.0, 20.0])
    normal, limits = solve_states(rows, angles, phase_lattice(2))
    figures = {name: np.asarray(value).tolist() for name, value in vars(normal).items()}
    return {"force": limits.force.tolist(), "kernel": [type(equilibrium.solve_equilibrium).__name__]} | figures


def test_compiled_equals_uncompiled() -> None:
    done = subprocess.run(
        [sys.executable, "-c", CODE], capture_output=True, text=True, cwd=ROOT, timeout=300, check=False,
        env=os.environ | {"PYTHONPATH": str(ROOT), "NUMBA_DISABLE_JIT": "1"},
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    plain, compiled = json.loads(done.stdout), results()
    assert (plain.pop("kernel"), compiled.pop("kernel")) == (["function"], ["CPUDispatcher"])
    assert np.isfinite(compiled["force"]).all()
    for name, value in compiled.items():
        assert np.array(plain[name]) == pytest.approx(np.array(value), rel=1e-9, abs=1e-15), name
