"""Cheaper purchases of many straight blanks, sought where most is likely to be saved."""

import math
import random
from dataclasses import replace
from itertools import pairwise

import pytest

from solver.data.until import Until
from solver.nests import many_straight, straight_job
from solver.nests import purchase as buying
from solver.nests.decide_purchase import FEW_BLANKS, can_decide, decide_cheaper
from solver.nests.lanes import MOST_OF_A_KIND, Room
from solver.nests.many_straight import seek_cheaper
from solver.nests.nest_into import nest_into
from solver.nests.price_rows import price_rows
from solver.nests.purchase import purchase
from solver.nests.refill import Refilled
from solver.nests.straight_job import cheaper_purchases
from solver.nests.verify import verify
from tests.nests.made_blanks import arc, cut_apart
from tests.nests.strips_in_inches import STOCKS, stock, strip
from tests.nests.test_straight_job import job_of, make_at_once


def cut_from_rolls(seed, rolls):
    """Strips that so many rolls 14 in by 10 ft are cut into without waste."""
    rng = random.Random(seed)
    sizes = [size for _ in range(rolls) for size in cut_apart(rng, Room(120, 28), 6)]
    return [strip(f"s{k}", a, b / 2) for k, (a, b) in enumerate(sizes)]


FOUR_KINDS = [
    stock(10, 120, 7.2),
    stock(12, 120, 8.6),
    stock(14, 120, 10.0),
    stock(24, 60, 8.5),
]


def four_kinds_of_rolls():
    """Purchases of these under 50.00 for what was cut from three rolls, and work for them."""
    return job_of(cut_from_rolls(0, 3), FOUR_KINDS, 0.0, 50.0, work=6.0)


@pytest.mark.parametrize("seed", [0, 1])
def test_what_was_cut_from_three_rolls_is_bought_on_three_a_little_wider(seed):
    """3.5 % of the metal is to spare."""
    shapes = cut_from_rolls(seed, 3)
    stocks = [stock(14.5, 120, 10.0)]
    assert len(shapes) > FEW_BLANKS
    bought = purchase(shapes, stocks, 0.0, effort=60)
    assert bought.layout.complete
    assert bought.price == bought.least == 30.0
    assert verify(bought.layout, shapes, stocks, 0.0) == ()


def test_a_nest_onto_given_rolls_fills_them_anew_until_all_lies():
    """Purchases too many to be listed are nested one by one in this way."""
    rolls = [stock(14.5, 120, 10.0)] * 3
    assert nest_into(cut_from_rolls(1, 3), rolls, 0.0, effort=60).complete


def test_a_nest_at_the_first_go_fills_each_roll_once_and_keeps_what_lies():
    """Three rolls are too little for that, four are enough; beams left four of 96 over on three."""
    rolls = [stock(14.5, 120, 10.0)] * 4
    strips = cut_from_rolls(1, 3)
    assert nest_into(strips, rolls, 0.0, effort=0).complete
    short = nest_into(strips, rolls[:3], 0.0, effort=0)
    assert not short.complete
    assert len(short.placements) > 0.97 * len(strips)
    assert verify(short, strips, rolls, 0.0) == ()


def test_of_purchases_too_many_to_list_likely_ones_are_tried_and_nothing_is_proven(monkeypatch):
    shapes, stocks = cut_from_rolls(1, 3), [stock(14.5, 120, 10.0)]
    monkeypatch.setattr(straight_job, "MOST_PURCHASES", 0)
    rows = price_rows(shapes, stocks, 0.0)
    assert cheaper_purchases(stocks, 40.0, rows) is None
    assert purchase(shapes, stocks, 0.0, effort=60).price == 30.0
    decided = decide_cheaper(shapes, stocks, 0.0, 40.0, rows, work=6.0, work_each=0.2)
    assert (decided.numbers, decided.least) == ((3,), 0.0)


