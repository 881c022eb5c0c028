"""Sizes as they are marked: rounded to what a tape or a rule shows, never to the metal's harm.

Inch shops mark sixteenths, metric shops half millimetres [practice].  A blank is rounded outward:
what begins at a station is marked at or before it, what ends is marked at or after it.  Two
blanks on a sheet stand apart by the cutting gap; where the gap is at least one step, a multiple of
the step lies between them, so that outward marks never cross.  Where the gap is finer than the step
the step is halved until it fits.  The middle of a notch is rounded to the nearest step and its
width and depth upward: it leaves its bolt by half a step at most.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from fractions import Fraction

INCH_MM = 25.4
_SLACK = 1e-6
"""Share of a step by which a size may pass a mark through rounding of binary numbers."""

FINEST = 64
"""Finest inch fraction that is ever marked."""


@dataclass(frozen=True)
class ShopSizes:
    """How lengths are marked: inches in fractions, or millimetres."""

    inches: bool
    parts: int
    """Steps in an inch, or in a millimetre."""

    @property
    def step_mm(self) -> float:
        """Distance between two marks."""
        return (INCH_MM if self.inches else 1.0) / self.parts

    def up(self, length_mm: float) -> int:
        """Return the number of the first mark at or after a length."""
        return math.ceil(length_mm / self.step_mm - _SLACK)

    def down(self, length_mm: float) -> int:
        """Return the number of the last mark at or before a length."""
        return math.floor(length_mm / self.step_mm + _SLACK)

    def nearest(self, length_mm: float) -> int:
        """Return the number of the mark nearest to a length."""
        return math.floor(length_mm / self.step_mm + 0.5)

    def mm(self, mark: int) -> float:
        """Return where a mark lies."""
        return mark * self.step_mm

    def words(self, mark: int, *, unit: bool = True) -> str:
        """Return a mark as it is read off the tape: "27-1/2 in", "698.5 mm"."""
        tail = (" in" if self.inches else " mm") if unit else ""
        sign, mark = ("-" if mark < 0 else ""), abs(mark)
        if not self.inches:
            text = f"{mark / self.parts:.2f}".rstrip("0").rstrip(".")
            return f"{sign}{text}{tail}"
        whole, rest = divmod(mark, self.parts)
        fraction = str(Fraction(rest, self.parts)) if rest else ""
        text = "-".join(part for part in (str(whole) if whole else "", fraction) if part) or "0"
        return f"{sign}{text}{tail}"

    def long_words(self, length_mm: float) -> str:
        """Return a length outward, with feet where it is longer than six: "9 ft 4-1/2 in"."""
        mark = self.up(length_mm)
        if not self.inches or mark <= 72 * self.parts:
            return self.words(mark)
        feet, rest = divmod(mark, 12 * self.parts)
        return f"{feet} ft {self.words(rest)}" if rest else f"{feet} ft"


def shop_sizes(length_unit: str, cutting_gap_mm: float | None = None) -> ShopSizes:
    """Return how a shop with this unit marks; a finer cutting gap asks for finer steps.

    ``cutting_gap_mm`` is the least distance between two blanks; None or 0 asks for nothing: blanks
    that touch share their line.
    """
    inches = length_unit in ("in", "ft")
    parts = 16 if inches else 2
    sizes = ShopSizes(inches, parts)
    limit = FINEST if inches else 4
    while cutting_gap_mm and sizes.step_mm > cutting_gap_mm + 1e-3 and sizes.parts < limit:
        sizes = ShopSizes(inches, sizes.parts * 2)
    return sizes
