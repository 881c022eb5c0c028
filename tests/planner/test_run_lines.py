"""Runs as they are walked: everything lies at its station, whichever way its edge is measured."""

from __future__ import annotations

import dataclasses
import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from small_jobs import edge, hatch, job, one_run, run, straight

from solver.data.job import Bolts, Edge, EdgeNotch, Near, Patch, Rules
from solver.data.line import Corner, Line, Stretch
from solver.planner.run_lines import (
    CutOut,
    edge_bolt_notches,
    edge_bolt_stations_mm,
    run_lines,
)
from solver.planner.stands import Stand, stands_along

modest = settings(max_examples=30, deadline=None, derandomize=True)


def bend(length_mm: float, radius_mm: float) -> Line:
    return Line((Stretch(length_mm - 100.0), Stretch(100.0, 1 / radius_mm, 1 / radius_mm)))


# --- stations -------------------------------------------------------------------------------------


def test_a_run_walks_its_edges_one_after_another() -> None:
    (walked,) = run_lines(one_run(edge("a", straight(300)), edge("b", straight(500))))
    assert walked.starts_mm == (0.0, 300.0, 800.0)
    assert walked.length_mm == walked.line.length_mm == 800.0
    assert not walked.open


def test_an_edge_walked_backward_turns_its_stations_and_its_curves_round() -> None:
    notched = edge(
        "b",
        bend(500, 200.0),
        notches=(EdgeNotch(100.0, 30.0, 10.0),),
        no_seam_mm=((0.0, 50.0), (120.0, 150.0)),
    )
    both = job([edge("a", straight(300)), notched], [run("R1", "a", "-b")])
    (walked,) = run_lines(both)
    # station s of b lies at 300 + (500 - s) of the run
    assert walked.asked_notches == (CutOut(700.0, 30.0, 10.0, "free"),)
    assert walked.no_seam == ((750.0, 800.0), (650.0, 680.0))
    # its curve comes first and turns the other way
    assert walked.line.stretches[1].easy_start == -1 / 200.0
    assert walked.curved == ((300.0, 400.0),)


@modest
@given(st.floats(10.0, 490.0), st.booleans())
def test_a_notch_is_the_same_place_of_the_edge_in_both_directions(at: float, back: bool) -> None:
    notched = edge("b", straight(500), notches=(EdgeNotch(at, 10.0, 5.0),))
    name = "-b" if back else "b"
    (walked,) = run_lines(job([edge("a", straight(300)), notched], [run("R1", "a", name)]))
    assert walked.asked_notches[0].at_mm - 300.0 == pytest.approx(500 - at if back else at)


def test_seams_keep_away_from_sharp_corners_on_both_sides() -> None:
    cornered = edge("a", Line((Stretch(600.0),), (Corner(200.0, easy_deg=90.0),)))
    (walked,) = run_lines(one_run(cornered, rules=Rules(seam_from_corner_mm=60.0)))
    assert walked.corners == ((140.0, 260.0),)


# --- bolts ----------------------------------------------------------------------------------------


def test_bolts_stand_two_inches_from_marks_and_corners_and_no_further_apart_than_their_pitch() -> (
    None
):
    # 600 long, a corner at 200: 50.8 and 149.2 before it (99 apart needs no third at 152.4);
    # 250.8 to 549.2 behind it is 298.4 in two spaces of 149.2
    cornered = edge("a", Line((Stretch(600.0),), (Corner(200.0, easy_deg=90.0),)))
    stations = edge_bolt_stations_mm(one_run(cornered), cornered)
    assert stations == pytest.approx((50.8, 149.2, 250.8, 400.0, 549.2))


def test_bolts_round_a_closed_line_are_spread_evenly() -> None:
    circle = edge("a", hatch(300.0))
    stations = edge_bolt_stations_mm(one_run(circle, closed=True), circle)
    # 1885 mm at most 152.4 apart: 13 bolts
    assert len(stations) == 13
    assert stations[1] - stations[0] == pytest.approx(600 * math.pi / 13)


