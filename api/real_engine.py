"""The engine of the shipped program: intake, planner and checker, each imported when first used."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from typing import TYPE_CHECKING, Any

from api.engine import Engine, Fault
from api.option_search import numbered
from api.solve_apart import options_apart, plan_apart, rerun_apart, tradeoff_apart
from api.solve_child import PlanNotShownError
from solver.data.job import Job
from solver.data.plan import Plan, Progress

if TYPE_CHECKING:
    from solver.planner.what_if import WhatIf


def real_engine(*, niceness: int = 0) -> Engine:
    """Return the engine; its plans are made in a child process of the given niceness."""
    return Engine(
        parse=parse_scenario,
        read=read_job,
        with_goal=with_goal,
        describe=describe_job,
        resolved=resolved_form,
        scenario_schema=scenario_schema,
        resolved_schema=resolved_schema,
        faults=faults_of,
        plan=partial(plan_apart, niceness=niceness),
        options=partial(options_apart, niceness=niceness),
        what_if=job_asked,
        rerun=partial(rerun_apart, niceness=niceness),
        tradeoff=partial(tradeoff_apart, niceness=niceness),
    )


def parse_scenario(raw: bytes) -> dict[str, Any]:
    """Return the JSON values in some bytes; raises ScenarioErrors."""
    from solver.intake.read import read_tree

    return read_tree(raw)


def read_job(tree: dict[str, Any]) -> Job:
    """Return the job of a scenario in either form; raises ScenarioErrors."""
    from solver.intake import read_job as read

    return read(tree)


def with_goal(tree: dict[str, Any], name: str) -> dict[str, Any]:
    """Return the scenario with another goal."""
    return {**tree, "goal": name}


def describe_job(job: Job) -> str:
    """Return what was understood, in words."""
    from solver.intake import describe

    return describe(job)


def resolved_form(job: Job) -> dict[str, Any]:
    """Return a job as JSON values."""
    from solver.intake import resolved_of

    return resolved_of(job)


def scenario_schema() -> dict[str, Any]:
    """Return the JSON Schema of the form that people write."""
    from solver.intake import scenario_schema as schema

    return schema()


def resolved_schema() -> dict[str, Any]:
    """Return the JSON Schema of the resolved form."""
    from solver.intake import resolved_schema as schema

    return schema()


def faults_of(job: Job, plan: Plan) -> tuple[Fault, ...]:
    """Return what the checker finds."""
    from solver.checker import check_plan

    report = check_plan(job, plan)
    return tuple(Fault(one.rule, one.place, one.sentence) for one in report.faults)


def job_asked(job: Job, what_if: WhatIf) -> Job:
    """Return the job with what is asked; raises ScenarioErrors."""
    from solver.planner.what_if import asked

    return asked(job, what_if)


def plan_here(
    job: Job,
    *,
    seconds: float | None,
    seed: int,
    on_progress: Callable[[Progress], None] | None,
    should_stop: Callable[[], bool] | None,
    explain: bool = False,
) -> Plan:
    """Plan in this process; raises PlanNotShownError where the checker refuses the result."""
    from solver.planner.plan_job import PlanRejectedError, plan_job

    try:
        return plan_job(
            job,
            seconds=seconds,
            seed=seed,
            on_progress=on_progress,
            should_stop=should_stop,
            explain=explain,
        )
    except PlanRejectedError as refusal:
        raise PlanNotShownError(str(refusal)) from refusal


def options_here(
    job: Job,
    *,
    count: int,
    differ_by: int,
    seconds: float | None,
    seed: int,
    on_progress: Callable[[Progress], None] | None,
    should_stop: Callable[[], bool] | None,
) -> tuple[Plan, ...]:
    """Find options in this process, the cheapest first; raises PlanNotShownError as `plan_here`."""
    from solver.planner.alternatives import alternatives
    from solver.planner.plan_job import PlanRejectedError

    try:
        plans = alternatives(
            job,
            count,
            differ_by=differ_by,
            seconds=seconds,
            seed=seed,
            on_progress=None if on_progress is None else numbered(on_progress, count),
            should_stop=should_stop,
        )
    except PlanRejectedError as refusal:
        raise PlanNotShownError(str(refusal)) from refusal
    return plans
