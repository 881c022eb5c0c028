"""Cautions on health: what the builder breathes and touches, with the published limits.

They are printed with every plan.  Local codes and licensed practice decide.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Caution:
    """One caution for the builder, with its source."""

    subject: str
    sentence: str
    source: str


STYRENE_OSHA_TWA_PPM = 100.0
STYRENE_OSHA_CEILING_PPM = 200.0
STYRENE_OSHA_PEAK_PPM = 600.0
"""For 5 minutes in any 3 hours."""
STYRENE_NIOSH_REL_PPM = 50.0

LAST_WORD = "Local codes and licensed practice decide."

HEALTH_CAUTIONS: tuple[Caution, ...] = (
    Caution(
        "styrene",
        "Polyester and vinyl ester resin give off styrene. Air the work space and wear the right "
        f"respirator: keep below {STYRENE_OSHA_TWA_PPM:.0f} ppm over 8 hours, "
        f"{STYRENE_OSHA_CEILING_PPM:.0f} ppm at any time, {STYRENE_OSHA_PEAK_PPM:.0f} ppm for 5 "
        f"minutes in any 3 hours; {STYRENE_NIOSH_REL_PPM:.0f} ppm is the recommended limit.",
        "OSHA 29 CFR 1910.1000 Table Z-2; NIOSH REL",
    ),
    Caution(
        "cut edges",
        "Cut metal and standing flashings are sharp. Deburr every edge and wear cut-resistant "
        "gloves while cutting, fitting and drawing metal.",
        "ANSI/ISEA 105",
    ),
    Caution(
        "last word",
        f"Figures here are for planning only. {LAST_WORD}",
        "[practice]",
    ),
)
