"""Straight blanks: every cheaper purchase decided, one by one, whether it holds them at all.

Narrow beams first lay the blanks on what is roomy enough, and prices of lanes prove quickly of many
purchases that they do not hold them (`models/lane_cover`). Then, with ever more work: blanks
are laid on purchases that are open, roomy ones first (wide beams, then units filled anew, and
`models/shared_rooms`), and what is still open is decided in order of price. What holds the blanks
is the cheapest there is if all before it are proven not to hold them; where the work does not
suffice for one, the proof ends at its price. Square blanks lie square to the stock
(`Shape.square`), so this covers every nest that they may have.
"""

import random
from collections.abc import Callable, Sequence
from contextlib import closing
from dataclasses import dataclass, field
from typing import TypeVar

import numpy as np
import shapely

from solver.data.until import FOREVER, Until
from solver.models.ahead import in_turn
from solver.models.lane_cover import lanes_never_cover
from solver.models.rooms import Decision, Lies, Size
from solver.models.shared_rooms import Known, fit_shared
from solver.nests import lanes, wide_beam
from solver.nests.price_rows import Rows
from solver.nests.refill import refill
from solver.nests.shapes import Placement, Shape, Stock, usable_region

MOST_BLANKS = 60
"""More are too many to decide anything about."""

MOST_PURCHASES = 4000
"""Cheaper purchases that the rows allow: with more there is no end to deciding them."""

LANES_WORK = 0.0015
"""Counted for each blank where prices of lanes are asked about a purchase."""
FRONTS_WORK = 1e-6
"""Counted for each front in each round of a beam."""
BEAMS_SHARE, LANES_SHARE = 0.2, 0.4
"""Most of the work for narrow beams before anything else, and for prices of lanes."""
FIND_SHARE, DECIDE_SHARE = 0.7, 0.5
"""Most of the work that is left for layouts in a turn, and then for proofs."""
LONGER = 2.0
"""So many times the work for each purchase in the next turn."""
NARROW, WIDE = 1000, 4000
"""Fronts of the first beams, and of those in turns."""
REFILLS, AMPLE, LEAST_AMPLE = 3.0, 0.04, 0.25
"""So many times the work for filling units anew where this share of the metal or more is spare;
less where less is, but no less than this share of it."""
HOPEFUL = 0.5
"""So many times the work for the model when it is to find a layout."""
SHUFFLED = 0.3
"""Share of the beams that take the units in any order; the others begin with the narrow ones."""

ONE_ROOM = (wide_beam.Taste(1000, 6, 16), wide_beam.Taste(1000, 6, 8))
"""Beams for one unit's share of the blanks."""

Numbers = tuple[int, ...]
"""Units of each stock to buy."""

One = TypeVar("One")
Made = TypeVar("Made")


@dataclass(frozen=True)
class Decided:
    """Proven least price, at most the one asked about, and a cheaper purchase if one was found.

    `never` are the numbers of cheaper purchases proven not to hold the blanks.
    """

    least: float
    never: frozenset[Numbers] = frozenset()
    numbers: Numbers | None = None
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
    seed: int = 0,
    until: Until = FOREVER,
) -> Decided | None:
    """Decide purchases cheaper than `price`; `work` as in new_solver, for all.

    Each gets `work_each` at first, then more. None where purchases are too many. Numbers bought are
    by stock; placements count units on hand first, in order of stock, then those bought, in order
    of stock. Equal calls that `until` does not end early give equal answers.
    """
    waiting = cheaper_purchases(stocks, price, rows)
    if waiting is None:
        return None
    job = _Job(shapes, stocks, gap_mm, price, waiting, work, seed, until)
    job.find(0.0, BEAMS_SHARE * work)
    job.price_lanes(LANES_SHARE * work)
    while job.open() and not job.over():
        share = FIND_SHARE * job.work
        job.find(min(work_each, share), share)
        share = min(job.work, max(DECIDE_SHARE * job.work, work_each))
        job.decide(min(work_each, share), share)
        work_each *= LONGER
        job.seed += 1
    return Decided(
        min([job.price, *(spent for spent, _ in job.open())]),
        frozenset(job.never),
        job.numbers,
        job.placements,
    )


