"""Straight blanks in lanes that must end by a given line: a beam of fronts.

All fronts of a beam grow together, one blank a round (``growing``). What the rooms hold beyond the
blanks is known, so a front that has lost more metal than that is dropped at once; among the others
those live on that have lost least for what they hold. When few blanks are left, what a front cannot
help losing counts as lost. Where rooms are to be filled from more blanks than they hold, the
fullest front of all rounds is taken.
"""

import random
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from solver.data.until import FOREVER, Until
from solver.nests.fronts import (
    DISLIKE,
    FAR,
    LOST,
    SEGMENTS,
    Fronts,
    Ints,
    Longs,
    Offers,
    Ways,
    Words,
    add_up_left,
    must_lose,
)
from solver.nests.growing import KEPT, Close, Manner, Rounds, fill_up, keep, look
from solver.nests.lanes import Box, Put, Room, fillable

FEW, FEWER = 30, 20
"""So many blanks left: what lines across, and lines along the room too, must lose is counted."""

MOST_CELLS = 8192
"""Along or across a room, for sums of lengths: coarser where the unit is fine."""


@dataclass(frozen=True)
class Taste:
    """What makes one beam differ from the next.

    `width` fronts live on, each tries `branches` blanks among the next `window` that fit, longest
    first with a weight of `length`, and behind its leftmost notch as many other notches as it
    `gives` up. `noise` stirs the order of fronts.
    """

    width: int = 1000
    branches: int = 6
    window: int = 16
    length: float = 1.0
    noise: float = 0.05
    gives: int = 1


BRANCHES, WINDOWS, LENGTHS = (4, 6, 10), (8, 12, 16, 24, 40), (0.5, 1.0, 2.0)
"""Tastes that are drawn from: none is best for all blanks."""


def draw_taste(
    rng: random.Random, width: int, gives: Sequence[int], noises: Sequence[float] = ()
) -> Taste:
    """A taste drawn at random, but for its width; the usual noise where there is no choice."""
    branches, window = rng.choice(BRANCHES), rng.choice(WINDOWS)
    length = rng.choice(LENGTHS)
    noise = rng.choice(noises) if noises else Taste.noise
    return Taste(width, branches, window, length, noise, rng.choice(gives))


@dataclass(frozen=True)
class Blanks:
    """Ways to lie, longest blank first.

    `box` is the place of each way among the `boxes`; `area` is that of each kind, and `worth` tells
    which of several fillings is the best.
    """

    boxes: Sequence[Box]
    box: Longs
    length: Ints
    width: Ints
    kind: Ints
    area: Longs
    worth: Longs


@dataclass(frozen=True)
class _Job:
    """The ways to lie, the box of each, the number of each kind, and how the beam goes on."""

    ways: Ways
    box: Longs
    counts: Longs
    manner: Manner


@dataclass(frozen=True)
class _Sums:
    """What the blanks left add up to: the table of each front, of so many blanks."""

    across: Words
    along: Words
    table: Longs
    waiting: int

    @property
    def rows(self) -> bool:
        """Whether lengths were added up as well as widths."""
        return self.waiting <= FEWER


@dataclass(frozen=True)
class Filled:
    """Puts of the blanks that found a place, the area that they leave bare, and their worth."""

    puts: list[Put]
    bare: int
    worth: int


def blanks_of(boxes: Sequence[Box], kinds: int) -> Blanks:
    """The blanks of so many kinds, each of which lies in one of its boxes and is worth its area."""
    length, width, kind = (
        np.array([getattr(box, name) for box in boxes], np.int32)
        for name in ("length", "width", "kind")
    )
    turned = np.array([box.turned for box in boxes])
    area = np.zeros(kinds, np.int64)
    area[kind] = length.astype(np.int64) * width
    longest = np.zeros(kinds, np.int32)
    np.maximum.at(longest, kind, length)
    order = np.lexsort((turned, kind, -longest[kind]))
    return Blanks(boxes, order, length[order], width[order], kind[order], area, area)


