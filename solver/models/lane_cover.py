"""Whether lines across and along rooms can meet all rectangles: a linear program's prices decide.

A line across a room meets rectangles that lie side by side within its width; swept along the room,
such *patterns* must cover every rectangle in the room over its whole length. A line along a room
likewise, swept across. The relaxation splits rectangles among rooms and ways to lie and patterns
into shares: two cutting-stock programs (Gilmore and Gomory, 1961) that share one choice, each
pattern with every rectangle at most once. Rooms alike count as one.

Its prices are worths: a rectangle lying some way in some room is worth the price of that way, times
its length, swept along; what one line meets is worth at most what a knapsack finds. Prices are made
whole numbers, so what they prove is proven whatever the linear program's accuracy. Where cells are
fine, sides across a line are counted in coarser ones, rounded in favour of fitting.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.optimize import linprog
from scipy.sparse import csr_matrix

from solver.data.until import FOREVER, Until

Floats = npt.NDArray[np.float64]
Longs = npt.NDArray[np.int64]
Size = tuple[int, int]
"""Length along the room (or of it) and width across."""

MOST_CELLS = 2000
"""Along a line."""
PRICES = 1_000_000
"""Whole prices: the dearest."""
ROUNDS = 60
"""Of new patterns."""


@dataclass(frozen=True)
class _Way:
    number: int
    kind: int
    sides: Size


@dataclass(frozen=True)
class _Priced:
    """Whole prices of ways for lines across (0) and along (1); the most worth on a line."""

    prices: tuple[Longs, Longs]
    most: dict[tuple[int, int], int]


def lanes_never_cover(
    sizes: Sequence[Size], rooms: Sequence[Size], *, rounds: int = ROUNDS, until: Until = FOREVER
) -> bool:
    """Whether it is proven that the rooms do not hold the rectangles, all of them.

    Ends as soon as it is clear that prices will prove nothing.
    """
    kinds = sorted(set(rooms))
    number_of = [sum(room == kind for room in rooms) for kind in kinds]
    ways = [
        _Way(number, kind, (wide, long) if turned else (long, wide))
        for number, (long, wide) in enumerate(sizes)
        for kind, (length, width) in enumerate(kinds)
        for turned in (False, True)[: 1 if long == wide else 2]
        if (wide if turned else long) <= length and (long if turned else wide) <= width
    ]
    if {way.number for way in ways} != set(range(len(sizes))):
        return True
    program = _Program(ways, kinds, number_of, len(sizes))
    for _ in range(rounds):
        if until.over():
            return False
        solved = program.solve()
        if solved is None:
            return False
        value, prices = solved
        priced, found = program.price(prices)
        if program.proves(priced):
            return True
        if value <= 1.0 or not found:  # the value only falls: prices will not prove anything
            return False
    return False


class _Program:
    """Least share of the rooms' lengths and widths that patterns need."""

    def __init__(
        self, ways: Sequence[_Way], kinds: Sequence[Size], number_of: Sequence[int], count: int
    ) -> None:
        self.ways, self.kinds, self.number_of, self.count = ways, kinds, number_of, count
        self.columns: list[tuple[int, int, list[int]]] = [
            (way.kind, line, [k]) for k, way in enumerate(ways) for line in (0, 1)
        ]
        self.known = {(kind, line, tuple(met)) for kind, line, met in self.columns}
        self.cell = [max(1, -(-max(kind) // MOST_CELLS)) for kind in kinds]

    def solve(self) -> tuple[float, tuple[Floats, ...]] | None:
        """Value, and prices of ways for lines across and along."""
        n, cover = len(self.ways), 2 * len(self.ways)
        last = n + len(self.columns)
        row: list[int] = []
        column: list[int] = []
        entry: list[float] = []
        for line in (0, 1):
            for k, way in enumerate(self.ways):
                row.append(line * n + k)
                column.append(k)
                entry.append(float(way.sides[line]))
            for kind, sides in enumerate(self.kinds):
                row.append(cover + 2 * kind + line)
                column.append(last)
                entry.append(-float(self.number_of[kind] * sides[line]))
        for j, (kind, line, met) in enumerate(self.columns):
            row += [line * n + k for k in met] + [cover + 2 * kind + line]
            column += [n + j] * (len(met) + 1)
            entry += [-1.0] * len(met) + [1.0]
        most = cover + 2 * len(self.kinds)
        each = csr_matrix(
            (np.ones(n), ([way.number for way in self.ways], range(n))), (self.count, last + 1)
        )
        cost = np.zeros(last + 1)
        cost[-1] = 1.0
        solved = linprog(
            cost,
            A_ub=csr_matrix((entry, (row, column)), (most, last + 1)),
            b_ub=np.zeros(most),
            A_eq=each,
            b_eq=np.ones(self.count),
            method="highs",
        )
        if solved.status != 0:
            return None
        prices = np.maximum(0.0, -np.asarray(solved.ineqlin.marginals))
        return float(solved.fun), (prices[:n], prices[n:cover])

    def price(self, prices: tuple[Floats, ...]) -> tuple[_Priced, bool]:
        """Make prices whole and add the best patterns at them; whether any of these is new."""
        dearest = max(float(one.max()) for one in prices)
        scale = PRICES / dearest if dearest > 0 else 0.0
        across, along = (np.floor(one * scale + 1e-6).astype(np.int64) for one in prices)
        most: dict[tuple[int, int], int] = {}
        found = False
        for kind, sides in enumerate(self.kinds):
            cell = self.cell[kind]
            for line, price in enumerate((across, along)):
                mine = [k for k, way in enumerate(self.ways) if way.kind == kind and price[k] > 0]
                room = -(-sides[1 - line] // cell)
                most[kind, line] = 0
                while mine:  # the best, then the best of what that leaves, and so on
                    spans = [self.ways[k].sides[1 - line] // cell for k in mine]
                    value, met = knapsack(spans, [int(price[k]) for k in mine], room)
                    most[kind, line] = max(most[kind, line], value)
                    pattern = tuple(sorted(mine[m] for m in met))
                    if (kind, line, pattern) not in self.known:
                        self.columns.append((kind, line, list(pattern)))
                        self.known.add((kind, line, pattern))
                        found = True
                    mine = [k for k in mine if k not in pattern]
        return _Priced((across, along), most), found

    def proves(self, priced: _Priced) -> bool:
        """Whether rectangles are worth more than all rooms hold."""
        least = [-1] * self.count
        for k, way in enumerate(self.ways):
            worth = sum(int(priced.prices[line][k]) * way.sides[line] for line in (0, 1))
            if least[way.number] < 0 or worth < least[way.number]:
                least[way.number] = worth
        held = sum(
            most * self.number_of[kind] * self.kinds[kind][line]
            for (kind, line), most in priced.most.items()
        )
        return sum(least) > held


def knapsack(spans: Sequence[int], prices: Sequence[int], room: int) -> tuple[int, list[int]]:
    """The most that things of these spans, each at most once, are worth within a room; which."""
    value = np.zeros(room + 1, dtype=np.int64)
    taken: list[npt.NDArray[np.bool_] | None] = []
    for span, price in zip(spans, prices, strict=True):
        if span > room:
            taken.append(None)
            continue
        with_it = value[: room + 1 - span] + price
        better = np.zeros(room + 1, dtype=bool)
        better[span:] = with_it > value[span:]
        value[span:] = np.maximum(value[span:], with_it)
        taken.append(better)
    left, met = room, []
    for k in range(len(spans) - 1, -1, -1):
        took = taken[k]
        if took is not None and took[left]:
            met.append(k)
            left -= spans[k]
    return int(value[room]), met
