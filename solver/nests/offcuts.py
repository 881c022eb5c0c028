"""What a layout leaves: offcuts worth keeping, with their real outlines, and scrap.

The free region of a unit is what may be used of it less the blanks grown by the cutting gap.
Slivers thinner than 2 in drop out of it; each connected part in which a rectangle of 2 x 12 in
[practice] lies is an offcut. Where its largest rectangle is nearly all of it, that rectangle is
kept, and what remains is looked at again; else the outline itself, drawn with few corners that
never come nearer to a blank than the gap. All else is scrap: gaps, end trim, what is too small.
"""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from operator import itemgetter

import numpy as np
import numpy.typing as npt
import shapely
from shapely import affinity

from solver.nests.poses import Grid, slabs_of_edges
from solver.nests.shapes import Layout, Ring, Shape, Stock, placed_points, usable_region

SHORT_SIDE_MM = 50.8
LONG_SIDE_MM = 304.8
LEAST_AREA_MM2 = SHORT_SIDE_MM * LONG_SIDE_MM
MOST_OFFCUTS = 12
"""Offcuts reported of one unit; smaller ones count as scrap."""
NEARLY_ALL = 0.85
"""A rectangle that is so much of a part is kept in its place: it is easier to cut and to keep."""
PLAINER_MM = 0.8
"""Outlines keep up to so much more than the gap from a curved blank, and so need fewer corners."""
MOST_CORNERS = 200
"""Of an outline; a scenario takes no more."""
CELL_MM = 12.7
MOST_CELLS_ALONG = 400
TRIED = 4
"""Blocks of cells that are pushed out to find the largest rectangle at one angle."""
HAIR_MM = 1e-3
CHORDS = 1.02
"""Chords of a circle of 22.5 degrees each lie outside the true one when drawn so much larger."""

Box = tuple[float, float, float, float]


@dataclass(frozen=True)
class Offcut:
    """What is left on unit `unit` of the layout, in that unit's coordinates.

    `holds_mm` are the corners of the largest rectangle found in it: the outline itself where that
    is a rectangle.
    """

    unit: int
    outline_mm: Ring
    holds_mm: Ring

    @property
    def size_mm(self) -> tuple[float, float]:
        """Sides of the rectangle that it holds, that nearer to the length of the stock first."""
        a, b, c, _ = self.holds_mm
        return math.dist(a, b), math.dist(b, c)

    @property
    def is_rectangle(self) -> bool:
        """Whether it is no more than the rectangle that it holds."""
        return self.outline_mm == self.holds_mm

    @property
    def area_mm2(self) -> float:
        """Area of the outline."""
        return float(shapely.Polygon(self.outline_mm).area)


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
        blocks = [_kept_off(polygon, gap_mm) for polygon in polygons]
        free = shapely.difference(usable_region(stock), shapely.union_all(blocks))
        kept += [
            Offcut(unit, _ring(outline), _ring(held))
            for outline, held in _worth_keeping(free, gap_mm)
        ]
    offcut_area = sum(offcut.area_mm2 for offcut in kept)
    scrap = stock_area - blank_area - offcut_area
    return Leftovers(tuple(kept), stock_area, blank_area, offcut_area, scrap)


def as_stock(offcut: Offcut, id_: str) -> Stock:
    """Return the offcut as one unit on hand for the next job."""
    xy = np.asarray(offcut.outline_mm)
    low, high = xy.min(axis=0), xy.max(axis=0)
    length, width = (high - low).tolist()
    if offcut.is_rectangle and abs(length * width - offcut.area_mm2) < 1e-6 * offcut.area_mm2:
        return Stock(id_, min(length, width), max(length, width), 0.0, 1, 0)
    moved = tuple((float(x), float(y)) for x, y in xy - low)
    return Stock(id_, width, length, 0.0, 1, 0, outline_mm=moved)


def _ring(polygon: shapely.Polygon) -> Ring:
    """Corners, counter-clockwise; a rectangle's from the least x of the lowest."""
    points = np.asarray(shapely.orient_polygons(polygon).exterior.coords)[:-1]
    if len(points) == 4:
        points = np.roll(points, -int(np.lexsort((points[:, 0], np.round(points[:, 1], 6)))[0]), 0)
    return tuple((float(x), float(y)) for x, y in points)