def lay_all(
    blanks: Blanks,
    counts: Sequence[int],
    rooms: Sequence[Room],
    seed: int,
    taste: Taste,
    first: Sequence[Put] = (),
    until: Until = FOREVER,
) -> list[Put] | None:
    """Put all blanks into the rooms, one room after the other, or None where the beam finds no way.

    `counts` are the numbers of each kind, at most 255. The puts `first`, taken from an earlier
    answer for the same blanks, are laid again before anything is tried; one that shorter rooms
    leave no such place goes where least is given up.
    Equal seeds give equal answers; among complete layouts the one that ends earliest is returned.
    """
    rng = np.random.default_rng(seed)
    job = _job(blanks, counts, rooms, rng, taste)
    if job is None or job.manner.budget < 0:
        return None
    budget = job.manner.budget
    way_of = {int(box): way for way, box in enumerate(job.box)}
    forced = [way_of[put[3]] for put in first]
    total = sum(counts)
    fronts, other, close, rounds = _memory(job, total, rooms[0])
    number = 1
    for turn in range(total):
        if until.over():
            return None
        must, waiting = forced[turn] if turn < len(forced) else -1, total - turn
        sums = _add_up(job, _first(fronts, number), waiting) if waiting <= FEW else None
        if sums is not None:
            fronts.lost[:number][_must_lose(job, _first(fronts, number), sums) > budget] = LOST
        many = look(job.ways, job.manner, fronts, number, must, rng, close)
        if sums is not None:
            # the sums hold what was just laid as well: they tell of less loss at most
            table = sums.table[close.offers.front[close.picked[:many]]]
            loss = _must_lose(job, _first(close.grown, many), replace(sums, table=table))
            np.maximum(close.lost[:many], loss, out=close.lost[:many])
        if must >= 0:
            close.lost[:many][~_laid_again(close, many, first[turn])] = LOST
        number = keep(job.manner, many, rng, close, other, rounds, turn)
        if not number:
            return None
        fronts, other = other, fronts
    there = np.arange(SEGMENTS) < fronts.segments[:number, None]
    last = np.where(there, fronts.ends[:number], 0).max(axis=1)
    row = int(np.lexsort((last, fronts.room[:number]))[0])
    return _puts(job, rounds, total, row)


def _laid_again(close: Close, many: int, put: Put) -> npt.NDArray[np.bool_]:
    """Which of so many looked at lie as a put does; where none does those that give up least."""
    room, x, y, _ = put
    there = (close.grown.room[:many] == room) & (close.x[:many] == x) & (close.y[:many] == y)
    given = close.offers.given[close.picked[:many]]
    least: npt.NDArray[np.bool_] = given == given.min(initial=SEGMENTS)
    return there if there.any() else least


def fill(
    blanks: Blanks,
    counts: Sequence[int],
    rooms: Sequence[Room],
    seed: int,
    taste: Taste,
    most_bare: int,
) -> Filled | None:
    """Fill rooms, one after the other, with what is worth most of blanks that need not all lie.

    None where the beam finds no way to leave bare `most_bare` or less. What must be lost is not
    added up: in equal time more beams find more. Equal seeds give equal answers.
    """
    rng = np.random.default_rng(seed)
    job = _job(blanks, counts, rooms, rng, taste, most_bare)
    if job is None:
        return None
    fronts, other, close, rounds = _memory(job, sum(counts), rooms[0])
    worth, turns, row = fill_up(job.ways, job.manner, fronts, other, rng, close, rounds)
    puts = _puts(job, rounds, turns, row)
    laid = sum(int(blanks.area[blanks.boxes[b].kind]) for *_, b in puts)
    bare = sum(room.length * room.width for room in rooms) - laid
    return Filled(puts, bare, worth) if bare <= most_bare else None


def _puts(job: _Job, rounds: Rounds, turns: int, row: int) -> list[Put]:
    """What a front has laid after so many rounds, in the order it was laid."""
    puts: list[Put] = []
    for turn in reversed(range(turns)):
        room, x, y, way, parent = (
            int(field[turn, row])
            for field in (rounds.room, rounds.x, rounds.y, rounds.way, rounds.parent)
        )
        puts.append((room, x, y, int(job.box[way])))
        row = parent
    return puts[::-1]


def _sides(length: Ints, width: Ints, kind: Ints, kinds: int) -> Ints:
    """(2, kinds, 2) the least and the largest side of each kind along a room and across it."""
    sides = np.full((2, kinds, 2), FAR, np.int32)
    sides[:, :, 1] = 0
    for least_most, values in zip(sides, (length, width), strict=True):
        np.minimum.at(least_most[:, 0], kind, values)
        np.maximum.at(least_most[:, 1], kind, values)
    return sides


