"""Rows that every purchase must meet, whatever the nest.

Each row gives every blank a worth that no layout can squeeze and every unit of stock the most worth
it can hold; so the worths of the blanks add up to no more than the units hold. Three families:

* area: a blank grown by half the cutting gap, a unit grown likewise (blanks that keep the gap do
  not overlap when grown by half of it);
* lanes across the width, lanes along the length: a line across a unit meets blanks whose chords
  fit it side by side; integrated along the unit with a superadditive function (lane_values);
* classes: blanks that fit only some kinds of stock must be held by those kinds.

A row is stated over all nests that the blanks' freedom allows: each blank counts the least of its
allowed ways to lie.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import numpy.typing as npt
import shapely
from ortools.linear_solver import pywraplp

from solver.data.until import FOREVER, Until
from solver.nests.lane_values import Lanes, knapsack, lane_relaxation
from solver.nests.lanes import is_box
from solver.nests.shapes import Ring, Shape, Stock, turned_points, usable_region
from solver.nests.transversal import LEAST_DEPTH_MM, Chords, chords, free_worths

Floats = npt.NDArray[np.float64]
MOST_CELLS = 1600
"""Widths are counted in whole units so coarse that no more than this many cross the stock."""


GUIDE_TILTS_DEG = (0.0, -6.0, 6.0, -15.0, 15.0, -35.0, 35.0, 90.0)
FEW_ABREAST = 3.6
"""Chords of curved blanks are looked at where no more than so many lie side by side."""

FIT_SLACK_MM = 1e-6
ANGLE_STEP_DEG = 0.25
"""Between angles at which it is asked whether a blank fits; what lies between is allowed for."""

MOST_NODES = 20_000
"""Of the search for the cheapest numbers to buy: some seconds; mostly it takes a few nodes."""

COARSER = 1.03
"""Ratio of chords counted as one lane in the guide."""
MOST_GUIDES = 400
"""Blanks by which lanes are priced: 4 s of programmes; whatever the prices, the rows hold."""


@dataclass(frozen=True)
class Rows:
    """`held` (rows x kinds): most worth of one unit; `needed` (rows): worth of the blanks.

    `names` says in words what each row is. A kind that can hold nothing needed has 0.
    """

    held: Floats
    needed: Floats
    names: tuple[str, ...]
    impossible: str | None = None


@dataclass(frozen=True)
class _Size:
    length: float
    width: float
    area: float


def _usable(stock: Stock) -> _Size:
    region = usable_region(stock)
    low_x, low_y, high_x, high_y = shapely.bounds(region).tolist()
    return _Size(high_x - low_x, high_y - low_y, float(region.area))


def price_rows(
    shapes: Sequence[Shape],
    stocks: Sequence[Stock],
    gap_mm: float,
    lanes: bool = True,
    curved: bool | None = None,
) -> Rows:
    """Every row known for these blanks on this stock; without `lanes` only the quick ones.

    `curved` asks for lanes of curved blanks too, which takes about 20 ms for each of them and each
    width of stock; None asks for them where the stock has two widths at most.
    """
    if curved is None:
        curved = len({stock.width_mm for stock in stocks}) <= 2
    sizes = [_usable(stock) for stock in stocks]
    fits = np.array(
        [[may_fit(shape, size.length, size.width) for size in sizes] for shape in shapes]
    )
    for i, shape in enumerate(shapes):
        if not fits[i].any():
            reason = f"blank {shape.id!r} fits no stock listed"
            return Rows(np.zeros((0, len(stocks))), np.zeros(0), (), reason)
    count = np.array([shape.quantity for shape in shapes], dtype=np.float64)
    worths: list[tuple[str, Floats, Floats]] = []
    grown = np.array([_grown_area(shape, gap_mm) for shape in shapes])
    room = np.array(
        [_grown_room(stock, size, gap_mm) for stock, size in zip(stocks, sizes, strict=True)]
    )
    worths.append(("area", grown, room))
    for across in (True, False) if lanes else ():
        name = "lanes across the width" if across else "lanes along the length"
        for worth, holds in _lane_worths(shapes, sizes, fits, gap_mm, across, curved):
            worths.append((name, worth, holds))
    held: list[Floats] = []
    needed: list[float] = []
    names: list[str] = []
    distinct: set[tuple[bool, ...]] = {tuple(row) for row in fits.tolist()}
    classes = sorted(distinct, key=lambda row: (-sum(row), row))
    everything = tuple(bool(column.any()) for column in fits.T)
    if everything not in classes:
        classes.insert(0, everything)
    for kinds in classes:
        allowed = np.array(kinds)
        members = ~(fits & ~allowed).any(axis=1)
        suffix = "" if allowed.all() else " of blanks that fit only part of the stock"
        for name, worth, holds in worths:
            total = float((worth * count)[members].sum())
            if total > 0:
                held.append(np.where(allowed, holds, 0.0))
                needed.append(total)
                names.append(name + suffix)
        if members.any():  # at least one unit of a kind that fits
            held.append(allowed.astype(np.float64))
            needed.append(1.0)
            names.append("whole units" + suffix)
    return Rows(np.array(held), np.array(needed), tuple(names))


def lane_rows(
    shapes: Sequence[Shape], stocks: Sequence[Stock], gap_mm: float
) -> list[tuple[Floats, Floats]]:
    """Rows that hold for any choice among these straight blanks, tight for their quantities.

    Each is (worth of one of each blank, most worth of one unit of each stock): whatever is nested,
    its worths add up to no more than the units hold.  Quantities, 0 included, only say which choice
    the rows are made for.
    """
    sizes = [_usable(stock) for stock in stocks]
    fits = np.array(
        [[may_fit(shape, size.length, size.width) for size in sizes] for shape in shapes]
    )
    return [
        row
        for across in (True, False)
        for row in _lane_worths(shapes, sizes, fits, gap_mm, across, False)
    ]


def may_fit(shape: Shape, length_mm: float, width_mm: float) -> bool:
    """Whether some allowed turn of a blank may lie in a rectangle; never False when one does."""
    extents = _extents(shape.outline_mm, shape.square)
    long, short = max(length_mm, width_mm) + FIT_SLACK_MM, min(length_mm, width_mm) + FIT_SLACK_MM
    if extents.least_mm > short:
        return False
    # turned by a quarter a blank swaps its extents: half a turn of angles holds both ways
    return bool(np.any((extents.long_mm <= long) & (extents.high_mm <= short)))


@dataclass(frozen=True)
class _Extents:
    """What a blank needs along and across at angles of half a turn, never too much; the least."""

    long_mm: Floats
    high_mm: Floats
    least_mm: float


@lru_cache(maxsize=4000)
def _extents(outline_mm: Ring, square: bool) -> _Extents:
    hull = shapely.convex_hull(shapely.Polygon(outline_mm))
    ring = np.asarray(hull.exterior.coords)
    points = ring[:-1]
    if square:
        spans = np.ptp(points, axis=0)
        return _Extents(spans, spans[::-1], float(spans.min()))
    # the least height of a convex outline is met with one of its sides along the stock
    sides = np.diff(ring, axis=0)
    normals = np.column_stack((-sides[:, 1], sides[:, 0])) / np.hypot(*sides.T)[:, None]
    heights = points @ normals.T
    step = math.radians(ANGLE_STEP_DEG)
    theta = np.arange(0.0, math.pi, step)
    along = points @ np.array((np.cos(theta), np.sin(theta)))
    across = points @ np.array((-np.sin(theta), np.cos(theta)))
    # an extent changes by at most the diameter times the turn, here half a step
    reach = 2 * float(np.hypot(*(points - points.mean(axis=0)).T).max()) * step / 2
    return _Extents(
        np.ptp(along, axis=0) - reach,
        np.ptp(across, axis=0) - reach,
        float(np.ptp(heights, axis=0).min()),
    )


def _grown_area(shape: Shape, gap_mm: float) -> float:
    polygon = shapely.Polygon(shape.outline_mm)
    if gap_mm == 0:
        return float(polygon.area)
    # chords of the round corners lie inside the true grown outline: never too much
    return float(shapely.buffer(polygon, gap_mm / 2, quad_segs=8).area)


def _grown_room(stock: Stock, size: _Size, gap_mm: float) -> float:
    if stock.outline_mm is None:
        return (size.length + gap_mm) * (size.width + gap_mm)
    region = usable_region(stock)
    outer = shapely.buffer(region, gap_mm / 2, join_style="mitre", mitre_limit=10.0)
    around = (size.length + gap_mm) * (size.width + gap_mm)
    round_ = region.area + region.length * gap_mm / 2 + math.pi * gap_mm**2 / 4
    return float(min(around, max(outer.area, round_)))


def _lane_worths(
    shapes: Sequence[Shape],
    sizes: Sequence[_Size],
    fits: "npt.NDArray[np.bool_]",
    gap_mm: float,
    across: bool,
    curved: bool,
) -> list[tuple[Floats, Floats]]:
    """Worth of every blank and of every kind of unit for several value functions.

    Integrating along the unit: worth of a blank = integral of f(chord + gap) over the abscissas it
    covers, worth of a unit = f(width + gap) x length. Blanks that may tilt count only across the
    width, grown by half the gap at either end too; then the unit's length is grown likewise.
    """
    widths = [size.width if across else size.length for size in sizes]
    lengths = [size.length if across else size.width for size in sizes]
    largest = max(widths) + gap_mm
    unit = max(25.4 / 16, largest / MOST_CELLS)
    rooms = [math.ceil((w + gap_mm) / unit - 1e-6) for w in widths]
    ways = [
        _ways(shape, sizes, fits[i], gap_mm, across, unit) if shape.square or curved else []
        for i, shape in enumerate(shapes)
    ]
    most = max(rooms)
    functions: list[Floats] = []
    tilting: list[bool] = []
    longest = max((c for options in ways for way in options for c, _ in way.lanes), default=0)
    for room in sorted(set(rooms)):
        if room > 12 * longest:  # so many side by side that area says as much
            continue
        able = [
            i
            for i in range(len(shapes))
            if any(rooms[k] >= room and fits[i, k] for k in range(len(sizes)))
        ]
        demands: list[list[Lanes]] = []
        served: list[int] = []
        for i in able:
            if not shapes[i].square and ways[i] and room > FEW_ABREAST * ways[i][0].widest:
                continue  # so many abreast that area says as much, at a fraction of the work
            usable = [way for way in ways[i] if all(0 < c <= room for c, _ in way.lanes)]
            if usable:
                served.append(i)
                number = shapes[i].quantity
                demands.append([[(c, length * number) for c, length in w.lanes] for w in usable])
        if not demands:
            continue
        lanes = lane_relaxation(_some_of(demands), room, rounds=25, accuracy=2e-3)
        if not lanes.prices or not math.isfinite(lanes.least_length):
            continue
        value = knapsack(list(lanes.prices), np.array(list(lanes.prices.values())), most)
        functions.append(value)
        tilts = any(not shapes[i].square for i in served)
        tilting.append(tilts)
        for steps in range(1, math.ceil(FEW_ABREAST)) if tilts else ():
            functions.append(_stairs(room, steps, most))
            tilting.append(True)
    worths = np.array(
        [
            [min((way.worth(value) for way in options), default=0.0) for value in functions]
            for options in ways
        ]
    )
    which = [k for k, tilts in enumerate(tilting) if tilts]
    for i, shape in enumerate(shapes):
        if not shape.square and functions:
            worths[i] = 0.0
            if which:
                on = [(s.length, s.width) for s, ok in zip(sizes, fits[i], strict=True) if ok]
                chosen = [functions[k] for k in which]
                worths[i, which] = free_worths(shape.outline_mm, gap_mm, unit, chosen, on)
    return [
        (
            worths[:, k],
            np.array(
                [
                    value[r] * (length + (gap_mm if tilting[k] else 0.0))
                    for r, length in zip(rooms, lengths, strict=True)
                ]
            ),
        )
        for k, value in enumerate(functions)
    ]


def _some_of(demands: Sequence[Sequence[Lanes]]) -> Sequence[Sequence[Lanes]]:
    """No more than MOST_GUIDES demands, of all widths and lengths: their prices do for all."""
    if len(demands) <= MOST_GUIDES:
        return demands
    order = sorted(range(len(demands)), key=lambda k: [sorted(way) for way in demands[k]])
    return [demands[k] for k in order[:: math.ceil(len(demands) / MOST_GUIDES)]]


def _stairs(room: int, steps: int, most: int) -> Floats:
    """Dual feasible function u(k) of Fekete and Schepers (2001) on widths 0 to `most`.

    Of x = width / room: x where (k + 1) x is whole, else floor((k + 1) x) / k; beyond the room the
    most that widths adding up to it are worth.
    """
    widths = np.arange(1, room + 1)
    whole = (steps + 1) * widths // room
    worth = np.where((steps + 1) * widths % room == 0, widths / room, whole / steps)
    return knapsack(widths.tolist(), worth, most)


@dataclass(frozen=True)
class _Way:
    """One way to lie as lanes used: (whole units of chord, length) pairs."""

    lanes: tuple[tuple[int, float], ...]

    @property
    def widest(self) -> int:
        """Whole units of the chord with the longest lane."""
        return max(self.lanes, key=lambda lane: lane[1])[0]

    def worth(self, value: Floats) -> float:
        most = len(value) - 1
        return float(sum(value[min(c, most)] * length for c, length in self.lanes))


def _ways(
    shape: Shape,
    sizes: Sequence[_Size],
    fits: "npt.NDArray[np.bool_]",
    gap_mm: float,
    across: bool,
    unit: float,
) -> list[_Way]:
    """Ways to lie that some unit allows; empty where nothing is known about the blank."""
    result: list[_Way] = []
    if not shape.square:
        on = [(s.length, s.width) for s, ok in zip(sizes, fits, strict=True) if ok]
        return _typical_ways(shape, on, unit) if across else []
    for turn in (0.0, 90.0):
        points = turned_points(shape.outline_mm, turn, False)
        long, high = (points.max(axis=0) - points.min(axis=0)).tolist()
        if not any(
            ok and long <= size.length + 1e-6 and high <= size.width + 1e-6
            for ok, size in zip(fits, sizes, strict=True)
        ):
            continue
        if not across:
            points = points[:, ::-1]
            long, high = high, long
        if is_box(shape):
            result.append(_Way(((int((high + gap_mm) / unit + 1e-6), long),)))
        else:
            profile: Chords = chords(points, gap_mm, unit)
            result.append(_Way(profile))
    return result


def _typical_ways(shape: Shape, sizes: Sequence[tuple[float, float]], unit: float) -> list[_Way]:
    """Lanes of a blank that may tilt at a few of its angles: only a guide to good prices."""
    polygon = shapely.Polygon(shape.outline_mm)
    corner = np.diff(np.asarray(shapely.oriented_envelope(polygon).exterior.coords)[:3], axis=0)
    side = corner[int(np.argmax(np.hypot(corner[:, 0], corner[:, 1])))]
    turn = -math.degrees(math.atan2(side[1], side[0]))
    result: list[_Way] = []
    for tilt in GUIDE_TILTS_DEG:
        points = turned_points(shape.outline_mm, turn + tilt, False)
        long, high = (points.max(axis=0) - points.min(axis=0)).tolist()
        if not any(long <= length and high <= width for length, width in sizes):
            continue
        # chords as free_worths will count them: without the gap, eroded by a hair
        profile = sorted(chords(points, -2 * LEAST_DEPTH_MM, unit, slices=64))
        lanes: list[tuple[int, float]] = []
        for c, length in profile:  # chords nearly alike are one lane of the least of them
            if lanes and c <= COARSER * lanes[-1][0] + 1:
                lanes[-1] = (lanes[-1][0], lanes[-1][1] + length)
            else:
                lanes.append((c, length))
        way = _Way(tuple((c, round(length, 3)) for c, length in lanes if c > 0))
        if way.lanes and way not in result:
            result.append(way)
    return result


def cheapest(
    rows: Rows,
    prices: Sequence[float],
    on_hand: Sequence[int],
    for_sale: Sequence[int | None],
    tried: Sequence[Sequence[int]] = (),
    stretch: float = 1.0,
    below: float | None = None,
    until: Until = FOREVER,
) -> tuple[list[int] | None, float]:
    """Cheapest numbers to buy that meet the rows with all on hand, and the proven least price.

    `tried` purchases, and all that buy no more of any kind, are left out; `stretch` asks for that
    much more of every worth but whole units; `below` for a smaller price. Returns (None, inf) when
    there is none. Solved by SCIP; the price is its dual bound, not its answer. The work is counted
    in nodes; only the moment of `until`, if it has one, is told by a clock.
    """
    kinds = range(len(prices))
    if rows.impossible is not None:
        return None, math.inf
    solver = pywraplp.Solver.CreateSolver("SCIP")
    solver.SetNumThreads(1)
    most = [
        _enough(rows, k, stretch) if n is None else min(n, _enough(rows, k, stretch))
        for k, n in enumerate(for_sale)
    ]
    buy = [solver.IntVar(0, most[k], f"n{k}") for k in kinds]
    for row, held in enumerate(rows.held):
        needed = float(rows.needed[row])
        asked = needed * (1.0 if rows.names[row].startswith("whole") else stretch)
        asked -= float(held @ np.asarray(on_hand, dtype=np.float64))
        # scaled to the need, and eased by 1e-7 of it: rounding may not raise a proven price
        part = solver.Constraint(asked / needed - 1e-7, solver.infinity())
        for k in kinds:
            part.SetCoefficient(buy[k], float(held[k]) / needed)
    for t, numbers in enumerate(tried):
        more = [solver.BoolVar(f"more{t}_{k}") for k in kinds]
        solver.Add(sum(more) >= 1)
        for k in kinds:
            solver.Add(buy[k] >= (numbers[k] + 1) * more[k])
    objective = solver.Objective()
    for k in kinds:
        objective.SetCoefficient(buy[k], float(prices[k]))
    objective.SetMinimization()
    if below is not None:
        solver.Add(sum(float(prices[k]) * buy[k] for k in kinds) <= below)
    solver.SetSolverSpecificParametersAsString(f"limits/totalnodes = {MOST_NODES}\n")
    if (left := until.left()) is not None:
        solver.SetTimeLimit(max(1, int(1000 * left)))
    exact = pywraplp.MPSolverParameters()
    exact.SetDoubleParam(exact.RELATIVE_MIP_GAP, 0.0)
    status = solver.Solve(exact)
    if status == pywraplp.Solver.INFEASIBLE:
        return None, math.inf
    if status not in (pywraplp.Solver.OPTIMAL, pywraplp.Solver.FEASIBLE):
        return None, 0.0
    bound = min(objective.BestBound(), objective.Value())
    return [round(n.solution_value()) for n in buy], max(0.0, bound)


def _enough(rows: Rows, kind: int, stretch: float) -> int:
    """Return a number of units of one kind beyond which more is never needed."""
    able = rows.held[:, kind] > 0
    if not able.any():
        return 0
    ratio = float((rows.needed[able] / rows.held[able, kind]).max())
    return math.ceil(ratio * stretch) + 1
