"""Plan again with what an old plan left: the function for a child process, and its inputs read."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from pydantic import ValidationError

from solver.data.errors import Problem, ScenarioErrors
from solver.data.plan import Plan, Progress
from solver.data.work import WorkRecord, read_record, work_of


def rerun(
    old_plan: Plan | dict[str, Any],
    scenario: dict[str, Any],
    record: dict[str, Any] | WorkRecord | None = None,
    *,
    seconds: float | None = None,
    seed: int = 0,
    goal: str | None = None,
    on_progress: Callable[[Progress], None] | None = None,
    should_stop: Callable[[], bool] | None = None,
) -> Plan:
    """Return the checked plan of what is still to do, made in this process.

    Raises ScenarioErrors for the old plan, the scenario or the record, PlanNotShownError where the
    checker refuses the result.
    """
    from api.solve_child import PlanNotShownError
    from solver.intake import read_job
    from solver.planner.plan_job import PlanRejectedError
    from solver.planner.rerun_job import rerun_job

    if goal is not None:
        scenario = {**scenario, "goal": goal}
    old = old_plan if isinstance(old_plan, Plan) else plan_given(old_plan)
    asked = record if isinstance(record, WorkRecord) else read_record(record or {})
    job = read_job(scenario)
    try:
        return rerun_job(
            old,
            job,
            asked,
            seconds=seconds,
            seed=seed,
            on_progress=on_progress,
            should_stop=should_stop,
        )
    except PlanRejectedError as refusal:
        raise PlanNotShownError(str(refusal)) from refusal


def plan_given(values: dict[str, Any]) -> Plan:
    """Return a plan from JSON values; raises ScenarioErrors that name what is wrong with it."""
    try:
        return Plan.model_validate(values)
    except ValidationError as error:
        faults = error.errors(include_url=False, include_input=False, include_context=False)
    problems = [
        Problem(
            f"old_plan.{'.'.join(str(key) for key in fault['loc'][:8])}",
            fault["msg"][:120],
            "give a plan as splitplan wrote it",
            "/old_plan/" + "/".join(str(key) for key in fault["loc"][:8]),
        )
        for fault in faults[:20]
    ]
    raise ScenarioErrors(problems, max(0, len(faults) - 20))


def judged(old: Plan, record: dict[str, Any]) -> WorkRecord:
    """Return a record that goes with its plan; raises ScenarioErrors with all that does not."""
    asked = read_record(record)
    work_of(asked, old)
    return asked


def record_after(plan: Plan) -> WorkRecord:
    """Return the record to go on with after a rerun: what is kept is cut, nothing else is done."""
    rerun_ = plan.rerun
    if rerun_ is None:
        return WorkRecord(plan=plan.id)
    fitted = {one.piece.id for one in rerun_.existing if one.fitted}
    kept = [source for source in rerun_.sources if source.how == "kept"]
    built = {frozenset(patches) for patches in rerun_.built}
    return WorkRecord(
        plan=plan.id,
        cut=tuple(source.piece for source in kept if source.old not in fitted),
        fitted=tuple(source.piece for source in kept if source.old in fitted),
        built=tuple(s.id for s in plan.sections if frozenset(s.patches) in built),
        change_price=rerun_.change_price,
    )
