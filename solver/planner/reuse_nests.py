"""Nests of the pieces that are still to be cut, on what is there and what is for sale.

A piece that nothing changed about keeps its place in its old nest, so that what is marked out
stays marked out, unless cutting elsewhere is cheaper.  Three ways are tried: all such places kept,
only those on units that are begun, none.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
import shapely

from solver.data.job import Job, StockItem
from solver.data.plan import NestPlan, Offcut, Placed, Plan, Purchase
from solver.data.until import Until
from solver.nests.cutting_sense import borders_mm
from solver.nests.offcuts import offcuts
from solver.nests.price_bound import bound_from_rows
from solver.nests.price_rows import price_rows
from solver.nests.purchase import purchase
from solver.nests.shapes import (
    Layout,
    Placement,
    PriceBound,
    Ring,
    Shape,
    UsedUnit,
    turned_points,
)
from solver.planner.assemble import stock_area_mm2
from solver.planner.nesting import shape_of, stock_of
from solver.planner.piece_options import PieceOption
from solver.planner.reuse_stock import (
    AtHand,
    Counted,
    Part,
    free_region,
    parts_of,
    tiles_of,
    usable_region,
)
from solver.planner.sheets import Sheet

Keep = Literal["all", "begun", "none"]
ROUNDING_MM = 1e-4
WAYS: tuple[tuple[Keep, bool], ...] = (
    ("all", False),
    ("all", True),
    ("begun", False),
    ("begun", True),
    ("none", False),
    ("none", True),
)
"""Which old places stay, and whether what is left of begun units is offered in rectangles."""
BEST_WAYS = 2
"""Ways that looked best at the first go, and are searched further."""


@dataclass(frozen=True)
class ToCut:
    """A piece to be cut, with its id; an unchanged one has the id of the old plan."""

    id: str
    piece: PieceOption


@dataclass(frozen=True)
class Unit:
    """One roll, sheet or offcut with what is laid on it."""

    stock: str
    bought: bool
    name: str | None
    """The old nest whose unit it is."""
    begun: bool
    gone_mm: tuple[Ring, ...]
    placed: tuple[Placed, ...]


@dataclass(frozen=True)
class SheetCut:
    """What one sheet metal's pieces are cut from."""

    sheet: int
    pieces: tuple[ToCut, ...]
    units: tuple[Unit, ...]
    price: float
    complete: bool
    cut_short: bool
    fill: float | None
    """Share of the units' area that the blanks take."""


