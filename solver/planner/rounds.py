"""Rounds of deciding and nesting: the master proposes, the nests answer, the best plan is kept.

The master's first answer proves the bound.  Its stock is counted by area, which real nests do not
fill, so each round buys and nests what was proposed, learns how full the stock of each metal gets,
and lets the master decide again with that in mind.
"""

from __future__ import annotations

import math
import time
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import partial
from typing import Literal

from solver.data.job import Job
from solver.data.until import Until
from solver.models.columns import Columns
from solver.models.master import LaneRow, Master, MasterAnswer, MasterProblem
from solver.models.removal import (
    RemovalCut,
    RemovalOrder,
    columns_matching,
    removal_or_cut,
    sections_of_columns,
)
from solver.models.split_problem import SplitProblem
from solver.nests.shapes import PriceBound
from solver.planner.assemble import Body, assemble
from solver.planner.lane_cuts import LaneCuts
from solver.planner.large_nester import LargeNester
from solver.planner.master_of import Costs, GrownAreas, capacity_mm2, master_problem_of, stock_order
from solver.planner.nesting import Nester, SheetNest
from solver.planner.options import StretchOption
from solver.planner.piece_options import PieceOption
from solver.planner.run_lines import RunLine
from solver.planner.sections_of import planned_sections
from solver.planner.sheets import Sheet
from solver.planner.split_of import EdgeRule

FIRST_WORK = 20.0
LATER_WORK = 6.0
"""Deterministic work of the master in the first and in later rounds."""
Steps = Sequence[tuple[Literal["decide", "nest"], int]]
STEPS: Steps = (
    ("decide", 0),
    ("nest", 20),
    ("decide", 20),
    ("nest", 60),
    ("decide", 60),
    ("nest", 200),
)
"""What is done in turn, with the effort of the nests (steps of their search): a first plan soon,
then the most promising candidate nested better, and new ones that know how full stock gets."""
MOST_IDLE, MOST_IDLE_TIMED = 2, 6
"""The search ends after so many steps that made nothing better."""
ENOUGH_GAP = 0.01
"""Without a time limit the search ends here: a hundredth is less than the minutes are known by."""
MOST_TRIES = 24
"""Choices of the master that are nested until blanks fit on the stock that can be had."""
MOST_UNFIT = 2
"""Choices whose blanks did not fit that are nested again, with more effort."""
TIGHTER = 0.9
"""Where blanks did not fit, stock counts as so much less full than it was taken for."""
MOST_TURNS = 200
"""Times that the master is solved again for rows found on the way."""
MOST_LANE_TURNS = 8
GAP_PROVEN = 1e-6
"""Relative: the master rounds money down by less than this."""
FULLEST = 0.98
EMPTIEST = 0.3
LARGE_LINES = 150
"""Edges with metal from which on a job is large: what is decided or put together takes seconds."""
LARGE_EFFORT = 20
"""Least effort of a large job's nests once it has a plan: each plan put together takes seconds."""
LEAST_BETTER = 0.01
"""Money by which a large plan must be better to be put together."""
USUAL_FILL = 0.6
"""How full the stock of a large job is expected to get before any blank is nested."""


@dataclass(frozen=True)
class Parts:
    """Everything that is made once for a job before deciding."""

    job: Job
    lines: tuple[RunLine, ...]
    sheets: tuple[Sheet, ...]
    options: tuple[StretchOption, ...]
    edge_rules: dict[str, EdgeRule]
    costs: Costs
    areas: GrownAreas
    split: SplitProblem
    columns: Columns
    dropped_bound: float = math.inf
    """Least cost of a plan with a section that is not among the columns."""
    cut_by_clock: bool = False
    """Whether a clock, and so the machine's speed, had a say in which sections are the columns."""
    symmetric_pairs: tuple[tuple[int, int], ...] = ()


def problem_of(parts: Parts) -> MasterProblem:
    """Return the parts as the master sees them."""
    return master_problem_of(
        parts.job,
        parts.lines,
        parts.sheets,
        parts.options,
        parts.edge_rules,
        parts.costs,
        parts.areas,
        parts.columns.masks,
        parts.symmetric_pairs,
    )


@dataclass
class Found:
    """The best plan so far and what is proven."""

    body: Body | None = None
    nests: tuple[SheetNest, ...] = ()
    bound: float | None = None
    rounds: int = 0
    time_cut: bool = False
    stopped: bool = False
    impossible: bool = False
    short_of_stock: tuple[str, ...] = ()
    purchase_bound: Callable[[], tuple[PriceBound, ...]] = tuple
    """Proven least prices of the sheet metals' blanks in ``nests``, worked out when asked for."""
    remake: Callable[[Sequence[SheetNest]], Body] | None = None
    """Puts the same choice together with other nests of its pieces."""


