"""Beams of fronts: what is picked of many offers, and that nothing lies twice."""

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from solver.nests import growing
from solver.nests.lanes import Box, Room
from solver.nests.wide_beam import Taste, _job, _memory, blanks_of


@given(st.lists(st.integers(0, 9), min_size=2, max_size=40), st.data())
@settings(max_examples=200, deadline=None)
def test_the_least_of_many_are_moved_to_the_front(values, data):
    least = data.draw(st.integers(1, len(values) - 1))
    guide = np.array(values, float)
    entries = np.arange(len(values))
    growing._part.py_func(guide, entries, len(values), least)
    assert sorted(entries) == list(range(len(values)))
    assert sorted(guide[entries[:least]]) == sorted(values)[:least]


@given(st.lists(st.integers(0, 9), min_size=1, max_size=40))
@settings(max_examples=200, deadline=None)
def test_a_heap_gives_the_least_first(values):
    guide, heap = np.array(values, float), np.arange(len(values))
    within = growing._sift.py_func
    for at in range(len(values) // 2 - 1, -1, -1):
        within(guide, heap, len(values), at)
    taken = []
    for left in range(len(values), 0, -1):
        taken.append(heap[0])
        heap[0] = heap[left - 1]
        within(guide, heap, left - 1, 0)
    assert list(guide[taken]) == sorted(values)


@given(st.lists(st.integers(1, 1 << 62), min_size=1, max_size=30))
@settings(max_examples=100, deadline=None)
def test_a_mark_is_new_once(marks):
    seen, known = np.zeros(64, np.int64), set()
    for mark in marks:
        assert growing._is_new.py_func(seen, mark) == (mark not in known)
        known.add(mark)


def test_of_fronts_that_end_alike_with_the_same_blanks_one_lives_on():
    """Two blanks 40 by 10 side by side in a room 20 wide: either may be laid first."""
    blanks, room = blanks_of([Box(0, 40, 10, False), Box(1, 40, 10, False)], 2), Room(100, 20)
    rng = np.random.default_rng(0)
    job = _job(blanks, [1, 1], [room], rng, Taste(9, 3, 5))
    fronts, other, close, rounds = _memory(job, 2, room)
    number, numbers = 1, []
    for turn in range(2):
        many = growing.look(job.ways, job.manner, fronts, number, -1, rng, close)
        number = growing.keep(job.manner, many, rng, close, other, rounds, turn)
        fronts, other = other, fronts
        numbers.append((many, number))
    (_, alone), (_, both) = numbers
    held = fronts.held[:both].tolist()
    assert alone == 2
    ends = {tuple(fronts.ends[row, : fronts.segments[row]].tolist()) for row in range(both)}
    assert both == len(ends)
    assert held == [800] * both
