"""The cheapest purchase found on which blanks of one metal and gauge nest.

Candidates come from a small integer programme over whole units: the cheapest numbers to buy that
meet the proven rows stretched by a fill factor. The factor is bisected between what failed and what
was nested; then purchases cheaper than the best so far are tried, those with as much room first and
ever less roomy ones after them, in order of price. Whatever is best is also tried with one unit
less and with one unit changed for a cheaper one. What is on hand costs nothing and is offered to
every nest first. Of straight blanks cheaper purchases are decided one by one instead, whether they
hold the blanks at all, or sought where blanks or purchases are many, once quick nests have found
one that does.
"""

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import closing
from dataclasses import dataclass, field, replace

import numpy as np
import shapely

from solver.data.until import FOREVER, Until
from solver.models.ahead import in_turn
from solver.nests.decide_purchase import can_decide, decide_cheaper
from solver.nests.lanes import is_box
from solver.nests.nest_into import nest_into, settle
from solver.nests.price_rows import Rows, cheapest, price_rows
from solver.nests.shapes import (
    Layout,
    Purchase,
    Shape,
    Stock,
    check_gap,
    check_shapes,
    check_stocks,
)
from solver.nests.straight_job import Numbers, units_of
from solver.nests.verify import verify

STRAIGHT_FACTOR, CURVED_FACTOR = 1.03, 1.6
"""Stock per area of blanks to begin with: what nests of straight and of curved blanks need."""

MOST_STOCK_FACTOR = 40.0
"""So many times the stock that the rows ask for hold any blanks that nest at all: a blank that lies
on no unit, though its extents might, would be offered ever more of it for ever."""
SOME, EFFORT_PER_TRY = 8, 8
"""Purchases tried in order of price; one more for so many steps of effort."""
MOST_FAILED, EFFORT_PER_FAILURE = 3, 30
"""Of them may fail one after the other; one more for so many steps of effort."""
MORE_EFFORT = 100
"""Steps added where a purchase nearly held the blanks: what fits is then mostly found to fit."""
THOROUGH = 60
"""Less effort is for a soon answer."""
MOST_AGAIN = 30
"""Blanks laid again in all where a purchase nearly held them."""
TRIES = 2
"""Of one purchase that nearly held them."""
NEARLY, FEW = 0.15, 3
"""A purchase worth trying again left out no more than this share of the area, or so few blanks."""
HALVINGS, LEAST_HALVED = 5, 0.01
"""Purchases between a factor that failed and one that held, and the least worth halving."""
LESS_ROOM = 0.03
"""Share of room by which purchases are tighter where no other is cheaper."""
LEAST_TRIMMED, TIGHT = 0.8, 1.06
"""Of the room of the best purchase, and of what rows ask for where blanks are curved: tighter ones
have their turn after roomier ones."""
FINE_STEP, COARSE_STEP = 1.07, 1.25
"""How much more stock is tried where a nest failed; coarse where any purchase will do."""
WORK_PER_EFFORT = 1 / 10
"""Of deciding purchases, for each step of effort: 6 at 60, some 20 s on two cores."""
ONE = 1 / 30
"""Share of the work for any one purchase of few blanks at first."""


@dataclass(frozen=True)
class _Stand:
    """How far a search has come: what is left of each of its stages."""

    halvings: int = 0
    low: float = 1.0
    """Factor that failed."""
    high: float = float("inf")
    """Factor that held."""
    trims: bool = False
    by_price: int = 0
    """Purchases still to be tried in order of price."""
    share: float = 1.0
    """Of the best purchase's room, for those in order of price."""


@dataclass(frozen=True)
class _Try:
    """A purchase to nest on, and where the search stands if it holds the blanks."""

    numbers: Numbers
    effort: int
    then: _Stand = _Stand()


TRIMMED = _Stand(trims=True)
"""Where only units of the best purchase are left out or changed."""


