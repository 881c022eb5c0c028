"""One broken layout for each thing that the measuring of layouts must notice."""

from dataclasses import replace

import pytest

from solver.nests.shapes import Layout, Placement, Shape, Stock, UsedUnit
from solver.nests.verify import verify

GAP = 1.5875
A = Shape("a", ((0, 0), (300, 0), (300, 80), (0, 80)), True, False, 2)
CURVED = Shape("c", ((0, 0), (100, 0), (50, 80)), False, True, 1)
ROLL = Stock("roll", 200.0, 1000.0, 10.0, 1, 1)
GOOD = Layout(
    (UsedUnit("roll", False),),
    (
        Placement("a", 0, 0.0, 0.0, 0.0, False),
        Placement("a", 0, 0.0, 80.0 + GAP, 0.0, False),
        Placement("c", 0, 320.0, 0.0, 0.0, False),
    ),
    True,
)


def faults(layout):
    return verify(layout, [A, CURVED], [ROLL], GAP)


def test_a_right_layout_has_no_faults():
    assert faults(GOOD) == ()


def moved(k, **change):
    placements = list(GOOD.placements)
    placements[k] = replace(placements[k], **change)
    return replace(GOOD, placements=tuple(placements))


@pytest.mark.parametrize(
    ("layout", "words"),
    [
        (moved(1, y_mm=80.0 + GAP - 2e-6), "apart"),
        (moved(1, y_mm=40.0), "apart"),
        (moved(0, x_mm=-2e-6), "leaves"),
        (moved(2, y_mm=121.0), "leaves"),
        (moved(1, y_mm=210.0, flipped=True), "turned over"),
        (moved(0, turn_deg=1.0), "not square"),
        (moved(2, unit=1), "does not exist"),
        (moved(2, shape_id="x"), "not asked"),
        (replace(GOOD, placements=GOOD.placements[1:]), "1 times"),
        (replace(GOOD, placements=(*GOOD.placements, GOOD.placements[0])), "3 times"),
        (replace(GOOD, units=(UsedUnit("other", True),)), "not listed"),
        (replace(GOOD, units=(UsedUnit("roll", True),) * 2), "for sale"),
        (replace(GOOD, units=(UsedUnit("roll", False),) * 2), "on hand"),
    ],
)
def test_each_fault_is_named(layout, words):
    found = faults(layout)
    assert found
    assert any(words in fault for fault in found)


def test_no_gap_is_needed_at_the_edge_nor_between_blanks_when_none_is_asked():
    touching = moved(1, y_mm=80.0)
    assert verify(touching, [A, CURVED], [ROLL], 0.0) == ()
    overlapping = moved(1, y_mm=79.9)
    assert verify(overlapping, [A, CURVED], [ROLL], 0.0) != ()


def test_end_trim_and_offcut_outlines_bound_the_blanks():
    assert verify(GOOD, [A, CURVED], [replace(ROLL, end_trim_mm=1.0)], GAP) != ()
    cut = ((0, 0), (1000, 0), (1000, 200), (200, 200), (0, 100))
    assert verify(GOOD, [A, CURVED], [replace(ROLL, outline_mm=cut)], GAP) != ()
