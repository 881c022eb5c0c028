"""Ctrl-C while a plan is made: once keeps the best plan so far, twice quits."""

from __future__ import annotations

import signal
from types import FrameType, TracebackType
from typing import Any

STOPPING = "Stopping: the best plan so far is kept. Ctrl-C again quits without one."
STOPPING_OPTIONS = "Stopping: the options so far are kept. Ctrl-C again quits without them."


class Interrupts:
    """Counts interrupts between enter and exit, where the handler that was there returns.

    The handler only counts: who waits asks, and tells the builder.
    """

    def __init__(self) -> None:
        self._count = 0
        self._before: Any = None

    def stop(self) -> bool:
        """Whether the planner should stop and give its best plan."""
        return self._count >= 1

    def quit(self) -> bool:
        """Whether to leave at once."""
        return self._count >= 2

    def __enter__(self) -> Interrupts:
        """Take over the interrupt signal."""
        self._before = signal.signal(signal.SIGINT, self._handle)
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        """Give the signal back."""
        signal.signal(signal.SIGINT, self._before)

    def _handle(self, number: int, frame: FrameType | None) -> None:
        self._count += 1