def test_a_grip_that_reaches_past_the_bolts_is_notched_at_each_of_them() -> None:
    # inset 25.4, bolt 5/16 in = 7.9375, clearance 3.175: a grip of 18.256 keeps clear
    deep = edge("a", straight(300), grip_mm=19.05)
    (walked,) = run_lines(one_run(deep))
    assert [cut.at_mm for cut in walked.bolt_notches] == pytest.approx([50.8, 150.0, 249.2])
    assert {(round(c.wide_mm, 4), round(c.deep_mm, 4), c.side) for c in walked.bolt_notches} == {
        (14.2875, 0.7938, "grip")
    }
    clear = dataclasses.replace(deep, grip_mm=18.25)
    assert run_lines(one_run(clear))[0].bolt_notches == ()


def test_bolt_notches_are_turned_round_with_their_edge() -> None:
    # one edge of 260 with bolts 60 and 200 from its start, walked the other way
    lopsided = edge(
        "a",
        Line((Stretch(260.0),), (Corner(120.0, easy_deg=80.0),)),
        grip_mm=19.05,
        bolts=Bolts(from_ends_mm=70.0),
    )
    (forward,) = run_lines(job([lopsided], [run("R1", "a")]))
    (backward,) = run_lines(job([lopsided], [run("R1", "-a")]))
    at = [cut.at_mm for cut in forward.bolt_notches]
    assert sorted(260.0 - cut.at_mm for cut in backward.bolt_notches) == pytest.approx(at)
    assert at != pytest.approx([260.0 - place for place in reversed(at)])


def test_an_open_edge_has_no_bolts_to_notch_for() -> None:
    rim = edge("a", straight(300), second="open", grip_mm=19.05)
    assert edge_bolt_notches(one_run(rim), rim) == ()
    assert run_lines(one_run(rim))[0].open


# --- access ---------------------------------------------------------------------------------------


def near(name: str, gap_mm: float, start_mm: float = 0.0, end_mm: float = 300.0) -> tuple[Near]:
    return (Near(name, gap_mm, start_mm, end_mm),)


def lowest(whole) -> dict[str, float]:
    """Where each edge stands lowest."""
    return {name: min(one.stand_mm for one in along) for name, along in stands_along(whole).items()}


def test_a_flashing_that_runs_near_caps_both_stands() -> None:
    # the brush comes in at 45 degrees: a stand is no higher than the clear gap is wide [practice]
    one = edge("a", straight(300), stand_mm=25.4, near=near("b", 20.0))
    other = edge("b", straight(300), stand_mm=30.0)
    both = job([one, other], [run("R1", "a"), run("R2", "b")])
    assert lowest(both) == pytest.approx({"a": 20.0, "b": 20.0})
    # at 60 degrees it is 20·tan 60 = 34.6: neither is capped
    steep = dataclasses.replace(both, rules=Rules(access_angle_deg=60.0))
    assert lowest(steep) == {"a": 25.4, "b": 30.0}
    assert [walked.shapes[0].stand_mm for walked in run_lines(both)] == pytest.approx([20.0, 20.0])


def test_the_nearest_of_several_flashings_counts() -> None:
    middle = edge("m", straight(300), near=near("b", 20.0) + near("a", 15.0))
    three = [middle, edge("a", straight(300)), edge("b", straight(300))]
    whole = job(three, [run(e.id, e) for e in three])
    assert lowest(whole) == pytest.approx({"m": 15.0, "a": 15.0, "b": 20.0})


def test_a_line_without_metal_caps_nothing() -> None:
    one = edge("a", straight(300), near=near("w", 5.0))
    witness = Edge("w", "lid", "lid rear", straight(300), None, None, near=near("a", 5.0))
    patches = [
        Patch("lid", "lid", 1e5, ((0, 0, 1),)),
        Patch("lid rear", "lid", 1e5, ((0, 0, 1),)),
        Patch("frame", "frame", 1e5, ((0, 0, 1),)),
    ]
    assert lowest(job([one, witness], [run("R1", "a")], patches=patches)) == {"a": 25.4}


