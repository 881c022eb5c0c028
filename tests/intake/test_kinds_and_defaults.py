"""Kinds hold what edges have in common; what nobody says keeps a default of the trade."""

import pytest
from scenario_cases import changed, plate, rows_of, two_halves

from solver.intake import job_from_scenario

INCH = 25.4


def edge_of(data, name="plate | frame"):
    return job_from_scenario(data).edge_of[name]


def with_kinds(**kinds):
    return plate(kinds={name.replace("_", " "): kind for name, kind in kinds.items()})


def test_every_then_automatic_then_own_then_the_edge():
    data = with_kinds(
        every={"stand": 1, "grip": 1.5},
        part_line={"stand": 2},
        hinge={"stand": 3, "visible": True},
    )
    assert edge_of(data).stand_mm == pytest.approx(2 * INCH)
    data["edges"]["plate | frame"]["kind"] = "hinge"
    assert edge_of(data).stand_mm == pytest.approx(3 * INCH)
    assert edge_of(data).visible
    assert edge_of(data).kinds == ("every", "part line", "hinge")
    data["edges"]["plate | frame"]["stand"] = 4
    assert edge_of(data).stand_mm == pytest.approx(4 * INCH)
    assert edge_of(data).grip_mm == pytest.approx(1.5 * INCH)


def test_open_and_inner_apply_by_themselves():
    kinds = {"open": {"stand": 2}, "inner": {"witness": "forbidden"}, "part line": {"stand": 3}}
    data = two_halves(["A", 10, "B"], kinds=kinds)
    del data["patches"]["a.fore"]["part"]
    del data["patches"]["a.aft"]["part"]
    job = job_from_scenario(data)
    assert job.edge_of["a.fore | open"].stand_mm == pytest.approx(2 * INCH)
    inner = job.edge_of["a.fore | a.aft"]
    assert inner.witness == "forbidden"
    assert inner.stand_mm == pytest.approx(1 * INCH)
    assert not job.carries_metal(inner)


def test_bolts_are_merged_key_by_key():
    data = with_kinds(every={"bolts": {"pitch": 5, "inset": 1.25, "size": "1/4 in"}})
    data["edges"]["plate | frame"]["bolts"] = {"pitch": 4}
    bolts = edge_of(data).bolts
    assert (bolts.pitch_mm, bolts.inset_mm, bolts.diameter_mm, bolts.from_ends_mm) == (
        pytest.approx((4 * INCH, 1.25 * INCH, 0.25 * INCH, 2 * INCH))
    )


def test_the_default_grip_ends_an_eighth_inch_before_the_bolts():
    # inset − d/2 − 1/8 in [practice]: 1 − 5/32 − 1/8 = 23/32 in
    assert edge_of(plate()).grip_mm == pytest.approx(23 / 32 * INCH)
    data = with_kinds(every={"bolts": {"inset": 1.5, "size": "1/4 in"}})
    assert edge_of(data).grip_mm == pytest.approx(1.25 * INCH)
    wide = plate(rules={"bolt_clearance": "1/4 in"})
    assert edge_of(wide).grip_mm == pytest.approx(19 / 32 * INCH)


def test_the_default_grip_of_an_open_edge_is_the_width_of_its_clamps():
    assert edge_of(plate(), "frame | open").grip_mm == pytest.approx(1.25 * INCH)


def test_a_visible_line_forbids_a_witness_line_unless_the_builder_says_otherwise():
    assert edge_of(changed(plate(), "edges", "plate | frame", "visible", to=True)).witness == (
        "forbidden"
    )
    data = with_kinds(every={"visible": True, "witness": "allowed"})
    assert edge_of(data).witness == "allowed"


def test_a_return_folds_to_the_first_named_patch_by_default():
    data = with_kinds(every={"return": "3/8 in"})
    assert edge_of(data).return_to == "first"
    data["edges"]["plate | frame"]["return_to"] = "frame"
    assert edge_of(data).return_to == "second"
    assert edge_of(data).return_mm == pytest.approx(0.375 * INCH)


def test_the_outside_may_be_named_first():
    data = plate()
    data["edges"]["open | frame"] = {
        "loop": [30, {"right": 90, "radius": 0}] * 4,
        "notches": {"at": 10, "wide": 2, "deep": 0.5},
    }
    del data["edges"]["frame | open"]
    edge = edge_of(data, "frame | open")
    assert (edge.first, edge.second) == ("frame", "open")
    assert edge.notches[0].at_mm == pytest.approx(110 * INCH)
    assert all(corner.easy_deg == 90 for corner in edge.line.corners)


def test_an_edge_without_turns_to_a_side_may_be_walked_from_either_end():
    bow = ["B", {"left": 90, "radius": 5}, 10, {"left": 90, "radius": 5}, "A"]
    one = job_from_scenario(two_halves(["A", 10, "B"], bow))
    other = job_from_scenario(two_halves(["B", 10, "A"], bow))
    a, b = (job.edge_of["a.fore | a.aft"] for job in (one, other))
    assert (a.start_mark, a.end_mark, a.first) == (b.start_mark, b.end_mark, b.first)
    assert a.line == b.line


def test_a_notch_leaves_some_metal():
    data = changed(plate(), "edges", "plate | frame", "notches", to={"at": 5, "wide": 1, "deep": 1})
    (row,) = rows_of(data)
    assert row[0] == 'edges "plate | frame".notches.deep'
