"""One attempt at a job: a child does it, and here are its deadline, its stop and its best so far.

Whatever the child does (crash, hang in native code, be killed, run out of memory) this returns
within the deadline, harms no other job, and keeps the best checked answer that was told.
"""

from __future__ import annotations

import json
import queue
import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any, Protocol

from api.limits import MOST_PROBLEMS_TOLD
from api.service.children import Child, Children
from api.service.messages import unpacked
from api.service.records import Document, Ending, Order, Outline, State
from api.service.settings import Settings

_LISTEN_SECONDS = 0.02
_PROGRESS_SECONDS = 0.1

NO_ANSWER = Outline("no answer")

_SENTENCES = {
    "crashed": "The planner's process ended, which is a fault in splitplan.",
    "refused": "The checker refused the plan, which is a fault in splitplan; it is not shown.",
    "memory": "The job needed more memory than one job may take.",
    "hung": "The planner did not answer at its deadline and was ended.",
    "killed": "The planner's process was killed from outside.",
    "lost": "The worker that did the job was lost.",
    "invalid": "The scenario cannot be used as it is.",
}


class Channel(Protocol):
    """Who hears of an attempt, and who may stop it."""

    def on_progress(self, progress: Mapping[str, Any]) -> None:
        """Hear how it goes."""

    def on_kept(self, outline: Outline, document: Document) -> None:
        """Hear of the best answer so far."""

    def stop_asked(self) -> bool:
        """Whether the best so far is wanted now."""

    def quit_asked(self) -> bool:
        """Whether nothing is wanted any more."""


class QuitError(Exception):
    """Nobody wants the answer any more; the child was ended."""


@dataclass
class _Attempt:
    """What is known of the attempt so far."""

    kept: tuple[Document, ...] = ()
    outline: Outline = NO_ANSWER
    stop_at: float | None = None
    """When the child was asked to stop."""
    by_user: bool = False
    phase: str = ""
    told_at: float = 0.0

    def tells(self, phase: str) -> bool:
        """Whether progress is told on: of one phase no more often than now and then."""
        now = time.monotonic()
        same = phase == self.phase and phase != "better plan"
        if same and now - self.told_at <= _PROGRESS_SECONDS:
            return False
        self.told_at, self.phase = now, phase
        return True


def supervise(
    order: Order,
    channel: Channel,
    *,
    run: str,
    children: Children,
    settings: Settings,
    clock: Callable[[], float] = time.monotonic,
) -> Ending:
    """Run an order in a child and return how it ended; raises QuitError.

    ``run`` names the function that the child calls, as "module:function".
    """
    attempt = _Attempt()
    with children.taken() as child:
        began = clock()  # the deadline is no matter of the wall clock, which may jump
        child.order(_written(order, run, settings, among=len(children.pids)))
        while True:
            try:
                message = child.next_message(_LISTEN_SECONDS)
            except queue.Empty:
                pass
            else:
                ending = _heard(message, child, attempt, channel)
                if ending is not None:
                    return ending
            if channel.quit_asked():
                raise QuitError
            ending = _in_time(clock() - began, order, child, attempt, channel, settings)
            if ending is not None:
                return ending


def _written(order: Order, run: str, settings: Settings, *, among: int) -> bytes:
    """Return the order as the child reads it, one of ``among`` that share the processors."""
    head = {
        "run": run,
        "memory_bytes": settings.memory_bytes,
        "niceness": settings.niceness,
        "among": among,
    }
    told = json.dumps(head)[:-1] + ', "inputs": ' + order.inputs + "}"
    return told.encode("utf-8")


def _heard(
    message: bytes | None, child: Child, attempt: _Attempt, channel: Channel
) -> Ending | None:
    """Take one message in; return the ending if it is the last."""
    if message is None:
        return _lost(child, attempt)
    try:
        told, documents = unpacked(message)
        kind = told["is"]
        if kind == "progress":
            if attempt.tells(str(told["progress"]["phase"])):
                channel.on_progress(told["progress"])
            return None
        if kind == "kept":
            attempt.outline, attempt.kept = Outline.from_json(told["outline"]), documents
            channel.on_kept(attempt.outline, documents[0])
            return None
        if kind == "done":
            state: State = "stopped" if told["stopped"] and attempt.by_user else "finished"
            outline = Outline.from_json(told["outline"])
            return Ending(state, outline, documents=documents)
        if kind == "problems":
            return _failed("invalid", attempt, _listed(told))
        return _failed(told["how"], attempt, {"place": told.get("place", "")})
    except (ValueError, KeyError, TypeError, IndexError):
        return _failed("crashed", attempt, {"place": "a message that cannot be read"})


def _in_time(
    elapsed: float,
    order: Order,
    child: Child,
    attempt: _Attempt,
    channel: Channel,
    settings: Settings,
) -> Ending | None:
    """Pass a stop on, hold the deadline, and end a child that heeds neither."""
    late = elapsed > order.seconds + settings.deadline_grace
    if not attempt.by_user and channel.stop_asked():
        attempt.by_user, attempt.stop_at = True, elapsed
        child.stop()
    elif attempt.stop_at is None and late:
        attempt.stop_at = elapsed
        child.stop()
    if attempt.stop_at is None:
        return None
    patience = settings.stop_patience if attempt.by_user else settings.deadline_patience
    if elapsed - attempt.stop_at <= patience:
        return None
    if attempt.by_user:
        return Ending("stopped", attempt.outline, documents=attempt.kept)
    return _failed("hung", attempt)


def _lost(child: Child, attempt: _Attempt) -> Ending:
    code = child.exit_code(timeout=2.0)
    if attempt.by_user:
        return Ending("stopped", attempt.outline, documents=attempt.kept)
    signalled = "" if code is None or code >= 0 else f"signal {-code}"
    how = "killed" if signalled == "signal 9" else "crashed"
    return _failed(how, attempt, {"place": signalled})


def _failed(how: str, attempt: _Attempt, more: Mapping[str, Any] | None = None) -> Ending:
    return failed(how, attempt.outline, attempt.kept, more)


def failed(
    how: str,
    outline: Outline,
    kept: tuple[Document, ...],
    more: Mapping[str, Any] | None = None,
) -> Ending:
    """Return the ending of an attempt that failed, with the best answer that was kept."""
    sentence = _SENTENCES.get(how, _SENTENCES["crashed"])
    if kept:
        sentence += " Its best checked answer was kept."
    problem = {"how": how, "detail": sentence, **(more or {})}
    return Ending("failed", outline if kept else Outline(None), problem, kept)


def _listed(told: Mapping[str, Any]) -> dict[str, Any]:
    problems = told["problems"]
    return {
        "errors": problems[:MOST_PROBLEMS_TOLD],
        "error_count": len(problems) + int(told["left_out"]),
    }
