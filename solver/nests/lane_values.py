"""What a width of stock is worth: the lane relaxation and its value function.

Cut a layout of straight blanks by a line across the stock: the blanks met lie side by side, each
with one cutting gap, and fit the width. So lengths of lanes are used up by *patterns*, sets of
widths that fit side by side: the cutting-stock relaxation of Gilmore and Gomory (1961) with lengths
in place of demands. Its dual prices, one for each width, give the knapsack value function

    f(c) = the most that widths adding up to c are worth,

which is superadditive (f(a) + f(b) <= f(a + b)) and never falls, so for any line across any layout
the worths of what it meets add up to f(stock width) at most, whatever the patterns. Widths are
whole units: blanks rounded down and stock up, since this serves proofs.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.optimize import linprog

Floats = npt.NDArray[np.float64]
Lanes = Sequence[tuple[int, float]]
"""One way to lie: (width, length of lane used) of each lane."""


def knapsack(widths: Sequence[int], prices: Floats, most: int) -> Floats:
    """Value function f(0..most): the most that widths adding up to c or less are worth."""
    value = np.zeros(most + 1)
    w = np.asarray(widths, dtype=np.int64)
    keep = (w <= most) & (prices > 0)
    w, p = w[keep], np.asarray(prices, dtype=np.float64)[keep]
    if not len(w):
        return value
    for step, worth in zip(w.tolist(), p.tolist(), strict=True):
        while step <= most:  # 1, 2, 4 ... copies more: every number of copies is met
            value[step:] = np.maximum(value[step:], value[:-step] + worth)
            step, worth = 2 * step, 2 * worth
    return np.asarray(np.maximum.accumulate(value))


def _pattern(
    widths: Sequence[int], prices: Sequence[float], value: Sequence[float], room: int
) -> Floats:
    """Numbers of each width in a best pattern for a room."""
    counts = np.zeros(len(widths))
    c = room
    while value[c] > 1e-12:
        for i, w in enumerate(widths):
            if w <= c and value[c - w] + prices[i] >= value[c] - 1e-12:
                counts[i] += 1
                c -= w
                break
        else:
            c -= 1
    return counts


@dataclass(frozen=True)
class LaneRelaxation:
    """Price of each width, proven least length of stock, and the patterns (width: number) met."""

    prices: dict[int, float]
    least_length: float
    patterns: tuple[dict[int, int], ...]


def lane_relaxation(
    demands: Sequence[Sequence[Lanes]],
    room: int,
    rounds: int = 60,
    accuracy: float = 1e-4,
) -> LaneRelaxation:
    """Lane relaxation for stock of one width, by column generation.

    `demands` lists for each blank its ways to lie, each the lanes that it uses, one of which (or a
    mix) must be served. The bound is the least length of stock, exact for the relaxation
    within `accuracy` and never above it, because it is taken from the prices.
    """
    possible = [[way for way in ways if all(w <= room for w, _ in way)] for ways in demands]
    if not all(possible):
        return LaneRelaxation({}, float("inf"), ())
    widths = sorted({w for ways in possible for way in ways for w, _ in way})
    index = {w: k for k, w in enumerate(widths)}
    served = np.zeros(len(widths))
    mixed: list[list[Floats]] = []
    for ways in possible:
        used = []
        for way in ways:
            lengths = np.zeros(len(widths))
            for w, length in way:
                lengths[index[w]] += length
            used.append(lengths)
        if len(used) == 1:
            served += used[0]
        else:
            mixed.append(used)
    columns: list[Floats] = []
    for k, w in enumerate(widths):
        column = np.zeros(len(widths))
        column[k] = room // w
        columns.append(column)
    shares = [(m, lengths) for m, used in enumerate(mixed) for lengths in used]
    best_bound, best_prices = 0.0, dict.fromkeys(widths, 0.0)
    for _ in range(rounds):
        n, s = len(columns), len(shares)
        a = np.zeros((len(widths), n + s))
        a[:, :n] = -np.array(columns).T
        equal = np.zeros((len(mixed), n + s))
        for k, (m, lengths) in enumerate(shares):
            a[:, n + k] = lengths
            equal[m, n + k] = 1.0
        cost = np.concatenate((np.ones(n), np.zeros(s)))
        solved = linprog(
            cost,
            A_ub=a,
            b_ub=-served,
            A_eq=equal if mixed else None,
            b_eq=np.ones(len(mixed)) if mixed else None,
            method="highs",
        )
        if solved.status != 0:
            break
        prices = np.maximum(0.0, -np.asarray(solved.ineqlin.marginals))
        value = knapsack(widths, prices, room)
        if value[room] <= 0:
            break
        worth = served @ prices + sum(min(float(u @ prices) for u in used) for used in mixed)
        bound = float(worth / value[room])
        if bound > best_bound:
            best_bound = bound
            best_prices = {w: float(p) for w, p in zip(widths, prices / value[room], strict=True)}
        if value[room] <= 1.0 + 1e-9 or bound >= float(solved.fun) * (1 - accuracy):
            break
        price_list, value_list = prices.tolist(), value.tolist()
        for k, w in enumerate(widths):  # the best pattern that holds each width
            if value[room - w] + prices[k] > 1.0 + 1e-9:
                column = _pattern(widths, price_list, value_list, room - w)
                column[k] += 1
                columns.append(column)
    patterns = tuple(
        {w: int(n) for w, n in zip(widths, column.tolist(), strict=True) if n} for column in columns
    )
    return LaneRelaxation(best_prices, best_bound, patterns)
