"""The solver as the outer face sees it: a handful of functions, imported when first needed.

The command line and the service take an Engine, so that a test can give them a planner of its own
and ``splitplan --help`` does not wait for solver libraries.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Protocol

from api.solve_apart import rerun_apart, tradeoff_apart
from api.trading import TradeOffAnswer
from solver.data.job import Job
from solver.data.plan import Plan, Progress

if TYPE_CHECKING:
    from solver.planner.what_if import WhatIf


class PlanFunction(Protocol):
    """Plans a scenario (as parsed JSON) somewhere, and can be stopped."""

    def __call__(
        self,
        scenario: dict[str, Any],
        *,
        seconds: float | None,
        seed: int,
        on_progress: Callable[[Progress], None] | None = None,
        should_stop: Callable[[], bool] | None = None,
        should_quit: Callable[[], bool] | None = None,
        on_wait: Callable[[], None] | None = None,
        explain: bool = False,
    ) -> Plan:
        """Return the plan; see `api.solve_apart.plan_apart`."""


class OptionsFunction(Protocol):
    """Makes several plans of a scenario that differ in their joints, and can be stopped."""

    def __call__(
        self,
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
    ) -> tuple[Plan, ...]:
        """Return the plans, the cheapest first; see `api.solve_apart.options_apart`."""


class RerunFunction(Protocol):
    """Plans a scenario again with what an old plan left, and can be stopped."""

    def __call__(
        self,
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
    ) -> Plan:
        """Return the plan; see `api.solve_apart.rerun_apart`."""


class TradeOffFunction(Protocol):
    """Finds the plans that nothing beats in metal and hours, and can be stopped."""

    def __call__(
        self,
        scenario: dict[str, Any],
        *,
        waste: bool,
        seconds: float | None,
        seed: int,
        on_progress: Callable[[Progress], None] | None = None,
        should_stop: Callable[[], bool] | None = None,
        should_quit: Callable[[], bool] | None = None,
        on_wait: Callable[[], None] | None = None,
    ) -> TradeOffAnswer:
        """Return the plans; see `api.solve_apart.tradeoff_apart`."""


@dataclass(frozen=True)
class Fault:
    """One thing that the checker found: the rule that is broken, where, and a sentence."""

    rule: str
    place: str
    sentence: str


@dataclass(frozen=True)
class Engine:
    """What the outer face needs from the solver."""

    parse: Callable[[bytes], dict[str, Any]]
    """Bytes to JSON, safe against hostile input; raises ScenarioErrors."""
    read: Callable[[dict[str, Any]], Job]
    """Parsed JSON to a job; raises ScenarioErrors."""
    with_goal: Callable[[dict[str, Any], str], dict[str, Any]]
    """The same scenario (parsed JSON) with another goal, by name."""
    describe: Callable[[Job], str]
    resolved: Callable[[Job], dict[str, Any]]
    """The resolved form of a job, as JSON values."""
    scenario_schema: Callable[[], dict[str, Any]]
    resolved_schema: Callable[[], dict[str, Any]]
    faults: Callable[[Job, Plan], tuple[Fault, ...]]
    """What the checker finds wrong with a plan."""
    plan: PlanFunction
    options: OptionsFunction
    what_if: Callable[[Job, WhatIf], Job]
    """The job with what the builder asks; raises ScenarioErrors."""
    rerun: RerunFunction = rerun_apart
    tradeoff: TradeOffFunction = tradeoff_apart
