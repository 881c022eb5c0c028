"""A unit of stock as a bitmap: where may a blank lie? All positions at once.

One long Python integer holds the free cells, column after column, with one cell of wall between
columns. A block of n rows is free wherever n shifted copies of the map agree, found by doubling;
a pose is free wherever the shifted maps of all its blocks agree. So one pass of a few machine
words for each block gives every position of a pose on the stock.
"""

from dataclasses import dataclass, field

import numpy as np
import shapely

from solver.nests.poses import Grid, Pose, slabs_of_edges
from solver.nests.shapes import Placement, Points, Stock, usable_region


@dataclass(eq=False)
class Board:
    """Free cells of one unit of stock.

    `x0_mm`, `y0_mm` is the lower left corner of the cells in stock coordinates (half a gap outside
    the stock, where no gap is needed). `bits` has a one for each free cell.
    """

    stock: Stock
    grid: Grid
    x0_mm: float
    y0_mm: float
    columns: int
    rows: int
    empty: int
    bits: int = 0
    eroded: dict[tuple[int, int], int] = field(default_factory=dict)
    masks: dict[int, int] = field(default_factory=dict)

    @property
    def stride(self) -> int:
        """Bits from one column to the next: the rows and one cell of wall."""
        return self.rows + 1

    def set_bits(self, bits: int) -> None:
        """Replace the free cells."""
        self.bits = bits
        self.eroded.clear()

    def starts(self, rows: int) -> int:
        """Map of the cells where a pose of so many rows may have its lowest row."""
        mask = self.masks.get(rows)
        if mask is None:
            mask = ((1 << (self.rows - rows + 1)) - 1) * _comb(self.columns, self.stride)
            self.masks[rows] = mask
        return mask

    def free(self, rows: int, columns: int) -> int:
        """Map of the lower left cells of free blocks of so many rows and columns."""
        known = self.eroded.get((rows, columns))
        if known is not None:
            return known
        if columns > 1:
            half = (columns + 1) // 2
            part = self.free(rows, half)
            found = part & (part >> ((columns - half) * self.stride))
        elif rows > 1:
            half = 1 << ((rows - 1).bit_length() - 1)
            part = self.free(half, 1)
            found = part & (part >> (rows - half))
        else:
            found = self.bits
        self.eroded[(rows, columns)] = found
        return found

    def positions(self, pose: Pose, blocks: int | None = None) -> int:
        """Map of the cells where the lower left corner of a pose may lie.

        With `blocks`, only so many blocks of the pose are looked at: a superset.
        """
        if pose.rows > self.rows or pose.columns > self.columns:
            return 0
        return self._narrow(self.starts(pose.rows), pose.runs[:blocks], 0)

    def finish(self, pose: Pose, found: int, base: int, blocks: int) -> int:
        """Look at the blocks of a pose after the first so many; maps begin at column `base`."""
        return self._narrow(found, pose.runs[blocks:], base * self.stride)

    def _narrow(self, found: int, runs: tuple[tuple[int, int, int, int], ...], base: int) -> int:
        stride, known = self.stride, self.eroded
        for column, row, rows, columns in runs:
            free = known.get((rows, columns))
            if free is None:
                free = self.free(rows, columns)
            found &= free >> (base + column * stride + row)
            if not found:
                return 0
        return found

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

    def mask(self, pose: Pose, column: int, row: int) -> int:
        """Cells that a pose covers with its lower left corner at a cell."""
        stride = self.stride
        total = 0
        for c, r, rows, columns in pose.runs:
            block = (1 << rows) - 1
            if columns > 1:
                block *= _comb(columns, stride)
            total |= block << (c * stride + r)
        return total << (column * stride + row)


def _comb(teeth: int, stride: int) -> int:
    """Integer with a one at 0, stride, 2 stride ...: so many teeth."""
    comb, have = 1, 1
    while have < teeth:
        more = min(have, teeth - have)
        comb |= (comb & ((1 << (more * stride)) - 1)) << (have * stride)
        have += more
    return comb


def make_board(stock: Stock, gap_mm: float, grid: Grid) -> Board:
    """Empty board of a unit of stock; columns and rows rounded down."""
    region = usable_region(stock)
    low_x, low_y, high_x, high_y = shapely.bounds(region).tolist()
    columns = int((high_x - low_x + gap_mm) / grid.dx_mm + 1e-7)
    rows = int((high_y - low_y + gap_mm) / grid.dy_mm + 1e-7)
    x0, y0 = low_x - gap_mm / 2, low_y - gap_mm / 2
    empty = ((1 << rows) - 1) * _comb(columns, rows + 1) if rows and columns else 0
    frame = shapely.box(low_x, low_y, high_x, high_y)
    blocked = shapely.difference(frame, region)
    if blocked.area > 1e-6:
        empty &= ~_covered(blocked, x0, y0, columns, rows, gap_mm, grid)
    return Board(stock, grid, x0, y0, columns, rows, empty, empty)


def _covered(
    blocked: shapely.Geometry,
    x0: float,
    y0: float,
    columns: int,
    rows: int,
    gap_mm: float,
    grid: Grid,
) -> int:
    """Cells that a blank grown by half the gap may not cover, since the stock ends there."""
    # A blank inside the stock touches its edge and its grown outline goes half a gap beyond; here
    # it is kept half a gap inside instead, which is simple and safe and costs 1/32 in on offcuts.
    total = 0
    for polygon in shapely.get_parts(blocked):
        rings = [np.asarray(polygon.exterior.coords)]
        rings += [np.asarray(hole.coords) for hole in polygon.interiors]
        a = np.concatenate([ring[:-1] for ring in rings]) - (x0, y0)
        b = np.concatenate([ring[1:] for ring in rings]) - (x0, y0)
        zero = np.zeros(len(a), dtype=np.int64)
        wide = int(max(a[:, 0].max(), b[:, 0].max()) / grid.dx_mm) + 2
        found = slabs_of_edges(a[:, 0], a[:, 1], b[:, 0], b[:, 1], zero, np.array([wide]), grid)
        for slab, low, count in zip(*(part.tolist() for part in found[1:]), strict=True):
            high = min(low + count, rows)
            if slab < columns and low < high:
                total |= ((1 << (high - low)) - 1) << (slab * (rows + 1) + low)
    return total


def covered_cells(board: Board, ring: Points) -> int:
    """Cells that a grown outline at any position touches."""
    points = ring - np.array((board.x0_mm, board.y0_mm))
    points = np.maximum(points, 0.0)
    xa, ya = points[:, 0], points[:, 1]
    zero = np.zeros(len(points), dtype=np.int64)
    columns = np.array([board.columns + 1])
    found = slabs_of_edges(xa, ya, np.roll(xa, -1), np.roll(ya, -1), zero, columns, board.grid)
    total = 0
    parts: list[tuple[int, int]] = []
    for slab, low, count in zip(*(v.tolist() for v in found[1:]), strict=True):
        high = min(low + count, board.rows)
        if slab < board.columns and low < high:
            parts.append((slab * board.stride + low, high - low))
    if not parts:
        return 0
    base = parts[0][0]
    for at, n in parts:
        total |= ((1 << n) - 1) << (at - base)
    return total << base
