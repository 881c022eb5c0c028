"""Blanks that overlap are eased apart: all of them move and turn at once, down a smooth slope.

The strain of a layout is the sum, over points sampled along the outlines, of the squared depth to
which they lie in other blanks (grown by the gap) or outside their room.  Its gradient in shifts and
turns is exact, so a quasi-Newton method (L-BFGS; Nocedal, 1980) finds the nearest layout of little
strain in a few dozen steps of a millisecond.  A layout without strain is right but for corners that
lie between samples: what comes of it is to be mended and measured.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt
from scipy.optimize import minimize

from solver.data.until import FOREVER, Until
from solver.nests.depths import AHEAD_MM, Depths, Ints, Pages, depths_of
from solver.nests.shapes import Placement, Points, Shape

Mask = npt.NDArray[np.bool_]

SPARE_MM = 0.15
"""Asked beyond the gap, since corners lie between samples."""
WALL_COUNTS = 2.0
"""What lies outside its room strains so many times as much as what lies in another blank."""
MOST_BLANKS = 400
"""More are not eased: pairs of them are listed."""
APART_MM = 1000.0
"""Between rooms that lie one behind the other in one plane."""


@dataclass(frozen=True, eq=False)
class Bed:
    """What stays the same while blanks are eased: their outlines, the gap, which may turn."""

    shapes: tuple[Shape, ...]
    depths: Depths
    gap_mm: float
    free: Mask

    @property
    def count(self) -> int:
        """Number of blanks."""
        return len(self.shapes)


@dataclass(frozen=True, eq=False)
class Spots:
    """Where the blanks lie: the middle of each, its turn, its side (-1 turned over), its room."""

    x_mm: Points
    y_mm: Points
    turn_rad: Points
    side: Points
    room: Ints


@dataclass(frozen=True, eq=False)
class Strain:
    """Strain of a layout in all, how deep the worst point lies, and strain between each pair.

    What lies outside its room strains a blank against itself: the diagonal.
    """

    total: float
    worst_mm: float
    between: Points


Rooms = Points
"""(r, 4): low x, low y, high x, high y of each room; rooms lie apart from one another."""


def make_bed(shapes: Sequence[Shape], gap_mm: float) -> Bed:
    """Bed of blanks, one for each shape named."""
    free = np.array([not shape.square for shape in shapes])
    return Bed(tuple(shapes), depths_of(shapes, gap_mm + SPARE_MM), gap_mm, free)


def rooms_of(sizes_mm: Sequence[tuple[float, float, float, float]]) -> tuple[Rooms, Points]:
    """Rooms of so many rectangles, laid one behind the other, and the shift (r, 2) of each."""
    rooms = np.array(sizes_mm, dtype=np.float64)
    starts = np.concatenate(([0.0], np.cumsum(rooms[:, 2] - rooms[:, 0] + APART_MM)[:-1]))
    shift = np.column_stack((starts - rooms[:, 0], -rooms[:, 1]))
    return rooms + np.tile(shift, 2), shift


def spots_of(bed: Bed, placements: Sequence[Placement], shift: Points) -> Spots:
    """Spots of placements, in order of the blanks."""
    turn = np.radians([p.turn_deg for p in placements])
    side = np.array([-1.0 if p.flipped else 1.0 for p in placements])
    room = np.array([p.unit for p in placements], dtype=np.int64)
    middle = np.array([body.middle_mm for body in bed.depths.bodies])
    cos, sin = np.cos(turn), np.sin(turn)
    x = np.array([p.x_mm for p in placements]) + cos * middle[:, 0] - sin * middle[:, 1] * side
    y = np.array([p.y_mm for p in placements]) + sin * middle[:, 0] + cos * middle[:, 1] * side
    return Spots(x + shift[room, 0], y + shift[room, 1], turn, side, room)


def placements_of(bed: Bed, spots: Spots, shift: Points) -> list[Placement]:
    """Placements of spots; square blanks come out square to the last digit."""
    result: list[Placement] = []
    for k, body in enumerate(bed.depths.bodies):
        turn_deg = math.degrees(spots.turn_rad[k]) % 360.0
        if not bed.free[k]:
            turn_deg = round(turn_deg / 90.0) % 4 * 90.0
        turn, side = math.radians(turn_deg), float(spots.side[k])
        cos, sin = math.cos(turn), math.sin(turn)
        a, b = body.middle_mm.tolist()
        room = int(spots.room[k])
        x = float(spots.x_mm[k] - shift[room, 0]) - (cos * a - sin * b * side)
        y = float(spots.y_mm[k] - shift[room, 1]) - (sin * a + cos * b * side)
        result.append(Placement(bed.shapes[k].id, room, x, y, turn_deg, side < 0))
    return result


def outlines(bed: Bed, spots: Spots) -> tuple[Points, Points]:
    """Sampled points of all blanks where they lie, x and y (n, m)."""
    cos, sin = np.cos(spots.turn_rad)[:, None], np.sin(spots.turn_rad)[:, None]
    x = bed.depths.samples_mm[:, :, 0]
    y = bed.depths.samples_mm[:, :, 1] * spots.side[:, None]
    return (
        spots.x_mm[:, None] + cos * x - sin * y,
        spots.y_mm[:, None] + sin * x + cos * y,
    )


def strain_of(bed: Bed, spots: Spots, rooms: Rooms) -> Strain:
    """Strain of a layout, pair by pair."""
    n = bed.count
    meets = _meetings(bed, spots, rooms, None)
    deep = _deep(bed, spots, meets)
    between = np.zeros((n, n))
    np.add.at(between, (deep.one, deep.other), deep.depth * deep.depth)
    between += between.T
    out_x, out_y, _, _ = _outside(spots, meets.walls)
    squares = WALL_COUNTS * (out_x**2 + out_y**2)
    np.fill_diagonal(between, np.bincount(meets.walls.blank, squares, n))
    total = float(deep.depth @ deep.depth) + float(np.trace(between))
    worst = max(
        float(deep.depth.max(initial=0.0)),
        float(np.abs(out_x).max(initial=0.0)),
        float(np.abs(out_y).max(initial=0.0)),
    )
    return Strain(total, worst, between)


def settle(
    bed: Bed,
    spots: Spots,
    rooms: Rooms,
    steps: int,
    moving: Mask | None = None,
    until: Until = FOREVER,
) -> tuple[Spots, float]:
    """Ease blanks (those moving, else all) so many steps; return where they lie and their strain.

    Blanks that do not move are obstacles; strain among them is not counted.
    """
    radius = bed.depths.radius_mm
    known = [(spots, _meetings(bed, spots, rooms, moving))]

    def slope(z: Points) -> tuple[float, Points]:
        x, y, arc = z.reshape(3, -1)
        here = replace(spots, x_mm=x, y_mm=y, turn_rad=arc / radius)
        before, meets = known[0]
        moved = (
            np.abs(x - before.x_mm)
            + np.abs(y - before.y_mm)
            + np.abs(here.turn_rad - before.turn_rad) * radius
        )
        if moved.max() > AHEAD_MM / 2:
            meets = _meetings(bed, here, rooms, moving)
            known[0] = (here, meets)
        return _slope(bed, here, meets, moving)

    def watch(_: Points) -> None:
        if until.over():
            raise StopIteration

    start = np.concatenate((spots.x_mm, spots.y_mm, spots.turn_rad * radius))
    options = {"maxiter": steps, "ftol": 1e-5, "gtol": 1e-3}
    found = minimize(slope, start, jac=True, method="L-BFGS-B", callback=watch, options=options)
    x, y, arc = np.asarray(found.x).reshape(3, -1)
    return replace(spots, x_mm=x, y_mm=y, turn_rad=arc / radius), float(found.fun)


@dataclass(frozen=True, eq=False)
class _Walls:
    """Points of blanks near the walls of their rooms, from the middles of the blanks, unturned."""

    blank: Ints
    x: Points
    y: Points
    low_x: Points
    low_y: Points
    high_x: Points
    high_y: Points


@dataclass(frozen=True, eq=False)
class _Meetings:
    """Points of one blank that may come to lie in another: kept while nothing moves far."""

    one: Ints
    other: Ints
    x: Points
    y: Points
    side: Points
    pages: Pages
    walls: _Walls


@dataclass(frozen=True, eq=False)
class _Deep:
    """Points that lie in another blank: how deep, and the way out in the plane, times depth.

    ``arm`` and ``other_arm``: from the middles of both blanks to the point.
    """

    one: Ints
    other: Ints
    depth: Points
    force_x: Points
    force_y: Points
    arm: tuple[Points, Points]
    other_arm: tuple[Points, Points]


def _meetings(bed: Bed, spots: Spots, rooms: Rooms, moving: Mask | None) -> _Meetings:
    reach = bed.gap_mm + SPARE_MM + AHEAD_MM
    depths = bed.depths
    x, y = outlines(bed, spots)
    low_x, high_x = x.min(axis=1), x.max(axis=1) + reach
    low_y, high_y = y.min(axis=1), y.max(axis=1) + reach
    meet = (low_x[:, None] < high_x) & (low_x < high_x[:, None])
    meet &= (low_y[:, None] < high_y) & (low_y < high_y[:, None])
    np.fill_diagonal(meet, False)
    if moving is not None:
        meet &= moving[:, None] | moving
    first, second = np.nonzero(meet)
    xs, ys = x[first], y[first]
    inside = depths.real[first]
    inside &= (xs > (low_x - reach)[second, None]) & (xs < high_x[second, None])
    inside &= (ys > (low_y - reach)[second, None]) & (ys < high_y[second, None])
    pair, point = np.nonzero(inside)
    one, other = first[pair], second[pair]
    cos, sin = np.cos(spots.turn_rad)[other], np.sin(spots.turn_rad)[other]
    dx, dy = x[one, point] - spots.x_mm[other], y[one, point] - spots.y_mm[other]
    pages = depths.pages(other)
    depth, _, _ = pages.read(cos * dx + sin * dy, (cos * dy - sin * dx) * spots.side[other])
    close = depth > -reach
    one, other, point = one[close], other[close], point[close]
    return _Meetings(
        one,
        other,
        depths.samples_mm[one, point, 0],
        depths.samples_mm[one, point, 1] * spots.side[one],
        spots.side[other],
        depths.pages(other),
        _near_walls(bed, spots, rooms, moving, x, y),
    )


def _near_walls(
    bed: Bed, spots: Spots, rooms: Rooms, moving: Mask | None, x: Points, y: Points
) -> _Walls:
    low_x, low_y, high_x, high_y = (side[:, None] for side in rooms[spots.room].T)
    near = (x < low_x + AHEAD_MM) | (x > high_x - AHEAD_MM)
    near |= (y < low_y + AHEAD_MM) | (y > high_y - AHEAD_MM)
    near &= bed.depths.real
    if moving is not None:
        near &= moving[:, None]
    blank, point = np.nonzero(near)
    samples = bed.depths.samples_mm[blank, point]
    return _Walls(
        blank, samples[:, 0], samples[:, 1] * spots.side[blank], *rooms[spots.room[blank]].T
    )


def _deep(bed: Bed, spots: Spots, meets: _Meetings) -> _Deep:
    one, other = meets.one, meets.other
    cos, sin = np.cos(spots.turn_rad), np.sin(spots.turn_rad)
    arm_x = cos[one] * meets.x - sin[one] * meets.y
    arm_y = sin[one] * meets.x + cos[one] * meets.y
    dx = arm_x + (spots.x_mm[one] - spots.x_mm[other])
    dy = arm_y + (spots.y_mm[one] - spots.y_mm[other])
    c, s = cos[other], sin[other]
    depth, along, across = meets.pages.read(c * dx + s * dy, (c * dy - s * dx) * meets.side)
    depth = depth + bed.gap_mm + SPARE_MM
    k = np.nonzero(depth > 0)[0]
    depth, along, across = depth[k], along[k], across[k] * meets.side[k]
    c, s = c[k], s[k]
    return _Deep(
        one[k],
        other[k],
        depth,
        depth * (c * along - s * across),
        depth * (s * along + c * across),
        (arm_x[k], arm_y[k]),
        (dx[k], dy[k]),
    )


def _outside(spots: Spots, walls: _Walls) -> tuple[Points, Points, Points, Points]:
    """How far points lie outside their rooms, along x and y, and their arms from the middles."""
    cos, sin = np.cos(spots.turn_rad)[walls.blank], np.sin(spots.turn_rad)[walls.blank]
    arm_x, arm_y = cos * walls.x - sin * walls.y, sin * walls.x + cos * walls.y
    x, y = arm_x + spots.x_mm[walls.blank], arm_y + spots.y_mm[walls.blank]
    out_x: Points = x - np.minimum(np.maximum(x, walls.low_x), walls.high_x)
    out_y: Points = y - np.minimum(np.maximum(y, walls.low_y), walls.high_y)
    return out_x, out_y, arm_x, arm_y


def _slope(bed: Bed, spots: Spots, meets: _Meetings, moving: Mask | None) -> tuple[float, Points]:
    """Strain and its gradient over x, y and turn times radius of all blanks."""
    n = bed.count
    deep = _deep(bed, spots, meets)
    total = float(deep.depth @ deep.depth)

    def both(mine: Points, others: Points) -> Points:
        # of no points at all it counts whole numbers
        balance = np.bincount(deep.one, mine, n) - np.bincount(deep.other, others, n)
        return np.asarray(balance, dtype=np.float64)

    along = both(deep.force_x, deep.force_x)
    across = both(deep.force_y, deep.force_y)
    (x, y), (u, v) = deep.arm, deep.other_arm
    turn = both(x * deep.force_y - y * deep.force_x, u * deep.force_y - v * deep.force_x)
    out_x, out_y, x, y = _outside(spots, meets.walls)
    out = np.nonzero((out_x != 0.0) | (out_y != 0.0))[0]
    if len(out):
        out_x, out_y, blank = out_x[out], out_y[out], meets.walls.blank[out]
        total += WALL_COUNTS * float(out_x @ out_x + out_y @ out_y)
        along += WALL_COUNTS * np.bincount(blank, out_x, n)
        across += WALL_COUNTS * np.bincount(blank, out_y, n)
        turn += WALL_COUNTS * np.bincount(blank, out_y * x[out] - out_x * y[out], n)
    turn = np.where(bed.free, turn, 0.0) / bed.depths.radius_mm
    slope = np.asarray(2.0 * np.concatenate((along, across, turn)), dtype=np.float64)
    if moving is not None:
        slope[~np.tile(moving, 3)] = 0.0
    return total, slope