@dataclass(eq=False)
class _Search:
    shapes: Sequence[Shape]
    stocks: Sequence[Stock]
    gap_mm: float
    seed: int
    until: Until
    rows: Rows
    tried: list[Numbers] = field(default_factory=list)
    left_out: dict[Numbers, float] = field(default_factory=dict)
    """Share of the blanks' area that found no place, by purchase that failed by little."""
    best: Layout | None = None
    price: float = float("inf")
    cut: bool = False
    nests: int = 0
    least: float = 0.0
    """Proven: nothing cheaper holds them."""

    def late(self) -> bool:
        """Whether to end now; what is then not tried is cut short."""
        over = self.until.over()
        self.cut = self.cut or over
        return over

    def candidate(
        self, tried: Sequence[Numbers], stretch: float, below: float | None = None
    ) -> Numbers | None:
        """Cheapest untried numbers to buy with that much room to spare."""
        numbers, _ = cheapest(
            self.rows,
            [stock.price for stock in self.stocks],
            [stock.on_hand for stock in self.stocks],
            [stock.for_sale for stock in self.stocks],
            tried,
            stretch,
            below,
            self.until,
        )
        return None if numbers is None else tuple(numbers)

    def with_shelf(self, numbers: Sequence[int]) -> list[float]:
        """Units of each stock that there are with so many bought."""
        return [float(n + s.on_hand) for n, s in zip(numbers, self.stocks, strict=True)]

    def hopeless(self, numbers: Numbers, tried: Sequence[Numbers]) -> bool:
        """Whether the rows forbid a purchase, or one that buys as much of everything failed."""
        if any(all(n <= t for n, t in zip(numbers, known, strict=True)) for known in tried):
            return True
        return bool(
            np.any(self.rows.held @ self.with_shelf(numbers) < self.rows.needed * (1 - 1e-7))
        )

    def first_that_holds(self, tries: Iterable[_Try], *, once: bool = True) -> _Try | None:
        """Nest on all that is on hand and on purchases in turn, up to the first that holds all.

        Layouts are kept where they are cheaper; with `once` what fails is not tried again. `tries`
        are drawn as if all before them failed, before that is known.
        """

        def nest(seeded: tuple[int, _Try], until: Until) -> Layout:
            seed, one = seeded
            units = _units(self.stocks, one.numbers)
            return nest_into(self.shapes, units, self.gap_mm, seed, one.effort, until)

        with closing(in_turn(enumerate(tries, self.seed + self.nests), nest, self.until)) as turns:
            for (_, one), layout in turns:
                self.nests += 1
                if self._note(one, layout):
                    return one
                if once:
                    self.tried.append(one.numbers)
        return None

    def _note(self, one: _Try, layout: Layout) -> bool:
        """Keep the layout when it is cheaper; return whether the purchase holds the blanks."""
        self.cut = self.cut or layout.cut_short
        if not layout.complete:
            if one.effort > 0:
                left = self._left_out(layout)
                few = sum(s.quantity for s in self.shapes) - len(layout.placements) <= FEW
                if few or left <= NEARLY:
                    self.left_out[one.numbers] = left
            if self.best is None or len(layout.placements) > len(self.best.placements) > 0:
                self.best = layout if self.best is None or not self.best.complete else self.best
            return False
        self.left_out.pop(one.numbers, None)
        price = _price(layout, self.stocks)
        if price < self.price or self.best is None or not self.best.complete:
            self.best, self.price = layout, price
        return True

    def _left_out(self, layout: Layout) -> float:
        area = {s.id: shapely.Polygon(s.outline_mm).area for s in self.shapes}
        total = sum(area[shape.id] * shape.quantity for shape in self.shapes)
        return float(1.0 - sum(area[p.shape_id] for p in layout.placements) / total)


