"""The main job: from a resolved job to a checked plan, or to the reason why there is none."""

from __future__ import annotations

import hashlib
import importlib.metadata
import json
import time
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from pydantic import TypeAdapter

import solver
from solver.checker import check_plan
from solver.data.job import Job
from solver.data.plan import HowMade, Plan, Progress, Proof, Requirement, Status
from solver.planner.cautions import cautions_of, notes_of
from solver.planner.columns_of import sections_to_choose
from solver.planner.impossible import why_impossible
from solver.planner.master_of import costs_of
from solver.planner.nesting import Nester
from solver.planner.options import Refusals, stretch_options
from solver.planner.rounds import GAP_PROVEN, Found, Limits, Parts, decide
from solver.planner.run_lines import run_lines
from solver.planner.sheets import sheets_of
from solver.planner.split_of import edge_rules, split_problem_of
from solver.planner.surrogate import least_costs
from solver.planner.symmetric import symmetric_pairs

LIBRARIES = ("ortools", "numpy", "scipy", "shapely", "pydantic")
WITHIN_GAP = 0.03
"""A plan this near its bound is called "within gap"."""
SPARE_SECONDS = 0.3
"""Kept of a time limit for putting the plan together and checking it."""

COVERS = (
    "all legal sections, all mountings, metals and stock of the scenario; pieces of each stretch "
    "cut at the seams offered for each number of pieces; stock counted by area"
)


class PlanRejectedError(RuntimeError):
    """The checker refused a plan that the planner made: a fault of the program, never shown."""

    def __init__(self, faults: tuple[str, ...]) -> None:
        super().__init__("the checker refused the plan: " + "; ".join(faults[:5]))
        self.faults = faults


@dataclass(frozen=True)
class _Run:
    job: Job
    seed: int
    seconds: float | None
    digest: str


def plan_job(
    job: Job,
    *,
    seconds: float | None = None,
    seed: int = 0,
    on_progress: Callable[[Progress], None] | None = None,
    should_stop: Callable[[], bool] | None = None,
) -> Plan:
    """Plan a job: split, mountings, metals, pieces, purchase and nests, with a proven bound.

    Without ``seconds`` the work is counted in steps, so the same job, seed and version give the
    same plan on any machine; a time limit only cuts that short, and the plan says so.
    ``should_stop`` is asked often; the best plan so far is then returned.

    Raises PlanRejectedError if the checker refuses the result.
    """
    began = time.monotonic()
    deadline = None if seconds is None else began + max(0.1, seconds - SPARE_SECONDS)
    limits = Limits(deadline, seed, should_stop or (lambda: False))
    run = _Run(job, seed, seconds, digest_of(job))
    best: list[Found] = []

    def report(phase: str) -> None:
        if on_progress is None:
            return
        found = best[-1] if best else Found()
        cost = found.body.cost.objective if found.body else None
        gap = _gap(cost, found.bound)
        on_progress(
            Progress(
                phase=phase,
                seconds=time.monotonic() - began,
                best=cost,
                bound=found.bound,
                gap=gap,
            )
        )

    def better(found: Found) -> None:
        _checked(_plan(run, found, "stopped"), job)
        best.append(found)
        report("better plan")

    report("reading the job")
    parts, refusals = _prepare(job, report, deadline)
    if not isinstance(parts, Parts):
        return _checked(_impossible(run, why_impossible(job, refusals, None)), job)
    found = decide(parts, limits, better, report)
    if found.body is None:
        if found.impossible or (found.short_of_stock and not found.time_cut):
            reasons = why_impossible(job, refusals, parts, found.short_of_stock)
            return _checked(_impossible(run, reasons), job)
        return _checked(_nothing(run, found), job)
    report("checking")
    plan = _plan(run, found, None, parts)
    report("done")
    return _checked(plan, job)


def _prepare(
    job: Job, report: Callable[[str], None], deadline: float | None
) -> tuple[Parts | None, Refusals]:
    lines = run_lines(job)
    sheets = sheets_of(job)
    report("cutting runs into pieces")
    options, refusals = stretch_options(job, lines, sheets)
    mountings: dict[str, set[str]] = {}
    for option in options:
        run = lines[option.run].edges
        for i in range(option.count):
            edge = run[(option.first + i) % len(run)].id
            mountings.setdefault(edge, set()).add(option.mounting)
    if any(edge.id not in mountings for line in lines for edge in line.edges):
        return None, refusals
    rules = edge_rules(job, mountings)
    costs = costs_of(job)
    least = least_costs(job, lines, sheets, options, costs)
    split = split_problem_of(job, rules, least.edges, costs.section)
    report("listing sections")
    choice = sections_to_choose(split, least.constant, deadline)
    return (
        Parts(
            job=job,
            lines=lines,
            sheets=sheets,
            options=options,
            edge_rules=rules,
            costs=costs,
            split=split,
            columns=choice.columns,
            dropped_bound=choice.dropped_bound,
            symmetric_pairs=symmetric_pairs(job, choice.columns)
            if job.rules.symmetric_split
            else (),
        ),
        refusals,
    )


