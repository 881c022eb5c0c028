"""Straight blanks in lanes that must end by a given line: thousands of fronts at once.

All fronts of a beam are rows of one table and grow together, one blank a round. The leftmost notch
of a front takes one of the next few blanks that fit it or, where none fits, is given up as far as
its nearer neighbour. What the rooms hold beyond the blanks is known, so a front that has lost more
metal than that is dropped at once; among the others those live on that have lost least for what
they hold. Fronts of the same blanks and the same loss count once, until few blanks are left: then
it counts where they end. Of the last few it is also known what they cannot help losing: any line
along the room meets blanks whose lengths add up to what is still free there, or loses the rest.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from solver.data.until import FOREVER, Until
from solver.nests.lanes import Box, Put, Room, fillable

Ints = npt.NDArray[np.int32]
Longs = npt.NDArray[np.int64]
Floats = npt.NDArray[np.float32]
Flags = npt.NDArray[np.bool_]

FAR = 1 << 28
"""End of a segment that is not there."""

SEGMENTS = 16
"""Most segments of a front; one with more is dropped."""

FEW = 10
"""So many blanks left: what each row along the room must lose is counted."""

MOST_CELLS = 4096
"""Of a row along the room."""

SHAPES = 18
"""So many blanks left: fronts of the same blanks that end elsewhere are kept apart."""

DISLIKE = 4.0
"""Weight of width that no set of widths fills, as a share of the blank's own, against length."""


@dataclass(frozen=True)
class Taste:
    """What makes one beam differ from the next.

    `width` fronts live on, each tries `branches` blanks among the next `window` that fit, longest
    first with a weight of `length`. `noise` stirs the order of fronts.
    """

    width: int = 1000
    branches: int = 6
    window: int = 16
    length: float = 1.0
    noise: float = 0.05


@dataclass(frozen=True)
class _Job:
    """Ways to lie, longest blank first: length, width, kind and index of the box of each."""

    length: Ints
    width: Ints
    kind: Ints
    box: Ints
    area: Longs
    inverse: Floats
    taste: Floats
    spoil: Floats
    rooms: Longs
    room_width: Ints
    kind_area: Longs
    kind_width: Ints
    kind_length: Ints
    kind_sides: tuple[tuple[int, ...], ...]
    sign: Longs


@dataclass(frozen=True)
class _Fronts:
    """Rows of one table: ends and widths of segments, blanks left of each kind, and so on.

    A segment that is not there has width 0 and end FAR. `mark` stands for the set of blanks laid.
    """

    ends: Ints
    widths: Ints
    left: npt.NDArray[np.uint8]
    room: Ints
    lost: Longs
    held: Longs
    mark: Longs

    def rows(self, index: "Longs | Flags") -> "_Fronts":
        return _Fronts(
            self.ends[index],
            self.widths[index],
            self.left[index],
            self.room[index],
            self.lost[index],
            self.held[index],
            self.mark[index],
        )


@dataclass(frozen=True)
class _Round:
    """One blank laid on each front: the front it came from, and the put."""

    parent: Longs
    room: Ints
    x: Ints
    y: Ints
    way: Longs


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
    if job is None:
        return None
    budget = sum(r.length * r.width for r in rooms) - int(job.kind_area @ np.asarray(counts))
    forced = _forced(job, first)
    start = np.full((1, SEGMENTS), FAR, np.int32)
    start[0, 0] = 0
    breadth = np.zeros((1, SEGMENTS), np.int32)
    breadth[0, 0] = rooms[0].width
    nothing = np.zeros(1, np.int64)
    left = np.asarray([counts], dtype=np.uint8)
    fronts = _Fronts(
        start, breadth, left, nothing.astype(np.int32), nothing, nothing, nothing.copy()
    )
    rounds: list[_Round] = []
    for number in range(sum(counts)):
        if budget < 0 or until.over():
            return None
        raised, kept = _raised(job, fronts, budget)
        if not len(kept):
            return None
        must = forced[number] if number < len(forced) else None
        grown = _grown(job, raised, budget, taste, rng, must, sum(counts) - number)
        if grown is None:
            return None
        fronts, laid = grown
        rounds.append(_Round(kept[laid.parent], laid.room, laid.x, laid.y, laid.way))
    last = np.where(fronts.widths > 0, fronts.ends, 0).max(axis=1)
    row = int(np.lexsort((last, fronts.room))[0])
    puts: list[Put] = []
    for laid in reversed(rounds):
        way = int(laid.way[row])
        puts.append((int(laid.room[row]), int(laid.x[row]), int(laid.y[row]), int(job.box[way])))
        row = int(laid.parent[row])
    return puts[::-1]


