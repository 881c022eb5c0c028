"""The child process that makes one plan or several: JSON lines in, JSON lines out.

In: one request ``{"scenario", "seconds", "seed", "niceness"}``, with ``{"explain": true}`` where
the plan is to say what its purchases are worth, for several plans with
``{"options": {"count", "differ_by"}}``, for a rerun ``{"rerun": {"old_plan", "record"}}``, for a
trade-off ``{"tradeoff": {"waste"}}``, then perhaps a line ``stop``; when the input ends, so does
the child, so that none is left behind.
Out: any number of ``{"progress": ...}``, then one of
``{"plans": [...]}``, ``{"tradeoff"}``, ``{"problems"}``, ``{"refused"}``, ``{"crashed"}``.
Native libraries that print get stderr: the protocol has a copy of stdout to itself.
"""

from __future__ import annotations

import contextlib
import json
import os
import sys
import threading
import traceback
from collections.abc import Callable
from dataclasses import asdict
from functools import partial
from typing import Any, BinaryIO, Protocol

from solver.data.errors import ScenarioErrors
from solver.data.job import Job
from solver.data.plan import Plan, Progress


class PlanJob(Protocol):
    """The planner: `solver.planner.plan_job.plan_job`."""

    def __call__(
        self,
        job: Job,
        *,
        seconds: float | None,
        seed: int,
        on_progress: Callable[[Progress], None] | None,
        should_stop: Callable[[], bool] | None,
        explain: bool = False,
    ) -> Plan:
        """Return a checked plan."""


class FindOptions(Protocol):
    """The planner of several plans: `api.real_engine.options_here`."""

    def __call__(
        self,
        job: Job,
        *,
        count: int,
        differ_by: int,
        seconds: float | None,
        seed: int,
        on_progress: Callable[[Progress], None] | None,
        should_stop: Callable[[], bool] | None,
    ) -> tuple[Plan, ...]:
        """Return checked plans."""


class PlanNotShownError(Exception):
    """The checker refused the planner's own result: there is a fault in the program."""


def serve_one(
    read: Callable[[dict[str, Any]], Job],
    plan_job: PlanJob,
    find_options: FindOptions,
    lines_in: BinaryIO,
    lines_out: BinaryIO,
    *,
    on_end_of_input: Callable[[], None],
) -> None:
    """Answer one request; ``on_end_of_input`` is called if the parent goes away."""
    request = json.loads(lines_in.readline())
    stop = threading.Event()
    writing = threading.Lock()

    def listen() -> None:
        for line in lines_in:
            if line.strip() == b"stop":
                stop.set()
        on_end_of_input()

    def send(answer: dict[str, Any]) -> None:
        with writing:
            lines_out.write(json.dumps(answer, allow_nan=False).encode("ascii") + b"\n")
            lines_out.flush()

    threading.Thread(target=listen, name="listen to the parent", daemon=True).start()
    try:
        if request.get("niceness"):
            with contextlib.suppress(OSError, AttributeError):  # not on every system
                os.nice(int(request["niceness"]))
        if "tradeoff" in request:
            from api.trading import trade_off_here

            answer = trade_off_here(
                read(request["scenario"]),
                seconds=request["seconds"],
                seed=request["seed"],
                on_progress=lambda progress: send({"progress": progress.model_dump(mode="json")}),
                should_stop=stop.is_set,
                **request["tradeoff"],
            )
            send({"tradeoff": answer.model_dump(mode="json")})
            return
        kind = "options" if "options" in request else "rerun" if "rerun" in request else ""
        makers: dict[str, Callable[..., tuple[Plan, ...]]]
        makers = {"options": find_options, "rerun": _again, "": _alone(plan_job)}
        make = partial(
            makers[kind],
            request["scenario"] if kind == "rerun" else read(request["scenario"]),
            seconds=request["seconds"],
            seed=request["seed"],
            on_progress=lambda progress: send({"progress": progress.model_dump(mode="json")}),
            should_stop=stop.is_set,
        )
        how = {"explain": True} if request.get("explain") else request.get(kind, {})
        plans = make(**how)
        send({"plans": [plan.model_dump(mode="json") for plan in plans]})
    except ScenarioErrors as errors:
        problems = [asdict(problem) for problem in errors.problems]
        send({"problems": problems, "left_out": errors.left_out})
    except PlanNotShownError as refusal:
        send({"refused": str(refusal)})
    except BrokenPipeError:
        on_end_of_input()
    except Exception as trouble:  # the parent must hear of anything that goes wrong
        traceback.print_exc()
        send({"crashed": f"{type(trouble).__name__}: {trouble}"})


def _alone(plan_job: PlanJob) -> Callable[..., tuple[Plan, ...]]:
    return lambda job, **how: (plan_job(job, **how),)


def _again(
    scenario: dict[str, Any],
    *,
    old_plan: dict[str, Any],
    record: dict[str, Any],
    seconds: float | None,
    seed: int,
    on_progress: Callable[[Progress], None] | None,
    should_stop: Callable[[], bool] | None,
) -> tuple[Plan, ...]:
    from api.rerunning import rerun

    plan = rerun(
        old_plan,
        scenario,
        record,
        seconds=seconds,
        seed=seed,
        on_progress=on_progress,
        should_stop=should_stop,
    )
    return (plan,)


def main() -> None:
    """Run as ``python -m api.solve_child``."""
    protocol = os.fdopen(os.dup(sys.stdout.fileno()), "wb")
    os.dup2(sys.stderr.fileno(), sys.stdout.fileno())
    from api.collecting import collect_seldom
    from api.real_engine import options_here, plan_here, read_job

    collect_seldom()
    serve_one(
        read_job,
        plan_here,
        options_here,
        sys.stdin.buffer,
        protocol,
        on_end_of_input=lambda: os._exit(0),
    )
    protocol.flush()
    os._exit(0)  # a listening thread and native threads would hold an ordinary exit


if __name__ == "__main__":
    main()