@dataclass(frozen=True)
class Limits:
    """How long to go on: the guard's moment, the seed, and who may stop it."""

    deadline: float | None
    seed: int
    should_stop: Callable[[], bool]

    @property
    def until(self) -> Until:
        """When to end."""
        return Until(self.deadline, self.should_stop)


@dataclass(frozen=True)
class Unlike:
    """Splits that a plan must differ from, as edges that are joints, and by how many joints."""

    splits: tuple[frozenset[str], ...] = ()
    by: int = 1


@dataclass(frozen=True)
class Start:
    """A plan found among a few of a job's options, and what is known of nests by then."""

    found: Found
    nester: Nester


def first_plan(
    parts: Parts,
    limits: Limits,
    on_better: Callable[[Found], None],
    on_phase: Callable[[str], None],
) -> Start | None:
    """Return the first plan that these few options make; it says nothing of the bound of all."""

    def without_bound(found: Found) -> Found:
        return replace(found, bound=None, rounds=0, impossible=False)

    search = _Search(
        parts, limits, lambda found: on_better(without_bound(found)), on_phase, Unlike()
    )
    if search.large:
        search.expected = dict.fromkeys(range(len(parts.sheets)), USUAL_FILL)
    search.try_choices(0)
    found = without_bound(search.found)
    return None if found.body is None else Start(found, search.nester)


def decide(
    parts: Parts,
    limits: Limits,
    on_better: Callable[[Found], None],
    on_phase: Callable[[str], None],
    unlike: Unlike | None = None,
    start: Start | None = None,
    steps: Steps | None = None,
    enough: float = 0.0,
) -> Found:
    """Run rounds until nothing better comes, and return the best plan with the proven bound.

    ``on_better`` is called with each plan better than ``start`` (and checks it); ``steps`` are all
    that is done, where they are given; ``enough`` is the gap at which a timed search ends (an
    untimed one at ENOUGH_GAP), once its nests were searched.
    """
    search = _Search(parts, limits, on_better, on_phase, unlike or Unlike(), start)
    timed = limits.deadline is not None
    if search.expected:
        search.prove()
    idle, before = 0, math.inf
    for step, effort in _steps(timed) if steps is None else steps:
        if search.candidates and search.too_late():
            break
        idle, before = (0 if search.least() < before else idle + 1), search.least()
        if idle > (MOST_IDLE_TIMED if timed else MOST_IDLE):
            break
        if step == "decide":
            if not search.time_to_choose():
                continue
            if not search.try_choices(effort):
                break
        elif not search.candidates:
            break  # there is a plan to start from, and no time was left to choose another
        else:
            for candidate in (search.most_promising(), *search.unfit()):
                search.nest(candidate, effort)
        # what is only chosen and soon laid may cost little more, and yet more than it need
        asked = enough if timed else ENOUGH_GAP
        if _proven(search.found, asked if step == "nest" else 0.0):
            break
    return ended(search.found, limits)


def ended(found: Found, limits: Limits) -> Found:
    """Return what was found with the mark of who ended the search, if not the search itself."""
    found.stopped = limits.should_stop()
    found.time_cut |= Until(limits.deadline).over()
    return found


def _steps(timed: bool) -> Iterator[tuple[Literal["decide", "nest"], int]]:
    """Steps in turn; with a time limit they go on with ever more effort."""
    yield from STEPS
    effort = STEPS[-1][1]
    while timed:
        yield "decide", effort
        effort *= 2
        yield "nest", effort


@dataclass
class _Candidate:
    """One choice of the master with the best nests found for it so far."""

    answer: MasterAnswer
    order: RemovalOrder
    nests: tuple[SheetNest, ...] = ()
    cost: float = math.inf
    fill: dict[int, float] = field(default_factory=dict)
    avoided: bool = False
    """Whether its blanks did not fit, so that the master was asked for others."""
    for_bound: bool = False
    """Whether it was decided for the bound and not to be nested."""


