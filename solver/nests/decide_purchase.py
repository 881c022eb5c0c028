"""Straight blanks: every cheaper purchase decided, one by one, whether it holds them at all.

Where blanks or purchases are many (`many_straight`, `likely_purchases`) cheaper ones are sought,
and little is proven. Of few: narrow beams first lay the blanks on what is roomy enough, and prices
of lanes prove quickly of many purchases that they do not hold them (`models/lane_cover`). Then,
with ever more work: blanks are laid on purchases that are open, roomy ones first (wide beams, then
units filled anew, and `models/shared_rooms`), and what is still open is decided in order of price.
What holds the blanks is the cheapest there is if all before it are proven not to hold them; where
the work does not suffice for one, the proof ends at its price. Square blanks lie square to the
stock (`Shape.square`), so this covers every nest that they may have.
"""

import random
from collections.abc import Sequence
from dataclasses import dataclass

from solver.data.until import FOREVER, Until
from solver.models.rooms import Decision, Lies, Size
from solver.models.shared_rooms import Known, fit_shared
from solver.nests import lanes, wide_beam
from solver.nests.likely_purchases import likely_purchases
from solver.nests.many_straight import seek_cheaper
from solver.nests.price_rows import Rows
from solver.nests.refill import refill
from solver.nests.shapes import Placement, Shape, Stock
from solver.nests.straight_job import Laid, Numbers, StraightJob, cheaper_purchases, units_of

FEW_BLANKS = 60
"""Of more cheaper purchases are only sought."""
SEEK_SHARE = 0.9
"""Of the work where they are sought; the rest is for prices of lanes."""

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
    """Whether blanks and stock are rectangles, no blanks alike too many, and no stock free."""
    return (
        bool(shapes)
        and all(lanes.is_box(s) and s.quantity <= lanes.MOST_OF_A_KIND for s in shapes)
        and all(stock.outline_mm is None for stock in stocks)
        and all(stock.price > 0 or stock.for_sale == 0 for stock in stocks)
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
) -> Decided:
    """Decide purchases cheaper than `price`, or seek one; `work` as in new_solver, for all.

    Of few blanks each gets `work_each` at first, then more. Where purchases are too many to list,
    some likely ones are tried and nothing is proven. Numbers bought are by stock; placements count
    units on hand first, in order of stock, then those bought, in order of stock. Equal calls that
    `until` does not end early give equal answers.
    """
    every = cheaper_purchases(stocks, price, rows)
    waiting = likely_purchases(stocks, price, rows) if every is None else every
    job = StraightJob(shapes, stocks, gap_mm, price, waiting, work, seed, until)
    if every is None:
        seek_cheaper(job, work)
    elif len(job.blanks) > FEW_BLANKS:
        seek_cheaper(job, SEEK_SHARE * work)
        job.price_lanes(job.work)
    else:
        _decide_few(job, work_each)
    return Decided(
        0.0 if every is None else min([job.price, *(spent for spent, _ in job.open())]),
        frozenset(job.never),
        job.numbers,
        job.placements,
    )


def _decide_few(job: StraightJob, work_each: float) -> None:
    work = job.work
    _find(job, 0.0, BEAMS_SHARE * work)
    job.price_lanes(LANES_SHARE * work)
    while job.open() and not job.over():
        share = FIND_SHARE * job.work
        _find(job, min(work_each, share), share)
        share = min(job.work, max(DECIDE_SHARE * job.work, work_each))
        _decide(job, min(work_each, share), share)
        work_each *= LONGER
        job.seed += 1


@dataclass(frozen=True)
class _Try:
    """A purchase to lay the blanks on, by a model or by beams; without any work by beams alone."""

    numbers: Numbers
    by_model: bool


def _decide(job: StraightJob, work_each: float, share: float) -> None:
    """Decide open purchases, cheapest first."""

    def fit(numbers: Numbers, until: Until) -> Decision:
        return _fit(job, numbers, work_each, until, hopeful=False)

    def note(numbers: Numbers, decided: Decision) -> bool:
        job.work -= decided.work
        if decided.fits:
            job.keep(numbers, _placed(job, numbers, decided))
        elif decided.fits is False:
            job.rule_out(numbers)
        return False

    order = [numbers for _, numbers in job.open()]
    job.go_through(order, job.is_open, fit, note, share)


