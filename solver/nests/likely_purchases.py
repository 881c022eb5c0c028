"""Cheaper purchases likely to hold straight blanks, where all of them are too many to list.

For every price the purchase with most room that it buys (a knapsack programme over prices; room is
what any of the proven rows counts, or a mixture of them). What the rows forbid is left out, and of
purchases at nearly one price those stay that have most to spare.
"""

from collections import Counter
from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from solver.nests.price_rows import Rows
from solver.nests.shapes import Stock

Floats = npt.NDArray[np.float64]
Counts = npt.NDArray[np.int64]

PRICES = 20_000
"""Prices told apart up to the one asked about."""
MIXTURES = 4
"""Mixtures of the rows by which room is counted, besides each row by itself."""
BANDS, IN_A_BAND = 200, 20
"""Prices nearly alike, and the purchases kept of each."""


def likely_purchases(
    stocks: Sequence[Stock], price: float, rows: Rows, seed: int = 0
) -> list[tuple[float, tuple[int, ...]]]:
    """Some purchases (price, numbers) cheaper than `price` that the rows allow, cheapest first.

    Equal calls give equal answers. No stock for sale is free.
    """
    limit = price - max(1e-4, 1e-5 * price)
    if rows.impossible is not None or limit <= 0.0:
        return []
    prices = np.array([stock.price for stock in stocks])
    on_hand = np.array([stock.on_hand for stock in stocks])
    share = rows.held / rows.needed[:, None]
    rng = np.random.default_rng(seed)
    mixtures = rng.dirichlet(np.ones(len(share)), MIXTURES) @ share
    steps = np.maximum(1, np.rint(prices / limit * PRICES)).astype(np.int64)
    most = np.array(
        [
            PRICES // step if stock.for_sale is None else min(stock.for_sale, PRICES // step)
            for stock, step in zip(stocks, steps.tolist(), strict=True)
        ]
    )
    found = np.concatenate([_roomiest(steps, most, room) for room in (*share, *mixtures)])
    found = np.unique(found, axis=0)
    spent = found @ prices
    spare = ((found + on_hand) @ share.T).min(axis=1) - 1.0
    able = (spent < limit) & (spare > -1e-7)
    found, spent, spare = found[able], spent[able], spare[able]
    if not len(spent):
        return []
    cheaper_by = (limit - spent) / (limit - spent.min())
    band = np.minimum(cheaper_by * BANDS, BANDS - 1).astype(np.int64).tolist()
    kept: list[tuple[float, tuple[int, ...]]] = []
    in_band: Counter[int] = Counter()
    for k in np.lexsort((spent, -spare)).tolist():
        if in_band[band[k]] < IN_A_BAND:
            in_band[band[k]] += 1
            kept.append((float(spent[k]), tuple(found[k].tolist())))
    return sorted(kept)


def _roomiest(steps: Counts, most: Counts, room: Floats) -> Counts:
    """For each price up to PRICES steps the numbers to buy with most room: (prices, kinds)."""
    best = np.zeros(PRICES + 1)
    taken = np.zeros((len(steps), PRICES + 1), dtype=np.int64)
    for k, (step, limit) in enumerate(zip(steps.tolist(), most.tolist(), strict=True)):
        copies = 1
        while limit > 0:  # 1, 2, 4 ... more: every number up to the limit is met
            some = min(copies, limit)
            limit -= some
            copies *= 2
            width = some * step
            if width > PRICES:
                continue
            more = best[:-width] + some * room[k]
            better = more > best[width:]
            best[width:][better] = more[better]
            taken[k, width:][better] = taken[k, :-width][better] + some
    at = np.arange(PRICES + 1)
    numbers = np.zeros((PRICES + 1, len(steps)), dtype=np.int64)
    for k in reversed(range(len(steps))):
        numbers[:, k] = taken[k, at]
        at = at - numbers[:, k] * steps[k]
    return numbers
