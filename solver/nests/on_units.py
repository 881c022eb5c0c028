"""Blanks on a given purchase: one nest, kept if every blank finds its place."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from solver.data.until import Until
from solver.nests.nest_into import nest_into
from solver.nests.shapes import Purchase, Shape, Stock


def nest_on(
    shapes: Sequence[Shape],
    stocks: Sequence[Stock],
    gap_mm: float,
    numbers: Mapping[str, int],
    *,
    seed: int,
    effort: int,
    until: Until,
) -> Purchase:
    """Nest on so many bought units of each stock and all that is on hand.

    Nothing else is tried: where a blank is left over the layout is not complete.  ``effort`` counts
    steps of the nest's search.
    """
    shelf = [stock for stock in stocks for _ in range(stock.on_hand)]
    shelf.sort(key=lambda stock: stock.width_mm * stock.length_mm)
    bought = [stock for stock in stocks for _ in range(numbers.get(stock.id, 0))]
    bought.sort(key=lambda stock: (stock.width_mm, stock.length_mm))
    layout = nest_into(shapes, shelf + bought, gap_mm, seed, effort, until)
    price = {stock.id: stock.price for stock in stocks}
    used: dict[str, int] = {}
    from_hand: dict[str, int] = {}
    for unit in layout.units:
        part = used if unit.bought else from_hand
        part[unit.stock_id] = part.get(unit.stock_id, 0) + 1
    return Purchase(
        used,
        from_hand,
        layout,
        sum(price[stock] * count for stock, count in used.items()),
        layout.cut_short,
        1,
    )
