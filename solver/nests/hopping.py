"""Out of a dead end: a blank that overlaps hops elsewhere, or trades places, and all are eased.

From a layout with strain, step by step: a blank is drawn by its strain; it goes where, of many
places at random, it overlaps least, or trades places with one about as large, either laid as the
other lay.  The blanks around are eased apart first; only where that looks well are all of them, and
the step stands when strain has not grown by more than a share drawn at random.  Work is counted in
steps.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from solver.data.until import FOREVER, Until
from solver.nests.depths import Ints
from solver.nests.easing import (
    SPARE_MM,
    Bed,
    Mask,
    Rooms,
    Spots,
    Strain,
    outlines,
    settle,
    strain_of,
)
from solver.nests.fill import Piece
from solver.nests.shapes import Points

ENOUGH_MM = 0.1
"""A layout whose points lie no deeper than this is mended by the programmes of compaction."""
TRADES = 0.3
"""Share of steps in which two blanks trade places."""
ANYWHERE = 0.15
"""Share of steps in which any blank is drawn, whether it overlaps or not."""
PLACES = 200
"""Places looked at for a blank that hops, of which one of the BEST is taken."""
BEST = 3
SHAKE_RAD = 0.03
PARTNERS, LIKE = 4, 0.15
"""Blanks looked at for a trade; they are drawn from those most alike in area (geometric law)."""
AROUND_MM = 60.0
"""Blanks so near to those that moved are eased first."""
AT_FIRST, SOON, FULLY = 150, 30, 60
"""Steps of easing before any hop, of easing what is around, and everything."""
PROMISING = 2.0
"""Times the strain that may stand, to go on after easing what is around."""
WORSE = 0.4
"""Share by which strain may grow, at most, and the step still stand."""
SAMPLES = 40
"""Points of a blank that are looked at in each place."""
NOWHERE = 1e12


@dataclass(frozen=True, eq=False)
class Ways:
    """Turns and sides offered to one blank."""

    turn_rad: Points
    side: Points
    may_flip: bool
    square: bool


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


@dataclass(frozen=True, eq=False)
class _Places:
    """Places looked at for one blank."""

    x: Points
    y: Points
    turn: Points
    side: Points
    room: Ints


def ways_of(pieces: Sequence[Piece]) -> list[Ways]:
    """Ways to lay each blank: those of its poses on the bitmaps."""
    return [
        Ways(
            np.radians([pose.turn_deg for pose in piece.poses]),
            np.array([-1.0 if pose.flipped else 1.0 for pose in piece.poses]),
            piece.shape.may_flip,
            piece.shape.square,
        )
        for piece in pieces
    ]


def hop(
    bed: Bed,
    spots: Spots,
    rooms: Rooms,
    ways: Sequence[Ways],
    steps: int,
    rng: np.random.Generator,
    until: Until = FOREVER,
) -> Hopped:
    """Ease blanks apart and go on hopping until they lie clear or so many steps are used up."""
    spots, _ = settle(bed, spots, rooms, AT_FIRST, until=until)
    strain = strain_of(bed, spots, rooms)
    area = np.array([body.area_mm2 for body in bed.depths.bodies])
    # blanks most alike in area come first, itself left out
    alike = np.argsort(np.abs(np.log(area[:, None] / area)), axis=1, kind="stable")[:, 1:]
    done = 0
    while strain.worst_mm > ENOUGH_MM and done < steps and not until.over():
        done += 1
        share = strain.between.sum(axis=1)
        if bed.count == 1 or rng.random() < ANYWHERE:
            blank = int(rng.integers(bed.count))
        else:
            blank = int(rng.choice(bed.count, p=share / share.sum()))
        if bed.count > 1 and rng.random() < TRADES:
            tried, moved = _trade(bed, spots, rooms, ways, blank, alike[blank], rng)
        else:
            tried, moved = lay_over(bed, spots, rooms, ways[blank], blank, rng), [blank]
        around = _around(bed, spots, tried, moved)
        limit = strain.total * (1 + WORSE * rng.random())
        still = float(strain.between[np.ix_(~around, ~around)].sum())
        still += float(np.trace(strain.between[np.ix_(~around, ~around)]))
        tried, near = settle(bed, tried, rooms, SOON, around, until)
        total = near + still / 2
        if limit < total <= PROMISING * limit:
            tried, total = settle(bed, tried, rooms, FULLY, until=until)
        if total <= limit:
            spots, strain = tried, strain_of(bed, tried, rooms)
    return Hopped(spots, strain, done)


def _around(bed: Bed, before: Spots, after: Spots, moved: Sequence[int]) -> Mask:
    """Blanks near where those that moved lie or lay."""
    x, y = outlines(bed, after)
    was_x, was_y = outlines(bed, before)
    low_x, high_x, low_y, high_y = x.min(axis=1), x.max(axis=1), y.min(axis=1), y.max(axis=1)
    near = np.zeros(bed.count, dtype=np.bool_)
    for k in moved:
        for a, b in ((x[k], y[k]), (was_x[k], was_y[k])):
            beside = (low_x < a.max() + AROUND_MM) & (high_x > a.min() - AROUND_MM)
            near |= beside & (low_y < b.max() + AROUND_MM) & (high_y > b.min() - AROUND_MM)
    return near


def _put(spots: Spots, blank: int, places: _Places, k: int) -> Spots:
    """Spots with one blank in the k-th of some places."""
    result = Spots(
        spots.x_mm.copy(),
        spots.y_mm.copy(),
        spots.turn_rad.copy(),
        spots.side.copy(),
        spots.room.copy(),
    )
    result.x_mm[blank], result.y_mm[blank] = places.x[k], places.y[k]
    result.turn_rad[blank], result.side[blank] = places.turn[k], places.side[k]
    result.room[blank] = places.room[k]
    return result


def lay_over(
    bed: Bed, spots: Spots, rooms: Rooms, ways: Ways, blank: int, rng: np.random.Generator
) -> Spots:
    """Spots with a blank where it overlaps little: of many places at random one of the best."""
    size = (rooms[:, 2] - rooms[:, 0]) * (rooms[:, 3] - rooms[:, 1])
    room = rng.choice(len(rooms), PLACES, p=size / size.sum())
    way = rng.integers(0, len(ways.turn_rad), PLACES)
    shake = np.zeros(PLACES) if ways.square else rng.normal(0.0, SHAKE_RAD, PLACES)
    low_x, low_y, high_x, high_y = rooms[room].T
    places = _Places(
        rng.uniform(low_x, high_x),
        rng.uniform(low_y, high_y),
        ways.turn_rad[way] + shake,
        ways.side[way],
        room,
    )
    crowded, places = _crowded(bed, spots, rooms, blank, places, -1)
    order = np.argsort(crowded, kind="stable")
    return _put(spots, blank, places, int(order[rng.integers(0, BEST)]))


def _trade(
    bed: Bed,
    spots: Spots,
    rooms: Rooms,
    ways: Sequence[Ways],
    blank: int,
    alike: Ints,
    rng: np.random.Generator,
) -> tuple[Spots, list[int]]:
    """Spots with a blank and one about as large in each other's places, and which these are."""
    drawn = np.minimum(len(alike), rng.geometric(LIKE, PARTNERS)) - 1
    best: tuple[float, int, Spots] | None = None
    for other in dict.fromkeys(alike[drawn].tolist()):
        mine = _as_lies(bed, spots, ways[blank], blank, other)
        its = _as_lies(bed, spots, ways[other], other, blank)
        crowded, mine = _crowded(bed, spots, rooms, blank, mine, other)
        crowds, its = _crowded(bed, spots, rooms, other, its, blank)
        a, b = int(np.argmin(crowded)), int(np.argmin(crowds))
        total = float(crowded[a] + crowds[b])
        if best is None or total < best[0]:
            best = total, other, _put(_put(spots, blank, mine, a), other, its, b)
    assert best is not None
    return best[2], [blank, best[1]]