def purchase(
    shapes: Sequence[Shape],
    stocks: Sequence[Stock],
    gap_mm: float,
    seed: int = 0,
    effort: int = 60,
    start: Mapping[str, int] | None = None,
    until: Until = FOREVER,
    rows: Rows | None = None,
    known: Layout | None = None,
) -> Purchase:
    """Cheapest purchase found, with its layout; `layout.complete` is False when none was found.

    `start` (numbers to buy by stock id) is tried first; with a `known` layout of all blanks only
    what is cheaper than that is tried. With `effort` 0 the first purchase that
    nests is returned; otherwise effort counts steps of the search for each nest, and more
    purchases are tried. `rows` saves computing price_rows again. Equal calls that `until` does
    not end early give equal answers.

    Raises ValueError as nest_into does.
    """
    check_shapes(shapes)
    check_stocks(stocks)
    check_gap(gap_mm)
    if not shapes:
        return Purchase({}, {}, Layout((), (), True), 0.0)
    if rows is None:
        rows = price_rows(shapes, stocks, gap_mm, lanes=effort > 0)
    search = _Search(shapes, stocks, gap_mm, seed, until, rows)
    if rows.impossible is None:
        if known is not None:
            held, search.best, search.price = True, known, _price(known, stocks)
        else:
            held = start is not None and _tried_first(search, start, effort)
        searched = list(search.tried)
        low, high = (1.0, _room_factor(search)) if held else _first(search, effort)
        if effort > 0 and high is not None:
            _search_on(search, _Stand(by_price=SOME), 0)
            search.tried = searched  # what failed at the first go may hold the blanks all the same
            if _decide(search, WORK_PER_EFFORT * effort):
                return _result(search)
            if effort >= THOROUGH:
                _search_on(search, TRIMMED, effort)
            more = SOME + effort // EFFORT_PER_TRY
            _search_on(search, _Stand(HALVINGS, low, high, trims=True, by_price=more), effort)
            if effort >= THOROUGH:
                _again(search, effort)
    return _result(search)


def _decide(search: _Search, work: float) -> bool:
    """Decide all cheaper purchases as far as the work goes, and keep the cheapest that nests.

    False where blanks or stock are such that this cannot be done.
    """
    if not can_decide(search.shapes, search.stocks):
        return False
    if search.late():
        return True
    decided = decide_cheaper(
        search.shapes,
        search.stocks,
        search.gap_mm,
        search.price,
        search.rows,
        work=work,
        work_each=ONE * work,
        seed=search.seed + search.nests,
        until=search.until,
    )
    search.least = decided.least
    if decided.numbers is not None:
        units = units_of(search.stocks, decided.numbers)
        layout = settle(decided.placements, units, complete=True, cut=False)
        ample = [replace(stock, for_sale=None) for stock in search.stocks]
        if not verify(layout, search.shapes, ample, search.gap_mm):
            search.best, search.price = layout, _price(layout, search.stocks)
    search.cut = search.cut or (search.least < _below(search) and search.until.over())
    return True


def _tried_first(search: _Search, start: Mapping[str, int], effort: int) -> bool:
    """Whether the purchase that is hinted at holds the blanks."""
    numbers = tuple(
        min(start.get(s.id, 0), s.for_sale if s.for_sale is not None else 1 << 30)
        for s in search.stocks
    )
    return search.first_that_holds([_Try(numbers, effort)]) is not None


def _first(search: _Search, effort: int) -> tuple[float, float | None]:
    """Try ever more room at the first go; returns the last factor that failed and one that held."""
    held = search.first_that_holds(_ever_roomier(search, effort))
    return (1.0, None) if held is None else (held.then.low, _room_factor(search))


def _ever_roomier(search: _Search, effort: int) -> Iterator[_Try]:
    """Purchases of ever more room."""
    failed = 1.0
    factor = _first_factor(search.shapes)
    tried = list(search.tried)
    while not search.late() and factor <= MOST_STOCK_FACTOR:
        numbers = search.candidate(tried, factor)
        if numbers is None:  # nothing so roomy can be had: try all there is
            everything = (s.for_sale if s.for_sale is not None else 0 for s in search.stocks)
            yield _Try(tuple(everything), max(effort, 60), _Stand(low=failed))
            return
        yield _Try(numbers, 0, _Stand(low=failed))
        tried.append(numbers)
        failed = factor
        factor *= FINE_STEP if effort > 0 else COARSE_STEP


