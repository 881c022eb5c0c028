"""Straight blanks and all cheaper purchases that may hold them.

Purchases are proven not to hold the blanks or found to hold them, in whatever order; what holds
them is the cheapest there is if all before it are ruled out. Square blanks lie square to the stock
(`Shape.square`), so this covers every nest that they may have.
"""

from collections.abc import Callable, Iterable, Sequence
from contextlib import closing
from dataclasses import dataclass, field
from typing import TypeVar

import numpy as np
import shapely

from solver.data.until import Until
from solver.models.ahead import in_turn
from solver.models.lane_cover import lanes_never_cover
from solver.models.rooms import Size
from solver.nests import lanes, wide_beam
from solver.nests.price_rows import Rows
from solver.nests.shapes import Placement, Shape, Stock, usable_region

MOST_PURCHASES = 4000
"""Cheaper purchases that the rows allow: with more there is no end to going through them."""

LANES_WORK, MANY = 0.0015, 60
"""Counted for each blank where prices of lanes are asked about a purchase; with more than so many
it grows with their cube."""

Numbers = tuple[int, ...]
"""Units of each stock to buy."""

One = TypeVar("One")
Made = TypeVar("Made")


@dataclass(frozen=True)
class Laid:
    """Placements of all blanks, None where some found no place, and the work spent."""

    placements: tuple[Placement, ...] | None
    work: float


@dataclass(eq=False)
class StraightJob:
    """Blanks and stock in whole units, and how far the search for a cheaper purchase has come.

    `waiting` are the purchases (price, numbers) cheaper than `price`, cheapest first; `work` is
    what may still be spent.
    """

    shapes: Sequence[Shape]
    stocks: Sequence[Stock]
    gap_mm: float
    price: float
    waiting: list[tuple[float, Numbers]]
    work: float
    seed: int
    until: Until
    never: set[Numbers] = field(default_factory=set)
    """Purchases proven not to hold the blanks."""
    numbers: Numbers | None = None
    placements: tuple[Placement, ...] = ()
    """The cheapest that holds the blanks; only what is cheaper is waiting."""

    def __post_init__(self) -> None:
        self.place = {numbers: k for k, (_, numbers) in enumerate(self.waiting)}
        self.unit_mm = lanes.whole_unit_mm(self.shapes, self.gap_mm)
        # rounded down, and stock up: this serves proofs
        kinds = [
            tuple(int((side + self.gap_mm) / self.unit_mm + 1e-6) for side in lanes.size_mm(shape))
            for shape in self.shapes
        ]
        self.blanks = sorted(
            (k for k, shape in enumerate(self.shapes) for _ in range(shape.quantity)),
            key=lambda k: (-kinds[k][0] * kinds[k][1], k),
        )
        self.sizes: list[Size] = [(kinds[k][0], kinds[k][1]) for k in self.blanks]
        self.area = sum(length * width for length, width in self.sizes)
        self.room_of = {s.id: _room(s, self.gap_mm, self.unit_mm) for s in self.stocks}
        self.room_area = {name: length * width for name, (length, width) in self.room_of.items()}
        self.shelf_area = sum(s.on_hand * self.room_area[s.id] for s in self.stocks)
        self.counts = [shape.quantity for shape in self.shapes]
        boxes = lanes.make_boxes(self.shapes, self.gap_mm, self.unit_mm)
        self.ways = wide_beam.blanks_of(boxes, len(self.counts))

    def over(self) -> bool:
        """Whether the work or the time is up."""
        return self.work <= 0.0 or self.until.over()

    def open(self) -> list[tuple[float, Numbers]]:
        """What is neither proven not to hold the blanks nor dearer than what holds them."""
        return [one for one in self.waiting if one[1] not in self.never]

    def is_open(self, numbers: Numbers) -> bool:
        """Whether a purchase is open."""
        return self.place[numbers] < len(self.waiting) and numbers not in self.never

    def rule_out(self, numbers: Numbers) -> None:
        """Note that a purchase does not hold the blanks, and so none that is part of it."""
        self.never |= {part for _, part in self.waiting if _part_of(part, numbers)}
        self.never.add(numbers)

    def keep(self, numbers: Numbers, placements: Sequence[Placement]) -> None:
        """Keep a purchase that holds the blanks; dearer ones wait no more."""
        self.numbers, self.placements = numbers, tuple(placements)
        self.price, _ = self.waiting[self.place[numbers]]
        self.waiting = self.waiting[: self.place[numbers]]

    def rooms(self, numbers: Numbers) -> list[Size]:
        """Length and width of all units, rounded up: what they have no room for they never have."""
        return [self.room_of[stock.id] for stock in units_of(self.stocks, numbers)]

    def spare(self, numbers: Numbers) -> float:
        """Share of the rooms that the blanks leave."""
        bought = sum(
            n * self.room_area[stock.id] for n, stock in zip(numbers, self.stocks, strict=True)
        )
        return 1.0 - self.area / (self.shelf_area + bought)

    def placed(self, units: Sequence[Stock], puts: Sequence[lanes.Put]) -> tuple[Placement, ...]:
        """Placements of puts into the rooms of these units."""
        found = lanes.placements_of(self.shapes, self.ways.boxes, units, puts, self.unit_mm)
        return tuple(found)

    def price_lanes(self, share: float) -> None:
        """Rule out what prices of lanes prove too small, cheapest first."""
        blanks = len(self.blanks)
        work_each = LANES_WORK * blanks * max(1.0, blanks / MANY) ** 2
        in_vain: list[Numbers] = []

        def due(numbers: Numbers) -> bool:
            larger = any(_part_of(one, numbers) for one in in_vain)
            return self.is_open(numbers) and not larger

        def ask(numbers: Numbers, until: Until) -> bool:
            return lanes_never_cover(self.sizes, self.rooms(numbers), until=until)

        def note(numbers: Numbers, never: bool) -> bool:
            self.work -= work_each
            if never:
                self.rule_out(numbers)
            else:
                in_vain.append(numbers)
            return False

        if work_each <= share:
            self.go_through([numbers for _, numbers in self.open()], due, ask, note, share)

    def go_through(
        self,
        order: Iterable[One],
        due: Callable[[One], bool],
        make: Callable[[One, Until], Made],
        note: Callable[[One, Made], bool],
        share: float,
    ) -> None:
        """Note what is made of each that is still due, until so much of the work is done.

        It ends as well where `note` says so. What is no longer due never is again: a try made ahead
        of it may end at once.
        """
        if self.over():
            return
        least = self.work - share

        def make_while_due(one: One, until: Until) -> Made:
            return make(one, Until(until.moment, lambda: until.asked() or not due(one)))

        with closing(in_turn(filter(due, order), make_while_due, self.until)) as turns:
            for one, made in turns:
                # what is not due was made ahead, before it was known to be in vain
                if due(one) and note(one, made):
                    return
                if self.over() or self.work <= least:
                    return


