"""Purchases of straight blanks that are decided one by one."""

import itertools
import random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from solver.data.until import Until
from solver.models.rooms import Decision
from solver.nests import decide_purchase, lanes, wide_beam
from solver.nests import purchase as purchase_module
from solver.nests.decide_purchase import decide_cheaper
from solver.nests.nest_into import nest_into, settle
from solver.nests.price_bound import bound_from_rows
from solver.nests.price_rows import price_rows
from solver.nests.purchase import purchase
from solver.nests.straight_job import cheaper_purchases, units_of
from solver.nests.verify import verify
from tests.nests.made_blanks import lie_apart, three_rooms
from tests.nests.strips_in_inches import GAP, STOCKS, TWELVE, stock, strip


@st.composite
def jobs(draw):
    half = st.integers(2, 24).map(lambda n: n / 2)
    shapes = [
        strip(f"b{k}", draw(half), draw(half), draw(st.integers(1, 2)))
        for k in range(draw(st.integers(1, 4)))
    ]
    stocks = [
        stock(
            draw(st.integers(6, 13)),
            draw(st.integers(13, 20)),
            float(draw(st.integers(3, 9))),
            draw(st.integers(0, 1)),
            draw(st.sampled_from([None, 2])),
            draw(st.sampled_from([0.0, 0.25])),
        )
        for _ in range(1)
    ]
    stocks.append(stock(14, draw(st.integers(14, 30)), float(draw(st.integers(5, 14)))))
    return shapes, stocks


@given(jobs())
@settings(max_examples=10, deadline=None, derandomize=True)
def test_no_nest_is_found_on_a_purchase_proven_not_to_hold_the_blanks(job):
    shapes, stocks = job
    rows = price_rows(shapes, stocks, GAP)
    decided = decide_cheaper(shapes, stocks, GAP, 30.0, rows, work=20.0, work_each=4.0)
    for numbers in itertools.product(range(4), repeat=len(stocks)):
        price = sum(n * s.price for n, s in zip(numbers, stocks, strict=True))
        allowed = all(
            s.for_sale is None or n <= s.for_sale for n, s in zip(numbers, stocks, strict=True)
        )
        if allowed and (price < decided.least - 1e-6 or numbers in decided.never):
            units = units_of(stocks, numbers)
            assert not nest_into(shapes, units, GAP, effort=2).complete
    if decided.numbers is not None:
        layout = settle(decided.placements, units_of(stocks, decided.numbers), True, False)
        assert verify(layout, shapes, stocks, GAP) == ()
        assert decided.least <= sum(
            n * s.price for n, s in zip(decided.numbers, stocks, strict=True)
        )


def test_a_purchase_is_proven_where_rows_leave_cheaper_ones_open():
    """Two rolls have room to spare by area and lanes, and yet no way to hold twelve strips."""
    rows = price_rows(TWELVE, STOCKS, GAP)
    bought = purchase(TWELVE, STOCKS, GAP, effort=60)
    assert bought.layout.complete
    assert bound_from_rows(rows, STOCKS).value < bought.price - 1.0
    assert bought.least == pytest.approx(bought.price)
    assert bought == purchase(TWELVE, STOCKS, GAP, effort=60)


def test_the_work_ends_where_it_is_told_to():
    rows = price_rows(TWELVE, STOCKS, GAP)
    decided = decide_cheaper(TWELVE, STOCKS, GAP, 60.0, rows, work=0.0, work_each=1.0)
    assert decided.never == frozenset()
    assert decided.least == pytest.approx(cheaper_purchases(STOCKS, 60.0, rows)[0][0])


def small_job(rng):
    """Seven strips and three narrow kinds of stock: several units are bought."""
    shapes = [strip(f"s{k}", rng.randint(8, 30) / 2, rng.randint(4, 9) / 2) for k in range(7)]
    stocks = [
        stock(width, length, round(1 + width * length / 40 * rng.uniform(0.9, 1.1), 2))
        for width, length in ((5, 18), (7, 16), (9, 20))
    ]
    return shapes, stocks


