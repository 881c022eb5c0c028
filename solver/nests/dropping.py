"""Blanks dropped one by one onto those that lie already, along the stock: arcs stack like bowls.

Each blank, grown by half the gap, is known by its lowest and highest points over cells along the
stock (cells hold all that they touch, so blanks never come nearer than the gap).  Of the blanks
that are left the one is dropped that is worth most and wastes least room beneath it, wherever along
the stock it is.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
import shapely

from solver.nests.boards import NOWHERE
from solver.nests.compiled import compiled
from solver.nests.depths import Ints
from solver.nests.fill import long_axis
from solver.nests.shapes import Placement, Points, Ring, Shape, Stock

CELL_MM = 12.7
CANDIDATES = 10
"""Blanks, alike ones counted once, of which the best is dropped."""
WASTE_SHAKEN = 0.1
"""Share by which waste is shaken when blanks are compared."""
WORTH_COUNTS = 10.0
"""What a blank is worth beside the room that it wastes, over its own area."""
SPARE_MM = 0.01
"""Added to the gap, so that rounding of turned outlines never brings blanks too near."""
HEIGHT_COUNTS = 0.05
"""What an inch of height counts beside an inch of wasted room, over a blank's length."""
SAME_MM = 1e-6
"""A later place along the stock must waste so much less than an earlier one, over all its cells."""


@dataclass(frozen=True)
class Pose:
    """A blank as it lies: cells' lowest and highest points above its lowest, grown by half the gap.

    ``x_mm``, ``y_mm``: where the origin of its outline is from the grown shape's lowest corner on
    the left.
    """

    turn_deg: float
    flipped: bool
    x_mm: float
    y_mm: float
    low: Points
    high: Points
    height_mm: float
    length_mm: float
    area_mm2: float


KnownPoses = dict[tuple[Ring, bool, bool], tuple[Pose, ...]]
"""Poses by outline, whether square, and whether it may be turned over; for one gap."""


class DropWays(NamedTuple):
    """Ways to drop blanks, as compiled code reads them.

    Poses of alike blanks k are ``first_pose[k]`` to ``first_pose[k + 1]``, cells of pose p
    ``first_cell[p]`` to ``first_cell[p + 1]`` of ``low`` and ``high``; alike blanks of one number
    in ``looks`` are as long, high and large as one another (mirrored ones, mostly).
    """

    first_pose: Ints
    first_cell: Ints
    low: Points
    high: Points
    height_mm: Points
    area_mm2: Points
    looks: Ints


@dataclass(frozen=True, eq=False)
class Droppable:
    """Blanks with the ways to drop them: ``kind`` of each, alike ones have the same."""

    kind: Mapping[str, int]
    poses: tuple[Pose, ...]
    ways: DropWays


def droppable(poses: Mapping[str, tuple[Pose, ...]]) -> Droppable:
    """Blanks by their poses; those that share theirs (the very same tuple) are alike."""
    number: dict[int, int] = {}
    alike: list[tuple[Pose, ...]] = []
    kind = {}
    for blank, mine in poses.items():
        kind[blank] = number.setdefault(id(mine), len(alike))
        if kind[blank] == len(alike):
            alike.append(mine)
    seen: dict[tuple[int, float, float], int] = {}
    looks = [
        seen.setdefault((len(p.low), round(p.height_mm, 1), round(p.area_mm2, -1)), len(seen))
        for p, *_ in alike
    ]
    every = tuple(pose for some in alike for pose in some)
    ways = DropWays(
        np.cumsum([0, *(len(some) for some in alike)], dtype=np.int64),
        np.cumsum([0, *(len(pose.low) for pose in every)], dtype=np.int64),
        np.concatenate([pose.low for pose in every]),
        np.concatenate([pose.high for pose in every]),
        np.array([pose.height_mm for pose in every]),
        np.array([pose.area_mm2 for pose in every]),
        np.array(looks, dtype=np.int64),
    )
    return Droppable(kind, every, ways)


def poses_of_all(
    shapes: Sequence[Shape], gap_mm: float, known: KnownPoses
) -> dict[str, tuple[Pose, ...]]:
    """Poses of each blank; alike ones share theirs.  What is not ``known`` yet is added to it."""
    poses = {}
    for shape in shapes:
        looks = (shape.outline_mm, shape.square, shape.may_flip)
        if looks not in known:
            known[looks] = poses_of(shape, gap_mm)
        poses[shape.id] = known[looks]
    return poses


