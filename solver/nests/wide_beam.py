"""Straight blanks in lanes that must end by a given line: thousands of fronts at once.

All fronts of a beam grow together, one blank a round (``fronts``). What the rooms hold beyond the
blanks is known, so a front that has lost more metal than that is dropped at once; among the others
those live on that have lost least for what they hold. When few blanks are left, what a front cannot
help losing counts as lost. Where rooms are to be filled from more blanks than they hold, a spare
room behind them takes the first that finds no place, and its front is done.
"""

import random
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from solver.data.until import FOREVER, Until
from solver.nests.fronts import (
    FAR,
    SEGMENTS,
    Fronts,
    Offers,
    Ways,
    add_up_left,
    must_lose,
    offer,
    take,
)
from solver.nests.lanes import Box, Put, Room, fillable

Longs = npt.NDArray[np.int64]
Words = npt.NDArray[np.uint64]

FEW, FEWER = 30, 20
"""So many blanks left: what lines across, and lines along the room too, must lose is counted."""

MOST_CELLS = 8192
"""Along or across a room, for sums of lengths: coarser where the unit is fine."""

KEPT = 3
"""Times the width of a beam: offers that are looked at closely."""


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
class _Job:
    """The ways to lie, the box of each, a number for each kind, and what may be lost."""

    ways: Ways
    box: Sequence[int]
    sign: Longs
    budget: int


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


class _Round(NamedTuple):
    """One blank laid on each front: the front it came from, and the put."""

    parent: Longs
    room: npt.NDArray[np.int32]
    x: npt.NDArray[np.int32]
    y: npt.NDArray[np.int32]
    way: npt.NDArray[np.int32]


def lay_all(
    boxes: Sequence[Box],
    counts: Sequence[int],
    rooms: Sequence[Room],
    seed: int,
    taste: Taste,
    first: Sequence[Put] = (),
    until: Until = FOREVER,
) -> list[Put] | None:
    """Put all blanks into the rooms, one room after the other, or None where the beam finds no way.

    `counts` are the numbers of each kind, at most 255. The puts `first`, taken from an earlier
    answer for the same blanks, are laid again before anything is tried.
    Equal seeds give equal answers; among complete layouts the one that ends earliest is returned.
    """
    if not rooms or not sum(counts):
        return None
    rng = np.random.default_rng(seed)
    job = _job(boxes, counts, rooms, rng, taste)
    if job is None or job.budget < 0:
        return None
    way_of = {box: way for way, box in enumerate(job.box)}
    forced = [way_of[put[3]] for put in first]
    fronts = _first_front(rooms[0], counts)
    offers = _room_for_offers(taste)
    rounds: list[_Round] = []
    for number in range(sum(counts)):
        if until.over():
            return None
        must = forced[number] if number < len(forced) else None
        grown = _grown(job, fronts, taste, rng, must, sum(counts) - number, offers)
        if grown is None:
            return None
        fronts, laid = grown
        rounds.append(laid)
    last = np.where(fronts.widths > 0, fronts.ends, 0).max(axis=1)
    return _puts(job, rounds, int(np.lexsort((last, fronts.room))[0]))


@dataclass(frozen=True)
class Filled:
    """Puts of the blanks that found a place, and the area of the rooms that they leave bare."""

    puts: list[Put]
    bare: int


