"""Sheet gauges: thickness, core and mass of a metal from its gauge number or its thickness.

The same number is another thickness in each metal's system, so thickness is what is stored and the
gauge is a label.  Total thickness (zinc included) counts in gaps and bends, the core in stiffness
and springback.

- Aluminium, Brown & Sharpe: t = 0.005 · 92^((36 − n)/39) in (ASTM B258 [memory]).
- Galvanised: t = (oz + 2.5)/(16 · 41.82) in, core by the Manufacturers' Standard
  t = oz/(16 · 41.82) in, mass (oz + 2.5)/16 lb/ft² [derived], where oz is the US Standard ounces
  per square foot of the gauge (15 U.S.C. § 206).  2.5 oz/ft² is the zinc of both faces;
  41.82 lb/ft² is one inch of steel.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

from solver.data.units import format_thickness
from solver.rules.customary import INCH_MM, POUND_PER_SQUARE_FOOT_KG_M2, thickness_words
from solver.rules.metals import Metal, metal_named

US_STANDARD_OUNCES: dict[int, float] = {
    10: 90, 11: 80, 12: 70, 13: 60, 14: 50, 15: 45, 16: 40, 17: 36, 18: 32, 19: 28, 20: 24,
    21: 22, 22: 20, 23: 18, 24: 16, 25: 14, 26: 12, 27: 11, 28: 10, 29: 9, 30: 8,
}  # fmt: skip
"""Ounces per square foot by gauge (15 U.S.C. § 206)."""

HEAVIEST_GAUGE = min(US_STANDARD_OUNCES)
LIGHTEST_GAUGE = max(US_STANDARD_OUNCES)

THINNEST_SHEET_MM = 0.006 * INCH_MM
THICKEST_SHEET_MM = 0.249 * INCH_MM
"""Thinner is foil, thicker is plate (Aluminum Association's meaning of sheet [memory])."""

ZINC_OUNCES = 2.5
_OUNCES_PER_INCH = 16 * 41.82
"""Ounces per square foot of one inch of steel (Manufacturers' Standard)."""


@dataclass(frozen=True)
class SheetMetal:
    """One metal in one thickness, as bought."""

    metal: str
    gauge: int | None
    """None where it is sold by thickness."""
    thickness_mm: float
    """Total, zinc included."""
    core_mm: float
    """Without the zinc; for aluminium the same as the thickness."""
    mass_kg_m2: float
    label: str
    """As a builder says it: "24 ga aluminium", "0.019 in aluminium"."""


def brown_and_sharpe_mm(gauge: int) -> float:
    """Return the thickness of a Brown & Sharpe (AWG) gauge (ASTM B258 [memory])."""
    return 0.005 * math.pow(92.0, (36 - gauge) / 39) * INCH_MM


@lru_cache(maxsize=256)
def sheet_by_gauge(metal: str, gauge: int) -> SheetMetal:
    """Return the sheet of this metal and gauge.

    Raises ValueError for an unknown metal or a gauge outside 10 to 30.
    """
    kind = metal_named(metal)
    if gauge not in US_STANDARD_OUNCES:
        raise ValueError(
            f"there is no {gauge} ga {kind.name} here; gauges run from {HEAVIEST_GAUGE} (heavy) "
            f"to {LIGHTEST_GAUGE} (light), whole numbers"
        )
    number = int(gauge)
    label = f"{number} ga {kind.name}"
    if kind.density_kg_m3 is not None:
        thickness_mm = brown_and_sharpe_mm(number)
        mass_kg_m2 = kind.density_kg_m3 * thickness_mm / 1000
        return SheetMetal(kind.name, number, thickness_mm, thickness_mm, mass_kg_m2, label)
    return _galvanised(kind, number, US_STANDARD_OUNCES[number], label)


def sheet_by_thickness(metal: str, thickness_mm: float) -> SheetMetal:
    """Return the sheet of this metal with this total thickness, for stock sold by thickness.

    The core of galvanised is the total less the zinc that its gauge formulas imply (0.0037 in).
    Raises ValueError for an unknown metal or a thickness that is no sheet.
    """
    kind = metal_named(metal)
    if not THINNEST_SHEET_MM <= thickness_mm <= THICKEST_SHEET_MM:
        raise ValueError(
            f"{kind.name} {thickness_mm:g} mm thick is no sheet; give between "
            f"{thickness_words(THINNEST_SHEET_MM)} and {thickness_words(THICKEST_SHEET_MM)}, "
            "or a gauge"
        )
    label = f"{format_thickness(thickness_mm)} {kind.name}"
    if kind.density_kg_m3 is not None:
        mass_kg_m2 = kind.density_kg_m3 * thickness_mm / 1000
        return SheetMetal(kind.name, None, thickness_mm, thickness_mm, mass_kg_m2, label)
    ounces = thickness_mm / INCH_MM * _OUNCES_PER_INCH - ZINC_OUNCES
    return _galvanised(kind, None, ounces, label)


def _galvanised(kind: Metal, gauge: int | None, ounces: float, label: str) -> SheetMetal:
    return SheetMetal(
        metal=kind.name,
        gauge=gauge,
        thickness_mm=(ounces + ZINC_OUNCES) / _OUNCES_PER_INCH * INCH_MM,
        core_mm=ounces / _OUNCES_PER_INCH * INCH_MM,
        mass_kg_m2=(ounces + ZINC_OUNCES) / 16 * POUND_PER_SQUARE_FOOT_KG_M2,
        label=label,
    )
