"""Many straight blanks: cheaper purchases are sought where most is likely to be saved.

Units are filled anew (`refill`) until a purchase holds all blanks or the work is done. How much it
must have to spare for that is not known beforehand: it is learned from every try that holds and
every one that does not. The next purchase tried is the one whose saving times its chance to hold is
largest. Once no other has a chance, all are tried with more work. What is tried does not depend on
how much work there is in all: more of it goes on from where less ends, so it never buys dearer.
"""

import math
import random
from collections.abc import Iterator

from solver.data.until import Until
from solver.nests import lanes
from solver.nests.refill import refill
from solver.nests.straight_job import Laid, Numbers, StraightJob, units_of

EVEN = 0.04
"""Share of the metal to spare with which a purchase is at first as likely to hold as not."""
SPREAD = 0.005
"""With so much more or less it is three times likelier, or three times less likely, to hold."""
LEAST_CHANCE = 0.04
"""Purchases with less are not tried with the same work."""
FIRST_WORK, USUAL, TRIES = 0.15, 100, 13
"""Work for each purchase in the first turn, in proportion more of more than so many blanks, and how
many may fail in a turn."""
LONGER, SPARED = 2.0, 0.006
"""So many times the work for each purchase in the next turn, and so much less to spare it needs."""


def seek_cheaper(job: StraightJob, work: float) -> None:
    """Lay the blanks on ever cheaper purchases; each gets FIRST_WORK at first, then more.

    `work`, of that of the job, is for all; it ends as well where less is left than one is to get.
    """
    least, even = job.work - work, EVEN
    work_each = FIRST_WORK * max(1.0, len(job.blanks) / USUAL)
    while job.open() and not job.over() and work_each <= job.work - least:
        even = _seek(job, work_each, least, even) - SPARED
        work_each *= LONGER
        job.seed += 1


def _seek(job: StraightJob, work_each: float, least: float, even: float) -> float:
    """Try purchases with so much work each, until `least` is left or TRIES of them have failed.

    Returns what must be to spare, as learned by then.
    """
    tried, held, failed = set[Numbers](), True, 0

    def lay(numbers: Numbers, until: Until) -> Laid:
        units = units_of(job.stocks, numbers)
        rooms = [lanes.make_room(unit, job.gap_mm, job.unit_mm) for unit in units]
        seed = random.Random(f"{job.seed} {numbers}").getrandbits(32)
        filled = refill(job.ways, job.counts, rooms, seed, work_each, until)
        placed = job.placed(units, filled.puts) if filled.all_lie else None
        return Laid(placed, filled.work)

    def note(numbers: Numbers, laid: Laid) -> bool:
        nonlocal even, held, failed
        job.work -= laid.work
        tried.add(numbers)
        held = laid.placements is not None
        failed += not held
        even = (min if held else max)(even, job.spare(numbers))
        if laid.placements is not None:
            job.keep(numbers, laid.placements)
        return held or failed == TRIES

    while held and not job.over() and job.work > least:
        held = False
        order = _most_hopeful(job, tried, even)
        job.go_through(order, job.is_open, lay, note, job.work - least)
    return even


def _most_hopeful(job: StraightJob, tried: set[Numbers], even: float) -> Iterator[Numbers]:
    """Purchases not yet tried, as if each failed: what is likely to save most first."""
    waiting = [
        (job.price - price, job.spare(numbers), numbers)
        for price, numbers in job.open()
        if numbers not in tried
    ]
    while True:
        chances = [_chance(spare, even) for _, spare, _ in waiting]
        hopes = [
            saving * chance if chance >= LEAST_CHANCE else 0.0
            for (saving, _, _), chance in zip(waiting, chances, strict=True)
        ]
        if max(hopes, default=0.0) == 0.0:
            return
        _, spare, numbers = waiting.pop(hopes.index(max(hopes)))
        yield numbers
        even = max(even, spare)


def _chance(spare: float, even: float) -> float:
    return 1.0 / (1.0 + math.exp((even - spare) / SPREAD))
