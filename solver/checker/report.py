"""What the checker answers: faults, each with its rule, its place and a sentence with figures."""

from __future__ import annotations

from dataclasses import dataclass

from solver.data.plan import Cost


@dataclass(frozen=True)
class Fault:
    """One broken rule at one place."""

    rule: str
    """The name that the rule has everywhere."""
    place: str
    """Such as `piece "P3"` or `edge "lid | frame"`."""
    sentence: str
    """What is there and what the rule asks, with figures."""


@dataclass(frozen=True)
class CheckReport:
    """All faults of a plan, and its cost counted again."""

    faults: tuple[Fault, ...]
    cost: Cost | None
    """Recomputed; None for a plan without sections, or one that cannot be read."""

    @property
    def ok(self) -> bool:
        """Whether the plan keeps every rule."""
        return not self.faults
