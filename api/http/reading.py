"""A request's body read safely: size, time and everything hostile in JSON have their limits."""

from __future__ import annotations

import asyncio
from collections.abc import Callable
from dataclasses import replace
from typing import Any, TypeVar

from starlette.requests import Request

from api.http.bodies import read_body
from api.http.problems import RefusalError, scenario_refusal
from api.limits import LARGEST_SCENARIO_BYTES, MOST_BODY_SECONDS
from api.service.service import Service
from solver.data.errors import Problem, ScenarioErrors

_Made = TypeVar("_Made")


async def body_made(
    service: Service,
    request: Request,
    make: Callable[[dict[str, Any]], _Made],
    *,
    refused_as: str = "invalid-scenario",
    whole: str = "a scenario",
) -> _Made:
    """Return what ``make`` makes of the JSON object of a body.

    ``make`` runs in a thread and may raise ScenarioErrors.  Raises RefusalError (408, 413, 415,
    422), ClientDisconnect.
    """
    body = await read_body(
        request, largest_bytes=LARGEST_SCENARIO_BYTES, most_seconds=MOST_BODY_SECONDS
    )

    def read() -> _Made:
        return make(service.engine.parse(body))

    try:
        return await asyncio.to_thread(read)
    except ScenarioErrors as errors:
        told = [_of_body(one, whole) for one in errors.problems]
        raise scenario_refusal(ScenarioErrors(told, errors.left_out), refused_as) from None


def _of_body(problem: Problem, whole: str) -> Problem:
    """Speak of a body where a file is spoken of."""
    place = "the body" if problem.place == "the file" else problem.place
    remedy = problem.remedy
    if whole != "a scenario" and remedy.startswith("a scenario is one object"):
        remedy = f"{whole} is one JSON object"
    return replace(problem, place=place, remedy=remedy.replace("the file", "the body"))


def refuse_type(request: Request, media_type: str) -> None:
    """Raise RefusalError (415) unless the body is of this type."""
    given = request.headers.get("content-type", "").partition(";")[0].strip().lower()
    if given != media_type:
        raise RefusalError("not-json", f"The header Content-Type must be {media_type}.")
