"""The HTTP application: its operations, and how errors become problem details."""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Mapping
from typing import Any

from fastapi import FastAPI
from starlette.exceptions import HTTPException
from starlette.requests import ClientDisconnect, Request
from starlette.responses import JSONResponse, RedirectResponse, Response

from api.command_line import version
from api.engine import Engine
from api.http.bodies import read_body
from api.http.docs_page import docs_page
from api.http.examples import EXAMPLES
from api.http.guards import SECURITY_HEADERS, Guards
from api.http.openapi import describe_api
from api.http.problems import PROBLEM_TYPES, RefusalError, scenario_refusal
from api.http.query import read_query
from api.http.solving import Turns, solve
from api.limits import (
    DEFAULT_REQUEST_SECONDS,
    LARGEST_SCENARIO_BYTES,
    LARGEST_SEED,
    LONGEST_REQUEST_SECONDS,
    MOST_BODY_SECONDS,
    MOST_OPTIONS,
    MOST_PROBLEMS_TOLD,
    MOST_WAITING_REQUESTS,
)
from api.option_table import OptionsAnswer, rows_of
from solver.data.errors import ScenarioErrors
from solver.data.job import Job
from solver.data.plan import Plan


def create_app(engine: Engine | None = None) -> FastAPI:
    """Return the application; ``engine`` stands in for the solver in tests."""
    if engine is None:
        from api.real_engine import real_engine

        engine = real_engine(niceness=10)
    app = FastAPI(
        title="splitplan",
        version=version(),
        openapi_url=None,
        docs_url=None,
        redoc_url=None,
        redirect_slashes=False,
    )
    app.add_middleware(Guards)
    app.state.turns = Turns(
        most_waiting=MOST_WAITING_REQUESTS, retry_after_seconds=round(DEFAULT_REQUEST_SECONDS)
    )
    _answer_errors(app)
    _add_operations(app, engine)
    return app


def _add_operations(app: FastAPI, engine: Engine) -> None:
    api = describe_api(engine, version())
    page, page_headers = docs_page(api)

    @app.post("/v1/plans")
    async def make_plan(request: Request) -> Response:
        query = read_query(request.query_params.multi_items(), ("seconds", "seed"))
        scenario, _ = await _scenario(engine, request)

        def work(left: Callable[[], bool]) -> Plan:
            return engine.plan(
                scenario, seconds=query["seconds"], seed=int(query["seed"]), should_quit=left
            )

        async with app.state.turns.turn(request):
            plan = await solve(work, request)
        return Response(plan.model_dump_json(), media_type="application/json")

    @app.post("/v1/options")
    async def find_options(request: Request) -> Response:
        query = read_query(
            request.query_params.multi_items(), ("seconds", "seed", "count", "differ")
        )
        scenario, job = await _scenario(engine, request)

        def work(left: Callable[[], bool]) -> tuple[Plan, ...]:
            return engine.options(
                scenario,
                count=int(query["count"]),
                differ_by=int(query["differ"]),
                seconds=query["seconds"],
                seed=int(query["seed"]),
                should_quit=left,
            )

        async with app.state.turns.turn(request):
            plans = await solve(work, request)
        answer = OptionsAnswer(options=plans, table=rows_of(plans, job))
        return Response(answer.model_dump_json(), media_type="application/json")

    @app.get("/v1/schema")
    async def scenario_schema() -> Response:
        return JSONResponse(engine.scenario_schema(), media_type="application/schema+json")

    @app.get("/v1/schema/resolved")
    async def resolved_schema() -> Response:
        return JSONResponse(engine.resolved_schema(), media_type="application/schema+json")

    @app.get("/v1/schema/plan")
    async def plan_schema() -> Response:
        return JSONResponse(Plan.model_json_schema(), media_type="application/schema+json")

    @app.get("/v1/health")
    async def health() -> Response:
        turns: Turns = app.state.turns
        return JSONResponse(
            {
                "status": "ok",
                "version": version(),
                "solving": turns.solving,
                "waiting": turns.waiting,
            }
        )

    @app.get("/v1/limits")
    async def limits() -> Response:
        return JSONResponse(limits_told())

    @app.get("/v1/examples")
    async def examples() -> Response:
        return JSONResponse(EXAMPLES)

    @app.get("/v1/problems/{name}")
    async def problem_type(name: str) -> Response:
        kind = PROBLEM_TYPES.get(name)
        if kind is None:
            raise RefusalError("not-found", "There is no such type of problem.")
        return JSONResponse(
            {
                "type": kind.uri,
                "status": kind.status,
                "title": kind.title,
                "meaning": kind.meaning,
                "remedy": kind.remedy,
            }
        )

    @app.get("/v1/openapi.json")
    async def openapi() -> Response:
        return JSONResponse(api)

    @app.get("/v1/docs")
    async def docs() -> Response:
        return Response(page, media_type="text/html; charset=utf-8", headers=page_headers)

    @app.get("/")
    async def front() -> Response:
        return RedirectResponse("/v1/docs", status_code=307)


async def _scenario(engine: Engine, request: Request) -> tuple[dict[str, Any], Job]:
    """Return the scenario of a body and its job, which the child that plans it reads again.

    Raises RefusalError (408, 413, 422), ClientDisconnect.
    """
    body = await read_body(
        request, largest_bytes=LARGEST_SCENARIO_BYTES, most_seconds=MOST_BODY_SECONDS
    )

    def read() -> tuple[dict[str, Any], Job]:
        scenario = engine.parse(body)
        return scenario, engine.read(scenario)

    try:
        return await asyncio.to_thread(read)
    except ScenarioErrors as errors:
        raise scenario_refusal(errors) from None


def limits_told() -> dict[str, Any]:
    """Return the limits of the service, as ``GET /v1/limits`` answers."""
    return {
        "largest_body_bytes": LARGEST_SCENARIO_BYTES,
        "most_body_seconds": MOST_BODY_SECONDS,
        "longest_seconds": LONGEST_REQUEST_SECONDS,
        "default_seconds": DEFAULT_REQUEST_SECONDS,
        "largest_seed": LARGEST_SEED,
        "most_options": MOST_OPTIONS,
        "solving_at_once": 1,
        "most_waiting": MOST_WAITING_REQUESTS,
        "most_errors_told": MOST_PROBLEMS_TOLD,
    }


def _answer_errors(app: FastAPI) -> None:
    async def refused(request: Request, error: Exception) -> Response:
        assert isinstance(error, RefusalError)
        return error.response()

    async def not_served(request: Request, error: Exception) -> Response:
        assert isinstance(error, HTTPException)
        headers: Mapping[str, str] = error.headers or {}
        if error.status_code == 405:
            return RefusalError(
                "method-not-allowed", "This method is not for this address.", headers=headers
            ).response()
        return RefusalError("not-found", "No operation has this address.").response()

    async def left(request: Request, error: Exception) -> Response:
        return Response(status_code=499)  # nobody reads it; the log shows why

    async def failed(request: Request, error: Exception) -> Response:
        answer = RefusalError(
            "server-error", "The service failed; its log has the trace."
        ).response()
        answer.headers.update(SECURITY_HEADERS)  # this answer is given outside the guards
        return answer

    app.add_exception_handler(RefusalError, refused)
    app.add_exception_handler(HTTPException, not_served)
    app.add_exception_handler(ClientDisconnect, left)
    app.add_exception_handler(Exception, failed)