class _Search:
    """The candidates of one job: decided by the master, nested ever better."""

    def __init__(
        self,
        parts: Parts,
        limits: Limits,
        on_better: Callable[[Found], None],
        on_phase: Callable[[str], None],
        unlike: Unlike,
        start: Start | None = None,
    ) -> None:
        self.parts = parts
        self.limits = limits
        self.found = Found() if start is None else start.found
        self.found.time_cut |= parts.cut_by_clock
        self.candidates: list[_Candidate] = []
        self._on_better = on_better
        self._on_phase = on_phase
        self._problem = problem_of(parts)
        self.large = sum(len(line.edges) for line in parts.lines) >= LARGE_LINES
        self.nester = (
            LargeNester(parts.job, parts.sheets, limits.seed, large=self.large)
            if start is None
            else start.nester
        )
        self.expected: dict[int, float] = {}
        """How full stock was expected to get, or was seen to, before this search."""
        if self.large and start is not None:
            self.expected = grown_fill(parts, start.found.nests)
        self._lazy = LazyRows([], [], LaneCuts(parts.job, parts.sheets, parts.options), unlike)
        self._master = master_with(self._problem, self._lazy)
        self._seconds_to_tell = self._seconds_to_decide = 0.0
        """The longest that it took to put a plan together and have it checked, and to decide."""
        self._tight: dict[int, float] = {}
        """How full the stock of sheet metals gets whose blanks did not all fit."""

    def decide(self, *, bare: bool = False) -> _Candidate | None:
        """Let the master decide, with stock as full as nests have shown; None if it has nothing.

        The first decision counts stock by bare area, and so proves the bound; ``bare`` ones too.
        """
        first = not self.candidates
        self._on_phase("deciding" if first else "deciding again")
        if bare or (first and not self.expected):
            fill: dict[int, float] = {}
        else:
            seen = {} if first else self.most_promising().fill
            fill = {**self.expected, **seen, **self._tight}
        hint = None if first else self.most_promising().answer
        began = time.monotonic()
        self._master.expect(fill)
        answer, order = choose(
            self._master,
            self.parts,
            self._lazy,
            self.limits,
            FIRST_WORK if first else LATER_WORK,
            hint,
            lane_turns=0 if self.large and fill else MOST_LANE_TURNS,
        )
        self._seconds_to_decide = max(self._seconds_to_decide, time.monotonic() - began)
        self.found.time_cut |= answer.cut_by_clock
        if first and not fill:
            # where sections were left out, it is only shown that these sections make no plan
            shown = self.parts.dropped_bound == math.inf
            self.found.impossible = shown and answer.status == "impossible"
            if answer.bound is not None:
                self.found.bound = min(answer.bound, self.parts.dropped_bound)
        if answer.cost is None or order is None:
            return None
        for known in self.candidates:
            if (known.answer.columns, known.answer.options) == (answer.columns, answer.options):
                return known
        self.found.rounds += 1
        self.candidates.append(_Candidate(answer, order))
        return self.candidates[-1]

    def prove(self) -> None:
        """Decide with stock counted by bare area, for the bound alone: it will not nest so well."""
        proof = self.decide(bare=True)
        if proof is not None:
            proof.for_bound = True

    def try_choices(self, effort: int) -> bool:
        """Let the master decide and nest what it chose, again until some plan's blanks fit.

        Return whether the master had a choice to make.
        """
        for _ in range(MOST_TRIES):
            choice = self.decide()
            hoped = self.candidates or self.expected
            if choice is None and hoped and self.found.body is None:
                choice = self.decide(bare=True)  # stock so little filled would not hold them all
            if choice is None:
                return self.found.body is not None
            have = self.found.body is not None
            self.nest(choice, max(effort, LARGE_EFFORT) if self.large and have else effort)
            if self.found.body is not None or self.limits.until.over():
                break
        return True

    def _limits_of_nests(self) -> Limits:
        """How long to nest: what is nested last is to be put together and checked in time too."""
        limits = self.limits
        if not self.large or self.found.body is None or limits.deadline is None:
            return limits
        return replace(limits, deadline=limits.deadline - self._seconds_to_tell)

    def too_late(self) -> bool:
        """Whether nothing more can come of the search."""
        return self._limits_of_nests().until.over()

    def time_to_choose(self) -> bool:
        """Whether another choice can come to a plan in time; else a nest of what is known may.

        Where a plan takes seconds to tell, nesting it takes at least as long.
        """
        left = self.limits.until.left()
        if not self.large or self.found.body is None or left is None:
            return True
        return left > self._seconds_to_decide + 2 * self._seconds_to_tell

    def most_promising(self) -> _Candidate:
        """Return the cheapest candidate; before any was nested, the last."""
        return min(reversed(self.candidates), key=lambda candidate: candidate.cost)

    def least(self) -> float:
        """Return the least cost of a plan so far."""
        return math.inf if self.found.body is None else self.found.body.cost.objective

    def unfit(self) -> list[_Candidate]:
        """Return the cheapest choices whose blanks did not fit yet, though a plan might be better.

        Their cost counts stock by area: none is worth another try where that is not below the best.
        """
        hopeful = [
            c
            for c in self.candidates
            if c.cost == math.inf and not c.for_bound and _hope(c) < self.least()
        ]
        return sorted(hopeful, key=_hope)[:MOST_UNFIT]

    def nest(self, candidate: _Candidate, effort: int) -> None:
        """Buy and nest for a candidate with this effort, and keep the plan if it is the best."""
        self._on_phase("nesting" if not candidate.nests else "nesting again")
        nests = nest_choice(
            self.parts, self.nester, candidate.answer, effort, self._limits_of_nests()
        )
        self.found.time_cut |= any(nest.bought.cut_short for nest in nests)
        candidate.fill = grown_fill(self.parts, nests) if self.large else learned_fill(nests)
        candidate.nests = tuple(nests)
        failed = [nest.sheet for nest in nests if not nest.complete]
        if failed:
            if not candidate.avoided:
                candidate.avoided = True
                self._avoid(candidate, failed)
            return
        late = self.large and self.limits.until.over()
        if self.found.body is not None and (late or self.limits.should_stop()):
            return  # a plan is at hand: putting another together would keep whoever waits
        if self.large and self.parts.job.goal.waste_per_kg == 0:
            # putting a large plan together takes seconds: only where it is better
            candidate.cost = self._cost_with(candidate.answer, nests)
            if candidate.cost > self.least() - LEAST_BETTER:
                return
        began = time.monotonic()
        body = body_of(self.parts, candidate.answer, candidate.order, nests)
        candidate.cost = body.cost.objective
        best = self.found.body
        if best is None or candidate.cost < best.cost.objective - 1e-9:
            self.found.body = body
            self.found.nests = candidate.nests
            self.found.purchase_bound = partial(self.nester.bounds, candidate.nests)
            self.found.remake = partial(body_of, self.parts, candidate.answer, candidate.order)
            self._on_better(self.found)
        self._seconds_to_tell = max(self._seconds_to_tell, time.monotonic() - began)

    def _cost_with(self, answer: MasterAnswer, nests: Sequence[SheetNest]) -> float:
        """Cost of a choice with the stock that its nests take in place of what it hoped for."""
        assert answer.cost is not None
        hoped = sum(
            count * kind.price
            for count, kind in zip(answer.bought, self._problem.stock, strict=True)
        )
        taken = self.parts.job.goal.metal * sum(nest.bought.price for nest in nests)
        return answer.cost - hoped + taken

    def _avoid(self, candidate: _Candidate, failed: Sequence[int]) -> None:
        """Choose other pieces for sheet metals whose blanks did not fit, and fewer of them."""
        self.found.short_of_stock = tuple(self.parts.sheets[i].metal.label for i in failed)
        for sheet in failed:
            fill = self._tight.get(sheet, candidate.fill.get(sheet, 1.0))
            self._tight[sheet] = max(EMPTIEST, fill * TIGHTER)
            chosen = [i for i in candidate.answer.options if self.parts.options[i].sheet == sheet]
            self._lazy.failed.append(chosen)
            self._master.forbid_together(chosen)


