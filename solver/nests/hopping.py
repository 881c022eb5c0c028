"""Out of a dead end: a blank that overlaps hops elsewhere, or trades places, and all are eased.

From a layout with strain, step by step: a blank is drawn by its strain; it goes where, of many
places at random, it overlaps least, or trades places with one about as large, either laid as the
other lay.  The blanks around are eased apart first; only where that looks well are all of them, and
the step stands when strain has not grown by more than a share drawn at random.  Two blanks that go
on overlapping weigh ever more, so that a layout that nothing betters does not stay the best
(guided local search; Voudouris and Tsang, 1999).  Work is counted in steps.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import NamedTuple, Protocol

import numpy as np

from solver.data.until import FOREVER, Until
from solver.nests.bed import Bed, Strain, own, settle, strain_of
from solver.nests.compiled import compiled, compiled_within
from solver.nests.depths import Blanks, Ints, Mask, depth_at
from solver.nests.easing import ease
from solver.nests.shapes import Points
from solver.nests.strain import (
    Desk,
    Rooms,
    Spots,
    apart,
    copy_spots,
    lay_all_out,
    lay_out,
    strain_all,
)

ENOUGH_MM = 0.1
"""A layout whose points lie no deeper than this is mended by the programmes of compaction."""
TRADES = 0.3
"""Share of steps in which two blanks trade places."""
ANYWHERE = 0.15
"""Share of steps in which any blank is drawn, whether it overlaps or not."""
PLACES = 200
"""Places looked at for a blank that hops, of which one of the BEST is taken."""
BEST = 3
SHAKE_RAD = 0.06
PARTNERS, LIKE = 4, 0.15
"""Blanks looked at for a trade; they are drawn from those most alike in area (geometric law)."""
AROUND_MM = 60.0
"""Blanks so near to those that moved are eased first."""
AT_FIRST, SOON, FULLY = 150, 30, 60
"""Steps of easing before any hop, of easing what is around, and everything."""
PROMISING = 1.3
"""Times the strain that may stand, to go on after easing what is around."""
HOPELESS = 4.0
"""Times that strain, which after a few steps of easing what is around ends it."""
WORSE = 0.4
"""Share by which strain may grow, at most, and the step still stand."""
LITTLE_MM2 = 100.0
"""Below this all strain is alike: else what nearly fits would never be shaken."""
HEAVIER = 0.3
"""What the pair that overlaps most weighs more after each step, others in proportion."""
SAMPLES = 40
"""Points of a blank that are looked at in each place."""
LOOSE_MM = 6.0
"""By so much a blank may be larger than its room, and still be laid there: it may turn."""
NOWHERE = 1e12
"""Strain of a place outside every room."""
AT_A_TIME = 10
"""Steps between two looks at the clock."""
EQUAL = 1e6
"""Of blanks with the same outline: how unlike they count, in logarithms of area."""


class Posed(Protocol):
    """A way to lay a blank, of whatever kind of pose."""

    @property
    def turn_deg(self) -> float:
        """Turn of its outline, counter-clockwise."""

    @property
    def flipped(self) -> bool:
        """Whether it is turned over first."""


Hopeful = Callable[[Sequence[float]], bool]
"""Whether to go on, of the strains so far in mm2."""


class Ways(NamedTuple):
    """How blanks may lie and with which they trade places, as compiled code reads it.

    Turns and sides offered to blank k are rows ``first[k]`` to ``first[k + 1]``; row k of ``alike``
    (n, n - 1) lists the others, those most alike in area first, but equal outlines last: nothing
    comes of trading those.  ``axis_rad`` and ``bulge`` as in depths.Body.
    """

    first: Ints
    turn_rad: Points
    side: Points
    may_flip: Mask
    axis_rad: Points
    bulge: Points
    alike: Ints


@dataclass(frozen=True, eq=False)
class Hopped:
    """Where the blanks lie after a search, their strain, and the steps it took."""

    spots: Spots
    strain: Strain
    steps: int

    @property
    def clear(self) -> bool:
        """Whether they lie apart, but for what is to be mended."""
        return self.strain.worst_mm <= ENOUGH_MM


def ways_of(poses: Sequence[Sequence[Posed]], bed: Bed) -> Ways:
    """Ways to lay each blank of a bed."""
    area = np.log([body.area_mm2 for body in bed.bodies])
    unlike = np.abs(area[:, None] - area)
    unlike[[[one is other for other in bed.bodies] for one in bed.bodies]] = EQUAL
    np.fill_diagonal(unlike, math.inf)
    every = [pose for some in poses for pose in some]
    return Ways(
        np.cumsum([0, *(len(some) for some in poses)], dtype=np.int64),
        np.radians([pose.turn_deg for pose in every]),
        np.array([-1.0 if pose.flipped else 1.0 for pose in every]),
        np.array([shape.may_flip for shape in bed.shapes]),
        np.array([body.axis_rad for body in bed.bodies]),
        np.array([body.bulge for body in bed.bodies]),
        np.argsort(unlike, axis=1, kind="stable")[:, :-1].copy(),  # itself left out
    )


def hop(
    bed: Bed,
    spots: Spots,
    rooms: Rooms,
    ways: Ways,
    steps: int,
    rng: np.random.Generator,
    until: Until = FOREVER,
    hopeful: Hopeful = lambda strains: True,
) -> Hopped:
    """Ease blanks apart and go on hopping until they lie clear or so many steps are used up.

    Now and then it is asked whether the strains so far, one for each AT_A_TIME steps, are hopeful.
    """
    spots, _ = settle(bed, spots, rooms, AT_FIRST)
    strain = strain_of(bed, spots, rooms)
    strains = [strain.total]
    worst_mm = strain.worst_mm
    weights, tried = np.ones((bed.count, bed.count)), own(spots)
    done = 0
    while worst_mm > ENOUGH_MM and done < steps and hopeful(strains) and not until.over():
        few = min(AT_A_TIME, steps - done)
        worst_mm, made = _search(
            rng,
            bed.blanks,
            spots,
            rooms,
            ways,
            strain.between,
            weights,
            worst_mm,
            few,
            bed.desk,
            tried,
        )
        done += made
        strains.append(float(np.tril(strain.between).sum()))
    return Hopped(spots, Strain(strains[-1], worst_mm, strain.between), done)


def lay_over(
    bed: Bed, spots: Spots, rooms: Rooms, ways: Ways, blank: int, rng: np.random.Generator
) -> Spots:
    """Spots with a blank where it overlaps little: of many places at random one of the best."""
    laid = own(spots)
    lay_all_out(bed.blanks, spots, bed.desk)
    _lay_over(rng, bed.blanks, spots, rooms, ways, blank, bed.desk, laid)
    return laid


@compiled
def _search(
    rng: np.random.Generator,
    blanks: Blanks,
    spots: Spots,
    rooms: Rooms,
    ways: Ways,
    between: Points,
    weights: Points,
    worst_mm: float,
    steps: int,
    desk: Desk,
    tried: Spots,
) -> tuple[float, int]:
    """Hop from these spots; they change, and the weights.  Worst depth and steps made.

    ``tried`` is room to work in.
    """
    n = len(spots.x_mm)
    around = np.empty(n, np.bool_)
    everything, nothing = np.ones(n, np.bool_), np.zeros(n, np.bool_)
    done = 0
    while done < steps and worst_mm > ENOUGH_MM:
        done += 1
        lay_all_out(blanks, spots, desk)
        copy_spots(spots, tried)
        blank, other = _draw(rng, between, weights), -1
        if n > 1 and rng.random() < TRADES:
            other = _trade(rng, blanks, spots, rooms, ways, blank, desk, tried)
            moved = other >= 0
        else:
            moved = _lay_over(rng, blanks, spots, rooms, ways, blank, desk, tried)
        if not moved:
            continue
        for k in range(n):
            around[k] = False
        _mark_around(blanks, tried, blank, desk, around)
        if other >= 0:
            _mark_around(blanks, tried, other, desk, around)
        limit = max(_weighed(between, weights, nothing), LITTLE_MM2)
        limit *= 1.0 + WORSE * rng.random()
        dead = HOPELESS * limit
        eased = ease(blanks, tried, rooms, around, int(SOON), dead, weights, desk)
        eased += _weighed(between, weights, around)
        if limit < eased <= PROMISING * limit:
            eased = ease(blanks, tried, rooms, everything, int(FULLY), math.inf, weights, desk)
        if eased <= limit:
            copy_spots(tried, spots)
            _, worst_mm = strain_all(blanks, spots, rooms, desk, between)
        _weigh(between, weights)
    return worst_mm, done


@compiled_within
def _draw(rng: np.random.Generator, between: Points, weights: Points) -> int:
    """A blank, by its strain, or any."""
    n = len(between)
    if n == 1 or rng.random() < ANYWHERE:
        return min(n - 1, int(rng.random() * n))
    left = 0.0
    for i in range(n):
        for j in range(n):
            left += weights[i, j] * between[i, j]
    left *= rng.random()
    for i in range(n):
        for j in range(n):
            left -= weights[i, j] * between[i, j]
        if left <= 0.0:
            return i
    return n - 1


@compiled_within
def _weighed(between: Points, weights: Points, but: Mask) -> float:
    """Strain of all blanks but some, each pair by its weight."""
    total = 0.0
    for i in range(len(between)):
        if not but[i]:
            for j in range(i + 1):
                if not but[j]:
                    total += weights[i, j] * between[i, j]
    return total


@compiled_within
def _weigh(between: Points, weights: Points) -> None:
    """Let pairs that overlap weigh more; a wall does not."""
    most = 0.0
    for i in range(len(between)):
        for j in range(i + 1):
            most = max(most, between[i, j])
    for i in range(len(between)):
        for j in range(i):
            if between[i, j] > 0.0:
                weights[i, j] += HEAVIER * between[i, j] / most
                weights[j, i] = weights[i, j]


@compiled_within
def _mark_around(blanks: Blanks, tried: Spots, k: int, desk: Desk, around: Mask) -> None:
    """Mark blanks near where one that moved lay (as laid out) and where it lies."""
    for _ in range(2):
        for j in range(len(around)):
            if j == k or not apart(desk.box_mm, j, k, AROUND_MM):
                around[j] = True
        lay_out(blanks, tried, k, desk)


@compiled
def _lay_over(
    rng: np.random.Generator,
    blanks: Blanks,
    spots: Spots,
    rooms: Rooms,
    ways: Ways,
    blank: int,
    desk: Desk,
    laid: Spots,
) -> bool:
    """Lay a blank where it overlaps little; whether it fits anywhere."""
    outline = np.empty((blanks.first[blank + 1] - blanks.first[blank], 2))
    strains, places = np.empty(BEST), np.empty((BEST, 5))
    for rank in range(BEST):
        strains[rank] = NOWHERE
    first, many = ways.first[blank], ways.first[blank + 1] - ways.first[blank]
    place = np.empty(5)
    size = 0.0
    for r in range(len(rooms)):
        size += _area(rooms, r)
    for _ in range(PLACES):
        drawn, r = rng.random() * size, 0
        drawn -= _area(rooms, r)
        while r < len(rooms) - 1 and drawn > 0.0:
            r += 1
            drawn -= _area(rooms, r)
        way = first + int(rng.random() * many)
        place[0] = rooms[r, 0] + rng.random() * (rooms[r, 2] - rooms[r, 0])
        place[1] = rooms[r, 1] + rng.random() * (rooms[r, 3] - rooms[r, 1])
        place[2], place[3], place[4] = ways.turn_rad[way], ways.side[way], r
        if blanks.free[blank]:
            place[2] += SHAKE_RAD * (rng.random() + rng.random() - 1.0)
        worst = strains[BEST - 1]
        strain = _strain_at(blanks, spots, rooms, blank, blank, place, outline, worst, desk)
        if strain < worst:
            rank = BEST - 1
            while rank > 0 and strains[rank - 1] > strain:
                strains[rank] = strains[rank - 1]
                for a in range(5):
                    places[rank, a] = places[rank - 1, a]
                rank -= 1
            strains[rank] = strain
            for a in range(5):
                places[rank, a] = place[a]
    rank = min(BEST - 1, int(rng.random() * BEST))
    while rank > 0 and strains[rank] >= NOWHERE:
        rank -= 1
    if strains[rank] >= NOWHERE:
        return False
    _put(laid, blank, places[rank])
    return True


@compiled_within
def _area(rooms: Rooms, r: int) -> float:
    return float((rooms[r, 2] - rooms[r, 0]) * (rooms[r, 3] - rooms[r, 1]))


@compiled_within
def _put(spots: Spots, k: int, place: Points) -> None:
    """Lay one blank at a place: x, y, turn, side and room."""
    spots.x_mm[k], spots.y_mm[k], spots.turn_rad[k] = place[0], place[1], place[2]
    spots.side[k], spots.room[k] = place[3], int(place[4])


@compiled_within
def _trade(
    rng: np.random.Generator,
    blanks: Blanks,
    spots: Spots,
    rooms: Rooms,
    ways: Ways,
    blank: int,
    desk: Desk,
    laid: Spots,
) -> int:
    """Lay a blank and one about as large in each other's places; which it is, -1 if none fits."""
    n = len(spots.x_mm)
    places = np.empty((2, 5))
    chosen, least = -1, NOWHERE
    best = np.empty((2, 5))
    for _ in range(PARTNERS):
        rank = 0
        while rank < n - 2 and rng.random() > LIKE:
            rank += 1
        other = ways.alike[blank, rank]
        strain = _as_lies(blanks, spots, rooms, ways, blank, other, desk, places[0])
        strain += _as_lies(blanks, spots, rooms, ways, other, blank, desk, places[1])
        if strain < least:
            chosen, least = other, strain
            for a in range(5):
                best[0, a], best[1, a] = places[0, a], places[1, a]
    if chosen >= 0:
        _put(laid, blank, best[0])
        _put(laid, chosen, best[1])
    return chosen