def test_the_least_price_of_many_units_is_what_plain_nests_reach_at_best():
    """Whatever plain nests find costs no less than is proven, and what is bought is proven."""
    for seed in range(3):
        shapes, stocks = small_job(random.Random(seed))
        rows = price_rows(shapes, stocks, GAP)
        decided = decide_cheaper(shapes, stocks, GAP, 20.0, rows, work=20.0, work_each=1.0)
        assert decided.numbers is not None
        units = units_of(stocks, decided.numbers)
        layout = settle(decided.placements, units, complete=True, cut=False)
        assert verify(layout, shapes, stocks, GAP) == ()
        price = sum(n * s.price for n, s in zip(decided.numbers, stocks, strict=True))
        assert sum(unit.bought for unit in layout.units) >= 2
        assert decided.least == pytest.approx(price)
        cheaper = cheaper_purchases(stocks, price, rows)
        assert {numbers for _, numbers in cheaper} <= decided.never
        for _, numbers in cheaper[-4:]:
            assert not nest_into(shapes, units_of(stocks, numbers), GAP, effort=2).complete


def test_wide_beams_fill_rooms_of_different_widths():
    """Four strips of each width fill two rooms, the wide one in two lanes [derived]."""
    boxes = [lanes.Box(0, 10, 4, False), lanes.Box(1, 10, 6, False)]
    rooms = [lanes.Room(20, 6), lanes.Room(20, 10), lanes.Room(20, 8)]
    blanks = wide_beam.blanks_of(boxes, 2)
    puts = wide_beam.lay_all(blanks, [6, 4], rooms, 1, wide_beam.Taste(200, 4, 8))
    assert puts is not None
    assert sorted(b for *_, b in puts) == [0] * 6 + [1] * 4
    assert lie_apart(boxes, rooms, puts)
    assert wide_beam.lay_all(blanks, [6, 5], rooms, 1, wide_beam.Taste(200, 4, 8)) is None


def test_units_are_filled_anew_where_beams_and_the_model_find_nothing(monkeypatch):
    """Three rolls hold what was cut from three rolls half an inch narrower."""
    monkeypatch.setattr(decide_purchase.wide_beam, "lay_all", lambda *_, **__: None)
    monkeypatch.setattr(decide_purchase, "fit_shared", lambda *_, **__: Decision(None, work=0.05))
    rooms, sizes = three_rooms(0)
    shapes = [strip(f"s{k}", a, b / 2) for k, (a, b) in enumerate(sizes)]
    stocks = [stock(room.width / 2 + 0.5, room.length, 10.0) for room in rooms]
    rows = price_rows(shapes, stocks, 0.0)
    decided = decide_cheaper(shapes, stocks, 0.0, 31.0, rows, work=6.0, work_each=0.2)
    assert sum(decided.numbers) == 3
    assert decided == decide_cheaper(shapes, stocks, 0.0, 31.0, rows, work=6.0, work_each=0.2)
    layout = settle(decided.placements, units_of(stocks, decided.numbers), True, False)
    assert verify(layout, shapes, stocks, 0.0) == ()


@pytest.mark.parametrize(("work", "cut"), [(20.0, False), (0.0, True)])
def test_time_that_is_up_cuts_a_purchase_short_only_where_something_is_open(monkeypatch, work, cut):
    time_is_up = []

    def decided_just_in_time(*given, until, **how):
        found = decide_cheaper(*given, **{**how, "work": work})
        time_is_up.append(True)
        return found

    monkeypatch.setattr(purchase_module, "decide_cheaper", decided_just_in_time)
    until = Until(asked=lambda: bool(time_is_up))
    bought = purchase(TWELVE, STOCKS, GAP, effort=20, until=until)
    assert time_is_up
    assert bought.layout.complete
    assert (bought.least < bought.price - 1e-3) == cut
    assert bought.cut_short == cut


def test_nothing_is_claimed_once_somebody_asks_to_end():
    rows = price_rows(TWELVE, STOCKS, GAP)
    ended = Until(asked=lambda: True)
    decided = decide_cheaper(TWELVE, STOCKS, GAP, 60.0, rows, work=20.0, work_each=1.0, until=ended)
    assert decided.never == frozenset()
    assert decided.numbers is None
    assert decided.least == pytest.approx(cheaper_purchases(STOCKS, 60.0, rows)[0][0])
