"""The demo made again after five changes, against a fresh plan: money, pieces, seconds.

    python -m tests.benchmarks.rerun_bench --seconds 10

Seconds are those of the processor (everything runs in one thread), so that other work on the
machine counts little.  The demo is planned for 20 s.  Then the blanks of the first half of its
nests are cut (their units are bought, the others not), every third of them is fitted, and its first
section is built.  Each change is made to the scenario and planned again with that record, and from
the beginning.
"""

from __future__ import annotations

import argparse
import copy
import json
import resource
import time
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Any

from solver.checker import check_plan
from solver.checker.claims import check_claims
from solver.data.job import Job
from solver.data.plan import Plan, Progress
from solver.data.work import WorkRecord, work_of
from solver.intake import read_job, resolved_of
from solver.planner.plan_job import plan_job
from solver.planner.rerun_job import rerun_job

DEMO = Path(__file__).parents[2] / "scenarios" / "camper.json"
FIRST_PLAN_SECONDS = 20.0
FAR = 20
"""So many times the seconds may pass on a clock, on a machine with much other work."""

Scenario = dict[str, Any]
Change = Callable[[Scenario, Plan], Scenario]


def lengthened(scenario: Scenario, plan: Plan) -> Scenario:
    """The nose grows by 2 in: the straight part of its line along the rail."""
    scenario["edges"]["nose | rail-left.front"]["path"] = [
        "L2", {"up": 60, "radius": 42.98}, 12, "L1",
    ]  # fmt: skip
    return scenario


def tightened(scenario: Scenario, plan: Plan) -> Scenario:
    """The cap's curve along the rail goes from a radius of 50.59 to 48 in."""
    scenario["edges"]["cap | rail-left.front"]["path"] = ["L3", {"up": 20, "radius": 48}, "L2"]
    return scenario


def made_visible(scenario: Scenario, plan: Plan) -> Scenario:
    """The open edge under the nose shows."""
    scenario["edges"]["nose | open"] = {"path": ["L1", 52, "R1"], "visible": True}
    return scenario


def sold_out(scenario: Scenario, plan: Plan) -> Scenario:
    """The rolls that the plan buys are sold out."""
    resolved = resolved_of(read_job(scenario))
    bought = {purchase.stock for purchase in plan.purchases if purchase.buy}
    for item in resolved["stock"]:
        if item["id"] in bought and item["form"] == "roll":
            item["for_sale"] = 0
    return resolved


def door_moved(scenario: Scenario, plan: Plan) -> Scenario:
    """The middle of the door goes up by 2 in: shorter lines above, longer ones below."""
    for upper, lower in (("front", "front"), ("rear", "rear")):
        for name, change in (
            (f"door-left.upper | side-left.{upper}", -2),
            (f"door-left.lower | side-left.{lower}", 2),
        ):
            path = scenario["edges"][name]["path"]
            place = next(i for i in (1, 3) if path[i] in (21, 11))
            path[place] += change
    return scenario


CHANGES: dict[str, Change] = {
    "a section lengthened by 2 in": lengthened,
    "a curve tightened": tightened,
    "an edge made visible": made_visible,
    "a roll sold out": sold_out,
    "a door's middle moved by 2 in": door_moved,
}


@dataclass
class Timed:
    """A plan, the seconds to its first checked state, and all seconds."""

    plan: Plan
    first: float
    seconds: float


def timed(make: Callable[..., Plan], seconds: float) -> Timed:
    """Make a plan within seconds of the processor, and time it."""
    first: list[float] = []
    began = time.process_time()

    def hear(progress: Progress) -> None:
        if progress.best is not None and not first:
            first.append(time.process_time() - began)

    plan = make(
        seconds=FAR * seconds,
        on_progress=hear,
        should_stop=lambda: time.process_time() - began > seconds,
    )
    return Timed(plan, first[0] if first else float("nan"), time.process_time() - began)


def begun(plan: Plan) -> WorkRecord:
    """Half of the nests cut, every third piece of them fitted, the first section built."""
    nests = plan.nests[: (len(plan.nests) + 1) // 2]
    cut = [one.piece for nest in nests for one in nest.placed]
    return WorkRecord(
        cut=tuple(cut), fitted=tuple(cut[::3]), built=tuple(s.id for s in plan.sections[:1])
    )


def row(name: str, again: Timed, fresh: Timed, old: Plan, record: WorkRecord, job: Job) -> str:
    """One line of the table."""
    plan = again.plan
    if plan.cost is None or plan.rerun is None or fresh.plan.cost is None:
        return f"| {name} | {plan.status} | {fresh.plan.status} |"
    faults = check_plan(job, plan).faults + check_claims(job, old, work_of(record, old), plan)
    assert not faults, faults
    how = Counter(source.how for source in plan.rerun.sources)
    recut = len(plan.pieces) - len(plan.rerun.sources)
    gap, fresh_gap = (
        float("nan") if p.proof.gap is None else 100 * p.proof.gap for p in (plan, fresh.plan)
    )
    change = plan.cost.total - plan.rerun.before.total if plan.rerun.before else float("nan")
    return (
        f"| {name} | {plan.cost.total:.2f} ({change:+.2f}) | {fresh.plan.cost.total:.2f} "
        f"| {plan.cost.metal:.2f}, {fresh.plan.cost.metal:.2f} "
        f"| {how['kept']} | {how['moved'] + how['trimmed']} | {recut} | {len(plan.rerun.scrapped)} "
        f"| {plan.rerun.changes} | {again.first:.1f}, {again.seconds:.1f} "
        f"| {gap:.2f} %, {fresh_gap:.2f} % | {'yes' if plan.rerun.fresh_bound else 'no'} |"
    )


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seconds", type=float, default=10.0)
    parser.add_argument("--only", default="")
    options = parser.parse_args()
    scenario = json.loads(DEMO.read_text(encoding="utf-8"))
    job = read_job(copy.deepcopy(scenario))
    old = timed(partial(plan_job, job), FIRST_PLAN_SECONDS).plan
    record = begun(old)
    print(f"old plan: {old.cost.total if old.cost else None}, {len(old.pieces)} pieces, "
          f"{len(record.cut)} cut, {len(record.fitted)} fitted")  # fmt: skip
    print("| change | to spend (change) | fresh plan | metal, fresh | kept | trimmed or moved "
          "| to cut | scrapped | fitted taken off | seconds: first, all | gap, fresh "
          "| shown not dearer |")  # fmt: skip
    print("|---" * 12 + "|")
    for name, change in CHANGES.items():
        if options.only and options.only not in name:
            continue
        job = read_job(change(copy.deepcopy(scenario), old))
        again = timed(partial(rerun_job, old, job, record), options.seconds)
        fresh = timed(partial(plan_job, job), options.seconds)
        print(row(name, again, fresh, old, record, job), flush=True)
    print(f"peak {resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024:.0f} MiB")


if __name__ == "__main__":
    main()
