"""Tries made before their turn: what is found is what one try after the other would find."""

from __future__ import annotations

import threading
import time
from collections.abc import Iterator

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from solver.data.until import FOREVER, Until
from solver.models import ahead
from solver.models.ahead import MOST_DRAWN, in_turn, processors, share_processors
from solver.nests.purchase import purchase
from solver.nests.shapes import Shape, Stock
from tests.nests.made_blanks import arc, strip

INCH = 25.4


def until_one_holds(
    tries: Iterator[int], holds: list[bool], lasts: list[float], at_once: int
) -> list[tuple[int, int]]:
    """Tries made up to the first that holds, each with what was made of it, its place."""

    def make(one: tuple[int, int], until: Until) -> int:
        place, number = one
        time.sleep(lasts[number])
        return place

    found = []
    for (_, one), place in in_turn(enumerate(tries), make, FOREVER, at_once):
        found.append((one, place))
        if holds[one]:
            break
    return found


@settings(max_examples=40, deadline=None)
@given(st.lists(st.tuples(st.booleans(), st.sampled_from([0.0, 0.001, 0.004])), max_size=9))
def test_tries_come_in_order_whichever_is_ready_first(drawn: list[tuple[bool, float]]) -> None:
    holds, lasts = [held for held, _ in drawn], [long for _, long in drawn]
    plain = until_one_holds(iter(range(len(drawn))), holds, lasts, 1)
    for at_once in (2, 3):
        assert until_one_holds(iter(range(len(drawn))), holds, lasts, at_once) == plain


def test_few_tries_are_drawn_before_those_before_them_are_known_to_fail() -> None:
    drawn: list[int] = []

    def tries() -> Iterator[int]:
        for one in range(100):
            drawn.append(one)
            yield one

    for known, (one, _) in enumerate(in_turn(tries(), lambda one, until: one, FOREVER, 2)):
        assert one == known
        assert len(drawn) <= known + 1 + 2 * MOST_DRAWN
    assert drawn == list(range(100))


def test_two_are_made_at_once() -> None:
    both = threading.Barrier(2, timeout=10)  # broken, and so an error, if only one comes
    assert len(list(in_turn(range(2), lambda one, until: both.wait(), FOREVER, 2))) == 2


def test_what_is_made_in_vain_is_told_to_end_and_not_waited_for() -> None:
    began, ended = threading.Event(), threading.Event()

    def make(one: int, until: Until) -> None:
        if one == 0:
            assert began.wait(10)
            return
        began.set()
        while not until.over():
            time.sleep(0.001)
        ended.set()

    for one, _ in in_turn(range(2), make, FOREVER, 2):
        assert one == 0
        break
    assert ended.wait(10)


def test_who_asks_to_end_is_heard_by_all_that_are_at_work() -> None:
    began = threading.Event()

    def make(one: int, until: Until) -> bool:
        began.set()
        while not until.over():
            time.sleep(0.001)
        return True

    assert list(in_turn(range(2), make, Until(None, began.is_set), 2)) == [(0, True), (1, True)]


def test_only_the_thread_that_waits_is_asked_whether_to_end() -> None:
    """Whoever is asked need not be ready for questions from several threads."""
    asked_on: set[int] = set()

    def asked() -> bool:
        asked_on.add(threading.get_ident())
        return False

    def make(one: int, until: Until) -> None:
        until.over()
        time.sleep(3 * ahead.LOOK_SECONDS)

    list(in_turn(range(3), make, Until(None, asked), 2))
    assert asked_on == {threading.get_ident()}


def test_an_error_comes_in_its_turn_and_never_from_what_is_made_in_vain() -> None:
    def make(one: int, until: Until) -> int:
        if one == 1:
            raise RuntimeError("the second")
        return one

    turns = in_turn(range(3), make, FOREVER, 3)
    assert next(turns) == (0, 0)
    with pytest.raises(RuntimeError, match="the second"):
        next(turns)
    for one, _ in in_turn(range(3), make, FOREVER, 3):
        assert one == 0
        break


def test_one_processor_needs_no_other_thread(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(ahead, "processors", lambda: 1)
    here = threading.get_ident()
    made = in_turn(range(2), lambda one, until: threading.get_ident(), FOREVER)
    assert list(made) == [(0, here), (1, here)]


def test_processes_share_the_processors(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(ahead.os, "sched_getaffinity", lambda process: set(range(8)), raising=False)
    assert processors() == 8
    try:
        for among, each in ((3, 2), (8, 1), (9, 1)):
            share_processors(among)
            assert processors() == each
    finally:
        share_processors(1)


def blanks_and_stock() -> tuple[list[Shape], list[Stock]]:
    shapes = [
        arc("a", 30 * INCH, 0.6, 3 * INCH, 4),
        arc("b", 22 * INCH, 0.9, 2.5 * INCH, 2),
        strip("s", 30 * INCH, 4 * INCH, 2),
    ]
    kinds = [(w, long) for w in (20, 14, 10) for long in (60, 96)]
    stocks = [
        Stock(f"{w} x {long}", w * INCH, long * INCH, 3 + w * long / 144, 0, None)
        for w, long in kinds
    ]
    return shapes, stocks


@pytest.mark.parametrize("effort", [0, 2, 10, 60])
def test_a_purchase_is_the_same_on_any_number_of_processors(
    effort: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    shapes, stocks = blanks_and_stock()
    found = []
    for number in (1, 2, 3):
        monkeypatch.setattr(ahead, "processors", lambda number=number: number)
        found.append(purchase(shapes, stocks, INCH / 16, effort=effort))
    assert found[0].layout.complete
    assert found[1] == found[2] == found[0]
