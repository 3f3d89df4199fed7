# ruff: noqa: E501 (messages are quoted whole)
"""What is said of a study that cannot be used: quantity, rule, value, where, remedy, and all of it at once."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from sweep.errors import BadInput
from sweep.reading import LARGEST_STUDY
from sweep.study import load_study, read_study

ROBOT = """
[robot]
kind = "balancing"
mass_kg = 9.0
centre_of_mass_height_m = 0.35
body_gyration_m = 0.15
recover_lean_deg = 8.0
top_speed_m_per_s = 0.9
sideways_speed_m_per_s = 0.5
floor = "sealed_concrete"
"""
CASTERED = """
[robot]
kind = "castered"
mass_kg = 30.0
acceleration_m_per_s2 = 0.3
top_speed_m_per_s = 0.9
sideways_speed_m_per_s = 0.5
floor = "sealed_concrete"
"""
MOTOR = """
[motors.mine]
rated_voltage_V = 24.0
no_load_rpm = 320
stall_torque_Nm = 4.2
peak_torque_Nm = 3.0
continuous_torque_Nm = 1.1
gearbox_ratio = 19.0
gearbox_efficiency = 0.8
mass_kg = 0.36
diameter_mm = 37.0
length_mm = 70.0
"""
SHIPPED = sorted((Path(__file__).parent.parent / "studies").glob("*.toml"))
WHOLE = SHIPPED[0].read_text(encoding="utf-8")


def faults(text: str) -> list[str]:
    try:
        read_study(text, "a.toml")
    except BadInput as error:
        return [str(fault) for fault in error.faults]
    return []


def test_the_studies_used_here_are_sound() -> None:
    assert faults(ROBOT) == faults(CASTERED) == faults(ROBOT + MOTOR) == []


SPACE = [
    ("contact_angle_deg = 95", "contact_angle_deg must lie in (0, 90), got 95 (a.toml, [space])"),
    ("contact_angle_deg = 90", "contact_angle_deg must lie in (0, 90), got 90 (a.toml, [space])"),
    ("contact_angle_deg = { low = 30, high = 90 }", "contact_angle_deg high must lie in (0, 90), got 90 (a.toml, [space.contact_angle_deg])"),
    ("crown = true", "crown must be a number, got true (a.toml, [space]); give a number in [0, 1]"),
    ("crown = nan", "crown must be finite, got nan (a.toml, [space]); give a number in [0, 1]"),
    ("preload_N = inf", "preload_N must be finite, got inf (a.toml, [space]); give a number in (0, 100000)"),
    ("preload_N = 'lots'", "preload_N must be a number, got 'lots' (a.toml, [space]); give a number in (0, 100000)"),
    ("output_roller_count = 12.5", "output_roller_count must be a whole number, got 12.5 (a.toml, [space]); give a number in [4, 32]"),
    ("crown = { low = 0.8, high = 0.2 }", "crown must have low not above high, got low 0.8, high 0.2 (a.toml, [space.crown]); swap them"),
    ("crown = { low = 0.8 }", "crown high must be given (a.toml, [space.crown]); write crown = { low = ..., high = ... }"),
    ("crown = { low = 0, high = 1, step = 2 }", "step is not a known key, got 2 (a.toml, [space.crown]); give one of high, low"),
    ("output_tyre = []", "output_tyre must have at least one choice, got an empty list (a.toml, [space]); leave it out for the shipped range"),
    ("output_tyre = ['tpu90a', 'tpu90a']", "output_tyre must not have a choice twice, got 'tpu90a' (a.toml, [space]); leave one of them out"),
    ("output_tyre = { low = 1, high = 2 }", "output_tyre must not be a range, it is a choice among names, got a table (a.toml, [space]); give a name or a list of names"),
    ("bore = 'bals'", "bore must be one of plain, bushed, ball, got 'bals' (a.toml, [space]); nearest is 'ball'"),
    ("gear_module_mm = 0.9", "gear_module_mm must be a stock size, one of 0.5, 0.6, 0.8, 1, 1.25, 1.5, 2, 2.5, 3, got 0.9 (a.toml, [space]); nearest is 0.8"),
    ("gear_module_mm = { low = 0.85, high = 0.95 }", "gear_module_mm must have a stock size between low and high, got low 0.85, high 0.95 (a.toml, [space.gear_module_mm]); sizes are 0.5, 0.6, 0.8, 1, 1.25, 1.5, 2, 2.5, 3"),
    ("conctact_angle_deg = 45", "conctact_angle_deg is not a known key, got 45 (a.toml, [space]); nearest is 'contact_angle_deg'"),
]  # fmt: skip


@pytest.mark.parametrize(("line", "message"), SPACE, ids=[line for line, _ in SPACE])
def test_space(line: str, message: str) -> None:
    assert faults(f"{ROBOT}[space]\n{line}\n") == [message]


@pytest.mark.parametrize(
    ("line", "start", "end"),
    [
        ("motor = 'brushles36_24v_14to1'", "motor must be one of ", "; nearest is 'brushless36_24v_14to1'"),
        ("output_tyre = 'tpu90'", "output_tyre must be one of tpu85a, tpu90a, tpu95a", "; nearest is 'tpu90a'"),
        ("output_tyre = 'petg'", "output_tyre must be a material of role tyre, got 'petg' (a.toml, [space]); petg is of role print",
         "natural_rubber60a"),
        ("hub_tyre = 'steel'", "hub_tyre must be a material of role tyre or print, got 'steel'", "pa12"),
        ("motor = 7", "motor must be a name in quotes, got 7 (a.toml, [space]); give one of ", "brushless52_24v_15to1"),
    ],
)  # fmt: skip
def test_names_of_the_catalogue(line: str, start: str, end: str) -> None:
    (message,) = faults(f"{ROBOT}[space]\n{line}\n")
    assert message.startswith(start)
    assert message.endswith(end)


TABLES = [
    ("[supply]\nvoltage_V = 0", "voltage_V must lie in (0, 100], got 0 (a.toml, [supply])"),
    ("[battery]", "energy_Wh must be given, a number in (0, 100000] (a.toml, [battery]); add energy_Wh = ..."),
    ("[build]\nmaterial = 'petgg'", "material must be one of pla, petg, abs, asa, pa12, got 'petgg' (a.toml, [build]); nearest is 'petg'"),
    ("[build]\nwalls = 0", "walls must lie in [1, 20], got 0 (a.toml, [build])"),
    ("[build]\ninfill = 30", "infill must lie in [0, 1], got 30 (a.toml, [build])"),
    ("[build]\nlayer_mm = 0.5", "nozzle_mm must not be below layer_mm of [build], got 0.4, layer_mm 0.5 (a.toml, [printer]); a layer is at most as thick as the nozzle is wide"),
    ("[printer]\nbed_mm = [220, 220]", "bed_mm must be a list of three numbers: width, depth, height, got [220, 220] (a.toml, [printer])"),
    ("[printer]\nbed_mm = [220, 220, 'x']", "bed_mm must be a number, got 'x' (a.toml, [printer]); each of the three must lie in [50, 3000]"),
    ("[printer]\nnozle_mm = 0.4", "nozle_mm is not a known key, got 0.4 (a.toml, [printer]); nearest is 'nozzle_mm'; give one of bed_mm, clearance_mm, flow_mm3_per_s, nozzle_mm"),
    ("[serch]\nseed = 1", "serch is not a known table, got a table (a.toml, top level); nearest is 'search'"),
    ("supply = 3", "supply must be a table, got 3 (a.toml); write it as [supply] with one key = value a line"),
    ("[search]\nevaluations = 10\nhours = 1", "hours must not be given beside evaluations, got 1 (a.toml, [search]); leave one of them out"),
    ("[search]\nevaluations = 0", "evaluations must lie in [1, 1000000000], got 0 (a.toml, [search])"),
    ("[search]\nkeep = 'al'", "keep must be one of front, feasible, all, got 'al' (a.toml, [search]); nearest is 'all'"),
    ("[search]\nphases = 300", "front_phases must not be below phases, got 256, phases 300 (a.toml, [search]); the front is scored again with at least as many phases as the search used"),
    ("[search]\nresolution = { mass_kg = 0 }", "mass_kg must lie in (0, 1000000], got 0 (a.toml, [search.resolution])"),
    ("[search]\nresolution = { mas_kg = 1 }", "mas_kg is not a known key, got 1 (a.toml, [search.resolution]); nearest is 'mass_kg'; give one of friction_loss_W, mass_kg, printability, slip_margin, torque_capacity_Nm"),
    ("[search]\nseed = 1.5", "seed must be a whole number, got 1.5 (a.toml, [search]); give a number in [0, 4294967295]"),
    ("[uncertainty]\nfriction_roler = { relative = 0.1 }", "friction_roler is not an unknown that can be spread (a.toml, [uncertainty]); nearest is 'friction_roller'"),
    ("[uncertainty]\nfriction_roller = { relative = -0.1 }", "relative must lie in [0, 2], got -0.1 (a.toml, [uncertainty.friction_roller])"),
    ("[uncertainty]\nfriction_roller = { relative = 0.1, absolute = 0.1 }", "friction_roller must have one of relative and absolute, got both (a.toml, [uncertainty.friction_roller]); write friction_roller = { relative = 0.1 }"),
    ("[uncertainty]\nfriction_roller = 0.1", "uncertainty.friction_roller must be a table, got 0.1 (a.toml); write it as [uncertainty.friction_roller] with one key = value a line"),
    ("[limits]\nslip_margin = { min = 2, max = 1 }", "slip_margin must have min not above max, got min 2, max 1 (a.toml, [limits.slip_margin]); swap them"),
    ("[limits]\nslip_margin = { }", "slip_margin must have min, max or both (a.toml, [limits.slip_margin]); write slip_margin = { min = ... }"),
    ("[materials.mine]\nyoungs_modulus_MPa = 22\ndensity_kg_per_m3 = 1200", "friction_roller must be given, a number in [0.01, 3] (a.toml, [materials.mine]); add friction_roller = ..."),
    ("[materials.tpu90a]\nfriction_floor = { tyle = 0.5 }", "tyle is not a known floor, got 0.5 (a.toml, [materials.tpu90a.friction_floor]); nearest is 'tile'; give one of sealed_concrete, wood, tile, vinyl, carpet, wet_tile"),
    ("[materials.tpu90a]\nrole = 'tire'", "role must be one of tyre, print, metal, got 'tire' (a.toml, [materials.tpu90a]); nearest is 'tyre'"),
    ("[materials.tpu90a]\nhardness = 90", "hardness is not a known key, got 90 (a.toml, [materials.tpu90a]); give one of "),
    (MOTOR.replace("= 1.1", "= 3.1"), "continuous_torque_Nm must not be above peak_torque_Nm, got 3.1, peak_torque_Nm 3 (a.toml, [motors.mine]); check both"),
    (MOTOR.replace("= 0.8", "= 1.2"), "gearbox_efficiency must lie in [0.05, 1], got 1.2 (a.toml, [motors.mine])"),
    ("[[duty]]\nname = 'a'\ndirection_deg = 0\nforce_N = 5\nspeed_m_per_s = 1\nshare = 0.9", "share must add up to 1 over all cases, got 0.9 (a.toml, [[duty]]); scale the shares"),
    ("[[duty]]\nname = 'a'\ndirection_deg = 0\nforce_N = 5\nspeed_m_per_s = 1\nshare = 0", "share must lie in (0, 1], got 0 (a.toml, [[duty]] number 1)"),
    ("[[demand]]\nname = 'a'\ndirection_deg = 0\nforce_N = -5\nspeed_m_per_s = 1", "force_N must lie in (0, 20000], got -5 (a.toml, [[demand]] number 1)"),
    ("[[demand]]\nname = 'a'\ndirection_deg = 0\nforce_N = 5\nspeed_m_per_s = 1\nshare = 1.0", "share must not be given for a demand, which takes no share of the time, got 1.0 (a.toml, [[demand]] number 1); leave it out, or write the case as [[duty]]"),
    ("[demand]\nname = 'a'", "demand must be a list of tables, got a table (a.toml, top level); write each as [[demand]]"),
]  # fmt: skip


@pytest.mark.parametrize(("table", "message"), TABLES, ids=[table[:60] for table, _ in TABLES])
def test_tables(table: str, message: str) -> None:
    found = faults(f"{table}\n{ROBOT}" if table.startswith("supply") else f"{ROBOT}{table}\n")
    assert len(found) == 1
    assert found[0].startswith(message) if message.endswith(" ") else found[0] == message


ROBOTS = [
    (ROBOT, "mass_kg = 9.0", "mass_kg = 0", "mass_kg must lie in (0, 1000], got 0 (a.toml, [robot])"),
    (ROBOT, "mass_kg = 9.0", "", "mass_kg must be given, a number in (0, 1000] (a.toml, [robot]); add mass_kg = ..."),
    (ROBOT, "body_gyration_m = 0.15", "", "body_gyration_m must be given, a number in [0, 5] (a.toml, [robot]); add body_gyration_m = ..."),
    (ROBOT, "recover_lean_deg = 8.0", "recover_lean_deg = 80", "recover_lean_deg must lie in (0, 45], got 80 (a.toml, [robot])"),
    (ROBOT, "= 0.35", "= 0.05", "centre_of_mass_height_m must lie above the wheel's axle, got 0.05 (a.toml, [robot]); give a height above 0.06 m, or smaller wheels in [space]"),
    (ROBOT, '"sealed_concrete"', '"sealed_conrete"', "floor must be one of sealed_concrete, wood, tile, vinyl, carpet, wet_tile, got 'sealed_conrete' (a.toml, [robot]); nearest is 'sealed_concrete'"),
    (ROBOT, '"balancing"', '"balanced"', "kind must be one of balancing, castered, got 'balanced' (a.toml, [robot]); nearest is 'balancing'"),
    (ROBOT, '"balancing"', "1", "kind must be text in quotes, got 1 (a.toml, [robot]); give one of balancing, castered"),
    (ROBOT, "[robot]", "[robot]\nslope_deg = 2", "slope_deg must not be given for a balancing robot, got 2 (a.toml, [robot]); a balancing robot stands on its wheel alone and its load cases come from the lean; or set kind = \"castered\""),
    (ROBOT, "[robot]", "[robot]\nwheel_load_N = 2", "wheel_load_N must not be given for a balancing robot, got 2 (a.toml, [robot]); a balancing robot stands on its wheel alone and its load cases come from the lean; or set kind = \"castered\""),
    (CASTERED, "[robot]", "[robot]\nrecover_lean_deg = 2", "recover_lean_deg must not be given for a castered robot, got 2 (a.toml, [robot]); a robot on castors does not lean: give acceleration_m_per_s2, slope_deg and rolling_resistance"),
    (CASTERED, "acceleration_m_per_s2 = 0.3", "", "acceleration_m_per_s2 must be given, a number in (0, 20] (a.toml, [robot]); add acceleration_m_per_s2 = ..."),
    (CASTERED, "mass_kg = 30.0", "", "mass_kg must be given, a number in (0, 1000] (a.toml, [robot]); add mass_kg = ..."),
]  # fmt: skip


@pytest.mark.parametrize(("text", "old", "new", "message"), ROBOTS, ids=[f"{old} -> {new}" for _, old, new, _ in ROBOTS])
def test_robot(text: str, old: str, new: str, message: str) -> None:
    assert old in text
    assert faults(text.replace(old, new)) == [message]


def test_a_study_needs_a_robot() -> None:
    assert faults("name = 'x'\n") == [
        "robot must be given, a table that says what the wheel is for (a.toml, top level); add [robot] with its kind"
    ]


def test_a_limit_names_an_output_column() -> None:
    assert faults(f"{ROBOT}[limits]\nslip_margin = {{ min = 1.3 }}\n") == []
    misspelt, words = faults(f"{ROBOT}[limits]\nslip_margn = {{ min = 1.3 }}\nstatus = {{ min = 1 }}\n")
    assert misspelt == "slip_margn is not a numeric output column (a.toml, [limits]); nearest is 'slip_margin'"
    assert words.startswith("status is not a numeric output column (a.toml, [limits]); give one of ")


def test_a_baseline_has_all_variables_within_their_meaning() -> None:
    text = WHOLE.replace("crown = 0.0\n", "").replace("bore_play_mm = 0.2\n", "bore_play_mm = 9\ncolour = 'red'\n")
    assert [re.sub(r"; .*", "", fault) for fault in faults(text)] == [
        "crown must be given, a baseline has all variables (a.toml, [baseline])",
        "bore_play_mm must lie in [0, 5], got 9 (a.toml, [baseline])",
        "colour is not a known key, got 'red' (a.toml, [baseline])",
    ]


def test_all_faults_at_once_and_none_that_follow_from_others() -> None:
    text = f"{ROBOT.replace('9.0', '-1')}[space]\ncrown = 2\nmotor = 'mine'\noutput_tyre = ['soft']\n[search]\nseed = -1\n[materials.soft]\n{MOTOR.replace('0.8', '8')}"
    with pytest.raises(BadInput) as caught:
        read_study(text, "a.toml")
    assert [fault.quantity for fault in caught.value.faults] == [
        "youngs_modulus_MPa", "density_kg_per_m3", "friction_roller", "gearbox_efficiency", "mass_kg", "crown", "seed",
    ]  # fmt: skip
    assert str(caught.value).count("\n") == 6
    assert caught.value.exit_status == 2


def fault_of_file(path: Path) -> str:
    with pytest.raises(BadInput) as caught:
        load_study(path)
    (fault,) = caught.value.faults
    return str(fault).replace(str(path.parent), "DIR")


def test_files_that_are_no_study(tmp_path: Path) -> None:
    (tmp_path / "scout.toml").write_text(ROBOT)
    assert load_study(tmp_path / "scout.toml").name == "scout"
    assert (
        fault_of_file(tmp_path / "scuot.toml")
        == "study must be a file that exists (DIR/scuot.toml); nearest is 'DIR/scout.toml'"
    )
    assert fault_of_file(tmp_path / "no" / "such.toml") == "study must be a file that exists (DIR/such.toml); check the path"
    (tmp_path / "folder").mkdir()
    assert fault_of_file(tmp_path / "folder") == "study must be a file, got a directory (DIR/folder); name a file in it"
    bad = tmp_path / "bad.toml"
    for content, message in [
        (b"", "study must not be empty, got an empty file (DIR/bad.toml); write a study into it"),
        (b"  \n\n", "study must not be empty, got an empty file (DIR/bad.toml); write a study into it"),
        (b"# nothing\n", "study must not be empty, got '# nothing' (DIR/bad.toml); add [robot] at least"),
        (b"\x89PNG\r\n\x00", "study must be text in UTF-8: it holds null bytes (DIR/bad.toml); save it as UTF-8 text"),
        (b"name = '\xff'", "study must be text in UTF-8: 'utf-8' codec can't decode byte 0xff in position 8"),
        (b"name = 'a'\nname 3", "study must be TOML: Expected '=' after a key in a key/value pair (DIR/bad.toml, line 2, column 6)"),
        (b"a = 1\na = 2", "study must be TOML: Cannot overwrite a value (DIR/bad.toml, "),
        (b"a = " + b"[" * 5000, "study must be TOML: nested too deeply (DIR/bad.toml)"),
        (b"a = " + b"9" * 6000, "study must be TOML: "),
        (b"#" * (LARGEST_STUDY + 1), f"study must be at most {LARGEST_STUDY} bytes long, got {LARGEST_STUDY + 1} bytes"),
    ]:  # fmt: skip
        bad.write_bytes(content)
        assert fault_of_file(bad).startswith(message)


@given(st.binary(max_size=400))
def test_random_bytes_are_bad_input(tmp_path_factory: pytest.TempPathFactory, content: bytes) -> None:
    path = tmp_path_factory.getbasetemp() / "random.toml"
    path.write_bytes(content)
    with pytest.raises(BadInput):
        load_study(path)


VALUES = st.sampled_from(
    ["0", "-1", "1e400", "nan", "inf", "true", '""', '"x"', "[]", "{}", "[1, 'a']", "{low = 1}", "{low = 2, high = 1}", "1979-05-27",
     "0x" + "f" * 5000, "{a = {b = 1}}", "[[1], {c = 2}]", "'a;b'", '"\\u0000"', "[[[]]]", "99999999999999999999999999"]
)  # fmt: skip
LINES = [i for i, line in enumerate(WHOLE.splitlines()) if "=" in line]


@settings(suppress_health_check=[HealthCheck.too_slow], deadline=None)
@given(st.lists(st.tuples(st.sampled_from(LINES), st.one_of(st.none(), VALUES)), min_size=1, max_size=4))
def test_a_study_with_mutated_lines_is_sound_or_bad_input(changes: list[tuple[int, str | None]]) -> None:
    lines = WHOLE.splitlines()
    for at, value in changes:
        lines[at] = "" if value is None else f"{lines[at].partition('=')[0]} = {value}"
    assert all("(a.toml" in fault for fault in faults("\n".join(lines)))


@settings(deadline=None)
@given(st.data())
def test_a_study_with_mutated_text_is_sound_or_bad_input(data: st.DataObject) -> None:
    at = data.draw(st.integers(0, len(WHOLE)))
    cut = data.draw(st.integers(0, 30))
    assert all("(a.toml" in fault for fault in faults(WHOLE[:at] + data.draw(st.text(max_size=6)) + WHOLE[at + cut :]))
