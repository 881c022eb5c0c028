"""Flat outlines of flashing pieces, exact where the strip does not twist."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from solver.data.line import Line

Point = tuple[float, float]
Side = Literal["free", "grip"]
Hand = Literal["left", "right"]

#: Largest distance (mm) between the outline and the true curve.  A scribed line is 0.1-0.2 mm
#: wide and hand snips wander more, so half of the finest line is lost in the cutting.
CHORD_TOLERANCE_MM = 0.05


@dataclass(frozen=True)
class Notch:
    """A cut-out from one edge: ``wide_mm`` along the root line about a station of the line."""

    at_mm: float
    wide_mm: float
    deep_mm: float
    side: Side


@dataclass(frozen=True)
class Fold:
    """A fold that runs along the root line at an offset (mm, positive toward the free edge)."""

    offset_mm: float
    angle_deg: float
    toward: Hand


@dataclass(frozen=True)
class FoldLine:
    """A fold as drawn on the blank: polyline in mm, bend angle, the hand it folds to."""

    points_mm: tuple[Point, ...]
    angle_deg: float
    toward: Hand


@dataclass(frozen=True)
class LegCut:
    """A cut across a folded leg at one station of the line.

    ``opening_mm`` is the width at the leg's edge: by how much a slit opens, or what a V-notch takes
    away (``opens`` False).  ``deep_mm`` is measured from the edge of the leg.
    """

    station_mm: float
    side: Side
    deep_mm: float
    opening_mm: float
    opens: bool


@dataclass(frozen=True)
class Blank:
    """The flat outline of a piece before folding, in mm, root line along x from the origin.

    ``outline_mm`` is a ring, counter-clockwise, that does not repeat its first point; notches are
    part of it.  ``v_notches`` are triangles (mouth, apex, mouth), ``notches`` the polygons that the
    notches take away.
    """

    outline_mm: tuple[Point, ...]
    root_mm: tuple[Point, ...]
    root_length_mm: float
    area_mm2: float
    width_mm: float
    folds: tuple[FoldLine, ...] = ()
    slits: tuple[tuple[Point, Point], ...] = ()
    v_notches: tuple[tuple[Point, Point, Point], ...] = ()
    notches: tuple[tuple[Point, ...], ...] = ()
    straight: bool = True
    symmetric: bool = True


class BlankError(ValueError):
    """No blank can be cut for this piece; ``faults`` are sentences with place, value and limit."""

    def __init__(self, faults: tuple[str, ...]) -> None:
        super().__init__("; ".join(faults))
        self.faults = faults


def blank_of(
    line: Line,
    start_mm: float,
    end_mm: float,
    above_mm: float,
    below_mm: float,
    *,
    folds: tuple[Fold, ...] = (),
    notches: tuple[Notch, ...] = (),
    cuts: tuple[LegCut, ...] = (),
    extra_start_mm: float = 0.0,
    extra_end_mm: float = 0.0,
    chord_tolerance_mm: float = CHORD_TOLERANCE_MM,
) -> Blank:
    """Blank of the piece between two stations; see the signature, built in the next commit."""
    raise NotImplementedError
