"""Straight blanks in lanes: anneal the order in which they are laid.

An order is laid out by the leftmost notch of the front: among the next few blanks the one that
fills the notch exactly, or leaves a width that other widths of the job add up to, or ends level
with a neighbour; where none fits the notch is given up. The order is then changed a little, from
some blank on, and laid out anew from there: what was laid before stays, which halves the work.
"""

import math
import random
from collections.abc import Sequence
from dataclasses import dataclass

from solver.data.until import FOREVER, Until
from solver.nests.lanes import Box, Put, Room, fillable

LOSS_WEIGHT = 2.0
"""Weight of metal lost behind the front, as length, against the length of the layout."""

SETTINGS = ((8, 3.0), (1, 3.0), (20, 3.0), (4, 1.0), (40, 6.0))
"""Blanks looked ahead and dislike of a width that cannot be filled, taken in turn."""

STEPS_PER_SETTING = 150
FIRST_HEAT, LAST_HEAT = 0.006, 0.0004
"""Patience with a longer layout, as a share of its length."""


@dataclass(frozen=True, slots=True)
class _Front:
    """Front before a blank is laid: room, ends, lower sides and widths of its segments."""

    room: int
    ends: tuple[int, ...]
    lows: tuple[int, ...]
    widths: tuple[int, ...]


@dataclass(frozen=True)
class _Laid:
    """An order laid out: kinds and puts as laid, the front before each, what is left out."""

    kinds: list[int]
    puts: list[Put]
    fronts: list[_Front]
    left_out: list[int]
    value: float
    end: float


@dataclass(eq=False)
class _Job:
    ways: list[list[tuple[int, int, int]]]
    rooms: Sequence[Room]
    spoil: list[int]
    areas: list[int]
    total_length: int