@dataclass(frozen=True)
class _Try:
    """A purchase to lay the blanks on, by a model or by beams; without any work by beams alone."""

    numbers: Numbers
    by_model: bool


@dataclass(frozen=True)
class _Laid:
    """Placements of all blanks, None where some found no place, and the work spent."""

    placements: tuple[Placement, ...] | None
    work: float


@dataclass(eq=False)
class _Job:
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
        self.room_of = {s.id: _room(s, self.gap_mm, self.unit_mm) for s in self.stocks}
        self.counts = [shape.quantity for shape in self.shapes]
        self.boxes = lanes.make_boxes(self.shapes, self.gap_mm, self.unit_mm)
        self.ways = wide_beam.blanks_of(self.boxes, len(self.counts))

    def over(self) -> bool:
        return self.work <= 0.0 or self.until.over()

    def open(self) -> list[tuple[float, Numbers]]:
        """What is neither proven not to hold the blanks nor dearer than what holds them."""
        return [one for one in self.waiting if one[1] not in self.never]

    def is_open(self, numbers: Numbers) -> bool:
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
        return [self.room_of[stock.id] for stock in units_of(self.stocks, numbers)]

    def price_lanes(self, share: float) -> None:
        """Rule out what prices of lanes prove too small, cheapest first."""
        in_vain: list[Numbers] = []

        def due(numbers: Numbers) -> bool:
            larger = any(_part_of(one, numbers) for one in in_vain)
            return self.is_open(numbers) and not larger

        def ask(numbers: Numbers, until: Until) -> bool:
            return lanes_never_cover(self.sizes, self.rooms(numbers), until=until)

        def note(numbers: Numbers, never: bool) -> None:
            self.work -= LANES_WORK * len(self.blanks)
            if never:
                self.rule_out(numbers)
            else:
                in_vain.append(numbers)

        self._go_through([numbers for _, numbers in self.open()], due, ask, note, share)

    def decide(self, work_each: float, share: float) -> None:
        """Decide open purchases, cheapest first."""

        def fit(numbers: Numbers, until: Until) -> Decision:
            return self._fit(numbers, work_each, until, hopeful=False)

        def note(numbers: Numbers, decided: Decision) -> None:
            self.work -= decided.work
            if decided.fits:
                self.keep(numbers, self._placed(numbers, decided))
            elif decided.fits is False:
                self.rule_out(numbers)

        order = [numbers for _, numbers in self.open()]
        self._go_through(order, self.is_open, fit, note, share)

    def find(self, work_each: float, share: float) -> None:
        """Lay the blanks on open purchases, those first that have most room to spare."""

        def due(one: _Try) -> bool:
            return self.is_open(one.numbers)

        def lay(one: _Try, until: Until) -> _Laid:
            if one.by_model and work_each:
                return self._lay_by_model(one.numbers, HOPEFUL * work_each, until)
            ample = min(1.0, max(LEAST_AMPLE, self._spare(one.numbers) / AMPLE))
            return self._lay(one, REFILLS * ample * work_each, until)

        def note(one: _Try, laid: _Laid) -> None:
            self.work -= laid.work
            if laid.placements is not None:
                self.keep(one.numbers, laid.placements)

        roomy = sorted((one for _, one in self.open()), key=lambda n: (-self._spare(n), n))
        order = [_Try(numbers, by_model) for numbers in roomy for by_model in (False, True)]
        self._go_through(order, due, lay, note, share)

    def _go_through(
        self,
        order: Sequence[One],
        due: Callable[[One], bool],
        make: Callable[[One, Until], Made],
        note: Callable[[One, Made], None],
        share: float,
    ) -> None:
        """Note what is made of each that is still due, until so much of the work is done.

        What is no longer due never is again: a try made ahead of it may end at once.
        """
        if self.over():
            return
        least = self.work - share

        def make_while_due(one: One, until: Until) -> Made:
            return make(one, Until(until.moment, lambda: until.asked() or not due(one)))

        with closing(in_turn(filter(due, order), make_while_due, self.until)) as turns:
            for one, made in turns:
                if due(one):  # else made ahead, before it was known to be in vain
                    note(one, made)
                if self.over() or self.work <= least:
                    return

    def _spare(self, numbers: Numbers) -> float:
        """Share of the rooms that the blanks leave."""
        room = sum(length * width for length, width in self.rooms(numbers))
        return 1.0 - sum(length * width for length, width in self.sizes) / room

    def _lay(self, one: _Try, work: float, until: Until) -> _Laid:
        """Try to lay the blanks by a beam, wide with any work, and then by filling units anew."""
        rng = random.Random(f"{self.seed} {one}")
        units = units_of(self.stocks, one.numbers)
        order = sorted(range(len(units)), key=lambda k: (units[k].width_mm, units[k].length_mm))
        if one.by_model or rng.random() < SHUFFLED:
            rng.shuffle(order)
        rooms = [lanes.make_room(units[k], self.gap_mm, self.unit_mm) for k in order]
        taste = wide_beam.draw_taste(rng, WIDE if work else NARROW, (1, 2))
        rounds = 0

        def asked() -> bool:
            nonlocal rounds
            rounds += 1
            return until.asked()

        puts = wide_beam.lay_all(
            self.ways,
            self.counts,
            rooms,
            rng.getrandbits(32),
            taste,
            until=Until(until.moment, asked),
        )
        spent = FRONTS_WORK * taste.width * max(1, rounds)
        if puts is None and work and len(rooms) > 1:
            laid = refill(self.boxes, self.counts, rooms, rng.getrandbits(32), work, until=until)
            puts, spent = laid.puts, spent + laid.work
        if puts is None:
            return _Laid(None, spent)
        puts = [(order[room], x, y, b) for room, x, y, b in puts]
        placements = lanes.placements_of(self.shapes, self.boxes, units, puts, self.unit_mm)
        return _Laid(tuple(placements), spent)

    def _lay_by_model(self, numbers: Numbers, work: float, until: Until) -> _Laid:
        decided = self._fit(numbers, work, until, hopeful=True)
        return _Laid(self._placed(numbers, decided) if decided.fits else None, decided.work)

    def _fit(self, numbers: Numbers, work: float, until: Until, *, hopeful: bool) -> Decision:
        return fit_shared(
            self.sizes,
            self.rooms(numbers),
            work=work,
            known=Known(),  # tries made ahead may be forgotten: what they met must be too
            lay_one=lambda sizes, room: self._lay_one(sizes, room, until),
            hopeful=hopeful,
            seed=self.seed,
            until=until,
        )

    def _placed(self, numbers: Numbers, decided: Decision) -> tuple[Placement, ...]:
        blanks = [self.shapes[k] for k in self.blanks]
        return _placements(blanks, decided.places, units_of(self.stocks, numbers), self.unit_mm)

    def _lay_one(self, sizes: Sequence[Size], room: Size, until: Until) -> list[Lies] | None:
        boxes: list[lanes.Box] = []
        for k, (long, wide) in enumerate(sizes):
            boxes.append(lanes.Box(k, long, wide, False))
            if long != wide:
                boxes.append(lanes.Box(k, wide, long, True))
        counts = [1] * len(sizes)
        ways = wide_beam.blanks_of(boxes, len(sizes))
        for taste in ONE_ROOM:
            puts = wide_beam.lay_all(
                ways, counts, [lanes.Room(*room)], self.seed, taste, until=until
            )
            if puts is not None:
                at = {boxes[b].kind: Lies(0, x, y, boxes[b].turned) for _, x, y, b in puts}
                return [at[k] for k in range(len(sizes))]
        return None


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


def _part_of(some: Numbers, more: Numbers) -> bool:
    return all(n <= m for n, m in zip(some, more, strict=True))


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
