"""Straight blanks on several units: a few units at a time are emptied and filled anew.

Units are filled one after the other from all blanks. Then those that found no place are traded:
they and the blanks of some units fill these units anew (``wide_beam.fill``), and the new filling
is kept unless it leaves more bare, or holds what is worth less, than chance allows. Once no more is
bare than the blanks leave in any case, all of them lie.
"""

import random
from collections.abc import Sequence
from dataclasses import dataclass, replace

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
AT_ONCE, SHARE = (2, 3, 4, 6, 8, 10), 0.5
"""Units filled anew: three at the most, or no larger share of all."""
LARGE = 0.5
"""What a blank is worth for its area grows by this power of the area: what is left over is small,
and finds a place sooner."""
IN_ORDER = 0.7
"""Share of the moves that fill small units first."""
MORE_BARE, LESS_WORTH, OFTEN = 0.004, 0.002, 0.5
"""Share of all metal that a new filling may leave bare beyond the old at the most, share that it
may be worth less, and how often it may be worth any less."""


@dataclass(frozen=True)
class Refilled:
    """Puts of what was laid, whether that is all, and the work spent."""

    puts: list[Put]
    all_lie: bool
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
    Rooms too small for all are filled once.
    """
    space = sum(room.length * room.width for room in rooms)
    needed = int(blanks.area @ np.asarray(counts))
    if needed > space:
        work = 0.0
    rng = random.Random(seed)
    worth = np.rint(blanks.area * (blanks.area * sum(counts) / needed) ** LARGE).astype(np.int64)
    valued = replace(blanks, worth=worth)
    units = _Units(valued, rooms, rng, list(counts), [[] for _ in rooms])
    small_first = sorted(range(len(rooms)), key=lambda k: rooms[k].length * rooms[k].width)
    for k in small_first:
        if until.over():
            return units.refilled()
        units.fill_anew([k])
    most = max(3, round(SHARE * len(rooms)))
    while any(units.left) and units.work < work and not until.over():
        at = rng.sample(small_first, min(len(rooms), most, rng.choice(AT_ONCE)))
        if rng.random() < IN_ORDER:
            at.sort(key=small_first.index)
        less_worth = LESS_WORTH * rng.random() if rng.random() < OFTEN else 0.0
        units.fill_anew(at, int(MORE_BARE * space * rng.random()), int(less_worth * space))
    return units.refilled()


@dataclass(eq=False)
class _Units:
    """What lies in each room, and how many of each kind are left over."""

    blanks: wide_beam.Blanks
    rooms: Sequence[Room]
    rng: random.Random
    left: list[int]
    lies: list[list[Put]]
    work: float = 0.0

    def refilled(self) -> Refilled:
        """What lies by now."""
        puts = [put for lying in self.lies for put in lying]
        return Refilled(puts, not any(self.left), self.work)

    def fill_anew(self, at: Sequence[int], more_bare: int = 0, less_worth: int = 0) -> None:
        """Empty some rooms and fill them, where no more is left bare and no less worth is held.

        But for so much more and so much less.
        """
        bare = sum(self.rooms[k].length * self.rooms[k].width for k in at)
        worth = 0
        offered = list(self.left)
        for k in at:
            for *_, b in self.lies[k]:
                box = self.blanks.boxes[b]
                offered[box.kind] += 1
                bare -= box.length * box.width
                worth += int(self.blanks.worth[box.kind])
        filled = self._filled(at, offered, bare + more_bare)
        if filled is None or filled.worth < worth - less_worth:
            return
        for k in at:
            self.lies[k] = []
        for room, x, y, b in filled.puts:
            self.lies[at[room]].append((at[room], x, y, b))
            offered[self.blanks.boxes[b].kind] -= 1
        self.left = offered

    def _filled(
        self, at: Sequence[int], offered: Sequence[int], most_bare: int
    ) -> wide_beam.Filled | None:
        width = self.rng.choice(WIDTHS)
        taste = wide_beam.draw_taste(self.rng, width, GIVES, NOISES)
        self.work += FRONTS_WORK * width * sum(offered)
        rooms = [self.rooms[k] for k in at]
        seed = self.rng.getrandbits(32)
        return wide_beam.fill(self.blanks, offered, rooms, seed, taste, most_bare)
