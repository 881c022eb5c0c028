"""Slits and V-notches: how a folded leg follows a curve.

The leg is parted into straight facets whose rise over the curve stays within a tolerance
(chords.py).  Away from the centre of the curve the partings open: a slit is enough.  Toward the
centre they overlap: the overlap is cut out as a V-notch.  Figures [derived].
"""

from __future__ import annotations

import math
from typing import Literal

from solver.rules.chords import chord_within_mm
from solver.rules.refusals import need_not_negative, need_positive

Side = Literal["left", "right"]


def slit_pitch_mm(radius_mm: float, tolerance_mm: float) -> float:
    """Return the widest pitch of slits, 2·√(2Rδ − δ²); infinite where the line is straight."""
    return chord_within_mm(radius_mm, tolerance_mm)


def facet_angle_deg(radius_mm: float, pitch_mm: float) -> float:
    """Return the turn from one facet to the next, 2·asin(s/2R)."""
    need_positive("radius", radius_mm)
    need_not_negative("pitch", pitch_mm)
    return math.degrees(2 * math.asin(min(pitch_mm / (2 * radius_mm), 1.0)))


def facets(length_mm: float, radius_mm: float, tolerance_mm: float) -> int:
    """Return into how many facets a curved stretch of this length is parted: ceil(L/s)."""
    need_positive("length", length_mm)
    # An exact multiple must not gain a facet by rounding.
    return max(1, math.ceil(length_mm / slit_pitch_mm(radius_mm, tolerance_mm) - 1e-9))


def slit_count(
    length_mm: float, radius_mm: float, tolerance_mm: float, *, closed: bool = False
) -> int:
    """Return the partings to cut: one less than the facets.

    A closed loop has as many partings as facets, and one of them is the butt of its ends, so it is
    one less as well; a closed line of no curvature does not exist and is refused.
    """
    count = facets(length_mm, radius_mm, tolerance_mm)
    if closed and radius_mm == math.inf:
        raise ValueError("a closed loop has no straight line all round; give its radius")
    return count - 1


def partings(length_mm: float, radius_mm: float, tolerance_mm: float, *, closed: bool) -> int:
    """Return all partings of the leg, the butt of a closed loop among them."""
    return slit_count(length_mm, radius_mm, tolerance_mm, closed=closed) + (1 if closed else 0)


def slit_stations_mm(
    length_mm: float, radius_mm: float, tolerance_mm: float, start_mm: float = 0.0
) -> tuple[float, ...]:
    """Return where the slits of a stretch that begins at ``start_mm`` stand, evenly."""
    count = facets(length_mm, radius_mm, tolerance_mm)
    return tuple(start_mm + length_mm * place / count for place in range(1, count))


def tip_opening_mm(leg_mm: float, pitch_mm: float, radius_mm: float) -> float:
    """Return how far one parting opens or overlaps at the tip of the leg: leg·s/R."""
    need_not_negative("leg", leg_mm)
    need_not_negative("pitch", pitch_mm)
    if radius_mm == math.inf:
        return 0.0
    need_positive("radius", radius_mm)
    return leg_mm * pitch_mm / radius_mm


def leg_overlaps(leg_toward: Side, curve_turns: Side) -> bool:
    """Return whether the partings of a leg overlap, so that they are V-notched.

    Both sides as seen when walking the line: a leg folded to the side that the line turns to points
    at the centre of the curve, and its tip is shorter than its root.
    """
    for name, side in (("leg", leg_toward), ("curve", curve_turns)):
        if side not in ("left", "right"):
            raise ValueError(f'{name} goes "{side}"; write "left" or "right"')
    return leg_toward == curve_turns


def v_notch_width_mm(leg_mm: float, pitch_mm: float, radius_mm: float) -> float:
    """Return the width of a V-notch at the tip of a leg that points at the centre of the curve.

    Raises ValueError where the leg reaches the centre: nothing of the facets would be left.
    """
    if leg_mm >= radius_mm:
        raise ValueError(
            f"a leg of {leg_mm:g} mm reaches past the centre of a curve of radius "
            f"{radius_mm:g} mm; make it shorter or fold it to the other side"
        )
    return tip_opening_mm(leg_mm, pitch_mm, radius_mm)
