"""One solve at a time, few waiting, and none for a client that has left."""

from __future__ import annotations

import asyncio
import logging
import threading
from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager
from typing import TypeVar

from starlette.requests import ClientDisconnect, Request

from api.http.problems import RefusalError, scenario_refusal
from api.solve_apart import SolveError
from solver.data.errors import ScenarioErrors

_log = logging.getLogger("splitplan")
_LISTEN_SECONDS = 0.1

_Result = TypeVar("_Result")


class Turns:
    """Who may solve now and who waits; of one event loop."""

    def __init__(self, *, most_waiting: int, retry_after_seconds: int) -> None:
        self._most_waiting = most_waiting
        self._retry_after_seconds = retry_after_seconds
        self._lock = asyncio.Lock()
        self._inside = 0

    @property
    def solving(self) -> bool:
        """Whether a plan is being made."""
        return self._inside > 0

    @property
    def waiting(self) -> int:
        """How many requests wait for their turn."""
        return max(self._inside - 1, 0)

    @asynccontextmanager
    async def turn(self, request: Request) -> AsyncIterator[None]:
        """Wait for a turn; raises RefusalError (429) where too many wait, ClientDisconnect."""
        if self._inside > self._most_waiting:
            raise RefusalError(
                "too-busy",
                f"{self.waiting} requests wait already, the most that may.",
                headers={"Retry-After": str(self._retry_after_seconds)},
            )
        self._inside += 1
        try:
            await self._acquire(request)
            try:
                yield
            finally:
                self._lock.release()
        finally:
            self._inside -= 1

    async def _acquire(self, request: Request) -> None:
        acquiring = asyncio.ensure_future(self._lock.acquire())
        try:
            await _unless_left(request, acquiring)
        except BaseException:
            if acquiring.done() and not acquiring.cancelled():  # the turn came too late
                self._lock.release()
            raise


async def solve(work: Callable[[Callable[[], bool]], _Result], request: Request) -> _Result:
    """Return what the work gives; it is told when nobody waits any more.

    Raises RefusalError (422, 500), ClientDisconnect.
    """
    left = threading.Event()
    solving = asyncio.ensure_future(asyncio.to_thread(work, left.is_set))
    try:
        return await _unless_left(request, asyncio.shield(solving))
    except ScenarioErrors as errors:
        raise scenario_refusal(errors) from None
    except SolveError as failure:
        # The message may hold words of the scenario, so only its kind and type are logged.
        _log.error("planner %s: %s", failure.kind, str(failure).partition(":")[0][:100])
        raise RefusalError("planner-failed", f"The planner {failure.kind}.") from failure
    finally:
        left.set()
        if not solving.done():  # the turn is given back only when the child has ended
            await asyncio.wait([solving])
        if not solving.cancelled():
            solving.exception()  # taken, so that nobody complains of SolveQuitError


async def _unless_left(request: Request, awaited: asyncio.Future[_Result]) -> _Result:
    """Await something as long as the client is there; raises ClientDisconnect."""
    try:
        while not awaited.done():
            await asyncio.wait([awaited], timeout=_LISTEN_SECONDS)
            if not awaited.done() and await request.is_disconnected():
                raise ClientDisconnect
        return awaited.result()
    finally:
        awaited.cancel()
