"""Many blanks of one sheet metal: laid unit by unit, then some units at a time laid anew.

A purchase of hundreds of blanks is too much to search as a whole.  What is on hand is filled first
by dropping blanks (`dropping`), then, unit by unit, that one of some drawn on which most lies for
its price.  Blanks that came to lie where room was lost are worth more in the next layouts, and so
are laid sooner (sequential value correction; Mukhacheva, Belov, Kartack, Mukhacheva, Pesquisa
Operacional 20, 2000).  Then, again and again, the blanks of some units are laid anew (large
neighborhood search; Shaw, Using constraint programming and local search methods, 1998): those of
many as all were at first, those of a few on stock that costs no more, with what is left over eased
in.  That is kept where it costs less or crams more on fewer units.  All work is counted in steps.
"""

from __future__ import annotations

import random
from collections import Counter
from collections.abc import Mapping, Sequence
from contextlib import closing
from dataclasses import dataclass, replace

import numpy as np
import shapely

from solver.data.until import Until
from solver.models.ahead import in_turn
from solver.nests.dropping import KnownPoses, drop_onto, droppable, poses_of_all
from solver.nests.easing_in import ease_onto
from solver.nests.nest_into import nest_into
from solver.nests.shapes import Layout, Placement, Purchase, Shape, Stock, UsedUnit, usable_region

ROUNDS, MORE_ROUNDS = 1, 4
"""Rounds of laying all blanks at first, and before some units are laid anew for the first time."""
LAYOUTS = 4
"""Layouts of a round; what all blanks are worth is known better after each round."""
LEARNED = 0.3
"""How much the last round counts in that."""
DRAWN = 8
"""Units that are laid, of which the one is kept on which most lies for its price."""
SHAKEN = (0.05, 0.1, 0.3)
"""Shares by which lengths are shaken to order blanks, the long ones first."""
WORTH_SHAKEN = (0.0, 0.05, 0.15)
"""Shares by which what blanks are worth is shaken."""
LEAST_FULL = 0.6
"""Units that what is left would not fill so much are only taken for the last blanks."""
LARGE_PARTS, PART = 0.5, (0.1, 0.5)
"""Share of steps that lay a large part of all blanks anew as all were at first, and how large."""
MOST_TOGETHER = 80
"""Blanks laid anew at once where others are eased in after them."""
MOST_UNITS = 3
TRIES = 30
"""Purchases drawn for a few units, of which one is tried."""
HOPE = 0.25
"""A few units are hoped to get fuller by this share at the most."""
AS_FULL_AS_ALL = 0.5
"""Share of steps in which they are hoped to get fuller by that share than all units are on the
whole: nearly empty ones of coarse stock are hardly ever spared otherwise."""
FULLEST = 0.97
MOST_OVER, MOST_OVER_CHEAPER = 0.08, 0.15
"""Share of the area of the blanks that found no place, of which no more are eased in; and where a
purchase is cheaper, which is worth more."""
HOPS = 200
"""Steps of hopping to ease them in."""


@dataclass(frozen=True)
class _Unit:
    """A unit of stock with what lies on it."""

    stock: str
    laid: tuple[Placement, ...]


def _without(blanks: Sequence[str], unit: _Unit) -> list[str]:
    placed = {one.shape_id for one in unit.laid}
    return [blank for blank in blanks if blank not in placed]


