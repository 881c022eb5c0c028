"""The operations on jobs: ask for one, look at it, listen, stop, take its answer, ask again."""

from __future__ import annotations

import asyncio
import json
import re
import time
from collections.abc import Callable
from typing import Any
from urllib.parse import urlencode

from fastapi import FastAPI
from starlette.requests import Request
from starlette.responses import JSONResponse, Response, StreamingResponse

from api.http.event_stream import event_stream
from api.http.job_records import job_told
from api.http.merge_patch import merge_patched
from api.http.preferences import idempotency_key, refuse_changed, unchanged, wait_seconds
from api.http.problems import RefusalError
from api.http.query import read_page
from api.http.reading import body_made, refuse_type
from api.limits import LARGEST_SCENARIO_BYTES
from api.service.records import RESULT, Document, NewJob, Record
from api.service.service import Service
from api.service.settings import MOST_LISTENERS, MOST_WAITING_ANSWERS
from api.service.store import KeyReusedError, QueueFullError, StoreFullError

_ID = re.compile(r"[0-9a-f]{24}")
_RETRY_SECONDS = "1"
_BUSY_SECONDS = "20"
MERGE_PATCH = "application/merge-patch+json"

_PAGE_POLICY = "default-src 'none'; style-src 'unsafe-inline'; frame-ancestors 'none'; sandbox"
"""Of papers that a browser shows: they may look as they do, and nothing else."""


class _Held:
    """What this process holds open: keys being answered, requests that wait, listeners."""

    def __init__(self) -> None:
        self.keys: set[str] = set()
        self.waiting = 0
        self.listeners = 0


def add_job_operations(app: FastAPI, service: Service) -> None:
    """Give the application its operations on jobs."""
    held = _Held()
    app.state.held = held

    @app.post("/v1/jobs")
    async def ask_for_job(request: Request) -> Response:
        read_page(request.query_params.multi_items(), known=())
        refuse_type(request, "application/json")
        return await _answered_once(service, held, request, _asked_plainly(service, request))

    @app.get("/v1/jobs")
    async def list_jobs(request: Request) -> Response:
        return _page(service, request)

    @app.get("/v1/jobs/{job_id}")
    async def job(job_id: str, request: Request) -> Response:
        record = _found(service, job_id)
        tag = _tag(service, record)
        if unchanged(request, tag):
            return Response(status_code=304, headers={"ETag": tag})
        return JSONResponse(_told(service, record, alone=True), headers={"ETag": tag})

    @app.delete("/v1/jobs/{job_id}")
    async def delete_job(job_id: str, request: Request) -> Response:
        record = _found(service, job_id)
        refuse_changed(request, _tag(service, record))
        gone = await _kept_room(service.delete, job_id)
        if gone is None:
            raise _no_job()
        if gone.state == "running":
            raise RefusalError("still-running", "Stop it first.")
        return Response(status_code=204)

    @app.post("/v1/jobs/{job_id}/stop")
    async def stop_job(job_id: str, request: Request) -> Response:
        record = _found(service, job_id)
        refuse_changed(request, _tag(service, record))
        stopped = await _kept_room(service.stop, job_id)
        if stopped is None:
            raise _no_job()
        tag = _tag(service, stopped)
        return JSONResponse(_told(service, stopped), 200 if stopped.ended else 202, {"ETag": tag})

    @app.get("/v1/jobs/{job_id}/events")
    async def job_events(job_id: str, request: Request) -> Response:
        _found(service, job_id)
        if held.listeners >= MOST_LISTENERS:
            raise RefusalError(
                "too-many-listeners",
                f"{MOST_LISTENERS} listen, the most that may.",
                headers={"Retry-After": _BUSY_SECONDS},
            )
        return StreamingResponse(_counted(service, held, job_id, request), headers=_STREAM)

    @app.get("/v1/jobs/{job_id}/request")
    async def job_request(job_id: str, request: Request) -> Response:
        record, asked = _request(service, job_id)
        tag = _request_tag(record)
        if unchanged(request, tag):
            return Response(status_code=304, headers={"ETag": tag})
        return Response(asked, media_type="application/json", headers={"ETag": tag})

    @app.post("/v1/jobs/{job_id}/request")
    async def ask_again(job_id: str, request: Request) -> Response:
        record, asked = _request(service, job_id)
        idempotency_key(request)
        refuse_type(request, MERGE_PATCH)
        refuse_changed(request, _request_tag(record), required=True)
        asked_again = _asked_again(service, request, json.loads(asked))
        return await _answered_once(service, held, request, asked_again)

    @app.get("/v1/jobs/{job_id}/result")
    async def job_result(job_id: str, request: Request) -> Response:
        record = _found(service, job_id)
        if not record.ended:
            raise RefusalError(
                "not-ended", f"It is {record.state}.", headers={"Retry-After": _RETRY_SECONDS}
            )
        return _document(service, record, request)

    @app.get("/v1/jobs/{job_id}/best")
    async def job_best(job_id: str, request: Request) -> Response:
        return _document(service, _found(service, job_id), request)

    @app.get("/v1/jobs/{job_id}/files/{name:path}")
    async def job_file(job_id: str, name: str, request: Request) -> Response:
        record = _found(service, job_id)
        if not record.ended or name == RESULT:
            raise RefusalError("not-found", "The job has no such file.")
        # the name is looked up in the store and is never a path of this machine
        document = service.store.document(record, name)
        if document is None:
            raise RefusalError("not-found", "The job has no such file.")
        return _file(document)


