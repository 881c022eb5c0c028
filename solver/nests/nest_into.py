"""Nest blanks into exactly these units of stock.

Straight blanks alone go into lanes, and units of many are filled anew (refill); curved ones, offcut
outlines and mixed jobs go onto boards, in many orders; in a mixed job the straight blanks that
found no place between the curved ones may also follow in lanes behind them. What still finds no
place is laid over other blanks, and all are eased apart; on offcut outlines neighbours are taken
out and laid again instead. Every layout is measured before it is handed out.
"""

import random
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import shapely

from solver.data.until import FOREVER, Until
from solver.nests import fill, lanes, patterns, wide_beam
from solver.nests.alone import lies_alone
from solver.nests.bed import MOST_BLANKS
from solver.nests.easing_in import ease_in
from solver.nests.lane_order import anneal
from solver.nests.orders import lay_in_many_orders, lay_in_order, order_by, plain_order
from solver.nests.refill import refill
from solver.nests.rows import in_rows
from solver.nests.shapes import (
    Layout,
    Placement,
    Shape,
    Stock,
    UsedUnit,
    check_gap,
    check_shapes,
    check_stocks,
    usable_region,
)
from solver.nests.verify import verify

MOST_EXACTLY = 40
"""Straight blanks on one unit up to this number are also searched depth first."""

STEPS_PER_EFFORT = 50
"""Changes of the order of straight blanks for each step of effort."""

MANY_STRAIGHT, REFILL_PER_EFFORT = 60, 0.02
"""Of more straight blanks the order is not changed: units are filled anew, with so much work for
each step of effort (refill)."""

ORDERS = 4
"""Orders of the blanks that are tried."""

EFFORT_PER_ORDER, EFFORT_PER_ORDER_EASED = 8, 2
"""Steps of effort for each order that is tried besides; more where no ruin and return follows."""

HOPS_PER_EFFORT = 75
"""Steps of hopping at the most for each step of effort."""

HOPELESS_SHARE = 0.15
"""Where plain layouts leave out more than this share of the area, no search will mend it."""

EASED_SHARE = 0.4
"""The same where blanks can be eased apart."""

Attempt = tuple[list[Placement], bool]
"""Placements with units as indices into the units given, and whether something cut them short."""


@dataclass(frozen=True)
class Task:
    """What nest_into was asked, for the ways to nest that it tries."""

    shapes: Sequence[Shape]
    units: Sequence[Stock]
    gap_mm: float
    effort: int
    until: Until

    @property
    def quick(self) -> bool:
        """Whether only an answer at the first go counts."""
        return self.effort == 0

    def late(self) -> bool:
        """Whether to end now."""
        return self.until.over()


def nest_into(
    shapes: Sequence[Shape],
    units: Sequence[Stock],
    gap_mm: float,
    seed: int = 0,
    effort: int = 60,
    until: Until = FOREVER,
) -> Layout:
    """Layout of the blanks on the units given, in the order given; complete if all found a place.

    `units` names each unit once: the same Stock twice is two units of it, of which the first
    `on_hand` come from the shelf. Units without blanks are left out of the layout. `effort` counts
    steps of the search, so that equal calls give equal layouts; with 0 the search gives up at
    the first blank without a place, and an incomplete layout may be empty. No search follows where
    plain layouts leave out far too much. `until` may end the search early, and the layout says so.

    Raises ValueError for blanks, stock or a gap that make no sense, with the place.
    """
    check_shapes(shapes)
    check_gap(gap_mm)
    kinds = {stock.id: stock for stock in units}
    check_stocks(tuple(kinds.values()))
    area = {shape.id: shapely.Polygon(shape.outline_mm).area for shape in shapes}
    asked = sum(shape.quantity for shape in shapes)
    best: list[Placement] = []
    best_area = 0.0
    cut = False
    task = Task(shapes, units, gap_mm, effort, until)
    for placements, late in _attempts(task, random.Random(seed)):
        cut = cut or late
        placed = sum(area[p.shape_id] for p in placements)
        if placed > best_area or len(placements) == asked:
            best, best_area = placements, placed
        if len(best) == asked or task.late():
            break
    cut = cut and len(best) < asked
    layout = settle(best, units, complete=len(best) == asked, cut=cut)
    ample = [replace(stock, for_sale=None) for stock in kinds.values()]
    faults = verify(layout, shapes, ample, gap_mm)
    if faults:
        raise RuntimeError(f"a nest came out wrong: {faults[0]}")
    return layout


def settle(
    placements: Sequence[Placement], units: Sequence[Stock], complete: bool, cut: bool
) -> Layout:
    """Layout of placements; units without blanks are left out, the shelf is used first."""
    used = sorted({p.unit for p in placements})
    number = {unit: k for k, unit in enumerate(used)}
    taken: dict[str, int] = {}
    used_units: list[UsedUnit] = []
    for unit in used:
        stock = units[unit]
        count = taken.get(stock.id, 0)
        taken[stock.id] = count + 1
        used_units.append(UsedUnit(stock.id, bought=count >= stock.on_hand))
    moved = tuple(replace(p, unit=number[p.unit]) for p in placements)
    return Layout(tuple(used_units), moved, complete, cut)


