"""Straight blanks on several units: a few units at a time are emptied and filled anew.

Units are filled one after the other from all blanks. Then those that found no place are traded:
they and the blanks of one to three units fill these units anew (``wide_beam.fill``), and the new
filling is kept unless it leaves more bare than chance allows. Once no more is bare than the blanks
leave in any case, all of them lie.
"""

import random
from collections.abc import Sequence
from dataclasses import dataclass, replace

from solver.data.until import FOREVER, Until
from solver.nests import wide_beam
from solver.nests.lanes import Box, Put, Room

FRONTS_WORK = 6e-7
"""Counted for each front and each blank that may be laid on it."""

WIDTHS = (300, 300, 1000)
"""Fronts of a beam."""
BRANCHES, WINDOWS, LENGTHS = (4, 6, 10), (8, 12, 16, 24, 40), (0.5, 1.0, 2.0)
"""Tastes that are drawn from."""
NOISES, GIVES = (0.05, 0.2), (1, 2)
AT_ONCE = (1, 2, 2, 2, 3)
"""Units filled anew."""
IN_ORDER = 0.7
"""Share of the moves that fill small units first."""
MORE_BARE, OFTEN = 0.003, 0.5
"""Share of all metal that a new filling may leave bare beyond the old at the most, and how often
it may leave any more."""


@dataclass(frozen=True)
class Refilled:
    """Puts of all blanks, or None where they were not all laid; `work` is what was spent."""

    puts: list[Put] | None
    work: float


def refill(
    boxes: Sequence[Box],
    counts: Sequence[int],
    rooms: Sequence[Room],
    seed: int,
    work: float,
    until: Until = FOREVER,
) -> Refilled:
    """Lay all blanks into the rooms; `counts` are the numbers of each kind, at most 255.

    `work` is counted in fronts, so equal calls that `until` does not end early give equal answers.
    """
    area = [0] * len(counts)
    for box in boxes:
        area[box.kind] = box.length * box.width
    space = sum(room.length * room.width for room in rooms)
    spare = space - sum(a * n for a, n in zip(area, counts, strict=True))
    if spare < 0:
        return Refilled(None, 0.0)
    rng = random.Random(seed)
    lies: list[list[Put]] = [[] for _ in rooms]
    left = list(counts)
    spent = 0.0

    def fill(at: Sequence[int], offered: Sequence[int], most_bare: int) -> wide_beam.Filled | None:
        nonlocal spent
        width = rng.choice(WIDTHS)
        taste = wide_beam.Taste(
            width,
            rng.choice(BRANCHES),
            rng.choice(WINDOWS),
            rng.choice(LENGTHS),
            rng.choice(NOISES),
            rng.choice(GIVES),
        )
        spent += FRONTS_WORK * width * sum(offered)
        # kinds that are not offered would only be passed over, again and again
        kinds = {kind: k for k, kind in enumerate(kind for kind, n in enumerate(offered) if n)}
        which = [b for b, box in enumerate(boxes) if box.kind in kinds]
        filled = wide_beam.fill(
            [replace(boxes[b], kind=kinds[boxes[b].kind]) for b in which],
            [offered[kind] for kind in kinds],
            [rooms[k] for k in at],
            rng.getrandbits(32),
            taste,
            most_bare,
            until,
        )
        if filled is None:
            return None
        return replace(filled, puts=[(at[room], x, y, which[b]) for room, x, y, b in filled.puts])

    def bare(at: Sequence[int]) -> int:
        return sum(
            rooms[k].length * rooms[k].width - sum(area[boxes[put[3]].kind] for put in lies[k])
            for k in at
        )

    def move(at: Sequence[int], most_bare: int) -> None:
        """Empty some rooms and fill them anew, where that leaves little enough bare."""
        offered = list(left)
        for k in at:
            for put in lies[k]:
                offered[boxes[put[3]].kind] += 1
        filled = fill(at, offered, most_bare)
        if filled is None:
            return
        for k in at:
            lies[k] = []
        for room, x, y, b in filled.puts:
            lies[room].append((room, x, y, b))
            offered[boxes[b].kind] -= 1
        left[:] = offered

    small_first = sorted(range(len(rooms)), key=lambda k: rooms[k].length * rooms[k].width)
    for k in small_first:
        move([k], bare([k]))
    while any(left):
        if spent >= work or until.over():
            return Refilled(None, spent)
        at = rng.sample(small_first, min(len(rooms), rng.choice(AT_ONCE)))
        if rng.random() < IN_ORDER:
            at.sort(key=small_first.index)
        more = int(MORE_BARE * space * rng.random()) if rng.random() < OFTEN else 0
        move(at, bare(at) + more)
    return Refilled([put for room in lies for put in room], spent)
