"""Straight blanks on several units: a few units at a time are emptied and filled anew.

Units are filled one after the other from all blanks. Then those that found no place are traded:
they and the blanks of two or three units fill these units anew (``wide_beam.fill``), and the new
filling is kept unless it leaves more bare than chance allows. Once no more is bare than the blanks
leave in any case, all of them lie.
"""

import random
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from solver.data.until import FOREVER, Until
from solver.nests import wide_beam
from solver.nests.lanes import Put, Room

FRONTS_WORK = 6e-7
"""Counted for each front and each blank that may be laid on it."""

WIDTHS = (30, 30, 100)
"""Fronts of a beam: many narrow ones in equal time are worth more than few wide ones."""
NOISES, GIVES = (0.05, 0.2), (1, 2)
"""Tastes that are drawn from."""
AT_ONCE = (2, 3, 3)
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
    blanks: wide_beam.Blanks,
    counts: Sequence[int],
    rooms: Sequence[Room],
    seed: int,
    work: float,
    until: Until = FOREVER,
) -> Refilled:
    """Lay all blanks into the rooms; `counts` are the numbers of each kind, at most 255.

    `work` is counted in fronts, so equal calls that `until` does not end early give equal answers.
    """
    space = sum(room.length * room.width for room in rooms)
    if int(blanks.area @ np.asarray(counts)) > space:
        return Refilled(None, 0.0)
    rng = random.Random(seed)
    units = _Units(blanks, rooms, rng, list(counts), [[] for _ in rooms])
    small_first = sorted(range(len(rooms)), key=lambda k: rooms[k].length * rooms[k].width)
    for k in small_first:
        if until.over():
            return Refilled(None, units.work)
        units.fill_anew([k], 0)
    while any(units.left):
        if units.work >= work or until.over():
            return Refilled(None, units.work)
        at = rng.sample(small_first, min(len(rooms), rng.choice(AT_ONCE)))
        if rng.random() < IN_ORDER:
            at.sort(key=small_first.index)
        units.fill_anew(at, int(MORE_BARE * space * rng.random()) if rng.random() < OFTEN else 0)
    return Refilled([put for puts in units.lies for put in puts], units.work)


@dataclass(eq=False)
class _Units:
    """What lies in each room, and how many of each kind are left over."""

    blanks: wide_beam.Blanks
    rooms: Sequence[Room]
    rng: random.Random
    left: list[int]
    lies: list[list[Put]]
    work: float = 0.0

    def fill_anew(self, at: Sequence[int], more_bare: int) -> None:
        """Empty some rooms and fill them, where that leaves no more bare than so much beyond."""
        bare = sum(self.rooms[k].length * self.rooms[k].width for k in at)
        offered = list(self.left)
        for k in at:
            for *_, b in self.lies[k]:
                box = self.blanks.boxes[b]
                offered[box.kind] += 1
                bare -= box.length * box.width
        puts = self._filled(at, offered, bare + more_bare)
        if puts is None:
            return
        for k in at:
            self.lies[k] = []
        for put in puts:
            self.lies[put[0]].append(put)
            offered[self.blanks.boxes[put[3]].kind] -= 1
        self.left = offered

    def _filled(
        self, at: Sequence[int], offered: Sequence[int], most_bare: int
    ) -> list[Put] | None:
        width = self.rng.choice(WIDTHS)
        taste = wide_beam.draw_taste(self.rng, width, GIVES, NOISES)
        self.work += FRONTS_WORK * width * sum(offered)
        rooms = [self.rooms[k] for k in at]
        seed = self.rng.getrandbits(32)
        filled = wide_beam.fill(self.blanks, offered, rooms, seed, taste, most_bare)
        if filled is None:
            return None
        return [(at[room], x, y, b) for room, x, y, b in filled.puts]
