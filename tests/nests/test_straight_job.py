"""Which cheaper purchases of straight blanks there are, and what is tried of them."""

import itertools
from fractions import Fraction
from functools import partial

import pytest

from solver.data.until import FOREVER
from solver.models.ahead import in_turn
from solver.nests import straight_job
from solver.nests.price_rows import price_rows
from solver.nests.straight_job import StraightJob, cheaper_purchases
from tests.nests.strips_in_inches import GAP, STOCKS, TWELVE, stock, strip


def job_of(shapes, stocks, gap, price, work=1.0):
    waiting = cheaper_purchases(stocks, price, price_rows(shapes, stocks, gap))
    return StraightJob(shapes, stocks, gap, price, waiting, work, 0, FOREVER)


def test_cheaper_purchases_come_in_order_of_price_and_leave_none_out():
    stocks = [stock(10, 120, 11.48, for_sale=2), *STOCKS[1:]]
    rows = price_rows(TWELVE, stocks, GAP)
    found = cheaper_purchases(stocks, 60.0, rows)
    every = [
        (sum(n * s.price for n, s in zip(numbers, stocks, strict=True)), numbers)
        for numbers in itertools.product(range(3), range(4), range(2))
    ]
    held = [
        (price, numbers)
        for price, numbers in sorted(every)
        if price < 59.9 and (rows.held @ numbers >= rows.needed * (1 - 1e-7)).all()
    ]
    assert [numbers for _, numbers in found] == [numbers for _, numbers in held]


def test_nothing_is_cheaper_than_what_costs_nothing():
    assert cheaper_purchases(STOCKS, 0.0, price_rows(TWELVE, STOCKS, GAP)) == []


def test_what_is_spare_is_the_share_of_all_units_that_blanks_leave():
    """Two blanks of 5 x 40 in on a roll 10 x 60 in on hand and one bought: 1200 - 400 in²."""
    stocks = [stock(10, 60, 5.0, on_hand=1)]
    job = job_of([strip("a", 40, 5, 2)], stocks, 0.0, 20.0)
    assert job.spare((1,)) == pytest.approx(float(Fraction(800, 1200)), abs=1e-3)


def test_a_purchase_that_holds_the_blanks_ends_the_wait_for_all_that_is_no_cheaper():
    job = job_of(TWELVE, STOCKS, GAP, 60.0)
    prices = [price for price, _ in job.waiting]
    _, numbers = job.waiting[3]
    job.keep(numbers, ())
    assert job.price == prices[3]
    assert [price for price, _ in job.open()] == prices[:3]
    assert not job.is_open(numbers)


def test_what_does_not_hold_the_blanks_rules_out_what_is_part_of_it():
    job = job_of(TWELVE, STOCKS, GAP, 80.0)
    _, numbers = job.waiting[-1]
    job.rule_out(numbers)
    assert not any(part_of(one, numbers) for _, one in job.open())
    assert job.open()


def make_at_once(monkeypatch, number):
    """Have so many tries made at once, whatever processors there are."""
    monkeypatch.setattr(straight_job, "in_turn", partial(in_turn, at_once=number))


def part_of(some, more):
    return all(n <= m for n, m in zip(some, more, strict=True))


@pytest.fixture
def asked(monkeypatch):
    """What prices of lanes are asked about, one after the other; they leave all of it open."""
    make_at_once(monkeypatch, 1)
    rooms_asked = []

    def left_open(sizes, rooms, **_):
        rooms_asked.append(tuple(rooms))
        return False

    monkeypatch.setattr(straight_job, "lanes_never_cover", left_open)
    return rooms_asked


def test_prices_of_lanes_are_asked_about_nothing_larger_than_what_they_left_open(asked):
    """What holds more than a purchase that may hold the blanks may hold them too."""
    job_of(TWELVE, STOCKS, GAP, 75.0).price_lanes(1.0)
    kinds = sorted({room for rooms in asked for room in rooms})
    numbers = [tuple(rooms.count(kind) for kind in kinds) for rooms in asked]
    assert len(numbers) > 1
    assert not any(part_of(a, b) for k, b in enumerate(numbers) for a in numbers[:k])


def test_prices_of_lanes_are_not_asked_where_one_would_take_more_than_its_share(asked):
    job = job_of(TWELVE, STOCKS, GAP, 75.0)
    job.price_lanes(0.5 * straight_job.LANES_WORK * len(TWELVE))
    assert asked == []
    assert job.work == 1.0
