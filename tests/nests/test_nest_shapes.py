"""What the nests refuse, and where placed outlines lie."""

import math

import numpy as np
import pytest

from solver.nests.nest_into import nest_into
from solver.nests.shapes import (
    Placement,
    Shape,
    Stock,
    check_shapes,
    check_stocks,
    placed_points,
)

STRIP = ((0.0, 0.0), (300.0, 0.0), (300.0, 80.0), (0.0, 80.0))


def shape(outline=STRIP, **kw):
    return Shape(kw.pop("id", "a"), outline, kw.pop("square", True), kw.pop("may_flip", True), **kw)


def stock(**kw):
    base = {"width_mm": 600.0, "length_mm": 3000.0, "price": 10.0, "on_hand": 0, "for_sale": None}
    return Stock(kw.pop("id", "roll"), **{**base, **kw})


@pytest.mark.parametrize(
    ("outline", "words"),
    [
        (((0, 0), (math.nan, 0), (1, 100)), "point 1"),
        (((0, 0), (math.inf, 0), (1, 100)), "point 1"),
        (((0, 0), (1e9, 0), (1, 100)), "point 1"),
        (((0, 0), (100, 0)), "2 points"),
        (((0, 0), (100, 100), (100, 0), (0, 100)), "itself"),
        (((0, 0), (100, 0), (100, 100), (50, 0), (0, 100)), "itself"),
        (((0, 0), (500, 0), (500, 0.01), (0, 0.01)), "sliver"),
        (((0, 0), (100, 0), (200, 0)), "itself"),
    ],
)
def test_an_outline_that_cannot_be_cut_is_refused_by_place(outline, words):
    with pytest.raises(ValueError, match=r"blank 0 \('a'\)") as error:
        check_shapes([shape(outline)])
    assert words in str(error.value)


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"width_mm": 0.0}, "width_mm"),
        ({"length_mm": math.nan}, "length_mm"),
        ({"price": -1.0}, "price"),
        ({"on_hand": -1}, "on_hand"),
        ({"end_trim_mm": 1500.0}, "end_trim_mm"),
        ({"outline_mm": ((0, 0), (4000, 0), (0, 100))}, "rectangle"),
    ],
)
def test_stock_that_makes_no_sense_is_refused_by_place(change, words):
    with pytest.raises(ValueError, match=r"stock 0 \('roll'\)") as error:
        check_stocks([stock(**change)])
    assert words in str(error.value)


def test_ids_may_not_repeat_and_quantities_are_positive():
    with pytest.raises(ValueError, match="twice"):
        check_shapes([shape(), shape()])
    with pytest.raises(ValueError, match="quantity is 0"):
        check_shapes([shape(quantity=0)])


def test_a_gap_that_is_not_a_length_is_refused():
    with pytest.raises(ValueError, match="gap"):
        nest_into([shape()], [stock()], math.nan)


def test_a_blank_is_turned_over_then_turned_then_moved():
    corner = shape(((0, 0), (30, 0), (30, 10), (0, 10)))
    # (30, 10) turned over is (30, -10), a quarter turn later (10, 30)
    placed = placed_points(corner, Placement("a", 0, 100.0, 200.0, 90.0, True))
    assert np.allclose(placed[2], (110.0, 230.0), atol=1e-12)


def test_far_away_coordinates_nest_like_near_ones():
    far = tuple((x + 9e5, y - 9e5) for x, y in STRIP)
    layout = nest_into([shape(far, quantity=3)], [stock()], 1.5875)
    assert layout.complete


def test_nothing_to_nest_needs_nothing():
    layout = nest_into([], [stock()], 1.0)
    assert layout.complete
    assert layout.units == ()