def _job(
    boxes: Sequence[Box],
    counts: Sequence[int],
    rooms: Sequence[Room],
    rng: np.random.Generator,
    taste: Taste,
) -> _Job | None:
    room = max(r.width for r in rooms)
    longest = max(r.length for r in rooms)
    ways = [
        k
        for k, box in enumerate(boxes)
        if box.width <= room and box.length <= longest and counts[box.kind]
    ]
    if {boxes[k].kind for k in ways} != {kind for kind, n in enumerate(counts) if n}:
        return None
    long_side = [0] * len(counts)
    areas = np.zeros(len(counts), np.int64)
    for box in boxes:
        long_side[box.kind] = max(long_side[box.kind], box.length)
        areas[box.kind] = box.length * box.width
    ways.sort(key=lambda k: (-long_side[boxes[k].kind], boxes[k].kind, boxes[k].turned))
    length = np.array([boxes[k].length for k in ways], np.int32)
    width = np.array([boxes[k].width for k in ways], np.int32)
    kind = np.array([boxes[k].kind for k in ways], np.int32)
    least_width = np.full(len(counts), FAR, np.int32)
    least_length = np.full(len(counts), FAR, np.int32)
    np.minimum.at(least_width, kind, width)
    np.minimum.at(least_length, kind, length)
    liked = rng.uniform(0.85, 1.15, len(ways)) * length / int(length.max()) * taste.length
    spoil = np.arange(room + 1) - np.array(fillable(width.tolist(), room))
    return _Job(
        length,
        width,
        kind,
        np.array(ways, np.int32),
        areas[kind],
        (1.0 / width).astype(np.float32),
        liked.astype(np.float32),
        spoil.astype(np.float32),
        np.array([r.length for r in rooms], np.int64),
        np.array([r.width for r in rooms], np.int32),
        areas,
        least_width,
        least_length,
        tuple(
            tuple(sorted({boxes[k].length for k in ways if boxes[k].kind == kind}))
            for kind in range(len(counts))
        ),
        rng.integers(1, 1 << 62, len(counts), dtype=np.int64),
    )


def _forced(job: _Job, first: Sequence[Put]) -> list[int]:
    way_of = {int(b): k for k, b in enumerate(job.box)}
    return [way_of[put[3]] for put in first]


def _raised(job: _Job, fronts: _Fronts, budget: int) -> tuple[_Fronts, Longs]:
    """Fronts whose leftmost notch holds some blank, and the rows they came from."""
    ends, widths = fronts.ends.copy(), fronts.widths.copy()
    room, lost = fronts.room.copy(), fronts.lost.copy()
    there: Flags = np.asarray(fronts.left > 0)
    narrow = np.where(there, job.kind_width, FAR).min(axis=1)
    short = np.where(there, job.kind_length, FAR).min(axis=1)
    long = np.where(there, job.kind_length, 0).max(axis=1)
    alive = np.ones(len(ends), bool)
    todo = np.arange(len(ends))
    while len(todo):
        row = np.arange(len(todo))
        k = ends[todo].argmin(axis=1)
        x, h = ends[todo, k], widths[todo, k]
        length = job.rooms[room[todo]]
        stuck = (h < narrow[todo]) | (x + short[todo] > length)
        todo, k, x, h, length = todo[stuck], k[stuck], x[stuck], h[stuck], length[stuck]
        if not len(todo):
            break
        row = np.arange(len(todo))
        e, w = ends[todo], widths[todo]
        before = np.where(k > 0, e[row, np.maximum(k - 1, 0)], FAR)
        behind = np.where(k + 1 < SEGMENTS, e[row, np.minimum(k + 1, SEGMENTS - 1)], FAR)
        level = np.minimum(np.minimum(before, behind), length).astype(np.int32)
        lost[todo] += (level - x).astype(np.int64) * h
        e[row, k] = level
        e, w = _joined(e, w)
        full = (e[:, 0] >= length) & (w[:, 1] == 0)
        over = full & (room[todo] + 1 >= len(job.rooms))
        following = full & ~over
        e[following, 0] = 0
        room[todo[following]] += 1
        w[following, 0] = job.room_width[room[todo[following]]]
        ends[todo], widths[todo] = e, w
        alive[todo[over | (lost[todo] > budget)]] = False
        todo = todo[alive[todo]]
    # the longest blank that is left must still find the length, in this room or a later one
    alive &= (ends.min(axis=1) + long <= job.rooms[room]) | (room + 1 < len(job.rooms))
    kept = np.nonzero(alive)[0]
    whole = _Fronts(ends, widths, fronts.left, room, lost, fronts.held, fronts.mark)
    return (whole if len(kept) == len(ends) else whole.rows(kept)), kept


