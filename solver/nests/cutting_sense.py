"""Layouts that a builder would rather cut, of the same units: nothing is bought for it.

A side on the metal's own edge needs no cut. In each stretch of a unit that is parted from the rest
by a line across, blanks lie in lanes one above the other; lanes can change places, so the longest
sides go to the two edges. Straight blanks alike can change places too, so mirrored twins come to
lie side by side. No change may cost anything of the offcuts that are kept.
"""

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np
import numpy.typing as npt
import shapely

from solver.nests.lanes import is_box
from solver.nests.offcuts import offcuts
from solver.nests.shapes import Layout, Shape, Stock, placed_points
from solver.nests.verify import verify

ON_EDGE_MM = 0.05
"""A side this near to the metal's own edge lies on it: below the width of a scribed line."""
SAME_MM2 = 1.0
"""Offcuts that lose less than this lose nothing."""

Points = npt.NDArray[np.float64]
Boxes = npt.NDArray[np.float64]


def own_edges(stock: Stock) -> Points:
    """Edges that a unit comes with, as pairs of points; shape (n, 2, 2).

    The ends of a roll are cut off, so it has two; of an offcut all sides are there already.
    """
    long, wide = stock.length_mm, stock.width_mm
    if stock.outline_mm is not None:
        ring = np.asarray(stock.outline_mm, dtype=np.float64)
    else:
        ring = np.array([(0.0, 0.0), (long, 0.0), (long, wide), (0.0, wide)])
    edges = np.stack((ring, np.roll(ring, -1, axis=0)), axis=1)
    return edges[::2] if stock.end_trim_mm > 0 and stock.outline_mm is None else edges


def length_on_edges_mm(outline: Points, edges: Points) -> float:
    """Length of a placed outline (n, 2) that lies on edges (m, 2, 2), each side on one of them."""
    a = outline[:, None, :]
    b = np.roll(outline, -1, axis=0)[:, None, :]
    start = edges[None, :, 0]
    along = edges[None, :, 1] - start
    length = np.hypot(along[..., 0], along[..., 1])
    unit = along / length[..., None]
    off = [
        np.abs((p - start)[..., 0] * unit[..., 1] - (p - start)[..., 1] * unit[..., 0])
        for p in (a, b)
    ]
    at = [((p - start) * unit).sum(axis=-1) for p in (a, b)]
    low = np.clip(np.minimum(*at), 0.0, length)
    high = np.clip(np.maximum(*at), 0.0, length)
    shared = np.where((off[0] <= ON_EDGE_MM) & (off[1] <= ON_EDGE_MM), high - low, 0.0)
    return float(shared.max(axis=1).sum())


def borders_mm(outlines: Sequence[Points], stock: Stock) -> tuple[float, float]:
    """Length of the borders of blanks placed on a unit, and of what lies on its own edges."""
    edges = own_edges(stock)
    whole = [np.hypot(*(np.roll(one, -1, axis=0) - one).T).sum() for one in outlines]
    return float(sum(whole)), sum(length_on_edges_mm(one, edges) for one in outlines)


def cut_sensibly(
    layout: Layout,
    shapes: Sequence[Shape],
    stocks: Sequence[Stock],
    gap_mm: float,
    twins: Mapping[str, str] | None = None,
) -> Layout:
    """Return the layout, or one on the same units with more of its blanks' sides on their edges.

    ``twins`` name mirrored pieces by the ids of their shapes.
    """
    by_id = {shape.id: shape for shape in shapes}
    stock_by_id = {stock.id: stock for stock in stocks}
    ample = [replace(s, on_hand=len(layout.units), for_sale=None) for s in stocks]
    for unit, used in enumerate(layout.units):
        stock = stock_by_id[used.stock_id]
        if stock.outline_mm is not None:
            continue
        kept = _kept_mm2(layout, unit, shapes, stocks, gap_mm)
        for to_top in (True, False):
            tried = _lanes_moved(layout, unit, by_id, stock, gap_mm, to_top)
            if _on_edges_mm(tried, unit, by_id, stock) <= _on_edges_mm(
                layout, unit, by_id, stock
            ) + 1e-6 or verify(tried, shapes, ample, gap_mm):
                continue
            if _kept_mm2(tried, unit, shapes, stocks, gap_mm) >= kept - SAME_MM2:
                layout = tried
                break
    return _twins_together(layout, by_id, gap_mm, twins or {})


def _on_edges_mm(layout: Layout, unit: int, shapes: Mapping[str, Shape], stock: Stock) -> float:
    edges = own_edges(stock)
    return sum(
        length_on_edges_mm(placed_points(shapes[p.shape_id], p), edges)
        for p in layout.placements
        if p.unit == unit
    )


def _kept_mm2(
    layout: Layout, unit: int, shapes: Sequence[Shape], stocks: Sequence[Stock], gap_mm: float
) -> float:
    """Area of the offcuts of one unit."""
    placed = tuple(replace(p, unit=0) for p in layout.placements if p.unit == unit)
    alone = Layout((layout.units[unit],), placed, True)
    return offcuts(alone, shapes, stocks, gap_mm).offcuts_mm2


