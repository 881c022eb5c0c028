"""Purchases: what is bought and taken from hand is what the nests use, at the stock's price."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator

from solver.checker.reading import Reading
from solver.checker.report import Fault
from solver.checker.tolerances import near


def metal_cost(reading: Reading) -> float:
    """Money for all metal: whole units bought, as the nests use them."""
    price_of = {item.id: item.price for item in reading.job.stock}
    return sum(price_of[nest.stock] for nest in reading.plan.nests if nest.bought)


def _whole_units(reading: Reading) -> Counter[tuple[str, bool]]:
    """Units opened for this plan; one that was begun before is neither bought nor on hand."""
    return Counter((n.stock, n.bought) for n in reading.plan.nests if n.rest_of is None)


def counts(reading: Reading) -> Iterator[Fault]:
    """Each unit bought or taken from hand has its nest."""
    nests = _whole_units(reading)
    stated: Counter[tuple[str, bool]] = Counter()
    for purchase in reading.plan.purchases:
        stated[(purchase.stock, True)] += purchase.buy
        stated[(purchase.stock, False)] += purchase.from_hand
    for stock, bought in sorted(set(nests) | set(stated)):
        there, named = nests[(stock, bought)], stated[(stock, bought)]
        if there != named:
            word = "bought" if bought else "taken from hand"
            yield Fault("purchase", f'stock "{stock}"', f"{named} are {word}, {there} are cut")


def on_hand(reading: Reading) -> Iterator[Fault]:
    """No more is taken from hand than is there, and nothing is bought while some is left there."""
    nests = _whole_units(reading)
    for item in reading.job.stock:
        taken, bought = nests[(item.id, False)], nests[(item.id, True)]
        if taken > item.on_hand:
            yield Fault(
                "on hand",
                f'stock "{item.id}"',
                f"{taken} are taken from hand; {item.on_hand} are there",
            )
        if bought and taken < item.on_hand:
            yield Fault(
                "on hand",
                f'stock "{item.id}"',
                f"{bought} are bought while {item.on_hand - taken} are left on hand",
            )
        if item.for_sale is not None and bought > item.for_sale:
            yield Fault(
                "for sale",
                f'stock "{item.id}"',
                f"{bought} are bought; {item.for_sale} are for sale",
            )


def prices(reading: Reading) -> Iterator[Fault]:
    """Unit prices are the stock's, and a purchase costs units bought times unit price."""
    for purchase in reading.plan.purchases:
        unit = reading.job.stock_of[purchase.stock].price
        if not near(purchase.unit_price, unit) or not near(purchase.price, purchase.buy * unit):
            yield Fault(
                "purchase price",
                f'stock "{purchase.stock}"',
                f"{purchase.buy} at {purchase.unit_price:.4f} are stated as {purchase.price:.4f}; "
                f"one costs {unit:.4f}",
            )