def test_only_the_stretch_beside_other_metal_is_capped() -> None:
    one = edge("a", straight(300), stand_mm=25.4, near=near("b", 20.0, 50.0, 120.0))
    other = edge("b", straight(300), stand_mm=25.4, near=near("a", 20.0, 200.0, 300.0))
    both = job([one, other], [run("R1", "a"), run("R2", "-b")])
    assert stands_along(both)["a"] == (
        Stand(0.0, 50.0, 25.4),
        Stand(50.0, 120.0, pytest.approx(20.0)),
        Stand(120.0, 300.0, 25.4),
    )
    forward, backward = run_lines(both)
    (step,) = forward.steps(forward.shape_between(0, 0.0, 300.0), 0.0, 300.0, 12.7)
    assert (step.at_mm, step.wide_mm, step.side) == (85.0, 70.0, "free")
    assert step.deep_mm == pytest.approx(5.4)
    # walked from its other end, the run begins with the stretch; metal to trim is as low
    assert backward.lowered == (Stand(0.0, 100.0, pytest.approx(20.0)),)
    (step,) = backward.steps(backward.shape_between(0, 0.0, 300.0), 0.0, 300.0, 12.7)
    assert (step.at_mm, step.wide_mm) == (50.0, 100.0)
    # a piece that lies in the stretch stands low all along, and needs no step
    shape = backward.shape_between(0, 10.0, 90.0)
    assert shape.stand_mm == pytest.approx(20.0)
    assert backward.steps(shape, 10.0, 90.0, 0.0) == ()


def test_a_gap_told_by_one_edge_alone_counts_all_along_the_other() -> None:
    one = edge("a", straight(300), stand_mm=25.4, near=near("b", 20.0, 50.0, 120.0))
    both = job([one, edge("b", straight(300))], [run("R1", "a"), run("R2", "b")])
    assert stands_along(both)["b"] == (Stand(0.0, 300.0, pytest.approx(20.0)),)


def test_a_return_is_folded_straight_so_a_low_stretch_lowers_its_whole_piece() -> None:
    one = edge("a", straight(300), stand_mm=25.4, return_mm=12.0, near=near("b", 20.0, 50.0, 120.0))
    both = job([one, edge("b", straight(300))], [run("R1", "a"), run("R2", "b")])
    walked = run_lines(both)[0]
    low = walked.shape_between(0, 0.0, 150.0)
    assert low.stand_mm == pytest.approx(20.0)
    assert walked.steps(low, 0.0, 150.0, 0.0) == ()
    assert walked.shape_between(0, 150.0, 300.0).stand_mm == 25.4
    assert {50.0, 120.0} <= set(walked.marks_mm)


# --- shapes ---------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("to", "name", "hand"),
    [
        ("first", "a", "left"),
        ("first", "-a", "right"),
        ("second", "a", "right"),
        ("second", "-a", "left"),
    ],
)
def test_a_return_lies_on_its_own_side_whichever_way_one_walks(
    to: str, name: str, hand: str
) -> None:
    # walked from its start an edge has its first patch on the left
    folded = edge("a", straight(300), return_mm=10.0, return_to=to)
    (walked,) = run_lines(job([folded], [run("R1", name)]))
    assert walked.shapes[0].return_hand == hand


# --- what shows -----------------------------------------------------------------------------------


def test_a_line_shows_at_its_ends_and_between() -> None:
    (walked,) = run_lines(
        one_run(
            edge("a", straight(300)), edge("b", straight(500), visible=True), edge("c", straight(9))
        )
    )
    assert walked.visible == ((300.0, 800.0),)
    assert [walked.visible_at(s) for s in (0.0, 299.0, 300.0, 500.0, 800.0, 801.0, 809.0)] == [
        False, False, True, True, True, False, False,
    ]  # fmt: skip
    assert walked.shows_between(0.0, 301.0)
    assert not walked.shows_between(0.0, 300.0)


def test_at_the_start_of_a_loop_either_side_may_show() -> None:
    # round numbers of inches leave a seam a hair beside the start: it is the same seam
    hidden, shown = edge("a", straight(300)), edge("b", straight(500.3), visible=True)
    (walked,) = run_lines(one_run(hidden, shown, closed=True))
    whole = walked.length_mm
    for station in (0.0, 1e-9, whole, math.nextafter(whole, 0.0), whole + 1e-9):
        assert walked.visible_at(station)
    assert not walked.visible_at(1.0)
    assert not walked.visible_at(whole + 1.0)
    assert walked.shows_between(whole - 1.0, whole + 100.0)
    assert not walked.shows_between(whole + 0.0, whole + 100.0)


def test_a_run_with_two_ends_does_not_show_at_one_because_it_shows_at_the_other() -> None:
    (walked,) = run_lines(one_run(edge("a", straight(300)), edge("b", straight(500), visible=True)))
    assert not walked.visible_at(0.0)
    assert walked.visible_at(800.0)