def _find(job: StraightJob, work_each: float, share: float) -> None:
    """Lay the blanks on open purchases, those first that have most room to spare."""

    def due(one: _Try) -> bool:
        return job.is_open(one.numbers)

    def lay(one: _Try, until: Until) -> Laid:
        if one.by_model and work_each:
            return _lay_by_model(job, one.numbers, HOPEFUL * work_each, until)
        ample = min(1.0, max(LEAST_AMPLE, job.spare(one.numbers) / AMPLE))
        return _lay(job, one, REFILLS * ample * work_each, until)

    def note(one: _Try, laid: Laid) -> bool:
        job.work -= laid.work
        if laid.placements is not None:
            job.keep(one.numbers, laid.placements)
        return False

    roomy = sorted((one for _, one in job.open()), key=lambda n: (-job.spare(n), n))
    order = [_Try(numbers, by_model) for numbers in roomy for by_model in (False, True)]
    job.go_through(order, due, lay, note, share)


def _lay(job: StraightJob, one: _Try, work: float, until: Until) -> Laid:
    """Try to lay the blanks by a beam, wide with any work, and then by filling units anew."""
    rng = random.Random(f"{job.seed} {one}")
    units = units_of(job.stocks, one.numbers)
    order = sorted(range(len(units)), key=lambda k: (units[k].width_mm, units[k].length_mm))
    if one.by_model or rng.random() < SHUFFLED:
        rng.shuffle(order)
    rooms = [lanes.make_room(units[k], job.gap_mm, job.unit_mm) for k in order]
    taste = wide_beam.draw_taste(rng, WIDE if work else NARROW, (1, 2))
    rounds = 0

    def asked() -> bool:
        nonlocal rounds
        rounds += 1
        return until.asked()

    puts = wide_beam.lay_all(
        job.ways,
        job.counts,
        rooms,
        rng.getrandbits(32),
        taste,
        until=Until(until.moment, asked),
    )
    spent = FRONTS_WORK * taste.width * max(1, rounds)
    if puts is None and work and len(rooms) > 1:
        laid = refill(job.ways, job.counts, rooms, rng.getrandbits(32), work, until=until)
        puts, spent = laid.puts if laid.all_lie else None, spent + laid.work
    if puts is None:
        return Laid(None, spent)
    puts = [(order[room], x, y, b) for room, x, y, b in puts]
    return Laid(job.placed(units, puts), spent)


def _lay_by_model(job: StraightJob, numbers: Numbers, work: float, until: Until) -> Laid:
    decided = _fit(job, numbers, work, until, hopeful=True)
    return Laid(_placed(job, numbers, decided) if decided.fits else None, decided.work)


def _fit(
    job: StraightJob, numbers: Numbers, work: float, until: Until, *, hopeful: bool
) -> Decision:
    return fit_shared(
        job.sizes,
        job.rooms(numbers),
        work=work,
        known=Known(),  # tries made ahead may be forgotten: what they met must be too
        lay_one=lambda sizes, room: _lay_one(job, sizes, room, until),
        hopeful=hopeful,
        seed=job.seed,
        until=until,
    )


def _placed(job: StraightJob, numbers: Numbers, decided: Decision) -> tuple[Placement, ...]:
    blanks = [job.shapes[k] for k in job.blanks]
    return _placements(blanks, decided.places, units_of(job.stocks, numbers), job.unit_mm)


def _lay_one(
    job: StraightJob, sizes: Sequence[Size], room: Size, until: Until
) -> list[Lies] | None:
    boxes: list[lanes.Box] = []
    for k, (long, wide) in enumerate(sizes):
        boxes.append(lanes.Box(k, long, wide, False))
        if long != wide:
            boxes.append(lanes.Box(k, wide, long, True))
    counts = [1] * len(sizes)
    ways = wide_beam.blanks_of(boxes, len(sizes))
    for taste in ONE_ROOM:
        puts = wide_beam.lay_all(ways, counts, [lanes.Room(*room)], job.seed, taste, until=until)
        if puts is not None:
            at = {boxes[b].kind: Lies(0, x, y, boxes[b].turned) for _, x, y, b in puts}
            return [at[k] for k in range(len(sizes))]
    return None


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
