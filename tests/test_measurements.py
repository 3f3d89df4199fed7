"""Tables of measurements: what is understood, and how each fault is named by its row."""

import math

import pytest

from sweep.designs import baseline_designs
from sweep.errors import BadInput
from sweep.reading import Faults
from sweep.study import load_study
from sweep.workshop.bench_model import Bench
from sweep.workshop.calibrate import calibrate
from sweep.workshop.measurements import read_measurements

HEADER = "kind,value,unit,at,at_unit,preload_N,sd,note\n"


def read(tmp_path, text, encoding="utf-8"):
    path = tmp_path / "bench.csv"
    path.write_text(text, encoding=encoding)
    faults = Faults("bench.csv")
    return read_measurements(path, faults), faults


def told(tmp_path, text):
    """All faults of a table against the shipped study, as text."""
    measured, faults = read(tmp_path, text)
    study = load_study("studies/balancing.toml")
    with pytest.raises(BadInput) as raised:
        calibrate(Bench(study, baseline_designs(study).iloc[0].to_dict()), measured, faults)
    return [str(fault) for fault in raised.value.faults]


def test_units_are_what_they_weigh(tmp_path):
    text = HEADER + "slip_reverse,2,kg,5,kg,60,0.1,\nplay,0.02,cm,-,,,,\npreload,5000,g,720,deg,,,\nfloor_drag,1,lb,4,lb,,,\n"
    pull, play, preload, drag = read(tmp_path, text)[0]
    assert (pull.value, pull.at, pull.preload, pull.deviation) == pytest.approx((19.6133, 49.03325, 60.0, 0.980665))
    assert (play.value, play.deviation) == pytest.approx((0.2, 0.03))
    assert math.isnan(play.at)
    assert (preload.value, preload.at) == pytest.approx((49.03325, 2.0))
    assert drag.value == pytest.approx(4.4482216)  # a pound-force
    assert pull.line == 2


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig"])
@pytest.mark.parametrize(
    "text",
    [
        "kind,value,unit,at,at_unit\nsquash,82.5,N,0.5,mm\n",
        "kind;value;unit;at;at_unit\nsquash;82,5;N;0,5;mm\n",
        "# a note, of the bench\nkind\tvalue\tunit\tat\tat_unit\n\nsquash\t82.5\tN\t0.5\tmm\n",
        "at,unit,kind,at_unit,value\r\n0.5,N,squash,mm,82.5\r\n",
    ],
)
def test_tables_as_spreadsheets_write_them(tmp_path, text, encoding):
    (one,), faults = read(tmp_path, text, encoding)
    assert (one.value, one.at) == (82.5, 0.5)
    assert not faults.found


def test_every_bad_row_is_named_at_once(tmp_path):
    found = told(tmp_path, HEADER + (
        "slip_forwrd,35,N,10,kg,,,\n"  # 2
        "slip_forward,-35,N,10,kg,,,\n"  # 3
        "slip_reverse,45,kg,10,kg,,,\n"  # 4: read in N
        "squash,82,N,0.5,m,,,\n"  # 5: loss of height in mm
        "play,0.2,m,,,,,\n"  # 6: read in mm
        "play,abc,mm,,,,,\n"  # 7
        "floor_drag,6,N,10,mm,,,\n"  # 8
        "strip_wrap,20,N,5,N,110,,\n"  # 9
        "strip_wrap,20,N,,N,,,\n"  # 10
        "play,0.2,mm,3,mm,,,\n"  # 11
        "floor_drag,nan,N,10,N,,0,\n"  # 12
    ))  # fmt: skip
    wanted = {
        2: "kind must be a kind of measurement, got 'slip_forwrd' (bench.csv, line 2); nearest is 'slip_forward'",
        3: "value must be above 0, got -35 N (bench.csv, line 3)",
        4: "was it read in N, as 45 N?",
        5: "is the loss of height in mm, not in m?",
        6: "was it read in mm, as 0.2 mm?",
        7: "value must be a number, got 'abc' (bench.csv, line 7)",
        8: "at_unit must be a unit of force for floor_drag, got 'mm' (bench.csv, line 8); give one of N, kN, kg, g, lb",
        9: "preload_N must not be given for strip_wrap",
        10: "at must be given for strip_wrap, the weight (bench.csv, line 10)",
        11: "at must not be given for play, got '3' (bench.csv, line 11)",
        12: "value must be above 0, got nan N (bench.csv, line 12)",
    }
    for line, words in wanted.items():
        assert any(words in fault and f"line {line})" in fault for fault in found), f"line {line}: {words}"


def test_kilograms_taken_for_newtons_are_noticed(tmp_path):
    """51 N are foretold; 5.1 kg written as 5.1 N is a tenth of it."""
    (fault,) = told(tmp_path, HEADER + "slip_reverse,5.1,N,10,kg,,,\nfloor_drag,6,N,10,N,,,\nfloor_drag,6,N,10,N,,,\n")
    assert "slip_reverse must lie in" in fault
    assert "was it read in kg, as 5.1 kg?" in fault


def test_rows_that_contradict_each_other_are_named_together(tmp_path):
    drags, turns = "floor_drag,6,N,10,N,,,\nfloor_drag,12,N,10,N,,,\n", "preload,60,N,2,turns,,,\npreload,30,N,3,turns,,,\n"
    found = told(tmp_path, HEADER + drags + turns)
    wanted = "rows of floor_drag must not contradict each other, got 6 N at 10 N and 12 N at 10 N (bench.csv, lines 2 and 3)"
    assert any(wanted in fault for fault in found)
    assert any("more turns of its nut from first touch gives more" in fault and "lines 4 and 5" in fault for fault in found)


def test_readings_that_scatter_do_not_contradict(tmp_path):
    rows = "slip_forward,50,N,100,N,,,\nslip_forward,60,N,100,N,,,\nslip_forward,58,N,90,N,,,\nslip_forward,20,N,100,N,30,,\n"
    assert not read(tmp_path, HEADER + rows)[1].found


def test_fewer_rows_than_parameters(tmp_path):
    (fault,) = told(tmp_path, HEADER + "slip_forward,45,N,10,kg,,,\nslip_reverse,45,N,10,kg,,,\n")
    wanted = "rows must be more than the 2 parameters to be found (friction_roller, friction_floor), got 2 (bench.csv)"
    assert fault.startswith(wanted)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("kind,value,unti\nplay,1,mm\n", "'unti' is not a column of measurements (bench.csv, line 1); nearest is 'unit'"),
        ("kind,value\nplay,1\n", "unit must be a column"),
        ("kind,value,unit,unit\nplay,1,mm,mm\n", "unit must not be a column twice"),
        (HEADER, "must have at least one row under its header"),
        ("# nothing\n", "must have a header"),
        (HEADER + "squash,8,2,kg,0,5,mm,,,x\n", "row must have at most 8 cells like the header, got 10 (bench.csv, line 2)"),
    ],
)
def test_tables_that_are_none(tmp_path, text, words):
    _, faults = read(tmp_path, text)
    assert any(words in str(fault) for fault in faults.found), [str(fault) for fault in faults.found]
