"""No purchase is dearer than another on which the same blanks nest: every cheaper one is tried."""

import random

import pytest

from solver.nests.nest_into import nest_into
from solver.nests.price_bound import price_bound
from solver.nests.purchase import purchase
from solver.nests.shapes import Stock
from tests.nests.made_blanks import arc, strip

INCH = 25.4
GAP = INCH / 16


def job(seed):
    """Two to five kinds of strips and arcs; four kinds of stock, now and then cheaper by area."""
    rng = random.Random(seed)
    shapes = []
    for k in range(rng.randint(2, 5)):
        if rng.random() < 0.65:
            length, width = INCH * rng.randint(4, 40), INCH * rng.choice([1, 1.5, 2, 2.5, 3, 4])
            shapes.append(strip(f"b{k}", length, width, rng.randint(1, 3)))
        else:
            radius, angle = INCH * rng.randint(10, 50), rng.uniform(0.3, 1.2)
            width = INCH * rng.choice([1, 2, 2.5, 3])
            shapes.append(arc(f"a{k}", radius, angle, width, rng.randint(1, 2)))
    stocks = []
    for width in rng.sample([6, 8, 10, 12, 14, 20, 24], 2):
        for length in rng.sample([36, 60, 96, 118], 2):
            price = round(width * length / 144 * 1.5 * rng.choice([1, 1, 0.9]), 2)
            stocks.append(Stock(f"{width}x{length}", width * INCH, length * INCH, price, 0, None))
    return shapes, stocks


def purchases_between(stocks, least, price):
    """Every purchase cheaper than a price that the proven least price allows, cheapest first."""
    found = []

    def extend(kind, spent, numbers):
        if kind == len(stocks):
            if spent >= least - 1e-6:
                found.append((spent, numbers))
            return
        n = 0
        while spent + n * stocks[kind].price < price - 1e-6:
            extend(kind + 1, spent + n * stocks[kind].price, (*numbers, n))
            n += 1

    extend(0, 0.0, ())
    return [numbers for _, numbers in sorted(found)]


@pytest.mark.parametrize("seed", [5, 14, 28, 122, 156])
def test_blanks_nest_on_no_purchase_that_is_cheaper(seed):
    shapes, stocks = job(seed)
    bought = purchase(shapes, stocks, GAP, effort=60)
    assert bought.layout.complete
    least = price_bound(shapes, stocks, GAP).value
    assert least <= bought.price + 1e-9
    for numbers in purchases_between(stocks, least, bought.price):
        units = [s for s, n in zip(stocks, numbers, strict=True) for _ in range(n)]
        assert not nest_into(shapes, units, GAP, effort=40).complete, numbers
