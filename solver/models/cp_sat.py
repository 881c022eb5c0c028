"""CP-SAT as all models use it: one worker, work counted in its own steps, ended when asked."""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager

from ortools.sat.python import cp_model

from solver.data.until import FOREVER, Until

STOP_POLL_SECONDS = 0.05


def new_solver(*, work: float, seconds: float | None, seed: int) -> cp_model.CpSolver:
    """Return a solver with a deterministic work limit, guarded by a wall-clock limit.

    ``work`` is CP-SAT's deterministic time: the same limit ends at the same point on any machine.
    """
    solver = cp_model.CpSolver()
    parameters = solver.parameters
    parameters.num_workers = 1
    parameters.linearization_level = 2
    parameters.random_seed = seed
    parameters.max_deterministic_time = work
    if seconds is not None:
        parameters.max_time_in_seconds = max(0.01, seconds)
    return solver


@contextmanager
def watched(solver: cp_model.CpSolver, should_stop: Callable[[], bool] | None) -> Iterator[None]:
    """Ask the solver to stop, again and again, once a stop is wanted.

    A stop asked for before the search has begun is lost, so asking once would not do.
    """
    if should_stop is None:
        yield
        return
    ended = threading.Event()

    def watch() -> None:
        while not ended.wait(STOP_POLL_SECONDS):
            if should_stop():
                solver.stop_search()

    watcher = threading.Thread(target=watch, daemon=True)
    watcher.start()
    try:
        yield
    finally:
        ended.set()
        watcher.join()


def decide(
    solver: cp_model.CpSolver, model: cp_model.CpModel, until: Until
) -> tuple[bool | None, float]:
    """Whether a model without an objective has an answer, None if unknown, and the work spent."""
    with watched(solver, None if until.asked is FOREVER.asked else until.asked):
        status = solver.solve(model)
    spent = float(solver.response_proto.deterministic_time)
    if status == cp_model.INFEASIBLE:
        return False, spent
    return (True if status in (cp_model.OPTIMAL, cp_model.FEASIBLE) else None), spent
