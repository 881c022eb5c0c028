"""How deep points lie in blanks: signed distances on grids, read for thousands of points at once.

For each outline, on a grid of its own: the distance of every node to the outline, positive inside.
Between nodes it is interpolated, so it is right to a fraction of a cell (less near corners), which
is enough to ease blanks apart; what comes of it is mended and measured elsewhere.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import numpy.typing as npt
import shapely

from solver.nests.fill import long_axis
from solver.nests.shapes import Points, Ring, Shape

Ints = npt.NDArray[np.int64]

CELLS_PER_WIDTH = 8.0
FINEST_MM, COARSEST_MM = 0.5, 10.0
MOST_NODES = 40_000
"""Of one grid: larger blanks get larger cells."""
SPACING_MM = 32.0
"""Between points sampled along an outline; its corners are added."""
CORNER_RAD = 0.35
"""Turns of an outline sharper than this are corners."""
AHEAD_MM = 30.0
"""Depths are known so far outside a blank, the gap added."""
FAR = -1e9
"""Depth where nothing is known: far away."""


@dataclass(frozen=True, eq=False)
class Body:
    """One outline about the middle of its least box.

    ``samples_mm`` (m, 2) lie along the outline; ``axis_rad`` is the turn that brings its long side
    along x, and ``bulge`` the side of that axis on which most of it lies, 1 or -1.  Node (i, j) of
    the grid lies at ``low_mm`` + ``cell_mm`` (i, j).
    """

    middle_mm: Points
    samples_mm: Points
    axis_rad: float
    bulge: float
    area_mm2: float
    low_mm: Points
    cell_mm: float
    depth_mm: npt.NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Depths:
    """The bodies of blanks, for reading depths of points in many of them at once.

    ``samples_mm`` (n, m, 2) are padded; ``real`` (n, m) tells which count.
    """

    bodies: tuple[Body, ...]
    samples_mm: Points
    real: npt.NDArray[np.bool_]
    radius_mm: Points
    low_mm: Points
    cell_mm: Points
    columns: Ints
    rows: Ints
    start: Ints
    nodes: npt.NDArray[np.float64]

    def pages(self, blank: Ints) -> Pages:
        """Where to read the depths of points, one of these blanks for each point."""
        return Pages(
            self.low_mm[blank, 0],
            self.low_mm[blank, 1],
            1.0 / self.cell_mm[blank],
            np.asarray(self.columns[blank] - 1.000001, dtype=np.float64),
            np.asarray(self.rows[blank] - 1.000001, dtype=np.float64),
            self.rows[blank],
            self.start[blank],
            self.nodes,
        )


@dataclass(frozen=True, eq=False)
class Pages:
    """For each point the grid of one blank: kept, since the same points are read many times."""

    low_x: Points
    low_y: Points
    per_mm: Points
    last_u: Points
    last_v: Points
    rows: Ints
    start: Ints
    nodes: Points

    def read(self, x: Points, y: Points) -> tuple[Points, Points, Points]:
        """Depths of points in blanks, and how they grow along x and y; all in a blank's own axes.

        ``x``, ``y`` are from the middle of each point's blank.  The outermost nodes lie outside
        every blank, so what lies beyond them may be read there.
        """
        u = np.minimum(np.maximum((x - self.low_x) * self.per_mm, 0.0), self.last_u)
        v = np.minimum(np.maximum((y - self.low_y) * self.per_mm, 0.0), self.last_v)
        i, j = u.astype(np.int64), v.astype(np.int64)
        u, v = u - i, v - j
        at = self.start + i * self.rows + j
        on = at + self.rows
        a, c = self.nodes[at], self.nodes[at + 1]
        along, after = self.nodes[on] - a, self.nodes[on + 1] - c
        low = a + along * u
        rise = c + after * u - low
        return low + rise * v, (along + (after - along) * v) * self.per_mm, rise * self.per_mm


def depths_of(shapes: Sequence[Shape], gap_mm: float) -> Depths:
    """Bodies of blanks, one for each shape named (its quantity does not count)."""
    bodies = tuple(_body(shape.outline_mm, gap_mm) for shape in shapes)
    most = max(len(body.samples_mm) for body in bodies)
    samples = np.empty((len(bodies), most, 2))
    real = np.zeros((len(bodies), most), dtype=np.bool_)
    for k, body in enumerate(bodies):
        count = len(body.samples_mm)
        samples[k, :count], samples[k, count:] = body.samples_mm, body.samples_mm[0]
        real[k, :count] = True
    # equal outlines share their grid
    starts: dict[int, int] = {}
    grids: list[npt.NDArray[np.float64]] = []
    size = 0
    for body in bodies:
        if id(body) not in starts:
            starts[id(body)] = size
            grids.append(body.depth_mm.ravel())
            size += body.depth_mm.size
    return Depths(
        bodies,
        samples,
        real,
        np.array([float(np.hypot(*body.samples_mm.T).max()) for body in bodies]),
        np.array([body.low_mm for body in bodies]),
        np.array([body.cell_mm for body in bodies]),
        np.array([body.depth_mm.shape[0] for body in bodies], dtype=np.int64),
        np.array([body.depth_mm.shape[1] for body in bodies], dtype=np.int64),
        np.array([starts[id(body)] for body in bodies], dtype=np.int64),
        np.concatenate(grids),
    )


@lru_cache(maxsize=300)
def _body(outline_mm: Ring, gap_mm: float) -> Body:
    turn_deg, _, wide = long_axis(Shape("", outline_mm, square=False, may_flip=False))
    axis = math.radians(turn_deg)
    cos, sin = math.cos(axis), math.sin(axis)
    ring = np.asarray(outline_mm, dtype=np.float64)
    along = ring @ np.array(((cos, sin), (-sin, cos)))
    centre = (along.min(axis=0) + along.max(axis=0)) / 2
    lies = float(shapely.Polygon(along).centroid.y) - centre[1]
    middle = np.array((cos * centre[0] + sin * centre[1], -sin * centre[0] + cos * centre[1]))
    ring = ring - middle
    cell = float(np.clip(wide / CELLS_PER_WIDTH, FINEST_MM, COARSEST_MM))
    margin = gap_mm + AHEAD_MM
    extent = np.ptp(ring, axis=0) + 2 * (margin + cell)
    cell = max(cell, math.sqrt(float(extent.prod()) / MOST_NODES))
    low = ring.min(axis=0) - margin - cell
    counts = np.ceil(extent / cell).astype(np.int64) + 2
    return Body(
        middle,
        _samples(ring),
        axis,
        1.0 if lies >= 0 else -1.0,
        float(shapely.Polygon(ring).area),
        low,
        cell,
        _signed(ring, low, cell, counts, margin),
    )


def _samples(ring: Points) -> Points:
    """Points along an outline at even steps, and its corners."""
    line = shapely.LinearRing(ring)
    count = max(8, math.ceil(line.length / SPACING_MM))
    even = shapely.line_interpolate_point(line, np.arange(count) * (line.length / count))
    ahead, behind = np.roll(ring, -1, axis=0) - ring, ring - np.roll(ring, 1, axis=0)
    turn = np.arctan2(ahead[:, 1], ahead[:, 0]) - np.arctan2(behind[:, 1], behind[:, 0])
    sharp = np.abs((turn + math.pi) % (2 * math.pi) - math.pi) > CORNER_RAD
    return np.concatenate((shapely.get_coordinates(even), ring[sharp]))


def _signed(
    ring: Points, low: Points, cell: float, counts: Ints, margin: float
) -> npt.NDArray[np.float64]:
    """Signed distances at the nodes of a grid; FAR where they are beyond the margin outside."""
    columns, rows = counts.tolist()
    xs, ys = low[0] + np.arange(columns) * cell, low[1] + np.arange(rows) * cell
    polygon, outline = shapely.Polygon(ring), shapely.LinearRing(ring)
    shapely.prepare(polygon)
    shapely.prepare(outline)
    depth = np.full((columns, rows), FAR)
    # distances cost most: blocks of nodes that are far outside are not measured
    block = 4
    first, second = xs[::block], ys[::block]
    x, y = (part.ravel() for part in np.meshgrid(first, second, indexing="ij"))
    near = shapely.dwithin(polygon, shapely.points(x, y), margin + 2 * block * cell)
    near = near.reshape(len(first), len(second)).repeat(block, axis=0).repeat(block, axis=1)
    i, j = np.nonzero(near[:columns, :rows])
    away = shapely.distance(outline, shapely.points(xs[i], ys[j]))
    depth[i, j] = np.where(shapely.contains_xy(polygon, xs[i], ys[j]), away, -away)
    return depth
