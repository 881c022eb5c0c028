"""Live events of a job as server-sent events, resumable by Last-Event-ID."""

from __future__ import annotations

import asyncio
import json
from collections.abc import AsyncIterator, Mapping
from typing import Any

from starlette.requests import Request

from api.http.job_records import job_told
from api.service.board import Event, EventId, event_id
from api.service.records import Record
from api.service.service import Service

_BREATH_SECONDS = 15.0
_LISTEN_SECONDS = 1.0
RETRY_MS = 2_000


async def event_stream(service: Service, job_id: str, request: Request) -> AsyncIterator[bytes]:
    """Give what happened since Last-Event-ID, or how things stand, then everything as it happens.

    Each event's data is a job's record, or its progress.  The stream ends when the job has ended.
    """
    loop = asyncio.get_running_loop()
    news = asyncio.Event()

    def listener() -> None:
        loop.call_soon_threadsafe(news.set)

    service.board.listen(job_id, listener)
    try:
        yield f"retry: {RETRY_MS}\n\n".encode("ascii")
        last = event_id(request.headers.get("last-event-id", "").strip())
        silence = 0.0
        while True:
            news.clear()
            events = None if last is None else service.board.since(job_id, last)
            if events is None:
                events = _now(service, job_id, last)
            for event in events:
                last = event.id
                yield _written(event)
                silence = 0.0
                if _is_last(event):
                    return
            if last is None or service.leaving:  # the job is gone, or we go
                return
            try:
                await asyncio.wait_for(news.wait(), _LISTEN_SECONDS)
            except TimeoutError:
                silence += _LISTEN_SECONDS
                if silence >= _BREATH_SECONDS:
                    silence = 0.0
                    yield b": still here\n\n"
    finally:
        service.board.leave(job_id, listener)


def _now(service: Service, job_id: str, last: EventId | None) -> list[Event]:
    """Return how things stand as one event; nothing where the listener knows it."""
    record = service.store.record(job_id)
    if record is None:
        return []
    progress, count = service.board.progress(job_id)
    now = (record.version, count)
    if last == now and not record.ended:
        return []
    return [Event(now, "state", {"record": record, "progress": progress})]


def _is_last(event: Event) -> bool:
    record = event.data.get("record")
    ended = isinstance(record, Record) and record.ended
    return ended or event.data.get("state") == "deleted"


def _written(event: Event) -> bytes:
    data: Mapping[str, Any] = event.data
    record = data.get("record")
    if isinstance(record, Record):
        data = job_told(record, data.get("progress"))
    text = json.dumps(data, allow_nan=False)
    return f"id: {event.id_text}\nevent: {event.name}\ndata: {text}\n\n".encode("ascii")
