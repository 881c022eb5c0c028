"""What a layout leaves: rectangles worth keeping, and scrap.

An offcut is worth keeping from 2 x 12 in [practice]. The largest free rectangle is taken first, its
sides pushed out until they meet a blank (the cutting gap away) or the edge of the stock; then the
largest in what remains. All else is scrap: gaps, end trim and what is too small.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import shapely

from solver.nests.poses import Grid, slabs_of_edges
from solver.nests.shapes import Layout, Ring, Shape, Stock, placed_points, usable_region

SHORT_SIDE_MM = 50.8
LONG_SIDE_MM = 304.8
CELL_MM = 12.7
MOST_OFFCUTS = 12
"""Offcuts reported of one unit; smaller ones count as scrap."""
MOST_CELLS_ALONG = 3000


@dataclass(frozen=True)
class Offcut:
    """A rectangle left on unit `unit` of the layout, in that unit's coordinates."""

    unit: int
    outline_mm: Ring

    @property
    def size_mm(self) -> tuple[float, float]:
        """Length (along the stock) and width."""
        (x0, y0), _, (x1, y1), _ = self.outline_mm
        return x1 - x0, y1 - y0


@dataclass(frozen=True)
class Leftovers:
    """Offcuts and areas of a layout: `stock_mm2` = `blanks_mm2` + `offcuts_mm2` + `scrap_mm2`."""

    offcuts: tuple[Offcut, ...]
    stock_mm2: float
    blanks_mm2: float
    offcuts_mm2: float
    scrap_mm2: float


def offcuts(
    layout: Layout, shapes: Sequence[Shape], stocks: Sequence[Stock], gap_mm: float
) -> Leftovers:
    """Offcuts worth keeping, largest first on each unit, and the areas of all."""
    by_id = {shape.id: shape for shape in shapes}
    stock_by_id = {stock.id: stock for stock in stocks}
    kept: list[Offcut] = []
    stock_area = blank_area = 0.0
    for unit, used in enumerate(layout.units):
        stock = stock_by_id[used.stock_id]
        stock_area += (
            stock.length_mm * stock.width_mm
            if stock.outline_mm is None
            else shapely.Polygon(stock.outline_mm).area
        )
        polygons = [
            shapely.Polygon(placed_points(by_id[p.shape_id], p))
            for p in layout.placements
            if p.unit == unit
        ]
        blank_area += float(sum(polygon.area for polygon in polygons))
        kept += [
            Offcut(unit, ((x0, y0), (x1, y0), (x1, y1), (x0, y1)))
            for x0, y0, x1, y1 in _rectangles(stock, polygons, gap_mm)
        ]
    offcut_area = sum(length * width for length, width in (o.size_mm for o in kept))
    scrap = stock_area - blank_area - offcut_area
    return Leftovers(tuple(kept), stock_area, blank_area, offcut_area, scrap)


def as_stock(offcut: Offcut, id_: str) -> Stock:
    """Return the offcut as one unit on hand for the next job."""
    length, width = offcut.size_mm
    return Stock(id_, min(length, width), max(length, width), 0.0, 1, 0)


def _rectangles(
    stock: Stock, polygons: Sequence[shapely.Polygon], gap_mm: float
) -> list[tuple[float, float, float, float]]:
    region = usable_region(stock)
    low_x, low_y, high_x, high_y = shapely.bounds(region).tolist()
    frame = (low_x, low_y, high_x, high_y)
    # true circles lie outside their chords; raised so that the gap is kept
    blocks = [shapely.buffer(polygon, gap_mm * 1.02, quad_segs=8) for polygon in polygons]
    outside = shapely.difference(shapely.box(*frame), region)
    blocks += [part for part in shapely.get_parts(outside) if part.area > 1e-6]
    cell = max(CELL_MM, (high_x - low_x) / MOST_CELLS_ALONG)
    columns, rows = int((high_x - low_x) / cell), int((high_y - low_y) / CELL_MM)
    if columns < 1 or rows < 1:
        return []
    free = np.ones((rows, columns), dtype=bool)
    for block in blocks:
        _block(free, block, (low_x, low_y), Grid(cell, CELL_MM))
    found: list[tuple[float, float, float, float]] = []
    while len(found) < MOST_OFFCUTS:
        cells = _largest(free, cell)
        if cells is None:
            break
        r0, r1, c0, c1 = cells
        free[r0:r1, c0:c1] = False
        box = (
            low_x + c0 * cell,
            low_y + r0 * CELL_MM,
            low_x + c1 * cell,
            low_y + r1 * CELL_MM,
        )
        x0, y0, x1, y1 = _pushed_out(box, frame, blocks)
        short, long = sorted((x1 - x0, y1 - y0))
        if short < SHORT_SIDE_MM or long < LONG_SIDE_MM:
            continue
        found.append((x0, y0, x1, y1))
        taken = shapely.box(x0 - gap_mm, y0 - gap_mm, x1 + gap_mm, y1 + gap_mm)
        blocks.append(taken)
        _block(free, taken, (low_x, low_y), Grid(cell, CELL_MM))
    return found


