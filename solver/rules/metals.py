"""The two metals that flashings are cut from, and the figures that the other rules need.

Aluminium is 3003-H14: modulus, yield and density are the Aluminum Association's typical values, the
bend radius is its Aluminum Design Manual 2005, Part VII, Table 3-1 (90° cold bend, inside radius
zero up to 1/16 in thick).  Above 1/16 in one thickness is taken, on the safe side [practice].  Roll
aluminium of a harder alloy (3105-H25) wants half its thickness: ask the supplier which it is.

Galvanised is commercial steel sheet: ASTM A653 typical values [memory]; it is bent over no less
than one thickness, to keep the zinc whole [practice].  Its mass goes by area and gauge (see
gauges.py), so it has no density here.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from solver.rules.customary import INCH_MM, POUND_PER_CUBIC_INCH_KG_M3, PSI_MPA


@dataclass(frozen=True)
class Metal:
    """One metal: elastic figures of its core, and how tight it may be folded."""

    name: str
    youngs_modulus_mpa: float
    poisson: float
    yield_mpa: float
    density_kg_m3: float | None
    """None where the sheet is weighed by area."""
    bend_radius_ratio: float
    """Least inside radius of a 90° cold bend over the total thickness."""
    sharp_bend_to_mm: float
    """Up to this total thickness a sharp inside corner does no harm; 0 if it always does."""
    gauge_system: Literal["Brown & Sharpe", "galvanised sheet gauge"]


METALS: dict[str, Metal] = {
    "aluminium": Metal(
        name="aluminium",
        youngs_modulus_mpa=10.0e6 * PSI_MPA,
        poisson=0.33,
        yield_mpa=21.0e3 * PSI_MPA,
        density_kg_m3=0.0986 * POUND_PER_CUBIC_INCH_KG_M3,
        bend_radius_ratio=1.0,
        sharp_bend_to_mm=INCH_MM / 16,
        gauge_system="Brown & Sharpe",
    ),
    "galvanised": Metal(
        name="galvanised",
        youngs_modulus_mpa=29.5e6 * PSI_MPA,
        poisson=0.29,
        yield_mpa=40.0e3 * PSI_MPA,
        density_kg_m3=None,
        bend_radius_ratio=1.0,
        sharp_bend_to_mm=0.0,
        gauge_system="galvanised sheet gauge",
    ),
}
"""The metals by the one name that is used everywhere."""

_OTHER_SPELLINGS = {"aluminum": "aluminium", "galvanized": "galvanised"}


def metal_named(name: str) -> Metal:
    """Return the metal of this name; "aluminum" and "galvanized" are understood too.

    Raises ValueError that names the metals there are.
    """
    spelled = name.strip().lower()
    metal = METALS.get(_OTHER_SPELLINGS.get(spelled, spelled))
    if metal is None:
        raise ValueError(f'there is no metal "{name}"; write one of: {", ".join(METALS)}')
    return metal
