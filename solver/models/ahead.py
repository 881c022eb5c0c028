"""Tries that are made before their turn, on other processors, in case those before them fail.

Most purchases that are tried do not hold the blanks, and which one is tried next is then known
beforehand.  What is found is what one try after the other would find: a try made in vain, since one
before it held, is forgotten.
"""

from __future__ import annotations

import os
from collections import deque
from collections.abc import Callable, Generator, Iterable
from concurrent.futures import FIRST_COMPLETED, Future, ThreadPoolExecutor, wait
from itertools import islice
from threading import Event
from typing import TypeVar

from solver.data.until import Until

Try = TypeVar("Try")
Made = TypeVar("Made")

MOST_AT_ONCE = 4
"""More would mostly be made in vain."""
MOST_DRAWN = 2
"""Tries drawn for each that is made at once: where one takes long others are made meanwhile."""
LOOK_SECONDS = 0.02
"""So often whoever waits for a try looks whether to end."""

_among = 1


def share_processors(among: int) -> None:
    """Say that so many processes, of which this is one, are at work on the same processors."""
    global _among
    _among = among


def processors() -> int:
    """Processors that this process may run on: its share, and at least one."""
    if hasattr(os, "sched_getaffinity"):
        all_of_them = len(os.sched_getaffinity(0))
    else:
        all_of_them = os.cpu_count() or 1
    return max(1, all_of_them // _among)


def in_turn(
    tries: Iterable[Try],
    make: Callable[[Try, Until], Made],
    until: Until,
    at_once: int | None = None,
) -> Generator[tuple[Try, Made], None, None]:
    """Yield each try with what was made of it, in order; to read on is to say that it failed.

    ``tries`` are drawn as if all before them failed, some before that is known.  ``make`` is given
    a try and when to end, and runs on ``at_once`` threads (as many as there are processors).
    """
    if at_once is None:
        at_once = min(MOST_AT_ONCE, processors())
    if at_once == 1:
        for one in tries:
            yield one, make(one, until)
        return
    ended = Event()
    apart = Until(until.moment, ended.is_set)
    waiting: deque[tuple[Try, Future[Made]]] = deque()
    left = iter(tries)
    pool = ThreadPoolExecutor(at_once)
    try:
        while True:
            busy = {made for _, made in waiting if not made.done()}
            idle = min(at_once - len(busy), MOST_DRAWN * at_once - len(waiting))
            drawn = [(one, pool.submit(make, one, apart)) for one in islice(left, idle)]
            waiting.extend(drawn)
            if not waiting:
                return
            if waiting[0][1].done():
                one, made = waiting.popleft()
                yield one, made.result()
                continue
            wait(busy.union(made for _, made in drawn), LOOK_SECONDS, FIRST_COMPLETED)
            if until.over():
                ended.set()
    finally:
        ended.set()
        pool.shutdown(wait=False, cancel_futures=True)
