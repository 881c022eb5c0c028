"""Straight blanks: every cheaper purchase decided, one by one, whether it holds them at all.

Prices of lanes prove quickly of many purchases that they do not (`models/lane_cover`). Then in
turn, with ever more work: blanks are laid on purchases that are open, roomy ones first
(`models/shared_rooms` and wide beams), and what is still open is decided in order of price. What
holds the blanks is the cheapest there is if all before it are proven not to hold them; where the
work does not suffice for one, the proof ends at its price. Square blanks lie square to the stock
(`Shape.square`), so this covers every nest that they may have.
"""

import random
from collections.abc import Sequence, Set
from dataclasses import dataclass, field

import numpy as np
import shapely

from solver.data.until import FOREVER, Until
from solver.models.lane_cover import lanes_never_cover
from solver.models.rooms import Lies, Size
from solver.models.shared_rooms import Known, fit_shared
from solver.nests import lanes, wide_beam
from solver.nests.price_rows import Rows
from solver.nests.shapes import Placement, Shape, Stock, usable_region

MOST_BLANKS = 60
"""More are too many to decide anything about."""

MOST_PURCHASES = 4000
"""Cheaper purchases that the rows allow: with more there is no end to deciding them."""

LANES_WORK = 0.0015
"""Counted for each blank where prices of lanes are asked about a purchase."""
FRONTS_WORK = 3e-6
"""Counted for each front in each round of a beam."""
LANES_SHARE = 0.4
"""Most of the work for prices of lanes."""
TURN = 1 / 3
"""Share of the work that is left for proofs, and then for layouts, before the next turn."""
LONGER = 2.0
"""So many times the work for each purchase in the next turn."""
BEAMS = 1
"""Of each purchase in a turn."""
SHUFFLED = 0.3
"""Share of the beams that take the units in any order; the others begin with the narrow ones."""

ONE_ROOM = (wide_beam.Taste(1000, 6, 16), wide_beam.Taste(1000, 6, 8))
"""Beams for one unit's share of the blanks."""

Numbers = tuple[int, ...]
"""Units of each stock to buy."""