def cheaper_purchases(
    stocks: Sequence[Stock], price: float, rows: Rows
) -> list[tuple[float, Numbers]] | None:
    """Purchases (price, numbers) that the rows allow, cheapest first; None where they are many.

    No stock for sale is free.
    """
    if rows.impossible is not None:
        return []
    limit = price - max(1e-4, 1e-5 * price)
    on_hand = np.array([stock.on_hand for stock in stocks])
    partial: list[tuple[float, Numbers]] = [(0.0, ())]
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
    bought = np.array([numbers for _, numbers in partial]).reshape(-1, len(stocks))
    held = np.all((on_hand + bought) @ rows.held.T >= rows.needed * (1 - 1e-7), axis=1)
    if held.sum() > MOST_PURCHASES:
        return None
    return sorted(one for one, holds in zip(partial, held.tolist(), strict=True) if holds)


def units_of(stocks: Sequence[Stock], numbers: Sequence[int]) -> list[Stock]:
    """All units: what is on hand first, then what is bought, each in order of stock."""
    shelf = [stock for stock in stocks for _ in range(stock.on_hand)]
    return shelf + [stock for stock, n in zip(stocks, numbers, strict=True) for _ in range(n)]


def _part_of(some: Numbers, more: Numbers) -> bool:
    return all(n <= m for n, m in zip(some, more, strict=True))


def _room(stock: Stock, gap_mm: float, unit_mm: float) -> tuple[int, int]:
    low_x, low_y, high_x, high_y = shapely.bounds(usable_region(stock)).tolist()
    along, across = (high_x - low_x + gap_mm) / unit_mm, (high_y - low_y + gap_mm) / unit_mm
    return int(np.ceil(along - 1e-6)), int(np.ceil(across - 1e-6))