@compiled_within
def _as_lies(
    blanks: Blanks,
    spots: Spots,
    rooms: Rooms,
    ways: Ways,
    blank: int,
    other: int,
    desk: Desk,
    best: Points,
) -> float:
    """Least strain of a blank laid as another lies, and where: along its axis, bulge either way."""
    outline = np.empty((blanks.first[blank + 1] - blanks.first[blank], 2))
    place = np.empty(5)
    place[4] = spots.room[other]
    axis = spots.turn_rad[other] - ways.axis_rad[other] * spots.side[other]
    least = NOWHERE
    for way in range(4):
        side = spots.side[other] * ways.bulge[other] * ways.bulge[blank]
        if way >= 2:
            side = -side
        if not ways.may_flip[blank]:
            if way >= 2:
                break
            side = 1.0  # the axis of the one turned over, for the one that is not
        turn = axis + ways.axis_rad[blank] * side + (way % 2) * math.pi
        if not blanks.free[blank]:
            turn = np.floor(turn / (math.pi / 2) + 0.5) * (math.pi / 2)
        place[0], place[1], place[2], place[3] = spots.x_mm[other], spots.y_mm[other], turn, side
        strain = _strain_at(blanks, spots, rooms, blank, other, place, outline, least, desk)
        if strain < least:
            least = strain
            for a in range(5):
                best[a] = place[a]
    return least


