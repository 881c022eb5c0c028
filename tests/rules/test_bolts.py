"""Bolts: stations, lengths, and the metal's clearance."""

from __future__ import annotations

from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from solver.rules.bolts import (
    BOLT_SIZES,
    INCH_LENGTHS_MM,
    METRIC_LENGTHS_MM,
    bolt_length_mm,
    bolt_notches,
    bolt_stations_mm,
    default_grip_mm,
    diameter_mm,
)

INCH = 25.4


def test_bolts_start_two_inches_from_both_ends_and_spread_evenly():
    # [practice] pitch 6, 2 from corners: 22 long leaves 18, three spaces of 6.
    assert bolt_stations_mm(22, 6, 2) == pytest.approx((2, 8, 14, 20))
    # 23 leaves 19, four spaces of 4.75: never wider than the pitch.
    assert bolt_stations_mm(23, 6, 2) == pytest.approx((2, 6.75, 11.5, 16.25, 21))


def test_a_short_line_has_one_bolt_in_its_middle():
    assert bolt_stations_mm(3, 6, 2) == pytest.approx((1.5,))
    assert bolt_stations_mm(4, 6, 2) == pytest.approx((2,))


def test_two_bolts_do_not_crowd_on_a_line_a_little_longer():
    assert bolt_stations_mm(4.5, 6, 2) == pytest.approx((1.5, 3))
    assert bolt_stations_mm(6, 6, 2) == pytest.approx((2, 4))


def test_corners_begin_the_count_anew():
    assert bolt_stations_mm(20, 6, 2, [10]) == pytest.approx((2, 8, 12, 18))
    assert bolt_stations_mm(20, 6, 2, [0, 10, 10, 20]) == pytest.approx((2, 8, 12, 18))


def test_a_closed_line_without_corners_is_bolted_evenly_all_round():
    stations = bolt_stations_mm(20, 6, 2, closed=True)
    assert stations == pytest.approx((2.5, 7.5, 12.5, 17.5))


def test_the_corners_of_a_closed_line_count_over_its_start():
    # A square of 10 whose walk begins in the middle of a side.
    stations = bolt_stations_mm(40, 6, 2, [5, 15, 25, 35], closed=True)
    assert stations == pytest.approx((3, 7, 13, 17, 23, 27, 33, 37))
    once = bolt_stations_mm(40, 6, 2, [0, 40], closed=True)
    assert once == pytest.approx(tuple(2 + 6 * n for n in range(7)))


@given(
    length=st.floats(5, 4000),
    pitch=st.floats(40, 300),
    from_ends=st.floats(0, 100),
    share=st.floats(0.05, 0.95),
    closed=st.booleans(),
)
@settings(max_examples=80, deadline=None, derandomize=True)
def test_bolts_are_never_wider_than_the_pitch_nor_further_from_corners(
    length, pitch, from_ends, share, closed
):
    corner = length * share
    stations = bolt_stations_mm(length, pitch, from_ends, [corner], closed=closed)
    assert stations
    assert all(0 <= place <= length for place in stations)
    assert list(stations) == sorted(stations)
    ends = [corner] if closed else [0.0, corner, length]
    for end in ends:
        nearest = min(
            min(abs(place - end), length - abs(place - end) if closed else length)
            for place in stations
        )
        assert nearest <= from_ends + 1e-6
    corners = set(ends)
    for before, after in pairwise(stations):
        if not any(before <= c <= after for c in corners):
            assert after - before <= pitch + 1e-6


def test_a_corner_outside_the_line_is_refused():
    with pytest.raises(ValueError, match=r"a break at 21 mm .*run from 0 to 20 mm"):
        bolt_stations_mm(20, 6, 2, [21])


@pytest.mark.parametrize(
    ("size", "millimetres"),
    # Nominal diameters are what the names say.
    [("1/4 in", 6.35), ("5/16 in", 7.9375), ("3/8 in", 9.525), ("M6", 6), ("M8", 8), ("M10", 10),
     ("5/16", 7.9375), ('1/4"', 6.35), ("m8", 8)],
)  # fmt: skip
def test_a_size_tells_the_diameter(size, millimetres):
    assert diameter_mm(size) == pytest.approx(millimetres)


