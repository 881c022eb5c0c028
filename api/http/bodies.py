"""Reading a request's body with a limit on its size and on the time it takes."""

from __future__ import annotations

import asyncio

from starlette.requests import ClientDisconnect, Request

from api.http.problems import RefusalError


async def read_body(request: Request, *, largest_bytes: int, most_seconds: float) -> bytes:
    """Return the whole body; raises RefusalError (413, 408) and ClientDisconnect."""
    stated = request.headers.get("content-length", "")
    if stated.isascii() and stated.isdigit() and (len(stated) > 18 or int(stated) > largest_bytes):
        raise _too_large(largest_bytes)
    try:
        async with asyncio.timeout(most_seconds):
            return await _collected(request, largest_bytes)
    except TimeoutError:
        raise RefusalError(
            "body-too-slow", f"The body did not arrive within {most_seconds:g} s."
        ) from None


async def _collected(request: Request, largest_bytes: int) -> bytes:
    chunks: list[bytes] = []
    size = 0
    async for chunk in request.stream():
        size += len(chunk)
        if size > largest_bytes:
            raise _too_large(largest_bytes)
        chunks.append(chunk)
    return b"".join(chunks)


def _too_large(largest_bytes: int) -> RefusalError:
    return RefusalError("body-too-large", f"The largest body is {largest_bytes:,} bytes.")


__all__ = ["ClientDisconnect", "read_body"]
