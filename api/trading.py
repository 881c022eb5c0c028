"""Trade-offs: the function for a child process, what it is asked, and its answer as data."""

from __future__ import annotations

from collections.abc import Callable
from typing import Annotated, Any

from pydantic import BaseModel, ConfigDict, Field

from api.limits import LARGEST_SEED, LONGEST_SECONDS
from solver.data.job import Job
from solver.data.plan import Plan, Progress

DEFAULT_SECONDS = 60.0
"""Time for all plans of a trade-off where nothing is said."""


class TradeOffAsked(BaseModel):
    """A trade-off as it is asked for over HTTP."""

    model_config = ConfigDict(extra="forbid", strict=True, allow_inf_nan=False, frozen=True)

    scenario: dict[str, Any] = Field(description="the scenario, as people write it or spelled out")
    waste: bool = Field(default=False, description="whether waste is weighed too")
    seconds: Annotated[float, Field(gt=0, le=LONGEST_SECONDS)] = Field(
        default=DEFAULT_SECONDS, description="time for all plans"
    )
    seed: Annotated[int, Field(ge=0, le=LARGEST_SEED)] = 0


class TradePoint(BaseModel):
    """One unbeaten plan; money, minutes with the allowance, kilograms."""

    model_config = ConfigDict(frozen=True)

    plan: str
    """Its id."""
    metal: float
    minutes: float
    waste_kg: float
    cost: float
    """Metal, joints and labor, unweighted."""
    sections: int
    pieces: int
    supported: bool
    """Whether some price of an hour makes it the best of those found."""
    least_minutes: float | None
    """Proven: no plan that spends no more on metal takes fewer minutes."""
    least_metal: float | None
    """Proven: no plan that takes no more minutes spends less on metal."""
    hour_price: float | None
    """Money for metal that an hour saved costs from this plan to the next; null of the last."""


class TradeOffAnswer(BaseModel):
    """Plans that no other plan found beats, least metal first."""

    model_config = ConfigDict(frozen=True)

    plans: tuple[Plan, ...]
    """The one that says why where there is no plan."""
    points: tuple[TradePoint, ...]
    """One for each plan; none where there is no plan."""
    waste: bool
    asked: int
    """Questions that the model was asked."""
    nested: int
    """Plans that were nested and put together."""


def trade_off_here(
    job: Job,
    *,
    waste: bool = False,
    seconds: float | None = None,
    seed: int = 0,
    on_progress: Callable[[Progress], None] | None = None,
    should_stop: Callable[[], bool] | None = None,
) -> TradeOffAnswer:
    """Return the unbeaten plans of a job, each checked, made in this process.

    Raises PlanNotShownError where the checker refuses one.
    """
    from api.solve_child import PlanNotShownError
    from solver.planner.plan_job import PlanRejectedError
    from solver.planner.tradeoff import trade_off

    try:
        found = trade_off(
            job,
            waste=waste,
            seconds=seconds,
            seed=seed,
            on_progress=on_progress,
            should_stop=should_stop,
        )
    except PlanRejectedError as refusal:
        raise PlanNotShownError(str(refusal)) from refusal
    points = tuple(
        TradePoint(
            plan=one.plan.id,
            metal=one.metal,
            minutes=one.minutes,
            waste_kg=one.waste_kg,
            cost=0.0 if one.plan.cost is None else one.plan.cost.total,
            sections=len(one.plan.sections),
            pieces=len(one.plan.pieces),
            supported=one.supported,
            least_minutes=one.least_minutes,
            least_metal=one.least_metal,
            hour_price=one.hour_price,
        )
        for one in found.points
    )
    plans = found.plans if found.answer is None else (found.answer,)
    return TradeOffAnswer(
        plans=plans, points=points, waste=waste, asked=found.asked, nested=found.nested
    )
