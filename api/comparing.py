"""Comparisons: what is asked over HTTP, and the answer as JSON."""

from __future__ import annotations

from typing import Annotated, Any

from pydantic import BaseModel, ConfigDict, Field, TypeAdapter

from solver.data.plan import Plan
from solver.planner.compare import Comparison, compare

MOST_COMPARED = 6
"""Plans beside one another: what a table of 80 columns holds."""


class CompareAsked(BaseModel):
    """Two plans or more, as splitplan gave them."""

    model_config = ConfigDict(extra="forbid", allow_inf_nan=False, frozen=True)

    plans: Annotated[tuple[Plan, ...], Field(min_length=2, max_length=MOST_COMPARED)]


_COMPARISON: TypeAdapter[Comparison] = TypeAdapter(Comparison)


def comparison_json(comparison: Comparison, *, indent: int | None = None) -> str:
    """Return a comparison as JSON."""
    return _COMPARISON.dump_json(comparison, indent=indent).decode()


def comparison_schema() -> dict[str, Any]:
    """Return the JSON Schema of a comparison."""
    return _COMPARISON.json_schema()


def compared(asked: CompareAsked) -> Comparison:
    """Return the comparison of the plans of a request; it takes no search, and no child."""
    return compare(asked.plans)