def _first_factor(shapes: Sequence[Shape]) -> float:
    area = curved = 0.0
    for shape in shapes:
        part = shape.quantity * shapely.Polygon(shape.outline_mm).area
        area += part
        curved += 0.0 if is_box(shape) else part
    return STRAIGHT_FACTOR + (CURVED_FACTOR - STRAIGHT_FACTOR) * curved / area


def _room_factor(search: _Search) -> float:
    """Least ratio of room to need, over the rows that can be stretched, of the best purchase."""
    assert search.best is not None
    return _factor_of(search, _counts(search.best, search.stocks))


def _factor_of(search: _Search, counts: Sequence[float]) -> float:
    """The same of so many units of each stock."""
    room = search.rows.held @ counts
    ratios = [
        float(have / need)
        for have, need, name in zip(room, search.rows.needed, search.rows.names, strict=True)
        if not name.startswith("whole")
    ]
    return max(1.0, min(ratios))


def _counts(layout: Layout, stocks: Sequence[Stock]) -> list[float]:
    return [float(sum(u.stock_id == stock.id for u in layout.units)) for stock in stocks]


def _search_on(search: _Search, stand: _Stand, effort: int) -> None:
    """Try cheaper purchases stage by stage; where one holds, its stage goes on from there."""
    while True:
        held = search.first_that_holds(_staged(search, stand, effort))
        if held is None:
            return
        stand = held.then


def _staged(search: _Search, stand: _Stand, effort: int) -> Iterator[_Try]:
    tried = list(search.tried)
    yield from _halfway(search, stand, effort, tried)
    yield from _smaller(search, replace(stand, halvings=0), effort, tried)
    yield from _cheaper(search, replace(stand, halvings=0, trims=False), effort, tried)


def _halfway(search: _Search, stand: _Stand, effort: int, tried: list[Numbers]) -> Iterator[_Try]:
    """Narrow the factor between what failed and what held, always asking for a smaller price."""
    low, high = stand.low, min(stand.high, _room_factor(search))
    for left in reversed(range(stand.halvings)):
        if high - low < LEAST_HALVED or search.late():
            return
        middle = (low + high) / 2
        numbers = search.candidate(tried, middle, _below(search))
        if numbers is None:
            high = middle
            continue
        yield _Try(numbers, effort, replace(stand, halvings=left, low=low, high=middle))
        tried.append(numbers)
        low = middle


