"""Formulas over arrays, and where compiled code is kept."""

from __future__ import annotations

import ast
import os
import re
import shutil
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

from objectives import compiled
from objectives.compiled import cache_folder, on_arrays, source_key, writable
from objectives.hertz import crossed_cylinder_curvatures, line_half_width, patch_half_widths


def test_arrays_broadcast_and_agree_with_scalars() -> None:
    radii, angles = np.array([[0.01], [0.02]]), np.array([0.5, 0.9, 1.3])
    a, b = on_arrays(patch_half_widths, radii, 0.006, angles, 20e6, 15.0)
    assert a.shape == b.shape == (2, 3)
    assert (a[1, 2], b[1, 2]) == patch_half_widths(0.02, 0.006, 1.3, 20e6, 15.0)


def test_compiled_and_uncompiled_agree() -> None:
    for angle in (0.4, 1.0, 1.5):
        assert crossed_cylinder_curvatures(0.01, 0.02, angle) == crossed_cylinder_curvatures.py_func(0.01, 0.02, angle)


def test_nan_stays_nan_and_zero_division_is_no_error() -> None:
    assert np.isnan(on_arrays(line_half_width, np.array([np.nan, 1.0]), 0.01, 1e6)[0])
    assert line_half_width(1.0, 0.01, 0.0) == np.inf


def test_nothing_to_work_on_is_said() -> None:
    with pytest.raises(ValueError, match=r"at least one element, got shape \(0,\)"):
        on_arrays(line_half_width, np.array([]), 0.01, 1e6)


# where compiled code is kept

PACKAGE = Path(compiled.__file__).parent
KERNEL = "from objectives.compiled import kernel\nHALF = 0.5\n\n\n@kernel\ndef half(x):\n    return HALF * x\n"
DECORATED = {"compiled", "kernel", "outer_kernel"}


def test_key_follows_the_sources_and_nothing_else(tmp_path: Path) -> None:
    (tmp_path / "a.py").write_text(KERNEL)
    key = source_key(tmp_path)
    assert re.fullmatch("[0-9a-f]{12}", key)
    os.utime(tmp_path / "a.py", (1, 1))
    (tmp_path / "notes.txt").write_text("not a source")
    assert source_key(tmp_path) == key
    (tmp_path / "a.py").write_text(KERNEL.replace("0.5", "0.6"))
    changed = source_key(tmp_path)
    (tmp_path / "a.py").rename(tmp_path / "b.py")
    renamed = source_key(tmp_path)
    (tmp_path / "a.py").write_text(KERNEL)
    assert len({key, changed, renamed, source_key(tmp_path)}) == 4


def decorated_names(tree: ast.Module) -> set[str]:
    """Names that compiled functions of a module use."""
    used = set()
    for node in tree.body:
        if isinstance(node, ast.FunctionDef) and {d.id for d in node.decorator_list if isinstance(d, ast.Name)} & DECORATED:
            used |= {inner.id for inner in ast.walk(node) if isinstance(inner, ast.Name)}
    return used


def test_everything_that_kernels_take_from_other_files_is_under_the_key(tmp_path: Path) -> None:
    """A constant from a file that the key leaves out would stay as it was in compiled code."""
    taken = {
        node.module.removeprefix("objectives.")
        for path in PACKAGE.glob("*.py")
        for tree in [ast.parse(path.read_text())]
        for node in tree.body
        if isinstance(node, ast.ImportFrom) and (node.module or "").startswith("objectives.")
        if {alias.asname or alias.name for alias in node.names} & decorated_names(tree)
    } - {"compiled"}  # the decorators' own file
    assert {"workspace", "contact_pass", "sharing"} <= taken
    shutil.copytree(PACKAGE, tmp_path / "objectives", ignore=shutil.ignore_patterns("__pycache__", "catalogue"))
    key = source_key(tmp_path / "objectives")
    for name in sorted(taken):
        path = tmp_path / "objectives" / f"{name}.py"
        text = path.read_text()
        path.write_text(text + "\nFURTHER = 1\n")
        assert source_key(tmp_path / "objectives") != key, name
        path.write_text(text)
    assert source_key(tmp_path / "objectives") == key


