"""Proven least price of stock on which these very blanks could be nested."""

import math
from collections.abc import Sequence

from solver.nests.price_rows import Rows, cheapest, price_rows
from solver.nests.shapes import (
    PriceBound,
    Shape,
    Stock,
    check_gap,
    check_shapes,
    check_stocks,
)


def price_bound(
    shapes: Sequence[Shape], stocks: Sequence[Stock], gap_mm: float, curved: bool | None = None
) -> PriceBound:
    """Least price that any purchase can have, over all nests the blanks' freedom allows.

    Everything on hand counts as there for nothing; `curved` as in price_rows. Raises ValueError as
    nest_into does.
    """
    check_shapes(shapes)
    check_stocks(stocks)
    check_gap(gap_mm)
    return bound_from_rows(price_rows(shapes, stocks, gap_mm, curved=curved), stocks)


def bound_from_rows(rows: Rows, stocks: Sequence[Stock]) -> PriceBound:
    """Least price of whole units that meets the rows."""
    if rows.impossible is not None:
        return PriceBound(math.inf, rows.impossible)
    _, value = cheapest(
        rows,
        [stock.price for stock in stocks],
        [stock.on_hand for stock in stocks],
        [stock.for_sale for stock in stocks],
    )
    used = sorted(set(rows.names))
    basis = "; ".join(used) if used else "nothing to nest"
    if math.isinf(value):
        basis = "the stock that can be had does not hold these blanks: " + basis
    return PriceBound(value, basis)
