# ruff: noqa: E501 (messages are quoted whole)
"""Tables of designs: what is read, what is filled in, and what is said of a table that cannot be used."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from objectives.variables import INTEGER, VARIABLES
from sweep.designs import baseline_designs, read_designs
from sweep.errors import BadInput
from sweep.study import load_study, read_study

STUDY = load_study(Path(__file__).parent.parent / "studies" / "balancing.toml")
ROBOT = STUDY.text[STUDY.text.index("[robot]") : STUDY.text.index("[[duty]]")]
ROW = dict(STUDY.baseline or {})


def table(rows: int = 3, **changes: object) -> pd.DataFrame:
    return pd.DataFrame([ROW] * rows).assign(**changes)


def csv(folder: Path, content: pd.DataFrame | str | bytes) -> Path:
    path = folder / "designs.csv"
    if isinstance(content, pd.DataFrame):
        content = content.to_csv(index=False)
    path.write_bytes(content if isinstance(content, bytes) else content.encode())
    return path


def parquet(folder: Path, content: pd.DataFrame) -> Path:
    path = folder / "designs.parquet"
    content.to_parquet(path, index=False)
    return path


def faults(path: Path) -> list[str]:
    with pytest.raises(BadInput) as caught:
        read_designs(path, STUDY)
    return [str(fault).replace(str(path.parent), "DIR") for fault in caught.value.faults]


def test_a_table_comes_back_the_same_from_csv_and_parquet(tmp_path: Path) -> None:
    rng = np.random.default_rng(3)
    designs = STUDY.space.decode(
        np.column_stack(
            [rng.random(50) if g.kind == "real" else rng.integers(int(g.low), int(g.high) + 1, 50) for g in STUDY.space.genes]
        )
    )
    for path in (csv(tmp_path, designs), parquet(tmp_path, designs), csv(tmp_path, b"\xef\xbb\xbf" + csv(tmp_path, designs).read_bytes())):
        read = read_designs(path, STUDY)
        pd.testing.assert_frame_equal(read, designs, check_exact=True)
        assert all(read[v.name].dtype == np.int64 for v in VARIABLES if v.kind == INTEGER)


def test_a_baseline_is_a_table_of_one_row() -> None:
    baseline = baseline_designs(STUDY)
    assert baseline is not None
    assert list(baseline.columns) == [v.name for v in VARIABLES]
    assert baseline.iloc[0].to_dict() == ROW
    assert baseline_designs(read_study(ROBOT)) is None


def test_what_the_study_fixes_may_be_left_out(tmp_path: Path) -> None:
    study = read_study(f"{ROBOT}[space]\ncrown = 0.25\nmotor = 'brushed37_24v_30to1'\nhub_roller_count = 19\n")
    read = read_designs(csv(tmp_path, table().drop(columns=["crown", "motor", "hub_roller_count"])), study)
    assert set(read["crown"]) == {0.25}
    assert set(read["motor"]) == {"brushed37_24v_30to1"}
    assert set(read["hub_roller_count"]) == {19}
    given_anyway = read_designs(csv(tmp_path, table(crown=0.5)), study)
    assert set(given_anyway["crown"]) == {0.5}


def test_a_plain_bore_needs_no_tyre_thickness(tmp_path: Path) -> None:
    least = STUDY.space.domains["tyre_thickness_mm"].low
    assert set(read_designs(csv(tmp_path, table().drop(columns="tyre_thickness_mm")), STUDY)["tyre_thickness_mm"]) == {least}
    mixed = csv(tmp_path, table(bore=["plain", "ball", "plain"], tyre_thickness_mm=["", 3.0, 7.0]))
    assert list(read_designs(mixed, STUDY)["tyre_thickness_mm"]) == [least, 3.0, least]
    assert faults(csv(tmp_path, table(bore=["plain", "ball", "plain"], tyre_thickness_mm=["", "", 7.0]))) == [
        "tyre_thickness_mm must be given, got an empty cell (DIR/designs.csv, line 3); fill it in"
    ]


def test_output_columns_of_earlier_results_are_passed_over(tmp_path: Path) -> None:
    extra = {"design": "d1", "slack_arm_neck": 1.0, "loss_creep_W": 2.0, "mass_kg_p05": 1.0, "drive_limit_forward_N": 1.0, "share_holding": 1}
    pd.testing.assert_frame_equal(read_designs(parquet(tmp_path, table(**extra)), STUDY), STUDY.space.canonical(table()))


CELLS = [
    ({"contact_angle_deg": [45, 95, 45]}, "contact_angle_deg must lie in (0, 90), got 95.0 (DIR/designs.csv, line 3)"),
    ({"preload_N": [1, 1, "lots"]}, "preload_N must be a number, got 'lots' (DIR/designs.csv, line 4); give a number in (0, 100000)"),
    ({"preload_N": [1, 1, "nan"]}, "preload_N must be finite, got nan (DIR/designs.csv, line 4); give a number in (0, 100000)"),
    ({"preload_N": ["-inf", 1, 1]}, "preload_N must be finite, got -inf (DIR/designs.csv, line 2); give a number in (0, 100000)"),
    ({"preload_N": [1, "", 1]}, "preload_N must be given, got an empty cell (DIR/designs.csv, line 3); fill it in"),
    ({"gear_teeth": [48.5, 48, 48]}, "gear_teeth must be a whole number, got 48.5 (DIR/designs.csv, line 2); give a number in [6, 600]"),
    ({"bore": ["plain", "ball", "bal"]}, "bore must be one of plain, bushed, ball, got 'bal' (DIR/designs.csv, line 4); nearest is 'ball'"),
    ({"axle_diameter_mm": [4, 4, 4.1]}, "axle_diameter_mm must be a stock size, one of 2, 2.5, 3, 4, 5, 6, 8, 10, 12, got 4.1 (DIR/designs.csv, line 4); nearest is 4"),
    ({"crwn": [0, 0, 0]}, "'crwn' is not a design variable (DIR/designs.csv); nearest is 'crown'"),
    ({" ": [0, 0, 0]}, "column 25 must have a name (DIR/designs.csv); name it, or write the table without its index"),
]  # fmt: skip


@pytest.mark.parametrize(("changes", "message"), CELLS, ids=[message[:50] for _, message in CELLS])
def test_cells(tmp_path: Path, changes: dict[str, list[object]], message: str) -> None:
    assert faults(csv(tmp_path, table(**changes))) == [message]


def test_rows_of_parquet_are_counted_from_one(tmp_path: Path) -> None:
    assert faults(parquet(tmp_path, table(crown=[0.5, np.nan, 1.5]))) == [
        "crown must be given, got an empty cell (DIR/designs.parquet, row 2); fill it in",
        "crown must lie in [0, 1], got 1.5 (DIR/designs.parquet, row 3)",
    ]
    assert faults(parquet(tmp_path, table(crown=[True, False, True])))[0] == (
        "crown must be a number, got true (DIR/designs.parquet, row 1); give a number in [0, 1]"
    )
    assert faults(parquet(tmp_path, table(crown=[[1.0], [], [2]])))[0].startswith("crown must be a number, got [1.0]")
    assert faults(parquet(tmp_path, table(motor=[1, 2, 3])))[0].startswith("motor must be a name in quotes, got 1")


def test_missing_columns_and_doubled_ones(tmp_path: Path) -> None:
    text = table().drop(columns="crown").to_csv(index=False).replace("preload_N,", "skew_angle_deg,")
    assert faults(csv(tmp_path, text)) == [
        "'skew_angle_deg' must not be a column twice (DIR/designs.csv); leave one of them out",
        "crown must be a column, the study does not fix it (DIR/designs.csv); add the column crown",
        "skew_angle_deg must lie in (0, 90), got 110.0 (DIR/designs.csv, line 2)",
        "skew_angle_deg must lie in (0, 90), got 110.0 (DIR/designs.csv, line 3)",
        "skew_angle_deg must lie in (0, 90), got 110.0 (DIR/designs.csv, line 4)",
        "preload_N must be a column, the study does not fix it (DIR/designs.csv); add the column preload_N",
    ]


def test_twenty_faults_are_printed_and_the_rest_counted(tmp_path: Path) -> None:
    with pytest.raises(BadInput) as caught:
        read_designs(csv(tmp_path, table(30, crown=7.0)), STUDY)
    assert len(caught.value.faults) == 30
    lines = str(caught.value).splitlines()
    assert len(lines) == 21
    assert lines[-1] == "and 10 more"


def test_files_that_are_no_table(tmp_path: Path) -> None:
    header = table().to_csv(index=False).splitlines()[0]
    for content, message in [
        (b"", "table of designs must not be empty, got an empty file (DIR/designs.csv); write a table of designs into it"),
        (b"\x00\x01", "table of designs must be text in UTF-8: it holds null bytes (DIR/designs.csv)"),
        (b"crown\n\xff", "table of designs must be text in UTF-8: "),
        (header, "table of designs must have at least one row under its header, got none (DIR/designs.csv)"),
        ("crown,bore\n1\n", "row must have 2 cells like the header, got 1 (DIR/designs.csv, line 2); separate cells with commas"),
        ('crown\n"1\n', "table of designs must be CSV: unexpected end of data (DIR/designs.csv, line 2); separate cells with commas"),
        (table().to_csv(index=False, sep=";"), "'output_roller_count;hub_roller_count;wheel_diameter_mm;"),
    ]:  # fmt: skip
        assert faults(csv(tmp_path, content))[0].startswith(message)
    assert faults(tmp_path / "designs.xlsx") == [
        "table of designs must end in .csv or .parquet, got '.xlsx' (DIR/designs.xlsx); save it as one of them"
    ]
    csv(tmp_path, table()).rename(tmp_path / "text.parquet")
    assert faults(tmp_path / "text.parquet")[0].startswith("table of designs must be Parquet: ")
    assert faults(parquet(tmp_path, table().iloc[:0]))[0].startswith("table of designs must have at least one row, got none")
    csv(tmp_path, table())
    assert faults(tmp_path / "design.csv") == [
        "table of designs must be a file that exists (DIR/design.csv); nearest is 'DIR/designs.csv'"
    ]


@given(st.binary(max_size=300), st.sampled_from(["csv", "parquet"]))
def test_random_bytes_are_bad_input(tmp_path_factory: pytest.TempPathFactory, content: bytes, ending: str) -> None:
    path = tmp_path_factory.getbasetemp() / f"random.{ending}"
    path.write_bytes(content)
    with pytest.raises(BadInput):
        read_designs(path, STUDY)


@settings(deadline=None)
@given(st.data())
def test_a_mutated_table_is_read_or_bad_input(tmp_path_factory: pytest.TempPathFactory, data: st.DataObject) -> None:
    text = table(2).to_csv(index=False)
    at, cut = data.draw(st.integers(0, len(text))), data.draw(st.integers(0, 20))
    path = csv(tmp_path_factory.getbasetemp(), text[:at] + data.draw(st.text(max_size=5).filter(_writable)) + text[at + cut :])
    try:
        read = read_designs(path, STUDY)
    except BadInput:
        return
    assert np.isfinite(read.select_dtypes("number").to_numpy()).all()


def _writable(text: str) -> bool:
    return not any(0xD800 <= ord(letter) <= 0xDFFF for letter in text)
