"""Plans that really differ in where the mold splits, each the best of its kind."""

from __future__ import annotations

import math
import time
from collections.abc import Sequence
from dataclasses import dataclass, replace

from solver.data.job import Job
from solver.data.plan import Plan
from solver.planner.nesting import Nester
from solver.planner.plan_job import (
    OnProgress,
    ShouldStop,
    Watch,
    begin,
    checked,
    without_plan,
)
from solver.planner.rounds import (
    ENOUGH_GAP,
    GAP_PROVEN,
    Found,
    Limits,
    Parts,
    Start,
    Unlike,
    decide,
    ended,
)
from solver.planner.write_plan import (
    Request,
    gap_of,
    plan_of,
    request_of,
)

DIFFER_BY = 4
"""Joints by which splits must differ to be worth comparing."""
LEAST_SECONDS = 1.0
"""With less left of a time limit, or half of what an option took, no further one is begun."""
ENOUGH_OF_FIRST = 0.003
"""Gap at which the search for the first option makes room for the others, under a time limit."""


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
    begun = begin(request, limits, watch)
    if isinstance(begun, Plan):
        return (begun,)
    parts, start, better = begun.parts, begun.start, watch.better(request)
    nester = Nester(job, parts.sheets, seed) if start is None else start.nester
    made: list[_Option] = []
    took = math.inf
    for number in range(count):
        if made and _late(limits, took):
            break
        began = time.monotonic()
        if made:
            request = replace(request, kind=_kind(differ_by))
            better = watch.better(request)
        unlike = Unlike(tuple(one.joints for one in made), differ_by)
        share = replace(limits, deadline=_share(limits.deadline, count - number))
        onward = start if not made and start is not None else Start(Found(), nester)
        enough = ENOUGH_GAP if made else ENOUGH_OF_FIRST
        found = decide(parts, share, better, watch.phase, unlike, onward, enough=enough)
        if found.body is None:
            if not made:
                return (without_plan(request, found, parts, begun.refusals),)
            if found.impossible or seconds is None:
                break
            continue  # with more time
        took = min(took, time.monotonic() - began)
        found.purchase_bound()  # remembered for the end, when no time is left
        made.append(_Option(request, found, unlike))
        watch.phase("done")
    _use_time_left(parts, limits, made, nester, watch, took)
    watch.phase("checking")
    plans = [checked(plan_of(one.request, one.found, parts), job) for one in made]
    return tuple(sorted(plans, key=lambda plan: plan.cost.objective if plan.cost else 0.0))


@dataclass
class _Option:
    """One option as found so far, and the splits that it must differ from."""

    request: Request
    found: Found
    unlike: Unlike

    @property
    def joints(self) -> frozenset[str]:
        assert self.found.body is not None
        return frozenset(edge.edge for edge in self.found.body.edges if edge.joint)

    @property
    def gap(self) -> float:
        """What is not proven, as a share; of one without a bound, all."""
        assert self.found.body is not None
        gap = gap_of(self.found.body.cost.objective, self.found.bound)
        return 1.0 if gap is None else gap


def _use_time_left(
    parts: Parts,
    limits: Limits,
    made: Sequence[_Option],
    nester: Nester,
    watch: Watch,
    took: float,
) -> None:
    """Go on with the options whose plans are not proven, the widest gap first.

    One that others were asked to differ from keeps its joints: what is proven of them rests on it.
    """
    waiting = sorted((one for one in made if one.gap > GAP_PROVEN), key=lambda one: -one.gap)
    while limits.deadline is not None and waiting and not _late(limits, took):
        share = replace(limits, deadline=_share(limits.deadline, len(waiting)))
        one = waiting.pop(0)
        onward = Start(replace(one.found), nester)
        found = decide(parts, share, watch.better(one.request), watch.phase, one.unlike, onward)
        again = _Option(one.request, found, one.unlike)
        if again.joints == one.joints or one is made[-1]:
            one.found = found
    for one in made:
        one.found = ended(one.found, limits)


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


def _late(limits: Limits, took: float) -> bool:
    """Whether too little time is left to begin with an option; the quickest so far ``took`` this.

    An option that is begun decides and nests once, whatever the time.
    """
    left = limits.until.left()
    return limits.until.over() or (left is not None and left < max(LEAST_SECONDS, 0.5 * took))


def _share(deadline: float | None, left: int) -> float | None:
    """Moment at which the next option must be done: all that are left get the same time."""
    if deadline is None:
        return None
    now = time.monotonic()
    return now + max(0.0, deadline - now) / left
