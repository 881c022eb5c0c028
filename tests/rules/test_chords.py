"""Chord and rise."""

from __future__ import annotations

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from solver.rules.chords import chord_within_mm, radius_of_chord_mm


def test_chord_10_with_rise_1_lies_on_radius_13():
    # 5² = 1·(2R − 1), Euclid III.35.
    assert radius_of_chord_mm(10, 1) == pytest.approx(13)
    assert chord_within_mm(13, 1) == pytest.approx(10)


@given(radius=st.floats(1, 5000), share=st.floats(0.001, 1))
@settings(max_examples=40, deadline=None, derandomize=True)
def test_the_two_formulas_undo_each_other(radius, share):
    rise = radius * share
    assert radius_of_chord_mm(chord_within_mm(radius, rise), rise) == pytest.approx(radius)


def test_a_straight_line_has_no_longest_chord():
    assert chord_within_mm(math.inf, 1) == math.inf


def test_a_curve_smaller_than_the_tolerance_is_spanned_by_its_diameter():
    assert chord_within_mm(2, 5) == pytest.approx(4)


@pytest.mark.parametrize("radius", [0.0, -3.0, math.nan])
def test_a_curve_without_a_radius_is_refused(radius):
    with pytest.raises(ValueError, match="radius is"):
        chord_within_mm(radius, 1)