def _hope(candidate: _Candidate) -> float:
    cost = candidate.answer.cost
    return math.inf if cost is None else cost


@dataclass(frozen=True)
class LazyRows:
    """Rows found on the way: orders of removal that are impossible, lanes; and other splits.

    ``failed`` are options whose blanks were not brought onto the stock together.
    """

    order: list[tuple[list[int], int]]
    lanes: list[LaneRow]
    cuts: LaneCuts
    unlike: Unlike
    failed: list[list[int]] = field(default_factory=list)


def master_with(
    problem: MasterProblem, lazy: LazyRows, fill: Mapping[int, float] | None = None
) -> Master:
    """Return the master of a problem with the rows found so far."""
    master = Master(problem, fill)
    for columns, most in lazy.order:
        master.forbid_sections(columns, most)
    for lanes in lazy.lanes:
        master.add_lane_row(lanes)
    for options in lazy.failed:
        master.forbid_together(options)
    place = {edge.id: i for i, edge in enumerate(problem.edges)}
    for split in lazy.unlike.splits:
        master.differ([place[edge] for edge in sorted(split)], lazy.unlike.by)
    return master


def choose(
    master: Master,
    parts: Parts,
    lazy: LazyRows,
    limits: Limits,
    work: float,
    hint: MasterAnswer | None,
    lane_turns: int = MOST_LANE_TURNS,
) -> tuple[MasterAnswer, RemovalOrder | None]:
    """Solve the master until its sections come off and its lanes hold, adding rows for both.

    ``master`` is one with the ``lazy`` rows; ``lane_turns``: times that lanes are looked at.
    """
    for turn in range(MOST_TURNS):
        answer = master.solve(
            work=work,
            seconds=limits.until.left(),
            seed=limits.seed,
            hint=hint,
            should_stop=limits.should_stop,
        )
        if answer.cost is None:
            return answer, None
        order = removal_or_cut(parts.split, sections_of_columns(parts.columns, answer.columns))
        last = turn == MOST_TURNS - 1 or limits.until.over()
        broken = [] if last or turn >= lane_turns else lazy.cuts.broken_by(answer)
        if isinstance(order, RemovalOrder) and not broken:
            return answer, order
        for lanes in broken:
            lazy.lanes.append(lanes)
            master.add_lane_row(lanes)
        if isinstance(order, RemovalOrder):
            hint = answer
            continue
        row = _order_row(order, parts.columns)
        lazy.order.append(row)
        master.forbid_sections(*row)
        hint = None
        if last:
            break
    return replace(answer, status="unknown", cost=None), None


