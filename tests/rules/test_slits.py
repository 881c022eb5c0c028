"""Slits and V-notches of a leg on a curve."""

from __future__ import annotations

import math
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from solver.rules.slits import (
    facet_angle_deg,
    facets,
    leg_overlaps,
    partings,
    slit_count,
    slit_pitch_mm,
    slit_stations_mm,
    tip_opening_mm,
    v_notch_width_mm,
)


def test_the_worked_curve():
    # R 12, tolerance 1/64, leg 5/8, length 30 [derived].
    pitch = slit_pitch_mm(12, 1 / 64)
    assert pitch == pytest.approx(1.2243, abs=5e-5)
    assert facet_angle_deg(12, pitch) == pytest.approx(5.848, abs=5e-4)
    assert facets(30, 12, 1 / 64) == 25
    assert slit_count(30, 12, 1 / 64) == 24
    stations = slit_stations_mm(30, 12, 1 / 64)
    assert stations[0] == pytest.approx(1.20)
    assert tip_opening_mm(5 / 8, stations[0], 12) == pytest.approx(0.0625)
    assert tip_opening_mm(5 / 8, pitch, 12) == pytest.approx(0.0638, abs=5e-5)


def test_a_closed_loop_has_as_many_partings_as_facets_and_one_is_the_butt():
    length = 2 * math.pi * 12
    count = facets(length, 12, 1 / 64)
    assert partings(length, 12, 1 / 64, closed=True) == count
    assert slit_count(length, 12, 1 / 64, closed=True) == count - 1
    assert partings(30, 12, 1 / 64, closed=False) == 24


def test_a_straight_line_needs_no_slit():
    assert facets(500, math.inf, 0.4) == 1
    assert slit_count(500, math.inf, 0.4) == 0
    assert slit_stations_mm(500, math.inf, 0.4) == ()
    assert tip_opening_mm(16, 500, math.inf) == 0


def test_an_exact_multiple_of_the_pitch_gains_no_facet():
    pitch = slit_pitch_mm(300, 0.4)
    assert facets(7 * pitch, 300, 0.4) == 7


@given(
    length=st.floats(20, 2500),
    radius=st.floats(30, 3000),
    tolerance=st.floats(0.1, 2),
)
@settings(max_examples=60, deadline=None, derandomize=True)
def test_every_facet_keeps_to_the_tolerance(length, radius, tolerance):
    # The rise of the arc over a facet, R(1 − cos(s/2R)), from circle geometry.
    stations = (0.0, *slit_stations_mm(length, radius, tolerance), length)
    for start, end in pairwise(stations):
        rise = radius * (1 - math.cos(min((end - start) / (2 * radius), math.pi)))
        assert rise <= tolerance * (1 + 1e-6)
    assert len(stations) - 2 == slit_count(length, radius, tolerance)


@given(radius=st.floats(30, 3000), tolerance=st.floats(0.1, 2))
@settings(max_examples=40, deadline=None, derandomize=True)
def test_a_wider_tolerance_never_needs_more_slits(radius, tolerance):
    assert slit_count(1000, radius, tolerance * 1.5) <= slit_count(1000, radius, tolerance)
    assert slit_count(1000, radius * 1.5, tolerance) <= slit_count(1000, radius, tolerance)


def test_stations_are_counted_from_the_start_of_the_stretch():
    assert slit_stations_mm(30, 12, 1 / 64, start_mm=100)[0] == pytest.approx(101.2)


@pytest.mark.parametrize("side", ["left", "right"])
def test_a_leg_toward_the_centre_overlaps_and_one_away_opens(side):
    other = "right" if side == "left" else "left"
    assert leg_overlaps(side, side)
    assert not leg_overlaps(side, other)


def test_the_tip_opens_by_what_its_arc_is_longer():
    # Arc of the tip less arc of the root: (R + leg)·φ − R·φ with φ = s/R.
    phi = 20 / 300
    assert tip_opening_mm(16, 20, 300) == pytest.approx((300 + 16) * phi - 300 * phi)


def test_a_leg_that_reaches_the_centre_cannot_be_notched():
    assert v_notch_width_mm(16, 20, 300) == tip_opening_mm(16, 20, 300)
    with pytest.raises(ValueError, match="fold it to the other side"):
        v_notch_width_mm(16, 5, 16)


def test_a_side_that_is_neither_left_nor_right_is_refused():
    with pytest.raises(ValueError, match=r'curve goes "up"'):
        leg_overlaps("left", "up")


def test_a_closed_straight_line_is_refused():
    with pytest.raises(ValueError, match="closed loop"):
        slit_count(100, math.inf, 0.4, closed=True)
