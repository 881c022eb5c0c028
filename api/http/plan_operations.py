"""One request, one answer: a plan or options while the client waits; leaving ends the work."""

from __future__ import annotations

import asyncio
from dataclasses import replace
from typing import Any

from fastapi import FastAPI
from starlette.requests import ClientDisconnect, Request
from starlette.responses import Response

from api.http.job_operations import ended, taken_on
from api.http.problems import RefusalError
from api.http.query import read_query
from api.http.reading import body_made, refuse_type
from api.service.records import RESULT, NewJob
from api.service.service import Service
from solver.data.errors import ScenarioErrors

_LISTEN_SECONDS = 5.0


def add_plan_operations(app: FastAPI, service: Service) -> None:
    """Give the application the operations that answer with plans at once."""

    @app.post("/v1/plans")
    async def make_plan(request: Request) -> Response:
        query = read_query(request.query_params.multi_items(), ("seconds", "seed"))
        asked = {"kind": "plan", "seconds": query["seconds"], "seed": int(query["seed"])}
        return await _answered(service, request, asked)

    @app.post("/v1/options")
    async def find_options(request: Request) -> Response:
        known = ("seconds", "seed", "count", "differ")
        query = read_query(request.query_params.multi_items(), known)
        asked = {"kind": "options", "seconds": query["seconds"], "seed": int(query["seed"])}
        asked |= {"count": int(query["count"]), "differ_by": int(query["differ"])}
        return await _answered(service, request, asked)


async def _answered(service: Service, request: Request, asked: dict[str, Any]) -> Response:
    """Do a job while its client waits, and keep nothing of it."""
    refuse_type(request, "application/json")

    def ready(scenario: dict[str, Any]) -> NewJob:
        try:
            return service.ready({**asked, "scenario": scenario})
        except ScenarioErrors as errors:  # the body is the scenario itself
            own = [
                replace(
                    one,
                    pointer=one.pointer.removeprefix("/scenario"),
                    place="the body" if one.place == "scenario" else one.place,
                )
                for one in errors.problems
            ]
            raise ScenarioErrors(own, errors.left_out) from None

    new = await body_made(service, request, ready)
    job = await taken_on(service, new)
    try:
        while True:
            record = await ended(service, job.id, _LISTEN_SECONDS, request)
            if record is None or await request.is_disconnected():
                raise ClientDisconnect
            if record.ended:
                break
            if service.leaving:
                raise RefusalError("not-ready", "The service is closing.")
        document = service.store.document(record, RESULT)
        if record.state == "failed" or document is None:
            how = "failed" if record.problem is None else str(record.problem["how"])
            raise RefusalError("planner-failed", f"The planner ended: {how}.")
        return Response(document.content, media_type=document.media_type)
    finally:
        await asyncio.shield(asyncio.to_thread(service.delete, job.id, running=True))