def is_rectangle(stock: Stock) -> bool:
    """Whether the usable region of a unit of stock is a rectangle along its axes."""
    region = usable_region(stock)
    return bool(abs(region.area - shapely.envelope(region).area) < 1e-6)


def _attempts(task: Task, rng: random.Random) -> Iterator[Attempt]:
    """Ways to nest, quick ones first."""
    if not task.units:
        return
    straight = [shape for shape in task.shapes if lanes.is_box(shape)]
    rectangular = all(is_rectangle(stock) for stock in task.units)
    all_straight = len(straight) == len(task.shapes)
    if all_straight and rectangular:
        yield from _lane_attempts(straight, task.units, task, rng)
    if len(task.shapes) == 1 and task.shapes[0].quantity > 3 and rectangular:
        yield in_rows(task.shapes[0], task.units, task.gap_mm), False
    if all_straight and rectangular and _many(task.shapes):
        return  # what filling anew leaves over finds no place on boards
    filling = fill.make_filling(task.shapes, task.units, task.gap_mm)
    pieces = filling.pieces
    tight = {piece.shape.id for piece in pieces if not fill.has_room(piece, filling.boards)}
    if tight:
        yield from _set_apart(task, tight, rng)
        return
    mixed = bool(straight) and not all_straight and rectangular
    easing = rectangular and not all_straight and len(pieces) <= MOST_BLANKS
    if mixed:
        for short_mm in (1e9, 610.0, 0.0)[: 1 if task.quick or easing else 3]:
            lanes_effort = 0 if easing else task.effort
            yield from curved_then_lanes(filling, straight, task, rng, short_mm, lanes_effort)
    if task.quick:
        for order in (plain_order(filling), order_by(filling, 0))[: 1 if mixed else 2]:
            lay_in_order(filling, order, rng, task.until, all_or_none=True)
            yield fill.placements_of(filling), task.late()
        return
    more = task.effort // (EFFORT_PER_ORDER_EASED if easing else EFFORT_PER_ORDER)
    lay_in_many_orders(filling, ORDERS + more, rng, task.until)
    yield fill.placements_of(filling), task.late()
    missing = sum(at is None for at in filling.laid)
    total = sum(piece.area_mm2 for piece in pieces)
    hopeless = EASED_SHARE if easing else HOPELESS_SHARE
    if missing > 3 and filling.left_out_mm2() > hopeless * total:
        return
    if easing:
        eased = ease_in(filling, task.gap_mm, rng, HOPS_PER_EFFORT * task.effort, task.until)
        if eased is not None or task.late():
            yield eased or [], task.late()
        return
    cut = fill.improve(filling, rng, task.effort, task.until)
    yield fill.placements_of(filling), cut


def _set_apart(task: Task, tight: set[str], rng: random.Random) -> Iterator[Attempt]:
    """Blanks that the raster has no room for take a unit each; the others share the rest."""
    alone: list[Placement] = []
    free = [unit for unit, stock in enumerate(task.units) if is_rectangle(stock)]
    for shape in task.shapes:
        for _ in range(shape.quantity if shape.id in tight else 0):
            places = (lies_alone(shape, task.units[unit], unit) for unit in free)
            at = next((place for place in places if place is not None), None)
            if at is not None:
                alone.append(at)
                free.remove(at.unit)
    taken = {at.unit for at in alone}
    left = [unit for unit in range(len(task.units)) if unit not in taken]
    rest = [shape for shape in task.shapes if shape.id not in tight]
    yield alone, False
    if rest and left:
        part = replace(task, shapes=rest, units=[task.units[unit] for unit in left])
        for placements, cut in _attempts(part, rng):
            yield alone + [replace(at, unit=left[at.unit]) for at in placements], cut


