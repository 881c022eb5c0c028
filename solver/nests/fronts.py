"""Fronts of straight blanks, many at once: how they take one blank more, compiled.

A front is the line that the blanks laid so far end at: segments by rising y, each with its end and
its width. Its leftmost notch takes a blank, or is given up as far as its nearer neighbour. What a
front cannot help losing, whatever is laid on it, is known from sums of the blanks that are left:
any line across the room meets, in each gap of the front, blanks whose widths add up to the gap or
loses the rest, and any line along it blanks whose lengths do.
"""

from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from solver.nests.compiled import compiled, compiled_within
from solver.nests.sums import add_up, most_within

Ints = npt.NDArray[np.int32]
Longs = npt.NDArray[np.int64]
Floats = npt.NDArray[np.float64]
Counts = npt.NDArray[np.uint8]
Bools = npt.NDArray[np.bool_]
Words = npt.NDArray[np.uint64]

SEGMENTS = 16
"""Most segments of a front; one with more is dropped."""

FAR = 1 << 28
"""Longer than any room."""

LOST = 1 << 60
"""Loss of a front that is to be dropped."""

DISLIKE = 4.0
"""Weight of width that no set of widths fills, as a share of the blank's own, against length."""


class Ways(NamedTuple):
    """Ways to lie, longest blank first, and what is known of each kind of blank and each room.

    `spoil` is what no sum of widths fills of any width, `along` and `across` (kinds, 2) the sides
    that may lie along and across a room. Cells are for sums (``sums``).
    """

    length: Ints
    width: Ints
    kind: Ints
    liked: Floats
    dislike: Floats
    spoil: Ints
    worth: Longs
    narrowest: Ints
    shortest: Ints
    along: Ints
    across: Ints
    room_length: Ints
    room_width: Ints
    cell_along: int
    cell_across: int


class Fronts(NamedTuple):
    """(n, SEGMENTS) ends and widths, so many `segments` of which count; (n, kinds) blanks left.

    `lost` is the area given up behind the front, `held` the worth of the blanks laid; `mark` stands
    for the set of these.
    """

    ends: Ints
    widths: Ints
    segments: Ints
    left: Counts
    room: Ints
    lost: Longs
    held: Longs
    mark: Longs


class Offers(NamedTuple):
    """A way to lie offered to a front, in a room, after so many notches were given up.

    `low` where it lies at the notch's lower side; `cost` is the loss with it, as far as it is seen.
    """

    front: Longs
    way: Ints
    room: Ints
    given: Ints
    low: npt.NDArray[np.bool_]
    cost: Longs


@compiled_within
def _copy(fronts: Fronts, i: int, ends: Ints, widths: Ints) -> int:
    """The segments of one front laid out to be worked on; their number."""
    # plain loops here and below: slices of arrays take seconds to compile
    for k in range(fronts.segments[i]):
        ends[k], widths[k] = fronts.ends[i, k], fronts.widths[i, k]
    return int(fronts.segments[i])


@compiled_within
def _lowest(ends: Ints, count: int) -> int:
    best = 0
    for k in range(1, count):
        if ends[k] < ends[best]:
            best = k
    return best


@compiled_within
def _without(ends: Ints, widths: Ints, count: int, k: int) -> int:
    """Segment k joined to the one before it; the number that is left."""
    widths[k - 1] += widths[k]
    for j in range(k, count - 1):
        ends[j], widths[j] = ends[j + 1], widths[j + 1]
    return count - 1


@compiled_within
def _joined(ends: Ints, widths: Ints, count: int, k: int) -> int:
    """Segment k joined to neighbours that end level with it; the number that is left."""
    if k + 1 < count and ends[k + 1] == ends[k]:
        count = _without(ends, widths, count, k + 1)
    if k > 0 and ends[k - 1] == ends[k]:
        count = _without(ends, widths, count, k)
    return count


@compiled_within
def _beside(ends: Ints, count: int, k: int, length: int) -> tuple[int, int]:
    """Ends of the segments before and behind a notch, or that of the room."""
    before = min(ends[k - 1], length) if k > 0 else length
    behind = min(ends[k + 1], length) if k + 1 < count else length
    return before, behind


@compiled_within
def _give_up(ends: Ints, widths: Ints, count: int, k: int, length: int) -> tuple[int, int]:
    """Notch k raised to its nearer neighbour: the number of segments, and the area lost."""
    before, behind = _beside(ends, count, k, length)
    level = min(before, behind)
    lost = np.int64(level - ends[k]) * widths[k]
    ends[k] = level
    return _joined(ends, widths, count, k), lost