class RestNester:
    """Nests the pieces to be cut of one rerun; equal questions are answered once.

    ``done`` are the old plan's pieces that are cut: the others have their places.
    """

    def __init__(
        self,
        job: Job,
        sheets: Sequence[Sheet],
        counted: Counted,
        there: AtHand,
        plan: Plan,
        done: frozenset[str],
        seed: int,
    ) -> None:
        self._job, self._sheets, self._counted = job, sheets, counted
        self._there, self._seed = there, seed
        self._places = {
            one.piece: (nest, one)
            for nest in plan.nests
            for one in nest.placed
            if one.piece not in done
        }
        self._known: dict[object, SheetCut] = {}
        self._effort: dict[object, int] = {}
        self._bounds: dict[object, PriceBound] = {}

    def nest(
        self,
        sheet: int,
        pieces: Sequence[ToCut],
        start: Mapping[str, int],
        effort: int,
        until: Until,
    ) -> SheetCut:
        """Return the cheapest stock found for these pieces of one sheet metal."""
        ordered = tuple(sorted(pieces, key=lambda one: (one.piece.run, one.piece.from_mm)))
        key = _key(sheet, ordered)
        best = self._known.get(key)
        if best is not None and (effort <= self._effort[key] or (best.complete and not best.price)):
            return best
        quick: list[tuple[SheetCut, dict[str, tuple[NestPlan, Placed]], bool]] = []
        seen: set[tuple[str, ...]] = set()
        for keep, tiled in WAYS:
            kept = self._kept(ordered, keep)
            names = (str(tiled), *sorted(kept))
            if names in seen or (quick and until.over()):
                continue
            seen.add(names)
            found = self._with(sheet, ordered, kept, start, 0, until, tiled=tiled)
            quick.append((found, kept, tiled))
            if (found.complete and found.price == 0.0) or len(kept) == len(ordered):
                break
        quick.sort(key=lambda one: (not one[0].complete, one[0].price))
        for number, (found, kept, tiled) in enumerate(quick[:BEST_WAYS]):
            if best is None or _better(found, best):
                best = found
            if (best.complete and best.price == 0.0) or (number and until.over()):
                break
            more = self._with(sheet, ordered, kept, start, effort, until, tiled=tiled)
            if _better(more, best):
                best = more
        assert best is not None
        self._known[key], self._effort[key] = best, effort
        return best

    def _kept(self, pieces: Sequence[ToCut], keep: Keep) -> dict[str, tuple[NestPlan, Placed]]:
        """Return the old places that stay, by piece: as many units as can be had again."""
        rests = {rest.id for rest in self._there.rests}
        whole = Counter(self._there.whole)
        found: dict[str, tuple[NestPlan, Placed]] = {}
        taken: dict[str, bool] = {}
        for one in pieces:
            if keep == "none" or one.id not in self._places:
                continue
            nest, placed = self._places[one.id]
            name = nest.rest_of or nest.id
            if name not in rests:
                if keep == "begun" or nest.rest_of is not None:
                    continue
                if name not in taken:
                    taken[name] = self._can_be_had(nest.stock, whole)
                if not taken[name]:
                    continue
            found[one.id] = (nest, placed)
        piece_of = {one.id: one.piece for one in pieces}
        for unit in {nest.id: nest for nest, _ in found.values()}.values():
            here = {name: put for name, (nest, put) in found.items() if nest.id == unit.id}
            cuts = [_outline(piece_of[name], put) for name, put in here.items()]
            if not self._still_right(unit, cuts):
                for name in here:
                    del found[name]
        return found

    def _still_right(self, nest: NestPlan, cuts: Sequence[Ring]) -> bool:
        """Whether old places keep the rules of the new scenario: the stock's border, the gap."""
        job = self._job
        item = job.stock_of.get(nest.stock)
        if item is None:
            return False
        region = shapely.buffer(usable_region(job, item), ROUNDING_MM, join_style="mitre")
        laid = [shapely.Polygon(ring) for ring in cuts]
        if not shapely.covers(region, laid).all():
            return False
        others = np.array([*laid, *(shapely.Polygon(ring) for ring in nest.gone_mm)])
        tree = shapely.STRtree(others)
        least = job.rules.cutting_gap_mm - ROUNDING_MM
        first, second = tree.query(np.array(laid), predicate="dwithin", distance=max(0.0, least))
        return not bool((first != second).any())

    def _can_be_had(self, stock: str, left: Counter[str]) -> bool:
        """Take one whole unit, from hand first; ``left`` goes below zero for bought ones."""
        item = self._job.stock_of.get(stock)
        if item is None:
            return False
        if left[stock] <= 0 and item.for_sale is not None and -left[stock] >= item.for_sale:
            return False
        left[stock] -= 1
        return True

    def _with(
        self,
        sheet: int,
        pieces: Sequence[ToCut],
        kept: Mapping[str, tuple[NestPlan, Placed]],
        start: Mapping[str, int],
        effort: int,
        until: Until,
        *,
        tiled: bool,
    ) -> SheetCut:
        job = self._job
        by_name = {rest.id: rest for rest in self._there.rests}
        metal = job.stock[self._plain_item(sheet)].sheet_metal if self._has_item(sheet) else None
        laid: dict[str, list[Placed]] = defaultdict(list)
        unit_of: dict[str, tuple[StockItem, NestPlan | None]] = {}
        for rest in self._there.rests:
            item = job.stock_of[rest.stock]
            if item.sheet_metal == metal:
                unit_of[rest.id] = (item, rest)
        piece_of = {one.id: one.piece for one in pieces}
        for name, (nest, placed) in kept.items():
            unit = nest.rest_of or nest.id
            laid[unit].append(placed.model_copy(update={"piece": name}))
            unit_of.setdefault(unit, (job.stock_of[nest.stock], by_name.get(unit)))
        whole = {item.id: self._there.whole.get(item.id, 0) for item in self._items(sheet)}
        sale = {item.id: item.for_sale for item in self._items(sheet)}
        bought: dict[str, bool] = {}
        price = 0.0
        for unit, (item, begun) in unit_of.items():
            if begun is None:
                bought[unit] = whole[item.id] <= 0
                if bought[unit]:
                    price += item.price
                    left = sale[item.id]
                    sale[item.id] = None if left is None else left - 1
                else:
                    whole[item.id] -= 1
        free = [one for one in pieces if one.id not in kept]
        units: dict[str, list[Placed]] = {unit: list(laid[unit]) for unit in unit_of}
        more: list[Unit] = []
        complete, cut_short = True, False
        if free:
            parts: list[Part] = []
            for unit, (item, begun) in unit_of.items():
                rest = begun or _whole_unit(unit, item)
                cuts = [_outline(piece_of[one.piece], one) for one in laid[unit]]
                region = free_region(job, item, rest, cuts)
                if tiled:
                    gone = (*rest.gone_mm, *cuts)
                    parts += tiles_of(unit, region, gone, job.rules.cutting_gap_mm)
                else:
                    parts += parts_of(unit, region)
            stocks = [part.stock for part in parts]
            stocks += [
                replace(stock_of(job, item), on_hand=whole[item.id], for_sale=sale[item.id])
                for item in self._items(sheet)
            ]
            part_of = {part.stock.id: part for part in parts}
            shapes = tuple(shape_of(one.id, one.piece) for one in free)
            found = purchase(
                shapes,
                stocks,
                job.rules.cutting_gap_mm,
                seed=self._seed,
                effort=effort,
                start={
                    s: max(
                        0,
                        start.get(s, 0)
                        - sum(bought.get(u, False) and unit_of[u][0].id == s for u in unit_of),
                    )
                    for s in whole
                },
                until=until,
            )
            complete, cut_short = found.layout.complete, found.cut_short
            price += found.price
            for number, used in enumerate(found.layout.units):
                placed_here = [p for p in found.layout.placements if p.unit == number]
                part = part_of.get(used.stock_id)
                at = (part.x_mm, part.y_mm) if part is not None else (0.0, 0.0)
                blanks = [
                    Placed(
                        piece=p.shape_id,
                        x_mm=p.x_mm + at[0],
                        y_mm=p.y_mm + at[1],
                        turn_deg=p.turn_deg,
                        flipped=p.flipped,
                    )
                    for p in placed_here
                ]
                if part is not None:
                    units[part.unit] += blanks
                else:
                    more.append(Unit(used.stock_id, used.bought, None, False, (), tuple(blanks)))
        used_units = [
            Unit(
                stock=unit_of[unit][0].id,
                bought=bought.get(unit, False),
                name=unit,
                begun=unit_of[unit][1] is not None,
                gone_mm=begun.gone_mm if (begun := unit_of[unit][1]) is not None else (),
                placed=tuple(blanks),
            )
            for unit, blanks in units.items()
            if blanks
        ]
        all_units = (*used_units, *more)
        return SheetCut(
            sheet, tuple(pieces), all_units, price, complete, cut_short,
            self._fill(pieces, all_units),
        )  # fmt: skip

    def _items(self, sheet: int) -> list[StockItem]:
        """Return the scenario's own stock of a sheet metal."""
        own = len(self._job.stock)
        return [self._job.stock[i] for i in self._sheets[sheet].items if i < own]

    def _has_item(self, sheet: int) -> bool:
        metal = self._sheets[sheet].metal
        return any(
            item.sheet_metal == (metal.metal, round(metal.thickness_mm, 4))
            for item in self._job.stock
        )

    def _plain_item(self, sheet: int) -> int:
        metal = self._sheets[sheet].metal
        key = (metal.metal, round(metal.thickness_mm, 4))
        return next(i for i, item in enumerate(self._job.stock) if item.sheet_metal == key)

    def _fill(self, pieces: Sequence[ToCut], units: Sequence[Unit]) -> float | None:
        area = 0.0
        for unit in units:
            name = f"rest of {unit.name}"
            if unit.begun and name in self._counted.free:
                area += self._counted.free[name].area
            else:
                area += stock_area_mm2(self._job.stock_of[unit.stock])
        blanks = sum(one.piece.blank.area_mm2 for one in pieces)
        return blanks / area if area else None

    def bound(self, cut: SheetCut) -> PriceBound:
        """Proven least price of a nest of these pieces; begun units count generously."""
        key = _key(cut.sheet, cut.pieces)
        if key not in self._bounds:
            gap = self._job.rules.cutting_gap_mm
            stocks = [
                stock_of(self._counted.job, self._counted.job.stock[i])
                for i in self._sheets[cut.sheet].items
            ]
            shapes = tuple(shape_of(one.id, one.piece) for one in cut.pieces)
            self._bounds[key] = bound_from_rows(price_rows(shapes, stocks, gap), stocks)
        return self._bounds[key]


