"""The HTTP application: its operations, and how errors become problem details."""

from __future__ import annotations

import json
from collections.abc import AsyncIterator, Mapping
from contextlib import asynccontextmanager
from typing import Any

from fastapi import FastAPI
from starlette.exceptions import HTTPException
from starlette.requests import ClientDisconnect, Request
from starlette.responses import JSONResponse, RedirectResponse, Response

from api.command_line import version
from api.http.bodies import read_body
from api.http.docs_page import docs_page
from api.http.examples import EXAMPLES, job_examples
from api.http.guards import COOKIE, SECURITY_HEADERS, Access, Guards
from api.http.job_operations import add_job_operations
from api.http.openapi import describe_api
from api.http.plan_operations import add_plan_operations
from api.http.problems import PROBLEM_TYPES, RefusalError
from api.http.query import MOST_ON_PAGE
from api.http.reading import body_made, refuse_type
from api.limits import (
    DEFAULT_REQUEST_SECONDS,
    LARGEST_SCENARIO_BYTES,
    LARGEST_SEED,
    LONGEST_REQUEST_SECONDS,
    MOST_BODY_SECONDS,
    MOST_OPTIONS,
    MOST_PROBLEMS_TOLD,
)
from api.service.logs import log_event
from api.service.service import Service
from api.service.settings import (
    DEFAULT_JOB_SECONDS,
    LONGEST_JOB_SECONDS,
    MOST_LISTENERS,
    MOST_WAIT_SECONDS,
    Settings,
)
from solver.data.digest import digest_of
from solver.data.plan import Plan

_SESSION_BYTES = 4_096
_LONGEST_TOKEN = 1_000


def create_app(service: Service, access: Access | None = None) -> FastAPI:
    """Return the application of a service, which is started and closed with it."""
    access = access if access is not None else Access()

    @asynccontextmanager
    async def lifespan(app: FastAPI) -> AsyncIterator[None]:
        service.start()
        try:
            yield
        finally:
            service.close()

    app = FastAPI(
        title="splitplan",
        version=version(),
        openapi_url=None,
        docs_url=None,
        redoc_url=None,
        redirect_slashes=False,
        lifespan=lifespan,
    )
    app.add_middleware(Guards, access=access)
    _answer_errors(app)
    add_job_operations(app, service)
    add_plan_operations(app, service)
    _add_scenario_operations(app, service)
    _add_service_operations(app, service, access)
    return app


def _add_scenario_operations(app: FastAPI, service: Service) -> None:
    engine = service.engine

    @app.post("/v1/validate")
    async def validate(request: Request) -> Response:
        refuse_type(request, "application/json")

        def understood(scenario: dict[str, Any]) -> dict[str, Any]:
            job = engine.read(scenario)
            return {
                "valid": True,
                "title": job.title,
                "digest": digest_of(job),
                "patches": len(job.patches),
                "edges": len(job.edges),
                "understood": engine.describe(job),
            }

        return JSONResponse(await body_made(service, request, understood))

    @app.get("/v1/schema")
    async def scenario_schema() -> Response:
        return JSONResponse(engine.scenario_schema(), media_type="application/schema+json")

    @app.get("/v1/schema/resolved")
    async def resolved_schema() -> Response:
        return JSONResponse(engine.resolved_schema(), media_type="application/schema+json")

    @app.get("/v1/schema/plan")
    async def plan_schema() -> Response:
        return JSONResponse(Plan.model_json_schema(), media_type="application/schema+json")

    @app.get("/v1/examples")
    async def examples() -> Response:
        return JSONResponse({"scenarios": EXAMPLES, "jobs": job_examples(service.kinds)})


