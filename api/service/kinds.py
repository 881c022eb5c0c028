"""The kinds of job, one row each: what is asked, how it is made ready, and what the child runs."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from typing import Annotated, Any, Literal, Protocol

from pydantic import BaseModel, ConfigDict, Field, StringConstraints, ValidationError

from api.engine import Engine
from api.limits import DEFAULT_COUNT, DEFAULT_DIFFER, MOST_JOINTS, MOST_OPTIONS
from api.service.settings import DEFAULT_JOB_SECONDS, LONGEST_JOB_SECONDS
from solver.data.errors import Problems, ScenarioErrors
from solver.data.job import Job
from solver.data.plan import Plan

Name = Annotated[str, StringConstraints(max_length=200)]
Names = Annotated[tuple[Name, ...], Field(max_length=200)]
JobId = Annotated[str, StringConstraints(pattern="^[0-9a-f]{24}$")]
PAPERS_SECONDS = 600.0
COMPARE_SECONDS = 60.0
MOST_COMPARED = 6
LARGEST_BODY_SEED = 999_999_999
"""Numbers in a body stay below a thousand million."""


class _Body(BaseModel):
    """Numbers are numbers, nothing unknown passes, everything has a bound."""

    model_config = ConfigDict(
        extra="forbid", strict=True, allow_inf_nan=False, frozen=True, use_attribute_docstrings=True
    )


class WhatIfBody(_Body):
    """What is asked of the scenario without changing it."""

    pins: Annotated[dict[Name, Name], Field(max_length=200)] = {}
    """Patches to labels: one label stays together, different labels apart."""
    splits: Names = ()
    """Edges that are to be joints."""
    joins: Names = ()
    """Edges that are not to be joints."""
    crew: Annotated[int, Field(ge=1, le=50)] | None = None
    """People who lift."""
    lift_limit: Name | None = None
    """The heaviest section, with its unit."""
    most_sections: Annotated[int, Field(ge=1, le=1000)] | None = None
    without: Names = ()
    """Stock to leave out: a gauge, a metal, a form, a width or an item."""
    symmetric: bool = False
    """Both sides split alike."""


class Asked(_Body):
    """What every job says."""

    group: Annotated[str, StringConstraints(pattern="^[A-Za-z0-9._-]{0,64}$")] = ""
    """Groups take turns in the queue: name one for a sweep, so that it holds up nobody else."""


class _Planned(Asked):
    scenario: dict[str, Any]
    """The scenario, in the form that people write or spelled out."""
    seconds: Annotated[float, Field(gt=0, le=LONGEST_JOB_SECONDS)] = DEFAULT_JOB_SECONDS
    """Time to look for better plans, for all of them."""
    seed: Annotated[int, Field(ge=0, le=LARGEST_BODY_SEED)] = 0
    """The same seed gives the same plan."""
    what_if: WhatIfBody = WhatIfBody()
    """Asked of the scenario without changing it: pins (patches to labels), splits and joins (of
    edges), crew, lift_limit, most_sections, without (stock), symmetric."""


class PlanAsked(_Planned):
    """One plan of a scenario."""

    kind: Literal["plan"]


class OptionsAsked(_Planned):
    """Plans of a scenario that differ in their joints."""

    kind: Literal["options"]
    count: Annotated[int, Field(ge=1, le=MOST_OPTIONS)] = DEFAULT_COUNT
    """How many."""
    differ_by: Annotated[int, Field(ge=1, le=MOST_JOINTS)] = DEFAULT_DIFFER
    """Joints by which each differs from the others, left and right counting alike."""


class PapersAsked(Asked):
    """The papers for the bench, of a plan that another job made."""

    kind: Literal["papers"]
    job: JobId
    """Id of a job that has a plan."""
    option: Annotated[int, Field(ge=1, le=MOST_OPTIONS)] = 1
    """Of a job with several plans, which."""
    paper: Literal["a4", "letter"] | None = None
    """Left out: letter for a plan in inches, else A4."""
    long_page: bool = False
    """Full size on long pages, for a wide printer."""
    date: Annotated[str, StringConstraints(max_length=40, pattern="^[ -~]*$")] = ""
    """Printed as given."""


class TradeOffAsked(_Planned):
    """Plans of a scenario that no other beats in money for metal and in hours."""

    kind: Literal["tradeoff"]
    waste: bool = False
    """Whether waste is weighed too."""


class CompareAsked(Asked):
    """Plans beside one another: what is the same, what differs and what it costs."""

    kind: Literal["compare"]
    jobs: Annotated[tuple[JobId, ...], Field(max_length=MOST_COMPARED)] = ()
    """Ids of jobs that have plans; of a job with several, all."""
    plans: Annotated[tuple[dict[str, Any], ...], Field(max_length=MOST_COMPARED)] = ()
    """Plans, as splitplan gave them; they come after those of the jobs."""


class RerunAsked(Asked):
    """A plan of what is still to do, with what an old plan left."""

    kind: Literal["rerun"]
    job: JobId | None = None
    """Id of the job that has the old plan; or give ``old_plan``."""
    option: Annotated[int, Field(ge=1, le=MOST_OPTIONS)] = 1
    """Of a job with several plans, which."""
    old_plan: dict[str, Any] | None = None
    """The plan that was begun, as splitplan gave it."""
    scenario: dict[str, Any] | None = None
    """The scenario as it is now; left out: that of the job."""
    record: dict[str, Any] = {}
    """What is bought, cut, fitted, spoiled and built: a record of the work."""
    seconds: Annotated[float, Field(gt=0, le=LONGEST_JOB_SECONDS)] = DEFAULT_JOB_SECONDS
    """Time to look for better plans."""
    seed: Annotated[int, Field(ge=0, le=LARGEST_BODY_SEED)] = 0
    """The same seed gives the same plan."""


@dataclass(frozen=True)
class Ready:
    """A job made ready: its title, its time, and what its child is given."""

    title: str
    seconds: float
    inputs: Mapping[str, Any]


class Finished(Protocol):
    """Gives plans and scenarios of other jobs to a kind that builds on them."""

    def plan(self, job_id: str, option: int) -> dict[str, Any]:
        """Return a plan as JSON values; raises ScenarioErrors where there is none."""

    def plans(self, job_id: str) -> list[dict[str, Any]]:
        """Return all plans of a job as JSON values; raises ScenarioErrors where there is none."""

    def scenario(self, job_id: str) -> dict[str, Any] | None:
        """Return the scenario that a job was given, as JSON values."""


Prepare = Callable[[Any, Engine, Finished], Ready]


@dataclass(frozen=True)
class Kind:
    """One row of the table: ``run`` names what the child calls, as "module:function"."""

    name: str
    summary: str
    body: type[Asked]
    prepare: Prepare
    run: str
    result: str
    """Name of the result's schema in the service's description."""
    plans: str = ""
    """Key of the result that holds its plans; "." where the result is the plan."""
    schemas: Callable[[], dict[str, Any]] = dict
    """JSON Schemas that the result needs beyond those of plans, by name."""


def asked_job(body: _Planned, engine: Engine) -> tuple[Job, dict[str, Any]]:
    """Return the job of a body, with its what-ifs, and its scenario; raises ScenarioErrors."""
    job = engine.read(body.scenario)
    asked = body.what_if
    if asked == WhatIfBody():
        return job, body.scenario
    from solver.planner.what_if import WhatIf

    what_if = WhatIf(
        pins=tuple(asked.pins.items()),
        splits=asked.splits,
        joins=asked.joins,
        crew=asked.crew,
        lift_limit=asked.lift_limit,
        most_sections=asked.most_sections,
        without=asked.without,
        symmetric=asked.symmetric,
    )
    job = engine.what_if(job, what_if)
    return job, engine.resolved(job)


def _plan(body: PlanAsked, engine: Engine, finished: Finished) -> Ready:
    job, scenario = asked_job(body, engine)
    inputs = {"scenario": scenario, "seconds": body.seconds, "seed": body.seed}
    return Ready(job.title, body.seconds, inputs)


def _options(body: OptionsAsked, engine: Engine, finished: Finished) -> Ready:
    job, scenario = asked_job(body, engine)
    inputs = {
        "scenario": scenario,
        "seconds": body.seconds,
        "seed": body.seed,
        "count": body.count,
        "differ_by": body.differ_by,
    }
    return Ready(job.title, body.seconds, inputs)


def _papers(body: PapersAsked, engine: Engine, finished: Finished) -> Ready:
    plan = finished.plan(body.job, body.option)
    inputs = {
        "plan": plan,
        "scenario": finished.scenario(body.job),
        "paper": body.paper,
        "long_page": body.long_page,
        "date": body.date,
    }
    return Ready(str(plan["title"]), PAPERS_SECONDS, inputs)


def _tradeoff(body: TradeOffAsked, engine: Engine, finished: Finished) -> Ready:
    job, scenario = asked_job(body, engine)
    inputs = {
        "scenario": scenario,
        "seconds": body.seconds,
        "seed": body.seed,
        "waste": body.waste,
    }
    return Ready(job.title, body.seconds, inputs)


def _compare(body: CompareAsked, engine: Engine, finished: Finished) -> Ready:
    problems = Problems()
    plans: list[dict[str, Any]] = []
    for number, job_id in enumerate(body.jobs):
        try:
            plans += finished.plans(job_id)
        except ScenarioErrors as errors:
            for one in errors.problems:
                problems.add(("jobs", number), one.value, one.remedy)
    for number, values in enumerate(body.plans):
        fault = _plan_fault(values)
        if fault is not None:
            problems.add(("plans", number), fault, "give a plan as splitplan wrote it")
        plans.append(values)
    problems.raise_any()
    if not 2 <= len(plans) <= MOST_COMPARED:
        problems.add(("plans",), f"{len(plans)} plans in all", f"from 2 to {MOST_COMPARED}")
    problems.raise_any()
    title = " / ".join(dict.fromkeys(str(plan["title"]) for plan in plans))
    return Ready(title, COMPARE_SECONDS, {"plans": plans})


def _plan_fault(values: dict[str, Any]) -> str | None:
    try:
        plan = Plan.model_validate(values)
    except ValidationError as error:
        fault = error.errors(include_url=False, include_input=False, include_context=False)[0]
        return f"{'.'.join(str(key) for key in fault['loc'][:8])}: {fault['msg'][:120]}"
    return None if plan.cost is not None else "a plan that cannot be built"


def _compared_schemas() -> dict[str, Any]:
    from api.comparing import comparison_schema

    return {"Comparison": comparison_schema()}


def _trade_schemas() -> dict[str, Any]:
    from api.trading import TradeOffAnswer

    return {"TradeOffAnswer": TradeOffAnswer.model_json_schema()}


def _rerun(body: RerunAsked, engine: Engine, finished: Finished) -> Ready:
    from api.rerunning import judged, plan_given

    problems = Problems()
    if (body.job is None) == (body.old_plan is None):
        said = "neither" if body.job is None else "both"
        problems.add(("job",), f"{said} of job and old_plan", "give the one or the other")
    elif body.scenario is None and body.job is None:
        problems.add(("scenario",), "nothing", "give the scenario with the old plan")
    problems.raise_any()
    old = body.old_plan if body.job is None else finished.plan(body.job, body.option)
    scenario = body.scenario
    if scenario is None and body.job is not None:
        scenario = finished.scenario(body.job)
    assert old is not None
    assert scenario is not None
    job = engine.read(scenario)
    given = plan_given(old)
    try:
        judged(given, body.record)
    except ScenarioErrors as errors:
        told = [replace(one, pointer=f"/record{one.pointer}") for one in errors.problems]
        raise ScenarioErrors(told, errors.left_out) from None
    inputs = {
        "old_plan": old,
        "scenario": scenario,
        "record": body.record,
        "seconds": body.seconds,
        "seed": body.seed,
    }
    return Ready(job.title, body.seconds, inputs)


KINDS: Mapping[str, Kind] = {
    one.name: one
    for one in (
        Kind("plan", "One plan", PlanAsked, _plan, "api.service.runs:run_plan", "Plan", "."),
        Kind(
            "options",
            "Plans that differ in their joints",
            OptionsAsked,
            _options,
            "api.service.runs:run_options",
            "OptionsAnswer",
            "options",
        ),
        Kind(
            "papers",
            "The papers for the bench, of a plan that another job made",
            PapersAsked,
            _papers,
            "api.service.runs:run_papers",
            "Files",
        ),
        Kind(
            "tradeoff",
            "Plans that no other beats in money for metal and in hours",
            TradeOffAsked,
            _tradeoff,
            "api.service.runs:run_tradeoff",
            "TradeOffAnswer",
            "plans",
            _trade_schemas,
        ),
        Kind(
            "compare",
            "Plans beside one another: what differs and what it costs",
            CompareAsked,
            _compare,
            "api.service.runs:run_compare",
            "Comparison",
            schemas=_compared_schemas,
        ),
        Kind(
            "rerun",
            "A plan of what is still to do, with what an old plan left",
            RerunAsked,
            _rerun,
            "api.service.runs:run_rerun",
            "Plan",
            ".",
        ),
    )
}
