"""Plan again with what an old plan left: pieces cut and fitted, begun rolls, built sections.

What a plan costs here is what is *still* to be spent.  The optimum counts metal, joints and labor
still to come, and a price for each fitted piece that does not stay where it is.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import partial

from solver.checker.claims import check_claims
from solver.data.job import Job
from solver.data.plan import Existing, Plan, Requirement, Rerun, SheetAtHand
from solver.data.work import NOTHING, Work, WorkRecord, work_of
from solver.planner.impossible import plain_reasons, why_impossible
from solver.planner.labor import labor_cost
from solver.planner.options import Refusals
from solver.planner.plan_job import (
    OnProgress,
    PlanRejectedError,
    ShouldStop,
    Watch,
    checked,
)
from solver.planner.prepare import prepare
from solver.planner.reuse_before import spending_before
from solver.planner.reuse_pool import existing_of, pool_of
from solver.planner.reuse_seams import given_seams, old_lines
from solver.planner.reuse_search import Best, Search, Situation
from solver.planner.reuse_sections import Built, built_of, with_built
from solver.planner.reuse_stock import at_hand, counted, job_with, listed_again, lost_metals
from solver.planner.rounds import Found, Limits, Parts
from solver.planner.symmetric import symmetric_pairs
from solver.planner.write_plan import Request, impossible, no_answer, plan_of, request_of

CHANGE_MINUTES = 15.0
"""What a change to a fitted piece is taken for where nobody says [practice]: to take it off, clean
the joint and begin again."""

KIND = (
    "pieces that are there: a new piece is offered the smallest that will do, and none is cut up "
    "that still fits its place; sections that are built, as they are; beside these "
)
"""What the bound of a rerun is about."""

SAME = (
    "nothing changed: this is the old plan, and what is still to do of it; `plan` looks for "
    "another one from the beginning"
)


def rerun_job(
    old: Plan,
    job: Job,
    record: WorkRecord = NOTHING,
    *,
    seconds: float | None = None,
    seed: int = 0,
    on_progress: OnProgress | None = None,
    should_stop: ShouldStop | None = None,
) -> Plan:
    """Return the cheapest checked plan of a job for what is there of an old plan.

    Where nothing changed the old plan comes back.  Otherwise as ``plan_job``.

    Raises ScenarioErrors where record and old plan do not go together, PlanRejectedError.
    """
    watch = Watch(on_progress)
    limits = Limits(watch.deadline(seconds), seed, should_stop or (lambda: False))
    request = replace(request_of(job, seed, seconds), kind=KIND)
    work = work_of(record, old)
    watch.phase("reading the job")
    reasons, also = plain_reasons(job)
    if reasons:
        return checked(impossible(request, reasons, also), job)
    lines = old_lines(old.pieces)
    existing = existing_of(old, work)
    lost = lost_metals(job, [one.piece for one in existing])
    base = listed_again(job, lost)
    there = at_hand(base, old, work)
    now = job_with(base, there, work)
    count = counted(now, there.rests, [one.piece for one in existing])
    built = built_of(job, old, work.built, lines)
    parts, refusals = prepare(
        count.job, watch.phase, limits.until, partial(given_seams, count.job, lines)
    )
    if parts is None:
        return checked(impossible(request, *why_impossible(job, refusals, None)), job)
    columns = with_built(parts.columns, parts.split, built)
    if columns is None:
        return checked(impossible(request, (_not_as_built(built),)), job)
    if built.masks:
        pairs = symmetric_pairs(job, columns) if job.rules.symmetric_split else ()
        parts = replace(parts, columns=columns, symmetric_pairs=pairs)
    change_price = work.change_price
    if change_price is None:
        change_price = labor_cost(job, CHANGE_MINUTES)
    everything = [Existing(piece=piece, fitted=False) for piece in old.pieces]
    situation = Situation(
        job=now,
        plan=old,
        counted=count,
        there=there,
        pool=pool_of(job, existing, lines),
        before=pool_of(job, everything, lines),
        built=tuple(section.patches for section in built.sections),
        change_price=change_price,
        scenario_on_hand={item.id: item.on_hand for item in job.stock},
        done=work.cut | work.spoiled,
    )
    frame = _Frame(request, old, work, situation, built, lost)

    def better(best: Best) -> None:
        assert best.made is not None
        frame.checked(plan_of(request, best.found, None, frame.rerun(best)))
        watch.found = best.found
        watch.phase("better plan")

    watch.phase("looking what pieces can become")
    search = Search(parts, situation, limits, better, watch.phase)
    best = search.run(unchanged=_unchanged(request, old, work))
    best.found.stopped = limits.should_stop()
    best.found.time_cut |= limits.until.over()
    if best.made is None:
        return _nothing(request, best.found, parts, refusals, built)
    watch.phase("checking")
    plan = frame.checked(plan_of(request, best.found, parts, frame.rerun(best)))
    watch.phase("done")
    return plan


def _unchanged(request: Request, old: Plan, work: Work) -> bool:
    """Whether scenario and goal are the old plan's and nothing that is there was lost."""
    return (
        request.digest == old.scenario_digest
        and request.job.goal.name == old.goal
        and not work.spoiled
        and not work.gone
    )


def _not_as_built(built: Built) -> Requirement:
    names = tuple(section.id for section in built.sections)
    return Requirement(
        rule="built sections",
        ids=names,
        sentence="a section that is built breaks a rule of the scenario as it is now (release, "
        'weight, size, pins or splits): leave it out of "built" in the record, or change the '
        "scenario",
    )


def _nothing(
    request: Request, found: Found, parts: Parts, refusals: Refusals, built: Built
) -> Plan:
    """Return why there is no plan, as far as that is known."""
    job = request.job
    if found.impossible and built.sections:
        reason = Requirement(
            rule="built sections",
            ids=tuple(section.id for section in built.sections),
            sentence="with these sections as they are built no plan keeps all rules: leave some "
            'out of "built" in the record',
        )
        return checked(impossible(request, (reason,)), job)
    if found.impossible:
        reasons, also = why_impossible(job, refusals, parts)
        if reasons:
            return checked(impossible(request, reasons, also), job)
    return checked(no_answer(request, found), job)


@dataclass(frozen=True)
class _Frame:
    """What every plan of this rerun says about what was there."""

    request: Request
    old: Plan
    work: Work
    situation: Situation
    built: Built
    lost: tuple[SheetAtHand, ...]

    def checked(self, plan: Plan) -> Plan:
        """Return the plan if the checker accepts it and its account of what was there."""
        job = self.request.job
        faults = check_claims(job, self.old, self.work, plan)
        if faults:
            raise PlanRejectedError(tuple(f"{f.rule} at {f.place}: {f.sentence}" for f in faults))
        return checked(plan, job)

    def rerun(self, best: Best) -> Rerun:
        """Return the account of what becomes of it."""
        assert best.made is not None
        there, made = self.situation.there, best.made
        return Rerun(
            old_plan=self.old.id,
            existing=self.situation.pool.pieces,
            sources=made.sources,
            scrapped=made.scrapped,
            spoiled=tuple(p.id for p in self.old.pieces if p.id in self.work.spoiled),
            on_hand=there.whole,
            rests=there.rests,
            built=self.situation.built,
            bolts_bought=self.work.bolts_bought,
            clamps_bought=self.work.clamps_bought,
            sheets=self.lost,
            change_price=self.situation.change_price,
            changes=made.changes,
            before=spending_before(self.request.job, self.old, self.work),
            fresh_bound=best.fresh_cost,
            notes=(*((SAME,) if best.same else ()), *there.notes, *self.built.notes),
        )
