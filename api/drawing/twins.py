"""How a mirrored piece is cut from its twin's template: turned over or not, and longer where."""

from __future__ import annotations

from dataclasses import dataclass

import shapely

from api.drawing.shapes import Point, Pose
from api.drawing.strips import Strip
from solver.data.plan import Piece

_SAME = 0.98
"""Share of the smaller blank that must be covered for two blanks to count as the same shape."""


@dataclass(frozen=True)
class TwinLay:
    """How the template is laid for the twin, by the template's own ends."""

    turned_over: bool
    leave_off_mm: float
    """Not cut at the template's end: its own metal to trim."""
    add_mm: float
    """Cut longer, straight on, at the template's start (turned over) or end (as it lies)."""
    sure: bool
    """Whether the blanks are the same shape but for that."""


def turned_over(strip: Strip) -> tuple[Point, ...] | None:
    """Return a blank's outline turned over, end for end: its last end lies at the origin."""
    frame = strip.end_frame
    if frame is None:
        return None
    (x, y), heading = frame
    back = Pose(turn_deg=-heading)
    shift = back.point((x, y))
    moved = [back.point(point) for point in strip.blank.outline_mm]
    return tuple((-(px - shift[0]), py - shift[1]) for px, py in moved)


def twin_lay(template: Piece, twin: Piece) -> TwinLay:
    """Return how a twin lies on its template; turned over where both ways would do.

    A blank turned over end for end has its hard curve on the same hand: that is how the mirrored
    line is walked from its other end.  A run that is walked the other way asks for the blank as it
    lies.
    """
    one, two = Strip(template.blank), Strip(twin.blank)
    over = turned_over(one)
    spare = template.trim_mm
    if over is not None and _covers(over, two.blank.outline_mm, spare):
        return TwinLay(True, spare, twin.trim_mm, sure=True)
    if _covers(one.blank.outline_mm, two.blank.outline_mm, 0.0):
        return TwinLay(False, spare, twin.trim_mm, sure=True)
    return TwinLay(True, spare, twin.trim_mm, sure=False)


def _covers(ring: tuple[Point, ...], other: tuple[Point, ...], spare_mm: float) -> bool:
    shifted = [(x - spare_mm, y) for x, y in ring]
    one, two = shapely.Polygon(shifted), shapely.Polygon(other)
    if not (one.is_valid and two.is_valid):
        return False
    shared = float(shapely.area(shapely.intersection(one, two)))
    return bool(shared >= _SAME * min(one.area, two.area))