def _lane_attempts(
    straight: Sequence[Shape], units: Sequence[Stock], task: Task, rng: random.Random
) -> Iterator[Attempt]:
    unit_mm = lanes.whole_unit_mm(straight, task.gap_mm)
    kinds = [
        replace(shape, quantity=min(lanes.MOST_OF_A_KIND, shape.quantity - done))
        for shape in straight
        for done in range(0, shape.quantity, lanes.MOST_OF_A_KIND)
    ]
    boxes = lanes.make_boxes(kinds, task.gap_mm, unit_mm)
    counts = [shape.quantity for shape in kinds]
    rooms = [lanes.make_room(stock, task.gap_mm, unit_mm) for stock in units]
    for along in (False, True):
        deep = _one_deep(boxes, counts, rooms, along)
        if deep is not None:
            yield lanes.placements_of(kinds, boxes, units, deep, unit_mm), False
    if len(rooms) == 1 and sum(counts) <= MOST_EXACTLY:
        exact = lanes.fill_exactly(boxes, counts, rooms[0], 100 * task.effort)
        if exact is not None:
            yield lanes.placements_of(kinds, boxes, units, exact, unit_mm), False
    if _many(straight):
        blanks = wide_beam.blanks_of(boxes, len(counts))
        work = REFILL_PER_EFFORT * task.effort
        filled = refill(blanks, counts, rooms, rng.getrandbits(32), work, task.until)
        yield lanes.placements_of(kinds, boxes, units, filled.puts, unit_mm), task.late()
        return
    best: list[lanes.Put] = []
    for attempt in range(2 + task.effort // 10):
        width = (4, 20)[attempt] if attempt < 2 else rng.choice((20, 40, 60))
        window = 16 if attempt < 1 else rng.choice((5, 8, 12, 16, 24))
        puts, cut = lanes.beam(boxes, counts, rooms, width, rng, task.until, window=window)
        yield lanes.placements_of(kinds, boxes, units, puts, unit_mm), cut
        if len(puts) > len(best):
            best = puts
    if task.effort and rooms:
        steps = STEPS_PER_EFFORT * task.effort
        best = anneal(boxes, counts, rooms, best, steps, rng, until=task.until, fit_only=True)
        yield lanes.placements_of(kinds, boxes, units, best, unit_mm), task.late()


def _many(straight: Sequence[Shape]) -> bool:
    return sum(shape.quantity for shape in straight) > MANY_STRAIGHT


def _one_deep(
    boxes: Sequence[lanes.Box], counts: Sequence[int], rooms: Sequence[lanes.Room], along: bool
) -> list[lanes.Put] | None:
    """Blanks side by side across the units (or one after the other `along` them), one deep.

    None where two blanks could lie behind one another, so that this is not the way.
    """
    ways: list[list[int]] = [[] for _ in counts]
    for k, box in enumerate(boxes):
        ways[box.kind].append(k)
    chosen: list[int] = []
    for some in ways:
        fitting = [
            k
            for k in some
            if any(boxes[k].length <= r.length and boxes[k].width <= r.width for r in rooms)
        ]
        if not fitting:
            return None
        chosen.append(min(fitting, key=lambda k: boxes[k].length if along else boxes[k].width))
    deep = [boxes[k].width if along else boxes[k].length for k in chosen]
    sizes = [boxes[k].length if along else boxes[k].width for k in chosen]
    bins: dict[lanes.Room, list[int]] = {}
    for unit, room in enumerate(rooms):
        bins.setdefault(room, []).append(unit)
    found: list[patterns.Bin] = []
    for room, units in bins.items():
        depth, side = (room.width, room.length) if along else (room.length, room.width)
        fitting = [k for k in range(len(counts)) if deep[k] <= depth and sizes[k] <= side]
        if any(2 * deep[k] <= depth for k in fitting):
            return None
        found.append(patterns.Bin(side, tuple(fitting), tuple(units)))
    puts: list[lanes.Put] = []
    for unit, laid in patterns.fill_bins(sizes, counts, found):
        at = 0
        for kind in laid:
            puts.append((unit, at, 0, chosen[kind]) if along else (unit, 0, at, chosen[kind]))
            at += sizes[kind]
    return puts


def curved_then_lanes(
    filling: fill.Filling,
    straight: Sequence[Shape],
    task: Task,
    rng: random.Random,
    short_mm: float,
    lanes_effort: int,
) -> Iterator[Attempt]:
    """Curved blanks, straight ones up to `short_mm` between them, the rest in lanes behind."""
    is_straight = {shape.id for shape in straight}
    order = sorted(range(len(filling.pieces)), key=lambda i: (-filling.pieces[i].area_mm2, i))
    curved = [i for i in order if filling.pieces[i].shape.id not in is_straight]
    short = [
        i
        for i in order
        if filling.pieces[i].shape.id in is_straight
        and max(lanes.size_mm(filling.pieces[i].shape)) <= short_mm
    ]
    filling.laid = [None] * len(filling.pieces)
    every = range(len(filling.boards))
    fill.lay(filling, curved, rng, 1.0, 64, every, task.until, all_or_none=task.quick)
    if task.quick and any(filling.laid[i] is None for i in curved):
        return
    fill.lay(filling, short, rng, 1.0, 64, every, task.until, inside=True)
    first = fill.placements_of(filling)
    missing: dict[str, int] = {}
    for piece, at in zip(filling.pieces, filling.laid, strict=True):
        if at is None and piece.shape.id in is_straight:
            missing[piece.shape.id] = missing.get(piece.shape.id, 0) + 1
    rest = [replace(s, quantity=missing[s.id]) for s in straight if s.id in missing]
    if not rest:
        yield first, task.late()
        return
    tails: list[Stock] = []
    back: list[tuple[int, float]] = []
    for b, end in enumerate(fill.ends(filling)):
        low, _, high, _ = shapely.bounds(usable_region(task.units[b])).tolist()
        # cells end half a gap behind the last blank: a lane may start half a gap later
        start = low + end * filling.boards[b].grid.dx_mm
        if high - start > 1.0:
            tails.append(Stock(f"tail {b}", task.units[b].width_mm, high - start, 0.0, 1, 0))
            back.append((b, start))
    for placements, cut in _lane_attempts(rest, tails, replace(task, effort=lanes_effort), rng):
        moved = [
            replace(p, unit=back[p.unit][0], x_mm=p.x_mm + back[p.unit][1]) for p in placements
        ]
        yield first + moved, cut
