"""Plans that really differ in where the mold splits, each the best of its kind."""

from __future__ import annotations

from dataclasses import replace

from solver.data.job import Job
from solver.data.plan import Plan
from solver.planner.impossible import plain_reasons, why_impossible
from solver.planner.plan_job import (
    OnProgress,
    ShouldStop,
    Watch,
    checked,
    finished,
)
from solver.planner.prepare import prepare
from solver.planner.rounds import Limits, Unlike, decide
from solver.planner.write_plan import impossible, no_answer, request_of

DIFFER_BY = 4
"""Joints by which splits must differ to be worth comparing."""


def alternatives(
    job: Job,
    count: int,
    *,
    differ_by: int = DIFFER_BY,
    seconds: float | None = None,
    seed: int = 0,
    on_progress: OnProgress | None = None,
    should_stop: ShouldStop | None = None,
) -> tuple[Plan, ...]:
    """Return up to ``count`` checked plans, the cheapest first.

    Each is the best plan whose split differs by ``differ_by`` joints or more from every plan before
    it, see ``difference``.  The list is shorter when there are no more such splits; where there is
    no plan at all it holds the one that says why.  ``seconds`` is for all of them.

    Raises ValueError for a count or a difference below 1.
    """
    if count < 1 or differ_by < 1:
        raise ValueError(f"count {count} and difference {differ_by}: give 1 or more of each")
    watch = Watch(on_progress)
    stop = should_stop or (lambda: False)
    limits = Limits(watch.deadline(seconds), seed, stop)
    request = request_of(job, seed, seconds)
    watch.phase("reading the job")
    reasons, also = plain_reasons(job)
    if reasons:
        return (checked(impossible(request, reasons, also), job),)
    parts, refusals = prepare(job, watch.phase, limits.until)
    if parts is None:
        return (checked(impossible(request, *why_impossible(job, refusals, None)), job),)
    plans: list[Plan] = []
    splits: list[frozenset[str]] = []
    for number in range(count):
        if limits.until.over():
            break
        if splits:
            request = replace(request, kind=_kind(differ_by))
        share = Limits(_share(watch, seconds, number, count), seed, stop)
        unlike = Unlike(tuple(splits), differ_by)
        found = decide(parts, share, watch.better(request), watch.phase, unlike)
        if found.body is None:
            if not plans:
                reasons = ()
                if found.impossible:
                    reasons, also = why_impossible(job, refusals, parts)
                plan = impossible(request, reasons, also) if reasons else no_answer(request, found)
                plans.append(checked(plan, job))
            break
        plan = finished(request, found, parts, watch)
        plans.append(plan)
        splits.append(frozenset(edge.edge for edge in plan.edges if edge.joint))
    return tuple(sorted(plans, key=lambda plan: plan.cost.objective if plan.cost else 0.0))


def _kind(differ_by: int) -> str:
    joints = "1 joint" if differ_by == 1 else f"{differ_by} joints"
    return (
        f"splits that differ by {joints} or more from the options found before this one, left and "
        "right counting alike; of those "
    )


def difference(job: Job, joints: frozenset[str], others: frozenset[str]) -> int:
    """Return by how many joints two splits differ, left and right counting alike.

    Of a line and its mirror image only the number of joints counts.  A joint that moves to the
    other side, alone or with the whole split, costs the same and makes nothing to choose from.
    """
    total = 0
    for edge in job.edges:
        line = {edge.id, edge.twin or edge.id}
        if edge.id == min(line):
            total += abs(len(joints & line) - len(others & line))
    return total


def _share(watch: Watch, seconds: float | None, number: int, count: int) -> float | None:
    """Moment at which the plan of this number must be done: every plan gets an equal share."""
    if seconds is None:
        return None
    return watch.deadline(seconds * (number + 1) / count)
