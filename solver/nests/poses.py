"""Ways in which a blank may lie, each cut into slabs across the stock.

A pose is one turn and side of a blank, grown by half the cutting gap and cut along x into slabs of
one column each; a slab holds the rows covered by all that the blank covers within it. Two blanks
whose slabs share no cell keep the gap: the cells contain the grown outlines, and outlines grown by
g/2 that do not overlap are g apart. Rounding is outward always.
"""

import math
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import numpy.typing as npt
import shapely

from solver.nests.shapes import Points, Shape

Ints = npt.NDArray[np.int64]

ROUND_OFF = 1e-7
"""Share of a cell by which an outline may pass a cell line unnoticed (1.6e-7 mm on 1/16 in)."""


@dataclass(frozen=True)
class Grid:
    """Cell sizes of the raster: `dx_mm` along the stock, `dy_mm` across it."""

    dx_mm: float
    dy_mm: float


@dataclass(frozen=True)
class Pose:
    """One turn and side of a blank on the grid.

    The blank's origin lies at (`origin_x_mm`, `origin_y_mm`) from the lower left corner of its
    cells. `runs` are (column, row, rows, columns): blocks of cells covered.
    """

    turn_deg: float
    flipped: bool
    origin_x_mm: float
    origin_y_mm: float
    columns: int
    rows: int
    runs: tuple[tuple[int, int, int, int], ...]

    @cached_property
    def blocks(self) -> Ints:
        """The runs as an array of shape (n, 4)."""
        return np.array(self.runs, dtype=np.int64).reshape(-1, 4)


def grown_ring(shape: Shape, gap_mm: float) -> Points:
    """Outline grown by half the gap, never less; shape (n, 2).

    Round corners are drawn with chords, each spanning 1.5 x 90/8 degrees at most (the library
    rounds the number of chords), so the radius is raised until the chords lie outside.
    """
    polygon = shapely.Polygon(shape.outline_mm)
    if gap_mm == 0.0:
        grown = polygon
    elif shape.square:
        grown = shapely.buffer(polygon, gap_mm / 2, join_style="mitre", mitre_limit=2.0)
    else:
        grown = shapely.buffer(polygon, gap_mm / 2 / math.cos(0.75 * math.pi / 16), quad_segs=8)
    return np.asarray(grown.exterior.coords)[:-1]


def poses(
    shape: Shape,
    gap_mm: float,
    grid: Grid,
    angles_deg: "npt.NDArray[np.float64]",
    limits_mm: tuple[float, float],
) -> list[Pose]:
    """Poses of a blank at the angles given, both sides if it may flip.

    Poses whose cells exceed `limits_mm` (length, width; gap included) are left out, and so are
    those that cover the same cells as an earlier one.
    """
    ring = grown_ring(shape, gap_mm)
    sides = (False, True) if shape.may_flip else (False,)
    turns = [(float(a), side) for side in sides for a in angles_deg]
    theta = np.radians([a for a, _ in turns])
    mirror = np.array([-1.0 if side else 1.0 for _, side in turns])
    exact = np.round(theta / (math.pi / 2)) * (math.pi / 2) == theta
    cos, sin = np.cos(theta), np.sin(theta)
    cos[exact], sin[exact] = np.round(cos[exact]), np.round(sin[exact])
    x0, y0 = ring[:, 0][None, :], ring[:, 1][None, :] * mirror[:, None]
    x = x0 * cos[:, None] - y0 * sin[:, None]
    y = x0 * sin[:, None] + y0 * cos[:, None]
    low_x, low_y = x.min(axis=1), y.min(axis=1)
    wide, high = x.max(axis=1) - low_x, y.max(axis=1) - low_y
    fits = np.nonzero((wide <= limits_mm[0] + 1e-6) & (high <= limits_mm[1] + 1e-6))[0]
    if not len(fits):
        return []
    x, y = (x - low_x[:, None])[fits], (y - low_y[:, None])[fits]
    columns = np.maximum(1, np.ceil(wide[fits] / grid.dx_mm - ROUND_OFF)).astype(np.int64)
    rows = np.maximum(1, np.ceil(high[fits] / grid.dy_mm - ROUND_OFF)).astype(np.int64)
    which, slab, low, count = slabs(x, y, columns, grid)
    result: list[Pose] = []
    seen: set[tuple[int, int, tuple[tuple[int, int, int, int], ...]]] = set()
    starts = np.searchsorted(which, np.arange(len(fits) + 1))
    for k, original in enumerate(fits.tolist()):
        part = slice(starts[k], starts[k + 1])
        runs = _runs(slab[part].tolist(), low[part].tolist(), count[part].tolist())
        key = (int(columns[k]), int(rows[k]), runs)
        if key in seen:
            continue
        seen.add(key)
        turn, side = turns[original]
        result.append(Pose(turn, side, -float(low_x[original]), -float(low_y[original]), *key))
    return result


