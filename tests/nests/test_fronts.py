"""Fronts of straight blanks: sums of what is left, and what a front cannot help losing."""

from __future__ import annotations

import itertools

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from solver.nests.fronts import (
    FAR,
    SEGMENTS,
    Fronts,
    Ways,
    add_up_left,
    must_lose,
)
from solver.nests.growing import Manner, look
from solver.nests.lanes import Room
from solver.nests.sums import add_up, most_within
from solver.nests.wide_beam import _Job, _memory

LENGTH = 30
Blanks = list[tuple[int, int]]


def sums_of(blanks: Blanks) -> set[int]:
    """Every choice of blanks, each with either side or left out, by hand."""
    return {sum(chosen) for chosen in itertools.product(*[(0, *blank) for blank in blanks])}


sizes = st.tuples(st.integers(1, 12), st.integers(1, 12))


@given(st.lists(sizes, max_size=4), st.integers(0, 80), st.sampled_from((64, 128, 200)))
@settings(max_examples=80, deadline=None, derandomize=True)
def test_sums_are_those_of_every_choice_of_blanks(blanks: Blanks, limit: int, cells: int) -> None:
    sides = np.array(blanks or [(1, 1)], np.int32)
    left = np.array([1] * len(blanks) or [0], np.uint8)
    bits = np.empty(cells // 64 + 1, np.uint64)
    add_up(sides, left, 1, bits, np.empty_like(bits))
    limit = min(limit, cells)
    assert most_within(bits, limit) == max(s for s in sums_of(blanks) if s <= limit)


def test_a_kind_is_taken_as_often_as_it_is_left() -> None:
    sides = np.array([(70, 70), (9, 9)], np.int32)
    bits = np.empty(5, np.uint64)
    add_up(sides, np.array((2, 1), np.uint8), 1, bits, np.empty_like(bits))
    assert [most_within(bits, limit) for limit in (69, 78, 148, 300)] == [9, 70, 140, 149]


def loss_of(blanks: Blanks, front: list[tuple[int, int]], scale: int, cell: int) -> int:
    """What is counted for one front, lengths `scale` times as long, in such cells."""
    sides = np.array(blanks, np.int32) * np.int32(scale)
    width = sum(w for _, w in front)
    ways = Ways(
        *[np.zeros(1, np.int32)] * 3,
        *[np.zeros(1)] * 2,
        np.zeros(1, np.int32),
        np.zeros(1, np.int64),
        *[np.zeros(1, np.int32)] * 2,
        sides,
        sides,
        np.array([LENGTH * scale], np.int32),
        np.array([width * scale], np.int32),
        cell,
        cell,
    )
    ends, widths = np.full((1, SEGMENTS), FAR, np.int32), np.zeros((1, SEGMENTS), np.int32)
    ends[0, : len(front)] = [end * scale for end, _ in front]
    widths[0, : len(front)] = [w * scale for _, w in front]
    fronts = Fronts(
        ends,
        widths,
        np.array([len(front)], np.int32),
        np.ones((1, len(blanks)), np.uint8),
        np.zeros(1, np.int32),
        *[np.zeros(1, np.int64)] * 3,
    )
    words = max(LENGTH, width) * scale // cell // 64 + 2
    across, along = np.empty((1, words), np.uint64), np.empty((1, words), np.uint64)
    table, loss = np.empty(1, np.int64), np.empty(1, np.int64)
    add_up_left(ways, fronts, np.zeros(1, np.int64), True, across, along, table)
    must_lose(ways, fronts, table, across, along, len(blanks), True, loss)
    return int(loss[0])


def lost_by_hand(blanks: Blanks, front: list[tuple[int, int]]) -> int:
    """What all rows cannot hold, or all gaps of all columns, cell by cell: the greater."""
    sums = sums_of(blanks)

    def rest(free: int) -> int:
        return free - max(s for s in sums if s <= free)

    rows = sum(width * rest(LENGTH - end) for end, width in front)
    columns = 0
    for x in range(LENGTH):
        line = "".join(("." if end <= x else "#") * width for end, width in front)
        columns += sum(rest(len(gap)) for gap in line.split("#"))
    return max(rows, columns)


fronts = st.lists(st.tuples(st.integers(0, LENGTH), st.integers(1, 6)), min_size=1, max_size=5)


@given(st.lists(sizes, min_size=1, max_size=4), fronts)
@settings(max_examples=80, deadline=None, derandomize=True)
def test_what_lines_must_lose_is_what_trying_every_set_of_blanks_leaves(
    blanks: Blanks, front: list[tuple[int, int]]
) -> None:
    lost = lost_by_hand(blanks, front)
    assert loss_of(blanks, front, 1, 1) == lost
    # coarse cells may tell of less, never of more
    assert loss_of(blanks, front, 1000, 7) <= lost * 1000**2
    assert loss_of(blanks, front, 1000, 7) >= (lost - 0.1 * LENGTH * 30) * 1000**2


def offered(gives: int) -> list[tuple[int, int, int, int]]:
    """(x, y, area lost, segments) of one blank 40 by 10, beside another that ends at 10.

    The notch is 10 deep and 10 wide, the room 100 long.
    """
    one = np.array([(40, 40)], np.int32), np.array([(10, 10)], np.int32)
    ways = Ways(
        np.array([40], np.int32),
        np.array([10], np.int32),
        np.zeros(1, np.int32),
        *[np.ones(1)] * 2,
        np.zeros(21, np.int32),
        np.array([400]),
        np.array([10], np.int32),
        np.array([40], np.int32),
        *one,
        np.array([100], np.int32),
        np.array([20], np.int32),
        1,
        1,
    )

    manner = Manner(3, 3, 5, gives, 0.0, 1600, True, np.ones(1, np.int64))
    job = _Job(ways, np.zeros(1, np.int64), np.ones(1, np.int64), manner)
    fronts, _, close, _ = _memory(job, 1, Room(100, 20))
    fronts.segments[0] = 2
    fronts.ends[0, :2], fronts.widths[0, :2] = (10, 0), (10, 10)
    made = look(ways, manner, fronts, 1, -1, np.random.default_rng(0), close)
    grown = close.grown
    there = np.arange(SEGMENTS) < grown.segments[:made, None]
    squares = np.where(there, grown.ends[:made].astype(np.int64) ** 2 * grown.widths[:made], 0)
    assert close.moment[:made].tolist() == squares.sum(axis=1).tolist()
    assert grown.held[:made].tolist() == [400] * made
    rows = zip(close.x, close.y, grown.lost, grown.segments, strict=True)
    return [tuple(map(int, row)) for row in itertools.islice(rows, made)]


def test_a_notch_that_holds_a_blank_may_be_given_up_all_the_same() -> None:
    """In the notch nothing is lost; given up, its 100 units of area are, and the front is flat."""
    in_notch, over_it = (0, 10, 0, 2), (10, 0, 100, 2)
    assert offered(gives=0) == [in_notch]
    assert sorted(offered(gives=1)) == sorted([in_notch, over_it])
