"""Plans that nothing else beats in money for metal and in hours, and in waste if asked.

Everything that is made once for a job serves all plans.  The master answers two kinds of question:
a plan at some price of an hour (with stock counted by bare area its answer is proven: no plan lies
below that line), and the quickest plan that spends less on metal than one that is known, or lies
between two that are (rows on its money for stock and for work).  The first finds the plans that
some price of an hour makes the best of all, the second those between them.  Stock is
counted as full as nests have shown; what the master hopes for is nested on the purchase that it
hopes for, and where that fails on the cheapest that holds it.  Only plans that were nested, put
together and accepted by the checker are shown.
"""

from __future__ import annotations

import math
import time
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import partial

from solver.data.job import Goal, Job
from solver.data.plan import Plan
from solver.data.until import Until
from solver.models.master import Caps, MasterAnswer
from solver.models.removal import RemovalOrder
from solver.planner.assemble import Body
from solver.planner.impossible import plain_reasons, why_impossible
from solver.planner.lane_cuts import LaneCuts
from solver.planner.master_of import costs_of, stock_order
from solver.planner.nesting import Nester, SheetNest
from solver.planner.options import StretchOption
from solver.planner.piece_options import PieceOption
from solver.planner.plan_job import OnProgress, ShouldStop, Watch, checked, without_plan
from solver.planner.prepare import prepare
from solver.planner.rounds import (
    EMPTIEST,
    FULLEST,
    Found,
    LazyRows,
    Limits,
    Parts,
    Unlike,
    body_of,
    choose,
    learned_fill,
    master_with,
    problem_of,
)
from solver.planner.unbeaten import (
    MINUTES,
    MONEY,
    MOST_PLANS,
    Figures,
    price_of_an_hour,
    supported,
    unbeaten,
)
from solver.planner.write_plan import impossible, no_answer, plan_of, request_of

BOUND_WORK = 20.0
FIND_WORK = 4.0
"""Deterministic work of the master where it proves, and where it only has to find."""
GLANCE = 1e-3
"""Weight of what counts only between plans that are equal otherwise."""
EFFORT = 20
FULL_EFFORT = 40
"""Effort of nests that try a purchase, and of those that look for the cheapest."""
MOST_ROUNDS = 30
"""Questions asked without a time limit."""
RUNGS = (0.6, 0.8, 0.35, 0.92)
"""Shares of the money that lies open between two plans which the next one may spend."""
MOST_TURNS = 4
"""Choices for one question, each with stock counted less full where the last did not nest."""
LESS, FULLER = 0.96, 1.15
MOST_TOPPED_UP = 4
"""Units that are tried one by one for blanks that were left over."""
FIRST_FILL = 0.65
FIRST_ON_HAND = 0.4
"""How full stock is taken to get before nests have shown it; less where it is what is left."""
SEARCH_SHARE, POLISH_SHARE, PROVE_SHARE = 0.8, 0.86, 0.92
"""Shares of the time after which searching, nesting better and proving end."""
LONGEST_NEST_SECONDS = 2.5
LONGEST_FIRST_SECONDS = 6.0
LONGEST_ASK_SECONDS = 4.0


@dataclass(frozen=True)
class Unbeaten:
    """One plan of a trade-off and what is proven about it."""

    plan: Plan
    supported: bool
    """Whether some price of an hour makes it the best of all the plans found."""
    least_minutes: float | None
    """Proven: no plan that spends so little on metal takes fewer minutes."""
    least_metal: float | None
    """Proven: no plan that takes so few minutes spends less on metal."""
    hour_price: float | None = None
    """Money for metal that an hour saved costs, from this plan to the next; None of the last."""

    @property
    def metal(self) -> float:
        """Money for metal."""
        assert self.plan.cost is not None
        return self.plan.cost.metal

    @property
    def minutes(self) -> float:
        """All operations with the allowance."""
        return self.plan.minutes

    @property
    def waste_kg(self) -> float:
        """What is neither blank nor usable offcut."""
        assert self.plan.cost is not None
        return self.plan.cost.waste_kg


