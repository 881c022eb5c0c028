"""Status and proof: what a plan claims about itself, against its cost and its bounds."""

from __future__ import annotations

from collections.abc import Iterator

from solver.checker.report import Fault
from solver.checker.tolerances import RELATIVE, near
from solver.data.job import Job
from solver.data.plan import Cost, Plan

WITHOUT_PLAN = ("impossible", "no answer")
"""Statuses that come without sections and cost."""


def headings(job: Job, plan: Plan) -> Iterator[Fault]:
    """A plan is headed by its job's title, unit, currency and goal."""
    for name, stated, wanted in (
        ("title", plan.title, job.title),
        ("length_unit", plan.length_unit, job.length_unit),
        ("currency", plan.currency, job.currency),
        ("goal", plan.goal, job.goal.name),
    ):
        if stated != wanted:
            yield Fault("heading", name, f'is "{stated}"; the job says "{wanted}"')


def statuses(job: Job, plan: Plan) -> Iterator[Fault]:
    """Impossible and no answer come without cost; impossible names a requirement; others cost."""
    del job
    if plan.status in WITHOUT_PLAN:
        if plan.cost is not None:
            yield Fault("status", "cost", f"a plan that is {plan.status} has a cost")
        if plan.sections or plan.pieces or plan.nests or plan.purchases:
            yield Fault("status", "plan", f"is {plan.status}, and has sections, pieces or metal")
    elif plan.cost is None:
        yield Fault("status", "cost", f"is missing in a plan that is {plan.status}")
    if plan.status == "impossible":
        if not plan.impossible or any(not one.sentence.strip() for one in plan.impossible):
            yield Fault("status", "impossible", "names no requirement that cannot be met")
    elif plan.impossible:
        yield Fault("status", "impossible", f"names requirements in a plan that is {plan.status}")


def proofs(plan: Plan, cost: Cost | None) -> Iterator[Fault]:
    """A bound lies under the cost, a gap is what is between, and proven means there is none."""
    proof = plan.proof
    yield from _bound(
        "bound", proof.bound, proof.gap, None if cost is None else cost.objective, "objective"
    )
    yield from _bound(
        "purchase_bound",
        proof.purchase_bound,
        proof.purchase_gap,
        None if cost is None else cost.metal,
        "metal",
    )
    if plan.status == "proven" and cost is not None:
        slack = RELATIVE * max(1.0, abs(cost.objective))
        if proof.bound is None or abs(cost.objective - proof.bound) > slack:
            yield Fault(
                "proven",
                "proof.bound",
                f"is {proof.bound}, and the objective {cost.objective:.6f}; proven means equal",
            )
    if plan.status == "within gap" and proof.bound is None:
        yield Fault("proven", "proof.bound", "is missing in a plan that is within gap")


def left_out(job: Job, plan: Plan) -> Iterator[Fault]:
    """What a purchase is worth is said of stock that is bought, by plans no better than this."""
    bought = {purchase.stock for purchase in plan.purchases if purchase.buy}
    known = {item.id for item in job.stock}
    for one in plan.without:
        place = f'without "{one.what}"'
        for name in one.stock:
            if name not in known:
                yield Fault("left out", place, f'there is no stock "{name}"')
        if not bought & set(one.stock):
            yield Fault("left out", place, "none of it is bought")
        if (one.status == "found") != (one.objective is not None):
            yield Fault("left out", place, f"is {one.status}, with a cost of {one.objective}")
        if one.status == "impossible" and one.bound is not None:
            yield Fault("left out", place, "is impossible, with a bound")
        if one.objective is None:
            continue
        slack = RELATIVE * max(1.0, abs(one.objective))
        if plan.cost is not None and one.objective < plan.cost.objective - 0.005 - slack:
            yield Fault(
                "left out",
                place,
                f"costs {one.objective:.4f}, less than the plan: {plan.cost.objective:.4f}",
            )
        if one.bound is not None and one.bound > one.objective + slack:
            yield Fault(
                "left out",
                place,
                f"its bound {one.bound:.6f} is above its cost {one.objective:.6f}",
            )


def _bound(
    name: str, bound: float | None, gap: float | None, figure: float | None, of: str
) -> Iterator[Fault]:
    gap_name = name.replace("bound", "gap")
    if bound is None or figure is None:
        if gap is not None:
            yield Fault("gap stated", f"proof.{gap_name}", f"is {gap} without a bound and a cost")
        return
    if bound > figure + RELATIVE * max(1.0, abs(figure)):
        yield Fault("bound", f"proof.{name}", f"is {bound:.6f}, above the {of} {figure:.6f}")
    wanted = (figure - bound) / figure if figure > 0 else 0.0
    if gap is None or not near(gap, wanted):
        yield Fault("gap stated", f"proof.{gap_name}", f"is {gap}; it is {wanted:.8f}")
