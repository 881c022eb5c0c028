"""The main job: from a resolved job to a checked plan, or to the reason why there is none."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass, replace

from solver.checker import check_plan
from solver.data.job import Job
from solver.data.plan import LeftOut, Plan, Progress
from solver.nests.ready import get_ready
from solver.planner.explain_purchase import explain_purchase
from solver.planner.impossible import plain_reasons, why_impossible
from solver.planner.options import Refusals
from solver.planner.options_apart import options_apart
from solver.planner.piece_options import PieceMaker
from solver.planner.prepare import prepare, prepare_few
from solver.planner.rounds import Found, Limits, Parts, Start, decide, ended, first_plan
from solver.planner.write_plan import (
    Request,
    gap_of,
    impossible,
    no_answer,
    plan_of,
    request_of,
)

PLAN_SHARE = 0.5
"""Of a time limit, for the plan, where its purchase is to be explained in the rest."""
SPARE_SECONDS = 0.3
"""Kept of a time limit for putting the plan together and checking it."""
SPARE_SECONDS_PER_EDGE, EDGES_FOR_SPARE = 0.018, 100
"""Kept besides for each edge of a large job beyond so many."""

OnProgress = Callable[[Progress], None]
ShouldStop = Callable[[], bool]


class PlanRejectedError(RuntimeError):
    """The checker refused a plan that the planner made: a fault of the program, never shown."""

    def __init__(self, faults: tuple[str, ...]) -> None:
        super().__init__("the checker refused the plan: " + "; ".join(faults[:5]))
        self.faults = faults


def plan_job(
    job: Job,
    *,
    seconds: float | None = None,
    seed: int = 0,
    on_progress: OnProgress | None = None,
    should_stop: ShouldStop | None = None,
    explain: bool = False,
) -> Plan:
    """Plan a job: split, mountings, metals, pieces, purchase and nests, with a proven bound.

    Without ``seconds`` the work is counted in steps, so the same job, seed and version give the
    same plan on any machine; a time limit only cuts that short, and the plan says so.
    ``should_stop`` is asked often; the best plan so far is then returned.  With ``explain`` the
    plan also says what it would cost without each metal and width that it buys; that takes a part
    of the time.

    Raises PlanRejectedError if the checker refuses the result.
    """
    watch = Watch(on_progress)
    until_all = Limits(watch.deadline(seconds, job), seed, should_stop or (lambda: False))
    share = PLAN_SHARE if explain else 1.0
    deadline = None if seconds is None else watch.deadline(share * seconds, job)
    limits = replace(until_all, deadline=deadline)
    request = request_of(job, seed, seconds)
    begun = begin(request, limits, watch)
    if isinstance(begun, Plan):
        return begun
    parts, better = begun.parts, watch.better(request)
    found = decide(parts, limits, better, watch.phase, start=begun.start)
    if found.body is None:
        return without_plan(request, found, parts, begun.refusals)
    without: tuple[LeftOut, ...] = ()
    if explain:
        found, without = explain_purchase(parts, until_all, found, better, watch.phase)
    return finished(request, found, parts, watch, without)


@dataclass(frozen=True)
class Begun:
    """A job with its parts, why some edges lack options, and a first plan if there was one."""

    parts: Parts
    refusals: Refusals
    start: Start | None


def begin(request: Request, limits: Limits, watch: Watch) -> Begun | Plan:
    """Return what a search begins with, or the answer where it ends before all is listed."""
    job = request.job
    watch.phase("reading the job")
    reasons, also = plain_reasons(job)
    if reasons:
        return checked(impossible(request, reasons, also), job)
    with options_apart(job) as elsewhere:
        pieces = PieceMaker(job)
        soon = prepare_few(pieces, limits.until, elsewhere)
        better = watch.better(request)
        start = None if soon is None else first_plan(soon, limits, better, watch.phase)
        parts, refusals = prepare(
            job, watch.phase, limits.until, pieces=pieces, elsewhere=elsewhere
        )
    if parts is None and limits.until.over():
        # ended before all options were listed: the first plan is all there is, without a bound
        found = ended(Found() if start is None else start.found, limits)
        if soon is None or found.body is None:
            return checked(no_answer(request, found), job)
        return finished(request, found, soon, watch)
    if parts is None:
        return checked(impossible(request, *why_impossible(job, refusals, None)), job)
    return Begun(parts, refusals, start)


def without_plan(request: Request, found: Found, parts: Parts, refusals: Refusals) -> Plan:
    """Return the answer of a search that found no plan: why there is none, where that is shown."""
    job = request.job
    if found.impossible:
        reasons, also = why_impossible(job, refusals, parts)
        if reasons:
            return checked(impossible(request, reasons, also), job)
    return checked(no_answer(request, found), job)


def finished(
    request: Request,
    found: Found,
    parts: Parts,
    watch: Watch,
    without: tuple[LeftOut, ...] = (),
) -> Plan:
    """Return the plan of what was found, with all its proofs, checked."""
    watch.phase("checking")
    plan = checked(plan_of(request, found, parts, without=without), request.job)
    watch.phase("done")
    return plan


def checked(plan: Plan, job: Job) -> Plan:
    """Return the plan if the checker accepts it, and tell whoever `accepted_plans` are for.

    Raises PlanRejectedError with the checker's faults.
    """
    report = check_plan(job, plan)
    if not report.ok:
        faults = (f"{f.rule} at {f.place}: {f.sentence}" for f in report.faults)
        raise PlanRejectedError(tuple(faults))
    hear = _hearing.get()
    if hear is not None and plan.cost is not None:
        hear(plan)
    return plan


_hearing: ContextVar[Callable[[Plan], None] | None] = ContextVar("hearing", default=None)


@contextmanager
def accepted_plans(hear: Callable[[Plan], None]) -> Iterator[None]:
    """Within this, ``hear`` is told of every plan with a cost that the checker accepts.

    Each better plan is checked before its cost is told, so whoever hears has the best so far
    whatever happens next.
    """
    token = _hearing.set(hear)
    try:
        yield
    finally:
        _hearing.reset(token)


class Watch:
    """Tells how the work goes: phase, seconds, best cost, bound and gap."""

    def __init__(self, on_progress: OnProgress | None) -> None:
        """The clock runs once what is compiled is at hand."""
        self._on_progress = on_progress
        self.found = Found()
        self._began = time.monotonic()
        get_ready(lambda: self.phase("compiling the search for nests, once on this machine"))
        self._began = time.monotonic()

    def deadline(self, seconds: float | None, job: Job | None = None) -> float | None:
        """Return the moment to stop at, with time left for checking."""
        if seconds is None:
            return None
        many = 0 if job is None else max(0, len(job.edges) - EDGES_FOR_SPARE)
        spare = SPARE_SECONDS + SPARE_SECONDS_PER_EDGE * many
        return self._began + max(0.5 * seconds, seconds - spare)

    def phase(self, phase: str) -> None:
        """Tell that a phase begins."""
        if self._on_progress is None:
            return
        found = self.found
        cost = found.body.cost.objective if found.body else None
        self._on_progress(
            Progress(
                phase=phase,
                seconds=time.monotonic() - self._began,
                best=cost,
                bound=found.bound,
                gap=gap_of(cost, found.bound),
            )
        )

    def better(self, request: Request) -> Callable[[Found], None]:
        """Return what checks and tells each better plan; only checked ones count."""

        def tell(found: Found) -> None:
            checked(plan_of(request, found, None), request.job)
            self.found = found
            self.phase("better plan")

        return tell
