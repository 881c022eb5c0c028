"""How a command ends: where its words go, and its exit codes."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TextIO

from solver.data.plan import Plan

DONE = 0
NOT_SO = 1
BAD_INPUT = 2
NO_PLAN_YET = 3
FAILED = 4
INTERRUPTED = 130


@dataclass(frozen=True)
class Streams:
    """Where results and messages go."""

    out: TextIO
    err: TextIO


def plans_code(plans: Sequence[Plan]) -> int:
    """Return the exit code of one plan or several: done where there is any."""
    if any(plan.cost is not None for plan in plans):
        return DONE
    return NOT_SO if any(plan.status == "impossible" for plan in plans) else NO_PLAN_YET
