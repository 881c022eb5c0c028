"""Beams of fronts: what is picked of many offers, and that nothing lies twice."""

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from solver.nests import growing


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