_Asked = Callable[[str | None], "asyncio.Future[NewJob] | Any"]


def _asked_plainly(service: Service, request: Request) -> _Asked:
    async def asked(key: str | None) -> NewJob:
        return await body_made(
            service,
            request,
            lambda tree: service.ready(tree, key),
            refused_as="invalid-job",
            whole="a job",
        )

    return asked


def _asked_again(service: Service, request: Request, before: dict[str, Any]) -> _Asked:
    async def asked(key: str | None) -> NewJob:
        def patched(patch: dict[str, Any]) -> NewJob:
            tree = merge_patched(before, patch)
            if len(json.dumps(tree)) > LARGEST_SCENARIO_BYTES:
                raise RefusalError(
                    "body-too-large",
                    f"The patched request is larger than {LARGEST_SCENARIO_BYTES:,} bytes.",
                )
            return service.ready(tree, key)

        return await body_made(
            service, request, patched, refused_as="invalid-job", whole="a merge patch"
        )

    return asked


async def _answered_once(
    service: Service, held: _Held, request: Request, asked: _Asked
) -> Response:
    """Take a job on and answer; a second request with the same key waits for the first."""
    key = idempotency_key(request)
    if key is not None and key in held.keys:
        raise RefusalError(
            "key-in-use",
            "The first request with this key is being answered.",
            headers={"Retry-After": _RETRY_SECONDS},
        )
    if key is not None:
        held.keys.add(key)
    try:
        new = await asked(key)
        record = await taken_on(service, new)
        return await _accepted(service, held, request, record)
    finally:
        if key is not None:
            held.keys.discard(key)


async def taken_on(service: Service, new: NewJob) -> Record:
    """Keep a job; raises RefusalError (422, 429, 503, 507)."""
    try:
        record, _ = await asyncio.to_thread(service.add, new)
    except KeyReusedError:
        raise RefusalError("key-reused", "This key came with another request before.") from None
    except QueueFullError:
        raise RefusalError(
            "queue-full",
            f"{service.settings.most_queued:,} jobs wait, the most that may.",
            headers={"Retry-After": _BUSY_SECONDS},
        ) from None
    except StoreFullError:
        raise _no_room() from None
    return record


async def _accepted(service: Service, held: _Held, request: Request, record: Record) -> Response:
    seconds = wait_seconds(request)
    headers = {"Location": f"/v1/jobs/{record.id}"}
    if seconds is not None and held.waiting < MOST_WAITING_ANSWERS:
        held.waiting += 1
        try:
            record = await ended(service, record.id, seconds, request) or record
        finally:
            held.waiting -= 1
        headers["Preference-Applied"] = f"wait={seconds}"
    headers["ETag"] = _tag(service, record)
    if not record.ended:
        headers["Retry-After"] = _RETRY_SECONDS
    return JSONResponse(_told(service, record), 200 if record.ended else 202, headers)


