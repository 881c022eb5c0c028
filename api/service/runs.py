"""What a child does for each kind of job: inputs as JSON values in, the answer out.

Only children load this: everything that a solve needs comes with it, so that a fork has it at once.
"""

from __future__ import annotations

import io
import json
import zipfile
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from pathlib import PurePosixPath
from typing import Any, cast

from api.comparing import CompareAsked, compared, comparison_json
from api.option_table import OptionsAnswer, rows_of
from api.papers.all_papers import Choices, paper_files
from api.real_engine import options_here, plan_here, read_job
from api.rerunning import rerun
from api.service.child import Answer, Hears, NotShownError
from api.service.records import RESULT, Document, Outline
from api.solve_child import PlanNotShownError
from api.trading import TradeOffAnswer, TradePoint, trade_off_here
from solver import intake
from solver.data.job import Job
from solver.data.plan import Plan, Progress
from solver.planner import alternatives, plan_job, rerun_job, tradeoff

LOADED = (intake, alternatives, plan_job, rerun_job, tradeoff)
"""What `api.real_engine` would load when it is first used."""

_MOST_REASONS = 20
ARCHIVE = "papers.zip"


@contextmanager
def _heard(on_plan: Callable[[Plan], None]) -> Iterator[None]:
    """Tell of each accepted plan; raises NotShownError where the checker refuses one."""
    try:
        with plan_job.accepted_plans(on_plan):
            yield
    except PlanNotShownError as refusal:
        raise NotShownError from refusal


def run_plan(inputs: Mapping[str, Any], hears: Hears) -> Answer:
    """Make one plan; the best checked one is kept on the way."""
    job = read_job(inputs["scenario"])
    with _heard(lambda plan: hears.keep(plan_answer(plan))):
        plan = plan_here(
            job,
            seconds=inputs["seconds"],
            seed=inputs["seed"],
            on_progress=hears.on_progress,
            should_stop=hears.should_stop,
        )
    return plan_answer(plan)


def run_options(inputs: Mapping[str, Any], hears: Hears) -> Answer:
    """Find plans that differ; those done, and the best of the next, are kept on the way."""
    job = read_job(inputs["scenario"])
    done: list[Plan] = []
    last: list[Plan] = []

    def on_plan(plan: Plan) -> None:
        last[:] = [plan]
        hears.keep(options_answer([*done, plan], job))

    def on_progress(progress: Progress) -> None:
        if progress.phase.endswith(": done"):  # the plan told last is the best of its kind
            done.extend(last)
            last.clear()
        hears.on_progress(progress)

    with _heard(on_plan):
        plans = options_here(
            job,
            count=inputs["count"],
            differ_by=inputs["differ_by"],
            seconds=inputs["seconds"],
            seed=inputs["seed"],
            on_progress=on_progress,
            should_stop=hears.should_stop,
        )
    return options_answer(plans, job)


def run_tradeoff(inputs: Mapping[str, Any], hears: Hears) -> Answer:
    """Find the plans that nothing beats; those that were put together are kept on the way."""
    job = read_job(inputs["scenario"])
    made: list[Plan] = []

    def on_plan(plan: Plan) -> None:
        made.append(plan)
        hears.keep(trade_answer(partial_trade_off(made, waste=inputs["waste"])))

    with _heard(on_plan):
        found = trade_off_here(
            job,
            waste=inputs["waste"],
            seconds=inputs["seconds"],
            seed=inputs["seed"],
            on_progress=hears.on_progress,
            should_stop=hears.should_stop,
        )
    return trade_answer(found)


def partial_trade_off(plans: Sequence[Plan], *, waste: bool) -> TradeOffAnswer:
    """Return plans of a trade-off that was not finished: nothing is proven of them."""
    costs = [(plan, plan.cost) for plan in plans if plan.cost is not None]
    points = tuple(
        TradePoint(
            plan=plan.id,
            metal=cost.metal,
            minutes=plan.minutes,
            waste_kg=cost.waste_kg,
            cost=cost.total,
            sections=len(plan.sections),
            pieces=len(plan.pieces),
            supported=False,
            least_minutes=None,
            least_metal=None,
            hour_price=None,
        )
        for plan, cost in costs
    )
    shown = tuple(plan for plan, _ in costs)
    return TradeOffAnswer(plans=shown, points=points, waste=waste, asked=0, nested=len(points))


def trade_answer(found: TradeOffAnswer) -> Answer:
    """Return a trade-off as an answer."""
    content = found.model_dump_json().encode("utf-8")
    return Answer(outline_of(found.plans), (Document(RESULT, "application/json", content),))


