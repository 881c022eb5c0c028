"""Integer programs that end when asked to.

scipy's `milp` looks at its own clock only, and on large programs not even often.  Where it may
have to end early it runs in a thread that is left behind; it then ends by itself, about at its
time limit.
"""

from __future__ import annotations

import math
import threading
from dataclasses import dataclass

import numpy as np
from scipy.optimize import Bounds, LinearConstraint, milp

from solver.data.until import FOREVER, Until
from solver.models.release import Array

LEAST_SECONDS = 0.05
_POLL_SECONDS = 0.05
_GRACE_SECONDS = 0.5
_LONGEST_LEFT_BEHIND = 20.0
"""Where somebody may ask to stop, no program is given more seconds at once."""


@dataclass(frozen=True)
class Answer:
    """``x`` (None: none found), proven lower bound, and what is known of it."""

    x: Array | None
    bound: float
    optimal: bool
    infeasible: bool


NOTHING = Answer(None, -math.inf, optimal=False, infeasible=False)


def solve_integers(
    price: Array,
    rules: list[LinearConstraint],
    whole: Array,
    until: Until,
    *,
    relative_gap: float = 0.0,
    node_limit: int | None = None,
) -> Answer:
    """Minimise ``price . x`` over 0/1 variables (``whole`` 1) and shares of them (0)."""
    left = until.left()
    if until.over():
        return NOTHING
    may_stop = until.asked is not FOREVER.asked
    seconds = math.inf if left is None else max(LEAST_SECONDS, left)
    if may_stop:
        seconds = min(seconds, _LONGEST_LEFT_BEHIND)
    options: dict[str, float | int] = {"mip_rel_gap": relative_gap}
    if math.isfinite(seconds):
        options["time_limit"] = seconds
    if node_limit is not None:
        options["node_limit"] = node_limit
    answers: list[Answer] = []

    def run() -> None:
        answer = milp(
            price, constraints=rules, integrality=whole, bounds=Bounds(0.0, 1.0), options=options
        )
        bound = -math.inf if answer.mip_dual_bound is None else float(answer.mip_dual_bound)
        x = None if answer.x is None else np.asarray(answer.x, dtype=float)
        answers.append(Answer(x, bound, answer.status == 0, answer.status == 2))

    if not may_stop and until.moment is None:
        run()
        return answers[0]
    # its own end at the limit tells a bound, so it is waited for a little
    latest = Until(None if until.moment is None else until.moment + _GRACE_SECONDS, until.asked)
    worker = threading.Thread(target=run, daemon=True)
    worker.start()
    while worker.is_alive() and not latest.over():
        worker.join(_POLL_SECONDS)
    return answers[0] if answers else NOTHING
