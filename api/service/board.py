"""The board of events: what happens to jobs, for whoever listens, with numbers to resume from.

Every event is a whole picture of its job, so one that is missed costs nothing.  Its id is
``version.count``: the version of the stored record, which outlives the service, and a count of the
progress told since.
"""

from __future__ import annotations

import re
import threading
from collections import deque
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any

_KEPT = 128
"""Events that a listener may have missed and still gets one by one."""

_ID = re.compile(r"([0-9]{1,12})\.([0-9]{1,12})")

EventId = tuple[int, int]


def event_id(text: str) -> EventId | None:
    """Return the id that a client gives back; None where it is none."""
    found = _ID.fullmatch(text)
    return None if found is None else (int(found[1]), int(found[2]))


@dataclass(frozen=True)
class Event:
    """One thing that happened: ``name`` is state or progress."""

    id: EventId
    name: str
    data: Mapping[str, Any]

    @property
    def id_text(self) -> str:
        """The id as it is written."""
        return f"{self.id[0]}.{self.id[1]}"


@dataclass
class _Topic:
    last: EventId = (0, 0)
    progress: Mapping[str, Any] | None = None
    events: deque[Event] = field(default_factory=lambda: deque(maxlen=_KEPT))
    listeners: set[Callable[[], None]] = field(default_factory=set)
    ended: bool = False


class Board:
    """Events of jobs that run or are listened to; any thread may use it."""

    def __init__(self) -> None:
        self._topics: dict[str, _Topic] = {}
        self._lock = threading.Lock()

    def tell_state(self, job_id: str, version: int, data: Mapping[str, Any], ended: bool) -> None:
        """Tell that the stored record changed."""
        with self._lock:
            topic = self._topics.setdefault(job_id, _Topic())
            if (version, 0) <= topic.last:  # told already, or overtaken by a later change
                return
            topic.ended = ended
            self._tell(topic, Event((version, 0), "state", data))
            self._forget(job_id, topic)

    def tell_progress(self, job_id: str, data: Mapping[str, Any]) -> None:
        """Tell how a running job goes."""
        with self._lock:
            topic = self._topics.setdefault(job_id, _Topic())
            topic.progress = data
            number = (topic.last[0], topic.last[1] + 1)
            self._tell(topic, Event(number, "progress", data))

    def progress(self, job_id: str) -> tuple[Mapping[str, Any] | None, int]:
        """Return the last progress of a running job, and its count since the record changed."""
        with self._lock:
            topic = self._topics.get(job_id)
            return (None, 0) if topic is None else (topic.progress, topic.last[1])

    def forget_progress(self, job_id: str) -> None:
        """Begin anew: another attempt knows nothing yet."""
        with self._lock:
            topic = self._topics.get(job_id)
            if topic is not None:
                topic.progress = None

    def listen(self, job_id: str, listener: Callable[[], None]) -> None:
        """Call ``listener`` (quickly, from any thread) at each event of a job."""
        with self._lock:
            self._topics.setdefault(job_id, _Topic()).listeners.add(listener)

    def leave(self, job_id: str, listener: Callable[[], None]) -> None:
        """Call it no more."""
        with self._lock:
            topic = self._topics.get(job_id)
            if topic is not None:
                topic.listeners.discard(listener)
                self._forget(job_id, topic)

    def since(self, job_id: str, last: EventId) -> list[Event] | None:
        """Return the events after an id; None where some of them are no longer kept."""
        with self._lock:
            topic = self._topics.get(job_id)
            if topic is None or not topic.events:
                return None
            if last < topic.events[0].id and topic.events[0].id != (last[0], last[1] + 1):
                return None
            return [event for event in topic.events if event.id > last]

    @property
    def topics(self) -> int:
        """How many jobs it knows."""
        with self._lock:
            return len(self._topics)

    def _tell(self, topic: _Topic, event: Event) -> None:
        topic.last = event.id
        topic.events.append(event)
        for listener in topic.listeners:
            listener()

    def _forget(self, job_id: str, topic: _Topic) -> None:
        if not topic.listeners and (topic.ended or not topic.events):
            self._topics.pop(job_id, None)