def poses_of(shape: Shape, gap_mm: float) -> tuple[Pose, ...]:
    """Ways to lay a blank, its long side along the stock: either end first, or turned over."""
    outline = np.asarray(shape.outline_mm, dtype=float)
    first = 0.0
    if not shape.square:
        first, _, _ = long_axis(shape)
    elif np.ptp(outline[:, 1]) > np.ptp(outline[:, 0]):
        first = 90.0
    poses: list[Pose] = []
    for flipped in (False, True) if shape.may_flip else (False,):
        for half in (0.0, 180.0):
            turn = ((-first if flipped else first) + half) % 360.0
            pose = _pose(outline, turn, flipped, gap_mm + SPARE_MM)
            if not any(
                len(pose.low) == len(other.low)
                and np.allclose(pose.low, other.low, atol=0.1)
                and np.allclose(pose.high, other.high, atol=0.1)
                for other in poses
            ):
                poses.append(pose)
    return tuple(poses)


def _pose(outline: Points, turn_deg: float, flipped: bool, gap_mm: float) -> Pose:
    points = outline * (1.0, -1.0) if flipped else outline
    angle = math.radians(turn_deg)
    cos, sin = math.cos(angle), math.sin(angle)
    points = points @ np.array(((cos, sin), (-sin, cos)))
    grown = shapely.buffer(shapely.Polygon(points), gap_mm / 2, quad_segs=4)
    # a buffer's arcs lie inside the true ones: a hair more keeps the gap
    ring = np.asarray(
        shapely.buffer(grown, gap_mm * 0.01 + 1e-6, join_style="mitre").exterior.coords
    )
    left, bottom = ring.min(axis=0)
    ring = ring - (left, bottom)
    low, high = _cells(ring)
    return Pose(
        turn_deg,
        flipped,
        -float(left),
        -float(bottom),
        low,
        high,
        float(ring[:, 1].max()),
        float(ring[:, 0].max()),
        float(shapely.Polygon(ring).area),
    )


@compiled
def _cells(ring: Points) -> tuple[Points, Points]:
    """Lowest and highest points of a ring, closed, over each cell."""
    count = max(1, math.ceil(ring[:, 0].max() / CELL_MM - 1e-9))
    low, high = np.full(count, np.inf), np.full(count, -np.inf)
    for p in range(len(ring) - 1):
        x0, y0, x1, y1 = ring[p, 0], ring[p, 1], ring[p + 1, 0], ring[p + 1, 1]
        if x1 < x0:
            x0, y0, x1, y1 = x1, y1, x0, y0
        slope = (y1 - y0) / (x1 - x0) if x1 - x0 > 1e-12 else 0.0
        first = min(count - 1, max(0, math.floor(x0 / CELL_MM - 1e-9)))
        last = min(count - 1, max(0, math.floor(x1 / CELL_MM + 1e-9)))
        for cell in range(first, last + 1):
            start = y0 + slope * (min(max(cell * CELL_MM, x0), x1) - x0)
            end = y0 + slope * (min(max((cell + 1) * CELL_MM, x0), x1) - x0)
            if slope == 0.0:  # along the stock, or straight up
                start, end = y0, y1
            low[cell] = min(low[cell], start, end)
            high[cell] = max(high[cell], start, end)
    return low, high


def drop_onto(
    stock: Stock,
    blanks: Sequence[str],
    all_blanks: Droppable,
    gap_mm: float,
    rng: np.random.Generator,
    worth: Points | None = None,
) -> list[Placement]:
    """Drop blanks, the first of them sooner, onto one rectangular unit until none finds room.

    ``worth`` (kinds,): what room a blank takes is worth where it is laid, beside other blanks; none
    is worth more than another where it is not given.
    """
    length = stock.length_mm - 2 * stock.end_trim_mm + gap_mm
    cells = math.floor(length / CELL_MM + 1e-9)
    waiting: dict[int, list[str]] = {}
    for blank in blanks:
        waiting.setdefault(all_blanks.kind[blank], []).append(blank)
    count = len(all_blanks.ways.looks)
    left = np.zeros(count, dtype=np.int64)
    for kind, some in waiting.items():
        left[kind] = len(some)
    laid_as, cell = np.empty(len(blanks), np.int64), np.empty(len(blanks), np.int64)
    height = np.empty(len(blanks))
    laid = drop_all(
        rng,
        np.zeros(cells),
        stock.width_mm + gap_mm,
        np.array(list(waiting), dtype=np.int64),
        left,
        np.zeros(count) if worth is None else worth,
        all_blanks.ways,
        laid_as,
        cell,
        height,
    )
    placements: list[Placement] = []
    taken: Counter[int] = Counter()
    kind_of = np.searchsorted(all_blanks.ways.first_pose, laid_as[:laid], side="right") - 1
    for i, kind in enumerate(kind_of.tolist()):
        pose = all_blanks.poses[laid_as[i]]
        placements.append(
            Placement(
                waiting[kind][taken[kind]],
                0,
                float(stock.end_trim_mm - gap_mm / 2 + cell[i] * CELL_MM + pose.x_mm),
                float(-gap_mm / 2 + height[i] + pose.y_mm),
                pose.turn_deg,
                pose.flipped,
            )
        )
        taken[kind] += 1
    return placements


