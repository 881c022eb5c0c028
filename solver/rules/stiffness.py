"""Upright: how far the standing leg leans under a brush or roller, and whether its root yields.

The leg is a long cantilever plate with one load on its free edge: deflection 0.166·P·a²/D, root
moment 0.509·P per unit width at ν 0.3 (Timoshenko & Woinowsky-Krieger [memory]; re-derived 0.1665
and 0.5087, at ν 0.33 0.1695 and 0.5147).  With D = E·t³/12(1 − ν²) both metals come to
w = 1.82·P·h²/(E·t³).  The root is taken as rigid, which packers make true.  Thickness is the core.
"""

from __future__ import annotations

import math

from solver.rules.refusals import need_not_negative, need_positive

LEAN_COEFFICIENT = 1.82
ROOT_MOMENT_COEFFICIENT = 0.509


def lean_mm(load_n: float, stand_mm: float, core_mm: float, youngs_modulus_mpa: float) -> float:
    """Return how far the free edge moves under a load on it: 1.82·P·h²/(E·t³)."""
    need_not_negative("brush load", load_n)
    need_not_negative("stand", stand_mm)
    need_positive("core thickness", core_mm)
    need_positive("Young's modulus", youngs_modulus_mpa)
    return LEAN_COEFFICIENT * load_n * stand_mm**2 / (youngs_modulus_mpa * core_mm**3)


def largest_stand_mm(
    load_n: float, core_mm: float, youngs_modulus_mpa: float, tolerance_mm: float
) -> float:
    """Return the highest stand that leans no more than the tolerance (infinite without a load)."""
    need_not_negative("lean tolerance", tolerance_mm)
    lean_of_one_mm = lean_mm(load_n, 1.0, core_mm, youngs_modulus_mpa)
    return math.sqrt(tolerance_mm / lean_of_one_mm) if lean_of_one_mm > 0 else math.inf


def root_stress_mpa(load_n: float, core_mm: float) -> float:
    """Return the bending stress at the root, 6·0.509·P/t² [derived], whatever the height."""
    need_not_negative("brush load", load_n)
    need_positive("core thickness", core_mm)
    return 6 * ROOT_MOMENT_COEFFICIENT * load_n / core_mm**2


def root_yields(load_n: float, core_mm: float, yield_mpa: float) -> bool:
    """Return whether the brush load passes yield at the root: a caution, not a ban."""
    return root_stress_mpa(load_n, core_mm) > yield_mpa