def anneal(
    boxes: Sequence[Box],
    counts: Sequence[int],
    rooms: Sequence[Room],
    start: Sequence[Put],
    steps: int,
    rng: random.Random,
    fit_only: bool = False,
    until: Until = FOREVER,
) -> list[Put]:
    """Puts that leave out least and, among equals, end earliest in the last room.

    `start` gives the first order (a beam's puts; what it left out comes last). Stops early when
    nothing is left out if `fit_only` is asked.
    """
    most = max((room.width for room in rooms), default=0)
    ways: list[list[tuple[int, int, int]]] = [[] for _ in counts]
    areas = [0] * len(counts)
    for b, box in enumerate(boxes):
        areas[box.kind] = box.length * box.width
        if any(box.length <= room.length and box.width <= room.width for room in rooms):
            ways[box.kind].append((box.length, box.width, b))
    fill = fillable([box.width for box in boxes], most)
    spoil = [width - held for width, held in enumerate(fill)]
    job = _Job(ways, rooms, spoil, areas, sum(room.length for room in rooms))
    order = [boxes[b].kind for _, _, _, b in start]
    left = list(counts)
    for kind in order:
        left[kind] -= 1
    order += [kind for kind, number in enumerate(left) for _ in range(number)]
    first = _Front(0, (0,), (0,), (rooms[0].width,))
    # the start's own layout is kept as the best until an order beats it
    current = _lay(job, [], [], [first], order, 1, 3.0, math.inf)
    best = current
    best_puts, best_value = list(start), _value_of(job, boxes, counts, start)
    if min(current.value, current.end) < best_value:
        best_puts, best_value = current.puts, min(current.value, current.end)
    for step in range(steps):
        if (fit_only and best_value <= job.total_length) or (step % 16 == 0 and until.over()):
            break
        look, dislike = SETTINGS[step // STEPS_PER_SETTING % len(SETTINGS)]
        share = step / steps
        heat = FIRST_HEAT * (LAST_HEAT / FIRST_HEAT) ** share
        if step and step % (STEPS_PER_SETTING * len(SETTINGS)) == 0:
            current = best
        ceiling = current.value * (1 - heat * math.log(1 - rng.random()))
        queue = current.kinds + current.left_out
        if len(queue) < 2:
            break
        i = rng.randrange(len(queue) - 1)
        j = rng.randrange(i + 1, len(queue))
        rest = queue[i:]
        gap = j - i
        move = rng.random()
        if move < 0.45:
            rest[0], rest[gap] = rest[gap], rest[0]
        elif move < 0.8:
            rest.insert(0, rest.pop(gap))
        else:
            run = rng.randint(1, max(1, min(4, gap, len(rest) - gap)))
            rest = rest[gap : gap + run] + rest[run:gap] + rest[:run] + rest[gap + run :]
        kept = min(i, len(current.kinds))
        rest = queue[kept:i] + rest
        tried = _lay(
            job,
            current.kinds[:kept],
            current.puts[:kept],
            current.fronts[: kept + 1],
            rest,
            look,
            dislike,
            ceiling,
        )
        if tried.value <= ceiling:
            current = tried
            true = min(tried.value, tried.end)
            if true < best_value:
                best, best_puts, best_value = tried, tried.puts, true
    return best_puts


def _value_of(job: _Job, boxes: Sequence[Box], counts: Sequence[int], puts: Sequence[Put]) -> float:
    left = list(counts)
    end = 0
    for room, x, _, b in puts:
        left[boxes[b].kind] -= 1
        end = max(end, sum(r.length for r in job.rooms[:room]) + x + boxes[b].length)
    out = sum(job.areas[kind] * number for kind, number in enumerate(left))
    return _worth(job, out, end)


def _worth(job: _Job, left_out: int, end: int) -> float:
    """Length used, and for what is left out twice the length that it would need, and all of it."""
    if not left_out:
        return float(end)
    return job.total_length + 2.0 * left_out / job.rooms[-1].width


def _lay(
    job: _Job,
    kinds: list[int],
    puts: list[Put],
    fronts: list[_Front],
    order: list[int],
    look: int,
    dislike: float,
    ceiling: float,
) -> _Laid:
    """Lay an order out behind what is laid; given up where it passes the ceiling."""
    ways, spoil, rooms = job.ways, job.spoil, job.rooms
    front = fronts[-1] if len(fronts) > len(kinds) else fronts[len(kinds)]
    room = front.room
    ends, lows, widths = list(front.ends), list(front.lows), list(front.widths)
    fronts = fronts[: len(kinds)]
    order = order.copy()
    before = sum(r.length for r in rooms[:room])
    length = rooms[room].length
    end = max((before + e for e in ends), default=0)
    while order and room < len(rooms):
        x = min(ends)
        k = ends.index(x)
        h = widths[k]
        space = length - x
        below = ends[k - 1] if k else -1
        above = ends[k + 1] if k + 1 < len(ends) else -1
        best_score = math.inf
        chosen: tuple[int, tuple[int, int, int]] | None = None
        for j, kind in enumerate(order):
            if j >= look and chosen is not None:
                break
            for way in ways[kind]:
                if way[1] > h or way[0] > space:
                    continue
                rest = h - way[1]
                score = 1.0 + dislike * spoil[rest] if rest else 0.0
                stop = x + way[0]
                if stop in (below, above):
                    score -= 0.5
                if score < best_score:
                    best_score, chosen = score, (j, way)
            if best_score <= 0.0:
                break
        if chosen is None:
            level = min(ends[k - 1] if k else length, ends[k + 1] if k + 1 < len(ends) else length)
            if level >= length and len(ends) == 1:
                room += 1
                if room < len(rooms):
                    before += length
                    length = rooms[room].length
                    ends, lows, widths = [0], [0], [rooms[room].width]
                continue
            ends[k] = level
            _join(ends, lows, widths, k)
            continue
        fronts.append(_Front(room, tuple(ends), tuple(lows), tuple(widths)))
        j, (long, wide, b) = chosen
        kinds.append(order.pop(j))
        stop = x + long
        rest = h - wide
        low = lows[k]
        down = below if below >= 0 else length
        up = above if above >= 0 else length
        if rest == 0:
            ends[k] = stop
            puts.append((room, x, low, b))
            _join(ends, lows, widths, k)
        elif abs(stop - down) <= abs(stop - up):
            puts.append((room, x, low, b))
            ends[k : k + 1] = [stop, x]
            lows[k : k + 1] = [low, low + wide]
            widths[k : k + 1] = [wide, rest]
            if stop == below:
                _join(ends, lows, widths, k)
        else:
            puts.append((room, x, low + rest, b))
            ends[k : k + 1] = [x, stop]
            lows[k : k + 1] = [low, low + rest]
            widths[k : k + 1] = [rest, wide]
            if stop == above:
                _join(ends, lows, widths, k + 1)
        if before + stop > end:
            end = before + stop
            if end > ceiling:
                return _Laid(kinds, puts, fronts, order, math.inf, math.inf)
    out = sum(job.areas[kind] for kind in order)
    worth = _worth(job, out, end)
    if not out:  # metal lost behind the front weighs too, or most changes would weigh nothing
        behind = sum(e * w for e, w in zip(ends, widths, strict=True)) / rooms[room].width
        worth += LOSS_WEIGHT * (before + behind)
    if room < len(rooms):
        fronts.append(_Front(room, tuple(ends), tuple(lows), tuple(widths)))
    else:
        fronts.append(_Front(len(rooms) - 1, (length,), (0,), (rooms[-1].width,)))
    return _Laid(kinds, puts, fronts, order, worth, end if not out else math.inf)


def _join(ends: list[int], lows: list[int], widths: list[int], k: int) -> None:
    """Join segment k with neighbours that end level with it."""
    if k + 1 < len(ends) and ends[k + 1] == ends[k]:
        widths[k] += widths[k + 1]
        del ends[k + 1], lows[k + 1], widths[k + 1]
    if k and ends[k - 1] == ends[k]:
        widths[k - 1] += widths[k]
        del ends[k], lows[k], widths[k]
