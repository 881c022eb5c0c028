"""Clamp pitch on an open edge: the metal between two clamps must not lift off the flange.

c = (192·E·I·δ/P)^(1/3) with I = b·t³/12: a beam built in at both clamps with a load in its middle
(any handbook of beams).  Load, width and tolerance are calibrated to the trade's habit, not derived
from it [practice]; the width is the same whatever the grip.  Thickness is the core.
"""

from __future__ import annotations

import math

from solver.rules.refusals import need_positive


def clamp_pitch_mm(
    load_n: float,
    width_mm: float,
    core_mm: float,
    youngs_modulus_mpa: float,
    lift_tolerance_mm: float,
) -> float:
    """Return the widest pitch of clamps at which the metal lifts no more than the tolerance."""
    for name, value in (
        ("clamp load", load_n),
        ("clamp width", width_mm),
        ("core thickness", core_mm),
        ("Young's modulus", youngs_modulus_mpa),
        ("lift tolerance", lift_tolerance_mm),
    ):
        need_positive(name, value)
    second_moment_mm4 = width_mm * core_mm**3 / 12
    return math.cbrt(192 * youngs_modulus_mpa * second_moment_mm4 * lift_tolerance_mm / load_n)


def clamp_count(length_mm: float, pitch_mm: float, pieces: int) -> int:
    """Return how many clamps hold a length cut into pieces: ceil(L/c) + pieces.

    Each piece ends on a clamp of its own, so every piece adds one.
    """
    need_positive("length", length_mm)
    need_positive("clamp pitch", pitch_mm)
    if pieces < 1:
        raise ValueError(f"pieces is {pieces}; there is at least 1")
    return math.ceil(length_mm / pitch_mm - 1e-9) + pieces