def digest_of(job: Job) -> str:
    """Digest of a resolved job: equal for equal scenarios, however they are written."""
    text = json.dumps(TypeAdapter(Job).dump_python(job, mode="json"), sort_keys=True)
    return hashlib.sha256(text.encode()).hexdigest()[:16]


def _gap(cost: float | None, bound: float | None) -> float | None:
    if cost is None or bound is None or cost <= 0:
        return None
    return max(0.0, (cost - bound) / cost)


def _checked(plan: Plan, job: Job) -> Plan:
    report = check_plan(job, plan)
    if not report.ok:
        raise PlanRejectedError(tuple(f"{f.rule} at {f.place}: {f.sentence}" for f in report.faults))
    return plan


def _shell(run: _Run, found: Found | None) -> dict[str, Any]:
    return {
        "title": run.job.title,
        "length_unit": run.job.length_unit,
        "currency": run.job.currency,
        "scenario_digest": run.digest,
        "goal": run.job.goal.name,
        "made": HowMade(
            version=solver.__version__,
            seed=run.seed,
            seconds=run.seconds,
            time_cut=found.time_cut if found else False,
            rounds=found.rounds if found else 0,
            libraries={name: importlib.metadata.version(name) for name in LIBRARIES},
        ),
    }


def _proof(found: Found, cost: float | None, parts: Parts | None, run: _Run) -> Proof:
    bound = found.bound
    if bound is not None and cost is not None and bound > cost * (1 - GAP_PROVEN):
        bound = cost  # the model rounds money down; below that the two are equal
    purchase_bound, covers = None, "not computed for this state of the work"
    gap = None
    if parts is not None and found.body is not None:
        nester = Nester(run.job, parts.sheets, run.seed)
        bounds = [nester.bound(nest) for nest in found.nests]
        purchase_bound = sum(b.value for b in bounds)
        covers = "; ".join(dict.fromkeys(b.basis for b in bounds)) or "no metal is bought"
        metal = found.body.cost.metal
        purchase_bound = min(purchase_bound, metal)
        gap = (metal - purchase_bound) / metal if metal > 0 else 0.0
    return Proof(
        bound=bound,
        gap=_gap(cost, bound),
        covers=COVERS,
        purchase_bound=purchase_bound,
        purchase_gap=gap,
        purchase_covers=covers,
    )


def _plan(run: _Run, found: Found, status: Status | None, parts: Parts | None = None) -> Plan:
    body = found.body
    assert body is not None
    cost = body.cost.objective
    proof = _proof(found, cost, parts, run)
    if status is None:
        status = _status(found, proof)
    fields = {
        **_shell(run, found),
        "status": status,
        "cost": body.cost,
        "proof": proof,
        "sections": body.sections,
        "removal": body.removal,
        "edges": body.edges,
        "pieces": body.pieces,
        "purchases": body.purchases,
        "nests": body.nests,
        "amounts": body.amounts,
        "hours": body.hours,
        "minutes": body.minutes,
        "cautions": cautions_of(run.job, body.sections, body.used, body.forced_runs),
        "notes": notes_of(run.job),
    }
    return _with_id(fields)


def _status(found: Found, proof: Proof) -> Status:
    if proof.gap is not None and proof.gap <= GAP_PROVEN:
        return "proven"
    if proof.gap is not None and proof.gap <= WITHIN_GAP:
        return "within gap"
    return "stopped"


def _nothing(run: _Run, found: Found) -> Plan:
    return _with_id(
        {**_shell(run, found), "status": "no answer", "proof": _proof(found, None, None, run)}
    )


def _impossible(run: _Run, reasons: tuple[Requirement, ...]) -> Plan:
    proof = Proof(
        bound=None,
        gap=None,
        covers="no plan meets these requirements together",
        purchase_bound=None,
        purchase_gap=None,
        purchase_covers="",
    )
    return _with_id(
        {**_shell(run, None), "status": "impossible", "proof": proof, "impossible": reasons}
    )


def _with_id(fields: dict[str, Any]) -> Plan:
    """Give a plan an id that follows from what it says, not from when it was made."""
    plan = Plan(id="", **fields)
    said = plan.model_dump(mode="json", exclude={"id", "made"})
    digest = hashlib.sha256(json.dumps(said, sort_keys=True).encode()).hexdigest()
    return plan.model_copy(update={"id": digest[:12]})
