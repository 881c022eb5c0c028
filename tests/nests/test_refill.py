"""Straight blanks on several units: units filled as full as may be, emptied and filled anew."""

import random
from dataclasses import replace

import numpy as np
import pytest

from solver.data.until import Until
from solver.nests import refill as refilling
from solver.nests import wide_beam
from solver.nests.lanes import Box, Room
from tests.nests.made_blanks import lie_apart, three_rooms

TASTE = wide_beam.Taste(300, 6, 16)


def both_ways(sizes):
    boxes = []
    for kind, (long, wide) in enumerate(sizes):
        boxes.append(Box(kind, long, wide, False))
        if long != wide:
            boxes.append(Box(kind, wide, long, True))
    return boxes


def refill(boxes, counts, *given, **how):
    return refilling.refill(wide_beam.blanks_of(boxes, len(counts)), counts, *given, **how)


def fill(boxes, counts, rooms, seed, taste, most_bare):
    blanks = wide_beam.blanks_of(boxes, len(counts))
    return wide_beam.fill(blanks, counts, rooms, seed, taste, most_bare)


@pytest.mark.parametrize("seed", range(4))
def test_blanks_cut_from_three_units_without_waste_all_find_a_place(seed):
    rooms, sizes = three_rooms(seed)
    boxes = both_ways(sizes)
    done = refill(boxes, [1] * len(sizes), rooms, 1, work=3.0)
    assert done.all_lie
    assert sorted(boxes[b].kind for *_, b in done.puts) == list(range(len(sizes)))
    assert lie_apart(boxes, rooms, done.puts)
    assert done == refill(boxes, [1] * len(sizes), rooms, 1, work=3.0)


def test_units_are_emptied_and_filled_anew_until_all_blanks_lie():
    """What one filling after the other leaves over is laid by trading, at more than its work."""
    first_go = trades = 0
    for seed in range(4):
        rooms, sizes = three_rooms(seed)
        boxes = both_ways(sizes)
        once = refill(boxes, [1] * len(sizes), rooms, 1, work=0.0)
        done = refill(boxes, [1] * len(sizes), rooms, 1, work=3.0)
        first_go += once.all_lie
        trades += not once.all_lie and done.all_lie and done.work > once.work
    assert first_go < 4
    assert trades >= 2


def test_units_with_less_area_than_the_blanks_are_filled_once():
    done = refill(both_ways([(10, 4)]), [3], [Room(20, 5)], 0, work=9.0)
    assert (len(done.puts), done.all_lie) == (2, False)
    assert done.work < 0.01


def test_a_blank_longer_than_any_unit_ends_with_the_work():
    boxes = both_ways([(30, 2), (5, 5)])
    done = refill(boxes, [1, 1], [Room(20, 10), Room(25, 10)], 0, work=0.01)
    assert not done.all_lie
    assert [boxes[b].kind for *_, b in done.puts] == [1]
    assert 0.01 <= done.work < 0.02


def test_filling_ends_when_asked():
    rooms, sizes = three_rooms(0)
    ended = Until(asked=lambda: True)
    done = refill(both_ways(sizes), [1] * len(sizes), rooms, 1, work=3.0, until=ended)
    assert (done.puts, done.all_lie) == ([], False)


@pytest.mark.parametrize("seed", range(6))
def test_what_a_beam_leaves_bare_is_what_its_blanks_do_not_cover(seed):
    rng = random.Random(seed)
    sizes = [(rng.randint(4, 20), rng.randint(2, 8)) for _ in range(14)]
    boxes, rooms = both_ways(sizes), [Room(30, 9), Room(24, 7)]
    filled = fill(boxes, [1] * 14, rooms, seed, TASTE, 10_000)
    assert filled is not None
    kinds = [boxes[b].kind for *_, b in filled.puts]
    assert len(set(kinds)) == len(kinds) < 14
    assert lie_apart(boxes, rooms, filled.puts)
    assert filled.bare == 30 * 9 + 24 * 7 - sum(sizes[k][0] * sizes[k][1] for k in kinds)
    assert filled == fill(boxes, [1] * 14, rooms, seed, TASTE, 10_000)
    for most in (filled.bare, filled.bare // 2, 0):
        fuller = fill(boxes, [1] * 14, rooms, seed, TASTE, most)
        assert fuller is None or fuller.bare <= most


def test_a_unit_is_filled_with_the_blanks_that_fill_it_best():
    """Strips of which three add up to each of a unit's lanes, among others [derived]."""
    boxes = [Box(k, 20, wide, False) for k, wide in enumerate((3, 4, 5, 7, 9, 11, 13))]
    filled = fill(boxes, [1] * 7, [Room(20, 12)], 0, TASTE, 240)
    assert filled is not None
    assert filled.bare == 0
    assert sum(boxes[b].width for *_, b in filled.puts) == 12


def test_of_fronts_that_end_together_the_fullest_is_kept():
    """Two of three strips go abreast: 5 and 7 fill the unit's 12, 5 and 6 do not [derived]."""
    boxes = [Box(k, 20, wide, False) for k, wide in enumerate((5, 6, 7))]
    for seed in range(5):
        filled = fill(boxes, [1] * 3, [Room(20, 12)], seed, TASTE, 240)
        assert filled is not None
        assert sorted(boxes[b].width for *_, b in filled.puts) == [5, 7]


def test_of_fillings_as_full_as_one_another_that_worth_most_is_taken():
    """5 and 7 fill the unit's 12, and so do 4 and 8 [derived]."""
    boxes = [Box(k, 20, wide, False) for k, wide in enumerate((4, 5, 7, 8))]
    blanks = wide_beam.blanks_of(boxes, 4)
    for dear in ({5, 7}, {4, 8}):
        worth = np.array([box.width * (3 if box.width in dear else 1) for box in boxes])
        valued = replace(blanks, worth=worth)
        filled = wide_beam.fill(valued, [1] * 4, [Room(20, 12)], 0, TASTE, 240)
        assert {boxes[b].width for *_, b in filled.puts} == dear
        assert (filled.bare, filled.worth) == (0, 36)


def test_all_blanks_are_laid_where_they_all_fit_and_one_too_large_is_left_over():
    boxes = [Box(0, 10, 4, False), Box(1, 50, 4, False)]
    filled = fill(boxes, [3, 1], [Room(30, 5)], 0, TASTE, 150)
    assert filled is not None
    assert [b for *_, b in filled.puts] == [0, 0, 0]
    assert filled.bare == 30
    alone = fill(boxes, [3, 0], [Room(30, 5)], 0, TASTE, 150)
    assert alone == filled
