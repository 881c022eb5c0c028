"""Tipping a section over its edge: the push that starts it and the lean at which it falls alone.

Moments about the tipping edge [derived].  Local codes and licensed practice decide.
"""

from __future__ import annotations

import math

from solver.rules.customary import GRAVITY_M_S2
from solver.rules.refusals import need_not_negative, need_positive


def tipping_force_n(mass_kg: float, base_mm: float, height_mm: float) -> float:
    """Return the level push F at a height h that begins to tip a body: F·h = W·b.

    ``base_mm`` is b, the level distance from the tipping edge to the centre of gravity.
    """
    need_not_negative("mass", mass_kg)
    need_not_negative("base", base_mm)
    need_positive("height of the push", height_mm)
    return mass_kg * GRAVITY_M_S2 * base_mm / height_mm


def falling_angle_deg(base_mm: float, gravity_height_mm: float) -> float:
    """Return the lean past which a body falls by itself: atan(b/y_cg)."""
    need_not_negative("base", base_mm)
    need_positive("height of the centre of gravity", gravity_height_mm)
    return math.degrees(math.atan(base_mm / gravity_height_mm))
