"""Points of a trade-off: which are beaten, what lies between neighbours, what an hour costs."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Protocol, TypeVar

MONEY = 0.005
"""Amounts of money nearer than half a cent are one."""
MOST_PLANS = 24
"""Plans shown of a trade-off."""
MINUTES = 0.05
WASTE_KG = 0.005


class Figures(Protocol):
    """What a plan is weighed by: money for metal, minutes with the allowance, waste."""

    @property
    def metal(self) -> float:
        """Money for metal."""

    @property
    def minutes(self) -> float:
        """All operations with the allowance."""

    @property
    def waste_kg(self) -> float:
        """What is neither blank nor usable offcut."""


Some = TypeVar("Some", bound=Figures)


@dataclass(frozen=True)
class Point:
    """Figures by themselves."""

    metal: float
    minutes: float
    waste_kg: float = 0.0


def beats(one: Figures, other: Figures, *, waste: bool = False) -> bool:
    """Whether one is nowhere worse than another and somewhere better."""
    pairs = [
        (one.metal, other.metal, MONEY),
        (one.minutes, other.minutes, MINUTES),
    ]
    if waste:
        pairs.append((one.waste_kg, other.waste_kg, WASTE_KG))
    return all(a <= b + slack for a, b, slack in pairs) and any(
        a < b - slack for a, b, slack in pairs
    )


def as_good(one: Figures, other: Figures, *, waste: bool = False) -> bool:
    """Whether one is nowhere worse than another."""
    return (
        one.metal <= other.metal + MONEY
        and one.minutes <= other.minutes + MINUTES
        and (not waste or one.waste_kg <= other.waste_kg + WASTE_KG)
    )


def unbeaten(points: Iterable[Some], *, waste: bool = False) -> tuple[Some, ...]:
    """Return the points that no other beats, least metal first; of equal ones the first."""
    kept: list[Some] = []
    for point in points:
        if any(as_good(other, point, waste=waste) for other in kept):
            continue
        kept = [other for other in kept if not as_good(point, other, waste=waste)]
        kept.append(point)
    return tuple(sorted(kept, key=lambda p: (p.metal, p.minutes, p.waste_kg)))


def price_of_an_hour(slow: Figures, quick: Figures) -> float | None:
    """Return the money for metal that an hour saved costs, from one plan to a quicker one."""
    saved = slow.minutes - quick.minutes
    return 60 * (quick.metal - slow.metal) / saved if saved > MINUTES else None


def supported(points: Sequence[Figures]) -> tuple[bool, ...]:
    """Tell which points some price of an hour makes the best of all (the lower hull).

    ``points`` are unbeaten, least metal first.
    """
    hull: list[int] = []
    for i, point in enumerate(points):
        while len(hull) > 1 and _above(points[hull[-2]], points[hull[-1]], point):
            hull.pop()
        hull.append(i)
    return tuple(i in hull for i in range(len(points)))


def _above(one: Figures, middle: Figures, other: Figures) -> bool:
    """Whether the middle point lies above the line between its neighbours."""
    cross = (middle.metal - one.metal) * (other.minutes - one.minutes)
    return cross < (other.metal - one.metal) * (middle.minutes - one.minutes) - 1e-9