async def ended(
    service: Service, job_id: str, seconds: float, request: Request | None = None
) -> Record | None:
    """Return the record of a job when it has ended, or as it is after the seconds.

    None where it is gone.  With a request the wait ends early when its client has left.
    """
    loop = asyncio.get_running_loop()
    news = asyncio.Event()
    until = time.monotonic() + seconds

    def listener() -> None:
        loop.call_soon_threadsafe(news.set)

    service.board.listen(job_id, listener)
    try:
        while True:
            news.clear()
            record = service.store.record(job_id)
            left = until - time.monotonic()
            if record is None or record.ended or left <= 0 or service.leaving:
                return record
            try:
                await asyncio.wait_for(news.wait(), min(left, 0.5))
            except TimeoutError:
                if request is not None and await request.is_disconnected():
                    return record
    finally:
        service.board.leave(job_id, listener)


_STREAM = {"content-type": "text/event-stream; charset=utf-8", "x-accel-buffering": "no"}


async def _counted(service: Service, held: _Held, job_id: str, request: Request) -> Any:  # noqa: ANN401
    held.listeners += 1
    try:
        async for piece in event_stream(service, job_id, request):
            yield piece
    finally:
        held.listeners -= 1


def _page(service: Service, request: Request) -> Response:
    asked = read_page(request.query_params.multi_items(), kinds=tuple(service.kinds))
    limit = int(asked.pop("limit"))
    records = service.store.page(limit=limit + 1, **asked)
    more, records = len(records) > limit, records[:limit]
    following = None
    headers = {}
    if more:
        given = {key: value for key, value in asked.items() if value is not None}
        query = urlencode({"limit": limit, **given, "before": records[-1].number})
        following = f"/v1/jobs?{query}"
        headers["Link"] = f'<{following}>; rel="next"'
    told = {"jobs": [_told(service, one) for one in records], "next": following}
    return JSONResponse(told, headers=headers)


def _found(service: Service, job_id: str) -> Record:
    record = service.store.record(job_id) if _ID.fullmatch(job_id) else None
    if record is None:
        raise _no_job()
    return record


def _request(service: Service, job_id: str) -> tuple[Record, str]:
    found = service.store.request(job_id) if _ID.fullmatch(job_id) else None
    if found is None:
        raise _no_job()
    return found


def _no_job() -> RefusalError:
    return RefusalError("not-found", "There is no such job.")


def _no_room() -> RefusalError:
    return RefusalError("store-full", "The store has no room; nothing was lost.")


async def _kept_room(change: Callable[[str], Record | None], job_id: str) -> Record | None:
    try:
        return await asyncio.to_thread(change, job_id)
    except StoreFullError:
        raise _no_room() from None


def _told(service: Service, record: Record, *, alone: bool = False) -> dict[str, Any]:
    progress, _ = service.board.progress(record.id)
    ahead = service.store.ahead(record) if alone and record.state == "queued" else None
    return job_told(record, progress, ahead)


def _tag(service: Service, record: Record) -> str:
    count = service.board.progress(record.id)[1] if record.state == "running" else 0
    return f'"{record.version}.{count}"'


def _request_tag(record: Record) -> str:
    return f'"{record.digest[:32]}"'


def _document(service: Service, record: Record, request: Request) -> Response:
    tag = f'"{record.version}"'
    if unchanged(request, tag):
        return Response(status_code=304, headers={"ETag": tag})
    document = service.store.document(record, RESULT)
    if document is None:
        raise RefusalError("no-answer", "It has none.")
    return Response(document.content, media_type=document.media_type, headers={"ETag": tag})


def _file(document: Document) -> Response:
    headers = {"Content-Disposition": "attachment"}
    if document.media_type.startswith(("text/html", "image/svg")):
        headers = {"Content-Security-Policy": _PAGE_POLICY}
    elif document.media_type == "application/pdf":
        headers = {}
    return Response(document.content, headers={**headers, "Content-Type": document.media_type})
