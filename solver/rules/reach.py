"""Reach: how far into the mold a root can be worked without leaning in.

Functional reach 26.7 in, 5th percentile female (MIL-STD-1472G via NUREG-0700 Rev. 3).
"""

from __future__ import annotations

from solver.rules.customary import INCH_MM
from solver.rules.refusals import need_not_negative, need_positive

FUNCTIONAL_REACH_MM = 26.7 * INCH_MM
FUNCTIONAL_REACH_SOURCE = (
    "functional reach, 5th percentile female, MIL-STD-1472G via NUREG-0700 Rev. 3"
)


def within_reach(across_mm: float, reach_mm: float, sides: int = 2) -> bool:
    """Return whether all of a width is reached from one side or from both."""
    need_not_negative("width", across_mm)
    need_positive("reach", reach_mm)
    if sides not in (1, 2):
        raise ValueError(f"sides is {sides}; one works from 1 or 2 sides")
    return across_mm <= sides * reach_mm + 1e-9
