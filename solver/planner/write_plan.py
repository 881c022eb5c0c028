"""From what was found to a plan: its proof, its status, and an id that follows from both."""

from __future__ import annotations

import hashlib
import importlib.metadata
import json
from dataclasses import dataclass
from typing import Any

import solver
from solver.data.digest import digest_of
from solver.data.job import Job
from solver.data.plan import HowMade, LeftOut, Plan, Proof, Requirement, Rerun, Status
from solver.planner.cautions import cautions_of, notes_of
from solver.planner.rounds import GAP_PROVEN, Found, Parts

LIBRARIES = ("ortools", "numpy", "scipy", "shapely", "pydantic")
WITHIN_GAP = 0.03
"""A plan this near its bound is called "within gap" even where its search was stopped."""

COVERS = (
    "all legal sections, all mountings, metals and stock of the scenario; pieces of each stretch "
    "cut at the seams offered for each number of pieces; stock counted by area"
)


@dataclass(frozen=True)
class Request:
    """What was asked: the job, its digest, seed and time limit."""

    job: Job
    digest: str
    seed: int
    seconds: float | None
    kind: str = ""
    """What splits the bound is about, where it is not about all."""


def request_of(job: Job, seed: int, seconds: float | None) -> Request:
    """Return the request with the job's digest."""
    return Request(job, digest_of(job), seed, seconds)


def gap_of(cost: float | None, bound: float | None) -> float | None:
    """Share of the cost that is not proven."""
    if cost is None or bound is None or cost <= 0:
        return None
    return max(0.0, (cost - bound) / cost)


def plan_of(
    request: Request,
    found: Found,
    parts: Parts | None,
    rerun: Rerun | None = None,
    without: tuple[LeftOut, ...] = (),
) -> Plan:
    """Return the plan of what was found.

    With ``parts`` the proof of the purchase is worked out too; without, the plan is one on the way.
    ``rerun`` says what was there when it was made, ``without`` what its purchases are worth.
    """
    body = found.body
    assert body is not None
    proof = _proof(request, found, body.cost.objective, parts)
    return _with_id(
        {
            **_shell(request, found),
            "status": _status(proof, request, found) if parts is not None else "stopped",
            "cost": body.cost,
            "proof": proof,
            "sections": body.sections,
            "removal": body.removal,
            "edges": body.edges,
            "pieces": body.pieces,
            "purchases": body.purchases,
            "nests": body.nests,
            "without": without,
            "amounts": body.amounts,
            "hours": body.hours,
            "minutes": body.minutes,
            "cautions": cautions_of(
                request.job, body.sections, body.edges, body.used, body.forced_runs
            ),
            "notes": (*notes_of(request.job), *(rerun.notes if rerun is not None else ())),
            "rerun": rerun,
        }
    )


def no_answer(request: Request, found: Found) -> Plan:
    """Return the answer when no plan was found and none was shown to be impossible."""
    proof = _proof(request, found, None, None)
    notes = [
        f"the blanks of {metal} were not brought onto the stock that can be had; more of it, or "
        "more time, may do"
        for metal in found.short_of_stock
    ]
    return _with_id(
        {
            **_shell(request, found),
            "status": "no answer",
            "proof": proof,
            "notes": (*notes_of(request.job), *notes),
        }
    )


def impossible(
    request: Request, reasons: tuple[Requirement, ...], also: tuple[str, ...] = ()
) -> Plan:
    """Return the answer when the requirements cannot hold together; ``also`` are further faults."""
    proof = Proof(
        bound=None,
        gap=None,
        covers="no plan meets these requirements together",
        purchase_bound=None,
        purchase_gap=None,
        purchase_covers="",
    )
    return _with_id(
        {
            **_shell(request, Found()),
            "status": "impossible",
            "proof": proof,
            "impossible": reasons,
            "notes": also,
        }
    )


def _status(proof: Proof, request: Request, found: Found) -> Status:
    """Tell a search that ended by itself from one that a limit or a person ended."""
    if proof.gap is not None and proof.gap <= GAP_PROVEN:
        return "proven"
    cut = found.stopped or (found.time_cut and request.seconds is not None)
    if proof.gap is not None and (proof.gap <= WITHIN_GAP or not cut):
        return "within gap"
    return "stopped"


def _proof(request: Request, found: Found, cost: float | None, parts: Parts | None) -> Proof:
    bound = found.bound
    if bound is not None and cost is not None and bound > cost * (1 - GAP_PROVEN):
        bound = cost  # the model rounds money down; below that the two are equal
    purchase_bound, covers = None, "not computed for this state of the work"
    gap = None
    if parts is not None and found.body is not None:
        bounds = found.purchase_bound()
        metal = found.body.cost.metal
        purchase_bound = min(sum(b.value for b in bounds), metal)
        covers = "; ".join(dict.fromkeys(b.basis for b in bounds)) or "no metal is bought"
        gap = (metal - purchase_bound) / metal if metal > 0 else 0.0
    return Proof(
        bound=bound,
        gap=gap_of(cost, bound),
        covers=request.kind + COVERS,
        purchase_bound=purchase_bound,
        purchase_gap=gap,
        purchase_covers=covers,
    )


def _shell(request: Request, found: Found) -> dict[str, Any]:
    job = request.job
    return {
        "title": job.title,
        "length_unit": job.length_unit,
        "currency": job.currency,
        "scenario_digest": request.digest,
        "goal": job.goal.name,
        "made": HowMade(
            version=solver.__version__,
            seed=request.seed,
            seconds=request.seconds,
            time_cut=found.time_cut,
            rounds=found.rounds,
            libraries={name: importlib.metadata.version(name) for name in LIBRARIES},
        ),
    }


def _with_id(fields: dict[str, Any]) -> Plan:
    """Give a plan an id that follows from what it says, not from when it was made."""
    plan = Plan(id="", **fields)
    said = plan.model_dump(mode="json", exclude={"id", "made"})
    digest = hashlib.sha256(json.dumps(said, sort_keys=True).encode()).hexdigest()
    return plan.model_copy(update={"id": digest[:12]})