def _job(
    blanks: Blanks,
    counts: Sequence[int],
    rooms: Sequence[Room],
    rng: np.random.Generator,
    taste: Taste,
    most_bare: int | None = None,
) -> _Job | None:
    """A beam for the kinds of which there are some; all must lie, but for `most_bare` a number."""
    if not rooms or not sum(counts):
        return None
    number = np.array(counts)
    there = number > 0
    which = there[blanks.kind] & _fit(blanks, rooms)
    # kinds that find no place would only be passed over, again and again
    fitting = np.zeros_like(there)
    fitting[blanks.kind[which]] = True
    if (most_bare is None and (fitting != there).any()) or not fitting.any():
        return None
    length, width = blanks.length[which], blanks.width[which]
    kind = (np.cumsum(fitting, dtype=np.int32) - 1)[blanks.kind[which]]
    kinds = int(fitting.sum())
    sides = _sides(length, width, kind, kinds)
    budget = most_bare
    if budget is None:
        budget = sum(r.length * r.width for r in rooms) - int(blanks.area @ number)
    wide, long = max(r.width for r in rooms), max(r.length for r in rooms)
    liked = rng.uniform(0.85, 1.15, len(length)) * length / int(length.max()) * taste.length
    spoil = np.arange(wide + 1) - np.array(fillable(width.tolist(), wide))
    ways = Ways(
        length,
        width,
        kind,
        liked,
        DISLIKE / width,
        spoil.astype(np.int32),
        blanks.worth[fitting][kind],
        sides[1, :, 0].copy(),
        sides[0, :, 0].copy(),
        sides[0],
        sides[1],
        np.array([r.length for r in rooms], np.int32),
        np.array([r.width for r in rooms], np.int32),
        long // MOST_CELLS + 1,
        wide // MOST_CELLS + 1,
    )
    sign = rng.integers(1, 1 << 62, kinds, dtype=np.int64)
    manner = Manner(
        taste.width,
        taste.branches,
        taste.window,
        taste.gives,
        taste.noise,
        int(budget),
        most_bare is None,
        sign,
    )
    return _Job(ways, blanks.box[which], number[fitting], manner)


def _fit(blanks: Blanks, rooms: Sequence[Room]) -> npt.NDArray[np.bool_]:
    """Whether each way goes into any of the rooms."""
    fit = np.zeros(len(blanks.box), np.bool_)
    for room in set(rooms):
        fit |= (blanks.width <= room.width) & (blanks.length <= room.length)
    return fit


def _empty(rows: int, kinds: int) -> Fronts:
    """Room for so many fronts."""
    return Fronts(
        np.empty((rows, SEGMENTS), np.int32),
        np.empty((rows, SEGMENTS), np.int32),
        np.empty(rows, np.int32),
        np.empty((rows, kinds), np.uint8),
        np.empty(rows, np.int32),
        np.empty(rows, np.int64),
        np.empty(rows, np.int64),
        np.empty(rows, np.int64),
    )


def _memory(job: _Job, turns: int, room: Room) -> tuple[Fronts, Fronts, Close, Rounds]:
    """Fronts, the first of which is that of an empty room, and room for more and their rounds."""
    width, branches = job.manner.width, job.manner.branches
    kinds, close = len(job.counts), KEPT * width
    most = width * (branches + job.manner.gives * max(1, branches // 3))
    fronts = _empty(width, kinds)
    fronts.ends[0, 0], fronts.widths[0, 0], fronts.segments[0] = 0, room.width, 1
    fronts.left[0] = job.counts
    fronts.room[0] = fronts.lost[0] = fronts.held[0] = fronts.mark[0] = 0
    offers = Offers(
        np.empty(most, np.int64),
        np.empty(most, np.int32),
        np.empty(most, np.int32),
        np.empty(most, np.int32),
        np.empty(most, np.bool_),
        np.empty(most, np.int64),
    )
    looked_at = Close(
        offers,
        np.empty(most, np.int64),
        _empty(close, kinds),
        np.empty(close, np.int32),
        np.empty(close, np.int32),
        np.empty(close, np.int64),
        np.empty(close, np.int64),
        np.empty(max(most, close), np.float64),
        np.empty(close, np.int64),
        np.empty(1 << (2 * close).bit_length(), np.int64),
    )
    rounds = Rounds(*(np.empty((turns, width), np.int32) for _ in Rounds._fields))
    return fronts, _empty(width, kinds), looked_at, rounds


def _first(fronts: Fronts, number: int) -> Fronts:
    return Fronts._make(field[:number] for field in fronts)


def _add_up(job: _Job, fronts: Fronts, waiting: int) -> _Sums:
    number, ways = len(fronts.segments), job.ways

    def bits(most: int, cell: int) -> Words:
        return np.empty((number, (most // cell + waiting) // 64 + 1), np.uint64)

    across = bits(int(ways.room_width.max()), ways.cell_across)
    along = bits(int(ways.room_length.max()) if waiting <= FEWER else 0, ways.cell_along)
    sums = _Sums(across, along, np.empty(number, np.int64), waiting)
    add_up_left(ways, fronts, np.argsort(fronts.mark), sums.rows, across, along, sums.table)
    return sums


def _must_lose(job: _Job, fronts: Fronts, sums: _Sums) -> Longs:
    loss = np.empty(len(fronts.segments), np.int64)
    must_lose(job.ways, fronts, sums.table, sums.across, sums.along, sums.waiting, sums.rows, loss)
    return loss
