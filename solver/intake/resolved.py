"""The resolved form: a job with everything spelled out in SI shop units, for other programs."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict
from functools import cache
from typing import Any

from pydantic import BaseModel, ConfigDict, TypeAdapter, ValidationError

from solver.data.errors import Problems
from solver.data.job import Job
from solver.data.units import shown
from solver.intake import plausibility
from solver.intake.shop import GOALS


class _Holder(BaseModel):
    """Lends its strictness to the job inside."""

    model_config = ConfigDict(extra="forbid", allow_inf_nan=False)

    job: Job


def is_resolved(tree: Mapping[str, Any]) -> bool:
    """Whether a tree says that it is in the resolved form."""
    return tree.get("form") == "resolved"


@cache
def _adapter() -> TypeAdapter[Job]:
    return TypeAdapter(Job)


def resolved_of(job: Job) -> dict[str, Any]:
    """Return the job as plain values that can be written as JSON."""
    plain: dict[str, Any] = _adapter().dump_python(job, mode="json")
    return plain


@cache
def resolved_schema() -> dict[str, Any]:
    """Return the JSON Schema of the resolved form."""
    return _adapter().json_schema()


def job_from_resolved(tree: Mapping[str, Any]) -> Job:
    """Return the job that a tree in resolved form holds.  Raises ScenarioErrors."""
    problems = Problems()
    plain = {key: value for key, value in tree.items() if key != "$schema"}
    if isinstance(plain.get("goal"), str):
        if plain["goal"] not in GOALS:
            hint = problems.hint(plain["goal"], GOALS)
            problems.add(("goal",), shown(plain["goal"]), hint or f"one of {', '.join(GOALS)}")
            problems.raise_any()
        plain["goal"] = asdict(GOALS[plain["goal"]])
    try:
        job = _Holder.model_validate({"job": plain}).job
    except ValidationError as fault:
        for detail in fault.errors(include_url=False):
            keys = tuple(
                key for key in detail["loc"][1:] if not isinstance(key, str) or key != "Line"
            )
            problems.add(keys, shown(detail["input"]), detail["msg"])
        problems.raise_any()
        raise
    plausibility.check(job, plausibility.places_in_resolved(job), problems)
    problems.raise_any()
    return job
