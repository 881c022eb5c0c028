"""Profiles of a flashing in the flat: flat strip, return at the top, L at an outward flange.

The root line is where the metal leaves the mold surface; along the blank, up is toward the free
edge.  ``stand`` is to the outside of a fold and ``return`` is the outside of its leg, so with the
deduction BD (bending.py) of each fold [derived]:

- Return: the legs stand and return share one mold line at height stand.  Above the root the blank
  measures stand + return − BD, and the middle of the bend lies at stand − BD/2.
- Flange "out": the mold's flange is turned outward in the surface, the grip lies on it and its
  outside is the mold surface, so the mold line is at the root.  Below the root the blank measures
  grip − BD, and the middle of the bend lies at BD/2, *above* the root.
- Flange "along": the mold's flange runs on along the normal; the strip lies flat against it.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from solver.rules.bending import bend_deduction_mm, fold_refusal, setback_mm
from solver.rules.chords import chord_within_mm
from solver.rules.customary import length_words
from solver.rules.refusals import need_not_negative, need_positive

SQUARE_DEG = 90.0


@dataclass(frozen=True)
class Fold:
    """One fold of a blank, along its whole length."""

    offset_mm: float
    """Middle of the bend from the root line in the flat, up is positive."""
    angle_deg: float
    inside_radius_mm: float
    leg_mm: float
    """Outside length of the folded leg."""
    deduction_mm: float
    toward: str
    """Where the leg goes: the side or part that a return folds to, "out" for an open edge."""


@dataclass(frozen=True)
class Profile:
    """A cross-section of flashing laid flat."""

    above_mm: float
    """From the root line to the upper edge of the blank."""
    below_mm: float
    """From the root line to the lower edge of the blank."""
    folds: tuple[Fold, ...] = ()
    """From the upper edge down."""

    @property
    def width_mm(self) -> float:
        """Width of the blank."""
        return self.above_mm + self.below_mm


def flat_profile(stand_mm: float, grip_mm: float) -> Profile:
    """Return the profile of a strip without folds; a standing flashing has no grip."""
    need_positive("stand", stand_mm)
    need_not_negative("grip", grip_mm)
    return Profile(stand_mm, grip_mm)


def profile_refusal(
    *,
    metal: str,
    thickness_mm: float,
    stand_mm: float,
    grip_mm: float,
    inside_radius_mm: float,
    return_mm: float = 0.0,
    flange: Literal["along", "out"] = "along",
) -> str | None:
    """Return why this metal cannot be folded to this profile, or None if it can.

    A radius below the metal's least, or a leg too short for the setbacks of its folds.
    """
    out = flange == "out" and grip_mm > 0
    if not (out or return_mm > 0):
        return None
    reason = fold_refusal(metal, thickness_mm, inside_radius_mm)
    if reason is not None:
        return reason
    taken_mm = setback_mm(inside_radius_mm, thickness_mm, SQUARE_DEG)
    legs = [("stand", stand_mm, taken_mm * (2 if out and return_mm > 0 else 1))]
    if return_mm > 0:
        legs.append(("return", return_mm, taken_mm))
    if out:
        legs.append(("grip", grip_mm, taken_mm))
    for name, leg_mm, least_mm in legs:
        if leg_mm < least_mm:
            return (
                f"a {name} of {length_words(leg_mm)} is too short to fold: "
                f"the bend alone takes {length_words(least_mm)}"
            )
    return None


def folded_profile(
    *,
    metal: str,
    thickness_mm: float,
    stand_mm: float,
    grip_mm: float,
    inside_radius_mm: float,
    k: float,
    return_mm: float = 0.0,
    return_toward: str = "first",
    flange: Literal["along", "out"] = "along",
) -> Profile:
    """Return the profile of a flashing in the flat; without any leg it is the flat one.

    ``thickness_mm`` is total, ``k`` the place of the neutral axis (bending.py).  Raises ValueError
    with the reason of ``profile_refusal`` where the metal cannot be folded so.
    """
    plain = flat_profile(stand_mm, grip_mm)
    need_not_negative("return", return_mm)
    reason = profile_refusal(
        metal=metal,
        thickness_mm=thickness_mm,
        stand_mm=stand_mm,
        grip_mm=grip_mm,
        inside_radius_mm=inside_radius_mm,
        return_mm=return_mm,
        flange=flange,
    )
    if reason is not None:
        raise ValueError(reason)
    above_mm, below_mm = plain.above_mm, plain.below_mm
    folds: list[Fold] = []
    deduction_mm = bend_deduction_mm(inside_radius_mm, thickness_mm, SQUARE_DEG, k)
    if return_mm > 0:
        above_mm = stand_mm + return_mm - deduction_mm
        folds.append(
            Fold(
                offset_mm=stand_mm - deduction_mm / 2,
                angle_deg=SQUARE_DEG,
                inside_radius_mm=inside_radius_mm,
                leg_mm=return_mm,
                deduction_mm=deduction_mm,
                toward=return_toward,
            )
        )
    if flange == "out" and grip_mm > 0:
        below_mm = grip_mm - deduction_mm
        folds.append(
            Fold(
                offset_mm=deduction_mm / 2,
                angle_deg=SQUARE_DEG,
                inside_radius_mm=inside_radius_mm,
                leg_mm=grip_mm,
                deduction_mm=deduction_mm,
                toward="out",
            )
        )
    return Profile(above_mm, below_mm, tuple(folds))


def longest_straight_fold_mm(hard_way_radius_mm: float, tolerance_mm: float) -> float:
    """Return the longest piece with a fold on a line curved the hard way.

    Such a line cannot be folded in a brake, which is straight: the piece is limited to the chord
    whose rise is within the tolerance.  Infinite where the line is straight.
    """
    return chord_within_mm(hard_way_radius_mm, tolerance_mm)
