"""What a purchase is worth: what the plan would cost without buying one of its metals or widths.

For each sheet metal and each width that a plan buys, its pieces are nested again with none of it
for sale (what is on hand stays); then the master decides once more, which proves a bound, and what
it chose is nested, twice.  A plan found so is a plan of the job too: where it is cheaper than the
one to be explained, it takes its place.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import partial

from solver.data.job import Job, StockItem
from solver.data.plan import LeftOut
from solver.data.units import format_length
from solver.planner.nesting import Nester, SheetNest, stock_of
from solver.planner.rounds import Found, Limits, Parts, Start, Steps, decide

FEW_STEPS: Steps = (("decide", 0), ("nest", 20), ("decide", 20))
"""Work for each thing that is left out: a bound, a plan, and one that knows how full stock gets."""
EFFORT = 60
"""Of the nests of the same pieces on what is left for sale."""
MOST_LEFT_OUT = 8
MOST_BETTER = 2
"""Cheaper plans that may turn up before the rest is explained as it is."""
CHEAPER = 0.005
"""Money by which a plan must be cheaper to take the place of another."""
SAME_WIDTH_MM = 0.01


@dataclass(frozen=True)
class Left:
    """Something a plan buys, in words, and the stock items that it is."""

    what: str
    items: frozenset[str]


def things_bought(job: Job, bought: Sequence[str]) -> tuple[Left, ...]:
    """Return the sheet metals and the widths among the stock items bought, each once."""
    items = [job.stock_of[name] for name in bought]
    found: list[Left] = []

    def add(what: str, alike: Callable[[StockItem], bool]) -> None:
        left = Left(what, frozenset(item.id for item in job.stock if alike(item)))
        if all(left.items != known.items for known in found):
            found.append(left)

    for item in items:
        add(item.metal_label, lambda other, one=item: other.sheet_metal == one.sheet_metal)  # type: ignore[misc]
    for item in items:
        words = f"{item.form}s {format_length(item.width_mm, _narrow(job))} wide"
        add(
            words,
            lambda other, one=item: (  # type: ignore[misc]
                other.form == one.form and abs(other.width_mm - one.width_mm) < SAME_WIDTH_MM
            ),
        )
    return tuple(found[:MOST_LEFT_OUT])


def _narrow(job: Job) -> str:
    return "in" if job.length_unit == "ft" else job.length_unit


def explain_purchase(
    parts: Parts,
    limits: Limits,
    found: Found,
    on_better: Callable[[Found], None],
    on_phase: Callable[[str], None],
) -> tuple[Found, tuple[LeftOut, ...]]:
    """Return the plan, perhaps a cheaper one, and what each thing that it buys is worth."""
    known: dict[frozenset[str], Found] = {}
    for turn in range(MOST_BETTER + 1):
        assert found.body is not None
        bought = [one.stock for one in found.body.purchases if one.buy]
        things = things_bought(parts.job, bought)
        better: Found | None = None
        waiting = [one for one in things if one.items not in known]
        for number, thing in enumerate(waiting):
            on_phase(f"without {thing.what}")
            tried = _without(parts, _share(limits, len(waiting) - number), found, thing.items)
            known[thing.items] = tried
            found.time_cut |= tried.time_cut
            if turn < MOST_BETTER and _objective(tried) < _objective(found) - CHEAPER:
                better = tried
                break
        if better is None:
            return found, tuple(_left_out(found, known[one.items], one) for one in things)
        found = _taken(parts, found, better, limits.seed)
        on_better(found)
    raise AssertionError("the last turn returns")


def _objective(found: Found) -> float:
    return float("inf") if found.body is None else found.body.cost.objective


def _share(limits: Limits, waiting: int) -> Limits:
    """Return the limits of one of the things that still wait for their turn."""
    if limits.deadline is None:
        return limits
    now = time.monotonic()
    return replace(limits, deadline=now + max(0.0, limits.deadline - now) / waiting)


def _without(parts: Parts, limits: Limits, found: Found, items: frozenset[str]) -> Found:
    """Decide with none of these items for sale; to begin with, nest the same pieces without."""
    stock = tuple(
        replace(item, for_sale=0) if item.id in items else item for item in parts.job.stock
    )
    fewer = replace(parts, job=replace(parts.job, stock=stock))
    start = _same_pieces(fewer, limits, found, items)
    return decide(fewer, limits, _ignore, _ignore, start=start, steps=FEW_STEPS)


def _same_pieces(fewer: Parts, limits: Limits, found: Found, items: frozenset[str]) -> Start | None:
    """Buy and nest the pieces of a plan with less for sale; None where they were not brought on."""
    nester = Nester(fewer.job, fewer.sheets, limits.seed)
    nests: list[SheetNest] = []
    for nest in found.nests:
        if any(count and name in items for name, count in nest.bought.bought.items()):
            nest = nester.nest(nest.sheet, nest.pieces, None, EFFORT, limits.until)
        if not nest.complete:
            return None
        nests.append(nest)
    if found.remake is None:
        return None
    body = found.remake(nests)
    cut = any(nest.bought.cut_short for nest in nests)
    return Start(Found(body=body, nests=tuple(nests), remake=found.remake, time_cut=cut), nester)


def _ignore(_: object) -> None:
    """Nobody is told of plans that only explain another."""


def _taken(parts: Parts, found: Found, better: Found, seed: int) -> Found:
    """Return the better plan in the place of one, with the bound of all plans."""
    nester = Nester(parts.job, parts.sheets, seed)
    nests = tuple(
        replace(
            nest,
            stocks=tuple(
                stock_of(parts.job, parts.job.stock[i]) for i in parts.sheets[nest.sheet].items
            ),
        )
        for nest in better.nests
    )
    return replace(
        found,
        body=better.body,
        nests=nests,
        remake=better.remake,
        rounds=found.rounds + better.rounds,
        purchase_bound=partial(nester.bounds, nests),
    )


def _left_out(found: Found, tried: Found, thing: Left) -> LeftOut:
    """Say what was found without something; bounds of all plans hold without it as well."""
    bounds = [bound for bound in (found.bound, tried.bound) if bound is not None]
    ids = tuple(sorted(thing.items))
    if tried.impossible:
        return LeftOut(what=thing.what, stock=ids, status="impossible")
    bound = max(bounds, default=None)
    if tried.body is None:
        return LeftOut(what=thing.what, stock=ids, status="none found", bound=bound)
    cost = tried.body.cost
    return LeftOut(
        what=thing.what,
        stock=ids,
        status="found",
        objective=cost.objective,
        metal=cost.metal,
        bound=None if bound is None else min(bound, cost.objective),
    )
