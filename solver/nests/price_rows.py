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

import numpy as np
import numpy.typing as npt
import shapely
from ortools.linear_solver import pywraplp

from solver.nests.lane_values import knapsack, lane_relaxation
from solver.nests.lanes import is_box, size_mm
from solver.nests.shapes import Shape, Stock, turned_points, usable_region
from solver.nests.transversal import Chords, chords

Floats = npt.NDArray[np.float64]
MOST_CELLS = 1600
"""Widths are counted in whole units so coarse that no more than this many cross the stock."""


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
    shapes: Sequence[Shape], stocks: Sequence[Stock], gap_mm: float, lanes: bool = True
) -> Rows:
    """Every row known for these blanks on this stock; without `lanes` only the quick ones."""
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
        for worth, holds in _lane_worths(shapes, sizes, fits, gap_mm, across):
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


def may_fit(shape: Shape, length_mm: float, width_mm: float) -> bool:
    """Whether some allowed turn of a blank may lie in a rectangle; never False when one does."""
    slack = 1e-6
    if shape.square:
        a, b = size_mm(shape)
        return (a <= length_mm + slack and b <= width_mm + slack) or (
            b <= length_mm + slack and a <= width_mm + slack
        )
    hull = shapely.convex_hull(shapely.Polygon(shape.outline_mm))
    points = np.asarray(hull.exterior.coords)[:-1]
    step = math.radians(0.25)
    theta = np.arange(0.0, math.pi, step)
    along = points @ np.array((np.cos(theta), np.sin(theta)))
    across = points @ np.array((-np.sin(theta), np.cos(theta)))
    # an extent changes by at most the diameter times the turn, here half a step
    reach = 2 * float(np.hypot(*(points - points.mean(axis=0)).T).max()) * step / 2
    long = along.max(axis=0) - along.min(axis=0) - reach
    high = across.max(axis=0) - across.min(axis=0) - reach
    return bool(np.any((long <= length_mm + slack) & (high <= width_mm + slack)))


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
) -> list[tuple[Floats, Floats]]:
    """Worth of every blank and of every kind of unit for several value functions.

    Integrating along the unit: worth of a blank = integral of f(chord + gap) over the abscissas it
    covers, worth of a unit = f(width + gap) x length, where the lines between blanks add nothing.
    """
    widths = [size.width if across else size.length for size in sizes]
    lengths = [size.length if across else size.width for size in sizes]
    largest = max(widths) + gap_mm
    unit = max(25.4 / 16, largest / MOST_CELLS)
    rooms = [math.ceil((w + gap_mm) / unit - 1e-6) for w in widths]
    ways = [_ways(shape, sizes, fits[i], gap_mm, across, unit) for i, shape in enumerate(shapes)]
    most = max(rooms)
    found: list[tuple[Floats, Floats]] = []
    longest = max((c for options in ways for way in options for c, _ in way.lanes), default=0)
    for room in sorted(set(rooms)):
        if room > 12 * longest:  # so many side by side that area says as much
            continue
        able = [
            i
            for i in range(len(shapes))
            if any(rooms[k] >= room and fits[i, k] for k in range(len(sizes)))
        ]
        demands = []
        for i in able:
            usable = [way for way in ways[i] if all(c <= room for c, _ in way.lanes)]
            if usable:
                demands.append([(way.main, way.length * shapes[i].quantity) for way in usable])
        if not demands:
            continue
        lanes = lane_relaxation(demands, room, accuracy=1e-3)
        if not lanes.prices or not math.isfinite(lanes.least_length):
            continue
        value = knapsack(list(lanes.prices), np.array(list(lanes.prices.values())), most)
        worth = np.array(
            [min((way.worth(value) for way in options), default=0.0) for options in ways]
        )
        holds = np.array([value[r] * length for r, length in zip(rooms, lengths, strict=True)])
        found.append((worth, holds))
    return found


@dataclass(frozen=True)
class _Way:
    """One way to lie as lanes used: (whole units of chord, length) pairs."""

    lanes: tuple[tuple[int, float], ...]

    @property
    def main(self) -> int:
        return max(self.lanes, key=lambda lane: lane[1])[0]

    @property
    def length(self) -> float:
        return max(length for _, length in self.lanes)

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
        return []
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


def cheapest(
    rows: Rows,
    prices: Sequence[float],
    on_hand: Sequence[int],
    for_sale: Sequence[int | None],
    tried: Sequence[Sequence[int]] = (),
    stretch: float = 1.0,
    below: float | None = None,
) -> tuple[list[int] | None, float]:
    """Cheapest numbers to buy that meet the rows with all on hand, and the proven least price.

    `tried` purchases, and all that buy no more of any kind, are left out; `stretch` asks for that
    much more of every worth but whole units; `below` for a smaller price. Returns (None, inf) when
    there is none. Solved by SCIP; the price is its dual bound, not its answer.
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
    solver.SetTimeLimit(10_000)
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
