"""Prices of lanes, against trying every place and every choice."""

import itertools

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from test_rooms import fits_somehow

from solver.models.lane_cover import knapsack, lanes_never_cover


@st.composite
def jobs(draw):
    side = st.integers(1, 7)
    sizes = draw(st.lists(st.tuples(side, st.integers(1, 4)), min_size=2, max_size=6))
    room = st.tuples(st.integers(3, 7), st.integers(2, 4))
    return sizes, draw(st.lists(room, min_size=1, max_size=2))


@given(jobs())
@settings(max_examples=150, deadline=None, derandomize=True)
def test_what_is_ruled_out_has_no_place(job):
    sizes, rooms = job
    if lanes_never_cover(sizes, rooms):
        area = sum(a * b for a, b in sizes)
        assert area > sum(a * b for a, b in rooms) or not fits_somehow(sizes, rooms)


@pytest.mark.parametrize("scale", [1, 700])
def test_lanes_rule_out_what_area_does_not(scale):
    """Two abreast, three of length 10 take 15 of a room's length, yet 90 of 96 of its area.

    Turned they are too long for its width; with 700 times as many cells the same [derived].
    """
    sizes = [(10 * scale, 3 * scale)] * 3
    assert lanes_never_cover(sizes, [(12 * scale, 8 * scale)])
    assert not lanes_never_cover(sizes, [(12 * scale, 9 * scale)])
    assert not lanes_never_cover(sizes, [(20 * scale, 8 * scale)])
    assert not lanes_never_cover(sizes, [(12 * scale, 8 * scale), (10 * scale, 3 * scale)])


def test_a_rectangle_is_met_once_by_a_line():
    """A room of width 9 and length 10 holds three 10 x 3, not one 30 x 3 folded up [derived]."""
    assert not lanes_never_cover([(10, 3)] * 3, [(10, 9)])
    assert lanes_never_cover([(10, 4), (10, 4), (9, 1), (8, 2)], [(10, 9)])


def test_rooms_of_two_kinds_are_priced_together():
    """Five abreast in both rooms together, ten long each: 6 of 10 x 3 are one too many [derived].

    By area alone the rooms, 10 x 8 and 12 x 9, hold six.
    """
    assert lanes_never_cover([(10, 3)] * 6, [(10, 8), (12, 9)])
    assert not lanes_never_cover([(10, 3)] * 5, [(10, 8), (12, 9)])


@given(st.lists(st.tuples(st.integers(1, 9), st.integers(1, 9)), max_size=7), st.integers(0, 20))
@settings(max_examples=60, deadline=None, derandomize=True)
def test_the_knapsack_is_what_trying_all_choices_finds(things, room):
    spans, prices = [span for span, _ in things], [price for _, price in things]
    value, met = knapsack(spans, prices, room)
    choices = itertools.product((0, 1), repeat=len(things))
    best = max(
        sum(p for p, one in zip(prices, choice, strict=True) if one)
        for choice in choices
        if sum(s for s, one in zip(spans, choice, strict=True) if one) <= room
    )
    assert value == best
    assert sum(prices[k] for k in met) == best
    assert sum(spans[k] for k in met) <= room
    assert len(set(met)) == len(met)
