"""Fronts against each other: by hand, and against moocore on its own."""

import json
import math
from dataclasses import replace
from xml.etree import ElementTree

import moocore
import numpy as np
import pandas as pd
import pytest

from sweep import comparing
from sweep.comparing import Front, as_json, common_front, compare, coverage, weights
from sweep.figures.comparing import comparing_figure, page, picture
from sweep.front import OBJECTIVES
from sweep.show import print_json
from sweep.study import load_study

SCENARIO = load_study("studies/balancing.toml").scenario
NAMES = [objective.name for objective in OBJECTIVES]


def front(name, points, scenario=SCENARIO, phases=64):
    """A front of points in torque and mass, all else the same."""
    rows = [{"design": f"{name}{i}", "torque_capacity_Nm": torque, "slip_margin": 2.0, "friction_loss_W": 5.0, "mass_kg": mass,
             "printability": 0.8} for i, (torque, mass) in enumerate(points)]  # fmt: skip
    return Front(name, pd.DataFrame(rows), scenario, phases)


STRONG = front("strong", [(10.0, 2.0), (6.0, 1.5)])
LIGHT = front("light", [(5.0, 1.0), (6.0, 1.6)])


def test_coverage_by_hand():
    """(6 N m, 1.6 kg) is beaten by (6, 1.5), (5, 1) by nobody: half of light; nothing of strong is beaten."""
    found = compare([STRONG, LIGHT])
    assert found.coverage.tolist() == [[1.0, 0.5], [0.0, 1.0]]
    assert found.on_common_front.tolist() == [2, 1]


def test_hypervolume_by_hand():
    """Torque 5 to 10, mass 1 to 2; the box ends a tenth beyond: scaled points, areas in units of a box of 1.1 by 1.1.

    strong: (0, 1) and (0.8, 0.5) to (1.1, 1.1): 1.1 x 0.1 + 0.3 x 0.5 = 0.26. light: (1, 0) and (0.8, 0.6): 0.1 x 1.1 +
    0.2 x 0.5 = 0.21. Together: 0.11 + 0.15 (down to 0.5) + 0.1 x 0.5 = 0.31.
    """
    found = compare([STRONG, LIGHT])
    assert found.hypervolume == pytest.approx(np.array([0.26, 0.21]) / 1.21)
    assert found.hypervolume_together == pytest.approx(0.31 / 1.21)
    assert found.alone == pytest.approx([1 - 0.21 / 0.31, 1 - 0.26 / 0.31])


def cloud(seed, count=60):
    points = np.random.default_rng(seed).random((count, 5))
    return pd.DataFrame(points, columns=NAMES).assign(design=[f"d{seed}{i}" for i in range(count)])


def test_against_moocore_and_a_plain_loop():
    one, other = (Front(f"{seed}", cloud(seed), SCENARIO, 64) for seed in (1, 2))
    found = compare([one, other])
    a, b = one.costs, other.costs
    plain = sum(any(all(x <= y for x, y in zip(p, q, strict=True)) for p in a) for q in b) / len(b)
    assert found.coverage[0, 1] == plain
    ideal, nadir = np.vstack([a, b]).min(axis=0), np.vstack([a, b]).max(axis=0)
    reference = moocore.hypervolume((a - ideal) / (nadir - ideal), ref=np.full(5, 1.1)) / 1.1**5
    assert found.hypervolume[0] == pytest.approx(reference)


def test_thirds_say_who_is_there():
    found = compare([STRONG, LIGHT])
    torque = NAMES.index("torque_capacity_Nm")
    assert found.winner(torque, 0) == 0  # 8.3 to 10 N m: only strong
    assert found.winner(torque, 1) is None  # 6.7 to 8.3 N m: nobody
    assert found.winner(torque, 2) == 1  # 5 to 6.7 N m: the lightest is light's
    assert not found.thirds[torque, 1].any()


