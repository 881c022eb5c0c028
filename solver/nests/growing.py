"""A beam of fronts that grow by a blank each round, compiled (``fronts`` tells of one front).

Of all offers those are looked at closely that have lost least for what their front then holds, and
of these the best live on, one of each set of blanks that ends alike.
"""

from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from solver.nests.compiled import compiled, compiled_within
from solver.nests.fronts import SEGMENTS, Fronts, Ints, Longs, Offers, Ways, offer, take

Floats = npt.NDArray[np.float64]

KEPT = 3
"""Times the width of a beam: offers that are looked at closely."""


class Manner(NamedTuple):
    """How a beam goes on: a `Taste` (``wide_beam``), and what may be lost.

    `all_lie` where no blank may be left over; a set of blanks is known by the sum of its kinds'
    `sign`.
    """

    width: int
    branches: int
    window: int
    gives: int
    noise: float
    budget: int
    all_lie: bool
    sign: Longs


class Close(NamedTuple):
    """Room for one round: offers, and the fronts of those that are looked at closely.

    These lie at `x` and `y`, `picked` are their offers, and `lost` what they have lost at least.
    """

    offers: Offers
    picked: Longs
    grown: Fronts
    x: Ints
    y: Ints
    moment: Longs
    lost: Longs
    guide: Floats
    heap: Longs
    seen: Longs


class Rounds(NamedTuple):
    """(rounds, fronts) the blank that each front was given: the front it came from, and the put."""

    parent: Ints
    room: Ints
    x: Ints
    y: Ints
    way: Ints


@compiled_within
def _sift(guide: Floats, heap: Longs, number: int, at: int) -> None:
    """Move one entry of a heap down to where it belongs."""
    one = heap[at]
    while True:
        child = 2 * at + 1
        if child >= number:
            break
        if child + 1 < number and guide[heap[child + 1]] < guide[heap[child]]:
            child += 1
        if guide[heap[child]] >= guide[one]:
            break
        heap[at] = heap[child]
        at = child
    heap[at] = one


@compiled_within
def _make_heap(guide: Floats, heap: Longs, number: int) -> None:
    """Order so many entries as a heap, that with the least guide on top."""
    for at in range(number // 2 - 1, -1, -1):
        _sift(guide, heap, number, at)


@compiled_within
def _top_of(guide: Floats, heap: Longs, number: int) -> int:
    """Take the top off a heap of so many entries."""
    one = heap[0]
    heap[0] = heap[number - 1]
    _sift(guide, heap, number - 1, 0)
    return int(one)


@compiled_within
def _part(guide: Floats, entries: Longs, number: int, least: int) -> None:
    """Move the entries with the least guides, so many of a number, to the front."""
    low, high = 0, number - 1
    while low < high:
        middle = guide[entries[(low + high) // 2]]
        i, j = low, high
        while i <= j:
            while guide[entries[i]] < middle:
                i += 1
            while guide[entries[j]] > middle:
                j -= 1
            if i <= j:
                entries[i], entries[j] = entries[j], entries[i]
                i += 1
                j -= 1
        if least <= j:
            high = j
        elif least >= i:
            low = i
        else:
            return


@compiled_within
def _is_new(seen: Longs, mark: int) -> bool:
    """Note a mark other than 0 and tell whether it is new; `seen` holds a power of two of them."""
    last = len(seen) - 1
    at = (mark ^ (mark >> 17)) & last
    while seen[at] != 0:
        if seen[at] == mark:
            return False
        at = (at + 1) & last
    seen[at] = mark
    return True


@compiled_within
def _copy_front(fronts: Fronts, i: int, into: Fronts, row: int) -> None:
    for k in range(fronts.segments[i]):
        into.ends[row, k], into.widths[row, k] = fronts.ends[i, k], fronts.widths[i, k]
    for kind in range(fronts.left.shape[1]):
        into.left[row, kind] = fronts.left[i, kind]
    into.segments[row], into.room[row] = fronts.segments[i], fronts.room[i]
    into.lost[row], into.held[row] = fronts.lost[i], fronts.held[i]
    into.mark[row] = fronts.mark[i]


@compiled
def look(
    ways: Ways,
    manner: Manner,
    fronts: Fronts,
    number: int,
    must: int,
    rng: np.random.Generator,
    close: Close,
) -> int:
    """Lay one more blank on the first so many fronts in the most promising ways; their number.

    Where a way `must` be taken (not -1) no other is, on any notch that it fits.
    """
    offers, grown = close.offers, close.grown
    gives = manner.gives if must < 0 else SEGMENTS
    made = offer(
        ways,
        fronts,
        number,
        manner.budget,
        manner.branches,
        manner.window,
        gives,
        must,
        manner.all_lie,
        offers,
    )
    for one in range(made):
        held = fronts.held[offers.front[one]] + ways.worth[offers.way[one]]
        close.guide[one] = offers.cost[one] / held * (1.0 + manner.noise * rng.random())
        close.picked[one] = one
    many = min(made, KEPT * manner.width)
    if many < made:
        _part(close.guide, close.picked, made, many)
    take(ways, fronts, offers, close.picked, many, grown, close.x, close.y, close.moment)
    for row in range(many):
        one = close.picked[row]
        i, way = offers.front[one], offers.way[one]
        grown.held[row] = fronts.held[i] + ways.worth[way]
        grown.mark[row] = fronts.mark[i] + manner.sign[ways.kind[way]]
        close.lost[row] = max(offers.cost[one], grown.lost[row])
    return many


@compiled
def keep(
    manner: Manner,
    many: int,
    rng: np.random.Generator,
    close: Close,
    into: Fronts,
    rounds: Rounds,
    turn: int,
) -> int:
    """Let the best of so many live on; their number. What they laid is noted in row `turn`."""
    grown, there = close.grown, 0
    for row in range(many):
        if close.lost[row] <= manner.budget:
            stirred = 1.0 + manner.noise * rng.random()
            close.guide[row] = close.lost[row] / grown.held[row] * stirred
            close.heap[there] = row
            there += 1
    _make_heap(close.guide, close.heap, there)
    for at in range(len(close.seen)):
        close.seen[at] = 0
    live = 0
    while there > 0 and live < manner.width:
        row = _top_of(close.guide, close.heap, there)
        there -= 1
        alike = grown.mark[row] ^ (grown.lost[row] * 1000003) ^ (close.moment[row] * 99991)
        if not _is_new(close.seen, alike | 1):
            continue
        _copy_front(grown, row, into, live)
        one = close.picked[row]
        rounds.parent[turn, live] = close.offers.front[one]
        rounds.way[turn, live] = close.offers.way[one]
        rounds.room[turn, live] = grown.room[row]
        rounds.x[turn, live], rounds.y[turn, live] = close.x[row], close.y[row]
        live += 1
    return live


@compiled
def fill_up(
    ways: Ways,
    manner: Manner,
    fronts: Fronts,
    other: Fronts,
    rng: np.random.Generator,
    close: Close,
    rounds: Rounds,
) -> tuple[int, int, int]:
    """Fill rooms from the first front until nothing goes on.

    Returns the worth held at best, and where that is found: the number of rounds, and the front
    after them.
    """
    number, turn = 1, 0
    held, turns, best = 0, 0, 0
    while number > 0 and turn < len(rounds.way):
        many = look(ways, manner, fronts, number, -1, rng, close)
        number = keep(manner, many, rng, close, other, rounds, turn)
        turn += 1
        for row in range(number):
            if other.held[row] > held:
                held, turns, best = int(other.held[row]), turn, row
        fronts, other = other, fronts
    return held, turns, best
