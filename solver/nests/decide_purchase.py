"""Straight blanks: every cheaper purchase decided, one by one, whether it holds them at all.

Purchases are asked in order of price, so the first that holds the blanks is the cheapest there is,
and all before it are proven not to. Where the work does not suffice for one, the proof ends at its
price, and a dearer one may still be found to hold them. Square blanks lie square to the stock
(`Shape.square`), so this covers every nest that they may have.
"""

from collections.abc import Sequence, Set
from dataclasses import dataclass

import numpy as np
import shapely

from solver.data.until import FOREVER, Until
from solver.models.rooms import Lies, fit_rooms
from solver.nests import lanes
from solver.nests.price_rows import Rows
from solver.nests.shapes import Placement, Shape, Stock, usable_region

MOST_BLANKS = 40
"""More are too many to decide anything about."""

MOST_PURCHASES = 4000
"""Cheaper purchases that the rows allow: with more there is no end to deciding them."""


LEAST_WORK = 0.1
"""Counted for a purchase that is soon decided."""


@dataclass(frozen=True)
class Decided:
    """Proven least price, at most the one asked about, and a cheaper purchase if one was found.

    `never` are the numbers of purchases proven not to hold the blanks.
    """

    least: float
    never: frozenset[tuple[int, ...]] = frozenset()
    numbers: tuple[int, ...] | None = None
    placements: tuple[Placement, ...] = ()


def can_decide(shapes: Sequence[Shape], stocks: Sequence[Stock]) -> bool:
    """Whether blanks and stock are few rectangles."""
    return (
        0 < sum(shape.quantity for shape in shapes) <= MOST_BLANKS
        and all(lanes.is_box(shape) for shape in shapes)
        and all(stock.outline_mm is None for stock in stocks)
    )


def decide_cheaper(
    shapes: Sequence[Shape],
    stocks: Sequence[Stock],
    gap_mm: float,
    price: float,
    rows: Rows,
    *,
    work: float,
    work_each: float,
    known: Set[tuple[int, ...]] = frozenset(),
    seed: int = 0,
    until: Until = FOREVER,
) -> Decided:
    """Decide purchases cheaper than `price`, cheapest first; `work` as in fit_rooms, for all.

    `known` purchases are proven already.
    Numbers bought are by stock; placements count units on hand first, in order of stock, then those
    bought, in order of stock.
    """
    waiting = cheaper_purchases(stocks, price, rows)
    if waiting is None:
        return Decided(0.0)
    unit_mm = lanes.whole_unit_mm(shapes, gap_mm)
    # rounded down, and stock up: this serves proofs
    kinds = [
        tuple(int((side + gap_mm) / unit_mm + 1e-6) for side in lanes.size_mm(shape))
        for shape in shapes
    ]
    blanks = sorted(
        (k for k, shape in enumerate(shapes) for _ in range(shape.quantity)),
        key=lambda k: (-kinds[k][0] * kinds[k][1], k),
    )
    sizes = [(kinds[k][0], kinds[k][1]) for k in blanks]
    never = set(known)
    least = price
    for spent, numbers in waiting:
        if numbers in never:
            continue
        if work <= 0.0 or until.over():
            return Decided(min(least, spent), frozenset(never))
        units = units_of(stocks, numbers)
        rooms = [_room(stock, gap_mm, unit_mm) for stock in units]
        limit = min(work, work_each)
        decided = fit_rooms(sizes, rooms, work=limit, seed=seed, until=until)
        work -= limit if decided.fits is None else LEAST_WORK
        if decided.fits:
            at = [shapes[k] for k in blanks]
            placements = _placements(at, decided.places, units, unit_mm)
            return Decided(min(least, spent), frozenset(never), numbers, placements)
        if decided.fits is None:
            least = min(least, spent)
        else:
            never.add(numbers)
    return Decided(least, frozenset(never))


def cheaper_purchases(
    stocks: Sequence[Stock], price: float, rows: Rows
) -> list[tuple[float, tuple[int, ...]]] | None:
    """Purchases (price, numbers) that the rows allow, cheapest first; None where they are many."""
    if rows.impossible is not None:
        return []
    limit = price - max(1e-4, 1e-5 * price)
    on_hand = np.array([stock.on_hand for stock in stocks])
    if any(stock.price <= 0 and stock.for_sale != 0 for stock in stocks):
        return None
    found: list[tuple[float, tuple[int, ...]]] = []
    partial: list[tuple[float, tuple[int, ...]]] = [(0.0, ())]
    for stock in stocks:
        most = stock.for_sale if stock.for_sale is not None else int(price / stock.price)
        partial = [
            (spent + n * stock.price, (*numbers, n))
            for spent, numbers in partial
            for n in range(most + 1)
            if spent + n * stock.price < limit
        ]
        if len(partial) > 50 * MOST_PURCHASES:
            return None
    for spent, numbers in partial:
        if np.all(rows.held @ (on_hand + np.array(numbers)) >= rows.needed * (1 - 1e-7)):
            found.append((spent, numbers))
    return sorted(found) if len(found) <= MOST_PURCHASES else None


def units_of(stocks: Sequence[Stock], numbers: Sequence[int]) -> list[Stock]:
    """All units: what is on hand first, then what is bought, each in order of stock."""
    shelf = [stock for stock in stocks for _ in range(stock.on_hand)]
    return shelf + [stock for stock, n in zip(stocks, numbers, strict=True) for _ in range(n)]


def _room(stock: Stock, gap_mm: float, unit_mm: float) -> tuple[int, int]:
    low_x, low_y, high_x, high_y = shapely.bounds(usable_region(stock)).tolist()
    along, across = (high_x - low_x + gap_mm) / unit_mm, (high_y - low_y + gap_mm) / unit_mm
    return int(np.ceil(along - 1e-6)), int(np.ceil(across - 1e-6))


def _placements(
    blanks: Sequence[Shape], places: Sequence[Lies], units: Sequence[Stock], unit_mm: float
) -> tuple[Placement, ...]:
    result: list[Placement] = []
    for shape, at in zip(blanks, places, strict=True):
        box = lanes.Box(0, 0, 0, at.turned)
        (placed,) = lanes.placements_of(
            [shape], [box], [units[at.room]], [(0, at.x, at.y, 0)], unit_mm
        )
        result.append(
            Placement(shape.id, at.room, placed.x_mm, placed.y_mm, placed.turn_deg, placed.flipped)
        )
    return tuple(result)
