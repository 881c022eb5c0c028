"""A unit of stock as cells: where a blank may lie, compiled.

The free cells of a column are bits of whole words. Where n rows are free, n shifted copies of a
column agree, found by doubling and remembered until the column changes; a pose is free wherever the
shifted columns of all its blocks agree. So a few words for each block and column tell all rows at
once. Columns are looked at from the first on, until one will do; most are passed over because they
have nowhere so many free rows as the pose's tallest block wants.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
import numpy.typing as npt
import shapely

from solver.nests.compiled import compiled, compiled_within
from solver.nests.poses import Grid, Ints, Pose, slabs_of_edges
from solver.nests.shapes import Placement, Stock, usable_region

Words = npt.NDArray[np.uint64]

REMEMBERED_BYTES = 1 << 20
"""Of one board, for columns where so many rows are free."""
LEAST_KEPT, MOST_KEPT = 8, 256
"""Numbers of rows for which they are remembered."""
ROWS_KEY = 1 << 12
"""More than any board has rows."""
NOWHERE = -1
"""In place of a column, a row or a pose: there is none."""


class Cells(NamedTuple):
    """Cells of a board as compiled code reads them; bit r of a column's words is row r.

    ``free`` (columns, words); ``version`` (columns,) changes with each column, ``most`` (columns,)
    is its most free rows in a row. ``eroded`` (kept, columns, words) holds the lowest rows of so
    many free ones, ``made`` (kept, columns) of how many and in which version.
    """

    rows: int
    free: Words
    version: Ints
    most: Ints
    eroded: Words
    made: Ints


class Runs(NamedTuple):
    """Poses of one blank as compiled code reads them.

    Pose k has ``columns[k]``, ``rows[k]`` and the blocks ``first[k]`` to ``first[k + 1]``, of which
    ``tallest[k]`` has most rows: rows of ``blocks`` (n, 4): column, row, rows and columns.
    """

    columns: Ints
    rows: Ints
    tallest: Ints
    first: Ints
    blocks: Ints


@dataclass(eq=False)
class Board:
    """Free cells of one unit of stock.

    `x0_mm`, `y0_mm` is the lower left corner of the cells in stock coordinates (half a gap outside
    the stock, where no gap is needed). `empty` and `most_empty` are what of the cells is free, and
    the most rows in a row, where no blank lies.
    """

    stock: Stock
    grid: Grid
    x0_mm: float
    y0_mm: float
    cells: Cells
    empty: Words
    most_empty: Ints

    @property
    def columns(self) -> int:
        """Cells along the stock."""
        return len(self.empty)

    @property
    def rows(self) -> int:
        """Cells across it."""
        return self.cells.rows

    def clear(self) -> None:
        """Take all blanks off."""
        self.cells.free[:] = self.empty
        self.cells.version[:] += 1
        self.cells.most[:] = self.most_empty

    def put(self, pose: Pose, column: int, row: int) -> None:
        """Take the cells of a pose whose lower left corner is there."""
        take(self.cells, pose.blocks, column, row)

    def placement(self, shape_id: str, pose: Pose, column: int, row: int) -> Placement:
        """Placement (on unit 0) of a pose with its lower left corner at a cell."""
        return Placement(
            shape_id,
            0,
            self.x0_mm + column * self.grid.dx_mm + pose.origin_x_mm,
            self.y0_mm + row * self.grid.dy_mm + pose.origin_y_mm,
            pose.turn_deg,
            pose.flipped,
        )


def runs_of(poses: Sequence[Pose]) -> Runs:
    """Poses for compiled code."""
    blocks = [pose.blocks for pose in poses]
    first = np.cumsum([0, *(len(some) for some in blocks)], dtype=np.int64)
    tallest = [int(np.argmax(some[:, 2])) for some in blocks]
    return Runs(
        np.array([pose.columns for pose in poses], dtype=np.int64),
        np.array([pose.rows for pose in poses], dtype=np.int64),
        first[:-1] + np.array(tallest, dtype=np.int64),
        first,
        np.concatenate([np.zeros((0, 4), dtype=np.int64), *blocks]),
    )


def make_board(stock: Stock, gap_mm: float, grid: Grid) -> Board:
    """Empty board of a unit of stock; columns and rows rounded down."""
    region = usable_region(stock)
    low_x, low_y, high_x, high_y = shapely.bounds(region).tolist()
    columns = int((high_x - low_x + gap_mm) / grid.dx_mm + 1e-7)
    rows = int((high_y - low_y + gap_mm) / grid.dy_mm + 1e-7)
    x0, y0 = low_x - gap_mm / 2, low_y - gap_mm / 2
    free = np.zeros((columns, 64 * max(1, math.ceil(rows / 64))), dtype=np.bool_)
    free[:, :rows] = True
    frame = shapely.box(low_x, low_y, high_x, high_y)
    blocked = shapely.difference(frame, region)
    if blocked.area > 1e-6:
        _take_blocked(free, blocked, x0, y0, grid)
    cells = _cells(free, rows)
    return Board(stock, grid, x0, y0, cells, cells.free.copy(), cells.most.copy())


def _cells(free: npt.NDArray[np.bool_], rows: int) -> Cells:
    words = np.packbits(free, axis=1, bitorder="little").view("<u8").astype(np.uint64)
    kept = min(MOST_KEPT, max(LEAST_KEPT, REMEMBERED_BYTES // max(1, words.nbytes)))
    cells = Cells(
        rows,
        words,
        np.ones(len(words), dtype=np.int64),
        np.zeros(len(words), dtype=np.int64),
        np.empty((kept, *words.shape), dtype=np.uint64),
        np.zeros((kept, len(words)), dtype=np.int64),
    )
    _measure(cells, 0, len(words))
    return cells


def _take_blocked(
    free: npt.NDArray[np.bool_], blocked: shapely.Geometry, x0: float, y0: float, grid: Grid
) -> None:
    """Take cells that a blank grown by half the gap may not cover, since the stock ends there."""
    # A blank inside the stock touches its edge and its grown outline goes half a gap beyond; here
    # it is kept half a gap inside instead, which is simple and safe and costs 1/32 in on offcuts.
    for polygon in shapely.get_parts(blocked):
        rings = [np.asarray(polygon.exterior.coords)]
        rings += [np.asarray(hole.coords) for hole in polygon.interiors]
        a = np.concatenate([ring[:-1] for ring in rings]) - (x0, y0)
        b = np.concatenate([ring[1:] for ring in rings]) - (x0, y0)
        zero = np.zeros(len(a), dtype=np.int64)
        wide = int(max(a[:, 0].max(), b[:, 0].max()) / grid.dx_mm) + 2
        found = slabs_of_edges(a[:, 0], a[:, 1], b[:, 0], b[:, 1], zero, np.array([wide]), grid)
        for slab, low, count in zip(*(part.tolist() for part in found[1:]), strict=True):
            if slab < len(free):
                free[slab, low : low + count] = False


@compiled
def best_place(
    cells: Cells, end: int, runs: Runs, which: Ints, stretch: float, high: bool
) -> tuple[int, int, int]:
    """Pose and cell that reach least far: start of the blank plus `stretch` times its length.

    Of the poses `which`, before column `end`, in the highest row that will do or the lowest. Short
    poses are tried first; the others only where they may be better. NOWHERE for all three where
    none fits.
    """
    extents = np.empty(len(which))
    for k in range(len(which)):
        extents[k] = stretch * runs.columns[which[k]] + 1e-3 * runs.rows[which[k]]
    here = np.empty(cells.free.shape[1], np.uint64)
    best_pose, best_column, best_row = NOWHERE, NOWHERE, NOWHERE
    best = math.inf
    for _ in range(len(which)):
        k = int(np.argmin(extents))
        extent, extents[k] = extents[k], math.inf
        pose, last = which[k], end - runs.columns[which[k]]
        if best_pose != NOWHERE:
            last = min(last, math.ceil(best - extent) - 1)
        column = _first_column(cells, last, runs, pose, here)
        if column >= 0 and column + extent < best:
            best = column + extent
            best_pose, best_column, best_row = pose, column, _bit_of(here, high)
    return best_pose, best_column, best_row


@compiled_within
def _first_column(cells: Cells, last: int, runs: Runs, pose: int, here: Words) -> int:
    """First column where a pose may lie, no later than `last`, or NOWHERE.

    `here` becomes its rows there.
    """
    if runs.rows[pose] > cells.rows:
        return NOWHERE
    tallest = runs.tallest[pose]
    within, tall = runs.blocks[tallest, 0], runs.blocks[tallest, 2]
    wide = runs.blocks[tallest, 3]
    column = 0
    while column <= last:
        passed = column
        for at in range(column + within + wide - 1, column + within - 1, -1):
            if cells.most[at] < tall:
                passed = at - within + 1  # no start lets the tallest block cover that column
                break
        if passed > column:
            column = passed
        elif _fits_at(cells, column, runs, pose, here):
            return column
        else:
            column += 1
    return NOWHERE


@compiled_within
def _fits_at(cells: Cells, column: int, runs: Runs, pose: int, here: Words) -> bool:
    """Whether a pose may lie at a column; `here` becomes its rows there."""
    for b in range(runs.first[pose], runs.first[pose + 1]):
        at = column + runs.blocks[b, 0]
        for j in range(at, at + runs.blocks[b, 3]):
            if cells.most[j] < runs.blocks[b, 2]:
                return False
    _allow_below(here, cells.rows - runs.rows[pose] + 1)
    for b in range(runs.first[pose], runs.first[pose + 1]):
        at, row, rows = column + runs.blocks[b, 0], runs.blocks[b, 1], runs.blocks[b, 2]
        for j in range(at, at + runs.blocks[b, 3]):
            if not _narrow(here, cells.eroded[_erode(cells, rows, j), j], row):
                return False
    return True


@compiled_within
def _allow_below(here: Words, rows: int) -> None:
    """Rows below so many."""
    for w in range(len(here)):
        left = rows - 64 * w
        if left >= 64:
            here[w] = ~np.uint64(0)
        elif left > 0:
            here[w] = (np.uint64(1) << np.uint64(left)) - np.uint64(1)
        else:
            here[w] = np.uint64(0)


@compiled_within
def _narrow(here: Words, free: Words, row: int) -> bool:
    """Keep rows that are so far below free ones; whether any are left.

    Both may be the same words: each is read before it is changed.
    """
    skip, bits = row >> 6, np.uint64(row & 63)
    left = np.uint64(0)
    for w in range(len(here)):
        moved = np.uint64(0)
        if w + skip < len(free):
            moved = free[w + skip] >> bits
            if bits and w + skip + 1 < len(free):
                moved |= free[w + skip + 1] << (np.uint64(64) - bits)
        here[w] &= moved
        left |= here[w]
    return bool(left != 0)


@compiled_within
def _erode(cells: Cells, rows: int, column: int) -> int:
    """Where in `eroded` the lowest rows of so many free ones of a column are."""
    kept = rows % len(cells.eroded)
    key = cells.version[column] * ROWS_KEY + rows
    if cells.made[kept, column] == key:
        return kept
    cells.made[kept, column] = key
    words = cells.eroded[kept, column]
    for w in range(len(words)):
        words[w] = cells.free[column, w]
    have = 1
    while have < rows:
        more = min(have, rows - have)
        _narrow(words, words, more)
        have += more
    return kept


@compiled_within
def _bit_of(here: Words, high: bool) -> int:
    """Highest or lowest row of some."""
    count = 64 * len(here)
    for k in range(count):
        row = count - 1 - k if high else k
        if here[row >> 6] >> np.uint64(row & 63) & np.uint64(1):
            return row
    return NOWHERE


@compiled
def take(cells: Cells, blocks: Ints, column: int, row: int) -> None:
    """Take the cells of a pose's blocks, its lower left corner at a cell."""
    end = column
    for b in range(len(blocks)):
        start = column + blocks[b, 0]
        end = max(end, start + blocks[b, 3])
        for c in range(start, start + blocks[b, 3]):
            cells.version[c] += 1
            for r in range(row + blocks[b, 1], row + blocks[b, 1] + blocks[b, 2]):
                cells.free[c, r >> 6] &= ~(np.uint64(1) << np.uint64(r & 63))
    _measure(cells, column, end)


@compiled
def _measure(cells: Cells, start: int, end: int) -> None:
    """Count the most free rows in a row of columns from one up to another."""
    for c in range(start, end):
        most = free = 0
        for w in range(cells.free.shape[1]):
            word = cells.free[c, w]
            if word == ~np.uint64(0):
                free += 64
            elif word == 0:
                most, free = max(most, free), 0
            else:
                for bit in range(64):
                    if word >> np.uint64(bit) & np.uint64(1):
                        free += 1
                    else:
                        most, free = max(most, free), 0
        cells.most[c] = max(most, free)
