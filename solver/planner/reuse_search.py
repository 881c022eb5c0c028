"""Rounds of deciding and nesting with what is there: as `rounds`, with pieces at hand besides."""

from __future__ import annotations

import math
import time
from collections import defaultdict
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import partial

from solver.data.job import FOOT_MM, Job
from solver.data.plan import Plan
from solver.data.until import Until
from solver.models.master import LaneRow, Master, MasterAnswer, MasterProblem, Reuse
from solver.models.removal import (
    RemovalOrder,
    columns_matching,
    removal_or_cut,
    sections_of_columns,
)
from solver.nests.shapes import PriceBound
from solver.planner.assemble import assemble
from solver.planner.labor import labor_cost
from solver.planner.lane_cuts import LaneCuts
from solver.planner.master_of import stock_order
from solver.planner.reuse_body import Chosen, RerunBody, named, rerun_body, to_cut
from solver.planner.reuse_nests import RestNester, SheetCut
from solver.planner.reuse_pool import Matcher, Pool, Use, labor_saving
from solver.planner.reuse_sections import built_flange_mm
from solver.planner.reuse_seed import seed_of
from solver.planner.reuse_stock import AtHand, Counted
from solver.planner.rounds import (
    EMPTIEST,
    ENOUGH_GAP,
    FIRST_WORK,
    FULLEST,
    GAP_PROVEN,
    LATER_WORK,
    MOST_LANE_TURNS,
    MOST_TURNS,
    STEPS,
    TIGHTER,
    Found,
    Limits,
    Parts,
    problem_of,
)
from solver.planner.sections_of import planned_sections

BETTER = 1e-6
FIRST_SECONDS = 5.0
"""Time for a first plan, whatever the limit: without one there is nothing to show."""
FRESH_WORK = 2.0
FRESH_SECONDS = 1.0
"""Work and time to show that a fresh plan costs no less; it is mostly seen at once."""
STAYS = 1e-5
"""Money that leaving a piece where it is seems to save: next to nothing, and never too much for a
bound."""


@dataclass(frozen=True)
class Situation:
    """What is asked and what is there."""

    job: Job
    """The new job with what is on hand."""
    plan: Plan
    """The old plan."""
    counted: Counted
    there: AtHand
    pool: Pool
    """Pieces that are there."""
    before: Pool
    """All pieces of the old plan, cut or not."""
    built: tuple[tuple[str, ...], ...]
    change_price: float
    scenario_on_hand: Mapping[str, int]
    done: frozenset[str]
    """Pieces of the old plan that are cut, spoiled ones too."""


@dataclass
class Best:
    """The best rerun so far."""

    made: RerunBody | None = None
    found: Found = field(default_factory=Found)
    fresh_cost: float | None = None
    """Shown: no plan of the same built sections that ignores what is there costs less than this."""
    same: bool = False
    """Whether it is the old plan as it stands."""


@dataclass
class _Candidate:
    answer: MasterAnswer
    order: RemovalOrder
    cost: float = math.inf
    fill: dict[int, float] = field(default_factory=dict)
    cuts: tuple[SheetCut, ...] = ()


@dataclass(frozen=True)
class _Dear:
    """What was found that blanks of one sheet metal cost, cut together."""

    options: tuple[int, ...]
    reuses: tuple[int, ...]
    """Uses by which fewer would be cut."""
    stock: tuple[int, ...]
    price: float


