"""Many blanks alike in rows, every other one turned round where that saves metal.

The pitch between neighbours is exact: the least shift along the row at which their outlines, grown
by half the gap, do not overlap. Rows fill a rectangle; what is left beside and above them is filled
with rows the same way, turned or not.
"""

import itertools
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely

from solver.nests.poses import grown_ring
from solver.nests.shapes import Placement, Points, Shape, Stock, turned_points, usable_region

DEPTH = 3


@dataclass(frozen=True)
class _Row:
    """A row: two poses in turn as (turn, flipped, low x, low y), their shifts, its height."""

    poses: tuple[tuple[float, bool, float, float], tuple[float, bool, float, float]]
    lengths: tuple[float, float]
    pitches: tuple[float, float]
    height: float

    def number(self, length: float, most: int) -> int:
        """How many blanks fit a length, counting up to `most`."""
        at, n = 0.0, 0
        while n < most and at + self.lengths[n % 2] <= length + 1e-9:
            at += self.pitches[n % 2]
            n += 1
        return n


@dataclass(frozen=True)
class _Spot:
    turn_deg: float
    flipped: bool
    x: float
    y: float


def in_rows(shape: Shape, units: Sequence[Stock], gap_mm: float) -> list[Placement]:
    """Placements of up to `quantity` blanks on rectangular units, fullest rows first."""
    rows = _rows(shape, gap_mm)
    depth = DEPTH if shape.square else DEPTH - 1
    placements: list[Placement] = []
    for unit, stock in enumerate(units):
        low_x, low_y, high_x, high_y = shapely.bounds(usable_region(stock)).tolist()
        left = shape.quantity - len(placements)
        spots = _fill(rows, high_x - low_x + gap_mm, high_y - low_y + gap_mm, depth, left)
        for spot in spots[:left]:
            x, y = low_x - gap_mm / 2 + spot.x, low_y - gap_mm / 2 + spot.y
            placements.append(Placement(shape.id, unit, x, y, spot.turn_deg, spot.flipped))
    return placements


def _rows(shape: Shape, gap_mm: float) -> list[list[_Row]]:
    """Rows along x and rows along y (the latter with x and y exchanged)."""
    ring = grown_ring(shape, gap_mm)
    turns = [0.0, 90.0, 180.0, 270.0]
    if not shape.square:
        box = shapely.oriented_envelope(shapely.Polygon(shape.outline_mm))
        corner = np.diff(np.asarray(box.exterior.coords)[:2], axis=0)[0]
        base = -float(np.degrees(np.arctan2(corner[1], corner[0])))
        turns = [(base + turn) % 360.0 for turn in turns]
    sides = (False, True) if shape.may_flip else (False,)
    ways = [(turn, side) for turn in turns for side in sides]
    found: list[list[_Row]] = []
    for along_y in (False, True):
        outlines: list[tuple[tuple[float, bool, float, float], Points]] = []
        for turn, side in ways:
            points = turned_points(tuple(map(tuple, ring.tolist())), turn, side)
            low_x, low_y = points.min(axis=0).tolist()
            points = points - np.array((low_x, low_y))
            if along_y:
                points = points[:, ::-1]
            outlines.append(((turn, side, low_x, low_y), points))
        rows: list[_Row] = []
        for (pose_a, a), (pose_b, b) in itertools.product(outlines, outlines):
            first, second = _pitch(a, b), _pitch(b, a)
            lack = max(_pitch(a, a), _pitch(b, b)) - first - second
            second += max(0.0, lack)
            lengths = (float(a[:, 0].max()), float(b[:, 0].max()))
            height = float(max(a[:, 1].max(), b[:, 1].max()))
            rows.append(_Row((pose_a, pose_b), lengths, (first, second), height))
        best: dict[float, _Row] = {}
        for row in sorted(rows, key=lambda r: sum(r.pitches)):
            best.setdefault(round(row.height, 6), row)
        found.append(list(best.values()))
    return found


def _pitch(a: Points, b: Points) -> float:
    """Least shift of b along x behind a at which they do not overlap, heights as they are."""
    heights = np.unique(np.concatenate((a[:, 1], b[:, 1])))
    right, left = _reach(a, heights, 1.0), _reach(b, heights, -1.0)
    both = np.isfinite(right) & np.isfinite(left)
    return max(1e-6, float((right + left)[both].max())) if both.any() else 1e-6


def _reach(points: Points, heights: Points, way: float) -> Points:
    """How far an outline reaches toward +x (way 1) or -x (way -1) at each height; -inf off it."""
    xa, ya = points[:, 0], points[:, 1]
    xb, yb = np.roll(xa, -1), np.roll(ya, -1)
    low, high = np.minimum(ya, yb), np.maximum(ya, yb)
    h = heights[:, None]
    on = (low <= h) & (h <= high)
    share = np.divide(h - ya, yb - ya, out=np.zeros((len(heights), len(xa))), where=yb != ya)
    x = xa + share * (xb - xa)
    flat = yb == ya
    x = np.where(flat, np.where(way * xa > way * xb, xa, xb), x)
    return np.asarray(np.where(on, way * x, -np.inf).max(axis=1))


def _fill(
    rows: list[list[_Row]], length: float, width: float, depth: int, most: int
) -> list[_Spot]:
    """Most blanks found in a rectangle grown by half the gap, lower left corner at 0, 0.

    No more than `most` are looked for.
    """
    best: list[_Spot] = []
    if depth == 0 or most <= 0:
        return best
    for along_y, kinds in enumerate(rows):
        long, high = (width, length) if along_y else (length, width)
        for row in kinds:
            number, layers = row.number(long, most), int(high / row.height + 1e-9)
            if number == 0 or layers == 0:
                continue
            layers = min(layers, -(-most // number))
            spots: list[_Spot] = []
            end = 0.0
            for layer in range(layers):
                at = 0.0
                for n in range(number):
                    turn, side, low_x, low_y = row.poses[n % 2]
                    end = at + row.lengths[n % 2]
                    x, y = (layer * row.height, at) if along_y else (at, layer * row.height)
                    spots.append(_Spot(turn, side, x - low_x, y - low_y))
                    at += row.pitches[n % 2]
            for used in range(number, max(number - 2, 0), -1):  # a shorter row leaves a wider rest
                kept = [s for k, s in enumerate(spots) if k % number < used]
                if used < number:
                    end = sum(row.pitches[k % 2] for k in range(used - 1))
                    end += row.lengths[(used - 1) % 2]
                top = layers * row.height
                if along_y:
                    beside = _moved(_fill(rows, top, width - end, depth - 1, most), 0.0, end)
                    above = _moved(_fill(rows, length - top, width, depth - 1, most), top, 0.0)
                else:
                    beside = _moved(_fill(rows, length - end, top, depth - 1, most), end, 0.0)
                    above = _moved(_fill(rows, length, width - top, depth - 1, most), 0.0, top)
                if len(kept) + len(beside) + len(above) > len(best):
                    best = kept + beside + above
    return best


def _moved(spots: list[_Spot], x: float, y: float) -> list[_Spot]:
    return [_Spot(s.turn_deg, s.flipped, s.x + x, s.y + y) for s in spots]