def run_compare(inputs: Mapping[str, Any], hears: Hears) -> Answer:
    """Compare plans, which takes no search."""
    plans = tuple(Plan.model_validate(plan) for plan in inputs["plans"])
    content = comparison_json(compared(CompareAsked(plans=plans))).encode("utf-8")
    outline = Outline("done", {"plans": len(plans)})
    return Answer(outline, (Document(RESULT, "application/json", content),))


def run_rerun(inputs: Mapping[str, Any], hears: Hears) -> Answer:
    """Plan what is still to do; the best checked plan is kept on the way."""
    with _heard(lambda plan: hears.keep(plan_answer(plan))):
        plan = rerun(
            inputs["old_plan"],
            inputs["scenario"],
            inputs["record"],
            seconds=inputs["seconds"],
            seed=inputs["seed"],
            on_progress=hears.on_progress,
            should_stop=hears.should_stop,
        )
    return plan_answer(plan)


def run_papers(inputs: Mapping[str, Any], hears: Hears) -> Answer:
    """Write the papers of a plan: the list of files, each file, and all of them as one archive."""
    plan = Plan.model_validate(inputs["plan"])
    scenario = inputs["scenario"]
    job = None if scenario is None else read_job(scenario)
    hears.on_progress(Progress(phase="papers", seconds=0.0, best=None, bound=None, gap=None))
    choices = Choices(paper=inputs["paper"], long_page=inputs["long_page"], date=inputs["date"])
    return files_answer(paper_files(plan, job, choices))


def plan_answer(plan: Plan) -> Answer:
    """Return a plan as an answer."""
    content = plan.model_dump_json().encode("utf-8")
    return Answer(outline_of([plan]), (Document(RESULT, "application/json", content),))


def options_answer(plans: Sequence[Plan], job: Job) -> Answer:
    """Return options as an answer, the cheapest first."""
    ordered = tuple(sorted(plans, key=lambda plan: plan.cost.objective if plan.cost else 0.0))
    answer = OptionsAnswer(options=ordered, table=rows_of(ordered, job))
    content = answer.model_dump_json().encode("utf-8")
    return Answer(outline_of(ordered), (Document(RESULT, "application/json", content),))


def outline_of(plans: Sequence[Plan]) -> Outline:
    """Return the light record of plans: the outcome and figures of the first."""
    if not plans:
        return Outline("no answer", {"plans": 0})
    first = plans[0]
    found = sum(plan.cost is not None for plan in plans)
    figures: dict[str, Any] = {"plans": found}
    if first.cost is not None:
        figures |= {
            "plan": first.id,
            "currency": first.currency,
            "cost": first.cost.total,
            "objective": first.cost.objective,
            "bound": first.proof.bound,
            "gap": first.proof.gap,
            "minutes": first.minutes,
            "sections": len(first.sections),
            "pieces": len(first.pieces),
        }
    reasons = tuple(one.sentence for one in first.impossible[:_MOST_REASONS])
    return Outline(cast(str, first.status), figures, reasons)


def files_answer(files: Mapping[str, bytes]) -> Answer:
    """Return files as an answer, with an archive that has the same bytes for the same files."""
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED, compresslevel=6) as archive:
        for name in sorted(files):
            archive.writestr(zipfile.ZipInfo(name, (1980, 1, 1, 0, 0, 0)), files[name])
    documents = [Document(ARCHIVE, "application/zip", packed.getvalue())]
    documents += [Document(name, _media_type(name), files[name]) for name in sorted(files)]
    listed = [
        {"name": one.name, "media_type": one.media_type, "bytes": len(one.content)}
        for one in documents
    ]
    total = sum(len(one.content) for one in documents[1:])
    result = Document(RESULT, "application/json", json.dumps({"files": listed}).encode("ascii"))
    outline = Outline("done", {"files": len(files), "bytes": total})
    return Answer(outline, (result, *documents))


_MEDIA_TYPES = {
    ".dxf": "image/vnd.dxf",
    ".csv": "text/csv; charset=utf-8",
    ".html": "text/html; charset=utf-8",
    ".xlsx": "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
    ".svg": "image/svg+xml",
    ".pdf": "application/pdf",
    ".json": "application/json",
}


def _media_type(name: str) -> str:
    suffix = PurePosixPath(name).suffix
    return _MEDIA_TYPES.get(suffix, "application/octet-stream")