def _lanes_moved(
    layout: Layout,
    unit: int,
    shapes: Mapping[str, Shape],
    stock: Stock,
    gap_mm: float,
    to_top: bool,
) -> Layout:
    """Layout with the lanes of each stretch of a unit in the order that has most on the edges.

    The last lane lies at the upper edge with ``to_top``, else all close to the lower one.
    """
    which = [i for i, p in enumerate(layout.placements) if p.unit == unit]
    points = [placed_points(shapes[layout.placements[i].shape_id], layout.placements[i])
              for i in which]  # fmt: skip
    boxes = np.array([(*p.min(axis=0), *p.max(axis=0)) for p in points])
    moved = list(layout.placements)
    for block in _parted(boxes, 0, gap_mm):
        lanes = [block[lane] for lane in _parted(boxes[block], 1, gap_mm)]
        low = [_side_mm(points, boxes, lane, lower=True) for lane in lanes]
        high = [_side_mm(points, boxes, lane, lower=False) for lane in lanes]
        order = _order(low, high, to_top)
        at = 0.0
        for place, number in enumerate(order):
            lane = lanes[number]
            bottom, top = boxes[lane, 1].min(), boxes[lane, 3].max()
            if to_top and place == len(order) - 1 and (place or high[number] > low[number]):
                at = stock.width_mm - (top - bottom)
            for i in lane.tolist():
                one = layout.placements[which[i]]
                moved[which[i]] = replace(one, y_mm=float(one.y_mm + at - bottom))
            at += top - bottom + gap_mm
    return replace(layout, placements=tuple(moved))


def _parted(boxes: Boxes, axis: int, gap_mm: float) -> list[npt.NDArray[np.intp]]:
    """Groups of boxes parted by straight lines across an axis, with the gap between them."""
    order = np.argsort(boxes[:, axis], kind="stable")
    reach = np.maximum.accumulate(boxes[order, axis + 2])
    new = np.nonzero(boxes[order[1:], axis] >= reach[:-1] + gap_mm - 1e-6)[0] + 1
    return list(np.split(order, new))


def _side_mm(
    points: Sequence[Points], boxes: Boxes, lane: npt.NDArray[np.intp], *, lower: bool
) -> float:
    """Length of the sides of a lane's blanks that lie at its lower or upper border."""
    level = boxes[lane, 1].min() if lower else boxes[lane, 3].max()
    edge = np.array([[(-1e7, level), (1e7, level)]])
    return sum(length_on_edges_mm(points[i], edge) for i in lane.tolist())


def _order(low: Sequence[float], high: Sequence[float], to_top: bool) -> list[int]:
    """Order of lanes upward: at the edges those with most there, the others as they lie."""
    number = len(low)
    rest = list(range(number))
    if number == 1:
        return rest
    if not to_top:
        first = max(rest, key=lambda i: (low[i], -i))
        return [first, *(i for i in rest if i != first)]
    pairs = [(i, j) for i in rest for j in rest if i != j]
    first, last = max(pairs, key=lambda p: (round(low[p[0]] + high[p[1]], 6), -p[0], p[1]))
    return [first, *(i for i in rest if i not in (first, last)), last]


def _twins_together(
    layout: Layout, shapes: Mapping[str, Shape], gap_mm: float, twins: Mapping[str, str]
) -> Layout:
    """Straight blanks alike change places until as many twins as may be lie side by side."""
    pairs = {tuple(sorted((a, b))) for a, b in twins.items() if a != b}
    place = {p.shape_id: i for i, p in enumerate(layout.placements)}

    def alone(one: str) -> bool:
        return one in place and shapes[one].quantity == 1 and is_box(shapes[one])

    pairs = {pair for pair in pairs if alone(pair[0]) and alone(pair[1])}
    placements = list(layout.placements)

    def beside(one: str, other: str) -> bool:
        a, b = placements[place[one]], placements[place[other]]
        if a.unit != b.unit:
            return False
        p, q = (shapely.Polygon(placed_points(shapes[x.shape_id], x)) for x in (a, b))
        return bool(shapely.distance(p, q) <= gap_mm + ON_EDGE_MM)

    def swapped(one: str, other: str) -> None:
        a, b = placements[place[one]], placements[place[other]]
        placements[place[one]] = replace(b, shape_id=one)
        placements[place[other]] = replace(a, shape_id=other)

    settled: set[str] = set()
    for one, other in sorted(pairs):
        if beside(one, other):
            settled |= {one, other}
    for pair in sorted(pairs):
        if pair[0] in settled:
            continue
        for fixed, moving in (pair, pair[::-1]):
            like = [
                shape_id
                for shape_id in sorted(place)
                if shape_id not in settled
                and shape_id not in pair
                and alone(shape_id)
                and _same(shapes[shape_id], shapes[moving])
                and beside(fixed, shape_id)
            ]
            if like:
                swapped(moving, like[0])
                settled |= set(pair)
                break
    return replace(layout, placements=tuple(placements))


def _same(one: Shape, other: Shape) -> bool:
    """Whether two blanks can change places: the same outline, the same freedom to lie."""
    return (
        len(one.outline_mm) == len(other.outline_mm)
        and one.square == other.square
        and one.may_flip == other.may_flip
        and bool(np.allclose(one.outline_mm, other.outline_mm, atol=1e-6, rtol=0))
    )
