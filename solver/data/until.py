"""When a search is to end: at a moment, or as soon as somebody asks."""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass


def _never() -> bool:
    return False


@dataclass(frozen=True)
class Until:
    """A moment of ``time.monotonic`` (None: none) and somebody who may ask to stop.

    Every search asks ``over`` at least some times a second and then keeps the best it has.
    """

    moment: float | None = None
    asked: Callable[[], bool] = _never

    def over(self) -> bool:
        """Whether to end now."""
        return (self.moment is not None and time.monotonic() >= self.moment) or self.asked()

    def left(self) -> float | None:
        """Return seconds until the moment, never below 0.05; None if there is no moment."""
        return None if self.moment is None else max(0.05, self.moment - time.monotonic())

    def at_most(self, seconds: float) -> Until:
        """Return one that ends ``seconds`` from now, if not before."""
        moment = time.monotonic() + seconds
        return Until(moment if self.moment is None else min(moment, self.moment), self.asked)


FOREVER = Until()
"""Nothing ends the search but its own steps."""
