"""Which metal and gauge an edge may carry, and what rules out the next lighter one.

All of these must hold where they apply: "gap" (pinched only), "upright" (always), "clamp pitch"
(clamped only), "bend radius" (folded only).  Their figures come from gaps.py, stiffness.py,
clamping.py and bending.py; this file only puts them together.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal, Protocol

from solver.rules.bending import fold_refusal
from solver.rules.clamping import clamp_pitch_mm
from solver.rules.customary import PSI_MPA, force_words, length_words, thickness_words
from solver.rules.gaps import fits_gap
from solver.rules.gauges import SheetMetal
from solver.rules.metals import metal_named
from solver.rules.stiffness import largest_stand_mm, lean_mm, root_stress_mpa, root_yields

Mounting = Literal["pinched", "clamped", "standing"]

GAP = "gap"
UPRIGHT = "upright"
CLAMP_PITCH = "clamp pitch"
BEND_RADIUS = "bend radius"
RULE_NAMES: tuple[str, ...] = (GAP, UPRIGHT, CLAMP_PITCH, BEND_RADIUS)

_ROUNDING_MM = 1e-9


class GaugeLimits(Protocol):
    """The limits of the job that gauges are judged by: lengths in mm, loads in N."""

    @property
    def joint_gap_mm(self) -> float:
        """Gap between the flanges of a joint."""

    @property
    def brush_load_n(self) -> float:
        """Load of a brush on the free edge."""

    @property
    def lean_hidden_mm(self) -> float:
        """How far a hidden line may lean."""

    @property
    def lean_visible_mm(self) -> float:
        """How far a line that shows may lean."""

    @property
    def clamp_load_n(self) -> float:
        """Load that lifts the metal between two clamps."""

    @property
    def clamp_width_mm(self) -> float:
        """Width of metal that is taken to resist it, whatever the grip."""

    @property
    def clamp_lift_hidden_mm(self) -> float:
        """How far a hidden line may lift."""

    @property
    def clamp_lift_visible_mm(self) -> float:
        """How far a line that shows may lift."""

    @property
    def smallest_clamp_pitch_mm(self) -> float:
        """Closer clamps are not practical."""


@dataclass(frozen=True)
class EdgeNeed:
    """What one edge asks of its metal."""

    mounting: Mounting
    visible: bool
    stand_mm: float
    fold_radius_mm: float | None = None
    """Inside radius of its folds; None where nothing is folded."""


@dataclass(frozen=True)
class Verdict:
    """What one rule says about one metal on one edge."""

    rule: str
    allowed: bool
    sentence: str


@dataclass(frozen=True)
class Choice:
    """The lightest sheet that is allowed, and why the next lighter of its metal is not."""

    sheet: SheetMetal | None
    """None where no sheet is allowed."""
    lighter: SheetMetal | None
    """The next lighter sheet of the same metal on offer, or, without a sheet, the heaviest."""
    ruled_out_by: Verdict | None
    """First rule that the lighter one fails; None where there is no lighter one."""


def verdicts(need: EdgeNeed, sheet: SheetMetal, limits: GaugeLimits) -> tuple[Verdict, ...]:
    """Return what each rule that applies says, in the order of ``RULE_NAMES``.

    Raises ValueError for an unknown mounting or metal.
    """
    if need.mounting not in ("pinched", "clamped", "standing"):
        raise ValueError(f'mounting is "{need.mounting}"; write "pinched", "clamped" or "standing"')
    found: list[Verdict] = []
    if need.mounting == "pinched":
        found.append(_gap(sheet, limits))
    found.append(_upright(need, sheet, limits))
    if need.mounting == "clamped":
        found.append(_clamp_pitch(need, sheet, limits))
    if need.fold_radius_mm is not None:
        found.append(_bend_radius(need.fold_radius_mm, sheet))
    return tuple(found)


def allowed(need: EdgeNeed, sheet: SheetMetal, limits: GaugeLimits) -> bool:
    """Return whether every rule that applies allows this sheet."""
    return all(verdict.allowed for verdict in verdicts(need, sheet, limits))


def first_refusal(need: EdgeNeed, sheet: SheetMetal, limits: GaugeLimits) -> Verdict | None:
    """Return the first rule that refuses this sheet, or None if it is allowed."""
    return next((v for v in verdicts(need, sheet, limits) if not v.allowed), None)


def lightest_allowed(need: EdgeNeed, sheets: Iterable[SheetMetal], limits: GaugeLimits) -> Choice:
    """Return the lightest allowed sheet by mass and what rules out the next lighter of its metal.

    Where none is allowed, ``ruled_out_by`` is the refusal of the heaviest on offer.
    """
    rising = _by_mass(sheets)
    for sheet in rising:
        if allowed(need, sheet, limits):
            return why_not_lighter(need, sheet, rising, limits)
    heaviest = rising[-1] if rising else None
    refusal = first_refusal(need, heaviest, limits) if heaviest else None
    return Choice(sheet=None, lighter=heaviest, ruled_out_by=refusal)


def why_not_lighter(
    need: EdgeNeed, sheet: SheetMetal, sheets: Iterable[SheetMetal], limits: GaugeLimits
) -> Choice:
    """Return for a chosen sheet the next lighter of its metal and the first rule that refuses it.

    ``ruled_out_by`` is None where there is none lighter, or where the lighter one would do as well.
    """
    lighter = [
        other
        for other in _by_mass(sheets)
        if other.metal == sheet.metal and other.thickness_mm < sheet.thickness_mm - _ROUNDING_MM
    ]
    if not lighter:
        return Choice(sheet, None, None)
    return Choice(sheet, lighter[-1], first_refusal(need, lighter[-1], limits))


def root_caution(sheet: SheetMetal, limits: GaugeLimits) -> str | None:
    """Return a caution where the brush load would crease the metal at its root, else None.

    A caution, not a ban: the root moment 0.509·P passes yield (stiffness.py).
    """
    kind = metal_named(sheet.metal)
    if not root_yields(limits.brush_load_n, sheet.core_mm, kind.yield_mpa):
        return None
    stress_mpa = root_stress_mpa(limits.brush_load_n, sheet.core_mm)
    return (
        f"{sheet.label} may crease at its root under a brush load of "
        f"{force_words(limits.brush_load_n)}: {stress_mpa / PSI_MPA / 1000:.0f} ksi against "
        f"{kind.yield_mpa / PSI_MPA / 1000:.0f} ksi at yield; brush gently there"
    )


def _gap(sheet: SheetMetal, limits: GaugeLimits) -> Verdict:
    fits = fits_gap(sheet.thickness_mm, limits.joint_gap_mm)
    return Verdict(
        GAP,
        fits,
        f"{sheet.label} is {thickness_words(sheet.thickness_mm)} thick and "
        f"{'fits' if fits else 'does not fit'} the joint gap of "
        f"{thickness_words(limits.joint_gap_mm)}",
    )


def _upright(need: EdgeNeed, sheet: SheetMetal, limits: GaugeLimits) -> Verdict:
    modulus_mpa = metal_named(sheet.metal).youngs_modulus_mpa
    tolerance_mm = limits.lean_visible_mm if need.visible else limits.lean_hidden_mm
    lean = lean_mm(limits.brush_load_n, need.stand_mm, sheet.core_mm, modulus_mpa)
    most_mm = largest_stand_mm(limits.brush_load_n, sheet.core_mm, modulus_mpa, tolerance_mm)
    return Verdict(
        UPRIGHT,
        lean <= tolerance_mm + _ROUNDING_MM,
        f"{sheet.label} standing {length_words(need.stand_mm)} leans {thickness_words(lean)} under "
        f"a brush; a {_shows(need)} line may lean {thickness_words(tolerance_mm)}, so it may stand "
        f"{length_words(most_mm)} at most",
    )


def _clamp_pitch(need: EdgeNeed, sheet: SheetMetal, limits: GaugeLimits) -> Verdict:
    pitch_mm = largest_clamp_pitch_mm(sheet, limits, visible=need.visible)
    least_mm = limits.smallest_clamp_pitch_mm
    return Verdict(
        CLAMP_PITCH,
        pitch_mm >= least_mm - _ROUNDING_MM,
        f"{sheet.label} on a {_shows(need)} open edge needs a clamp every "
        f"{length_words(pitch_mm)}; the smallest practical pitch is {length_words(least_mm)}",
    )


def largest_clamp_pitch_mm(sheet: SheetMetal, limits: GaugeLimits, *, visible: bool) -> float:
    """Return the widest clamp pitch of this sheet on an open edge."""
    return clamp_pitch_mm(
        limits.clamp_load_n,
        limits.clamp_width_mm,
        sheet.core_mm,
        metal_named(sheet.metal).youngs_modulus_mpa,
        limits.clamp_lift_visible_mm if visible else limits.clamp_lift_hidden_mm,
    )


def _bend_radius(fold_radius_mm: float, sheet: SheetMetal) -> Verdict:
    refusal = fold_refusal(sheet.metal, sheet.thickness_mm, fold_radius_mm)
    return Verdict(
        BEND_RADIUS,
        refusal is None,
        refusal or f"{sheet.label} folds over {thickness_words(fold_radius_mm)} inside",
    )


def _shows(need: EdgeNeed) -> str:
    return "visible" if need.visible else "hidden"


def _by_mass(sheets: Iterable[SheetMetal]) -> list[SheetMetal]:
    return sorted(sheets, key=lambda s: (s.mass_kg_m2, s.thickness_mm, s.metal, s.label))