def fill(
    boxes: Sequence[Box],
    counts: Sequence[int],
    rooms: Sequence[Room],
    seed: int,
    taste: Taste,
    most_bare: int,
    until: Until = FOREVER,
) -> Filled | None:
    """Fill rooms, one after the other, from blanks that need not all find a place.

    None where the beam finds no way to leave bare `most_bare` or less. Equal seeds give equal
    answers.
    """
    if not rooms or not sum(counts):
        return None
    rng = np.random.default_rng(seed)
    job = _job(boxes, counts, rooms, rng, taste, spare=True)
    if job is None:
        return None
    job = replace(job, budget=most_bare)
    space = sum(room.length * room.width for room in rooms)
    fronts, offers = _first_front(rooms[0], counts), _room_for_offers(taste)
    rounds: list[_Round] = []
    best: Filled | None = None
    many = FEW + 1  # what must be lost is not added up: in equal time more beams find more
    for _ in range(sum(counts)):
        grown = None if until.over() else _grown(job, fronts, taste, rng, None, many, offers)
        if grown is None:
            return best
        grown_fronts, laid = grown
        done = laid.room == len(rooms)
        if done.any():
            ended = laid.parent[done]
            row = int(ended[np.argmax(fronts.held[ended])])
            bare = space - int(fronts.held[row])
            if best is None or bare < best.bare:
                best = Filled(_puts(job, rounds, row), bare)
            lives = np.nonzero(~done)[0]
            if not len(lives):
                return best
            grown_fronts = _rows(grown_fronts, lives)
            laid = _Round._make(field[lives] for field in laid)
        fronts = grown_fronts
        rounds.append(laid)
    return Filled(_puts(job, rounds, 0), space - int(fronts.held[0]))


def _first_front(room: Room, counts: Sequence[int]) -> Fronts:
    fronts = _empty(1, len(counts))
    fronts.ends[0, 0], fronts.widths[0, 0], fronts.segments[0] = 0, room.width, 1
    fronts.left[0] = counts
    return fronts


def _puts(job: _Job, rounds: Sequence[_Round], row: int) -> list[Put]:
    """What the front in that row of the last round has laid, in the order it was laid."""
    puts: list[Put] = []
    for laid in reversed(rounds):
        box = job.box[int(laid.way[row])]
        puts.append((int(laid.room[row]), int(laid.x[row]), int(laid.y[row]), box))
        row = int(laid.parent[row])
    return puts[::-1]


def _job(
    boxes: Sequence[Box],
    counts: Sequence[int],
    rooms: Sequence[Room],
    rng: np.random.Generator,
    taste: Taste,
    *,
    spare: bool = False,
) -> _Job | None:
    wide = max(r.width for r in rooms)
    long = max(r.length for r in rooms)
    longest = max(max(box.length, box.width) for box in boxes)
    # the spare room is so wide that no blank laid in it counts as a loss
    all_rooms = [*rooms, Room(longest, wide + longest + 1)] if spare else rooms
    fits = [
        k
        for k, box in enumerate(boxes)
        if counts[box.kind] and (spare or (box.width <= wide and box.length <= long))
    ]
    if {boxes[k].kind for k in fits} != {kind for kind, n in enumerate(counts) if n}:
        return None
    long_side = [0] * len(counts)
    area = np.zeros(len(counts), np.int64)
    for box in boxes:
        long_side[box.kind] = max(long_side[box.kind], box.length)
        area[box.kind] = box.length * box.width
    fits.sort(key=lambda k: (-long_side[boxes[k].kind], boxes[k].kind, boxes[k].turned))
    length = np.array([boxes[k].length for k in fits], np.int32)
    width = np.array([boxes[k].width for k in fits], np.int32)
    kind = np.array([boxes[k].kind for k in fits], np.int32)
    liked = rng.uniform(0.85, 1.15, len(fits)) * length / int(length.max()) * taste.length
    ends = np.full((2, len(counts), 2), FAR, np.int32)  # least and largest side along and across
    ends[:, :, 1] = 0
    for sides, values in zip(ends, (length, width), strict=True):
        np.minimum.at(sides[:, 0], kind, values)
        np.maximum.at(sides[:, 1], kind, values)
    spoil = np.zeros(max(r.width for r in all_rooms) + 1, np.int32)
    spoil[: wide + 1] = np.arange(wide + 1) - np.array(fillable(width.tolist(), wide))
    ways = Ways(
        length,
        width,
        kind,
        liked,
        spoil,
        area[kind],
        ends[1, :, 0].copy(),
        ends[0, :, 0].copy(),
        ends[0],
        ends[1],
        np.array([r.length for r in all_rooms], np.int32),
        np.array([r.width for r in all_rooms], np.int32),
        long // MOST_CELLS + 1,
        wide // MOST_CELLS + 1,
    )
    budget = sum(r.length * r.width for r in rooms) - int(area @ np.asarray(counts))
    sign = rng.integers(1, 1 << 62, len(counts), dtype=np.int64)
    return _Job(ways, fits, sign, budget)


