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

import math
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

#: How far (mm) a corner may lie past the end of its line before it is an error: rounding of inches
#: summed over a long path stays far below it.
CORNER_SLACK_MM = 1e-6


@dataclass(frozen=True)
class Stretch:
    """A length of line whose curvatures change linearly from its start to its end.

    Constant curvature is an arc, linear change a clothoid, zero a straight.  ``twist_per_mm`` is
    the rate (radians per mm) at which the surface normal turns about the line, positive when the
    left hand rises toward the free edge.

    Raises ValueError when the length is not above zero or a number is not finite.
    """

    length_mm: float
    easy_start: float = 0.0
    easy_end: float = 0.0
    hard_start: float = 0.0
    hard_end: float = 0.0
    twist_per_mm: float = 0.0

    def __post_init__(self) -> None:
        if not (math.isfinite(self.length_mm) and self.length_mm > 0.0):
            raise ValueError(
                f"a stretch is {self.length_mm} mm long; give a length above zero, "
                "or a corner where the line turns sharply"
            )
        for name in ("easy_start", "easy_end", "hard_start", "hard_end", "twist_per_mm"):
            value = getattr(self, name)
            if not math.isfinite(value):
                raise ValueError(
                    f"{name} of a stretch is {value}; a sharp turn is a corner, not a curvature"
                )


@dataclass(frozen=True)
class Corner:
    """A sharp turn at one station: degrees to the left (easy) and up (hard).

    Raises ValueError when a turn reaches half a circle, where the line would run back on itself.
    """

    station_mm: float
    easy_deg: float = 0.0
    hard_deg: float = 0.0

    def __post_init__(self) -> None:
        for name in ("easy_deg", "hard_deg"):
            value = getattr(self, name)
            if not abs(value) < 180.0:
                raise ValueError(
                    f"the corner at {self.station_mm:.2f} mm turns {value} degrees; "
                    "a sharp turn is less than 180"
                )


@dataclass(frozen=True)
class Line:
    """Stretches one after another, with sharp corners between or inside them.

    Raises ValueError when there is no stretch or a corner lies off the line.
    """

    stretches: tuple[Stretch, ...]
    corners: tuple[Corner, ...] = ()
    closed: bool = False

    def __post_init__(self) -> None:
        if not self.stretches:
            raise ValueError("a line has no stretch; give it at least one length")
        for corner in self.corners:
            if not -CORNER_SLACK_MM <= corner.station_mm <= self.length_mm + CORNER_SLACK_MM:
                raise ValueError(
                    f"a corner at {corner.station_mm:.2f} mm lies off its line; "
                    f"stations run from 0 to {self.length_mm:.2f} mm"
                )

    @cached_property
    def length_mm(self) -> float:
        """Length along the line."""
        return sum(stretch.length_mm for stretch in self.stretches)

    @cached_property
    def breaks_mm(self) -> NDArray[np.float64]:
        """Stations (m + 1,) where the m stretches begin and the last one ends; read only."""
        lengths = [0.0, *(stretch.length_mm for stretch in self.stretches)]
        breaks: NDArray[np.float64] = np.cumsum(lengths)
        breaks.setflags(write=False)
        return breaks

    @cached_property
    def curvature_table(self) -> NDArray[np.float64]:
        """One row (m, 5) a stretch: easy start, easy end, hard start, hard end, twist; 1/mm."""
        table = np.array(
            [
                (s.easy_start, s.easy_end, s.hard_start, s.hard_end, s.twist_per_mm)
                for s in self.stretches
            ],
            dtype=np.float64,
        )
        table.setflags(write=False)
        return table

    @cached_property
    def corner_table(self) -> NDArray[np.float64]:
        """One row (c, 3) a corner, in order along the line: station mm, easy and hard degrees."""
        rows = sorted((c.station_mm, c.easy_deg, c.hard_deg) for c in self.corners)
        table = np.array(rows, dtype=np.float64).reshape(len(rows), 3)
        table.setflags(write=False)
        return table
