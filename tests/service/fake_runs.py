"""Kinds of job for tests: what their child does is asked for in the body, and needs no solver."""

from __future__ import annotations

import ctypes
import json
import os
import signal
import time
from dataclasses import replace
from typing import Literal

import numpy

from api.real_engine import real_engine
from api.service.child import Answer
from api.service.kinds import Asked, Kind, Ready
from api.service.records import RESULT, Document, Outline
from solver.data.plan import Progress
from solver.models.ahead import processors

RUN = "tests.service.fake_runs:run"


class FakeAsked(Asked):
    kind: Literal["fake"]
    do: str = "answer"
    seconds: float = 5.0
    title: str = "a fake"


def prepare(body, engine, finished):
    return Ready(body.title, body.seconds, {"do": body.do, "title": body.title})


KIND = Kind("fake", "A job of a test", FakeAsked, prepare, RUN, "Fake", lambda: {"Fake": {}})
KINDS = {"fake": KIND}
ENGINE = replace(
    real_engine(),  # fake jobs read no scenario, and what is read of others is not in question
    scenario_schema=lambda: {"type": "object"},
    resolved_schema=lambda: {"type": "object"},
)


def answer(outcome, best):
    content = json.dumps({"best": best}).encode()
    return Answer(
        Outline(outcome, {"cost": best}), (Document(RESULT, "application/json", content),)
    )


def run(inputs, hears):
    """Keep a first answer, then do what is asked."""
    do, _, more = inputs["do"].partition(" ")
    if do == "answer":
        return answer("done", 1.0)
    if do == "sleep":
        time.sleep(float(more))
        return answer("done", 1.0)
    if do != "nothing-yet":
        hears.on_progress(Progress(phase="fake", seconds=0.0, best=7.0, bound=5.0, gap=0.1))
        hears.keep(answer("stopped", 7.0))
    if do == "work":  # as a planner does: better and better until it is stopped
        best = 7.0
        while not hears.should_stop():
            time.sleep(0.01)
            best = max(best - 0.1, 5.0)
            hears.on_progress(Progress(phase="fake", seconds=0.0, best=best, bound=5.0, gap=0.1))
        return answer("stopped", best)
    if do == "killed":
        os.kill(os.getpid(), signal.SIGKILL)
    if do == "exits":
        os._exit(7)
    if do == "segfault":
        ctypes.string_at(0)
    if do == "raises":
        raise ZeroDivisionError("words of the scenario")
    if do == "memory":
        return answer("done", float(numpy.empty(6 << 30, "uint8").size))
    if do == "frozen":  # as native code that never comes back
        os.kill(os.getpid(), signal.SIGSTOP)
    if do in ("deaf", "nothing-yet"):  # busy, and heeding nothing
        signal.signal(signal.SIGTERM, signal.SIG_IGN)
        while True:
            time.sleep(0.01)
    if do == "reports":
        share = f"nice {os.nice(0)} on {processors()} processors"
        return answer(f"{share} pid {os.getpid()} of {os.getppid()}", 1.0)
    raise AssertionError(do)