@dataclass(frozen=True)
class Decided:
    """Proven least price, at most the one asked about, and a cheaper purchase if one was found.

    `never` are the numbers of purchases proven not to hold the blanks, `tried` of those on which
    they were laid in vain.
    """

    least: float
    never: frozenset[Numbers] = frozenset()
    tried: frozenset[Numbers] = frozenset()
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
    known: Set[Numbers] = frozenset(),
    again: bool = False,
    seed: int = 0,
    until: Until = FOREVER,
) -> Decided:
    """Decide purchases cheaper than `price`, cheapest first; `work` as in new_solver, for all.

    Each gets `work_each` at first, then more. `known` purchases are proven already, and with
    `again` prices of lanes are known to prove no more.
    Numbers bought are by stock; placements count units on hand first, in order of stock, then those
    bought, in order of stock.
    """
    waiting = cheaper_purchases(stocks, price, rows)
    if waiting is None:
        return Decided(0.0)
    job = _Job(shapes, stocks, gap_mm, price, waiting, work, seed, until, never=set(known))
    if not again:
        job.price_lanes(LANES_SHARE * work)
    while job.open() and not job.over():
        job.find(work_each, TURN * job.work)
        job.decide(work_each, max(TURN * job.work, work_each))
        work_each *= LONGER
        job.seed += 1
    return Decided(
        min([job.price, *(spent for spent, _ in job.open())]),
        frozenset(job.never),
        frozenset(numbers for _, numbers in job.open() if numbers in job.tried),
        job.numbers,
        job.placements,
    )


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
    never: set[Numbers]
    tried: set[Numbers] = field(default_factory=set)
    numbers: Numbers | None = None
    placements: tuple[Placement, ...] = ()
    """The cheapest that holds the blanks; only what is cheaper is waiting."""

    def __post_init__(self) -> None:
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
        self.counts = [shape.quantity for shape in self.shapes]
        self.boxes = lanes.make_boxes(self.shapes, self.gap_mm, self.unit_mm)
        self.rng = random.Random(self.seed)
        self.known = Known()

    def over(self) -> bool:
        return self.work <= 0.0 or self.until.over()

    def open(self) -> list[tuple[float, Numbers]]:
        """What is neither proven not to hold the blanks nor dearer than what holds them."""
        return [one for one in self.waiting if one[1] not in self.never]

    def rule_out(self, numbers: Numbers) -> None:
        """Note that a purchase does not hold the blanks, and so none that is part of it."""
        self.never |= {part for _, part in self.waiting if _part_of(part, numbers)}
        self.never.add(numbers)

    def keep(self, numbers: Numbers, placements: Sequence[Placement]) -> None:
        """Keep a purchase that holds the blanks; dearer ones wait no more."""
        self.numbers, self.placements = numbers, tuple(placements)
        place = next(k for k, (_, one) in enumerate(self.waiting) if one == numbers)
        self.price, _ = self.waiting[place]
        self.waiting = self.waiting[:place]

    def rooms(self, numbers: Numbers) -> list[Size]:
        return [_room(stock, self.gap_mm, self.unit_mm) for stock in units_of(self.stocks, numbers)]

    def price_lanes(self, share: float) -> None:
        """Rule out what prices of lanes prove too small, cheapest first."""
        least = self.work - share
        in_vain: list[Numbers] = []
        for _, numbers in self.open():
            if self.over() or self.work <= least:
                return
            if numbers in self.never or any(_part_of(one, numbers) for one in in_vain):
                continue
            self.work -= LANES_WORK * len(self.blanks)
            if lanes_never_cover(self.sizes, self.rooms(numbers), until=self.until):
                self.rule_out(numbers)
            else:
                in_vain.append(numbers)

    def decide(self, work_each: float, share: float) -> None:
        """Decide open purchases, cheapest first, up to the first that holds the blanks."""
        least = self.work - share
        for _, numbers in self.open():
            if self.over() or self.work <= least or self._fit(numbers, work_each, hopeful=False):
                return

    def find(self, work_each: float, share: float) -> None:
        """Lay the blanks on open purchases, those first that have most room to spare."""
        least = self.work - share
        for numbers in sorted((one for _, one in self.open()), key=self._tightness):
            if numbers not in {one for _, one in self.open()}:
                continue
            for turn in range(BEAMS + 1):
                if self.over() or self.work <= least:
                    return
                if turn == 0 and self._fit(numbers, work_each, hopeful=True):
                    break
                if numbers in self.never:
                    break
                placements = (
                    self._beam(numbers, shuffled=self.rng.random() < SHUFFLED) if turn else None
                )
                if placements is not None:
                    self.keep(numbers, placements)
                    break
            else:
                self.tried.add(numbers)

    def _tightness(self, numbers: Numbers) -> tuple[float, Numbers]:
        units = units_of(self.stocks, numbers)
        return -float(sum(stock.length_mm * stock.width_mm for stock in units)), numbers

    def _beam(self, numbers: Numbers, *, shuffled: bool) -> list[Placement] | None:
        units = units_of(self.stocks, numbers)
        order = sorted(range(len(units)), key=lambda k: (units[k].width_mm, units[k].length_mm))
        if shuffled:
            self.rng.shuffle(order)
        rooms = [lanes.make_room(units[k], self.gap_mm, self.unit_mm) for k in order]
        taste = wide_beam.Taste(
            self.rng.choice((1000, 2000)),
            self.rng.choice((4, 6, 10)),
            self.rng.choice((8, 12, 16, 24, 40)),
            self.rng.choice((0.5, 1.0, 2.0)),
        )
        rounds = 0

        def asked() -> bool:
            nonlocal rounds
            rounds += 1
            return self.until.asked()

        until = Until(self.until.moment, asked)
        puts = wide_beam.lay_all(
            self.boxes, self.counts, rooms, self.rng.getrandbits(32), taste, until=until
        )
        self.work -= FRONTS_WORK * taste.width * max(1, rounds)
        if puts is None:
            return None
        puts = [(order[room], x, y, b) for room, x, y, b in puts]
        return lanes.placements_of(self.shapes, self.boxes, units, puts, self.unit_mm)

    def _fit(self, numbers: Numbers, work: float, *, hopeful: bool) -> bool:
        """Whether a purchase is found to hold the blanks; what is decided of it is noted."""
        if numbers in self.never:
            return False
        decided = fit_shared(
            self.sizes,
            self.rooms(numbers),
            work=min(self.work, work),
            known=self.known,
            lay_one=self._lay_one,
            hopeful=hopeful,
            seed=self.seed,
            until=self.until,
        )
        self.work -= decided.work
        if decided.fits:
            units = units_of(self.stocks, numbers)
            at = [self.shapes[k] for k in self.blanks]
            self.keep(numbers, _placements(at, decided.places, units, self.unit_mm))
        elif decided.fits is False:
            self.rule_out(numbers)
        return bool(decided.fits)

    def _lay_one(self, sizes: Sequence[Size], room: Size) -> list[Lies] | None:
        boxes: list[lanes.Box] = []
        for k, (long, wide) in enumerate(sizes):
            boxes.append(lanes.Box(k, long, wide, False))
            if long != wide:
                boxes.append(lanes.Box(k, wide, long, True))
        counts = [1] * len(sizes)
        for taste in ONE_ROOM:
            puts = wide_beam.lay_all(
                boxes, counts, [lanes.Room(*room)], self.seed, taste, until=self.until
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