def _smaller(search: _Search, stand: _Stand, effort: int, tried: list[Numbers]) -> Iterator[_Try]:
    """Try the best purchase with one unit less, then with one unit changed for a cheaper one."""
    if not stand.trims:
        return
    tight = 1.0 if all(is_box(shape) for shape in search.shapes) else TIGHT
    numbers = _bought(search)
    least = max(tight, LEAST_TRIMMED * _room_factor(search))
    changes: list[tuple[bool, float, Numbers]] = []
    for k, n in enumerate(numbers):
        if n == 0:
            continue
        less = tuple(m - (j == k) for j, m in enumerate(numbers))
        changes.append((False, search.stocks[k].price, less))
        for j, other in enumerate(search.stocks):
            saved = search.stocks[k].price - other.price
            limit = other.for_sale
            if saved > 1e-9 and (limit is None or less[j] < limit):
                changes.append((True, saved, tuple(m + (i == j) for i, m in enumerate(less))))
    changes.sort()
    for _, _, changed in changes[: 2 + effort // 10]:
        if search.late():
            return
        if search.hopeless(changed, tried):
            continue
        if _factor_of(search, search.with_shelf(changed)) < least:
            continue
        yield _Try(changed, effort, stand)
        tried.append(changed)


def _cheaper(search: _Search, stand: _Stand, effort: int, tried: list[Numbers]) -> Iterator[_Try]:
    """Purchases cheaper than the best: as roomy first, then ever less roomy, by price.

    Where several in a row fail, tighter ones would fail too.
    """
    patience = MOST_FAILED + effort // EFFORT_PER_FAILURE
    share = stand.share
    if stand.by_price == 0 or search.candidate(tried, 1.0, _below(search)) is None:
        return
    for left in reversed(range(max(0, stand.by_price - patience), stand.by_price)):
        numbers = None
        while numbers is None:
            if search.late():
                return
            factor = max(1.0, share * _room_factor(search))
            numbers = search.candidate(tried, factor, _below(search))
            if numbers is None:
                if factor == 1.0:
                    return
                share -= LESS_ROOM
        yield _Try(numbers, effort, replace(stand, by_price=left, share=share))
        tried.append(numbers)


def _bought(search: _Search) -> Numbers:
    assert search.best is not None
    return tuple(
        sum(unit.bought and unit.stock_id == stock.id for unit in search.best.units)
        for stock in search.stocks
    )


def _again(search: _Search, effort: int) -> None:
    """Try harder where a cheaper purchase nearly held the blanks, the most promising first."""
    blanks = sum(shape.quantity for shape in search.shapes)
    turns = max(2, MOST_AGAIN // blanks) + effort // MORE_EFFORT
    times: Counter[Numbers] = Counter()
    while turns > 0 and not search.late():
        before = search.nests
        due = _nearly_held(search, times)[:turns]
        tries = (_Try(numbers, effort + MORE_EFFORT) for numbers in due)
        if search.first_that_holds(tries, once=False) is None:
            return
        made = search.nests - before
        times.update(due[:made])
        turns -= made
        _search_on(search, TRIMMED, effort)


def _nearly_held(search: _Search, times: Counter[Numbers]) -> list[Numbers]:
    """Cheaper purchases that left little over, each as often as it may still be tried."""
    hopeful = sorted(
        (left, numbers)
        for numbers, left in search.left_out.items()
        if _price_of(search, numbers) < _below(search)
    )
    return [n for turn in range(TRIES) for _, n in hopeful if times[n] <= turn]


def _price_of(search: _Search, numbers: Sequence[int]) -> float:
    return sum(n * s.price for n, s in zip(numbers, search.stocks, strict=True))


def _below(search: _Search) -> float:
    # the integer programme keeps its rows to a millionth only
    return search.price - max(1e-4, 1e-5 * search.price)


def _units(stocks: Sequence[Stock], numbers: Sequence[int]) -> list[Stock]:
    """All units: the shelf first, small ones before large, then what is bought, narrow first."""
    shelf = [stock for stock in stocks for _ in range(stock.on_hand)]
    shelf.sort(key=lambda stock: stock.width_mm * stock.length_mm)
    bought = [stock for stock, number in zip(stocks, numbers, strict=True) for _ in range(number)]
    bought.sort(key=lambda stock: (stock.width_mm, stock.length_mm))
    return shelf + bought


def _price(layout: Layout, stocks: Sequence[Stock]) -> float:
    price = {stock.id: stock.price for stock in stocks}
    return sum(price[unit.stock_id] for unit in layout.units if unit.bought)


def _result(search: _Search) -> Purchase:
    layout = search.best if search.best is not None else Layout((), (), False)
    bought: dict[str, int] = {}
    shelf: dict[str, int] = {}
    for unit in layout.units:
        part = bought if unit.bought else shelf
        part[unit.stock_id] = part.get(unit.stock_id, 0) + 1
    layout = replace(layout, cut_short=search.cut)
    price = _price(layout, search.stocks)
    least = min(search.least, price) if layout.complete else 0.0
    return Purchase(bought, shelf, layout, price, search.cut, search.nests, least)
