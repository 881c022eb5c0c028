"""The strain of a layout, and its slope as blanks shift and turn; compiled.

Strain is the sum, over points sampled along the outlines, of the squared depth to which they lie in
other blanks (grown by the gap) or outside their room.  Its slope is exact but for samples that
cross from one cell of a grid into the next.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from solver.nests.compiled import compiled, compiled_within
from solver.nests.depths import AHEAD_MM, Blanks, Ints, Mask, depth_at
from solver.nests.shapes import Points

Rooms = Points
"""(r, 4): low x, low y, high x, high y of each room; rooms lie apart from one another."""

WALL_COUNTS = 2.0
"""What lies outside its room strains so many times as much as what lies in another blank."""
LOOSE_MM = AHEAD_MM / 2
"""So far a blank may move before the points near others are listed anew."""


class Spots(NamedTuple):
    """Where the blanks lie: the middle of each, its turn, its side (-1 turned over), its room."""

    x_mm: Points
    y_mm: Points
    turn_rad: Points
    side: Points
    room: Ints


class Desk(NamedTuple):
    """Where the samples of all blanks lie, and room to work in.

    Of each blank: the box round its samples ``box_mm`` (n, 4), low before high; cosine and sine of
    its ``turned`` (n, 2); the ``slope`` (n, 3) of strain over x, y and turn, halved.  Pair q tells
    by ``pair`` (p, 3) which blank's points lie near which other, and where they begin in
    ``near``, a list of samples.
    """

    at_mm: Points
    box_mm: Points
    turned: Points
    slope: Points
    pair: Ints
    near: npt.NDArray[np.int32]


def make_desk(blanks: Blanks) -> Desk:
    """Room to work in for so many blanks: much of it is never touched."""
    n, samples = len(blanks.grid), len(blanks.samples_mm)
    return Desk(
        np.empty((samples, 2)),
        np.empty((n, 4)),
        np.empty((n, 2)),
        np.zeros((n, 3)),
        np.empty((n * (n - 1) + 1, 3), dtype=np.int64),
        np.empty(samples * max(1, n - 1), dtype=np.int32),
    )


@compiled_within
def copy_spots(here: Spots, there: Spots) -> None:
    """Write where the blanks lie into other spots."""
    for k in range(len(here.x_mm)):
        there.x_mm[k], there.y_mm[k], there.turn_rad[k] = (
            here.x_mm[k],
            here.y_mm[k],
            here.turn_rad[k],
        )
        there.side[k], there.room[k] = here.side[k], here.room[k]


@compiled_within
def lay_out(blanks: Blanks, spots: Spots, k: int, desk: Desk) -> None:
    """Samples of blank k where it lies, and their box."""
    first, samples, at, box, turned = (
        blanks.first,
        blanks.samples_mm,
        desk.at_mm,
        desk.box_mm,
        desk.turned,
    )
    x, y, side = spots.x_mm[k], spots.y_mm[k], spots.side[k]
    cos, sin = math.cos(spots.turn_rad[k]), math.sin(spots.turn_rad[k])
    low_x, low_y, high_x, high_y = math.inf, math.inf, -math.inf, -math.inf
    for p in range(first[k], first[k + 1]):
        across = samples[p, 1] * side
        px = x + cos * samples[p, 0] - sin * across
        py = y + sin * samples[p, 0] + cos * across
        at[p, 0], at[p, 1] = px, py
        low_x, high_x = min(low_x, px), max(high_x, px)
        low_y, high_y = min(low_y, py), max(high_y, py)
    box[k, 0], box[k, 1], box[k, 2], box[k, 3] = low_x, low_y, high_x, high_y
    turned[k, 0], turned[k, 1] = cos, sin


@compiled
def lay_all_out(blanks: Blanks, spots: Spots, desk: Desk) -> None:
    """Samples of all blanks where they lie."""
    for k in range(len(spots.x_mm)):
        lay_out(blanks, spots, k, desk)


@compiled_within
def apart(box: Points, i: int, j: int, by_mm: float) -> bool:
    """Whether two boxes are farther apart than a distance, along x or y."""
    return bool(
        box[i, 0] > box[j, 2] + by_mm
        or box[j, 0] > box[i, 2] + by_mm
        or box[i, 1] > box[j, 3] + by_mm
        or box[j, 1] > box[i, 3] + by_mm
    )


@compiled_within
def list_near(blanks: Blanks, spots: Spots, moving: Mask, desk: Desk) -> int:
    """List the points that may come to lie in another blank before either moves LOOSE_MM.

    Only where one of the two moves.  Returns the number of pairs; all must have been laid out.
    """
    first, at, box, turned = blanks.first, desk.at_mm, desk.box_mm, desk.turned
    pair, near = desk.pair, desk.near
    n = len(spots.x_mm)
    reach = blanks.gap_mm + 2.0 * LOOSE_MM
    pairs, many = 0, 0
    for i in range(n):
        for j in range(n):
            if i == j or not (moving[i] or moving[j]) or apart(box, i, j, reach):
                continue
            begin = many
            low_x, low_y = box[j, 0] - reach, box[j, 1] - reach
            high_x, high_y = box[j, 2] + reach, box[j, 3] + reach
            cos, sin, side = turned[j, 0], turned[j, 1], spots.side[j]
            for p in range(first[i], first[i + 1]):
                x, y = at[p, 0], at[p, 1]
                if low_x < x < high_x and low_y < y < high_y:
                    x, y = x - spots.x_mm[j], y - spots.y_mm[j]
                    depth, _, _ = depth_at(blanks, j, cos * x + sin * y, (cos * y - sin * x) * side)
                    if depth > -reach:
                        near[many] = p
                        many += 1
            if many > begin:
                pair[pairs, 0], pair[pairs, 1], pair[pairs, 2] = i, j, begin
                pairs += 1
    pair[pairs, 2] = many
    return pairs


@compiled_within
def strain_between(
    blanks: Blanks, spots: Spots, q: int, weight: float, desk: Desk
) -> tuple[float, float]:
    """Weighed strain of the points listed for pair q, and the worst depth; slope as well."""
    at, slope, pair, near = desk.at_mm, desk.slope, desk.pair, desk.near
    i, j = pair[q, 0], pair[q, 1]
    cos, sin, side = desk.turned[j, 0], desk.turned[j, 1], spots.side[j]
    x_i, y_i, x_j, y_j = spots.x_mm[i], spots.y_mm[i], spots.x_mm[j], spots.y_mm[j]
    gap_mm = blanks.gap_mm
    total, worst, along, across, turn_i, turn_j = 0.0, 0.0, 0.0, 0.0, 0.0, 0.0
    for listed in range(pair[q, 2], pair[q + 1, 2]):
        p = near[listed]
        x, y = at[p, 0] - x_j, at[p, 1] - y_j
        depth, u, v = depth_at(blanks, j, cos * x + sin * y, (cos * y - sin * x) * side)
        depth += gap_mm
        if depth > 0.0:
            total += depth * depth
            worst = max(worst, depth)
            v *= side
            push_x, push_y = depth * (cos * u - sin * v), depth * (sin * u + cos * v)
            along += push_x
            across += push_y
            turn_i += (at[p, 0] - x_i) * push_y - (at[p, 1] - y_i) * push_x
            turn_j += x * push_y - y * push_x
    slope[i, 0] += weight * along
    slope[j, 0] -= weight * along
    slope[i, 1] += weight * across
    slope[j, 1] -= weight * across
    slope[i, 2] += weight * turn_i
    slope[j, 2] -= weight * turn_j
    return weight * total, worst


@compiled_within
def strain_outside(
    blanks: Blanks, spots: Spots, rooms: Rooms, k: int, desk: Desk
) -> tuple[float, float]:
    """Strain of blank k against the walls of its room, and the worst distance; slope as well."""
    first, at, box, slope = blanks.first, desk.at_mm, desk.box_mm, desk.slope
    room = spots.room[k]
    low_x, low_y, high_x, high_y = rooms[room, 0], rooms[room, 1], rooms[room, 2], rooms[room, 3]
    total, worst = 0.0, 0.0
    if low_x <= box[k, 0] and low_y <= box[k, 1] and box[k, 2] <= high_x and box[k, 3] <= high_y:
        return total, worst
    for p in range(first[k], first[k + 1]):
        x, y = at[p, 0], at[p, 1]
        out_x, out_y = x - min(max(x, low_x), high_x), y - min(max(y, low_y), high_y)
        total += WALL_COUNTS * (out_x * out_x + out_y * out_y)
        worst = max(worst, abs(out_x), abs(out_y))
        slope[k, 0] += WALL_COUNTS * out_x
        slope[k, 1] += WALL_COUNTS * out_y
        arm_x, arm_y = x - spots.x_mm[k], y - spots.y_mm[k]
        slope[k, 2] += WALL_COUNTS * (out_y * arm_x - out_x * arm_y)
    return total, worst


@compiled
def strain_all(
    blanks: Blanks, spots: Spots, rooms: Rooms, desk: Desk, between: Points
) -> tuple[float, float]:
    """Strain of a layout and its worst depth; writes the strain of each pair into ``between``.

    That against the walls goes to its diagonal; half the slope is left on the desk.
    """
    n = len(spots.x_mm)
    lay_all_out(blanks, spots, desk)
    pairs = list_near(blanks, spots, np.ones(n, np.bool_), desk)
    total, worst = 0.0, 0.0
    for i in range(n):
        desk.slope[i, 0], desk.slope[i, 1], desk.slope[i, 2] = 0.0, 0.0, 0.0
        for j in range(n):
            between[i, j] = 0.0
        part, deep = strain_outside(blanks, spots, rooms, i, desk)
        between[i, i] = part
        total += part
        worst = max(worst, deep)
    for q in range(pairs):
        part, deep = strain_between(blanks, spots, q, 1.0, desk)
        i, j = desk.pair[q, 0], desk.pair[q, 1]
        between[i, j] += part
        between[j, i] += part
        total += part
        worst = max(worst, deep)
    return total, worst