@pytest.mark.parametrize("size", ["7/16 in", "M7", "", "fat"])
def test_an_unknown_size_is_refused_with_those_there_are(size):
    with pytest.raises(ValueError, match=r"no bolt size .*1/4 in, 5/16 in, 3/8 in, M6, M8, M10"):
        diameter_mm(size)


@pytest.mark.parametrize(
    ("size", "nut"), [("1/4 in", 7 / 32), ("5/16 in", 17 / 64), ("3/8 in", 21 / 64)]
)
def test_nuts_are_the_standard_ones(size, nut):
    # ASME B18.2.2, nominal height of the plain hexagon nut.
    assert BOLT_SIZES[size].nut_mm / INCH == pytest.approx(nut)


@pytest.mark.parametrize(
    ("flange", "inches"),
    # 5/16 in: two flanges, 1/8 gap, two washers 0.083, nut 17/64 = 0.5566 in besides the flanges.
    [(0.25, 1.25), (0.2, 1.0), (0.1, 1.0), (1.7, 4.0), (1.75, 4.5)],
)
def test_a_bolt_is_rounded_up_to_a_trade_length(flange, inches):
    assert bolt_length_mm("5/16 in", flange * INCH, INCH / 8) / INCH == pytest.approx(inches)


def test_metric_bolts_come_in_metric_lengths():
    # M8: 2·6 + 3 + 2·1.6 + 6.8 = 25.0 mm.
    assert bolt_length_mm("M8", 6, 3) == 25
    assert bolt_length_mm("M8", 6.1, 3) == 30


@given(flange=st.floats(1, 60), gap=st.floats(0, 10), size=st.sampled_from(sorted(BOLT_SIZES)))
@settings(max_examples=60, deadline=None, derandomize=True)
def test_a_bolt_always_reaches_through_its_nut_and_is_the_shortest_that_does(flange, gap, size):
    bolt = BOLT_SIZES[size]
    length = bolt_length_mm(size, flange, gap)
    stack = 2 * flange + gap + 2 * bolt.washer_mm + bolt.nut_mm
    assert length >= stack - 1e-6
    lengths = METRIC_LENGTHS_MM if bolt.metric else INCH_LENGTHS_MM
    assert all(shorter < stack for shorter in lengths if shorter < length)


def test_flanges_too_thick_for_any_bolt_are_refused():
    with pytest.raises(ValueError, match="thin the flanges"):
        bolt_length_mm("1/4 in", 80, 3)


def test_the_default_grip_avoids_every_bolt():
    # Inset 1, 5/16 bolt, 1/8 clear: 1 − 5/32 − 1/8 = 23/32 in [practice].
    grip = default_grip_mm(INCH, diameter_mm("5/16 in"), INCH / 8)
    assert grip / INCH == pytest.approx(23 / 32)
    assert bolt_notches((50, 200), grip, INCH, diameter_mm("5/16 in"), INCH / 8) == ()
    assert bolt_notches((50, 200), 0, INCH, diameter_mm("5/16 in"), INCH / 8) == ()


def test_a_wider_grip_is_notched_at_every_bolt():
    # Grip 1½ in past an inset of 1 in: depth 1.5 − 23/32 = 25/32, width 5/16 + 2/8 = 9/16 in.
    notches = bolt_notches((50.0, 200.0), 1.5 * INCH, INCH, diameter_mm("5/16 in"), INCH / 8)
    assert [notch.at_mm for notch in notches] == [50, 200]
    for notch in notches:
        assert notch.deep_mm / INCH == pytest.approx(25 / 32)
        assert notch.wide_mm / INCH == pytest.approx(9 / 16)


@given(grip=st.floats(1, 60), inset=st.floats(12, 50), size=st.sampled_from(sorted(BOLT_SIZES)))
@settings(max_examples=50, deadline=None, derandomize=True)
def test_notched_metal_keeps_clear_of_the_bolt(grip, inset, size):
    diameter, clearance = diameter_mm(size), 3.0
    notches = bolt_notches((0.0,), grip, inset, diameter, clearance)
    left = grip - (notches[0].deep_mm if notches else 0)
    assert left + diameter / 2 + clearance <= inset + 1e-5


def test_bolts_too_near_the_surface_leave_no_grip():
    with pytest.raises(ValueError, match=r"inset of 0\.25 in .*more than 0\.28 in"):
        default_grip_mm(0.25 * INCH, diameter_mm("5/16 in"), INCH / 8)