@compiled
def drop_all(
    rng: np.random.Generator,
    top: Points,
    width_mm: float,
    order: Ints,
    left: Ints,
    worth: Points,
    ways: DropWays,
    laid_as: Ints,
    cell: Ints,
    height_mm: Points,
) -> int:
    """Drop ``left`` blanks of each kind, kinds in this order, where all is free up to ``top``.

    How many were laid; the pose, cell and height of each are written down, ``top`` and ``left``
    change.
    """
    refused = np.zeros(len(worth), np.bool_)
    looked = np.empty(len(worth), np.bool_)
    laid = 0
    while True:
        best, best_pose, best_kind, best_cell, best_height = math.inf, -1, -1, 0, 0.0
        candidates = 0
        for k in range(len(looked)):
            looked[k] = False
        for kind in order:
            looks = ways.looks[kind]
            if left[kind] == 0 or looked[looks] or refused[looks]:
                continue
            fits = False
            for pose in range(ways.first_pose[kind], ways.first_pose[kind + 1]):
                shaken = 1.0 + WASTE_SHAKEN * rng.random()
                most = (best + WORTH_COUNTS * worth[kind]) / shaken
                if most <= 0.0:  # no room need be looked for: it is worth too little
                    fits = True
                    continue
                waste, at, height = lowest(
                    top,
                    ways.low[ways.first_cell[pose] : ways.first_cell[pose + 1]],
                    ways.height_mm[pose],
                    ways.area_mm2[pose],
                    width_mm,
                    most,
                )
                fits |= at != NOWHERE or most < math.inf
                if at != NOWHERE:
                    best = waste * shaken - WORTH_COUNTS * worth[kind]
                    best_pose, best_kind, best_cell, best_height = pose, kind, at, height
            if not fits:
                refused[looks] = True
                continue
            looked[looks] = True
            candidates += 1
            if candidates == CANDIDATES:
                break
        if best_pose < 0:
            return laid
        first = ways.first_cell[best_pose]
        for k in range(ways.first_cell[best_pose + 1] - first):
            top[best_cell + k] = max(top[best_cell + k], best_height + ways.high[first + k])
        laid_as[laid], cell[laid], height_mm[laid] = best_pose, best_cell, best_height
        left[best_kind] -= 1
        laid += 1


@compiled
def lowest(
    top: Points,
    low: Points,
    height_mm: float,
    area_mm2: float,
    width_mm: float,
    most_waste: float,
) -> tuple[float, int, float]:
    """Waste, cell and height where a blank wastes least; NOWHERE for the cell without any room.

    ``top``: how high blanks lie over each cell of a unit ``width_mm`` wide; ``low``, ``height_mm``
    and ``area_mm2`` are those of a pose.  Places that waste ``most_waste`` or more do not count.
    """
    count = len(low)
    beneath_low, under = 0.0, 0.0
    for k in range(count):
        beneath_low += low[k]
    per_height = count * (1.0 + HEIGHT_COUNTS)
    highest = width_mm - height_mm
    least, best_at, best_height = most_waste * area_mm2 / CELL_MM, NOWHERE, 0.0
    in_the_way = 0  # the cell for which the last place was refused: mostly it is for the next too
    for at in range(len(top) - count + 1):
        if at == 0:
            for k in range(count):
                under += top[k]
        else:
            under += top[at + count - 1] - top[at - 1]
        most = min(highest, (least - SAME_MM - beneath_low + under) / per_height)
        if most < 0.0 or (at <= in_the_way and top[in_the_way] - low[in_the_way - at] > most):
            continue
        height = 0.0
        for k in range(count):
            over = top[at + k] - low[k]
            if over > height:
                height = over
                if height > most:
                    in_the_way = at + k
                    break
        if height <= most:
            least = height * per_height + beneath_low - under
            best_at, best_height = at, height
    return least * CELL_MM / area_mm2, best_at, best_height