def _order_row(cut: RemovalCut, columns: Columns) -> tuple[list[int], int]:
    """Return the columns of a cut (one that meets two certificates counts twice) and their most."""
    lists = columns_matching(cut, columns)
    return [column for matched in lists for column in matched], len(lists) - 1


def nest_choice(
    parts: Parts, nester: Nester, answer: MasterAnswer, effort: int, limits: Limits
) -> list[SheetNest]:
    """Return the nests of what the master chose, sheet metal by sheet metal."""
    items = stock_order(parts.sheets)
    hoped = {
        parts.job.stock[item].id: count
        for item, count in zip(items, answer.bought, strict=True)
        if count
    }
    chosen = [parts.options[i] for i in answer.options]
    pieces_of: dict[int, list[PieceOption]] = {}
    for option in chosen:
        pieces_of.setdefault(option.sheet, []).extend(option.pieces)
    nests: dict[int, SheetNest] = {}
    # few blanks are soon laid: where time runs out, it does so over the many
    for sheet, pieces in sorted(pieces_of.items(), key=lambda part: (len(part[1]), part[0])):
        mine = {parts.job.stock[i].id for i in parts.sheets[sheet].items}
        start = {stock: count for stock, count in hoped.items() if stock in mine}
        nests[sheet] = nester.nest(sheet, pieces, start, effort, limits.until)
    return [nests[sheet] for sheet in sorted(nests)]


def body_of(
    parts: Parts, answer: MasterAnswer, order: RemovalOrder, nests: Sequence[SheetNest]
) -> Body:
    """Return the plan's body of what the master chose, with its nests."""
    groups = sections_of_columns(parts.columns, answer.columns)
    return assemble(
        parts.job,
        parts.lines,
        parts.sheets,
        [parts.options[i] for i in answer.options],
        planned_sections(parts.job, parts.split, groups, order),
        parts.costs.bolts,
        nests,
    )


def _proven(found: Found, gap: float) -> bool:
    if found.body is None or found.bound is None:
        return False
    best = found.body.cost.objective
    return best - found.bound <= max(gap, GAP_PROVEN) * max(1.0, abs(best))


def grown_fill(parts: Parts, nests: Sequence[SheetNest]) -> dict[int, float]:
    """How full the stock of each metal gets, by the areas that the master counts."""
    item_of = {stock.id: i for i, stock in enumerate(parts.job.stock)}
    fill = {}
    for nest in nests:
        room = sum(
            capacity_mm2(parts.job, item_of[unit.stock_id]) for unit in nest.bought.layout.units
        )
        if room:
            area = sum(
                parts.areas.get((nest.sheet, piece.key), piece.blank.area_mm2)
                for piece in nest.pieces
            )
            fill[nest.sheet] = min(FULLEST, max(EMPTIEST, area / room))
    return fill


def learned_fill(nests: Sequence[SheetNest]) -> dict[int, float]:
    """How full the stock of each metal gets: area of blanks over area of the units used."""
    fill = {}
    for nest in nests:
        stock = {s.id: s for s in nest.stocks}
        area = sum(
            stock[u.stock_id].length_mm * stock[u.stock_id].width_mm
            for u in nest.bought.layout.units
        )
        if area:
            blanks = sum(piece.blank.area_mm2 for piece in nest.pieces)
            fill[nest.sheet] = min(FULLEST, max(EMPTIEST, blanks / area))
    return fill