class Search:
    """The candidates of one rerun."""

    def __init__(
        self,
        parts: Parts,
        situation: Situation,
        limits: Limits,
        on_better: Callable[[Best], None],
        on_phase: Callable[[str], None],
    ) -> None:
        self.parts, self.situation, self.limits = parts, situation, limits
        self.best = Best()
        self.best.found.time_cut = parts.cut_by_clock
        self._on_better, self._on_phase = on_better, on_phase
        matcher = Matcher(parts.job, parts.lines, parts.sheets, situation.pool)
        self.before = Matcher(parts.job, parts.lines, parts.sheets, situation.before)
        matcher.know_fitting(parts.options)
        self.uses: list[Use] = []
        reuses: list[Reuse] = []
        for index, option in enumerate(parts.options):
            for number in range(len(option.pieces)):
                for use in matcher.uses(option, number):
                    self.uses.append(use)
                    reuses.append(
                        Reuse(index, number, use.existing, self._saving(use), use.needs_template)
                    )
        self.flange_mm = built_flange_mm(situation.job, situation.built)
        self.problem = self._problem(tuple(reuses))
        self._reuses_of: dict[tuple[int, int], list[int]] = defaultdict(list)
        for number, reuse in enumerate(reuses):
            self._reuses_of[reuse.option, reuse.piece].append(number)
        self._cuts = LaneCuts(parts.job, parts.sheets, parts.options, reuses)
        self._order_rows: list[tuple[list[int], int]] = []
        self._lanes: list[LaneRow] = []
        self._failed: list[list[int]] = []
        self._tight: dict[int, float] = {}
        self._dear: list[_Dear] = []
        self.candidates: list[_Candidate] = []
        self.nester = RestNester(
            situation.job, parts.sheets, situation.counted, situation.there, situation.plan,
            situation.done, limits.seed,
        )  # fmt: skip

    # -- the problem -------------------------------------------------------------------------------

    def _saving(self, use: Use) -> float:
        saved = labor_saving(self.situation.job, use.saved_minutes)
        stays = use.stays and self.situation.pool.pieces[use.existing].fitted
        # of two ways that cost the same, the one in which pieces stay
        return saved + (self.situation.change_price if stays else 0.0) + STAYS * use.stays

    def _problem(self, reuses: tuple[Reuse, ...]) -> MasterProblem:
        problem, job, count = problem_of(self.parts), self.situation.job, self.situation.counted
        stock = tuple(
            replace(
                kind,
                capacity_mm2=count.capacity_mm2.get(
                    self.parts.job.stock[item].id, kind.capacity_mm2
                ),
            )
            for item, kind in zip(stock_order(self.parts.sheets), problem.stock, strict=True)
        )
        fitted = sum(one.fitted for one in self.situation.pool.pieces)
        feet = self.flange_mm / FOOT_MM
        minutes = feet * job.shop.minutes.mold_flange_per_foot
        spent = job.goal.labor * labor_cost(job, minutes)
        spent += job.goal.joints * feet * job.shop.prices.mold_flange_per_foot
        constant = problem.constant_cost + self.situation.change_price * fitted - spent
        return replace(problem, stock=stock, reuses=reuses, constant_cost=constant)

    def most_spared(self) -> float:
        """Most that pieces at hand can save in any plan, their metal included."""
        job = self.situation.job
        saved: dict[int, float] = {}
        for reuse in self.problem.reuses:
            saved[reuse.existing] = max(saved.get(reuse.existing, 0.0), reuse.saving)
        dear = max(
            (item.price / (item.length_mm * item.width_mm) for item in job.stock), default=0.0
        )
        area = sum(one.piece.blank.area_mm2 for one in self.situation.pool.pieces)
        return sum(saved.values()) + job.goal.metal * dear * area * 2

    # -- deciding ----------------------------------------------------------------------------------

    def run(self, *, unchanged: bool) -> Best:
        """Find the best rerun; where nothing changed, the old plan as it stands."""
        seed = self._old_choice()
        if seed is not None:
            order = self._order_of(seed.columns)
            if order is not None:
                self.candidates.append(_Candidate(seed, order))
                self.nest(self.candidates[-1], 20)
                if unchanged and self.best.made is not None:
                    self.best.same = True
                    self._bound_only(seed)
                    return self.best
        hint = seed or self._seed()
        if seed is None and hint is not None and not self._clashes(hint):
            order = self._order_of(hint.columns)
            if order is not None and self._counts(hint):
                self.candidates.append(_Candidate(hint, order))
                self.nest(self.candidates[-1], 20)
        compared = False
        for step, effort in STEPS:
            if self.best.made is not None and self.limits.until.over():
                break
            if step == "nest":
                if self.candidates:
                    self.nest(self.most_promising(), effort)
            elif not self._decide_and_nest(effort, hint):
                break
            if not compared and self.best.made is not None:
                compared = True
                self.against_fresh()
            if self._proven(0.0 if self.limits.deadline is not None else ENOUGH_GAP):
                break
        return self.best

    def _decide_and_nest(self, effort: int, hint: MasterAnswer | None) -> bool:
        for _ in range(24):
            choice = self.decide(hint)
            if choice is None:
                return self.best.made is not None
            self.nest(choice, effort)
            if self.best.made is not None or self.limits.until.over():
                return True
        return True

    def most_promising(self) -> _Candidate:
        """Return the cheapest candidate; before any was nested, the last."""
        return min(reversed(self.candidates), key=lambda candidate: candidate.cost)

    def decide(self, hint: MasterAnswer | None) -> _Candidate | None:
        """Let the master decide; the first time without counting on how full stock gets."""
        first = self.best.found.bound is None
        self._on_phase("deciding" if first else "deciding again")
        known = self.most_promising() if self.candidates and not first else None
        fill = {} if known is None else {**known.fill, **self._tight}
        if known is not None and self._dear:
            # first only what was found to be dear is held dear, then all stock as full as it gets
            answer, order = self._choose({}, LATER_WORK, known.answer, learnt=True)
            if answer.cost is not None and order is not None and self._known(answer) is None:
                return self._added(answer, order)
            if self.limits.until.over():
                return None
        answer, order = self._choose(
            fill,
            FIRST_WORK if first else LATER_WORK,
            known.answer if known else hint,
            learnt=not first,
        )
        found = self.best.found
        found.time_cut |= answer.cut_by_clock
        if first:
            found.impossible = (
                answer.status == "impossible" and self.parts.dropped_bound == math.inf
            )
            self._take_bound(answer.bound)
        if answer.cost is None or order is None:
            return None
        return self._known(answer) or self._added(answer, order)

    def _known(self, answer: MasterAnswer) -> _Candidate | None:
        for candidate in self.candidates:
            old = candidate.answer
            if (old.columns, old.options, old.reused) == (
                answer.columns,
                answer.options,
                answer.reused,
            ):
                return candidate
        return None

    def _added(self, answer: MasterAnswer, order: RemovalOrder) -> _Candidate:
        self.best.found.rounds += 1
        self.best.found.time_cut |= answer.cut_by_clock
        self.candidates.append(_Candidate(answer, order))
        return self.candidates[-1]

    def _take_bound(self, bound: float | None) -> None:
        if bound is None:
            return
        if self.parts.dropped_bound < math.inf:
            dropped = self.parts.dropped_bound - self.most_spared()
            bound = min(bound, dropped)
        self.best.found.bound = max(0.0, bound)

    def _bound_only(self, seed: MasterAnswer) -> None:
        """Prove what can be proven of the old plan in little time."""
        self._on_phase("deciding")
        answer, _ = self._choose({}, FRESH_WORK, seed)
        self._take_bound(answer.bound)
        cost = self.best.made.body.cost.objective if self.best.made else math.inf
        if self.best.found.bound is not None:
            self.best.found.bound = min(self.best.found.bound, cost)

    def _master(self, problem: MasterProblem, fill: Mapping[int, float]) -> Master:
        master = Master(problem, fill)
        for columns, most in self._order_rows:
            master.forbid_sections(columns, most)
        return master

    def _choose(
        self,
        fill: Mapping[int, float],
        work: float,
        hint: MasterAnswer | None,
        *,
        learnt: bool = False,
    ) -> tuple[MasterAnswer, RemovalOrder | None]:
        master = self._master(self.problem, fill)
        for row in self._lanes:
            master.add_lane_row(row)
        for options in self._failed if learnt else ():
            master.forbid_together(options)
        for dear in self._dear if learnt else ():
            master.costs_together(dear.options, dear.reuses, dear.stock, dear.price)
        for turn in range(MOST_TURNS):
            answer = master.solve(
                work=work,
                seconds=self._until().left(),
                seed=self.limits.seed,
                hint=hint,
                should_stop=self.limits.should_stop,
            )
            if answer.cost is None:
                return answer, None
            groups = sections_of_columns(self.parts.columns, answer.columns)
            order = removal_or_cut(self.parts.split, groups)
            last = turn == MOST_TURNS - 1 or self.limits.until.over()
            broken = [] if last or turn >= MOST_LANE_TURNS else self._cuts.broken_by(answer)
            if isinstance(order, RemovalOrder) and not broken:
                return answer, order
            for row in broken:
                self._lanes.append(row)
                master.add_lane_row(row)
            if isinstance(order, RemovalOrder):
                hint = answer
                continue
            lists = columns_matching(order, self.parts.columns)
            forbidden = [column for matched in lists for column in matched], len(lists) - 1
            self._order_rows.append(forbidden)
            master.forbid_sections(*forbidden)
            hint = None
            if last:
                break
        return replace(answer, status="unknown", cost=None), None

    def _order_of(self, columns: Sequence[int]) -> RemovalOrder | None:
        groups = sections_of_columns(self.parts.columns, columns)
        order = removal_or_cut(self.parts.split, groups)
        return order if isinstance(order, RemovalOrder) else None

    def _proven(self, gap: float) -> bool:
        made, bound = self.best.made, self.best.found.bound
        if made is None or bound is None:
            return False
        cost = made.body.cost.objective
        return cost - bound <= max(gap, GAP_PROVEN) * max(1.0, abs(cost))

    def _counts(self, answer: MasterAnswer) -> bool:
        """Whether a choice has as many sections as the rules allow, joints as they ask."""
        problem = self.problem
        count = len(answer.columns)
        most = problem.most_sections
        if count < problem.fewest_sections or (most is not None and count > most):
            return False
        masks = [problem.columns[c] for c in answer.columns]
        for edge in problem.edges:
            both = (1 << edge.first) | (1 << edge.second)
            joint = not any(mask & both == both for mask in masks)
            if (edge.split == "required" and not joint) or (edge.split == "forbidden" and joint):
                return False
        return not (problem.symmetric_pairs or problem.symmetric_groups)

    # -- nesting -----------------------------------------------------------------------------------

    def nest(self, candidate: _Candidate, effort: int) -> None:
        """Nest what a candidate cuts from stock, and keep the plan if it is the best."""
        self._on_phase("nesting" if not candidate.cuts else "nesting again")
        chosen = self.chosen(candidate.answer)
        hoped = self._hoped(candidate.answer)
        cuts = tuple(
            self.nester.nest(sheet, pieces, hoped, effort, self._until())
            for sheet, pieces in to_cut(chosen).items()
        )
        candidate.cuts = cuts
        self.best.found.time_cut |= any(cut.cut_short for cut in cuts)
        candidate.fill = {
            cut.sheet: min(FULLEST, max(EMPTIEST, cut.fill)) for cut in cuts if cut.fill
        }
        for cut in cuts:
            if cut.complete and cut.price > BETTER:
                self._learn_price(candidate.answer, cut)
        failed = [cut.sheet for cut in cuts if not cut.complete]
        if failed:
            self._avoid(candidate, failed)
            return
        if self.best.made is not None and self.limits.until.over():
            return
        made = self._body(candidate, chosen, cuts)
        candidate.cost = made.body.cost.objective
        if self.best.made is None or candidate.cost < self.best.made.body.cost.objective - BETTER:
            self.best.made = made
            self.best.found.body = made.body
            self.best.found.purchase_bound = partial(self._purchase_bounds, cuts)
            self._on_better(self.best)

    def _until(self) -> Until:
        """When to end: not before there is a plan, for some seconds."""
        until = self.limits.until
        if self.best.made is not None or until.moment is None:
            return until
        return Until(max(until.moment, time.monotonic() + FIRST_SECONDS), until.asked)

    def _learn_price(self, answer: MasterAnswer, cut: SheetCut) -> None:
        """Keep what the blanks of one sheet metal were found to cost together."""
        used = {
            (self.problem.reuses[i].option, self.problem.reuses[i].piece) for i in answer.reused
        }
        options, fewer = [], []
        for index in answer.options:
            option = self.problem.options[index]
            to_cut = [n for n in range(len(option.needs)) if (index, n) not in used]
            if option.sheet == cut.sheet and to_cut:
                options.append(index)
                fewer += [i for n in to_cut for i in self._reuses_of.get((index, n), ())]
        stock = [k for k, kind in enumerate(self.problem.stock) if kind.sheet == cut.sheet]
        price = self.situation.job.goal.metal * cut.price
        known = [d for d in self._dear if d.options == tuple(options)]
        if not known or price < known[0].price:
            self._dear = [d for d in self._dear if d not in known]
            self._dear.append(_Dear(tuple(options), tuple(fewer), tuple(stock), price))

    def _avoid(self, candidate: _Candidate, failed: Sequence[int]) -> None:
        sheets = self.parts.sheets
        self.best.found.short_of_stock = tuple(sheets[i].metal.label for i in failed)
        for sheet in failed:
            fill = self._tight.get(sheet, candidate.fill.get(sheet, 1.0))
            self._tight[sheet] = max(EMPTIEST, fill * TIGHTER)
            self._failed.append(
                [i for i in candidate.answer.options if self.parts.options[i].sheet == sheet]
            )

    def _purchase_bounds(self, cuts: Sequence[SheetCut]) -> tuple[PriceBound, ...]:
        return tuple(self.nester.bound(cut) for cut in cuts)

    def _hoped(self, answer: MasterAnswer) -> dict[str, int]:
        items = stock_order(self.parts.sheets)
        if len(answer.bought) != len(items):
            return {}
        return {
            self.parts.job.stock[item].id: count
            for item, count in zip(items, answer.bought, strict=True)
            if count
        }

    def chosen(self, answer: MasterAnswer) -> tuple[Chosen, ...]:
        """Return the pieces of an answer with their ids and sources."""
        place = {index: at for at, index in enumerate(answer.options)}
        uses = {
            (place[self.problem.reuses[i].option], self.problem.reuses[i].piece): self.uses[i]
            for i in answer.reused
        }
        options = [self.parts.options[i] for i in answer.options]
        return named(
            self.parts.lines,
            options,
            uses,
            self.situation.plan,
            self.before,
            [one.piece.id for one in self.situation.pool.pieces],
        )

    def _body(
        self, candidate: _Candidate, chosen: Sequence[Chosen], cuts: Sequence[SheetCut]
    ) -> RerunBody:
        parts, situation = self.parts, self.situation
        groups = sections_of_columns(parts.columns, candidate.answer.columns)
        whole = assemble(
            situation.job,
            parts.lines,
            parts.sheets,
            [parts.options[i] for i in candidate.answer.options],
            planned_sections(situation.job, parts.split, groups, candidate.order),
            parts.costs.bolts,
            [],
        )
        return rerun_body(
            situation.job,
            parts.lines,
            parts.sheets,
            whole,
            chosen,
            cuts,
            situation.pool.pieces,
            self.flange_mm,
            situation.change_price,
            [rest.id for rest in situation.there.rests]
            + [nest.id for nest in situation.plan.nests],
        )

    # -- the old plan ------------------------------------------------------------------------------

    def _old_choice(self) -> MasterAnswer | None:
        """Return the old plan as a choice of the master, if it still is one."""
        columns = self._old_columns()
        patches = sum(len(self.parts.columns.members(column)) for column in columns)
        if patches != len(self.situation.job.patches):
            return None
        options = self._old_options()
        if options is None:
            return None
        return self._with_stays(MasterAnswer("feasible", 0.0, None, columns, options))

    def _old_options(self) -> tuple[int, ...] | None:
        """Return options whose pieces are all the old plan's and cover every line."""
        by_start: dict[tuple[int, int], list[tuple[int, int]]] = {}
        for index, option in enumerate(self.parts.options):
            names = [self.before.same(option, i) for i in range(len(option.pieces))]
            if all(name is not None for name in names):
                by_start.setdefault((option.run, option.first), []).append((option.count, index))
        chosen: list[int] = []
        for run, line in enumerate(self.parts.lines):
            total = len(line.edges)
            starts = range(total) if line.run.closed else (0,)
            cover = next((c for s in starts if (c := _cover(by_start, run, s, total))), None)
            if cover is None:
                return None
            chosen += cover
        return tuple(sorted(chosen))

    def _with_stays(self, answer: MasterAnswer) -> MasterAnswer:
        """Add to a choice the pieces that stay where they are."""
        chosen, used = set(answer.options), set[int]()
        reused = []
        for index, (reuse, use) in enumerate(zip(self.problem.reuses, self.uses, strict=True)):
            if use.stays and reuse.option in chosen and reuse.existing not in used:
                used.add(reuse.existing)
                reused.append(index)
        return replace(answer, reused=tuple(reused))

    def _old_columns(self) -> tuple[int, ...]:
        """Return the old sections that are among the columns."""
        place = {mask: i for i, mask in enumerate(self.parts.columns.masks)}
        index = {patch.id: i for i, patch in enumerate(self.situation.job.patches)}
        masks = [
            sum(1 << index[p] for p in section.patches if p in index)
            for section in self.situation.plan.sections
        ]
        return tuple(place[mask] for mask in masks if mask in place)

    def _seed(self) -> MasterAnswer | None:
        """Return a choice that changes as little as may be: the old sections, old seams."""
        columns = self._old_columns()
        covered = 0
        for column in columns:
            covered |= self.parts.columns.masks[column]
        if covered != (1 << len(self.situation.job.patches)) - 1:
            return None
        alike = {
            (index, number)
            for index, option in enumerate(self.parts.options)
            for number in range(len(option.pieces))
            if self.before.same(option, number) is not None
        }
        return seed_of(self.problem, self.parts.options, self.parts.lines, columns, alike)

    def _clashes(self, answer: MasterAnswer) -> bool:
        """Whether a choice breaks a rule between options: seams at marks, stays of one piece."""
        chosen = set(answer.options)
        if any(len(chosen & set(clash)) > 1 for clash in self.problem.clashes):
            return True
        served = [self.problem.reuses[i].existing for i in answer.reused]
        return len(served) != len(set(served))

    # -- against a fresh plan ----------------------------------------------------------------------

    def against_fresh(self) -> None:
        """Prove that no plan that ignores what is there costs less, or make use of that plan.

        Such a plan has the same built sections; it buys as if nothing had been bought or cut, and
        takes off what is fitted.
        """
        made = self.best.made
        if made is None or not (self.problem.reuses or self.situation.there.rests):
            return
        self._on_phase("comparing with a fresh plan")
        cost = made.body.cost.objective
        names = [self.parts.job.stock[item].id for item in stock_order(self.parts.sheets)]
        stock = tuple(
            replace(kind, on_hand=self.situation.scenario_on_hand.get(name, 0))
            for name, kind in zip(names, self.problem.stock, strict=True)
        )
        master = self._master(replace(self.problem, reuses=(), stock=stock), {})
        master.cheaper_than(cost)
        left = self.limits.until.left()
        answer = master.solve(
            work=FRESH_WORK,
            seconds=None if left is None else max(FRESH_SECONDS, left),
            seed=self.limits.seed,
            should_stop=self.limits.should_stop,
        )
        if answer.status == "impossible" and self.parts.dropped_bound >= cost:
            self.best.fresh_cost = cost
        order = self._order_of(answer.columns) if answer.cost is not None else None
        if order is not None:
            candidate = _Candidate(self._with_stays(answer), order)
            self.candidates.append(candidate)
            self.nest(candidate, 20)


def _cover(
    by_start: Mapping[tuple[int, int], list[tuple[int, int]]], run: int, start: int, total: int
) -> list[int] | None:
    """Return options that cover a run from a start, each as short as there is."""
    at, found = 0, []
    while at < total:
        here = sorted(by_start.get((run, (start + at) % total), []))
        here = [(count, index) for count, index in here if at + count <= total]
        if not here:
            return None
        at += here[0][0]
        found.append(here[0][1])
    return found