@dataclass(frozen=True)
class TradeOff:
    """Plans that no other plan found beats, least metal first."""

    points: tuple[Unbeaten, ...]
    waste: bool
    """Whether waste was weighed as well."""
    asked: int
    """Questions that the master was asked."""
    nested: int
    """Plans that were nested and put together."""
    answer: Plan | None = None
    """Where there is no plan: the answer that says why."""

    @property
    def plans(self) -> tuple[Plan, ...]:
        """The plans alone."""
        return tuple(point.plan for point in self.points)


def trade_off(
    job: Job,
    *,
    waste: bool = False,
    seconds: float | None = None,
    seed: int = 0,
    on_progress: OnProgress | None = None,
    should_stop: ShouldStop | None = None,
) -> TradeOff:
    """Return the plans of a job that nothing found beats in metal and hours, each checked.

    Plans are plans of the job as it is: its own goal prices them.  ``waste`` weighs waste too.
    Without ``seconds`` the work is counted in steps.

    Raises PlanRejectedError if the checker refuses a plan.
    """
    watch = Watch(on_progress)
    limits = Limits(watch.deadline(seconds), seed, should_stop or (lambda: False))
    request = request_of(job, seed, seconds)
    watch.phase("reading the job")
    reasons, also = plain_reasons(job)
    if reasons:
        return _none(waste, checked(impossible(request, reasons, also), job))
    parts, refusals = prepare(job, watch.phase, limits.until)
    if parts is None:
        if limits.until.over():
            return _none(waste, checked(no_answer(request, Found(time_cut=True)), job))
        return _none(waste, checked(impossible(request, *why_impossible(job, refusals, None)), job))

    def moment(share: float) -> float | None:
        return None if seconds is None else watch.deadline(seconds * share)

    def tell(search: _Search) -> None:
        if on_progress is not None:
            watch.phase(f"{len(search.archive)} unbeaten plans")

    search = _Search(parts, limits, waste)
    search.run(moment(SEARCH_SHARE), lambda: tell(search))
    if not search.archive:
        found = replace(search.found(None), impossible=search.impossible)
        return _none(waste, without_plan(request, found, parts, refusals))
    search.polish(moment(POLISH_SHARE), lambda: tell(search))
    search.prove(moment(PROVE_SHARE), lambda: watch.phase("proving"))
    watch.phase("checking")
    shown = search.shown()
    hull = supported(shown)
    points = []
    for here, (one, on_hull) in enumerate(zip(shown, hull, strict=True)):
        plan = checked(plan_of(request, search.found(one), parts), job)
        quicker = shown[here + 1] if here + 1 < len(shown) else None
        points.append(
            Unbeaten(
                plan,
                on_hull,
                search.least_minutes(one),
                search.least_metal(one),
                None if quicker is None else price_of_an_hour(one, quicker),
            )
        )
    watch.phase("done")
    return TradeOff(tuple(points), waste, search.asked, search.nested)


def _none(waste: bool, answer: Plan) -> TradeOff:
    return TradeOff((), waste, 0, 0, answer)


@dataclass(frozen=True)
class _Line:
    """Proven of every plan: metal times its weight and minutes times theirs are at least this."""

    metal: float
    minutes: float
    bound: float


@dataclass(frozen=True)
class _Choice:
    """What the master chose, and the order in which its sections come off."""

    answer: MasterAnswer
    order: RemovalOrder | None


@dataclass(frozen=True)
class _Done:
    """A choice that was nested and put together."""

    choice: _Choice
    body: Body
    nests: tuple[SheetNest, ...]

    @property
    def metal(self) -> float:
        """Money for metal."""
        return self.body.cost.metal

    @property
    def minutes(self) -> float:
        """All operations with the allowance."""
        return self.body.minutes

    @property
    def waste_kg(self) -> float:
        """What is neither blank nor usable offcut."""
        return self.body.cost.waste_kg


@dataclass(frozen=True)
class _Place:
    """Where a plan is sought: less metal than one plan, and fewer minutes than the one before."""

    below_metal: float
    below_minutes: float
    wide: float
    """How much metal money lies open there."""

    @property
    def key(self) -> tuple[float, float]:
        return round(self.below_metal, 2), round(self.below_minutes, 1)


