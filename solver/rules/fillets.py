"""Fillets of wax or clay at the root of the metal.

A fillet is named by its radius; what it is made of is a name only, both fill alike.
"""

from __future__ import annotations

import math
from typing import Literal

from solver.rules.refusals import need_not_negative, need_positive

FilletMaterial = Literal["wax", "clay"]


def fillet_area_mm2(radius_mm: float, angle_deg: float = 90.0) -> float:
    """Return the cross-section between two faces and an arc that touches both.

    r²·(cot(θ/2) − (π − θ)/2), θ the angle between the faces [derived]: two tangent triangles less
    the sector of the arc.
    """
    need_not_negative("fillet radius", radius_mm)
    if not 0 < angle_deg <= 180:
        raise ValueError(f"fillet angle is {angle_deg}; it must lie above 0 and up to 180")
    angle = math.radians(angle_deg)
    return radius_mm**2 * (1 / math.tan(angle / 2) - (math.pi - angle) / 2)


def fillet_volume_mm3(
    length_mm: float,
    radius_mm: float,
    sides: int,
    waste_fraction: float = 0.0,
    angle_deg: float = 90.0,
) -> float:
    """Return the material for a length of metal with fillets on one or both sides.

    ``waste_fraction`` is what is used beyond the neat volume (0.25 is a quarter more).
    """
    need_not_negative("length", length_mm)
    need_not_negative("fillet waste", waste_fraction)
    if sides not in (0, 1, 2):
        raise ValueError(f"fillet sides is {sides}; metal has 0, 1 or 2 laminated sides")
    return length_mm * sides * fillet_area_mm2(radius_mm, angle_deg) * (1 + waste_fraction)


def too_tight_for_cloth(radius_mm: float, least_mm: float) -> bool:
    """Return whether structural cloth will not lie on this radius: it wants 1/8 in [practice]."""
    need_positive("least radius for cloth", least_mm)
    return radius_mm < least_mm - 1e-9