def _add_service_operations(app: FastAPI, service: Service, access: Access) -> None:
    api = describe_api(
        service.engine, version(), service.kinds, with_token=access.token is not None
    )
    page, page_headers = docs_page(api)

    @app.get("/v1/health")
    async def health() -> Response:
        return JSONResponse({"status": "ok", "version": version()})

    @app.get("/v1/ready")
    async def ready() -> Response:
        trouble = service.trouble
        if trouble is not None:
            raise RefusalError("not-ready", trouble, headers={"Retry-After": "5"})
        counts = service.store.counts()
        return JSONResponse(
            {
                "status": "ready",
                "running": service.running,
                "queued": counts.get("queued", 0),
                "kept": sum(counts.values()),
            }
        )

    @app.get("/v1/limits")
    async def limits() -> Response:
        return JSONResponse(limits_told(service.settings))

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

    @app.post("/v1/session")
    async def session(request: Request) -> Response:
        refuse_type(request, "application/json")
        body = await read_body(
            request, largest_bytes=_SESSION_BYTES, most_seconds=MOST_BODY_SECONDS
        )
        given = _token_in(body)
        if access.token is not None and not access.is_token(given):
            raise RefusalError("no-token", "It is not the token of this service.")
        answer = Response(status_code=204)
        if access.token is not None:
            answer.set_cookie(
                COOKIE,
                access.cookie_value(),
                httponly=True,
                samesite="strict",
                secure=request.headers.get("origin", "").startswith("https://"),
                path="/",
            )
        return answer

    @app.get("/v1/openapi.json")
    async def openapi() -> Response:
        return JSONResponse(api)

    @app.get("/v1/docs")
    async def docs() -> Response:
        return Response(page, media_type="text/html; charset=utf-8", headers=page_headers)

    @app.get("/")
    async def front() -> Response:
        return RedirectResponse("/v1/docs", status_code=307)


def _token_in(body: bytes) -> str:
    """Return the token of a body ``{"token": ...}``; raises RefusalError."""
    try:
        told = json.loads(body)
        token = told["token"]
        if isinstance(token, str) and 0 < len(token) <= _LONGEST_TOKEN and len(told) == 1:
            token.encode("utf-8")
            return token
    except (ValueError, TypeError, KeyError, RecursionError):
        pass
    remedy = 'one object: {"token": "..."}'
    raise RefusalError(
        "invalid-parameter",
        "The body tells no token.",
        errors=[{"parameter": "token", "remedy": remedy}],
    )


def limits_told(settings: Settings) -> dict[str, Any]:
    """Return the limits of the service, as ``GET /v1/limits`` answers."""
    return {
        "largest_body_bytes": LARGEST_SCENARIO_BYTES,
        "most_body_seconds": MOST_BODY_SECONDS,
        "longest_seconds": LONGEST_REQUEST_SECONDS,
        "default_seconds": DEFAULT_REQUEST_SECONDS,
        "longest_job_seconds": LONGEST_JOB_SECONDS,
        "default_job_seconds": DEFAULT_JOB_SECONDS,
        "largest_seed": LARGEST_SEED,
        "most_options": MOST_OPTIONS,
        "solving_at_once": settings.workers,
        "most_queued": settings.most_queued,
        "most_kept": settings.most_kept,
        "most_attempts": settings.most_attempts,
        "most_wait_seconds": MOST_WAIT_SECONDS,
        "most_listeners": MOST_LISTENERS,
        "most_on_page": MOST_ON_PAGE,
        "most_errors_told": MOST_PROBLEMS_TOLD,
        "most_memory_bytes": settings.memory_bytes,
        "most_store_bytes": settings.store_bytes,
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
        log_event("request failed", path=request.url.path[:120], error=type(error).__name__)
        answer = RefusalError(
            "server-error", "The service failed; its log has the trace."
        ).response()
        answer.headers.update(SECURITY_HEADERS)  # this answer is given outside the guards
        return answer

    app.add_exception_handler(RefusalError, refused)
    app.add_exception_handler(HTTPException, not_served)
    app.add_exception_handler(ClientDisconnect, left)
    app.add_exception_handler(Exception, failed)