class ManyBlanks:
    """The blanks of one sheet metal, with the best way known to lay them; None until laid."""

    def __init__(
        self,
        shapes: Sequence[Shape],
        holders: Mapping[str, frozenset[str]],
        stocks: Sequence[Stock],
        gap_mm: float,
        seed: int,
        known: KnownPoses | None = None,
    ) -> None:
        """``holders``: the stock that can hold each blank by itself; ``known``: poses, added to."""
        self.shapes = {shape.id: shape for shape in shapes}
        self.holders = holders
        self.stocks = {stock.id: stock for stock in stocks}
        self.gap_mm = gap_mm
        self.seed = seed
        self.units: Sequence[_Unit] | None = None
        self.starts = 0
        """Times that all blanks were laid from the beginning."""
        self.bettered = 0
        """Times that some units were laid anew."""
        self._poses = poses_of_all(shapes, gap_mm, {} if known is None else known)
        self._droppable = droppable(self._poses)
        self._worth = np.ones(len(self._droppable.ways.looks))
        """What room each kind of blank takes, with what is lost around it, beside the mean."""
        self._long = {blank: poses[0].length_mm for blank, poses in self._poses.items()}
        self._area = {
            shape.id: float(shapely.Polygon(shape.outline_mm).buffer(gap_mm / 2).area)
            for shape in shapes
        }
        self._room = {stock.id: float(usable_region(stock).area) for stock in stocks}

    # -- first -------------------------------------------------------------------------------------

    def lay(self, until: Until, rounds: int = ROUNDS) -> bool:
        """Lay all blanks some times a round; return whether all found a place in the best way."""

        def laid(start: int, until: Until) -> tuple[_Unit, ...] | None:
            rng = random.Random(f"{self.seed} start {start}")
            return self._filled((), list(self.shapes), rng, until)

        for _ in range(rounds):
            made: list[tuple[_Unit, ...]] = []
            starts = range(self.starts, self.starts + LAYOUTS)
            with closing(in_turn(starts, laid, until)) as turns:
                for _, units in turns:
                    self.starts += 1
                    if units is not None:
                        made.append(units)
                        if self.units is None or self._rank(units) < self._rank(self.units):
                            self.units = units
                    if until.over():
                        return self.units is not None
            self._learn(made)
        return self.units is not None

    def _learn(self, layouts: Sequence[Sequence[_Unit]]) -> None:
        """Correct what blanks are worth: the room that they took, with their share of what is lost.

        Beside the mean of all blanks, so that nothing but differences matters.
        """
        if not layouts:
            return
        taken, area = np.zeros(len(self._worth)), np.zeros(len(self._worth))
        for unit in (unit for units in layouts for unit in units):
            kinds = [self._droppable.kind[one.shape_id] for one in unit.laid]
            mine = np.array([self._area[one.shape_id] for one in unit.laid])
            np.add.at(taken, kinds, mine / mine.sum() * self._room[unit.stock])
            np.add.at(area, kinds, mine)
        seen = taken / area * (area.sum() / taken.sum())
        self._worth = (1.0 - LEARNED) * self._worth + LEARNED * seen

    def _filled(
        self, kept: Sequence[_Unit], left: list[str], rng: random.Random, until: Until
    ) -> tuple[_Unit, ...] | None:
        """Units kept, and others with the blanks that are left, on hand first; None if it fails."""
        units = list(kept)
        count = Counter(unit.stock for unit in units)
        for kind in sorted(self.stocks, key=lambda kind: (self._room[kind], kind)):
            for _ in range(self.stocks[kind].on_hand - count[kind]):
                left = self._add_unit(kind, left, units, rng, until)
        count = Counter(unit.stock for unit in units)
        while left and not until.over():
            kinds = [
                kind
                for kind, stock in self.stocks.items()
                if stock.for_sale is None or count[kind] < stock.on_hand + stock.for_sale
            ]
            unit = self._next(kinds, left, rng, until)
            if unit is None:
                return None
            count[unit.stock] += 1
            units.append(unit)
            left = _without(left, unit)
        return None if left else tuple(units)

    def _next(
        self, kinds: Sequence[str], blanks: Sequence[str], rng: random.Random, until: Until
    ) -> _Unit | None:
        """The unit, of some drawn, on which most lies for its price; None if none holds any."""
        area = sum(self._area[blank] for blank in blanks)
        filled = [kind for kind in kinds if LEAST_FULL * self._room[kind] <= area]
        drawn = rng.choices(filled, k=DRAWN) if filled else []
        units = [unit for kind in drawn if (unit := self._unit(kind, blanks, rng, until))]
        if not units:
            for kind in sorted(kinds, key=lambda kind: (self.stocks[kind].price, kind)):
                unit = self._unit(kind, blanks, rng, until)
                if unit and len(unit.laid) == len(blanks):
                    return unit
                units += [unit] if unit else []
        return max(units, key=self._worth_for_price, default=None)

    def _worth_for_price(self, unit: _Unit) -> float:
        worth = sum(
            self._area[one.shape_id] * self._worth[self._droppable.kind[one.shape_id]]
            for one in unit.laid
        )
        return float(worth / max(self.stocks[unit.stock].price, 0.01))

    def _add_unit(
        self,
        kind: str,
        blanks: list[str],
        units: list[_Unit],
        rng: random.Random,
        until: Until,
    ) -> list[str]:
        """Fill one unit more; return the blanks left over."""
        unit = self._unit(kind, blanks, rng, until)
        if unit is None:
            return blanks
        units.append(unit)
        return _without(blanks, unit)

    def _unit(
        self, kind: str, blanks: Sequence[str], rng: random.Random, until: Until
    ) -> _Unit | None:
        """Lay blanks on one unit: dropped on a rectangle, nested on any other outline."""
        stock = self.stocks[kind]
        holds = [blank for blank in blanks if kind in self.holders[blank]]
        if not holds or until.over():
            return None
        if stock.outline_mm is not None:
            layout = nest_into(
                [self.shapes[blank] for blank in holds], [stock], self.gap_mm, 0, 1, until
            )
            laid = list(layout.placements)
        else:
            shaken = rng.choice(SHAKEN)
            order = {
                blank: self._long[blank] * rng.uniform(1 - shaken, 1 + shaken) for blank in holds
            }
            holds.sort(key=lambda blank: (-order[blank], blank))
            shaken = rng.choice(WORTH_SHAKEN)
            draw = np.random.default_rng(rng.getrandbits(32))
            worth = self._worth * draw.uniform(1 - shaken, 1 + shaken, len(self._worth))
            laid = drop_onto(stock, holds, self._droppable, self.gap_mm, draw, worth)
        return _Unit(kind, tuple(laid)) if laid else None

    def _rank(self, units: Sequence[_Unit]) -> tuple[float, float]:
        """Price, then how unevenly units are filled: what is crammed on some empties others."""
        price = self._price(Counter(unit.stock for unit in units))
        return round(price, 4), -sum(self._fill(u) ** 2 * self._room[u.stock] for u in units)

    # -- better ------------------------------------------------------------------------------------

    def improve(self, steps: int, until: Until) -> None:
        """Lay the blanks of some units anew, so many times, and keep what is better."""
        if steps > 0 and not self.bettered:
            self.lay(until, MORE_ROUNDS)
        last = self.bettered + steps
        while self.bettered < last and not until.over():
            self._better(range(self.bettered, last), until)

    def _better(self, steps: range, until: Until) -> None:
        """Take steps up to the first that makes something better, from what is there now."""
        assert self.units is not None
        units = self.units

        def anew(step: int, until: Until) -> tuple[_Unit, ...] | None:
            return self._anew(units, random.Random(f"{self.seed} step {step}"), until)

        with closing(in_turn(steps, anew, until)) as turns:
            for _, laid in turns:
                self.bettered += 1
                if laid is not None and self._rank(laid) < self._rank(units):
                    self.units = laid
                    return
                if until.over():
                    return

    def _anew(
        self, units: Sequence[_Unit], rng: random.Random, until: Until
    ) -> tuple[_Unit, ...] | None:
        """All units, the blanks of some of them laid anew; None where these find no place."""
        if rng.random() < LARGE_PARTS:
            return self._part_anew(units, rng, until)
        return self._few_anew(units, rng, until)

    def _part_anew(
        self, units: Sequence[_Unit], rng: random.Random, until: Until
    ) -> tuple[_Unit, ...] | None:
        """All units, a large part of the blanks laid as all were at first."""
        most = rng.uniform(*PART) * len(self.shapes)
        part: set[int] = set()
        left: list[str] = []
        for i in self._empty_first(units, rng):
            part.add(i)
            left += [one.shape_id for one in units[i].laid]
            if len(part) > 1 and len(left) >= most:
                break
        kept = [unit for i, unit in enumerate(units) if i not in part]
        return self._filled(kept, left, rng, until)

    def _few_anew(
        self, units: Sequence[_Unit], rng: random.Random, until: Until
    ) -> tuple[_Unit, ...] | None:
        """All units, the blanks of a few laid on others drawn, what is left over eased in."""
        few = self._few(units, rng)
        drawn = self._no_dearer(units, few, rng)
        if drawn is None:
            return None
        numbers, cheaper = drawn
        left = [one.shape_id for i in few for one in units[i].laid]
        kinds = list(numbers.elements())
        rng.shuffle(kinds)
        dropped: list[_Unit] = []
        for kind in kinds:
            left = self._add_unit(kind, left, dropped, rng, until)
        most_over = MOST_OVER_CHEAPER if cheaper else MOST_OVER
        laid = self._eased(kinds, dropped, left, most_over, rng, until) if left else dropped
        if laid is None:
            return None
        return (*(unit for i, unit in enumerate(units) if i not in few), *laid)

    def _eased(
        self,
        kinds: Sequence[str],
        laid: Sequence[_Unit],
        left: Sequence[str],
        most_over: float,
        rng: random.Random,
        until: Until,
    ) -> list[_Unit] | None:
        """Units of these kinds with all blanks, those left over eased in; None where it fails."""
        blanks = [*left, *(one.shape_id for unit in laid for one in unit.laid)]
        over = sum(self._area[blank] for blank in left)
        stocks = [self.stocks[kind] for kind in kinds]
        if over > most_over * sum(self._area[blank] for blank in blanks) or not all(
            stock.outline_mm is None for stock in stocks
        ):
            return None
        # units without a blank were not laid out
        empty = Counter(kinds) - Counter(unit.stock for unit in laid)
        order = [*(unit.stock for unit in laid), *empty.elements()]
        start = [replace(one, unit=u) for u, unit in enumerate(laid) for one in unit.laid]
        eased = ease_onto(
            [self.shapes[blank] for blank in blanks],
            [self._poses[blank] for blank in blanks],
            [*(None for _ in left), *start],
            [self.stocks[kind] for kind in order],
            self.gap_mm,
            rng,
            HOPS,
            until,
        )
        if eased is None:
            return None
        units = [
            _Unit(kind, tuple(replace(one, unit=0) for one in eased if one.unit == u))
            for u, kind in enumerate(order)
        ]
        return [unit for unit in units if unit.laid]

    def _fill(self, unit: _Unit) -> float:
        return sum(self._area[one.shape_id] for one in unit.laid) / self._room[unit.stock]

    def _empty_first(self, units: Sequence[_Unit], rng: random.Random) -> list[int]:
        """Units in an order drawn, empty ones mostly sooner than full ones."""
        waits = [rng.expovariate(1.0) / max(0.02, 1.0 - self._fill(unit)) ** 2 for unit in units]
        return sorted(range(len(units)), key=waits.__getitem__)

    def _few(self, units: Sequence[_Unit], rng: random.Random) -> set[int]:
        """Draw a few units, not too many blanks together."""
        few: set[int] = set()
        blanks = 0
        for i in self._empty_first(units, rng)[: 2 * MOST_UNITS]:
            count = len(units[i].laid)
            if len(few) < MOST_UNITS and (not few or blanks + count <= MOST_TOGETHER):
                few.add(i)
                blanks += count
        return few

    def _no_dearer(
        self, units: Sequence[_Unit], few: set[int], rng: random.Random
    ) -> tuple[Counter[str], bool] | None:
        """Draw a purchase for the blanks of a few units, no dearer than what they lie on.

        Return it with whether it is cheaper.
        """
        apart = Counter(u.stock for i, u in enumerate(units) if i not in few)
        mine = Counter(units[i].stock for i in few)
        before = self._price(apart + mine)
        need = sum(self._area[one.shape_id] for i in few for one in units[i].laid)
        full = need / sum(self._room[units[i].stock] for i in few)
        usual = full
        if rng.random() < AS_FULL_AS_ALL:
            full_of_all = sum(self._area.values()) / sum(self._room[u.stock] for u in units)
            usual = max(full, full_of_all)
        most = max(full, min(FULLEST, usual * (1 + HOPE)))
        holding = self._holding([one.shape_id for i in few for one in units[i].laid])
        drawn: list[tuple[float, Counter[str]]] = []
        for _ in range(TRIES):
            numbers = self._draw(holding, need / most, mine, rng)
            whole = apart + numbers
            if any(
                (limit := self.stocks[kind].for_sale) is not None
                and count > limit + self.stocks[kind].on_hand
                for kind, count in whole.items()
            ):
                continue
            price = self._price(whole)
            if price <= before + 1e-6:
                drawn.append((price, numbers))
        if not drawn:
            return None
        # the dearest of some is the most likely to hold the blanks
        some = rng.sample(drawn, min(2, len(drawn)))
        price, numbers = max(some, key=lambda one: (one[0], sorted(one[1].items())))
        return numbers, price < before - 1e-6

    def _holding(self, blanks: Sequence[str]) -> list[str]:
        """Kinds of stock that hold most of these blanks' area."""
        held = {
            kind: sum(self._area[blank] for blank in blanks if kind in self.holders[blank])
            for kind in self.stocks
        }
        most = max(held.values())
        return [kind for kind, area in held.items() if area >= 0.5 * most]

    def _draw(
        self, kinds: Sequence[str], room: float, mine: Counter[str], rng: random.Random
    ) -> Counter[str]:
        """Draw units of some kinds with at least so much room."""
        numbers: Counter[str] = Counter()
        have = 0.0
        for kind in mine:  # some of what it was is kept
            for _ in range(rng.randint(0, mine[kind])):
                if have < room:
                    numbers[kind] += 1
                    have += self._room[kind]
        while have < room:
            lacking = room - have
            fitting = [kind for kind in kinds if self._room[kind] <= 1.5 * lacking]
            smallest = min(kinds, key=lambda kind: (self._room[kind], kind))
            kind = rng.choice(fitting) if fitting else smallest
            numbers[kind] += 1
            have += self._room[kind]
        return numbers

    def _price(self, numbers: Mapping[str, int]) -> float:
        return sum(
            max(0, count - self.stocks[kind].on_hand) * self.stocks[kind].price
            for kind, count in numbers.items()
        )

    # -- told --------------------------------------------------------------------------------------

    def purchase(self, *, cut_short: bool) -> Purchase:
        """Return what is bought and how it lies, units on hand first."""
        units = [] if self.units is None else self.units
        order = sorted(range(len(units)), key=lambda i: (units[i].stock, -self._fill(units[i])))
        taken: Counter[str] = Counter()
        used: list[UsedUnit] = []
        placements: list[Placement] = []
        for place, i in enumerate(order):
            unit = units[i]
            taken[unit.stock] += 1
            on_hand = taken[unit.stock] <= self.stocks[unit.stock].on_hand
            used.append(UsedUnit(unit.stock, bought=not on_hand))
            placements += [
                Placement(one.shape_id, place, one.x_mm, one.y_mm, one.turn_deg, one.flipped)
                for one in unit.laid
            ]
        bought = Counter(unit.stock_id for unit in used if unit.bought)
        shelf = Counter(unit.stock_id for unit in used if not unit.bought)
        return Purchase(
            dict(bought),
            dict(shelf),
            Layout(tuple(used), tuple(placements), self.units is not None, cut_short),
            self._price(taken),
            cut_short,
            self.starts + self.bettered,
        )