def _key(sheet: int, pieces: Sequence[ToCut]) -> object:
    return sheet, tuple(
        (p.id, p.piece.run, p.piece.from_mm, p.piece.to_mm, p.piece.mounting) for p in pieces
    )


def _better(one: SheetCut, other: SheetCut) -> bool:
    if one.complete != other.complete:
        return one.complete
    return one.price < other.price - 1e-6


def _whole_unit(name: str, item: StockItem) -> NestPlan:
    return NestPlan(id=name, stock=item.id, bought=False, placed=(), offcuts=(), scrap_mm2=0.0)


def _outline(piece: PieceOption, placed: Placed) -> Ring:
    """Outline on its unit: flipped, turned, moved."""
    points = turned_points(piece.blank.outline_mm, placed.turn_deg, placed.flipped)
    return tuple((float(x) + placed.x_mm, float(y) + placed.y_mm) for x, y in points)


# --- the finished nests -------------------------------------------------------------------------


def nest_plans(
    job: Job, cuts: Sequence[SheetCut], taken_names: Sequence[str]
) -> tuple[tuple[NestPlan, ...], tuple[Purchase, ...]]:
    """Return the nests with their offcuts and scrap, and the purchases they make."""
    gap = job.rules.cutting_gap_mm
    plans: list[NestPlan] = []
    counts: dict[str, list[int]] = {}
    used = set(taken_names)
    number = 1
    for cut in cuts:
        piece_of = {one.id: one.piece for one in cut.pieces}
        for unit in cut.units:
            name = unit.name
            while name is None or (unit.name is None and name in used):
                name, number = f"nest {number}", number + 1
            used.add(name)
            item = job.stock_of[unit.stock]
            shapes = [shape_of(one.piece, piece_of[one.piece]) for one in unit.placed]
            gone = [
                Shape(f"gone {i}", ring, square=False, may_flip=False)
                for i, ring in enumerate(unit.gone_mm)
            ]
            layout = Layout(
                (UsedUnit(item.id, unit.bought),),
                (
                    *(
                        Placement(one.piece, 0, one.x_mm, one.y_mm, one.turn_deg, one.flipped)
                        for one in unit.placed
                    ),
                    *(Placement(shape.id, 0, 0.0, 0.0, 0.0, False) for shape in gone),
                ),
                True,
            )
            left = offcuts(layout, [*shapes, *gone], [stock_of(job, item)], gap)
            kept = tuple(
                Offcut(
                    outline_mm=one.outline_mm,
                    area_mm2=one.area_mm2,
                    holds_mm=() if one.is_rectangle else one.holds_mm,
                )
                for one in left.offcuts
            )
            taken = sum(piece_of[one.piece].blank.area_mm2 for one in unit.placed)
            taken += sum(one.area_mm2 for one in kept)
            taken += sum(float(shapely.Polygon(ring).area) for ring in unit.gone_mm)
            outlines = [np.array(_outline(piece_of[one.piece], one)) for one in unit.placed]
            border, on_edge = borders_mm(outlines, stock_of(job, item))
            plans.append(
                NestPlan(
                    id=name,
                    stock=item.id,
                    bought=unit.bought,
                    placed=unit.placed,
                    offcuts=kept,
                    scrap_mm2=stock_area_mm2(item) - taken,
                    cut_mm=border - on_edge,
                    edge_mm=on_edge,
                    rest_of=unit.name if unit.begun else None,
                    gone_mm=unit.gone_mm,
                )
            )
            if not unit.begun:
                counts.setdefault(item.id, [0, 0])[0 if unit.bought else 1] += 1
    purchases = tuple(
        Purchase(
            stock=stock,
            buy=buy,
            from_hand=hand,
            unit_price=job.stock_of[stock].price,
            price=buy * job.stock_of[stock].price,
        )
        for stock, (buy, hand) in counts.items()
    )
    return tuple(plans), purchases