def test_weightings_are_all_of_a_lattice():
    """C(5 + 4, 4) = 126 compositions of five steps over five objectives."""
    lattice = weights(5)
    assert lattice.shape == (math.comb(9, 4), 5)
    assert lattice.sum(axis=1) == pytest.approx(1.0)
    assert len(np.unique(lattice, axis=0)) == 126


def test_who_weighs_one_objective_most_gets_its_best_design():
    found = compare([STRONG, LIGHT])
    assert found.weightings.sum(axis=1) == pytest.approx(1.0)
    torque, mass = NAMES.index("torque_capacity_Nm"), NAMES.index("mass_kg")
    assert found.weightings[torque, 0] > found.weightings[torque, 1]
    assert found.weightings[mass, 1] > found.weightings[mass, 0]


def test_the_same_front_twice_is_even_everywhere():
    found = compare([STRONG, replace(STRONG, name="again")])
    assert (found.coverage == 1).all()
    assert found.alone == pytest.approx([0, 0])
    assert (found.weightings == 0.5).all()
    assert found.winner(0, 0) is None
    assert any("hold the same designs" in text for text in found.cautions)


def test_what_makes_fronts_hard_to_compare_is_said():
    heavier = replace(SCENARIO, robot=replace(SCENARIO.robot, mass=12.0))
    found = compare([STRONG, front("heavy", [(5.0, 1.0)], heavier, 256)])
    assert any("different robots" in text for text in found.cautions)
    assert any("64 positions" in text and "256" in text for text in found.cautions)
    assert compare([STRONG, LIGHT]).cautions == ()


def test_the_order_of_runs_changes_nothing_but_the_order():
    one, other = compare([STRONG, LIGHT]), compare([LIGHT, STRONG])
    assert one.hypervolume.tolist() == other.hypervolume[::-1].tolist()
    assert one.coverage.tolist() == other.coverage[::-1, ::-1].tolist()


def test_the_common_front_names_where_each_design_is_from():
    table = common_front(compare([STRONG, LIGHT]))
    assert table[["front", "design"]].to_numpy().tolist() == [["strong", "strong0"], ["strong", "strong1"], ["light", "light0"]]


def test_the_document_is_json(capsys):
    print_json(as_json(compare([STRONG, LIGHT])))
    told = json.loads(capsys.readouterr().out)
    assert told["coverage"]["strong"]["light"] == 0.5
    assert told["best"]["torque_capacity_Nm"] == 10.0
    assert told["thirds"]["mass_kg"][0]["light"] > 0


def test_the_picture_shows_the_designs_of_both():
    figure = comparing_figure(compare([STRONG, LIGHT]))
    axis = figure.axes[0]
    assert (axis.get_xlabel(), axis.get_ylabel()) == ("mass [kg]", "torque [N m]")
    clouds = [collection.get_offsets().tolist() for collection in axis.collections if len(collection.get_offsets()) > 1]
    assert clouds == [[[2.0, 10.0], [1.5, 6.0]], [[1.0, 5.0], [1.6, 6.0]]]
    letters = [text.get_text() for text in figure.axes[-1].texts]
    assert letters[0] == "A"  # most torque
    assert len({collection.get_paths()[0].vertices.shape for collection in axis.collections}) > 1  # told apart by shape


@pytest.mark.parametrize("ending", ["svg", "png", "pdf"])
def test_pictures_repeat_byte_for_byte(ending):
    found = compare([STRONG, LIGHT])
    assert picture(found, ending) == picture(found, ending)


def test_the_page_stands_alone_and_escapes_names():
    text = page(compare([replace(STRONG, name="a <b> & c"), LIGHT]))
    assert "a &lt;b&gt; &amp; c" in text
    assert "<b>" not in text
    for address in ("src=", "@import", "url(http"):
        assert address not in text
    ElementTree.fromstring(text[text.index("<svg") : text.index("</svg>") + 6])


def test_coverage_needs_no_order():
    points = np.random.default_rng(3).random((20, 3))
    assert coverage(points, points[::-1]) == 1.0
    assert comparing.LATTICE > 1
