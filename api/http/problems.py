"""Errors over HTTP as problem details (RFC 9457), with types that the service itself explains."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from starlette.responses import Response

from api.limits import MOST_PROBLEMS_TOLD
from solver.data.errors import Problem, ScenarioErrors

MEDIA_TYPE = "application/problem+json"
TYPES_PATH = "/v1/problems/"


@dataclass(frozen=True)
class ProblemType:
    """One kind of problem: what it means and what helps."""

    name: str
    status: int
    title: str
    meaning: str
    remedy: str

    @property
    def uri(self) -> str:
        """The type URI, relative to the service, where its explanation is served."""
        return TYPES_PATH + self.name


_TYPES = (
    ProblemType(
        "invalid-scenario",
        422,
        "The scenario cannot be used as it is",
        "It is no JSON that can be read safely, or breaks the scenario format.",
        "Mend what the errors name; GET /v1/schema has the format.",
    ),
    ProblemType(
        "invalid-job",
        422,
        "The job cannot be taken on as it is asked",
        "Its body is no JSON that can be read safely, or says what no job of its kind may say.",
        "Mend what the errors name; GET /v1/examples has jobs that can be posted.",
    ),
    ProblemType(
        "invalid-parameter",
        422,
        "A parameter cannot be used",
        "One of the query or of the headers is unknown, written twice, or out of its range.",
        "GET /v1/limits has the ranges.",
    ),
    ProblemType(
        "body-too-large",
        413,
        "The body is too large",
        "A scenario has a largest size in bytes.",
        "Send less; GET /v1/limits has the limit.",
    ),
    ProblemType(
        "body-too-slow",
        408,
        "The body did not arrive in time",
        "The whole body must arrive within a stated time.",
        "Send it again at once.",
    ),
    ProblemType(
        "not-json",
        415,
        "The body must be JSON",
        "The service reads application/json in UTF-8, not compressed.",
        "Send the header Content-Type: application/json and no Content-Encoding.",
    ),
    ProblemType(
        "queue-full",
        429,
        "Too many jobs wait",
        "Jobs are done in turn and a stated number may wait.",
        "Try again after the seconds of Retry-After; GET /v1/limits has the number.",
    ),
    ProblemType(
        "too-many-listeners",
        429,
        "Too many listen already",
        "A stated number of event streams may be open.",
        "Close some, or ask for the job's record now and then.",
    ),
    ProblemType(
        "store-full",
        507,
        "There is no room for another job",
        "The store keeps room for the answers of the jobs that it has; nothing was lost.",
        "Delete jobs that are no longer needed, or make room on the disk.",
    ),
    ProblemType(
        "key-reused",
        422,
        "This Idempotency-Key was used for another request",
        "A key stands for one request.",
        "Use a new key for a new request.",
    ),
    ProblemType(
        "key-in-use",
        409,
        "A request with this Idempotency-Key is being answered",
        "The first request with this key has not been answered yet.",
        "Send it again after the seconds of Retry-After.",
    ),
    ProblemType(
        "not-ended",
        409,
        "The job has not ended",
        "Its answer is there when it has; the best so far is at /best.",
        "Listen to its events, or ask again after the seconds of Retry-After.",
    ),
    ProblemType(
        "still-running",
        409,
        "The job runs",
        "To stop a job and to delete it are two things.",
        "POST to its /stop, then delete it.",
    ),
    ProblemType(
        "no-answer",
        404,
        "The job has no answer",
        "It was stopped or failed before there was one.",
        "Its record tells why; ask for it again, perhaps with more seconds.",
    ),
    ProblemType(
        "precondition-failed",
        412,
        "It is not as If-Match says",
        "It was changed, or the ETag belongs to something else.",
        "GET it again and use the ETag of that answer.",
    ),
    ProblemType(
        "precondition-required",
        428,
        "If-Match is needed here",
        "A patch is made to something that was read: If-Match says what.",
        "GET it and send the ETag of that answer as If-Match.",
    ),
    ProblemType(
        "no-token",
        401,
        "This service wants its token",
        "It listens to more than this machine, or was started with a token.",
        "Send the header Authorization: Bearer and the token.",
    ),
    ProblemType(
        "not-ready",
        503,
        "The service takes no new work",
        "It starts, closes, or has no room.",
        "Try again after the seconds of Retry-After.",
    ),
    ProblemType(
        "wrong-host",
        421,
        "This service answers to its own names only",
        "The Host header names another host, as in a DNS rebinding attack.",
        "Use 127.0.0.1, [::1] or localhost, or a name that it was started with.",
    ),
    ProblemType(
        "cross-site",
        403,
        "Requests from other sites are refused",
        "A page of another origin made this request.",
        "Send it from a program, or from a page that this service serves.",
    ),
    ProblemType(
        "not-found",
        404,
        "There is nothing at this address",
        "No operation has this address.",
        "GET /v1/docs lists the operations.",
    ),
    ProblemType(
        "method-not-allowed",
        405,
        "This address does not take this method",
        "The header Allow lists the methods that it takes.",
        "GET /v1/docs lists the operations.",
    ),
    ProblemType(
        "planner-failed",
        500,
        "The planner failed",
        "Its process ended or its own checker refused the plan. It is a fault in splitplan.",
        "Send it again, perhaps with another seed; keep the scenario for a report.",
    ),
    ProblemType(
        "server-error",
        500,
        "The service failed",
        "It is a fault in splitplan.",
        "Send it again; keep the request for a report.",
    ),
)
PROBLEM_TYPES: Mapping[str, ProblemType] = {one.name: one for one in _TYPES}


class RefusalError(Exception):
    """A request that is answered with problem details."""

    def __init__(
        self,
        name: str,
        detail: str,
        *,
        errors: Sequence[Mapping[str, Any]] = (),
        error_count: int | None = None,
        headers: Mapping[str, str] | None = None,
    ) -> None:
        super().__init__(detail)
        self.problem_type = PROBLEM_TYPES[name]
        self.detail = detail
        self.errors = list(errors)[:MOST_PROBLEMS_TOLD]
        self.error_count = error_count if error_count is not None else len(errors)
        self.headers = dict(headers or {})

    def body(self) -> dict[str, Any]:
        """Return the problem details object."""
        details: dict[str, Any] = {
            "type": self.problem_type.uri,
            "title": self.problem_type.title,
            "status": self.problem_type.status,
            "detail": self.detail,
        }
        if self.error_count:
            details |= {"errors": self.errors, "error_count": self.error_count}
        return details

    def response(self) -> Response:
        """Return the answer."""
        return Response(
            json.dumps(self.body()).encode("ascii"),
            status_code=self.problem_type.status,
            media_type=MEDIA_TYPE,
            headers=self.headers,
        )


def scenario_refusal(errors: ScenarioErrors, name: str = "invalid-scenario") -> RefusalError:
    """Return the refusal of a scenario: at most 20 errors and how many there are."""
    count = len(errors.problems) + errors.left_out
    words = "1 thing has" if count == 1 else f"{count} things have"
    return RefusalError(
        name,
        f"{words} to be mended.",
        errors=[_error(problem) for problem in errors.problems[:MOST_PROBLEMS_TOLD]],
        error_count=count,
    )


def _error(problem: Problem) -> dict[str, str]:
    return {
        "pointer": problem.pointer,
        "place": problem.place,
        "value": problem.value,
        "remedy": problem.remedy,
    }


def problem_schema() -> dict[str, Any]:
    """Return the JSON Schema of the problem details."""
    text = {"type": "string"}
    return {
        "title": "Problem",
        "description": "Problem details (RFC 9457).",
        "type": "object",
        "required": ["type", "title", "status", "detail"],
        "properties": {
            "type": {**text, "format": "uri-reference"},
            "title": text,
            "status": {"type": "integer", "minimum": 400, "maximum": 599},
            "detail": text,
            "error_count": {"type": "integer", "minimum": 1},
            "errors": {
                "type": "array",
                "maxItems": MOST_PROBLEMS_TOLD,
                "items": {
                    "type": "object",
                    "properties": {
                        "pointer": {**text, "description": "JSON Pointer (RFC 6901)"},
                        "parameter": text,
                        "place": text,
                        "value": {**text, "description": "What was found, clipped"},
                        "remedy": text,
                    },
                },
            },
        },
    }
