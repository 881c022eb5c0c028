"""Snip minutes by metal and thickness, and minutes per foot in millimetres.

The minutes of each operation are the shop's own [practice] and come with the job.
"""

from __future__ import annotations

from solver.rules.customary import FOOT_MM
from solver.rules.gauges import sheet_by_gauge
from solver.rules.metals import metal_named
from solver.rules.refusals import need_not_negative, need_positive

_RATED_GAUGES: dict[str, tuple[int, int]] = {"aluminium": (26, 24), "galvanised": (22, 20)}
"""The gauges, light and heavy, for which the shop states its snip minutes."""


def per_foot(minutes: float) -> float:
    """Return minutes per millimetre from minutes per foot."""
    need_not_negative("minutes per foot", minutes)
    return minutes / FOOT_MM


def snip_minutes_per_mm(
    metal: str, thickness_mm: float, aluminium_per_foot: float, galvanised_per_foot: float
) -> float:
    """Return the minutes to snip a millimetre of this metal, at this total thickness [practice].

    Aluminium of 24 to 26 ga and galvanised of 20 to 22 ga take the stated minutes per foot; thicker
    metal takes more and thinner less, in proportion to the nearer of the two gauges.
    """
    need_positive("thickness", thickness_mm)
    name = metal_named(metal).name
    rate = per_foot(aluminium_per_foot if name == "aluminium" else galvanised_per_foot)
    light_mm, heavy_mm = (sheet_by_gauge(name, gauge).thickness_mm for gauge in _RATED_GAUGES[name])
    if thickness_mm > heavy_mm:
        return rate * thickness_mm / heavy_mm
    if thickness_mm < light_mm:
        return rate * thickness_mm / light_mm
    return rate
