"""Chord and rise of an arc: how far a straight piece may span a curve."""

from __future__ import annotations

import math

from solver.rules.refusals import need_positive


def chord_within_mm(radius_mm: float, rise_mm: float) -> float:
    """Return the longest chord of a circle whose rise stays within ``rise_mm``.

    2·√(2Rδ − δ²) by the intersecting chords of Euclid III.35.  An infinite radius is a straight
    line, with an infinite chord; a rise beyond the radius leaves the whole diameter.
    """
    need_positive("rise", rise_mm)
    if radius_mm == math.inf:
        return math.inf
    need_positive("radius", radius_mm)
    rise_mm = min(rise_mm, radius_mm)
    return 2 * math.sqrt(2 * radius_mm * rise_mm - rise_mm**2)


def radius_of_chord_mm(chord_mm: float, rise_mm: float) -> float:
    """Return the radius of the arc over a chord with this rise in its middle (c²/8r + r/2)."""
    need_positive("chord", chord_mm)
    need_positive("rise", rise_mm)
    return chord_mm**2 / (8 * rise_mm) + rise_mm / 2