def _grown(
    job: _Job,
    fronts: _Fronts,
    budget: int,
    taste: Taste,
    rng: np.random.Generator,
    must: int | None,
    waiting: int,
) -> tuple[_Fronts, _Round] | None:
    """The best fronts with one more blank each, of which `waiting` are left before it."""
    row = np.arange(len(fronts.ends))
    k = fronts.ends.argmin(axis=1)
    x, h = fronts.ends[row, k], fronts.widths[row, k]
    length = job.rooms[fronts.room].astype(np.int32)
    before = np.where(k > 0, fronts.ends[row, np.maximum(k - 1, 0)], length)
    behind = np.where(k + 1 < SEGMENTS, fronts.ends[row, np.minimum(k + 1, SEGMENTS - 1)], length)
    behind = np.minimum(behind, length)
    parent, way = _choices(job, fronts, x, h, length, taste, must)
    x, h, before, behind = x[parent], h[parent], before[parent], behind[parent]
    stop, wide = x + job.length[way], job.width[way]
    rest = h - wide
    # against the neighbour whose end is nearer; the rest is lost up to the other one's end
    low = np.abs(stop - before) <= np.abs(stop - behind)
    open_to = np.minimum(job.length[way], np.maximum(np.where(low, behind, before) - x, 1))
    cost = fronts.lost[parent] + job.spoil[rest] * open_to
    held = fronts.held[parent] + job.area[way]
    order = np.nonzero(cost <= budget)[0]
    if not len(order):
        return None
    guide = cost[order] / held[order] * (1 + taste.noise * rng.random(len(order)))
    order = order[np.argsort(guide, kind="stable")[: 3 * taste.width]]
    mark = fronts.mark[parent[order]] + job.sign[job.kind[way[order]]]
    if 1 < waiting <= FEW + 1:
        some, at = parent[order], k[parent[order]]
        e, w = fronts.ends[some], fronts.widths[some].copy()
        w[np.arange(len(order)), at] = rest[order]
        still = fronts.left[some].copy()
        still[np.arange(len(order)), job.kind[way[order]]] -= 1
        e, w = np.column_stack((e, stop[order])), np.column_stack((w, wide[order]))
        must_lose = fronts.lost[some] + unfillable(job.kind_sides, e, w, still, mark, length[some])
        must_lose[fronts.room[some] + 1 < len(job.rooms)] = 0
        full = np.maximum(cost[order], must_lose)
        order, mark, full = order[full <= budget], mark[full <= budget], full[full <= budget]
        if not len(order):
            return None
        by = full / held[order] * (1 + taste.noise * rng.random(len(order)))
        by = np.argsort(by, kind="stable")
        order, mark = order[by], mark[by]
    alike = mark ^ (cost[order].astype(np.int64) * 1000003)
    if waiting <= SHAPES:
        some = parent[order]
        where = (fronts.ends[some].astype(np.int64) ** 2 * fronts.widths[some]).sum(axis=1)
        alike ^= (where * 31 + k[some] * 91 + low[order] * 17) * 99991
    first = np.sort(np.unique(alike, return_index=True)[1])[: taste.width]
    order, mark = order[first], mark[first]
    parent, way, k = parent[order], way[order], k[parent[order]]
    x, stop, wide, rest, low = x[order], stop[order], wide[order], rest[order], low[order]
    e, w = fronts.ends[parent], fronts.widths[parent]
    cells = np.arange(SEGMENTS + 1)
    source = np.where(cells <= k[:, None], cells, cells - 1)
    pad = np.full((len(order), 1), FAR, np.int32)
    new_e = np.take_along_axis(np.hstack((e, pad)), source, 1)
    new_w = np.take_along_axis(np.hstack((w, np.zeros_like(pad))), source, 1)
    row = np.arange(len(order))
    y = np.where(cells[:-1] < k[:, None], w, 0).sum(axis=1) + np.where(low, 0, rest)
    new_e[row, k], new_w[row, k] = np.where(low, stop, x), np.where(low, wide, rest)
    new_e[row, k + 1], new_w[row, k + 1] = np.where(low, x, stop), np.where(low, rest, wide)
    new_e, new_w = _joined(new_e, new_w)
    left = fronts.left[parent]
    left[row, job.kind[way]] -= 1
    room = fronts.room[parent]
    grown = _Fronts(
        np.ascontiguousarray(new_e[:, :SEGMENTS]),
        np.ascontiguousarray(new_w[:, :SEGMENTS]),
        left,
        room,
        fronts.lost[parent],
        held[order],
        mark,
    )
    laid = _Round(parent, room, x, y.astype(np.int32), way)
    fits = new_w[:, SEGMENTS] == 0
    if fits.all():
        return grown, laid
    if not fits.any():
        return None
    laid = _Round(parent[fits], room[fits], x[fits], laid.y[fits], way[fits])
    return grown.rows(fits), laid


