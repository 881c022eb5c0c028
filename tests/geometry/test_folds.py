"""Folds on curves: straight folds, slits and V-notches, against circle geometry."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from solver.data.line import Corner, Line, Stretch
from solver.geometry.blanks import Fold, blank_of
from solver.geometry.folds import (
    facet_stations,
    fold_rise_mm,
    leg_cuts,
    leg_faults,
    longest_straight_fold_mm,
)

INCH = 25.4


def arc(length, *, easy=0.0, hard=0.0):
    return Stretch(length, easy, easy, hard, hard)


def widest_pitch(radius_mm, rise_mm=INCH / 64):
    """2 sqrt(2 R d - d^2): chord whose rise is d (circle geometry)."""
    return 2 * math.sqrt(2 * radius_mm * rise_mm - rise_mm**2)


def curved_leg():
    """30 in of a curve of radius 12 in between two straights."""
    return Line((Stretch(200), arc(30 * INCH, easy=1 / (12 * INCH)), Stretch(100)))


def test_thirty_inches_round_a_foot_take_twenty_four_slits():
    # [derived] R 12, tolerance 1/64, leg 5/8: s 1.2243, 25 facets, pitch 1.20, gap 0.0625 in
    assert widest_pitch(12 * INCH) / INCH == pytest.approx(1.2243, abs=1e-4)
    line = curved_leg()
    cuts = leg_cuts(line, 0.0, line.length_mm, 0.625 * INCH, "free", "right", widest_pitch)
    assert len(cuts) == 24
    assert all(cut.opens for cut in cuts)
    assert np.diff([cut.station_mm for cut in cuts]) / INCH == pytest.approx(np.full(23, 1.2))
    assert cuts[0].station_mm == pytest.approx(200 + 1.2 * INCH)
    assert [cut.opening_mm / INCH for cut in cuts] == pytest.approx([0.0625] * 24, abs=1e-9)


def test_the_same_leg_folded_inward_is_v_notched():
    line = curved_leg()
    cuts = leg_cuts(line, 0.0, line.length_mm, 0.625 * INCH, "free", "left", widest_pitch)
    assert len(cuts) == 24
    assert not any(cut.opens for cut in cuts)
    assert cuts[7].opening_mm / INCH == pytest.approx(0.0625)


def test_the_slits_stand_in_the_folded_leg_of_the_blank():
    line = curved_leg()
    cuts = leg_cuts(line, 0.0, line.length_mm, 0.625 * INCH, "free", "right", widest_pitch(304.8))
    blank = blank_of(
        line, 0.0, line.length_mm, 60.0, 20.0, folds=(Fold(44.125, 90.0, "right"),), cuts=cuts
    )
    assert len(blank.slits) == 24
    for index, ((x0, y0), (x1, y1)) in enumerate(blank.slits):
        assert (x0, x1) == pytest.approx((200 + 30.48 * (index + 1),) * 2)
        assert (y0, y1) == pytest.approx((60.0, 44.125))


def test_a_piece_of_the_curve_is_divided_anew():
    # 10 in of it: ceil(10 / 1.2243) = 9 facets
    line = curved_leg()
    start = 200 + 5 * INCH
    stations = facet_stations(line, start, start + 10 * INCH, widest_pitch)
    assert len(stations) == 8
    assert stations[0] == pytest.approx(start + 10 * INCH / 9)


def test_a_closed_loop_has_as_many_partings_as_facets_and_one_is_the_butt():
    radius = 12 * INCH
    loop = Line((arc(2 * math.pi * radius, easy=1 / radius),), closed=True)
    facets = math.ceil(2 * math.pi * 12 / 1.2243)
    one_piece = facet_stations(loop, 0.0, loop.length_mm, widest_pitch)
    assert len(one_piece) == facets - 1
    over_the_start = facet_stations(loop, 500.0, 500.0 + loop.length_mm, widest_pitch)
    assert len(over_the_start) == facets - 1
    assert over_the_start[-1] > loop.length_mm


def test_a_whole_number_of_pitches_gains_no_facet():
    line = Line((arc(300.0, easy=1e-3),))
    assert facet_stations(line, 0.0, 300.0, 30.0) == pytest.approx(np.arange(30.0, 300.0, 30.0))


def test_a_mark_inside_a_curve_adds_no_slit():
    parted = Line((arc(100, easy=0.01), arc(200, easy=0.01)))
    plain = Line((arc(300, easy=0.01),))
    assert facet_stations(parted, 0, 300, 17.0) == pytest.approx(
        facet_stations(plain, 0, 300, 17.0)
    )


def test_an_s_curve_opens_on_one_half_and_overlaps_on_the_other():
    line = Line((Stretch(400, 0.005, -0.005),))
    cuts = leg_cuts(line, 0.0, 400.0, 16.0, "grip", "right", widest_pitch)
    assert {cut.opens for cut in cuts if cut.station_mm < 200} == {True}
    assert {cut.opens for cut in cuts if cut.station_mm > 200} == {False}
    assert {cut.side for cut in cuts} == {"grip"}


def test_where_the_curve_is_tighter_the_slits_stand_closer():
    line = Line((Stretch(600, 0.001, 0.01),))
    gaps = np.diff(facet_stations(line, 0.0, 600.0, widest_pitch))
    assert (np.diff(gaps) < 0).all()
    # equal shares of the integral of ds / s: the last facets near the pitch of radius 100
    assert gaps[-1] == pytest.approx(widest_pitch(100.0), rel=0.08)


@settings(derandomize=True, max_examples=30, deadline=None)
@given(st.floats(60.0, 2000.0), st.floats(0.05, 6.0), st.floats(5.0, 40.0))
def test_openings_add_up_to_the_turn_between_the_outer_facets(radius, turn, leg):
    # n facets turn by turn / n each: n - 1 openings of leg * turn / n
    line = Line((Stretch(50), arc(radius * turn, easy=1 / radius)))
    cuts = leg_cuts(line, 0.0, line.length_mm, leg, "free", "right", widest_pitch)
    facets = len(cuts) + 1
    assert facets == math.ceil(radius * turn / widest_pitch(radius) - 1e-9)
    assert sum(cut.opening_mm for cut in cuts) == pytest.approx(leg * turn * (facets - 1) / facets)


def test_a_sharp_corner_parts_the_leg_once():
    # plane geometry: two mitres of 45 degrees take 2 leg inside; outside it opens leg sqrt 2
    line = Line((Stretch(100), Stretch(100)), (Corner(100.0, easy_deg=90.0),))
    (inner,) = leg_cuts(line, 0.0, 200.0, 16.0, "free", "left", widest_pitch)
    (outer,) = leg_cuts(line, 0.0, 200.0, 16.0, "free", "right", widest_pitch)
    assert (inner.station_mm, inner.opens) == (100.0, False)
    assert inner.opening_mm == pytest.approx(32.0)
    assert outer.opens
    assert outer.opening_mm == pytest.approx(16.0 * math.sqrt(2))


def test_a_leg_as_wide_as_the_radius_cannot_fold_inward():
    line = Line((Stretch(100), arc(50, easy=1 / 30)))
    (fault,) = leg_faults(line, 0.0, 150.0, 30.0, "left")
    assert "at 100.0 mm" in fault
    assert "30.0 mm" in fault
    assert leg_faults(line, 0.0, 150.0, 30.0, "right") == ()
    assert leg_faults(line, 0.0, 150.0, 29.0, "left") == ()


def test_a_straight_fold_is_as_long_as_the_chord_within_tolerance():
    # chord 10, rise 1 on radius 13 (machinist's formula): the arc over it is 26 asin(5/13)
    assert longest_straight_fold_mm(13.0, 1.0) == pytest.approx(26 * math.asin(5 / 13))
    assert longest_straight_fold_mm(math.inf, 1.0) == math.inf
    longest = longest_straight_fold_mm(2000.0, INCH / 64)
    line = Line((arc(1000.0, hard=1 / 2000.0),))
    assert fold_rise_mm(line, 100.0, 100.0 + longest) == pytest.approx(INCH / 64, abs=0.011)


def test_a_fold_off_the_root_line_rises_with_its_own_radius():
    # circle of radius 2000 - 50 over the same angle: R (1 - cos(a/2))
    line = Line((arc(400.0, hard=1 / 2000.0),))
    rise = 1950.0 * (1 - math.cos(0.1))
    assert fold_rise_mm(line, 0.0, 400.0, 50.0) == pytest.approx(rise, abs=0.011)
    assert fold_rise_mm(Line((Stretch(100, 0.01, 0.01),)), 0.0, 100.0) == 0.0


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: longest_straight_fold_mm(1.0, 2.0), "below the radius"),
        (lambda: facet_stations(curved_leg(), 0.0, 500.0, 0.0), "above zero"),
        (lambda: facet_stations(curved_leg(), 0.0, 5e4, 10.0), "leave the line"),
        (lambda: leg_cuts(curved_leg(), 0.0, 9.0, 0.0, "free", "left", 10.0), "leg is 0.0 mm"),
    ],
)
def test_nonsense_about_folds_is_refused(call, words):
    with pytest.raises(ValueError, match=words):
        call()