def _kept_off(polygon: shapely.Polygon, gap_mm: float) -> shapely.Polygon:
    """A blank grown by the gap; a curved one by a little more, and with fewer corners."""
    if abs(polygon.area - shapely.envelope(polygon).area) < 1e-6 * polygon.area:
        x0, y0, x1, y1 = polygon.bounds
        return shapely.box(x0 - gap_mm, y0 - gap_mm, x1 + gap_mm, y1 + gap_mm)
    grown = shapely.buffer(polygon, CHORDS * (gap_mm + PLAINER_MM), quad_segs=4)
    plainer = shapely.simplify(grown, 0.95 * PLAINER_MM)
    # points move by no more than the tolerance, but for the one at which a ring begins
    near = shapely.distance(polygon, shapely.boundary(plainer)) < gap_mm
    return grown if near else plainer


def _opened(region: shapely.Geometry) -> list[shapely.Polygon]:
    """Connected parts of a region without what is thinner than 2 in."""
    reach = SHORT_SIDE_MM / 2 - HAIR_MM
    core = shapely.buffer(region, -reach, join_style="mitre", mitre_limit=2.0)
    if core.is_empty:
        return []
    wide = shapely.buffer(core, reach + HAIR_MM, join_style="mitre", mitre_limit=2.0)
    parts = shapely.get_parts(shapely.intersection(wide, region))
    return [
        part
        for part in parts.tolist()
        if part.geom_type == "Polygon" and part.area >= LEAST_AREA_MM2 * (1 - 1e-6)
    ]


def _worth_keeping(
    free: shapely.Geometry, gap_mm: float
) -> list[tuple[shapely.Polygon, shapely.Polygon]]:
    """Offcuts of a free region with the rectangle that each holds, largest first."""
    waiting = _opened(free)
    found: list[tuple[shapely.Polygon, shapely.Polygon]] = []
    turns = 0
    while waiting and len(found) < MOST_OFFCUTS and turns < 4 * MOST_OFFCUTS:
        turns += 1
        waiting.sort(key=lambda part: (-part.area, part.bounds))
        part = waiting.pop(0)
        if part.interiors:
            waiting += _opened(_cut_at_hole(part, gap_mm))
            continue
        part = _plain(part)
        if part is None or (held := largest_rectangle(part)) is None:
            continue
        if held.area < NEARLY_ALL * part.area:
            found.append((part, held))
            continue
        found.append((held, held))
        around = shapely.buffer(held, gap_mm, join_style="mitre")
        waiting += _opened(shapely.difference(part, around))
    found.sort(key=lambda pair: (-pair[0].area, pair[0].bounds))
    return found


def _cut_at_hole(part: shapely.Polygon, gap_mm: float) -> shapely.Geometry:
    """A part with a hole, cut across at the middle of its first hole: a sheet is cut, no ring."""
    _, y0, _, y1 = part.bounds
    x0, _, x1, _ = shapely.Polygon(part.interiors[0]).bounds
    middle, half = (x0 + x1) / 2, max(gap_mm, HAIR_MM) / 2
    return shapely.difference(part, shapely.box(middle - half, y0 - 1.0, middle + half, y1 + 1.0))


def _plain(part: shapely.Polygon) -> shapely.Polygon | None:
    """A part within one, with no more corners than an outline may have."""
    part = shapely.remove_repeated_points(part, 1e-7)
    tolerance = PLAINER_MM
    while len(part.exterior.coords) - 1 > MOST_CORNERS or not part.is_valid:
        within = shapely.buffer(part, -tolerance, join_style="mitre")
        plainer = shapely.simplify(within, 0.95 * tolerance)
        parts = [p for p in shapely.get_parts(plainer).tolist() if p.geom_type == "Polygon"]
        if not parts:
            return None
        part = shapely.Polygon(max(parts, key=lambda p: p.area).exterior)
        tolerance *= 2
    return part


def largest_rectangle(part: shapely.Polygon) -> shapely.Polygon | None:
    """Large rectangle of at least 2 x 12 in within a part, square to it or to its longest sides.

    None where none was found.
    """
    angles = [0.0, *_directions(part)]
    best: shapely.Polygon | None = None
    for angle in angles:
        turned = affinity.rotate(part, -angle, origin=(0.0, 0.0)) if angle else part
        box = _largest_box(turned)
        if box is None or (best is not None and shapely.box(*box).area <= best.area * (1 + 1e-6)):
            continue
        best = shapely.box(*box)
        if angle:
            best = affinity.rotate(best, angle, origin=(0.0, 0.0))
            # turning there and back leaves rounding: a hair less lies within for certain
            best = shapely.buffer(best, -HAIR_MM / 10, join_style="mitre")
    return best


