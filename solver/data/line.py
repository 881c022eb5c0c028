"""The line that a flashing follows, described by its curvatures along its length.

A line is what a tape measure and a bevel gauge can tell about an edge: how far one walks and how
the walk turns.  Walking from the start with the first-named patch on the left hand:

* *easy* curvature turns in the mold surface; positive turns left, toward the first-named patch.
  The metal follows it by bending about its thin axis.
* *hard* curvature turns out of the surface; positive turns up, toward the free edge of the metal.
  It curves the flat blank in the plane of the sheet.

Lengths are millimetres, curvatures 1/mm, angles degrees.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property


@dataclass(frozen=True)
class Stretch:
    """A length of line whose curvatures change linearly from its start to its end.

    Constant curvature is an arc, linear change a clothoid, zero a straight.  ``twist_per_mm`` is
    the rate (radians per mm) at which the surface normal turns about the line.
    """

    length_mm: float
    easy_start: float = 0.0
    easy_end: float = 0.0
    hard_start: float = 0.0
    hard_end: float = 0.0
    twist_per_mm: float = 0.0


@dataclass(frozen=True)
class Corner:
    """A sharp turn at one station: degrees to the left (easy) and up (hard)."""

    station_mm: float
    easy_deg: float = 0.0
    hard_deg: float = 0.0


@dataclass(frozen=True)
class Line:
    """Stretches one after another, with sharp corners between or inside them."""

    stretches: tuple[Stretch, ...]
    corners: tuple[Corner, ...] = ()
    closed: bool = False

    @cached_property
    def length_mm(self) -> float:
        """Length along the line."""
        return sum(stretch.length_mm for stretch in self.stretches)