def unfillable(
    sides: Sequence[tuple[int, ...]],
    ends: Ints,
    widths: Ints,
    left: npt.NDArray[np.uint8],
    mark: Longs,
    length: Ints,
) -> Longs:
    """Area that each front must lose before the end of its room, whatever is laid there.

    `sides` of each kind may lie along the room; `left` of each kind are to be laid.

    A line along the room meets some of the blanks that are left, one behind the other: what is
    free on it beyond the most that such lengths add up to is lost. Equal `mark`, equal blanks left.
    """
    free = np.where(widths > 0, np.maximum(length[:, None] - ends, 0), 0)
    # coarse cells where the unit is fine: sums may then be off by half a cell for each blank
    cell = int(free.max()) // MOST_CELLS + 1
    off = int(left[0].sum()) * cell / 2 if cell > 1 else 0
    into = ((free + off) / cell).astype(np.int64)
    most = int(into.max())
    _, first, which = np.unique(mark, return_index=True, return_inverse=True)
    everything = (1 << (most + 1)) - 1
    size = most // 8 + 1
    sums = bytearray()
    for row in left[first]:
        reach = 1
        for kind in np.nonzero(row)[0].tolist():
            for _ in range(int(row[kind])):
                longer = reach
                for side in sides[kind]:
                    longer |= reach << round(side / cell)
                reach = longer & everything
        sums += reach.to_bytes(size, "little")
    bits = np.unpackbits(
        np.frombuffer(bytes(sums), np.uint8).reshape(len(first), size), axis=1, bitorder="little"
    )
    filled = np.maximum.accumulate(bits * np.arange(bits.shape[1], dtype=np.int16), axis=1)
    lost = np.maximum(free - filled[which[:, None], into] * np.int64(cell) - off, 0) * widths
    return np.asarray(lost.sum(axis=1)).astype(np.int64)


def _choices(
    job: _Job,
    fronts: _Fronts,
    x: Ints,
    h: Ints,
    length: Ints,
    taste: Taste,
    must: int | None,
) -> tuple[Longs, Longs]:
    """(front, way) of the blanks to try, the best few of each front."""
    there: Flags = np.asarray(fronts.left > 0)
    used = np.nonzero(np.asarray(there.any(axis=0))[job.kind])[0]
    low, high = int(used[0]), int(used[-1]) + 1
    if must is not None:
        low, high = must, must + 1
    fits = there[:, job.kind[low:high]]
    fits &= job.width[low:high] <= h[:, None]
    fits &= x[:, None] + job.length[low:high] <= length[:, None]
    if must is None and taste.window < high - low:
        fits &= np.cumsum(fits, axis=1, dtype=np.int32) <= taste.window
        some = np.nonzero(fits.any(axis=0))[0]
        high = low + (int(some[-1]) + 1 if len(some) else 1)
        fits = fits[:, : high - low]
    rest = h[:, None] - job.width[low:high]
    score = np.float32(DISLIKE) * job.spoil[np.maximum(rest, 0)] * job.inverse[low:high]
    score -= job.taste[low:high]
    score[~fits] = np.inf
    few = min(taste.branches, high - low)
    if few < high - low:
        best = np.argpartition(score, few - 1, axis=1)[:, :few]
    else:
        best = np.broadcast_to(np.arange(high - low), score.shape)
    parent, column = np.nonzero(np.isfinite(np.take_along_axis(score, best, 1)))
    return parent, best[parent, column] + low


def _joined(ends: Ints, widths: Ints) -> tuple[Ints, Ints]:
    """Fronts with segments that end level joined, and those of no width left out."""
    real: Flags = np.asarray(widths > 0)
    ends[~real] = FAR
    ragged = (~real[:, :-1] & real[:, 1:]).any(axis=1)
    level = ((ends[:, 1:] == ends[:, :-1]) & real[:, 1:] & real[:, :-1]).any(axis=1)
    rows = np.nonzero(ragged | level)[0]
    if not len(rows):
        return ends, widths
    e, w = ends[rows], widths[rows]
    order = np.argsort(w == 0, axis=1, kind="stable")
    e, w = np.take_along_axis(e, order, 1), np.take_along_axis(w, order, 1)
    new = np.ones(e.shape, bool)
    new[:, 1:] = e[:, 1:] != e[:, :-1]
    count = e.shape[1]
    cell = (np.arange(len(rows))[:, None] * count + np.cumsum(new, axis=1) - 1).ravel()
    sums = np.bincount(cell, weights=w.ravel(), minlength=len(rows) * count)
    widths[rows] = sums.reshape(len(rows), count).astype(np.int32)
    joined = np.full(len(rows) * count, FAR, np.int32)
    joined[cell] = e.ravel()
    ends[rows] = np.where(widths[rows] > 0, joined.reshape(len(rows), count), FAR)
    return ends, widths
