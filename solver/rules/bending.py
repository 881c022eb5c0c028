"""Folding sheet: setback, bend allowance, deduction, flat length, springback, tightest radius.

Three neutral axes are in use (K 0.447 in the FAA handbook, 0.407 in Machinery's, 0.5 in AC 65-15A),
so K is always given.  ``inside_radius_mm`` is to the inner face, ``angle_deg`` is the angle through
which the metal is turned (90 for a square fold, not the angle left between the legs), lengths of
legs are to the outside mold line, thickness is total.  Deductions fit mold lines up to 150°.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

from solver.rules.customary import thickness_words
from solver.rules.metals import metal_named
from solver.rules.refusals import need_between, need_not_negative, need_positive

SHARPEST_FOLD_DEG = 150.0
"""Beyond this the mold lines of the two legs meet too far out to be measured."""


def setback_mm(inside_radius_mm: float, thickness_mm: float, angle_deg: float) -> float:
    """Return the distance from the mold line to where the bend begins: (R + T)·tan(A/2).

    FAA-H-8083-31 ch. 4.
    """
    _check_fold(inside_radius_mm, thickness_mm, angle_deg)
    return (inside_radius_mm + thickness_mm) * math.tan(math.radians(angle_deg) / 2)


def bend_allowance_mm(
    inside_radius_mm: float, thickness_mm: float, angle_deg: float, k: float
) -> float:
    """Return the flat length that the bend uses up, A·(R + K·T), with K of the neutral axis."""
    _check_fold(inside_radius_mm, thickness_mm, angle_deg)
    need_between("K of the neutral axis", k, 0, 1)
    return math.radians(angle_deg) * (inside_radius_mm + k * thickness_mm)


def bend_deduction_mm(
    inside_radius_mm: float, thickness_mm: float, angle_deg: float, k: float
) -> float:
    """Return what two legs given to the mold line lose in the flat: two setbacks less allowance."""
    return 2 * setback_mm(inside_radius_mm, thickness_mm, angle_deg) - bend_allowance_mm(
        inside_radius_mm, thickness_mm, angle_deg, k
    )


def flat_length_mm(
    legs_mm: Sequence[float],
    angles_deg: Sequence[float],
    inside_radius_mm: float,
    thickness_mm: float,
    k: float,
) -> float:
    """Return the blank length of legs given to their outside mold lines.

    ``legs_mm`` has one entry more than ``angles_deg``, in order along the blank.  Raises ValueError
    where a leg is shorter than the setbacks of the folds at its ends, so that nothing flat is left.
    """
    if len(legs_mm) != len(angles_deg) + 1:
        raise ValueError(
            f"{len(legs_mm)} legs and {len(angles_deg)} folds do not go together; "
            "there is one leg more than folds"
        )
    setbacks = [setback_mm(inside_radius_mm, thickness_mm, angle) for angle in angles_deg]
    for place, leg_mm in enumerate(legs_mm):
        taken_mm = sum(setbacks[max(place - 1, 0) : place + 1])
        if not leg_mm >= taken_mm:
            raise ValueError(
                f"leg {place + 1} is {leg_mm:g} mm and its folds alone take {taken_mm:.3f} mm; "
                "make it longer or the bend radius smaller"
            )
    return sum(legs_mm) - sum(
        bend_deduction_mm(inside_radius_mm, thickness_mm, angle, k) for angle in angles_deg
    )


def faa_bend_allowance_mm(inside_radius_mm: float, thickness_mm: float, angle_deg: float) -> float:
    """Return the bend allowance by the handbook's own figures: (0.01743·R + 0.0078·T)·A.

    FAA-H-8083-31 ch. 4; K is 0.447 in it.
    """
    _check_fold(inside_radius_mm, thickness_mm, angle_deg)
    return (0.01743 * inside_radius_mm + 0.0078 * thickness_mm) * angle_deg


def springback_ratio(
    formed_radius_mm: float, core_mm: float, youngs_modulus_mpa: float, yield_mpa: float
) -> float:
    """Return formed over sprung-back radius: 4X³ − 3X + 1 with X = R·σ_y/(E·t).

    Kalpakjian & Schmid [memory].  From X = 0.5 on all of the bend is elastic and springs back flat:
    the ratio is 0.
    """
    need_not_negative("formed radius", formed_radius_mm)
    need_positive("core thickness", core_mm)
    x = min(formed_radius_mm * yield_mpa / (youngs_modulus_mpa * core_mm), 0.5)
    return 4 * x**3 - 3 * x + 1


def sprung_radius_mm(
    formed_radius_mm: float, core_mm: float, youngs_modulus_mpa: float, yield_mpa: float
) -> float:
    """Return the radius after springback; infinite if the metal springs back flat."""
    ratio = springback_ratio(formed_radius_mm, core_mm, youngs_modulus_mpa, yield_mpa)
    return formed_radius_mm / ratio if ratio > 0 else math.inf


def overbend_angle_deg(
    angle_deg: float,
    formed_radius_mm: float,
    core_mm: float,
    youngs_modulus_mpa: float,
    yield_mpa: float,
) -> float:
    """Return how far to fold so that ``angle_deg`` is left after springback.

    The middle of the metal keeps its length [derived]: A_i·(R_i + t/2) = A_f·(R_f + t/2).  Infinite
    if the metal springs back flat.
    """
    sprung_mm = sprung_radius_mm(formed_radius_mm, core_mm, youngs_modulus_mpa, yield_mpa)
    return angle_deg * (sprung_mm + core_mm / 2) / (formed_radius_mm + core_mm / 2)


def minimum_bend_radius_mm(metal: str, thickness_mm: float) -> float:
    """Return the least inside radius of a 90° cold bend, for the total thickness.

    Source by metal: see metals.py.
    """
    need_positive("thickness", thickness_mm)
    kind = metal_named(metal)
    # Rounded inches of a catalog must not push 1/16 in over its own limit.
    if thickness_mm <= kind.sharp_bend_to_mm + 1e-6:
        return 0.0
    return kind.bend_radius_ratio * thickness_mm


def fold_refusal(metal: str, thickness_mm: float, inside_radius_mm: float) -> str | None:
    """Return why this metal may not be folded over this inside radius, or None if it may."""
    need_not_negative("inside radius", inside_radius_mm)
    least_mm = minimum_bend_radius_mm(metal, thickness_mm)
    if inside_radius_mm >= least_mm - 1e-9:
        return None
    return (
        f"{metal_named(metal).name} {thickness_words(thickness_mm)} thick folds over no less than "
        f"{thickness_words(least_mm)} inside; {thickness_words(inside_radius_mm)} would crack "
        "the metal or its zinc"
    )


def _check_fold(inside_radius_mm: float, thickness_mm: float, angle_deg: float) -> None:
    need_not_negative("inside radius", inside_radius_mm)
    need_positive("thickness", thickness_mm)
    need_between("fold angle", angle_deg, 0, SHARPEST_FOLD_DEG)
