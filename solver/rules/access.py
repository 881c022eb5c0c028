"""Access: a stand is capped where another flashing runs near, so that a brush reaches the root."""

from __future__ import annotations

import math

from solver.rules.refusals import need_between, need_not_negative


def access_cap_mm(gap_mm: float, angle_deg: float) -> float:
    """Return g·tan(angle), the highest stand at a clear gap after both laminates [practice].

    The brush comes in over the top of the other flashing no steeper than ``angle_deg``.
    """
    need_not_negative("clear gap", gap_mm)
    need_between("access angle", angle_deg, 0, 89)
    return gap_mm * math.tan(math.radians(angle_deg))


def capped_stand_mm(stand_mm: float, gap_mm: float, angle_deg: float) -> float:
    """Return the stand, or the cap where it is lower."""
    need_not_negative("stand", stand_mm)
    return min(stand_mm, access_cap_mm(gap_mm, angle_deg))


def too_low(capped_mm: float, smallest_stand_mm: float) -> bool:
    """Return whether a cap leaves less than the smallest useful flange: reported, not hidden."""
    return capped_mm < smallest_stand_mm - 1e-9