def test_what_is_on_hand_is_cut_first():
    """Of three rolls one lies on the shelf: two are bought."""
    shapes = cut_from_rolls(0, 3)
    stocks = [stock(14.5, 120, 10.0, on_hand=1)]
    bought = purchase(shapes, stocks, 0.0, effort=60)
    assert bought.price == 20.0
    assert sum(not unit.bought for unit in bought.layout.units) == 1
    assert verify(bought.layout, shapes, stocks, 0.0) == ()


def test_the_same_is_bought_on_any_number_of_processors(monkeypatch):
    shapes = cut_from_rolls(2, 3)
    stocks = [stock(14.5, 120, 10.0), stock(10, 120, 7.2), stock(24, 60, 8.3)]
    rows = price_rows(shapes, stocks, 0.0)
    found = []
    for number in (1, 2):
        make_at_once(monkeypatch, number)
        found.append(decide_cheaper(shapes, stocks, 0.0, 40.0, rows, work=0.5, work_each=0.05))
    assert found[0].numbers is not None
    assert found[0] == found[1]


def test_too_many_blanks_alike_curved_ones_outlined_and_free_stock_are_left_to_plain_nests():
    strips = [strip("s", 20, 3, MOST_OF_A_KIND)]
    offcut = replace(STOCKS[0], outline_mm=((0.0, 0.0), (900.0, 0.0), (0.0, 200.0)))
    assert can_decide(strips, STOCKS)
    assert can_decide([strip(f"s{k}", 20, 3) for k in range(1000)], STOCKS)
    assert not can_decide([strip("s", 20, 3, MOST_OF_A_KIND + 1)], STOCKS)
    assert not can_decide([arc("a", 500.0, 0.6, 60.0, 2)], STOCKS)
    assert not can_decide(strips, [*STOCKS, offcut])
    assert not can_decide(strips, [*STOCKS, replace(STOCKS[0], price=0.0)])


def spare_of(blanks, counts, rooms):
    """Share of the rooms that the blanks leave."""
    needed = sum(area * n for area, n in zip(blanks.area.tolist(), counts, strict=True))
    return 1 - needed / sum(room.length * room.width for room in rooms)


@pytest.fixture
def tried(monkeypatch):
    """Purchases that are tried, by what is spare; those hold the blanks that spare a fifth."""
    spares = []

    def holds_with_a_fifth_to_spare(blanks, counts, rooms, seed, work, until):
        spares.append(spare_of(blanks, counts, rooms))
        return Refilled([], spares[-1] >= 0.2, min(work, 0.01))

    monkeypatch.setattr(many_straight, "refill", holds_with_a_fifth_to_spare)
    make_at_once(monkeypatch, 1)
    return spares


def test_the_cheapest_purchase_that_holds_the_blanks_is_found_in_few_tries(tried):
    job = four_kinds_of_rolls()
    held = [(price, numbers) for price, numbers in job.waiting if job.spare(numbers) >= 0.2]
    number = len(job.waiting)
    seek_cheaper(job, 6.0)
    assert (job.price, job.numbers) == held[0]
    assert len(set(tried)) < number / 4


def test_of_what_surely_holds_the_blanks_the_cheapest_is_tried_first():
    job = four_kinds_of_rolls()
    tried = {job.waiting[0][1]}
    assert next(many_straight._most_hopeful(job, tried, -1.0)) == job.waiting[1][1]


def test_what_is_to_spare_is_learned_from_what_fails(tried):
    """Hardly anything tighter than what has failed is tried with the same work."""
    job = four_kinds_of_rolls()
    even = many_straight._seek(job, 0.2, 0.0, 0.04)
    failed = [spare for spare in tried if spare < 0.2]
    assert failed
    assert even == pytest.approx(max(failed))
    unlikely = many_straight.SPREAD * math.log(1 / many_straight.LEAST_CHANCE)
    for k, spare in enumerate(failed):
        assert spare > max(failed[:k], default=0.04) - unlikely


