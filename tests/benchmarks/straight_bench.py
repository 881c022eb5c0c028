"""Purchases of straight blanks: how many are at their proven price, and the seconds each takes.

    python tests/benchmarks/straight_bench.py 1 2 3 --effort 60 --own-clock
    python tests/benchmarks/straight_bench.py 1 2 3 --blanks 41 100 --open

Each job is made from its seed: strips as in ``nest_sets`` on three to five kinds of stock, whose
prices follow area and a part for handling, a little stirred, so that mixes of them matter.  A line
for each job: blanks, kinds of stock, price and proven least price, what was bought.  ``--open``
adds a line for every cheaper purchase that is not decided: what it holds beyond the blanks' area,
units and blanks.  ``--own-clock`` tells processor time of all cores in place of the wall's; tries
made ahead in vain count too.  Work is counted in steps, so prices repeat.
"""

from __future__ import annotations

import argparse
import random
import statistics
import sys
import time
from collections.abc import Sequence
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))
sys.path.insert(0, str(Path(__file__).resolve().parent))

from nest_sets import GAP_MM, INCH, strip

from solver.nests.lanes import size_mm
from solver.nests.price_bound import bound_from_rows
from solver.nests.price_rows import Rows, price_rows
from solver.nests.purchase import purchase
from solver.nests.shapes import Purchase, Shape, Stock
from solver.nests.straight_job import cheaper_purchases

ROLLS_IN = (10, 12, 14, 20, 24)
SHEETS_IN = ((36, 96), (48, 120))
FOOT2_PRICE, HANDLING = 1.40, 0.60


def straight_job(seed: int, least: int, most: int) -> tuple[list[Shape], list[Stock]]:
    """Strips 10-96 in long and 2.5-4.5 in wide, and stock to choose from."""
    rng = random.Random(f"straight purchase {seed}")
    count = rng.randint(least, most)
    shapes = [
        strip(
            f"s{k}",
            round(rng.uniform(10, 96) * 16) / 16 * INCH,
            round(rng.uniform(2.5, 4.5) * 16) / 16 * INCH,
        )
        for k in range(count)
    ]
    sizes = [(width, 120) for width in sorted(rng.sample(ROLLS_IN, rng.randint(2, 3)))]
    sizes += rng.sample(SHEETS_IN, rng.randint(1, 2))
    stocks = [
        Stock(
            f"{width}x{length}",
            width * INCH,
            length * INCH,
            round(HANDLING + width * length / 144 * FOOT2_PRICE * rng.uniform(0.93, 1.07), 2),
            0,
            None,
        )
        for width, length in sizes
    ]
    return shapes, stocks


def still_open(
    stocks: Sequence[Stock], bought: Purchase, rows: Rows
) -> list[tuple[float, tuple[int, ...]]]:
    """Purchases that the rows allow from the proven least price to the price paid."""
    waiting = cheaper_purchases(stocks, bought.price, rows)
    if waiting is None:
        return []
    return [(price, numbers) for price, numbers in waiting if price > bought.least - 1e-6]


def slack(shapes: Sequence[Shape], stocks: Sequence[Stock], numbers: Sequence[int]) -> float:
    """Share of the units, gap included, that the blanks leave."""
    need = sum((a + GAP_MM) * (b + GAP_MM) for a, b in (size_mm(shape) for shape in shapes))
    room = sum(
        n * (stock.length_mm + GAP_MM) * (stock.width_mm + GAP_MM)
        for n, stock in zip(numbers, stocks, strict=True)
    )
    return 1.0 - need / room


def main() -> None:
    """Print one line for each job and what came of all."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("seeds", type=int, nargs="+")
    parser.add_argument("--effort", type=int, default=60)
    parser.add_argument("--blanks", type=int, nargs=2, default=(8, 40), metavar=("LEAST", "MOST"))
    parser.add_argument("--open", action="store_true", help="list what is not decided")
    parser.add_argument("--own-clock", action="store_true", help="tell processor time")
    given = parser.parse_args()
    clock = time.process_time if given.own_clock else time.monotonic
    proven = 0
    taken: list[float] = []
    prices = 0.0
    print("seed blanks kinds    rows   least   price  proven  seconds  bought")
    for seed in given.seeds:
        shapes, stocks = straight_job(seed, *given.blanks)
        began = clock()
        rows = price_rows(shapes, stocks, GAP_MM)
        bought = purchase(shapes, stocks, GAP_MM, effort=given.effort, rows=rows)
        taken.append(clock() - began)
        lowest = bound_from_rows(rows, stocks).value
        least = max(lowest, bought.least)
        done = bought.layout.complete and least > bought.price - 1e-3
        proven += done
        prices += bought.price
        what = " ".join(f"{n}*{name}" for name, n in sorted(bought.bought.items()))
        print(
            f"{seed:4d} {len(shapes):6d} {len(stocks):5d} {lowest:7.2f} {least:7.2f} "
            f"{bought.price:7.2f}  {'yes' if done else 'open':6s} {taken[-1]:8.2f}  {what}",
            flush=True,
        )
        for price, numbers in still_open(stocks, bought, rows) if given.open and not done else ():
            units = [f"{n}*{s.id}" for n, s in zip(numbers, stocks, strict=True) if n]
            spare = 100 * slack(shapes, stocks, numbers)
            each = len(shapes) / sum(numbers)
            print(
                f"       {price:7.2f} spare {spare:4.1f} %  {each:4.1f} a unit: {' '.join(units)}"
            )
    print(
        f"{proven} of {len(taken)} at their proven price, {prices:.2f} in all; seconds: median "
        f"{statistics.median(taken):.1f}, worst {max(taken):.1f}, {sum(taken):.0f} in all"
    )


if __name__ == "__main__":
    main()