def _block(
    free: npt.NDArray[np.bool_], block: shapely.Polygon, corner: tuple[float, float], grid: Grid
) -> None:
    """Clear the cells that a polygon touches."""
    rows, columns = free.shape
    high = (corner[0] + columns * grid.dx_mm, corner[1] + rows * grid.dy_mm)
    block = shapely.intersection(block, shapely.box(*corner, *high))
    for part in shapely.get_parts(block):
        if part.geom_type != "Polygon" or part.is_empty:
            continue
        rings = [np.asarray(part.exterior.coords), *(np.asarray(r.coords) for r in part.interiors)]
        a = np.concatenate([ring[:-1] for ring in rings]) - np.array(corner)
        b = np.concatenate([ring[1:] for ring in rings]) - np.array(corner)
        zero = np.zeros(len(a), dtype=np.int64)
        found = slabs_of_edges(a[:, 0], a[:, 1], b[:, 0], b[:, 1], zero, np.array([columns]), grid)
        for slab, low, count in zip(*(v.tolist() for v in found[1:]), strict=True):
            free[low : low + count, slab] = False


def _largest(free: npt.NDArray[np.bool_], cell_mm: float) -> tuple[int, int, int, int] | None:
    """Largest free block of cells (rows r0 to r1, columns c0 to c1) that may be worth keeping.

    Sides may be pushed out by less than two cells each way, so blocks that much too small count.
    """
    rows, columns = free.shape
    high_least, high_long = (int(s / CELL_MM) - 2 for s in (SHORT_SIDE_MM, LONG_SIDE_MM))
    long_least, long_long = (int(s / cell_mm) - 2 for s in (SHORT_SIDE_MM, LONG_SIDE_MM))
    best, best_area = None, 0
    for r0 in range(rows):
        open_ = np.ones(columns + 2, dtype=np.int8)
        open_[0] = open_[-1] = 0
        shortest = long_least if rows - r0 >= high_long else long_long
        for r1 in range(r0, rows):
            open_[1:-1] &= free[r1]
            steps = np.diff(open_)
            starts = np.nonzero(steps == 1)[0]
            if not len(starts):
                break
            lengths = np.nonzero(steps == -1)[0] - starts
            k = int(np.argmax(lengths))
            high, long = r1 - r0 + 1, int(lengths[k])
            if long < shortest or (rows - r0) * long <= best_area:
                break
            useful = (high >= high_least and long >= long_long) or (
                high >= high_long and long >= long_least
            )
            if useful and high * long > best_area:
                best, best_area = (r0, r1 + 1, int(starts[k]), int(starts[k]) + long), high * long
    return best


def _pushed_out(
    box: tuple[float, float, float, float],
    frame: tuple[float, float, float, float],
    blocks: Sequence[shapely.Polygon],
) -> tuple[float, float, float, float]:
    """Rectangle with each side pushed out, one after the other, to the first block or the frame."""
    x0, y0, x1, y1 = box
    tree = np.array(blocks, dtype=object)

    def bounds_in(*window: float) -> npt.NDArray[np.float64]:
        if not len(tree):
            return np.zeros((0, 4))
        parts = shapely.intersection(tree, shapely.box(*window))
        kept = parts[shapely.area(parts) > 1e-9]
        return np.asarray(shapely.bounds(kept)).reshape(-1, 4)

    x1 = float(min(bounds_in(x1, y0, frame[2], y1)[:, 0], default=frame[2]))
    x0 = float(max(bounds_in(frame[0], y0, x0, y1)[:, 2], default=frame[0]))
    y1 = float(min(bounds_in(x0, y1, x1, frame[3])[:, 1], default=frame[3]))
    y0 = float(max(bounds_in(x0, frame[1], x1, y0)[:, 3], default=frame[1]))
    return x0, y0, x1, y1
