"""Plan in a child process, so that a crash harms nothing and Ctrl-C is always heard.

The parent owns the deadline: a child that has not answered well after its time is told to stop,
and one that does not answer then is ended.
"""

from __future__ import annotations

import json
import os
import queue
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import IO, Any

from pydantic import ValidationError

from api.trading import TradeOffAnswer
from solver.data.errors import Problem, ScenarioErrors
from solver.data.plan import Plan, Progress

GRACE_SECONDS = 60.0
"""What building, checking and nesting may take beyond the given seconds before a child is told to
stop, and again before it is ended."""

_POLL_SECONDS = 0.05
_KEPT_LINES = 20


class SolveError(Exception):
    """The child crashed, hung or was refused by the checker; ``kind`` says which."""

    def __init__(self, kind: str, message: str) -> None:
        super().__init__(message)
        self.kind = kind


class SolveQuitError(Exception):
    """The caller did not want the plan any more; the child was ended."""


def plan_apart(
    scenario: dict[str, Any],
    *,
    seconds: float | None,
    seed: int,
    on_progress: Callable[[Progress], None] | None = None,
    should_stop: Callable[[], bool] | None = None,
    should_quit: Callable[[], bool] | None = None,
    on_wait: Callable[[], None] | None = None,
    explain: bool = False,
    niceness: int = 0,
    command: Sequence[str] = (sys.executable, "-m", "api.solve_child"),
    grace_seconds: float = GRACE_SECONDS,
) -> Plan:
    """Return the plan that a child process makes of a scenario (JSON values).

    ``should_stop`` asks for the best plan so far, ``should_quit`` ends the child; both are asked
    often, as ``on_wait`` is called.  ``explain`` asks what the plan's purchases are worth.
    Raises ScenarioErrors, SolveError, SolveQuitError.
    """
    return _plan_apart(
        {
            "scenario": scenario,
            "seconds": seconds,
            "seed": seed,
            "niceness": niceness,
            **({"explain": True} if explain else {}),
        },
        _Listener(on_progress, should_stop, should_quit, on_wait),
        command,
        grace_seconds,
    )


def options_apart(
    scenario: dict[str, Any],
    *,
    count: int,
    differ_by: int,
    seconds: float | None,
    seed: int,
    on_progress: Callable[[Progress], None] | None = None,
    should_stop: Callable[[], bool] | None = None,
    should_quit: Callable[[], bool] | None = None,
    on_wait: Callable[[], None] | None = None,
    niceness: int = 0,
    command: Sequence[str] = (sys.executable, "-m", "api.solve_child"),
    grace_seconds: float = GRACE_SECONDS,
) -> tuple[Plan, ...]:
    """Return up to ``count`` plans that differ by ``differ_by`` joints, the cheapest first.

    The list is empty where the time was over, or a stop came, before the first.  ``seconds`` is for
    all of them; ``should_stop`` asks for the options so far.  Otherwise as `plan_apart`.
    """
    return _plans_apart(
        {
            "scenario": scenario,
            "seconds": seconds,
            "seed": seed,
            "niceness": niceness,
            "options": {"count": count, "differ_by": differ_by},
        },
        _Listener(on_progress, should_stop, should_quit, on_wait),
        command,
        grace_seconds,
    )


def rerun_apart(
    scenario: dict[str, Any],
    *,
    old_plan: dict[str, Any],
    record: dict[str, Any],
    seconds: float | None,
    seed: int,
    on_progress: Callable[[Progress], None] | None = None,
    should_stop: Callable[[], bool] | None = None,
    should_quit: Callable[[], bool] | None = None,
    on_wait: Callable[[], None] | None = None,
    niceness: int = 0,
    command: Sequence[str] = (sys.executable, "-m", "api.solve_child"),
    grace_seconds: float = GRACE_SECONDS,
) -> Plan:
    """Return the plan of what is still to do, for what an old plan left (JSON values).

    Otherwise as `plan_apart`.
    """
    return _plan_apart(
        {
            "scenario": scenario,
            "seconds": seconds,
            "seed": seed,
            "niceness": niceness,
            "rerun": {"old_plan": old_plan, "record": record},
        },
        _Listener(on_progress, should_stop, should_quit, on_wait),
        command,
        grace_seconds,
    )


def tradeoff_apart(
    scenario: dict[str, Any],
    *,
    waste: bool,
    seconds: float | None,
    seed: int,
    on_progress: Callable[[Progress], None] | None = None,
    should_stop: Callable[[], bool] | None = None,
    should_quit: Callable[[], bool] | None = None,
    on_wait: Callable[[], None] | None = None,
    niceness: int = 0,
    command: Sequence[str] = (sys.executable, "-m", "api.solve_child"),
    grace_seconds: float = GRACE_SECONDS,
) -> TradeOffAnswer:
    """Return the plans that nothing found beats in metal and hours.

    Otherwise as `plan_apart`.
    """
    answer = _answer_apart(
        {
            "scenario": scenario,
            "seconds": seconds,
            "seed": seed,
            "niceness": niceness,
            "tradeoff": {"waste": waste},
        },
        _Listener(on_progress, should_stop, should_quit, on_wait),
        command,
        grace_seconds,
    )
    if "tradeoff" not in answer:
        raise SolveError("crashed", "the planner's process answered something else")
    try:
        return TradeOffAnswer.model_validate(answer["tradeoff"])
    except ValidationError as error:
        raise SolveError("crashed", f"the plans came back broken: {error}") from None