@pytest.fixture
def places(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> dict[str, Path]:
    """The places in their order, under ``tmp_path``."""
    found = {name: tmp_path / name for name in ("given", "package", "cache", "temporary")}
    found["package"].mkdir()
    (found["package"] / "a.py").write_text(KERNEL)
    monkeypatch.setenv("NUMBA_CACHE_DIR", str(found["given"]))
    monkeypatch.setenv("XDG_CACHE_HOME", str(found["cache"]))
    monkeypatch.setattr(compiled.tempfile, "gettempdir", lambda: str(found["temporary"]))
    return found


def test_compiled_code_goes_to_the_first_place_that_can_be_written(
    places: dict[str, Path], monkeypatch: pytest.MonkeyPatch
) -> None:
    name = f"kernels-{source_key(places['package'])}"
    barred: set[str] = set()
    monkeypatch.setattr(
        compiled, "writable", lambda folder: not any(folder.is_relative_to(places[place]) for place in barred)
    )
    assert cache_folder(places["package"]) == places["given"] / name
    barred.add("given")
    assert cache_folder(places["package"]) == places["package"] / "__pycache__" / name
    barred.add("package")
    assert cache_folder(places["package"]) == places["cache"] / "wheelfront" / name
    barred.add("cache")
    found = cache_folder(places["package"])
    assert found.name == name
    assert re.fullmatch("wheelfront-.+", found.parent.name)
    assert found.is_relative_to(places["temporary"])
    barred.add("temporary")
    with pytest.raises(OSError, match=r"no folder to keep compiled code in: tried .*; set NUMBA_CACHE_DIR to a folder"):
        cache_folder(places["package"])


def test_without_a_given_folder_the_package_is_first(places: dict[str, Path], monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv("NUMBA_CACHE_DIR")
    assert cache_folder(places["package"]).parent == places["package"] / "__pycache__"


def test_a_folder_that_an_outer_process_chose_is_not_nested(places: dict[str, Path], monkeypatch: pytest.MonkeyPatch) -> None:
    outer = cache_folder(places["package"])
    monkeypatch.setenv("NUMBA_CACHE_DIR", str(outer))
    assert cache_folder(places["package"]) == outer
    (places["package"] / "a.py").write_text(KERNEL.replace("0.5", "0.7"))
    assert cache_folder(places["package"]).parent == outer.parent
    assert cache_folder(places["package"]) != outer


def test_writable_asks_by_doing(tmp_path: Path) -> None:
    assert writable(tmp_path / "a" / "b")
    assert list((tmp_path / "a" / "b").iterdir()) == []
    (tmp_path / "file").write_text("")
    assert not writable(tmp_path / "file" / "below")
    assert not writable(Path("/proc/wheelfront"))


def test_a_package_that_cannot_be_written_still_compiles_once(tmp_path: Path) -> None:
    """A file stands where the package's cache folder would be, and home is no place for files: the temporary folder is left."""
    shutil.copytree(PACKAGE, tmp_path / "objectives", ignore=shutil.ignore_patterns("__pycache__"))
    (tmp_path / "objectives" / "__pycache__").write_text("")
    (tmp_path / "tmp").mkdir()
    bare = {key: value for key, value in os.environ.items() if key not in ("NUMBA_CACHE_DIR", "XDG_CACHE_HOME")}
    code = (
        "import os; from objectives.hertz import foundation_modulus as f; print(f(1.0)); "
        "print(os.environ['NUMBA_CACHE_DIR']); print(sum(f.stats.cache_hits.values()))"
    )

    def run() -> list[str]:
        done = subprocess.run(
            [sys.executable, "-c", code], capture_output=True, text=True, timeout=200, check=False, cwd=tmp_path,
            env=bare | {"PYTHONPATH": str(tmp_path), "HOME": "/proc/nobody", "TMPDIR": str(tmp_path / "tmp")},
        )  # fmt: skip
        assert done.returncode == 0, done.stderr
        return done.stdout.split()

    value, folder, hits = run()
    assert float(value) == pytest.approx(0.61 * np.pi / 4)
    assert Path(folder).is_relative_to(tmp_path / "tmp")
    assert list(Path(folder).rglob("*.nbc"))
    assert hits == "0"
    assert run() == [value, folder, "1"]