@compiled_within
def _strain_at(
    blanks: Blanks,
    spots: Spots,
    rooms: Rooms,
    blank: int,
    but: int,
    place: Points,
    outline: Points,
    enough: float,
    desk: Desk,
) -> float:
    """Strain of some points of a blank at a place, in all others but one, as they are laid out.

    The place is shifted into its room first; where it does not fit, strain is NOWHERE.  Once there
    is ``enough`` strain the rest is not counted.
    """
    first, samples, box = blanks.first, blanks.samples_mm, desk.box_mm
    cos, sin, side, room = math.cos(place[2]), math.sin(place[2]), place[3], int(place[4])
    low_x, low_y, high_x, high_y = math.inf, math.inf, -math.inf, -math.inf
    many = 0
    every = max(1, (first[blank + 1] - first[blank]) // SAMPLES)
    for p in range(first[blank], first[blank + 1], every):
        across = samples[p, 1] * side
        x, y = cos * samples[p, 0] - sin * across, sin * samples[p, 0] + cos * across
        outline[many, 0], outline[many, 1] = x, y
        many += 1
        low_x, high_x = min(low_x, x), max(high_x, x)
        low_y, high_y = min(low_y, y), max(high_y, y)
    least_x, most_x = rooms[room, 0] - low_x, rooms[room, 2] - high_x
    least_y, most_y = rooms[room, 1] - low_y, rooms[room, 3] - high_y
    if most_x < least_x - LOOSE_MM or most_y < least_y - LOOSE_MM:
        return NOWHERE
    at_x = min(max(place[0], least_x), max(least_x, most_x))
    at_y = min(max(place[1], least_y), max(least_y, most_y))
    place[0], place[1] = at_x, at_y
    gap = blanks.gap_mm
    low_x, high_x = low_x + at_x - gap, high_x + at_x + gap
    low_y, high_y = low_y + at_y - gap, high_y + at_y + gap
    total = 0.0
    for j in range(len(box)):
        if (
            j in (blank, but)
            or box[j, 0] > high_x
            or box[j, 2] < low_x
            or box[j, 1] > high_y
            or box[j, 3] < low_y
        ):
            continue
        from_x, from_y, to_x, to_y = (
            box[j, 0] - gap,
            box[j, 1] - gap,
            box[j, 2] + gap,
            box[j, 3] + gap,
        )
        cos, sin, side = desk.turned[j, 0], desk.turned[j, 1], spots.side[j]
        for q in range(many):
            x, y = outline[q, 0] + at_x, outline[q, 1] + at_y
            if from_x < x < to_x and from_y < y < to_y:
                x, y = x - spots.x_mm[j], y - spots.y_mm[j]
                depth, _, _ = depth_at(blanks, j, cos * x + sin * y, (cos * y - sin * x) * side)
                depth += gap
                if depth > 0.0:
                    total += depth * depth
        if total >= enough:
            break
    return total
