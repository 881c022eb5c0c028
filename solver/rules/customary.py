"""Customary units: exact conversions, and figures in words as a builder reads them.

Factors: NIST Handbook 44, Appendix C (inch, foot, pound are exact; the pound-force follows from
the standard gravity 9.80665 m/s²).
"""

from __future__ import annotations

INCH_MM = 25.4
FOOT_MM = 304.8
POUND_KG = 0.45359237
OUNCE_KG = POUND_KG / 16
GRAVITY_M_S2 = 9.80665
POUND_FORCE_N = POUND_KG * GRAVITY_M_S2
PSI_MPA = POUND_FORCE_N / INCH_MM**2
POUND_PER_SQUARE_FOOT_KG_M2 = POUND_KG / (FOOT_MM / 1000) ** 2
POUND_PER_CUBIC_INCH_KG_M3 = POUND_KG / (INCH_MM / 1000) ** 3


def length_words(length_mm: float) -> str:
    """Return a length in both units: "1.18 in (30.0 mm)"."""
    return f"{length_mm / INCH_MM:.2f} in ({length_mm:.1f} mm)"


def thickness_words(thickness_mm: float) -> str:
    """Return a thickness or another small length in both units: "0.0201 in (0.511 mm)"."""
    return f"{thickness_mm / INCH_MM:.4f} in ({thickness_mm:.3f} mm)"


def mass_words(mass_kg: float) -> str:
    """Return a mass in both units: "51.0 lb (23.1 kg)"."""
    return f"{mass_kg / POUND_KG:.1f} lb ({mass_kg:.1f} kg)"


def force_words(force_n: float) -> str:
    """Return a force in both units: "2.0 lbf (8.9 N)"."""
    return f"{force_n / POUND_FORCE_N:.1f} lbf ({force_n:.1f} N)"
