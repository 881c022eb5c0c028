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
from typing import NamedTuple

import numpy as np
import numpy.typing as npt
import shapely

from solver.nests.compiled import compiled
from solver.nests.fill import long_axis
from solver.nests.shapes import Points, Ring, Shape

Ints = npt.NDArray[np.int64]
Mask = npt.NDArray[np.bool_]
Nodes = npt.NDArray[np.float32]

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
    depth_mm: Nodes


class Blanks(NamedTuple):
    """The bodies of blanks as compiled code reads them.

    Samples of blank k are rows ``first[k]`` to ``first[k + 1]`` of ``samples_mm``.  Row k of
    ``grid`` (n, 3): columns and rows of its grid, and where its nodes begin in ``nodes_mm``; of
    ``frame`` (n, 3): x and y of its first node, and cells per millimetre.  ``radius_mm`` (n,) to
    its farthest sample; ``free`` (n,) tells whether it may lie at any angle.  ``gap_mm`` is asked
    between blanks.
    """

    first: Ints
    samples_mm: Points
    grid: Ints
    frame: Points
    nodes_mm: Nodes
    radius_mm: Points
    free: Mask
    gap_mm: float


def bodies_of(shapes: Sequence[Shape], gap_mm: float) -> tuple[Body, ...]:
    """Bodies of blanks, one for each shape named (its quantity does not count)."""
    return tuple(_body(shape.outline_mm, gap_mm) for shape in shapes)


def blanks_of(bodies: Sequence[Body], free: Mask, gap_mm: float) -> Blanks:
    """Bodies, one behind the other; equal outlines share their grid."""
    starts: dict[int, int] = {}
    grids: list[Nodes] = []
    size = 0
    for body in bodies:
        if id(body) not in starts:
            starts[id(body)] = size
            grids.append(body.depth_mm.ravel())
            size += body.depth_mm.size
    first = np.cumsum([0, *(len(body.samples_mm) for body in bodies)], dtype=np.int64)
    grid = [(*body.depth_mm.shape, starts[id(body)]) for body in bodies]
    frame = [(*body.low_mm.tolist(), 1.0 / body.cell_mm) for body in bodies]
    return Blanks(
        first,
        np.concatenate([body.samples_mm for body in bodies]),
        np.array(grid, dtype=np.int64),
        np.array(frame),
        np.concatenate(grids),
        np.array([float(np.hypot(*body.samples_mm.T).max()) for body in bodies]),
        free,
        gap_mm,
    )


@compiled
def depth_at(blanks: Blanks, k: int, x: float, y: float) -> tuple[float, float, float]:
    """Depth of a point in blank k, and how it grows along x and y; all in the blank's own axes.

    The outermost nodes lie outside every blank, so what lies beyond them may be read there.
    """
    grid, frame, nodes = blanks.grid, blanks.frame, blanks.nodes_mm
    rows, per_mm = grid[k, 1], frame[k, 2]
    u, v = (x - frame[k, 0]) * per_mm, (y - frame[k, 1]) * per_mm
    # what is no number is not greater either, and must not become an index
    u = min(u, grid[k, 0] - 1.000001) if u > 0.0 else 0.0
    v = min(v, rows - 1.000001) if v > 0.0 else 0.0
    column, row = int(u), int(v)
    u -= column
    v -= row
    at = grid[k, 2] + column * rows + row
    a, c = nodes[at], nodes[at + 1]
    along, after = nodes[at + rows] - a, nodes[at + rows + 1] - c
    low = a + along * u
    rise = c + after * u - low
    return low + rise * v, (along + (after - along) * v) * per_mm, rise * per_mm


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


def _signed(ring: Points, low: Points, cell: float, counts: Ints, margin: float) -> Nodes:
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
    return depth.astype(np.float32)
