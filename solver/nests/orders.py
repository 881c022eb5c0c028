"""The order in which blanks are laid: by length and area, shaken, and bettered step by step.

How much finds no place differs much from order to order, and laying is quick. So some orders are
drawn around the plain one, then the best is changed a little, again and again, and what is no worse
stays.
"""

from __future__ import annotations

import math
import random
from dataclasses import dataclass, replace

from solver.data.until import FOREVER, Until
from solver.nests.fill import Filling, Laid, lay, length_mm

DRAWN = 8
"""Orders drawn around the plain one before the best is changed."""
MOST_POSES = 64
"""Looked at for each blank, if not said otherwise."""
SHAKES, POWERS, STRETCHES = (0.1, 0.3, 0.6), (0, 1, 2, 3), (1.0, 0.3)
"""Of orders that are drawn: what worths are shaken by, what length counts, how blanks reach."""
CHANGED, CHANGED_BY = 0.3, 0.3
"""Share of what an order is made of that changes in a step, and by how much a blank's worth."""


@dataclass(frozen=True)
class Order:
    """How blanks are laid: those worth most first, each on the first board that has room.

    ``stretch`` as in `boards.best_place`.
    """

    worths: tuple[float, ...]
    stretch: float
    boards: tuple[int, ...]


def order_by(filling: Filling, power: float, stretch: float = 1.0) -> Order:
    """Large blanks first; with a power long ones before short ones of the same area."""
    worths = [
        math.log(piece.area_mm2) + power * math.log(length_mm(piece.shape))
        for piece in filling.pieces
    ]
    return Order(tuple(worths), stretch, tuple(range(len(filling.boards))))


def shaken(order: Order, shake: float, rng: random.Random) -> Order:
    """An order with all blanks sooner or later by about so much of worth."""
    return replace(order, worths=tuple(worth + rng.gauss(0.0, shake) for worth in order.worths))


def plain_order(filling: Filling) -> Order:
    """Large blanks first, of the same area long ones: they find no lane left if they come late."""
    return order_by(filling, 2)


def drawn_order(filling: Filling, rng: random.Random) -> Order:
    """An order around the plain one."""
    order = order_by(filling, rng.choice(POWERS), rng.choice(STRETCHES))
    order = shaken(order, rng.choice(SHAKES), rng)
    return replace(order, boards=_shuffled(order.boards, rng))


def changed_order(order: Order, rng: random.Random) -> Order:
    """A few blanks sooner or later, now and then boards in another order or another stretch."""
    worths = tuple(
        worth + (rng.gauss(0.0, CHANGED_BY) if rng.random() < CHANGED else 0.0)
        for worth in order.worths
    )
    changed = replace(order, worths=worths)
    if rng.random() < CHANGED:
        changed = replace(changed, stretch=rng.choice(STRETCHES))
    if rng.random() < CHANGED:
        changed = replace(changed, boards=_shuffled(order.boards, rng))
    return changed


def lay_in_order(
    filling: Filling,
    order: Order,
    rng: random.Random,
    until: Until = FOREVER,
    most_poses: int = MOST_POSES,
    *,
    all_or_none: bool = False,
) -> None:
    """Lay all blanks anew; with `all_or_none` until one finds no place."""
    filling.laid = [None] * len(filling.pieces)
    first = sorted(range(len(order.worths)), key=lambda i: (-order.worths[i], i))
    lay(
        filling, first, rng, order.stretch, most_poses, order.boards, until, all_or_none=all_or_none
    )


def lay_in_many_orders(filling: Filling, tries: int, rng: random.Random, until: Until) -> None:
    """Lay all blanks in the best of so many orders, the plain one first; fewer if one will do."""
    best = plain_order(filling)
    laid: list[Laid | None] = [None] * len(filling.pieces)
    left = math.inf
    for turn in range(tries):
        order = best
        if turn > 0:
            drawn = turn < DRAWN
            order = drawn_order(filling, rng) if drawn else changed_order(best, rng)
        lay_in_order(filling, order, rng, until)
        if filling.left_out_mm2() <= left:
            best, laid, left = order, list(filling.laid), filling.left_out_mm2()
        if filling.complete() or until.over():
            break
    filling.laid = laid


def _shuffled(boards: tuple[int, ...], rng: random.Random) -> tuple[int, ...]:
    return tuple(rng.sample(boards, len(boards)))