def _directions(part: shapely.Polygon) -> list[float]:
    """Angles worth trying besides 0: of the least rectangle around, and of the longest sides."""
    around = shapely.oriented_envelope(part)
    rings = [np.asarray(around.exterior.coords), np.asarray(part.exterior.coords)]
    angles: list[float] = []
    for ring, number in zip(rings, (1, 2), strict=True):
        sides = np.diff(ring, axis=0)
        longest = np.argsort(-np.hypot(*sides.T), kind="stable")[:number]
        for x, y in sides[longest].tolist():
            angle = round(math.degrees(math.atan2(y, x)) % 90.0, 3)
            apart = [abs((angle - known + 45.0) % 90.0 - 45.0) for known in (0.0, *angles)]
            if min(apart) > 1.0:
                angles.append(angle)
    return angles


def _largest_box(part: shapely.Polygon) -> Box | None:
    """Largest box found along the axes within a part; None if none of 2 x 12 in was."""
    frame: Box = part.bounds
    x0, y0, x1, y1 = frame
    cell = Grid(max(CELL_MM, (x1 - x0) / MOST_CELLS_ALONG), CELL_MM)
    columns, rows = int((x1 - x0) / cell.dx_mm), int((y1 - y0) / cell.dy_mm)
    if columns < 1 or rows < 1:
        return None
    outside = shapely.difference(shapely.box(*frame), part)
    walls = [wall for wall in shapely.get_parts(outside).tolist() if wall.geom_type == "Polygon"]
    free = np.ones((rows, columns), dtype=bool)
    for wall in walls:
        _block(free, wall, (x0, y0), cell)
    best: Box | None = None
    for r0, r1, c0, c1 in _blocks(free, cell)[:TRIED]:
        box = (
            x0 + c0 * cell.dx_mm,
            y0 + r0 * cell.dy_mm,
            x0 + c1 * cell.dx_mm,
            y0 + r1 * cell.dy_mm,
        )
        box = _pushed_out(box, frame, walls)
        short, long = sorted((box[2] - box[0], box[3] - box[1]))
        if short < SHORT_SIDE_MM - 1e-6 or long < LONG_SIDE_MM - 1e-6:
            continue
        if best is None or short * long > (best[2] - best[0]) * (best[3] - best[1]):
            best = box
    return best


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


def _blocks(free: npt.NDArray[np.bool_], cell: Grid) -> list[tuple[int, int, int, int]]:
    """Free blocks of cells (rows r0 to r1, columns c0 to c1) that may be worth keeping, by area.

    For each row the widest block of each height that ends there, by a stack of rising heights.
    Sides may be pushed out by less than two cells each way, so blocks that much too small count.
    """
    high_least, high_long = (int(side / cell.dy_mm) - 2 for side in (SHORT_SIDE_MM, LONG_SIDE_MM))
    wide_least, wide_long = (int(side / cell.dx_mm) - 2 for side in (SHORT_SIDE_MM, LONG_SIDE_MM))
    found: list[tuple[int, int, int, int, int]] = []
    heights = np.zeros(free.shape[1], dtype=np.int64)
    last = len(free) - 1
    for row, line in enumerate(free):
        heights = np.where(line, heights + 1, 0)
        below = free[row + 1] if row < last else np.zeros_like(line)
        stack: list[tuple[int, int]] = []
        for column, height in enumerate([*heights.tolist(), 0]):
            start = column
            while stack and stack[-1][1] >= height:
                start, high = stack.pop()
                wide = column - start
                useful = (high >= high_least and wide >= wide_long) or (
                    high >= high_long and wide >= wide_least
                )
                # one that could grow by the next row is met again there
                if high and wide and useful and not below[start:column].all():
                    found.append((-high * wide, row + 1 - high, row + 1, start, column))
            if height:
                stack.append((start, height))
    found.sort()
    return [block[1:] for block in found]


def _pushed_out(box: Box, frame: Box, walls: Iterable[shapely.Polygon]) -> Box:
    """Box with each side pushed out, one after the other, to the first wall or the frame."""
    x0, y0, x1, y1 = box
    all_walls = np.array(list(walls), dtype=object)

    def bounds_in(*window: float) -> list[list[float]]:
        if not len(all_walls):
            return []
        parts = shapely.intersection(all_walls, shapely.box(*window))
        kept = parts[shapely.area(parts) > 1e-9]
        bounds: list[list[float]] = np.asarray(shapely.bounds(kept)).reshape(-1, 4).tolist()
        return bounds

    x1 = min(map(itemgetter(0), bounds_in(x1, y0, frame[2], y1)), default=frame[2])
    x0 = max(map(itemgetter(2), bounds_in(frame[0], y0, x0, y1)), default=frame[0])
    y1 = min(map(itemgetter(1), bounds_in(x0, y1, x1, frame[3])), default=frame[3])
    y0 = max(map(itemgetter(3), bounds_in(x0, frame[1], x1, y0)), default=frame[1])
    return x0, y0, x1, y1