@dataclass(frozen=True)
class _Listener:
    """Who hears of the progress, and who may stop or quit."""

    on_progress: Callable[[Progress], None] | None
    should_stop: Callable[[], bool] | None
    should_quit: Callable[[], bool] | None
    on_wait: Callable[[], None] | None

    @property
    def stops(self) -> bool:
        return self.should_stop is not None and self.should_stop()

    @property
    def quits(self) -> bool:
        return self.should_quit is not None and self.should_quit()


def _plan_apart(
    request: dict[str, Any], listener: _Listener, command: Sequence[str], grace_seconds: float
) -> Plan:
    plans = _plans_apart(request, listener, command, grace_seconds)
    if len(plans) != 1:
        raise SolveError("crashed", f"the planner's process answered {len(plans)} plans for one")
    return plans[0]


def _plans_apart(
    request: dict[str, Any], listener: _Listener, command: Sequence[str], grace_seconds: float
) -> tuple[Plan, ...]:
    answer = _answer_apart(request, listener, command, grace_seconds)
    try:
        return tuple(Plan.model_validate(plan) for plan in answer["plans"])
    except (KeyError, ValidationError) as error:
        raise SolveError("crashed", f"the plan came back broken: {error}") from None


def _answer_apart(
    request: dict[str, Any], listener: _Listener, command: Sequence[str], grace_seconds: float
) -> dict[str, Any]:
    seconds = request["seconds"]
    child = subprocess.Popen(
        list(command),
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        # small matrices only: threads of the linear algebra would fight over the cores
        env={"OPENBLAS_NUM_THREADS": "1", **os.environ},
        start_new_session=True,  # a Ctrl-C in the terminal is for the parent to pass on
    )
    assert child.stdin is not None
    assert child.stdout is not None
    assert child.stderr is not None
    answers: queue.SimpleQueue[bytes | None] = queue.SimpleQueue()
    last_words: list[str] = []
    readers = [
        threading.Thread(target=_pass_on, args=(child.stdout, answers), daemon=True),
        threading.Thread(target=_remember, args=(child.stderr, last_words), daemon=True),
    ]
    for reader in readers:
        reader.start()
    began = time.monotonic()
    stop_sent_at: float | None = None
    try:
        _send(child.stdin, json.dumps(request).encode("ascii"))
        while True:
            try:
                line = answers.get(timeout=_POLL_SECONDS)
            except queue.Empty:
                line = b""
            if line is None:
                child.wait()
                readers[1].join(timeout=1.0)
                raise SolveError("crashed", _ending(child.returncode, last_words))
            if line:
                answer = _understood(line)
                if "progress" not in answer:
                    return _result(answer)
                if listener.on_progress is not None:
                    listener.on_progress(Progress.model_validate(answer["progress"]))
            if listener.on_wait is not None:
                listener.on_wait()
            if listener.quits:
                raise SolveQuitError
            now = time.monotonic()
            late = seconds is not None and now - began > seconds + grace_seconds
            if stop_sent_at is None and (late or listener.stops):
                _send(child.stdin, b"stop")
                stop_sent_at = now
            if stop_sent_at is not None and now - stop_sent_at > grace_seconds:
                raise SolveError(
                    "hung", f"the planner did not stop within {grace_seconds:g} s and was ended"
                )
    finally:
        child.kill()
        child.wait()
        for reader in readers:
            reader.join(timeout=1.0)
        for stream in (child.stdin, child.stdout, child.stderr):
            _close(stream)


def _close(stream: IO[bytes]) -> None:
    try:
        stream.close()
    except OSError:  # what was not sent to an ended child
        return


def _send(stream: IO[bytes], line: bytes) -> None:
    try:
        stream.write(line + b"\n")
        stream.flush()
    except OSError:  # the child has ended: its last answer tells why
        return


def _pass_on(stream: IO[bytes], answers: queue.SimpleQueue[bytes | None]) -> None:
    for line in stream:
        answers.put(line)
    answers.put(None)


def _remember(stream: IO[bytes], last_words: list[str]) -> None:
    for line in stream:
        last_words.append(line[:400].decode("utf-8", "replace").rstrip())
        del last_words[:-_KEPT_LINES]


def _ending(code: int, last_words: list[str]) -> str:
    how = f"by signal {-code}" if code < 0 else f"with code {code}"
    words = f": {last_words[-1]}" if last_words else ""
    return f"the planner's process ended {how}{words}"


def _understood(line: bytes) -> dict[str, Any]:
    try:
        answer = json.loads(line)
    except ValueError:
        answer = None
    if not isinstance(answer, dict):
        raise SolveError("crashed", "the planner's process answered what is no JSON object")
    return answer


def _result(answer: dict[str, Any]) -> dict[str, Any]:
    """Return an answer that is a result; raises what else it tells."""
    if "problems" in answer:
        problems = [Problem(**problem) for problem in answer["problems"]]
        raise ScenarioErrors(problems, answer.get("left_out", 0))
    if "refused" in answer:
        raise SolveError("refused", str(answer["refused"]))
    if "plans" not in answer and "tradeoff" not in answer:
        raise SolveError("crashed", str(answer.get("crashed", "an unknown answer came")))
    return answer
