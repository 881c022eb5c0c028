"""The metal that is there: whole units, and what is left of those that were begun.

A begun unit is what its nest in the old plan says, less the blanks that were cut from it where they
lay.  New blanks keep the cutting gap from those cuts, so they lie within the *free* region: what of
the unit may be used, less the cut blanks grown by the gap.  The master counts its area; the nests
get it in parts, rectangles where it is one.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
import shapely

from solver.data.job import Job, StockItem
from solver.data.plan import NestPlan, Piece, Placed, Plan, SheetAtHand
from solver.data.work import Work
from solver.nests.shapes import Stock
from solver.planner.assemble import stock_area_mm2
from solver.planner.reuse_pool import Metal, metal_of
from solver.rules.gauges import SheetMetal, sheet_by_gauge, sheet_by_thickness

LEAST_SIDE_MM = 12.7
"""A leftover narrower than this holds no flashing."""
SAME_AREA = 1e-6
SIMPLER_MM = 0.02
"""Round corners of leftovers are drawn with fewer points, never outward by more than this."""
SLIT_MM = 0.005
MOST_PARTS = 12
HELD = "pieces at hand: "
"""Begins the name of the stock that stands for pieces of a metal that cannot be had any more."""


@dataclass(frozen=True)
class AtHand:
    """Metal that is there: whole units by stock item, and begun ones as nests with nothing laid."""

    whole: dict[str, int]
    rests: tuple[NestPlan, ...]
    notes: tuple[str, ...]


def at_hand(job: Job, plan: Plan, work: Work) -> AtHand:
    """Return what is left of the old plan's metal.

    ``on_hand`` of the scenario counts what was there before the old plan was begun.
    """
    done = work.cut | work.spoiled
    pieces = {piece.id: piece for piece in plan.pieces}
    whole = dict(plan.rerun.on_hand) if plan.rerun is not None else {}
    for item in job.stock:
        whole.setdefault(item.id, item.on_hand)
    begun = Counter[str]()
    rests: list[NestPlan] = []
    notes: list[str] = []
    for nest in plan.nests:
        cut = [one for one in nest.placed if one.piece in done]
        if nest.rest_of is None and not cut:
            continue
        name = nest.rest_of or nest.id
        if nest.rest_of is None:
            begun[nest.stock] += 1
        if nest.id in work.gone or name in work.gone:
            continue
        gone = (*nest.gone_mm, *(outline_at(pieces[one.piece], one) for one in cut))
        rests.append(_rest(nest, name, gone))
    if plan.rerun is not None:
        used = {nest.rest_of for nest in plan.nests}
        rests += [one for one in plan.rerun.rests if one.id not in used | work.gone]
    for stock, count in (Counter(work.bought) - Counter()).items():
        whole[stock] = whole.get(stock, 0) + count
    for stock, count in begun.items():
        whole[stock] = max(0, whole.get(stock, 0) - count)
    known = []
    for rest in rests:
        listed = job.stock_of.get(rest.stock)
        if listed is None or not _same_size(listed, rest, plan):
            notes.append(
                f'what is left of "{rest.id}" is not used: the scenario has no stock '
                f'"{rest.stock}" of its size; list it, with "for_sale": 0 if it is sold out'
            )
        else:
            known.append(rest)
    for stock in [stock for stock in whole if stock not in job.stock_of]:
        if whole[stock]:
            notes.append(
                f'{whole[stock]} of "{stock}" are there and not used: the scenario lists no such '
                'stock; list it, with "for_sale": 0 if it is sold out'
            )
        del whole[stock]
    return AtHand(whole, tuple(_distinct(known)), tuple(notes))


def _rest(nest: NestPlan, name: str, gone: Sequence[tuple[tuple[float, float], ...]]) -> NestPlan:
    return NestPlan(
        id=name,
        stock=nest.stock,
        bought=False,
        placed=(),
        offcuts=(),
        scrap_mm2=0.0,
        rest_of=name,
        gone_mm=tuple(gone),
    )


def _distinct(rests: Sequence[NestPlan]) -> list[NestPlan]:
    """Give begun units of different plans different names."""
    seen: set[str] = set()
    found = []
    for rest in rests:
        name, number = rest.id, 2
        while name in seen:
            name, number = f"{rest.id} ({number})", number + 1
        seen.add(name)
        found.append(rest.model_copy(update={"id": name, "rest_of": name}))
    return found


def _same_size(item: StockItem, rest: NestPlan, plan: Plan) -> bool:
    """Whether a stock item is still the one that a nest was laid on, by its area."""
    for nest in plan.nests:
        if (nest.rest_of or nest.id) != rest.id:
            continue
        area_of = {piece.id: piece.blank.area_mm2 for piece in plan.pieces}
        area = nest.scrap_mm2 + sum(area_of[one.piece] for one in nest.placed)
        area += sum(offcut.area_mm2 for offcut in nest.offcuts)
        area += sum(shapely.Polygon(ring).area for ring in nest.gone_mm)
        return bool(abs(area - stock_area_mm2(item)) <= SAME_AREA * area + 1.0)
    return True


def outline_at(piece: Piece, placed: Placed) -> tuple[tuple[float, float], ...]:
    """Outline of a placed blank on its unit: flipped, turned, moved."""
    points = np.array(piece.blank.outline_mm)
    if placed.flipped:
        points = points * (1.0, -1.0)
    turn = np.radians(placed.turn_deg)
    cos, sin = float(np.cos(turn)), float(np.sin(turn))
    matrix = np.array(((cos, -sin), (sin, cos)))
    moved = points @ matrix.T + (placed.x_mm, placed.y_mm)
    return tuple((float(x), float(y)) for x, y in moved)


def job_with(job: Job, there: AtHand, work: Work) -> Job:
    """Return the job with whole units, bolts and clamps that are there."""
    stock = tuple(replace(item, on_hand=there.whole.get(item.id, 0)) for item in job.stock)
    shop = replace(
        job.shop,
        bolts_on_hand=job.shop.bolts_on_hand + work.bolts_bought,
        clamps_on_hand=job.shop.clamps_on_hand + work.clamps_bought,
    )
    return replace(job, stock=stock, shop=shop)


def lost_metals(job: Job, pieces: Sequence[Piece]) -> tuple[SheetAtHand, ...]:
    """Return the sheet metals of pieces that the stock does not list at all."""
    listed = {item.sheet_metal for item in job.stock}
    lost: dict[Metal, SheetAtHand] = {}
    for piece in pieces:
        key = metal_of(piece)
        if key not in listed and key not in lost:
            metal = _sheet_metal(piece)
            lost[key] = SheetAtHand(
                metal=piece.metal,
                gauge=piece.gauge,
                thickness_mm=piece.thickness_mm,
                core_mm=metal.core_mm,
                mass_kg_m2=piece.mass_kg / piece.blank.area_mm2 * 1e6,
            )
    return tuple(lost.values())


def _sheet_metal(piece: Piece) -> SheetMetal:
    if piece.gauge is not None:
        return sheet_by_gauge(piece.metal, piece.gauge)
    return sheet_by_thickness(piece.metal, piece.thickness_mm)


def listed_again(job: Job, lost: Sequence[SheetAtHand]) -> Job:
    """Return the job with sheet metals that cannot be had listed, so that pieces may be of them."""
    more = tuple(
        StockItem(
            id=f"{HELD}{one.thickness_mm:.4f} {one.metal}",
            form="sheet",
            metal=one.metal,
            gauge=one.gauge,
            thickness_mm=one.thickness_mm,
            core_mm=one.core_mm,
            mass_kg_m2=one.mass_kg_m2,
            width_mm=1.0,
            length_mm=1.0,
            on_hand=0,
            for_sale=0,
        )
        for one in lost
    )
    return replace(job, stock=(*job.stock, *more))


# --- for the master -----------------------------------------------------------------------------


@dataclass(frozen=True)
class Counted:
    """The job as the master counts stock: begun units and pieces at hand listed as stock too."""

    job: Job
    rests: Mapping[str, NestPlan]
    """By the name of their stock item."""
    free: Mapping[str, shapely.Geometry]
    capacity_mm2: Mapping[str, float]


def counted(job: Job, rests: Sequence[NestPlan], pieces: Sequence[Piece]) -> Counted:
    """Return a job whose stock has an item for each begun unit, no larger than what is free.

    A metal of which nothing can be had or is left gets an item that holds nothing, so that pieces
    of it that are there may be used.
    """
    more: list[StockItem] = []
    free: dict[str, shapely.Geometry] = {}
    capacity: dict[str, float] = {}
    by_name: dict[str, NestPlan] = {}
    gap = job.rules.cutting_gap_mm
    for rest in rests:
        item = job.stock_of[rest.stock]
        region = free_region(job, item, rest)
        parts = [
            p
            for p in shapely.get_parts(region)
            if not shapely.buffer(p, -LEAST_SIDE_MM / 2).is_empty
        ]
        if not parts:
            continue
        region = shapely.union_all(parts)
        low_x, low_y, high_x, high_y = region.bounds
        name = f"rest of {rest.id}"
        more.append(
            replace(
                item,
                id=name,
                form="offcut",
                length_mm=high_x - low_x,
                width_mm=high_y - low_y,
                price=0.0,
                on_hand=1,
                for_sale=0,
                outline_mm=None,
            )
        )
        free[name], by_name[name] = region, rest
        grown = shapely.buffer(region, gap / 2, join_style="mitre", mitre_limit=10.0)
        capacity[name] = float(grown.area)
    available = {i.sheet_metal for i in (*job.stock, *more) if i.on_hand or i.for_sale != 0}
    for piece in pieces:
        key = metal_of(piece)
        if key in available:
            continue
        available.add(key)
        item = next(item for item in job.stock if item.sheet_metal == key)
        reach = 2 * job.rules.longest_piece_mm
        name = f"{HELD}{item.metal_label}"
        more.append(
            replace(
                item, id=name, form="offcut", length_mm=reach, width_mm=reach, price=0.0,
                on_hand=1, for_sale=0, outline_mm=None,
            )
        )  # fmt: skip
        capacity[name] = 0.0
    return Counted(replace(job, stock=(*job.stock, *more)), by_name, free, capacity)


def usable_region(job: Job, item: StockItem) -> shapely.Geometry:
    """What of a unit may be cut: a roll loses its ends."""
    end = job.rules.roll_end_mm if item.form == "roll" else 0.0
    box = shapely.box(end, 0.0, item.length_mm - end, item.width_mm)
    if item.outline_mm is None:
        return box
    return shapely.intersection(shapely.Polygon(item.outline_mm), box)


def free_region(
    job: Job, item: StockItem, rest: NestPlan, also: Sequence[tuple[tuple[float, float], ...]] = ()
) -> shapely.Geometry:
    """What of a begun unit may still be cut, the gap from all cuts kept; ``also`` more cuts."""
    # chords of the round corners lie within the circles, so the radius is raised
    gap = job.rules.cutting_gap_mm * 1.01 + 1e-4
    cuts = [shapely.Polygon(ring) for ring in (*rest.gone_mm, *also)]
    taken = shapely.union_all(shapely.buffer(cuts, gap, quad_segs=8)) if cuts else None
    region = usable_region(job, item)
    return region if taken is None else shapely.difference(region, taken)


# --- for the nests ------------------------------------------------------------------------------


@dataclass(frozen=True)
class Part:
    """A part of a begun unit as a stock of its own, and where its corner lies on the unit."""

    stock: Stock
    unit: str
    x_mm: float
    y_mm: float


def parts_of(name: str, region: shapely.Geometry) -> tuple[Part, ...]:
    """Return the free region of a unit in as few parts as may be, the largest first.

    A hole is opened to the border by a slit too thin for any blank to lie across.
    """
    found = []
    for part in shapely.get_parts(region):
        found += _opened(part)
    found = [p for p in found if not shapely.buffer(p, -LEAST_SIDE_MM / 2).is_empty]
    found.sort(key=lambda p: -p.area)
    rings = [_ring(polygon) for polygon in found[:MOST_PARTS]]
    return tuple(_part(name, n, box, ring) for n, (box, ring) in enumerate(filter(None, rings)))


def _opened(polygon: shapely.Polygon) -> list[shapely.Polygon]:
    for _ in range(len(polygon.interiors)):
        if not len(polygon.interiors):
            break
        hole = polygon.interiors[0]
        others = shapely.union_all([polygon.exterior, *polygon.interiors[1:]])
        nearest = shapely.shortest_line(hole, others)
        slit = shapely.buffer(nearest, SLIT_MM, cap_style="square")
        rest = shapely.difference(polygon, slit)
        if rest.geom_type != "Polygon":
            return [p for part in shapely.get_parts(rest) for p in _opened(part)]
        polygon = rest
    return [polygon] if not len(polygon.interiors) else []


Box = tuple[float, float, float, float]


def _ring(polygon: shapely.Polygon) -> tuple[Box, tuple[tuple[float, float], ...] | None] | None:
    """Bounds of a part and its outline within them, None for a rectangle."""
    low_x, low_y, high_x, high_y = polygon.bounds
    box = (high_x - low_x) * (high_y - low_y)
    if box - polygon.area <= 1e-3 * min(high_x - low_x, high_y - low_y):
        return polygon.bounds, None
    inner = shapely.simplify(shapely.buffer(polygon, -SIMPLER_MM), SIMPLER_MM)
    if inner.geom_type != "Polygon" or inner.is_empty or len(inner.interiors):
        return None
    points = np.array(inner.exterior.coords)[:-1] - (low_x, low_y)
    return polygon.bounds, tuple((float(x), float(y)) for x, y in points)


def _part(name: str, number: int, box: Box, ring: tuple[tuple[float, float], ...] | None) -> Part:
    stock = Stock(
        id=f"{name} / {number + 1}",
        width_mm=box[3] - box[1],
        length_mm=box[2] - box[0],
        price=0.0,
        on_hand=1,
        for_sale=0,
        outline_mm=ring,
    )
    return Part(stock, name, box[0], box[1])


def tiles_of(
    name: str,
    region: shapely.Geometry,
    cuts: Sequence[tuple[tuple[float, float], ...]],
    gap_mm: float,
) -> tuple[Part, ...]:
    """Return rectangles that do not touch the boxes round the cuts: the largest, and so on.

    Straight blanks lie better on rectangles.
    """
    low_x, low_y, high_x, high_y = region.bounds
    whole = shapely.box(low_x, low_y, high_x, high_y)
    gap = gap_mm * 1.01 + 1e-4
    blocks = [shapely.Polygon(ring).buffer(gap, join_style="mitre").bounds for ring in cuts]
    around = shapely.get_parts(shapely.difference(whole, shapely.union_all([region, *(
        shapely.box(*block) for block in blocks)])))  # fmt: skip
    blocks += [part.bounds for part in around if part.area > 1e-6]
    found: list[Box] = []
    while len(found) < MOST_PARTS:
        best = _largest((low_x, low_y, high_x, high_y), blocks)
        if best is None:
            break
        found.append(best)
        blocks.append(best)
    return tuple(_part(name, number, box, None) for number, box in enumerate(found))


def _largest(frame: Box, blocks: Sequence[Box]) -> Box | None:
    """Return the largest rectangle in a frame off all blocks, none narrower than is of use."""
    xs = np.unique(np.clip([frame[0], frame[2], *(v for b in blocks for v in (b[0], b[2]))],
                           frame[0], frame[2]))  # fmt: skip
    ys = np.unique(np.clip([frame[1], frame[3], *(v for b in blocks for v in (b[1], b[3]))],
                           frame[1], frame[3]))  # fmt: skip
    free = np.ones((len(ys) - 1, len(xs) - 1), dtype=bool)
    for x0, y0, x1, y1 in blocks:
        rows = slice(*np.searchsorted(ys, np.clip((y0, y1), frame[1], frame[3])))
        columns = slice(*np.searchsorted(xs, np.clip((x0, x1), frame[0], frame[2])))
        free[rows, columns] = False
    best, most = None, 0.0
    for low in range(len(ys) - 1):
        clear = np.ones(len(xs) - 1, dtype=bool)
        for high in range(low, len(ys) - 1):
            clear &= free[high]
            if not clear.any():
                break
            height = float(ys[high + 1] - ys[low])
            steps = np.diff(np.concatenate(((0,), clear.astype(np.int8), (0,))))
            starts, ends = np.nonzero(steps == 1)[0], np.nonzero(steps == -1)[0]
            lengths = xs[ends] - xs[starts]
            longest = int(np.argmax(lengths))
            length = float(lengths[longest])
            if min(height, length) >= LEAST_SIDE_MM and height * length > most:
                most = height * length
                best = (
                    float(xs[starts[longest]]), float(ys[low]),
                    float(xs[ends[longest]]), float(ys[high + 1]),
                )  # fmt: skip
    return best
