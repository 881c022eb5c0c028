"""Gap: the metal must fit between the flanges, and a packer fills what it leaves."""

from __future__ import annotations

from solver.rules.customary import thickness_words
from solver.rules.refusals import need_not_negative, need_positive

_ROUNDING_MM = 1e-9


def fits_gap(thickness_mm: float, gap_mm: float) -> bool:
    """Return whether metal of this total thickness goes into the joint gap."""
    need_not_negative("thickness", thickness_mm)
    need_positive("joint gap", gap_mm)
    return thickness_mm <= gap_mm + _ROUNDING_MM


def packer_thickness_mm(thickness_mm: float, gap_mm: float) -> float:
    """Return the packer beside metal of this total thickness; 0 thickness is a joint without metal.

    Raises ValueError where the metal is thicker than the gap.
    """
    if not fits_gap(thickness_mm, gap_mm):
        raise ValueError(
            f"metal {thickness_words(thickness_mm)} thick does not fit a joint gap of "
            f"{thickness_words(gap_mm)}; widen the gap or take lighter metal"
        )
    return max(gap_mm - thickness_mm, 0.0)
