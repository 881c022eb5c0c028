"""What the split models are told: patches, the edges between them, and the rules for sections.

Plain numbers only.  Everything a section may or may not do is derived from here by `release.py`
(may it be pulled off), `columns.py` (which sections are legal), `removal.py` (do they come off in
some order), `split.py` (which sections are cheapest) and `split_conflict.py` (why none fit).

Signs: a facing of a patch is its unit outward normal, out of the part into the mold wall; a pull
is the motion of the mold section with the part at rest; a facing of an edge points from patch
``a`` toward patch ``b``.  Millimetres, kilograms, degrees; costs in any one money.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

Vector = tuple[float, float, float]

SPLIT_WORDS = ("allowed", "required", "forbidden")

# A facing whose length is off by more than this was not normalised by whoever made it.
UNIT_LENGTH_TOLERANCE = 1e-6


class SplitProblemError(ValueError):
    """A split problem that makes no sense; the text names place, value and remedy."""


@dataclass(frozen=True)
class SplitPatch:
    """The smallest area of mold surface that is never divided.

    ``facings``: unit outward normals, all mixtures of which occur on the patch; none: it comes off
    along any pull (a relaxed patch; the planner always gives one or more); ``spread_deg``:
    half-angle of the cone round each of them; ``box_mm``: (low corner, high corner) or None;
    ``pin``: same label, same section; different labels, different sections.
    """

    id: str
    area_mm2: float
    mass_kg: float
    facings: tuple[Vector, ...]
    spread_deg: float = 0.0
    box_mm: tuple[Vector, Vector] | None = None
    pin: str | None = None


@dataclass(frozen=True)
class SplitEdge:
    """A line between two patches (indices ``a`` and ``b``); two edges may join the same two.

    ``facings``: unit vectors from a toward b, several for a line that turns (a loop goes all
    round); none: this edge blocks no removal.  ``inside_cost`` is paid when both patches are in
    one section, ``joint_cost`` when the edge is a joint; ``joint_mass_kg`` is the flange that a
    joint adds to *each* of its two sections.  ``hooked``: as a joint it holds metal with a return,
    which cannot be drawn out of the part; no section may lean into it, whether its neighbour is
    still there or not.
    """

    id: str
    a: int
    b: int
    length_mm: float
    split: str = "allowed"
    facings: tuple[Vector, ...] = ()
    inside_cost: float = 0.0
    joint_cost: float = 0.0
    joint_mass_kg: float = 0.0
    hooked: bool = False


@dataclass(frozen=True)
class SplitProblem:
    """A body to be split.

    A section must be connected through edges inside it, release with ``draft_deg`` along one
    pull, weigh at most ``lift_limit_kg`` (patch mass times one plus ``frame_fraction``, plus
    ``open_mass_kg`` of its patches, plus the flanges of its joints), and its box, turned as one
    likes in quarter turns, must fit ``largest_section_mm``.  ``pulls``: the only pull directions
    allowed, or None for any.  ``pull_walls``: vectors w with pull . w <= 0 (a wall stands there).
    ``blocking_deg``: a pull may lean this far into a neighbour before it counts as blocked.
    """

    patches: tuple[SplitPatch, ...]
    edges: tuple[SplitEdge, ...]
    draft_deg: float = 2.0
    blocking_deg: float = 0.5
    lift_limit_kg: float | None = None
    largest_section_mm: Vector | None = None
    most_sections: int | None = None
    fewest_sections: int = 1
    pulls: tuple[Vector, ...] | None = None
    pull_walls: tuple[Vector, ...] = ()
    section_cost: float = 0.0
    frame_fraction: float = 0.0
    open_mass_kg: tuple[float, ...] = ()

    def __post_init__(self) -> None:
        """Refuse nonsense, naming place, value and remedy."""
        if not self.patches:
            raise SplitProblemError("patches: there are none; give at least one patch")
        if not self.open_mass_kg:
            object.__setattr__(self, "open_mass_kg", (0.0,) * len(self.patches))
        if len(self.open_mass_kg) != len(self.patches):
            raise SplitProblemError(
                f"open_mass_kg: {len(self.open_mass_kg)} values for {len(self.patches)} patches; "
                "give one for each patch"
            )
        _check_between("draft_deg", self.draft_deg, 0.0, 90.0)
        _check_between("blocking_deg", self.blocking_deg, 0.0, 90.0)
        for name, value in (
            ("lift_limit_kg", self.lift_limit_kg),
            ("section_cost", self.section_cost),
            ("frame_fraction", self.frame_fraction),
        ):
            if value is not None:
                _check_amount(name, value)
        for mass in self.open_mass_kg:
            _check_amount("open_mass_kg", mass)
        if self.fewest_sections < 1:
            raise SplitProblemError(f"fewest_sections: {self.fewest_sections}; give 1 or more")
        if self.most_sections is not None and self.most_sections < 1:
            raise SplitProblemError(f"most_sections: {self.most_sections}; give 1 or more")
        if self.pulls is not None and not self.pulls:
            raise SplitProblemError("pulls: empty; give at least one direction, or None for any")
        for vector in self.pulls or ():
            _check_unit("pulls", vector)
        for vector in self.pull_walls:
            _check_unit("pull_walls", vector)
        for patch in self.patches:
            _check_patch(patch)
        for edge in self.edges:
            _check_edge(edge, len(self.patches))

    @property
    def size_rule_holds(self) -> bool:
        """True when a size limit is given and every patch has a box (else the rule is off)."""
        return self.largest_section_mm is not None and all(
            patch.box_mm is not None for patch in self.patches
        )


def _check_between(place: str, value: float, low: float, high: float) -> None:
    if not low <= value < high:
        raise SplitProblemError(f"{place}: {value} is not from {low:g} to below {high:g}")


def _check_amount(place: str, value: float) -> None:
    if not (math.isfinite(value) and value >= 0.0):
        raise SplitProblemError(f"{place}: {value} must be a number of zero or more")


def _check_unit(place: str, vector: Vector) -> None:
    length = math.sqrt(sum(x * x for x in vector)) if len(vector) == 3 else math.nan
    if not abs(length - 1.0) <= UNIT_LENGTH_TOLERANCE:
        raise SplitProblemError(f"{place}: {vector} is not three numbers of length 1; divide it")


def _check_patch(patch: SplitPatch) -> None:
    place = f"patches {patch.id!r}"
    for facing in patch.facings:
        _check_unit(f"{place}.facings", facing)
    _check_between(f"{place}.spread_deg", patch.spread_deg, 0.0, 180.0)
    _check_amount(f"{place}.mass_kg", patch.mass_kg)
    _check_amount(f"{place}.area_mm2", patch.area_mm2)
    if patch.box_mm is not None:
        low, high = patch.box_mm
        if any(not a <= b for a, b in zip(low, high, strict=True)):
            raise SplitProblemError(f"{place}.box_mm: {patch.box_mm}; give the low corner first")


def _check_edge(edge: SplitEdge, patch_count: int) -> None:
    place = f"edges {edge.id!r}"
    if not (0 <= edge.a < patch_count and 0 <= edge.b < patch_count):
        raise SplitProblemError(f"{place}: patch {edge.a} or {edge.b} is not in the list")
    if edge.a == edge.b:
        raise SplitProblemError(f"{place}: joins a patch to itself; divide the patch")
    if edge.split not in SPLIT_WORDS:
        raise SplitProblemError(f"{place}.split: {edge.split!r} is none of {SPLIT_WORDS}")
    for facing in edge.facings:
        _check_unit(f"{place}.facings", facing)
    for name in ("length_mm", "joint_mass_kg"):
        _check_amount(f"{place}.{name}", getattr(edge, name))
    for name in ("inside_cost", "joint_cost"):
        if not math.isfinite(getattr(edge, name)):
            raise SplitProblemError(f"{place}.{name}: {getattr(edge, name)} is not a number")
