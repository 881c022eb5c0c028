"""What passes between store, supervisor and interface: plain frozen records."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, Literal

State = Literal["queued", "running", "finished", "stopped", "failed"]
STATES: tuple[State, ...] = ("queued", "running", "finished", "stopped", "failed")
ENDED: frozenset[str] = frozenset({"finished", "stopped", "failed"})

RESULT = "result"
"""Name of the document that is a job's answer."""


@dataclass(frozen=True)
class Document:
    """One stored answer or file of a job."""

    name: str
    media_type: str
    content: bytes


@dataclass(frozen=True)
class Outline:
    """The light words and figures of an answer, for the job's record."""

    outcome: str | None = None
    """As a plan's status: proven, within gap, stopped, impossible, no answer; of others "done"."""
    figures: Mapping[str, Any] = field(default_factory=dict)
    explanation: tuple[str, ...] = ()
    """Why nothing is possible, in sentences."""

    def as_json(self) -> dict[str, Any]:
        """Return it as JSON values."""
        return {
            "outcome": self.outcome,
            "figures": dict(self.figures),
            "explanation": list(self.explanation),
        }

    @classmethod
    def from_json(cls, told: Mapping[str, Any]) -> Outline:
        """Return it from JSON values."""
        return cls(told["outcome"], told["figures"], tuple(told["explanation"]))


@dataclass(frozen=True)
class NewJob:
    """A job that is asked for, checked and ready to be kept."""

    kind: str
    title: str
    group: str
    seconds: float
    request: str
    """What was asked, as JSON text, the same for equal requests."""
    inputs: str
    """What the child is given, as JSON text."""
    digest: str
    """Of the request."""
    key: str | None = None
    """The client's Idempotency-Key."""


@dataclass(frozen=True)
class Order:
    """A job that was claimed: this attempt at it, and no other, may end it."""

    number: int
    id: str
    attempt: int
    kind: str
    seconds: float
    inputs: str


@dataclass(frozen=True)
class Ending:
    """How an attempt ended."""

    state: State
    outline: Outline = Outline()
    problem: Mapping[str, Any] | None = None
    """Of a failed job: ``how`` it failed and a sentence."""
    documents: tuple[Document, ...] = ()


@dataclass(frozen=True)
class Record:
    """What is known of a job without its request and answer; times in seconds since 1970."""

    number: int
    id: str
    kind: str
    title: str
    group: str
    seconds: float
    state: State
    version: int
    """Grows with every change."""
    attempt: int
    stop_asked: bool
    created_at: float
    started_at: float | None
    ended_at: float | None
    digest: str
    outline: Outline
    problem: Mapping[str, Any] | None

    @property
    def ended(self) -> bool:
        """Whether nothing more will happen to it."""
        return self.state in ENDED