def test_the_work_ends_where_it_is_told_to(tried, monkeypatch):
    monkeypatch.setattr(many_straight, "FIRST_WORK", 0.015)
    job = four_kinds_of_rolls()
    job.never |= {numbers for _, numbers in job.open() if job.spare(numbers) >= 0.2}
    assert len(job.open()) > 5
    seek_cheaper(job, 0.02)
    assert len(tried) == 2
    assert job.work == pytest.approx(5.98)


@pytest.mark.parametrize(("rolls", "times"), [(3, 1.0), (7, 2.22)])
def test_hundreds_of_blanks_get_more_work_for_each_purchase(monkeypatch, rolls, times):
    """In proportion from a hundred blanks on; seven rolls make 222 blanks."""
    given = []

    def hold_nothing(blanks, counts, rooms, seed, work, until):
        given.append(work)
        return Refilled([], all_lie=False, work=work)

    monkeypatch.setattr(many_straight, "refill", hold_nothing)
    make_at_once(monkeypatch, 1)
    seek_cheaper(job_of(cut_from_rolls(0, rolls), FOUR_KINDS, 0.0, 17.0 * rolls, work=6.0), 6.0)
    assert given[0] == pytest.approx(times * many_straight.FIRST_WORK)


def test_nothing_is_decided_once_the_time_is_over(monkeypatch):
    strips, stocks = cut_from_rolls(1, 3), [stock(14.5, 120, 10.0)]
    known = purchase(strips, [stock(14.5, 120, 10.0, for_sale=4)], 0.0, effort=0).layout
    monkeypatch.setattr(buying, "decide_cheaper", None)
    ended = Until(asked=lambda: True)
    bought = purchase(strips, stocks, 0.0, effort=60, until=ended, known=known)
    assert bought.layout.complete
    assert bought.cut_short
    assert bought.least == 0.0


def test_more_work_goes_on_from_where_less_ends_so_it_never_buys_dearer(monkeypatch):
    """Work for the first turn alone, for part of the second, and for several."""
    made = []

    def holds_with_an_eighth_to_spare(blanks, counts, rooms, seed, work, until):
        spare = spare_of(blanks, counts, rooms)
        made[-1].append((seed, work, spare))
        return Refilled([], spare >= 0.125 and work > 0.5, work)

    monkeypatch.setattr(many_straight, "refill", holds_with_an_eighth_to_spare)
    make_at_once(monkeypatch, 1)
    prices = []
    for work in (1.0, 2.7, 6.0, 20.0):
        made.append([])
        job = replace(four_kinds_of_rolls(), work=work)
        seek_cheaper(job, work)
        prices.append(job.price)
    for less, more in pairwise(made):
        assert len(less) < len(more)
        assert less == more[: len(less)]
    assert len({work for _, work, _ in made[-1]}) > 2
    assert prices[0] == 50.0 > prices[-1]
    assert prices == sorted(prices, reverse=True)


def test_a_turn_ends_where_so_many_have_failed_though_others_have_a_chance(tried, monkeypatch):
    monkeypatch.setattr(many_straight, "TRIES", 4)
    job = four_kinds_of_rolls()
    job.never |= {numbers for _, numbers in job.open() if job.spare(numbers) >= 0.2}
    even = many_straight._seek(job, 0.2, 0.0, 0.0)
    assert len(tried) == 4
    assert even < max(job.spare(numbers) for _, numbers in job.open())


def test_where_only_what_is_hopeless_is_left_no_more_work_is_done_than_there_is(tried):
    """What spares a hundredth is not tried until so much work is due for it as is not left."""
    job = four_kinds_of_rolls()
    job.never |= {numbers for _, numbers in job.open() if job.spare(numbers) >= 0.15}
    assert job.open()
    even = many_straight._seek(job, 0.2, 3.0, 0.3)
    assert tried == []
    assert even == 0.3
    seek_cheaper(job, 0.1)
    assert tried == []