@compiled_within
def _best_ways(
    ways: Ways,
    there: Bools,
    low: int,
    high: int,
    free: int,
    notch: int,
    few: int,
    near: Longs,
    scores: Floats,
    chosen: Longs,
) -> int:
    """The best few of the first ways from `low` that fit a notch, best first; their number."""
    # added up without branches: nobody can foretell which ways fit
    fit = 0
    for way in range(low, high):
        near[fit] = way
        fit += there[way] & (ways.width[way] <= notch) & (ways.length[way] <= free)
        if fit == len(scores):
            break
    for at in range(fit):
        way = near[at]
        rest = ways.spoil[notch - ways.width[way]]
        scores[at] = rest * ways.dislike[way] - ways.liked[way]
    found = min(few, fit)
    for k in range(found):
        best = 0
        for at in range(1, fit):
            best = at if scores[at] < scores[best] else best
        chosen[k] = near[best]
        scores[best] = np.inf
    return found


@compiled_within
def offer(
    ways: Ways,
    fronts: Fronts,
    number: int,
    budget: int,
    branches: int,
    window: int,
    gives: int,
    must: int,
    all_lie: bool,
    offers: Offers,
) -> int:
    """Offers to so many fronts, the best few blanks of each among the next `window` that fit.

    A notch that holds one may be given up too, `gives` times. Where a way `must` be taken (not
    -1) only that is offered. A front is given up where all blanks must lie and the longest cannot.
    Returns the number of offers that lose no more than the budget.
    """
    most, made = len(offers.front), 0
    ends, widths = np.empty(SEGMENTS, np.int32), np.empty(SEGMENTS, np.int32)
    near, scores = np.empty(window + 1, np.int64), np.empty(window)
    chosen, there = np.empty(branches, np.int64), np.empty(len(ways.kind), np.bool_)
    low_way, high_way = (must, must + 1) if must >= 0 else (0, len(ways.kind))
    for i in range(number):
        if fronts.lost[i] > budget:
            continue
        count = _copy(fronts, i, ends, widths)
        room, lost = fronts.room[i], fronts.lost[i]
        narrow, short, long = FAR, FAR, 0
        for kind in range(fronts.left.shape[1]):
            some = fronts.left[i, kind] != 0
            narrow = min(narrow, ways.narrowest[kind] if some else FAR)
            short = min(short, ways.shortest[kind] if some else FAR)
            long = max(long, ways.shortest[kind] if some and all_lie else 0)
        for way in range(low_way, high_way):
            there[way] = fronts.left[i, ways.kind[way]] != 0
        given = used = 0
        while True:
            length = ways.room_length[room]
            k = _lowest(ends, count)
            x, notch = ends[k], widths[k]
            last = room + 1 == len(ways.room_length)
            if x >= length and count == 1 and not last:
                room += 1
                ends[0], widths[0] = 0, ways.room_width[room]
                continue
            # the longest blank that is left must still find the length, here or in a later room
            if last and x + long > length:
                break
            if notch >= narrow and x + short <= length:
                few, free = branches if used == 0 else max(1, branches // 3), length - x
                found = _best_ways(
                    ways, there, low_way, high_way, free, notch, few, near, scores, chosen
                )
                before, behind = _beside(ends, count, k, length)
                for at in range(found):
                    way = chosen[at]
                    stop = x + ways.length[way]
                    # against the neighbour whose end is nearer; the rest is lost up to the other's
                    low = abs(stop - before) <= abs(stop - behind)
                    open_to = max((behind if low else before) - x, 1)
                    rest = ways.spoil[notch - ways.width[way]]
                    cost = lost + np.int64(rest) * min(ways.length[way], open_to)
                    if cost <= budget and made < most:
                        offers.front[made], offers.way[made] = i, way
                        offers.room[made], offers.given[made] = room, given
                        offers.low[made], offers.cost[made] = low, cost
                        made += 1
                if found:
                    used += 1
                    if used > gives:
                        break
            count, more = _give_up(ends, widths, count, k, length)
            lost += more
            if more == 0 or lost > budget:
                break
            given += 1
    return made


@compiled_within
def take(
    ways: Ways,
    fronts: Fronts,
    offers: Offers,
    picked: Longs,
    many: int,
    grown: Fronts,
    x: Ints,
    y: Ints,
    moment: Longs,
) -> None:
    """So many picked offers taken: the fronts, but for `held` and `mark`, and where the blanks lie.

    A front with too many segments is lost. `moment` is the sum of widths times squared ends.
    """
    ends, widths = np.empty(SEGMENTS + 1, np.int32), np.empty(SEGMENTS + 1, np.int32)
    for row in range(many):
        one = picked[row]
        i, way = offers.front[one], offers.way[one]
        count = _copy(fronts, i, ends, widths)
        room, lost, given = fronts.room[i], fronts.lost[i], offers.given[one]
        while True:
            length = ways.room_length[room]
            k = _lowest(ends, count)
            if ends[k] >= length and count == 1:
                room += 1
                ends[0], widths[0] = 0, ways.room_width[room]
                continue
            if given == 0:
                break
            count, more = _give_up(ends, widths, count, k, length)
            lost += more
            given -= 1
        rest = widths[k] - ways.width[way]
        x[row], y[row] = ends[k], 0
        for j in range(k):
            y[row] += widths[j]
        stop = ends[k] + ways.length[way]
        if rest == 0:
            ends[k] = stop
            count = _joined(ends, widths, count, k)
        else:
            for j in range(count, k + 1, -1):
                ends[j], widths[j] = ends[j - 1], widths[j - 1]
            count += 1
            if offers.low[one]:
                ends[k + 1], widths[k + 1] = ends[k], rest
                ends[k], widths[k] = stop, ways.width[way]
                count = _joined(ends, widths, count, k)
            else:
                y[row] += rest
                widths[k] = rest
                ends[k + 1], widths[k + 1] = stop, ways.width[way]
                count = _joined(ends, widths, count, k + 1)
        if count > SEGMENTS:
            count, lost = 1, LOST
        moment[row] = 0
        for j in range(count):
            grown.ends[row, j], grown.widths[row, j] = ends[j], widths[j]
            moment[row] += np.int64(ends[j]) * ends[j] * widths[j]
        grown.segments[row], grown.room[row], grown.lost[row] = count, room, lost
        for kind in range(fronts.left.shape[1]):
            grown.left[row, kind] = fronts.left[i, kind]
        grown.left[row, ways.kind[way]] -= 1


@compiled
def add_up_left(
    ways: Ways,
    fronts: Fronts,
    order: Longs,
    rows: bool,
    across: Words,
    along: Words,
    table: Longs,
) -> None:
    """Sums of the blanks left, once for each set of them; `table` is the row of each front.

    `order` sorts the fronts by `mark`. Sums of lengths only where `rows` are asked for.
    """
    spare = np.empty(across.shape[1], np.uint64)
    spare_along = np.empty(along.shape[1], np.uint64)
    number = -1
    for at in range(len(order)):
        i = order[at]
        if at == 0 or fronts.mark[i] != fronts.mark[order[at - 1]]:
            number += 1
            add_up(ways.across, fronts.left[i], ways.cell_across, across[number], spare)
            if rows:
                add_up(ways.along, fronts.left[i], ways.cell_along, along[number], spare_along)
        table[i] = number


@compiled_within
def _unfilled(bits: Words, free: int, cell: int, waiting: int) -> int:
    """What the sums leave of a length, never too much: sums of coarse cells may be off."""
    off = (waiting * cell + 1) // 2 if cell > 1 else 0
    return max(free - most_within(bits, (free + off) // cell) * cell - off, 0)


@compiled
def must_lose(
    ways: Ways,
    fronts: Fronts,
    table: Longs,
    across: Words,
    along: Words,
    waiting: int,
    rows: bool,
    loss: Longs,
) -> None:
    """Area that each front has lost or cannot help losing before the end of its room.

    `waiting` blanks are left for the sums in row `table[i]` of `across` and `along`.
    """
    for i in range(len(fronts.segments)):
        count, ends, widths = fronts.segments[i], fronts.ends[i], fronts.widths[i]
        length, sums = ways.room_length[fronts.room[i]], across[table[i]]
        cell = ways.cell_across
        by_columns = np.int64(0)
        x = ends[_lowest(ends, count)]
        while x < length:
            until, lack, gap = length, 0, 0
            for k in range(count):
                if ends[k] <= x:
                    gap += widths[k]
                    continue
                until = min(until, ends[k])
                if gap:
                    lack += _unfilled(sums, gap, cell, waiting)
                    gap = 0
            if gap:
                lack += _unfilled(sums, gap, cell, waiting)
            by_columns += np.int64(lack) * (until - x)
            x = until
        by_rows = np.int64(0)
        if rows:
            for k in range(count):
                free = length - ends[k]
                if free > 0:
                    lack = _unfilled(along[table[i]], free, ways.cell_along, waiting)
                    by_rows += np.int64(lack) * widths[k]
        loss[i] = fronts.lost[i] + max(by_columns, by_rows)
