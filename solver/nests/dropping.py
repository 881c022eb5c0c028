"""Blanks dropped one by one onto those that lie already, along the stock: arcs stack like bowls.

Each blank, grown by half the gap, is known by its lowest and highest points over cells along the
stock (cells hold all that they touch, so blanks never come nearer than the gap).  Of the blanks
that are left the one is dropped that wastes least room beneath it, wherever along the stock it is.
"""

from __future__ import annotations

import math
import random
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import shapely

from solver.data.until import Until
from solver.nests.boards import NOWHERE
from solver.nests.compiled import compiled
from solver.nests.fill import long_axis
from solver.nests.shapes import Placement, Points, Shape, Stock

CELL_MM = 12.7
CANDIDATES = 10
"""Blanks, alike ones counted once, of which the one that wastes least is dropped."""
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


def _cells(ring: Points) -> tuple[Points, Points]:
    """Lowest and highest points of a ring over each cell."""
    count = max(1, math.ceil(float(ring[:, 0].max()) / CELL_MM - 1e-9))
    low, high = np.full(count, np.inf), np.full(count, -np.inf)
    for (x0, y0), (x1, y1) in zip(ring[:-1].tolist(), ring[1:].tolist(), strict=True):
        if x1 < x0:
            x0, y0, x1, y1 = x1, y1, x0, y0
        first = min(count - 1, max(0, math.floor(x0 / CELL_MM - 1e-9)))
        last = min(count - 1, max(0, math.floor(x1 / CELL_MM + 1e-9)))
        cells = np.arange(first, last + 1)
        if x1 - x0 < 1e-12:
            a = b = np.array([y0, y1])
            low[first : last + 1] = np.minimum(low[first : last + 1], a.min())
            high[first : last + 1] = np.maximum(high[first : last + 1], b.max())
            continue
        slope = (y1 - y0) / (x1 - x0)
        start = y0 + slope * (np.clip(cells * CELL_MM, x0, x1) - x0)
        end = y0 + slope * (np.clip((cells + 1) * CELL_MM, x0, x1) - x0)
        low[cells] = np.minimum(low[cells], np.minimum(start, end))
        high[cells] = np.maximum(high[cells], np.maximum(start, end))
    return low, high


def drop_onto(
    stock: Stock,
    blanks: Sequence[str],
    poses: Mapping[str, tuple[Pose, ...]],
    gap_mm: float,
    rng: random.Random,
    until: Until,
) -> list[Placement]:
    """Drop blanks, the first of them sooner, onto one rectangular unit until none finds room."""
    length = stock.length_mm - 2 * stock.end_trim_mm + gap_mm
    width = stock.width_mm + gap_mm
    cells = math.floor(length / CELL_MM + 1e-9)
    top = np.zeros(cells)
    left = list(blanks)
    refused: set[tuple[int, float, float]] = set()
    laid: list[Placement] = []
    while left and not until.over():
        best: tuple[float, str, Pose, int, float] | None = None
        looked: set[tuple[int, float, float]] = set()
        for blank in left:
            if len(looked) >= CANDIDATES:
                break
            pose = poses[blank][0]
            looks = (len(pose.low), round(pose.height_mm, 1), round(pose.area_mm2, -1))
            if looks in looked or looks in refused:
                continue
            found = False
            for pose in poses[blank]:
                waste, at, height = lowest(top, pose.low, pose.height_mm, pose.area_mm2, width)
                if at == NOWHERE:
                    continue
                found = True
                score = waste * rng.uniform(1.0, 1.1)
                if best is None or score < best[0]:
                    best = score, blank, pose, at, height
            if found:
                looked.add(looks)
            else:
                refused.add(looks)
        if best is None:
            break
        _, blank, pose, at, height = best
        inside = slice(at, at + len(pose.low))
        top[inside] = np.maximum(top[inside], height + pose.high)
        left.remove(blank)
        laid.append(
            Placement(
                blank,
                0,
                stock.end_trim_mm - gap_mm / 2 + at * CELL_MM + pose.x_mm,
                -gap_mm / 2 + height + pose.y_mm,
                pose.turn_deg,
                pose.flipped,
            )
        )
    return laid


@compiled
def lowest(
    top: Points, low: Points, height_mm: float, area_mm2: float, width_mm: float
) -> tuple[float, int, float]:
    """Waste, cell and height where a blank wastes least; NOWHERE for the cell without any room.

    ``top``: how high blanks lie over each cell of a unit ``width_mm`` wide; ``low``, ``height_mm``
    and ``area_mm2`` are those of a pose.
    """
    count = len(low)
    beneath_low, under = 0.0, 0.0
    for k in range(count):
        beneath_low += low[k]
    per_height = count * (1.0 + HEIGHT_COUNTS)
    highest = width_mm - height_mm
    least, best_at, best_height = math.inf, NOWHERE, 0.0
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
