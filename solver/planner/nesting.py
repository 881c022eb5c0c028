"""Buying and nesting the blanks of one plan: the cheapest stock that holds each metal's blanks.

Sheet metals do not share stock, so each is bought and nested by itself.  The same blanks of one
metal are nested once and remembered.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from solver.data.job import Job, StockItem
from solver.data.until import Until
from solver.nests.on_units import nest_on
from solver.nests.price_bound import bound_from_rows
from solver.nests.price_rows import Rows, price_rows
from solver.nests.purchase import purchase
from solver.nests.shapes import PriceBound, Purchase, Shape, Stock
from solver.planner.piece_options import PieceKey, PieceOption
from solver.planner.sheets import Sheet

DECIDED = "every cheaper purchase of whole units decided by itself, its blanks square to the stock"


Key = tuple[int, tuple[PieceKey, ...]]


@dataclass(frozen=True)
class SheetNest:
    """What one sheet metal's blanks are cut from; ``shapes`` name the pieces by their position."""

    sheet: int
    pieces: tuple[PieceOption, ...]
    shapes: tuple[Shape, ...]
    stocks: tuple[Stock, ...]
    bought: Purchase

    @property
    def complete(self) -> bool:
        """Whether every blank found its place."""
        return self.bought.layout.complete


def stock_of(job: Job, item: StockItem) -> Stock:
    """Return a stock item as the nests see it."""
    return Stock(
        id=item.id,
        width_mm=item.width_mm,
        length_mm=item.length_mm,
        price=item.price,
        on_hand=item.on_hand,
        for_sale=item.for_sale,
        outline_mm=item.outline_mm,
        end_trim_mm=job.rules.roll_end_mm if item.form == "roll" else 0.0,
    )


def shape_of(name: str, piece: PieceOption) -> Shape:
    """Return a piece's blank as the nests see it: folded blanks flip only if it changes nothing."""
    return Shape(
        id=name,
        outline_mm=piece.blank.outline_mm,
        square=piece.blank.straight,
        may_flip=not piece.folds,
    )


def in_order(pieces: Sequence[PieceOption]) -> tuple[PieceOption, ...]:
    """Return pieces in the order in which they are nested, whatever order they come in."""
    return tuple(sorted(pieces, key=lambda p: (p.run, p.from_mm)))


def key_of(sheet: int, ordered: Sequence[PieceOption]) -> Key:
    """Return what tells one set of blanks of a sheet metal from another."""
    return sheet, tuple(piece.key for piece in ordered)


class Nester:
    """Nests sheet metals of one job, each set of blanks once."""

    def __init__(self, job: Job, sheets: Sequence[Sheet], seed: int) -> None:
        self.job = job
        self.sheets = sheets
        self.seed = seed
        self._known: dict[Key, SheetNest] = {}
        self._effort: dict[Key, int] = {}
        self._rows: dict[Key, Rows] = {}
        self._bounds: dict[Key, PriceBound] = {}

    def nest(
        self,
        sheet: int,
        pieces: Sequence[PieceOption],
        start: Mapping[str, int] | None,
        effort: int,
        until: Until,
    ) -> SheetNest:
        """Return the cheapest stock found for these pieces of one sheet metal.

        ``start`` is the purchase that the master hopes for, ``effort`` counts steps.
        """
        ordered = in_order(pieces)
        key = key_of(sheet, ordered)
        known = self._known.get(key)
        if known is None or (effort > self._effort[key] and not self._least(known)):
            shapes = tuple(shape_of(str(i), piece) for i, piece in enumerate(ordered))
            stocks = self.stocks_of(sheet)
            bought = purchase(
                shapes,
                stocks,
                self.job.rules.cutting_gap_mm,
                seed=self.seed,
                effort=effort,
                start=start,
                until=until,
                rows=self._rows_of(key, shapes, stocks) if effort else None,
                known=known.bought.layout if known is not None and known.complete else None,
            )
            self.remember(key, SheetNest(sheet, ordered, shapes, stocks, bought))
            self._effort[key] = effort
        return self._known[key]

    def remember(self, key: Key, nest: SheetNest) -> None:
        """Keep a nest where it is better than what is known, for others to begin from."""
        known = self._known.get(key)
        if known is None or _better(nest.bought, known.bought):
            self._known[key] = nest
            self._effort.setdefault(key, 0)

    def nest_on(
        self,
        sheet: int,
        pieces: Sequence[PieceOption],
        numbers: Mapping[str, int],
        effort: int,
        until: Until,
    ) -> SheetNest:
        """Return these pieces on this purchase alone, complete or not; what nests is remembered."""
        ordered = in_order(pieces)
        key = key_of(sheet, ordered)
        known = self._known.get(key)
        stocks = self.stocks_of(sheet)
        price = sum(stock.price * numbers.get(stock.id, 0) for stock in stocks)
        if known is not None and known.complete and known.bought.price <= price + 1e-9:
            return known
        shapes = tuple(shape_of(str(i), piece) for i, piece in enumerate(ordered))
        gap = self.job.rules.cutting_gap_mm
        bought = nest_on(shapes, stocks, gap, numbers, seed=self.seed, effort=effort, until=until)
        nest = SheetNest(sheet, ordered, shapes, stocks, bought)
        if nest.complete:
            self.remember(key, nest)
        return nest

    def stocks_of(self, sheet: int) -> tuple[Stock, ...]:
        """Return the stock of a sheet metal as the nests see it."""
        return tuple(stock_of(self.job, self.job.stock[i]) for i in self.sheets[sheet].items)

    def _least(self, nest: SheetNest) -> bool:
        """Whether nothing cheaper is left to find for a nest."""
        price = nest.bought.price
        return nest.complete and (price == 0.0 or price <= self.bound(nest).value + 1e-9)

    def bound(self, nest: SheetNest) -> PriceBound:
        """Proven least price at which the pieces of a nest could be nested at all."""
        key = key_of(nest.sheet, nest.pieces)
        if key not in self._bounds:
            rows = self._rows_of(key, nest.shapes, nest.stocks)
            self._bounds[key] = bound_from_rows(rows, nest.stocks)
        known = self._bounds[key]
        if nest.bought.least > known.value + 1e-9:
            known = PriceBound(nest.bought.least, f"{known.basis}; {DECIDED}")
            self._bounds[key] = known
        return known

    def bounds(self, nests: Sequence[SheetNest]) -> tuple[PriceBound, ...]:
        """Proven least prices of several nests."""
        return tuple(self.bound(nest) for nest in nests)

    def _rows_of(self, key: Key, shapes: Sequence[Shape], stocks: Sequence[Stock]) -> Rows:
        """Rows that every purchase of these shapes meets, worked out once."""
        if key not in self._rows:
            self._rows[key] = price_rows(shapes, stocks, self.job.rules.cutting_gap_mm)
        return self._rows[key]


def _better(one: Purchase, other: Purchase) -> bool:
    if one.layout.complete != other.layout.complete:
        return one.layout.complete
    return one.price < other.price - 1e-9