def _runs(
    slab: list[int], low: list[int], count: list[int]
) -> tuple[tuple[int, int, int, int], ...]:
    """Slab intervals with neighbours alike joined, in an order that finds clashes early."""
    open_runs: dict[tuple[int, int], list[int]] = {}
    done: list[tuple[int, int, int, int]] = []
    for s, lo, n in zip(slab, low, count, strict=True):
        run = open_runs.get((lo, n))
        if run is not None and run[0] + run[1] == s:
            run[1] += 1
        else:
            if run is not None:
                done.append((run[0], lo, n, run[1]))
            open_runs[(lo, n)] = [s, 1]
    done += [(run[0], lo, n, run[1]) for (lo, n), run in open_runs.items()]
    done.sort()
    order: list[tuple[int, int, int, int]] = []
    for start, step in ((0, 16), (8, 16), (4, 8), (2, 4), (1, 2)):
        order += done[start::step]
    return tuple(order)


def slabs(x: Points, y: Points, columns: Ints, grid: Grid) -> tuple[Ints, Ints, Ints, Ints]:
    """Rows covered in each slab by closed rings.

    `x`, `y` have shape (rings, points), smallest coordinate 0; `columns` the slabs of each ring.
    Returns ring, slab, first row and number of rows of every interval, sorted. What a connected
    region covers of the y axis is what its boundary covers: the ring's own pieces within the slab
    and the chords on the slab's two sides.
    """
    rings, points = x.shape
    xa, ya = x.ravel(), y.ravel()
    xb, yb = np.roll(x, -1, axis=1).ravel(), np.roll(y, -1, axis=1).ravel()
    ring = np.repeat(np.arange(rings), points)
    return slabs_of_edges(xa, ya, xb, yb, ring, columns, grid)


def slabs_of_edges(
    xa: Points, ya: Points, xb: Points, yb: Points, ring: Ints, columns: Ints, grid: Grid
) -> tuple[Ints, Ints, Ints, Ints]:
    """Rows covered in each slab by regions given as edges from (xa, ya) to (xb, yb); see slabs."""
    dx, dy = grid.dx_mm, grid.dy_mm
    swap = xa > xb
    xa, xb = np.where(swap, xb, xa), np.where(swap, xa, xb)
    ya, yb = np.where(swap, yb, ya), np.where(swap, ya, yb)
    last = columns[ring] - 1
    ca = np.clip(np.floor(xa / dx).astype(np.int64), 0, last)
    cb = np.clip(np.floor(xb / dx).astype(np.int64), 0, last)
    number = cb - ca + 1
    edge = np.repeat(np.arange(len(xa)), number)
    offset = np.arange(len(edge)) - np.repeat(np.cumsum(number) - number, number)
    slab = ca[edge] + offset
    slope = np.divide(yb - ya, xb - xa, out=np.zeros_like(xa), where=xb > xa)
    left = np.maximum(xa[edge], slab * dx)
    right = np.minimum(xb[edge], (slab + 1) * dx)
    upright = xb[edge] <= xa[edge]
    y_left = np.where(upright, ya[edge], ya[edge] + slope[edge] * (left - xa[edge]))
    y_right = np.where(upright, yb[edge], ya[edge] + slope[edge] * (right - xa[edge]))
    piece_ring, piece_low, piece_high = (
        ring[edge],
        np.minimum(y_left, y_right),
        np.maximum(y_left, y_right),
    )
    # chords on the line between slab and slab + 1: crossings sorted by height, paired
    crossing = offset < number[edge] - 1
    c_ring, c_slab, c_y = piece_ring[crossing], slab[crossing], y_right[crossing]
    order = np.lexsort((c_y, c_slab, c_ring))
    c_ring, c_slab, c_y = c_ring[order], c_slab[order], c_y[order]
    chord_ring, chord_slab, chord_low, chord_high = c_ring[::2], c_slab[::2], c_y[::2], c_y[1::2]
    all_ring = np.concatenate((piece_ring, chord_ring, chord_ring))
    all_slab = np.concatenate((slab, chord_slab, chord_slab + 1))
    all_low = np.concatenate((piece_low, chord_low, chord_low))
    all_high = np.concatenate((piece_high, chord_high, chord_high))
    low = np.maximum(0, np.floor(all_low / dy + ROUND_OFF)).astype(np.int64)
    high = np.maximum(low + 1, np.ceil(all_high / dy - ROUND_OFF).astype(np.int64))
    # join intervals that overlap or touch, slab by slab
    big = int(high.max()) + 2
    group = (all_ring * (int(columns.max()) + 1) + all_slab) * big
    order = np.argsort(group + low, kind="stable")
    group, low, high = group[order], low[order], high[order]
    reach = np.maximum.accumulate(group + high)
    new = np.empty(len(group), dtype=bool)
    new[0] = True
    new[1:] = (group + low)[1:] > reach[:-1]
    first = np.nonzero(new)[0]
    end = np.append(first[1:], len(group)) - 1
    count = reach[end] - group[first] - low[first]
    return all_ring[order][first], all_slab[order][first], low[first], count