def _empty(rows: int, kinds: int) -> Fronts:
    """Room for so many fronts; segments that are not there have width 0 and end FAR."""
    return Fronts(
        np.full((rows, SEGMENTS), FAR, np.int32),
        np.zeros((rows, SEGMENTS), np.int32),
        np.zeros(rows, np.int32),
        np.zeros((rows, kinds), np.uint8),
        np.zeros(rows, np.int32),
        np.zeros(rows, np.int64),
        np.zeros(rows, np.int64),
        np.zeros(rows, np.int64),
    )


def _room_for_offers(taste: Taste) -> Offers:
    most = taste.width * (taste.branches + taste.gives * max(1, taste.branches // 3))
    return Offers(
        np.empty(most, np.int64),
        np.empty(most, np.int32),
        np.empty(most, np.int32),
        np.empty(most, np.int32),
        np.empty(most, np.bool_),
        np.empty(most, np.int64),
    )


def _grown(
    job: _Job,
    fronts: Fronts,
    taste: Taste,
    rng: np.random.Generator,
    must: int | None,
    waiting: int,
    offers: Offers,
) -> tuple[Fronts, _Round] | None:
    """The best fronts with one more blank each, of which `waiting` are left before it."""
    sums: _Sums | None = None
    lives = np.arange(len(fronts.segments))
    if waiting <= FEW and must is None:
        sums = _add_up(job, fronts, waiting)
        lives = np.nonzero(_must_lose(job, fronts, sums) <= job.budget)[0]
        if len(lives) < len(fronts.segments):
            fronts = _rows(fronts, lives)
    gives = taste.gives if must is None else 0
    way = -1 if must is None else must
    number = offer(job.ways, fronts, job.budget, taste.branches, taste.window, gives, way, offers)
    if not number:
        return None
    offers = Offers._make(field[:number] for field in offers)
    held = fronts.held[offers.front] + job.ways.area[offers.way]
    picked = np.arange(number)
    if number > KEPT * taste.width:
        guide = offers.cost / held * (1 + taste.noise * rng.random(number))
        picked = np.argpartition(guide, KEPT * taste.width - 1)[: KEPT * taste.width]
    parent, way_of = offers.front[picked], offers.way[picked]
    grown = _empty(len(picked), fronts.left.shape[1])
    grown.held[:] = held[picked]
    grown.mark[:] = fronts.mark[parent] + job.sign[job.ways.kind[way_of]]
    x, y = np.empty(len(picked), np.int32), np.empty(len(picked), np.int32)
    moment = np.empty(len(picked), np.int64)
    take(job.ways, fronts, offers, picked, grown, x, y, moment)
    lost = np.maximum(offers.cost[picked], grown.lost)
    if sums is not None:
        # the sums hold what was just laid as well: they tell of less loss at most
        sums = replace(sums, table=sums.table[lives][parent])
        lost = np.maximum(lost, _must_lose(job, grown, sums))
    order = np.nonzero(lost <= job.budget)[0]
    guide = lost[order] / grown.held[order] * (1 + taste.noise * rng.random(len(order)))
    order = order[np.argsort(guide, kind="stable")]
    alike = grown.mark[order] ^ (grown.lost[order] * 1000003) ^ (moment[order] * 99991)
    order = order[np.sort(np.unique(alike, return_index=True)[1])[: taste.width]]
    if not len(order):
        return None
    laid = _Round(lives[parent[order]], grown.room[order], x[order], y[order], way_of[order])
    return _rows(grown, order), laid


def _rows(fronts: Fronts, index: Longs) -> Fronts:
    return Fronts._make(field[index] for field in fronts)


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