def _as_lies(bed: Bed, spots: Spots, ways: Ways, blank: int, other: int) -> _Places:
    """Ways to lay a blank where another lies: along its axis, its bulge to either side."""
    body, like = bed.depths.bodies[blank], bed.depths.bodies[other]
    axis = spots.turn_rad[other] - like.axis_rad * spots.side[other]
    side = float(spots.side[other]) * like.bulge * body.bulge
    sides = np.array((side, side, -side, -side))
    turns = axis + np.array((0.0, math.pi, 0.0, math.pi)) + body.axis_rad * sides
    if not ways.may_flip:
        # the axis of the one turned over, for the one that is not
        turns, sides = axis + np.array((0.0, math.pi)) + body.axis_rad, np.ones(2)
    if ways.square:
        turns = np.round(turns / (math.pi / 2)) * (math.pi / 2)
    many = np.ones(len(turns))
    room = np.full(len(turns), spots.room[other])
    return _Places(many * spots.x_mm[other], many * spots.y_mm[other], turns, sides, room)


def _crowded(
    bed: Bed, spots: Spots, rooms: Rooms, blank: int, places: _Places, but: int
) -> tuple[Points, _Places]:
    """Strain of one blank in each place against all others `but` one, NOWHERE if outside its room.

    Places are shifted into their rooms before.
    """
    real = int(bed.depths.real[blank].sum())
    samples = bed.depths.samples_mm[blank, : real : max(1, real // SAMPLES)]
    cos, sin = np.cos(places.turn)[:, None], np.sin(places.turn)[:, None]
    across = samples[:, 1] * places.side[:, None]
    x, y = cos * samples[:, 0] - sin * across, sin * samples[:, 0] + cos * across
    low_x, low_y, high_x, high_y = rooms[places.room].T
    first, last, bottom, top = x.min(axis=1), x.max(axis=1), y.min(axis=1), y.max(axis=1)
    loose = 6.0
    fits = (last - first <= high_x - low_x + loose) & (top - bottom <= high_y - low_y + loose)
    at_x = np.clip(places.x, low_x - first, np.maximum(low_x - first, high_x - last))
    at_y = np.clip(places.y, low_y - bottom, np.maximum(low_y - bottom, high_y - top))
    x, y = (x + at_x[:, None]).ravel(), (y + at_y[:, None]).ravel()
    crowded = np.where(fits, 0.0, NOWHERE)
    there_x, there_y = outlines(bed, spots)
    gap = bed.gap_mm + SPARE_MM
    begins, ends = there_x.min(axis=1) - gap, there_x.max(axis=1) + gap
    floors, tops = there_y.min(axis=1) - gap, there_y.max(axis=1) + gap
    turn_cos, turn_sin = np.cos(spots.turn_rad), np.sin(spots.turn_rad)
    near = (ends > x.min()) & (begins < x.max()) & (tops > y.min()) & (floors < y.max())
    near[blank] = False
    near[but] &= but < 0
    for k in np.nonzero(near)[0].tolist():
        inside = np.nonzero((x > begins[k]) & (x < ends[k]) & (y > floors[k]) & (y < tops[k]))[0]
        if not len(inside):
            continue
        dx, dy = x[inside] - spots.x_mm[k], y[inside] - spots.y_mm[k]
        c, s = turn_cos[k], turn_sin[k]
        pages = bed.depths.pages(np.full(len(inside), k))
        depth, _, _ = pages.read(c * dx + s * dy, (c * dy - s * dx) * spots.side[k])
        deep = np.maximum(depth + gap, 0.0)
        crowded += np.bincount(inside // len(samples), deep * deep, len(crowded))
    return crowded, replace(places, x=at_x, y=at_y)
