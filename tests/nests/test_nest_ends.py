"""Every search for a nest ends: with a nest, or with the word that there is none."""

import math

import pytest

import solver.nests.purchase as subject
from solver.data.until import Until
from solver.models import ahead
from solver.nests.purchase import purchase
from solver.nests.shapes import Shape, Stock
from solver.nests.verify import verify

INCH = 25.4


def box(name, length, width, quantity=1):
    ring = ((0.0, 0.0), (length, 0.0), (length, width), (0.0, width))
    return Shape(name, ring, True, True, quantity)


def arc(name, radius, angle, width):
    steps = [angle * k / 24 for k in range(25)]
    outer = [((radius + width) * math.cos(a), (radius + width) * math.sin(a)) for a in steps]
    inner = [(radius * math.cos(a), radius * math.sin(a)) for a in reversed(steps)]
    return Shape(name, tuple(outer + inner), False, True)


def test_straight_and_curved_blanks_with_an_outlined_offcut_among_the_stock_are_bought_quickly():
    """Lanes need rectangles; with an offcut of another outline all blanks go between the curves."""
    triangle = ((0.0, 0.0), (1016.0, 0.0), (1016.0, 101.6), (0.0, 304.8))
    stocks = [
        Stock("sheet", 609.6, 2438.4, 10.0, 0, None),
        Stock("offcut", 304.8, 1016.0, 0.0, 1, 0, outline_mm=triangle),
    ]
    shapes = [box("straight", 780.0, 57.0, 4), arc("curved", 700.0, 0.8, 60.0)]
    bought = purchase(shapes, stocks, INCH / 16, effort=0)
    assert bought.layout.complete
    assert not verify(bought.layout, shapes, stocks, INCH / 16)


def test_a_curved_blank_that_fits_its_sheet_only_from_corner_to_corner_is_nested_so():
    """505 x 20 turned by 21 degrees is 478.6 x 199.7, on a sheet of 480 x 200."""
    tilted = Shape("tilted", ((0, 0), (505, 0), (505, 20), (0, 20)), False, True)
    stocks = [Stock("sheet", 200.0, 480.0, 1.0, 0, None)]
    bought = purchase([tilted], stocks, INCH / 16, effort=0)
    assert bought.layout.complete
    assert not verify(bought.layout, [tilted], stocks, INCH / 16)


def test_blanks_that_fill_a_sheet_corner_to_corner_take_one_each_and_others_share():
    tilted = Shape("tilted", ((0, 0), (505, 0), (505, 20), (0, 20)), False, True, 2)
    stocks = [Stock("sheet", 200.0, 480.0, 1.0, 0, None)]
    others = [box("straight", 400.0, 60.0, 3), arc("curved", 300.0, 0.8, 40.0)]
    bought = purchase([tilted, *others], stocks, INCH / 16, effort=0)
    assert bought.layout.complete
    assert not verify(bought.layout, [tilted, *others], stocks, INCH / 16)


def test_blanks_larger_than_any_unit_end_the_search():
    bought = purchase(
        [arc("long", 900.0, 1.5, 60.0)], [Stock("sheet", 200.0, 480.0, 1.0, 0, None)], 1.0, effort=0
    )
    assert not bought.layout.complete


@pytest.mark.parametrize("number", [1, 2])
def test_a_search_that_is_asked_to_stop_keeps_what_it_has(number, monkeypatch):
    """It is asked as soon as all blanks have a place, long before anything cheaper was tried."""
    held = []
    nest_into = subject.nest_into

    def noting(*asked):
        layout = nest_into(*asked)
        held.extend([True] * layout.complete)
        return layout

    monkeypatch.setattr(subject, "nest_into", noting)
    monkeypatch.setattr(ahead, "processors", lambda: number)
    shapes = [arc(str(k), 300.0 + 20 * k, 1.2, 60.0) for k in range(12)]
    stocks = [
        Stock(f"sheet {w}", w, 914.4, w / 60 + 1, 0, None) for w in (609.6, 500.0, 400.0, 300.0)
    ]
    until = Until(asked=lambda: bool(held))
    bought = purchase(shapes, stocks, INCH / 16, effort=60, until=until)
    assert bought.layout.complete
    assert bought.cut_short
    assert bought.tried <= 5
