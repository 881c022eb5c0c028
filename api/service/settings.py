"""What the service is told at its start, each limit named once."""

from __future__ import annotations

import os
from dataclasses import dataclass, field
from pathlib import Path

MOST_QUEUED = 1_000
"""Jobs that may wait; the next one is told to come back later."""

MOST_KEPT = 20_000
"""Jobs in the store; beyond that some must be deleted first."""

MOST_LISTENERS = 500
"""Open streams of events."""

MOST_WAITING_ANSWERS = 200
"""Requests held by ``Prefer: wait``; beyond that the answer is 202 at once."""

MOST_WAIT_SECONDS = 120
"""The longest that a request is held by ``Prefer: wait``."""

MOST_ATTEMPTS = 3
"""A job whose service ended this often while it ran is not tried again."""

LONGEST_JOB_SECONDS = 3_600.0
DEFAULT_JOB_SECONDS = 20.0

LARGEST_ANSWER_BYTES = 512 << 20
"""Of one message of a child: more than any plan or any papers."""

LEAST_MEMORY_BYTES = 1 << 30
"""Address space that the libraries take alone is some 400 MB."""


def default_folder() -> Path:
    """Return where jobs are kept unless told otherwise."""
    state = os.environ.get("XDG_STATE_HOME", "")
    base = Path(state) if state.startswith("/") else Path.home() / ".local" / "state"
    return base / "splitplan"


@dataclass(frozen=True)
class Settings:
    """How the service runs; times in seconds."""

    folder: Path = field(default_factory=default_folder)
    workers: int = field(default_factory=lambda: max(1, os.cpu_count() or 1))
    """Solves at once on this machine."""
    memory_bytes: int = 4 << 30
    """Address space of one child, held by the operating system."""
    niceness: int = 10
    stop_patience: float = 0.2
    """What a child gets to answer a stop before it is ended and its best checked plan taken."""
    deadline_grace: float = 15.0
    """What building, checking and nesting may take beyond the seconds of a job."""
    deadline_patience: float = 5.0
    """What a child gets to answer the deadline before it is ended."""
    most_queued: int = MOST_QUEUED
    most_kept: int = MOST_KEPT
    most_attempts: int = MOST_ATTEMPTS
    store_bytes: int = 8 << 30
    """The store never grows beyond this."""
    cluster: str | None = None
    """Address of a Dask scheduler; None solves on this machine."""
