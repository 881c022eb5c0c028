"""Integer programs that end when asked to: scipy's `milp`, left behind where it must be."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy.optimize import Bounds, LinearConstraint, milp

from solver.data.until import FOREVER, Until
from solver.models.ended_when_asked import ended_when_asked
from solver.models.release import Array

LEAST_SECONDS = 0.05
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

    def run() -> Answer:
        answer = milp(
            price, constraints=rules, integrality=whole, bounds=Bounds(0.0, 1.0), options=options
        )
        bound = -math.inf if answer.mip_dual_bound is None else float(answer.mip_dual_bound)
        x = None if answer.x is None else np.asarray(answer.x, dtype=float)
        return Answer(x, bound, answer.status == 0, answer.status == 2)

    # its own end at the limit tells a bound, so it is waited for a little
    latest = Until(None if until.moment is None else until.moment + _GRACE_SECONDS, until.asked)
    return ended_when_asked(run, latest) or NOTHING