@dataclass
class _Search:
    """Everything that is known of one job's trade-off."""

    parts: Parts
    limits: Limits
    waste: bool
    archive: tuple[_Done, ...] = ()
    asked: int = 0
    nested: int = 0
    impossible: bool = False
    bound: float | None = None
    """Of the scenario's own goal."""
    cut: bool = False
    lines: list[_Line] = field(default_factory=list)
    steps: list[tuple[float, float]] = field(default_factory=list)
    """Proven (metal, minutes): no plan that spends at most so much takes fewer minutes."""
    least: float = math.inf
    """Least money for metal of any answer that counted stock by bare area."""
    fill: dict[int, float] = field(default_factory=dict)
    tried: dict[tuple[float, float], int] = field(default_factory=dict)
    seen: set[tuple[tuple[int, ...], tuple[int, ...]]] = field(default_factory=set)

    def __post_init__(self) -> None:
        job = self.parts.job
        self.nester = Nester(job, self.parts.sheets, self.limits.seed)
        self.rows = LazyRows([], [], LaneCuts(job, self.parts.sheets, self.parts.options), Unlike())
        # what nests have shown to be too much for stock on hand is no proof: only finding heeds it
        rows = self.rows
        self.finding = LazyRows(rows.order, rows.lanes, rows.cuts, rows.unlike)
        self.cut = self.parts.cut_by_clock

    # -- the search ------------------------------------------------------------------------------

    def run(self, moment: float | None, tell: Callable[[], None]) -> None:
        """Ask for the scenario's own best, the two ends, and then for what lies between."""
        until = Until(moment, self.limits.should_stop)
        own = self._ask(self.parts, {}, until, BOUND_WORK)
        if own.answer.status == "impossible":
            self.impossible = self.parts.dropped_bound == math.inf
            return
        if own.answer.bound is not None:
            self.bound = min(own.answer.bound, self.parts.dropped_bound)
        self._keep(own, until, FULL_EFFORT)
        tell()
        for metal, minutes in ((GLANCE, 1.0), (1.0, GLANCE)):
            if until.over():
                return
            self._line(metal, minutes, until)
            tell()
        rounds = 0
        while not until.over() and (moment is not None or rounds < MOST_ROUNDS):
            rounds += 1
            if not self._next(rounds, until):
                break
            tell()

    def _line(self, metal: float, minutes: float, until: Until) -> None:
        """Ask for the best plan at these weights, with proof."""
        choice = self._ask(self._weighted(metal, minutes), {}, until, BOUND_WORK)
        answer = choice.answer
        if answer.bound is not None and self.parts.dropped_bound == math.inf:
            self.lines.append(_Line(metal, minutes, answer.bound))
        if answer.cost is not None:
            stock = (self.parts.job.stock[item] for item in stock_order(self.parts.sheets))
            spent = sum(n * item.price for n, item in zip(answer.bought, stock, strict=True))
            self.least = min(self.least, spent)
        self._keep(choice, until, EFFORT)

    def _next(self, number: int, until: Until) -> bool:
        """Ask for one more plan where most is open; False where nothing is left to ask."""
        if self.waste and number % 3 == 0:
            self._settle(self._weighted(GLANCE, GLANCE, by_mass=True), None, until)
            return True
        if not self.archive:
            self._settle(self._weighted(1.0, 1.0), None, until)
            return number < MOST_TURNS or bool(self.archive)
        places = [p for p in self._places() if self.tried.get(p.key, 0) < len(RUNGS)]
        if not places:
            return False
        place = max(places, key=lambda p: p.wide / (1 + self.tried.get(p.key, 0)) ** 2)
        tries = self.tried.get(place.key, 0)
        self.tried[place.key] = tries + 1
        metal, minutes = self._weights(place)
        # the rungs lead from what was spent before down to what is open, the widest step first
        most = min(
            place.below_metal - 2 * MONEY, place.below_metal - (1 - RUNGS[tries]) * place.wide
        )
        quickest = place.below_minutes - 2 * MINUTES
        rest = None if quickest == math.inf else minutes * quickest
        caps = Caps(stock=metal * most, rest=rest)
        self._settle(self._weighted(metal, minutes), caps, until)
        return True

    def _settle(self, parts: Parts, caps: Caps | None, until: Until) -> None:
        """Ask until what is chosen nests on what it hopes for, counting stock less full each time.

        What still does not is nested on the cheapest stock that is found.
        """
        fill = {sheet: self._full(sheet) for sheet in range(len(self.parts.sheets))}
        last: _Choice | None = None
        for turn in range(MOST_TURNS):
            if until.over():
                return
            soon = _within(until, LONGEST_ASK_SECONDS)
            choice = self._ask(parts, fill, soon, FIND_WORK, caps)
            if choice.answer.cost is None:
                if last is not None or turn:
                    break
                fill = {sheet: min(FULLEST, FULLER * full) for sheet, full in fill.items()}
                continue
            last = choice
            nests, short = self._try(choice.answer, until)
            if all(self._topped_up(nests, sheet, choice.answer, until) for sheet in short):
                self._put_together(choice, list(nests.values()))
            if not short:
                return
            hoped = self._hoped(choice.answer)
            for sheet, reached in short.items():
                least = LESS * fill[sheet]
                if any(stock.id in hoped for stock in nests[sheet].stocks):
                    fill[sheet] = max(EMPTIEST, min(least, reached))
                    continue
                fill[sheet] = max(EMPTIEST, least)
                self.finding.failed.append(
                    [i for i in choice.answer.options if self.parts.options[i].sheet == sheet]
                )
        if last is not None:
            self._keep(last, until, EFFORT)

    def _full(self, sheet: int) -> float:
        """How full the stock of a sheet metal is taken to get."""
        items = (self.parts.job.stock[item] for item in self.parts.sheets[sheet].items)
        first = FIRST_ON_HAND if any(item.on_hand for item in items) else FIRST_FILL
        return self.fill.get(sheet, first)

    def _places(self) -> Iterator[_Place]:
        """Places that may hold a plan that none of those known beats."""
        known = unbeaten(self.archive)  # in metal and minutes alone
        before = self.least if self.least < math.inf else 0.0
        minutes = math.inf
        for one in known:
            if one.metal - before > 2 * MONEY:
                yield _Place(one.metal, minutes, one.metal - before)
            before, minutes = one.metal, one.minutes

    def _weights(self, place: _Place) -> tuple[float, float]:
        """Weights of metal and minutes: as steep as the place, or the quickest plan in it."""
        if place.below_minutes == math.inf:
            return GLANCE, 1.0
        quicker = [one for one in self.archive if one.metal >= place.below_metal - MONEY]
        low = min((one.minutes for one in quicker), default=0.0)
        steep = place.wide / max(place.below_minutes - low, MINUTES)
        return 1.0, min(max(steep, GLANCE), 1 / GLANCE)

    def _weighted(self, metal: float, minutes: float, *, by_mass: bool = False) -> Parts:
        """Return the parts with other weights: money for metal, and for each minute.

        ``by_mass`` prices stock by its kilograms.
        """
        job = self.parts.job
        goal = Goal("trade-off", metal=1.0 if by_mass else metal, joints=0.0, labor=minutes)
        stock = job.stock
        if by_mass:
            stock = tuple(
                replace(item, price=item.width_mm * item.length_mm * 1e-6 * item.mass_kg_m2)
                for item in job.stock
            )
        # at 60 an hour labor is money for minutes with the allowance
        shop = replace(job.shop, labor_rate_per_hour=60.0)
        weighted = replace(job, goal=goal, shop=shop, stock=stock)
        return replace(self.parts, job=weighted, costs=costs_of(weighted))

    def _ask(
        self,
        parts: Parts,
        fill: dict[int, float],
        until: Until,
        work: float,
        caps: Caps | None = None,
    ) -> _Choice:
        self.asked += 1
        rows = self.finding if fill else self.rows
        limits = replace(self.limits, deadline=until.moment)
        master = master_with(problem_of(parts), rows, fill)
        if caps is not None:
            master.cap(caps)
        choice = _Choice(*choose(master, parts, rows, limits, work, None))
        self.cut |= choice.answer.cut_by_clock
        return choice

    # -- nests -----------------------------------------------------------------------------------

    def _keep(self, choice: _Choice, until: Until, effort: int) -> None:
        """Nest a choice and put it together, unless that was done before."""
        answer = choice.answer
        key = (answer.columns, answer.options)
        if answer.cost is None or choice.order is None or key in self.seen:
            return
        self.seen.add(key)
        nests = self._nested(answer, until, effort)
        if nests is not None:
            self._put_together(choice, nests)

    def _put_together(self, choice: _Choice, nests: Sequence[SheetNest]) -> None:
        assert choice.order is not None
        body = body_of(self.parts, choice.answer, choice.order, nests)
        self.nested += 1
        self.archive = unbeaten(
            (*self.archive, _Done(choice, body, tuple(nests))), waste=self.waste
        )

    def _cut(self, answer: MasterAnswer) -> dict[int, list[PieceOption]]:
        """Pieces of a choice by sheet metal."""
        cut: dict[int, list[PieceOption]] = {}
        for option in sorted((self.parts.options[i] for i in answer.options), key=_by_sheet):
            cut.setdefault(option.sheet, []).extend(option.pieces)
        return cut

    def _hoped(self, answer: MasterAnswer) -> dict[str, int]:
        """Units that a choice hopes to buy, by stock id."""
        stock = (self.parts.job.stock[item].id for item in stock_order(self.parts.sheets))
        return {id_: n for id_, n in zip(stock, answer.bought, strict=True) if n}

    def _try(
        self, answer: MasterAnswer, until: Until
    ) -> tuple[dict[int, SheetNest], dict[int, float]]:
        """Nest on the purchase hoped for; tell where that fails how full the stock got."""
        hoped = self._hoped(answer)
        nests: dict[int, SheetNest] = {}
        short: dict[int, float] = {}
        for sheet, pieces in self._cut(answer).items():
            nest = self.nester.nest_on(sheet, pieces, hoped, EFFORT, until)
            nests[sheet] = nest
            reached = _reached(nest, hoped)
            before = self.fill.get(sheet)
            if nest.complete:
                self.fill[sheet] = max(before or 0.0, reached)
            else:
                short[sheet] = reached
                self.fill[sheet] = math.sqrt(self._full(sheet) * reached)
        return nests, short

    def _topped_up(
        self, nests: dict[int, SheetNest], sheet: int, answer: MasterAnswer, until: Until
    ) -> bool:
        """Where few blanks are left over, try one unit more of what is cheap; keep what holds all.

        Money spent must stay below what the dearest plan known spends, or nothing is gained.
        """
        nest = nests[sheet]
        left = len(nest.pieces) - len(nest.bought.layout.placements)
        if left > max(2, len(nest.pieces) // 6):
            return False
        hoped = self._hoped(answer)
        stock = self.parts.job.stock_of
        most = max((one.metal for one in self.archive), default=math.inf)
        room = most - sum(n * stock[id_].price for id_, n in hoped.items())
        offered = [stock[s.id] for s in nest.stocks]
        cheap = [
            item
            for item in sorted(offered, key=lambda item: item.price)
            if item.price < room
            and (item.for_sale is None or hoped.get(item.id, 0) < item.for_sale)
        ]
        for item in cheap[:MOST_TOPPED_UP]:
            if until.over():
                return False
            numbers = {**hoped, item.id: hoped.get(item.id, 0) + 1}
            more = self.nester.nest_on(sheet, nest.pieces, numbers, EFFORT, until)
            if more.complete:
                nests[sheet] = more
                return True
        return False

    def _nested(self, answer: MasterAnswer, until: Until, effort: int) -> list[SheetNest] | None:
        """Nest a choice on the cheapest stock that is found, what it hopes for first."""
        hoped = self._hoped(answer)
        nests, short = self._try(answer, until)
        for sheet, nest in nests.items():
            if sheet not in short and effort == EFFORT:
                continue
            on_hand = not any(stock.id in hoped for stock in nest.stocks)
            if effort == EFFORT and on_hand and self.archive:
                return None  # more blanks than what is on hand holds
            longest = LONGEST_NEST_SECONDS if effort == EFFORT else LONGEST_FIRST_SECONDS
            if not self.archive:
                # any purchase that holds them comes first, however long that takes
                nests[sheet] = self.nester.nest(sheet, nest.pieces, hoped, 0, until)
            share = _within(until, longest)
            nests[sheet] = self.nester.nest(sheet, nest.pieces, hoped, effort, share)
        return list(nests.values()) if all(nest.complete for nest in nests.values()) else None

    def polish(self, moment: float | None, tell: Callable[[], None]) -> None:
        """Look longer for cheaper purchases of what is known, plan by plan."""
        left = list(unbeaten(self.archive, waste=self.waste))
        while left and not self.limits.should_stop():
            one = left.pop(0)
            share = Until(moment, self.limits.should_stop).left()
            until = Until(
                None if share is None else time.monotonic() + share / (len(left) + 1),
                self.limits.should_stop,
            )
            if moment is not None and time.monotonic() >= moment:
                return
            nests = [
                self.nester.nest(nest.sheet, nest.pieces, nest.bought.bought, FULL_EFFORT, until)
                for nest in one.nests
            ]
            if sum(n.bought.price for n in nests) < one.metal - MONEY:
                self._put_together(one.choice, nests)
                tell()

    # -- proofs ----------------------------------------------------------------------------------

    def prove(self, moment: float | None, tell: Callable[[], None]) -> None:
        """Prove for each plan how quick any plan can be that spends no more on metal."""
        until = Until(moment, self.limits.should_stop)
        if self.parts.dropped_bound < math.inf:
            return
        for one in self.shown():
            if until.over():
                return
            tell()
            caps = Caps(stock=GLANCE * (one.metal + MONEY))
            answer = self._ask(self._weighted(GLANCE, 1.0), {}, until, BOUND_WORK, caps).answer
            if answer.bound is not None:
                self.steps.append((one.metal, answer.bound - GLANCE * (one.metal + MONEY)))

    def least_minutes(self, one: Figures) -> float | None:
        """Proven: a plan that spends no more on metal than this one takes so many minutes."""
        proven = [minutes for metal, minutes in self.steps if metal >= one.metal - 1e-9]
        proven += [(line.bound - line.metal * one.metal) / line.minutes for line in self.lines]
        return min(one.minutes, max(proven)) if proven else None

    def least_metal(self, one: Figures) -> float | None:
        """Proven: a plan that takes no more minutes than this one spends so much on metal."""
        proven = [metal for metal, minutes in self.steps if minutes > one.minutes + MINUTES]
        proven += [(line.bound - line.minutes * one.minutes) / line.metal for line in self.lines]
        return min(one.metal, max(0.0, *proven)) if proven else None

    # -- what is shown ---------------------------------------------------------------------------

    def shown(self) -> tuple[_Done, ...]:
        """Return the unbeaten plans, at most so many: of the closest pairs one is left out."""
        points = list(unbeaten(self.archive, waste=self.waste))
        while len(points) > MOST_PLANS:
            inner = range(1, len(points) - 1)
            points.pop(min(inner, key=lambda i: points[i + 1].metal - points[i - 1].metal))
        return tuple(points)

    def found(self, one: _Done | None) -> Found:
        """Return what the plan of one choice is made from."""
        found = Found(
            bound=self.bound,
            rounds=self.asked,
            time_cut=self.cut or self.limits.until.over(),
            stopped=self.limits.should_stop(),
        )
        if one is not None:
            found.body, found.nests = one.body, one.nests
            found.purchase_bound = partial(self.nester.bounds, one.nests)
        return found


def _by_sheet(option: StretchOption) -> int:
    return option.sheet


def _reached(nest: SheetNest, numbers: Mapping[str, int]) -> float:
    """Share of the stock that blanks fill, of the units used or, where some are left, of all."""
    if nest.complete:
        return learned_fill([nest]).get(nest.sheet, EMPTIEST)
    room = sum(
        (numbers.get(stock.id, 0) + stock.on_hand) * stock.length_mm * stock.width_mm
        for stock in nest.stocks
    )
    area = [piece.blank.area_mm2 for piece in nest.pieces]
    placed = sum(area[int(one.shape_id)] for one in nest.bought.layout.placements)
    return min(FULLEST, max(EMPTIEST, placed / room)) if room else EMPTIEST


def _within(until: Until, seconds: float) -> Until:
    """Return an end no later than so many seconds from now, where there is an end at all."""
    if until.moment is None:
        return until
    return replace(until, moment=min(until.moment, time.monotonic() + seconds))
