"""Mixed jobs bought side by side with general-purpose packing libraries, in equal time, by price.

    python tests/benchmarks/mixed_bench.py 200-209 --seconds 40 --only ours spyrrow

Each job is a mixed set of ``nest_sets`` (arc strips and straight blanks) and rolls 14, 20 and 24 in
wide by 10 and 25 ft and sheets 36 x 96 in, priced by area with a part for handling.  Ours buys
among them all.  A peer nests on the full width of each kind in turn, its time shared out equally;
its price is that of the cheapest units of one width that reach so far, as if a nest could be cut
into units anywhere, which favours it.  `packingsolver-bins` chooses among all units by itself, so
its price is real.  Peers are found as in ``nest_bench``; all answers are verified.  `at least` is
the proven bound.
"""

from __future__ import annotations

import argparse
import importlib.util
import math
import os
import sys
import time
from collections.abc import Callable
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))
sys.path.insert(0, str(Path(__file__).resolve().parent))

from nest_bench import SLACK_MM, packed, with_packingsolver, with_spyrrow
from nest_sets import GAP_MM, INCH, mixed_set

from solver.data.until import Until
from solver.nests.fill import angles
from solver.nests.price_bound import price_bound
from solver.nests.purchase import purchase
from solver.nests.shapes import Layout, Placement, Shape, Stock, UsedUnit
from solver.nests.verify import verify

Nester = Callable[[list[Shape], Stock, float, int], float]
EFFORTS = (20, 60, 200, 600)
"""Of our purchases, one after the other, as a plan deepens them until its time is up."""


def job(seed: int) -> tuple[list[Shape], list[Stock]]:
    """Blanks and stock of one job."""
    shapes, _ = mixed_set(seed)
    rolls = [
        Stock(f"{w} x {ft}", w * INCH, ft * 12 * INCH, round(3 + w * ft / 10, 2), 0, None)
        for w in (14, 20, 24)
        for ft in (10, 25)
    ]
    return shapes, [*rolls, Stock("sheet", 36 * INCH, 96 * INCH, 29.4, 0, None)]


def ours(shapes: list[Shape], stocks: list[Stock], seconds: float) -> float:
    """Price of our purchase."""
    until = Until(time.monotonic() + seconds)
    best, start = math.nan, None
    for effort in EFFORTS:
        bought = purchase(shapes, stocks, GAP_MM, effort, effort, start, until)
        if bought.layout.complete and not bought.price >= best:
            best, start = bought.price, bought.bought
        if until.over():
            break
    return best


def of_one_width(nest: Nester, shapes: list[Shape], stocks: list[Stock], seconds: float) -> float:
    """Cheapest price of units of one width as long, in all, as a peer's nest on that width."""
    widths = sorted({stock.width_mm for stock in stocks})
    prices: list[float] = []
    for width in widths:
        endless = Stock("endless", width, 1e5, 1.0, 0, None)
        try:
            used = nest(shapes, endless, seconds / len(widths), 0)
        except ValueError:  # what is laid leaves the stock, or nothing fits it
            continue
        if math.isfinite(used):
            prices.append(price_of(used, [s for s in stocks if s.width_mm == width]))
    return min(prices, default=math.nan)


def price_of(length_mm: float, units: list[Stock]) -> float:
    """Least price of units that are so long in all."""
    if length_mm <= 1e-6:
        return 0.0
    return min(unit.price + price_of(length_mm - unit.length_mm, units) for unit in units)


def in_bins(shapes: list[Shape], stocks: list[Stock], seconds: float) -> float:
    """Price of what packingsolver buys among all units."""
    question = {
        "bins": [[s.length_mm, s.width_mm, s.price] for s in stocks],
        "gap": GAP_MM,
        "seconds": seconds,
        "items": [[s.outline_mm, s.quantity, angles(s).tolist()] for s in shapes],
    }
    answer = packed(question)
    if answer is None:
        return math.nan
    kinds, laid = answer
    placements = tuple(
        Placement(shapes[int(k)].id, int(unit), x, y, turn % 360.0, False)
        for k, unit, x, y, turn in laid
    )
    units = tuple(UsedUnit(stocks[k].id, bought=True) for k in kinds)
    if verify(Layout(units, placements, True), shapes, stocks, GAP_MM - SLACK_MM):
        return math.nan
    return sum(stocks[k].price for k in kinds)


def main() -> None:
    """Buy for each job, one method after the other."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n\n")[0])
    parser.add_argument("jobs", help="such as 200-209")
    parser.add_argument("--seconds", type=float, default=40.0)
    parser.add_argument("--only", nargs="+", metavar="METHOD")
    asked = parser.parse_args()
    methods: dict[str, Callable[[list[Shape], list[Stock], float], float]] = {"ours": ours}
    if importlib.util.find_spec("spyrrow") is not None:
        methods["spyrrow"] = lambda *job: of_one_width(with_spyrrow, *job)
    if "PACKER_PYTHON" in os.environ:
        methods["packingsolver"] = lambda *job: of_one_width(with_packingsolver, *job)
        methods["packingsolver-bins"] = in_bins
    if asked.only:
        methods = {name: method for name, method in methods.items() if name in asked.only}
    first, last = (int(part) for part in asked.jobs.split("-"))
    for seed in range(first, last + 1):
        shapes, stocks = job(seed)
        least = price_bound(shapes, stocks, GAP_MM).value
        line = f"job {seed}, {len(shapes)} blanks, at least {least:.2f}:"
        for name, method in methods.items():
            line += f"  {name} {method(shapes, stocks, asked.seconds):.2f}"
        print(line, flush=True)


if __name__ == "__main__":
    main()
