"""A job's record as clients see it."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import UTC, datetime
from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Field

from api.service.records import Record
from solver.data.plan import Progress


class _Told(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid", use_attribute_docstrings=True)


class Figures(_Told):
    """Of the answer, as far as it has them; of several plans, those of the first."""

    plans: int | None = None
    plan: str | None = None
    """Id of the plan."""
    currency: str | None = None
    cost: float | None = None
    objective: float | None = None
    bound: float | None = None
    gap: float | None = None
    minutes: float | None = None
    sections: int | None = None
    pieces: int | None = None
    files: int | None = None
    bytes: int | None = None


class ProblemFound(_Told):
    """One thing to mend."""

    place: str
    value: str
    remedy: str
    pointer: str = ""


class Failure(_Told):
    """Why a job failed."""

    how: Literal["crashed", "refused", "memory", "hung", "killed", "lost", "invalid", "interrupted"]
    detail: str
    place: str | None = None
    """In the program, or a signal's number."""
    errors: list[ProblemFound] | None = None
    error_count: int | None = None


class Links(_Told):
    """Where the rest is."""

    job: str
    request: str
    events: str
    result: str | None
    """The answer, once the job has ended with one."""
    best: str | None
    """The best answer so far of a running job."""


Moment = Annotated[str, Field(json_schema_extra={"format": "date-time"})]


class JobRecord(_Told):
    """What is known of a job; its answer is beside it."""

    id: str
    kind: str
    title: str
    group: str
    seconds: float
    """The time it was given."""
    state: Literal["queued", "running", "finished", "stopped", "failed"]
    """What becomes of the work; what it came to is the outcome."""
    outcome: str | None
    """proven, within gap, stopped, impossible, no answer; of other kinds "done"; null before."""
    attempt: int
    """How often it was begun: more than once where the service ended meanwhile."""
    stop_asked: bool
    created_at: Moment
    started_at: Moment | None
    ended_at: Moment | None
    ahead: int | None = None
    """Jobs that wait before it, of one that waits and is asked for alone."""
    progress: Progress | None
    figures: Figures | None
    explanation: list[str]
    """Why nothing is possible, where that is the outcome."""
    problem: Failure | None
    links: Links


class JobPage(_Told):
    """Some jobs, the newest first."""

    jobs: list[JobRecord]
    next: str | None
    """Where the next page is; null at the end."""


def job_told(
    record: Record, progress: Mapping[str, Any] | None = None, ahead: int | None = None
) -> dict[str, Any]:
    """Return the record as JSON values."""
    path = f"/v1/jobs/{record.id}"
    outline = record.outline
    has_answer = outline.outcome is not None and (bool(outline.figures) or record.ended)
    return {
        "id": record.id,
        "kind": record.kind,
        "title": record.title,
        "group": record.group,
        "seconds": record.seconds,
        "state": record.state,
        "outcome": outline.outcome,
        "attempt": record.attempt,
        "stop_asked": record.stop_asked,
        "created_at": _moment(record.created_at),
        "started_at": _moment(record.started_at),
        "ended_at": _moment(record.ended_at),
        "ahead": ahead,
        "progress": None if progress is None or record.state != "running" else dict(progress),
        "figures": dict(outline.figures) or None,
        "explanation": list(outline.explanation),
        "problem": None if record.problem is None else dict(record.problem),
        "links": {
            "job": path,
            "request": f"{path}/request",
            "events": f"{path}/events",
            "result": f"{path}/result" if record.ended and has_answer else None,
            "best": f"{path}/best" if record.state == "running" and has_answer else None,
        },
    }


def _moment(seconds: float | None) -> str | None:
    if seconds is None:
        return None
    told = datetime.fromtimestamp(seconds, UTC).isoformat(timespec="milliseconds")
    return told.replace("+00:00", "Z")
