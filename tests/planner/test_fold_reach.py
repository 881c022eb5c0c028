"""How far a straight fold follows a line that is curved the hard way, against circle geometry."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from solver.data.line import Corner, Line, Stretch
from solver.geometry.folds import fold_rise_mm
from solver.planner.fold_reach import CAREFUL, GRID_MM, fold_reach
from solver.rules.chords import chord_within_mm

TOLERANCE_MM = 25.4 / 16
modest = settings(max_examples=40, deadline=None, derandomize=True)


def arc(radius_mm: float, length_mm: float, *, closed: bool = False) -> Line:
    return Line((Stretch(length_mm, hard_start=1 / radius_mm, hard_end=1 / radius_mm),), (), closed)


def reach_from(line: Line, at_mm: float, offset_mm: float = 0.0) -> float:
    reach = fold_reach(line, offset_mm, TOLERANCE_MM)
    assert reach is not None
    return float(reach(np.array([at_mm]))[0])


def test_nothing_limits_the_fold_of_a_line_that_is_straight_or_curved_the_easy_way() -> None:
    assert fold_reach(Line((Stretch(3000.0),)), 25.0, TOLERANCE_MM) is None
    bent = Line((Stretch(900.0, easy_start=0.01, easy_end=0.01),), (Corner(300.0, easy_deg=90.0),))
    assert fold_reach(bent, 25.0, TOLERANCE_MM) is None


@pytest.mark.parametrize("radius_mm", [150.0, 508.0, 3000.0])
def test_a_piece_of_circle_reaches_over_the_chord_with_the_rise_that_is_allowed(
    radius_mm: float,
) -> None:
    # chord 2·sqrt(2Rd - d2) (Euclid III.35), arc over it 2R·asin(chord/2R)
    chord = chord_within_mm(radius_mm, TOLERANCE_MM)
    longest = 2 * radius_mm * math.asin(chord / (2 * radius_mm))
    found = reach_from(arc(radius_mm, 1500.0), 0.0)
    assert longest * math.sqrt(CAREFUL) - GRID_MM - 0.1 <= found <= longest


def test_the_chord_worked_by_hand() -> None:
    # R 20 in = 508 mm, rise 1/16 in = 1.5875: 2·sqrt(2·508·1.5875 - 2.52) = 80.26 mm of chord, over
    # it 80.34 mm of arc; with 0.97 of the rise 79.13, and on a grid of 2 mm 78
    assert GRID_MM == 2.0
    assert reach_from(arc(508.0, 1500.0), 0.0) == pytest.approx(78.0)


def test_a_return_toward_the_centre_is_folded_on_a_smaller_circle() -> None:
    # the fold 50 above the root lies on R 458: angle 2·acos(1 - d/458), walked on R 508
    angle = 2 * math.acos(1 - TOLERANCE_MM / 458.0)
    found = reach_from(arc(508.0, 1500.0), 0.0, offset_mm=50.0)
    assert 508.0 * angle * math.sqrt(CAREFUL) - GRID_MM - 0.1 <= found <= 508.0 * angle


def test_once_a_fold_reaches_the_end_nothing_limits_it() -> None:
    line = arc(508.0, 300.0)
    assert reach_from(line, 0.0) < 300.0
    assert reach_from(line, 240.0) == math.inf
    assert reach_from(line, 300.0) == math.inf


def test_a_straight_stretch_lends_its_reach_until_the_curve_begins() -> None:
    line = Line((Stretch(1000.0), Stretch(600.0, hard_start=1 / 300.0, hard_end=1 / 300.0)))
    found = reach_from(line, 0.0)
    assert 1000.0 < found < 1100.0


def test_a_fold_does_not_go_round_a_sharp_hard_corner() -> None:
    # 30 degrees: a leg of 3.2 mm past the corner rises by 1.6
    line = Line((Stretch(1000.0),), (Corner(500.0, hard_deg=30.0),))
    assert 500.0 - GRID_MM <= reach_from(line, 0.0) <= 510.0
    assert reach_from(line, 502.4) == math.inf


def test_a_ring_reaches_over_its_own_start() -> None:
    radius = 400.0
    ring = arc(radius, 2 * math.pi * radius, closed=True)
    length = ring.length_mm
    at_start, near_end = reach_from(ring, 0.0), reach_from(ring, length - 20.0)
    assert length < near_end < length + at_start
    assert near_end - (length - 20.0) == pytest.approx(at_start, abs=2 * GRID_MM)


@modest
@given(
    st.floats(120.0, 1500.0),
    st.floats(-1.0, 1.0),
    st.floats(0.0, 1.0),
    st.sampled_from([-20.0, 0.0, 30.0]),
)
def test_wherever_a_piece_begins_its_fold_keeps_the_tolerance(
    radius_mm: float, ends_as: float, begins: float, offset_mm: float
) -> None:
    # a curve that tightens, eases or turns over; pieces begin anywhere, on the grid or between
    line = Line((Stretch(700.0, hard_start=1 / radius_mm, hard_end=ends_as / radius_mm),))
    at = begins * 690.0
    end = min(reach_from(line, at, offset_mm), 700.0)
    assert end > at
    assert fold_rise_mm(line, at, end, offset_mm) <= TOLERANCE_MM
