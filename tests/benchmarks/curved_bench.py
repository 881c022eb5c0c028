"""Purchases of curved blanks, some straight ones among them: price found, proven bound, work.

    python tests/benchmarks/curved_bench.py 1 2 3 4 5 6 7 8 --effort 20

Jobs of 10 to 26 arc strips and up to 8 straight ones, on rolls 10 to 24 in wide by 10 and 25 ft and
sheets 36 x 96 in, priced by area with a part for handling. Work is counted in steps, so prices do
not depend on the machine; seconds are processor time.
"""

import argparse
import random
import sys
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))
sys.path.insert(0, str(Path(__file__).resolve().parent))

from nest_sets import GAP_MM, INCH, arc_strip, sixteenths, strip

from solver.nests.price_bound import price_bound
from solver.nests.purchase import purchase
from solver.nests.shapes import Shape, Stock


def job(seed: int) -> tuple[list[Shape], list[Stock]]:
    """Blanks and stock of one job."""
    rng = random.Random(f"purchase {seed}")
    count = rng.randint(10, 26)
    shapes = [
        arc_strip(rng, f"c{k}", (10 if rng.random() < 0.3 else 14) * INCH) for k in range(count)
    ]
    for k in range(rng.randint(0, 8)):
        long, wide = sixteenths(rng.uniform(10, 90)), sixteenths(rng.uniform(2.5, 4.5))
        shapes.append(strip(f"s{k}", long, wide))
    stocks = [
        Stock(f"{w} x {ft}", w * INCH, ft * 12 * INCH, round(3 + w * ft / 10, 2), 0, None)
        for w in (10, 12, 14, 20, 24)
        for ft in (10, 25)
    ]
    return shapes, [*stocks, Stock("sheet", 36 * INCH, 96 * INCH, 29.4, 0, None)]


def main() -> None:
    """Buy for each job."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n\n")[0])
    parser.add_argument("jobs", type=int, nargs="+")
    parser.add_argument("--effort", type=int, default=20)
    asked = parser.parse_args()
    total = took = 0.0
    for seed in asked.jobs:
        shapes, stocks = job(seed)
        began = time.process_time()
        bought = purchase(shapes, stocks, GAP_MM, 0, asked.effort)
        seconds = time.process_time() - began
        bound = price_bound(shapes, stocks, GAP_MM)
        total, took = total + bought.price, took + seconds
        print(
            f"job {seed}: {len(shapes)} blanks, {bought.price:.2f}, at least {bound.value:.2f}, "
            f"{bought.tried} nests, {seconds:.1f} s, {dict(bought.bought)}",
            flush=True,
        )
    print(f"in all {total:.2f}, {took:.0f} s")


if __name__ == "__main__":
    main()
