"""Is a layout right? Measured with shapely on the outlines themselves, whatever made the layout.

Inside the usable stock, the cutting gap kept between every two blanks (none at the stock's own
edge), every blank placed as often as asked, turns and flips as allowed, stock as available.
"""

from collections import Counter
from collections.abc import Sequence

import numpy as np
import shapely

from solver.nests.shapes import (
    Layout,
    Shape,
    Stock,
    placed_points,
    usable_region,
)

TOLERANCE_MM = 1e-6
"""Slack of every length compared here: rounding of coordinates, nothing that can be cut."""


def verify(
    layout: Layout, shapes: Sequence[Shape], stocks: Sequence[Stock], gap_mm: float
) -> tuple[str, ...]:
    """Faults of a layout in words, empty when it is right.

    A blank placed too seldom is a fault only where the layout claims to be complete.
    """
    by_id = {shape.id: shape for shape in shapes}
    stock_by_id = {stock.id: stock for stock in stocks}
    faults: list[str] = []
    faults += _stock_faults(layout, stock_by_id)
    counts = Counter(placement.shape_id for placement in layout.placements)
    for unknown in sorted(set(counts) - set(by_id)):
        faults.append(f"blank {unknown!r} is placed but was not asked for")
    for shape in shapes:
        placed = counts[shape.id]
        if placed > shape.quantity or (layout.complete and placed < shape.quantity):
            faults.append(f"blank {shape.id!r} is placed {placed} times, asked {shape.quantity}")
    for placement in layout.placements:
        if placement.shape_id not in by_id:
            continue
        shape = by_id[placement.shape_id]
        if placement.flipped and not shape.may_flip:
            faults.append(f"blank {shape.id!r} is turned over, which it may not be")
        if shape.square and placement.turn_deg % 90.0 != 0.0:
            faults.append(f"blank {shape.id!r} lies at {placement.turn_deg} degrees, not square")
        if not 0 <= placement.unit < len(layout.units):
            faults.append(f"blank {shape.id!r} lies on unit {placement.unit}, which does not exist")
    if faults:
        return tuple(faults)
    for unit, used in enumerate(layout.units):
        faults += _unit_faults(layout, unit, by_id, stock_by_id[used.stock_id], gap_mm)
    return tuple(faults)


def _stock_faults(layout: Layout, stock_by_id: dict[str, Stock]) -> list[str]:
    faults = []
    for (stock_id, bought), number in Counter((u.stock_id, u.bought) for u in layout.units).items():
        stock = stock_by_id.get(stock_id)
        if stock is None:
            faults.append(f"stock {stock_id!r} is used but not listed")
        elif bought and stock.for_sale is not None and number > stock.for_sale:
            faults.append(f"stock {stock_id!r}: {number} bought, {stock.for_sale} for sale")
        elif not bought and number > stock.on_hand:
            faults.append(f"stock {stock_id!r}: {number} taken, {stock.on_hand} on hand")
    return faults


def _unit_faults(
    layout: Layout, unit: int, by_id: dict[str, Shape], stock: Stock, gap_mm: float
) -> list[str]:
    placements = [p for p in layout.placements if p.unit == unit]
    if not placements:
        return []
    polygons = np.array(
        [shapely.Polygon(placed_points(by_id[p.shape_id], p)) for p in placements], dtype=object
    )
    region = shapely.buffer(usable_region(stock), TOLERANCE_MM, join_style="mitre")
    shapely.prepare(region)
    faults = [
        f"blank {placements[i].shape_id!r} leaves unit {unit} ({stock.id!r})"
        for i in np.nonzero(~shapely.covers(region, polygons))[0]
    ]
    for i, j in clashes(polygons, gap_mm):
        distance = shapely.distance(polygons[i], polygons[j])
        faults.append(
            f"blanks {placements[i].shape_id!r} and {placements[j].shape_id!r} on unit {unit} "
            f"are {distance:.6f} mm apart, {gap_mm} asked"
        )
    return faults


def clashes(polygons: "np.typing.NDArray[np.object_]", gap_mm: float) -> list[tuple[int, int]]:
    """Index pairs of polygons nearer to one another than the gap (less the tolerance).

    With no gap asked polygons may touch: they clash where they share more than a hair's area.
    """
    if len(polygons) < 2:
        return []
    tree = shapely.STRtree(polygons)
    if gap_mm > TOLERANCE_MM:
        first, second = tree.query(polygons, "dwithin", distance=gap_mm - TOLERANCE_MM)
        keep = first < second
        return list(zip(first[keep].tolist(), second[keep].tolist(), strict=True))
    first, second = tree.query(polygons, "intersects")
    keep = first < second
    first, second = first[keep], second[keep]
    shared = shapely.area(shapely.intersection(polygons[first], polygons[second]))
    hair = TOLERANCE_MM * np.minimum(
        shapely.length(polygons[first]), shapely.length(polygons[second])
    )
    bad = shared > hair
    return list(zip(first[bad].tolist(), second[bad].tolist(), strict=True))
