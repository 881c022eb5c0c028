"""The order in which blanks are laid, and that bettering it helps."""

import random

import pytest

from solver.data.until import FOREVER, Until
from solver.nests import nest_into
from solver.nests.fill import Filling, make_filling
from solver.nests.orders import (
    changed_order,
    drawn_order,
    lay_in_many_orders,
    lay_in_order,
    order_by,
    plain_order,
)
from solver.nests.shapes import Stock
from tests.nests.made_blanks import arc, strip

GAP_MM = 1.6


def crowded(wide_mm: float = 600.0) -> Filling:
    """Arcs and strips that hardly fit two sheets so wide."""
    rng = random.Random(4)
    shapes = [
        arc(f"a{k}", rng.uniform(300, 900), rng.uniform(0.3, 0.8), rng.uniform(60, 90), 1)
        for k in range(15)
    ]
    shapes += [strip(f"s{k}", rng.uniform(200, 700), rng.uniform(50, 90), 1) for k in range(8)]
    sheet = Stock("sheet", wide_mm, 800.0, 1.0, 0, None)
    return make_filling(shapes, [sheet, sheet], GAP_MM)


def test_large_blanks_come_first_and_long_ones_sooner_with_a_power() -> None:
    shapes = [
        strip("long", 600.0, 30.0, 1),
        strip("large", 190.0, 100.0, 1),
        strip("small", 50.0, 50.0, 1),
    ]
    filling = make_filling(shapes, [Stock("sheet", 600.0, 800.0, 1.0, 0, None)], GAP_MM)
    by_area = order_by(filling, 0).worths
    assert by_area[1] > by_area[0] > by_area[2]
    by_length = plain_order(filling).worths
    assert by_length[0] > by_length[1] > by_length[2]


@pytest.mark.parametrize("seed", range(5))
def test_every_order_lays_each_blank_at_most_once_and_on_each_board(seed: int) -> None:
    filling, rng = crowded(), random.Random(seed)
    order = drawn_order(filling, rng)
    for _ in range(5):
        order = changed_order(order, rng)
        assert sorted(order.boards) == [0, 1]
        assert len(order.worths) == len(filling.pieces)
        lay_in_order(filling, order, rng)
        assert len(filling.laid) == len(filling.pieces)
        assert filling.left_out_mm2() < 0.5 * sum(piece.area_mm2 for piece in filling.pieces)


def test_more_orders_leave_out_less() -> None:
    """The first of many is the plain one; the best of them is what is kept."""
    left = []
    for tries in (1, 8, 40):
        filling = crowded()
        lay_in_many_orders(filling, tries, random.Random(0), FOREVER)
        left.append(filling.left_out_mm2())
    assert left[0] >= left[1] >= left[2]
    assert left[0] > left[2]


def test_orders_end_when_asked() -> None:
    filling = crowded()
    lay_in_many_orders(filling, 40, random.Random(0), Until(None, lambda: True))
    assert all(at is None for at in filling.laid)


def test_units_that_the_plain_order_overfills_hold_the_blanks_in_another(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Without any hops: with effort more orders are tried on the same units."""
    monkeypatch.setattr(nest_into, "ease_in", lambda *_: None)
    filling = crowded(570.0)
    shapes, units = [piece.shape for piece in filling.pieces], [b.stock for b in filling.boards]
    held = [nest_into.nest_into(shapes, units, GAP_MM, effort=e).complete for e in (1, 20)]
    assert held == [False, True]
