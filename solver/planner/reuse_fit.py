"""Whether a new blank lies within a piece that is cut already, turned or turned over.

Both are flat outlines with folds, slits and V-notches.  A fold, a slit or a V-notch that is there
must be wanted just there, or lie outside the new blank.  Blanks are tried with an end of one on an
end of the other, edge along edge, fold on fold, and straight ones at every place where corners of
both meet; a blank that lies within an old one in another way only is not found, and is cut anew.

Axes: x along the root line, y toward the free edge.  A leg folded to the left hand comes out of the
plane toward the other side than one folded to the right; turning a blank over changes sides.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

Floats = NDArray[np.float64]

SLACK_MM = 0.1
"""Outlines are drawn within 0.05 mm of the curve; a scribed line is 0.1 to 0.2 mm wide."""
ON_LINE_MM = 0.2
"""A border nearer than this to the old border is not cut again."""
SAME_CUT_MM = 0.25
"""Slits and folds nearer than this are one."""
LEAST_CUT_MM = 1.0
"""Less than this of a fold or a border is no cut."""
WIDTH_MM = 1e-3
MOST_JUDGED = 12
"""Places in which a blank lies within an old one that are looked at closely."""
ANGLE_DEG = 0.5


@dataclass(frozen=True)
class FlatFold:
    """A fold as drawn on a blank."""

    points: Floats
    angle_deg: float
    left: bool
    radius_mm: float
    deduction_mm: float


@dataclass(frozen=True, eq=False)
class Flat:
    """A blank before folding: outline (n, 2) counter-clockwise, and all that is cut inside it."""

    outline: Floats
    length_mm: float
    """Of the root line."""
    straight: bool
    width_mm: float
    folds: tuple[FlatFold, ...] = ()
    slits: tuple[Floats, ...] = ()
    v_notches: tuple[Floats, ...] = ()
    fixed: bool = field(default=False)
    """Bent or pre-formed: no more a flat blank, of use only where it was made for."""

    @cached_property
    def polygon(self) -> shapely.Polygon:
        """The outline."""
        return shapely.Polygon(self.outline)

    @cached_property
    def roomy(self) -> shapely.Geometry:
        """The outline and what rounding takes of another."""
        room = shapely.buffer(self.polygon, SLACK_MM, join_style="mitre", mitre_limit=2.0)
        shapely.prepare(room)
        return room

    @cached_property
    def border(self) -> shapely.Geometry:
        """What lies on the outline as far as snips can tell."""
        return shapely.buffer(self.polygon.exterior, ON_LINE_MM, quad_segs=2)

    @cached_property
    def ring(self) -> shapely.Geometry:
        """The outline as a line, made ready to be asked for distances."""
        ring = shapely.get_exterior_ring(self.polygon)
        shapely.prepare(ring)
        return ring

    @cached_property
    def corners_mm(self) -> Floats:
        """Where along a straight blank its outline has corners, ascending."""
        return np.unique(np.round(self.outline[:, 0], 4))

    @cached_property
    def box(self) -> tuple[float, float, float, float]:
        """Lowest x and y, highest x and y."""
        (x0, y0), (x1, y1) = self.outline.min(axis=0), self.outline.max(axis=0)
        return float(x0), float(y0), float(x1), float(y1)

    @cached_property
    def plain(self) -> bool:
        """Whether it is a rectangle with nothing on it."""
        return self.straight and len(self.outline) == 4 and not self.folds

    @cached_property
    def diameter_mm(self) -> float:
        """Not less than any distance within the outline."""
        x0, y0, x1, y1 = self.box
        return math.hypot(x1 - x0, y1 - y0)

    @cached_property
    def least_height_mm(self) -> float:
        """Height of the lowest rectangle round it (one side of its hull lies along that)."""
        hull = np.array(shapely.convex_hull(self.polygon).exterior.coords)
        sides = np.diff(hull, axis=0)
        normals = np.column_stack((-sides[:, 1], sides[:, 0])) / np.hypot(*sides.T)[:, None]
        heights = hull[:-1] @ normals.T
        return float(np.ptp(heights, axis=0).min())

    @cached_property
    def ends(self) -> tuple[_End, ...]:
        """Its ends: the one at the start of its root line, then those that could be the other."""
        return tuple(_ends(self))


@dataclass(frozen=True)
class _End:
    """An end of a strip: a point of it, the way into the strip, and how far it reaches aside."""

    at: Floats
    inward: Floats
    left_mm: float
    right_mm: float
    folds_left_mm: tuple[float, ...]


@dataclass(frozen=True)
class Fit:
    """Where a new blank lies in an old outline: flipped first, then turned, then moved."""

    x_mm: float
    y_mm: float
    turn_deg: float
    flipped: bool
    cut_mm: float
    """Border still to be cut."""
    straight_cut: bool
    """Whether each cut is one straight line, marked with a rule and no template."""
    folds: int
    """Folds of the new blank that are there."""
    slits: int
    v_notches: int

    @property
    def whole(self) -> bool:
        """Whether nothing is cut off: the outlines are the same."""
        return self.cut_mm == 0.0


def fit_of(new: Flat, old: Flat) -> Fit | None:
    """Return how a new blank is best cut from an old piece, None where no way was found.

    The more folds are there and the shorter the cut the better.
    """
    if old.fixed or new.polygon.area > old.polygon.area + SLACK_MM * new.polygon.length:
        return None
    if new.plain and old.plain:
        return _of_rectangles(new, old)
    if new.diameter_mm > old.diameter_mm + 4 * SLACK_MM:
        return None
    if new.width_mm > old.width_mm + SLACK_MM:
        return None  # no strip lies across another here
    if old.straight and new.least_height_mm > old.width_mm + SLACK_MM:
        return None
    alike = abs(new.width_mm - old.width_mm) <= SAME_CUT_MM
    if alike and new.length_mm > old.length_mm + 4 * SLACK_MM:
        return None
    matrices, shifts = _places(new, old)
    if not len(matrices):
        return None
    placed = np.einsum("kij,nj->kni", matrices, new.outline) + shifts[:, None, :]
    low, high = placed.min(axis=1), placed.max(axis=1)
    x0, y0, x1, y1 = old.box
    slack = 2 * SLACK_MM
    within = (low >= (x0 - slack, y0 - slack)).all(axis=1)
    within &= (high <= (x1 + slack, y1 + slack)).all(axis=1)
    at = np.nonzero(within)[0]
    if not len(at):
        return None
    polygons = shapely.polygons(placed[at])
    inside = shapely.covers(old.roomy, polygons)
    at, polygons = at[inside][:MOST_JUDGED], polygons[inside][:MOST_JUDGED]
    best: Fit | None = None
    for number in _least_cut_first(placed[at], old):
        place = at[number]
        fit = _judged(new, old, matrices[place], shifts[place], polygons[number])
        if fit is None or (best is not None and _order(best) <= _order(fit)):
            continue
        best = fit
        if fit.folds == len(new.folds) or not old.folds:
            break
    return best


def _least_cut_first(placed: Floats, old: Flat) -> list[int]:
    """Order of placed outlines (k, n, 2) by the border that does not lie on the old one."""
    if len(placed) < 2:
        return list(range(len(placed)))
    behind = np.roll(placed, -1, axis=1)
    lengths = np.hypot(*np.moveaxis(behind - placed, -1, 0))
    middles = shapely.points((placed + behind) / 2)
    on = shapely.dwithin(old.ring, middles, ON_LINE_MM)
    cut = np.round((lengths * ~on).sum(axis=1), 1)
    return [int(i) for i in np.argsort(cut, kind="stable")]


def _order(fit: Fit) -> tuple[object, ...]:
    return (-fit.folds, round(fit.cut_mm, 3), not fit.straight_cut, fit.flipped)


def _of_rectangles(new: Flat, old: Flat) -> Fit | None:
    x0, y0, x1, y1 = new.box
    u0, v0, u1, v1 = old.box
    shorter, narrower = (u1 - u0) - (x1 - x0), (v1 - v0) - (y1 - y0)
    if min(shorter, narrower) < -SLACK_MM:
        return None
    cut = (y1 - y0 if shorter > ON_LINE_MM else 0.0) + (x1 - x0 if narrower > ON_LINE_MM else 0.0)
    return Fit(u0 - x0, v0 - y0, 0.0, False, cut, True, 0, 0, 0)


# --- places to try ------------------------------------------------------------------------------


def _ends(flat: Flat) -> Iterator[_End]:
    ring = flat.outline
    folds = tuple(fold.points for fold in flat.folds)
    start = ring[np.abs(ring[:, 0]) < 1e-6]
    if len(start) >= 2:
        low, high = float(start[:, 1].min()), float(start[:, 1].max())
        yield _End(
            np.zeros(2),
            np.array((1.0, 0.0)),
            high,
            -low,
            tuple(float(points[0, 1]) for points in folds),
        )
    sides = np.roll(ring, -1, axis=0) - ring
    lengths = np.hypot(sides[:, 0], sides[:, 1])
    for index in np.nonzero(np.abs(lengths - flat.width_mm) < 1e-3)[0].tolist():
        one = ring[index]
        if len(start) >= 2 and max(abs(one[0]), abs(ring[(index + 1) % len(ring)][0])) < 1e-6:
            continue
        up = sides[index] / lengths[index]
        inward = np.array((-up[1], up[0]))
        # looking into the strip, the side that begins this border lies on the left
        yield _End(
            one,
            inward,
            0.0,
            float(lengths[index]),
            tuple(float(-(points[-1] - one) @ up) for points in folds),
        )


def _places(new: Flat, old: Flat) -> tuple[Floats, Floats]:
    """Motions worth a try, matrices (k, 2, 2) and shifts (k, 2): ends on ends, meeting corners."""
    places: list[tuple[Floats, Floats]] = [(np.eye(2), np.zeros(2))]
    for flipped in (False, True):
        for mine in new.ends:
            for its in old.ends:
                places += _end_on_end(mine, its, flipped=flipped)
    if old.straight and new.straight:
        places += _corners_meet(new, old)
    elif old.straight:
        places += _along_chord(new, old)
    return np.array([m for m, _ in places]), np.array([s for _, s in places])


def _end_on_end(mine: _End, its: _End, *, flipped: bool) -> Iterator[tuple[Floats, Floats]]:
    mirror = np.diag((1.0, -1.0)) if flipped else np.eye(2)
    inward = mirror @ mine.inward
    cos = float(inward @ its.inward)
    sin = float(inward[0] * its.inward[1] - inward[1] * its.inward[0])
    matrix = np.array(((cos, -sin), (sin, cos))) @ mirror
    left = np.array((-its.inward[1], its.inward[0]))
    my_left, my_right = mine.left_mm, mine.right_mm
    my_folds = mine.folds_left_mm
    if flipped:
        my_left, my_right = my_right, my_left
        my_folds = tuple(-offset for offset in my_folds)
    asides = {0.0, its.left_mm - my_left, my_right - its.right_mm}
    asides |= {b - a for a in my_folds for b in its.folds_left_mm}
    for aside in sorted(asides):
        if my_left + aside > its.left_mm + SLACK_MM or my_right - aside > its.right_mm + SLACK_MM:
            continue
        yield matrix, its.at + aside * left - matrix @ mine.at


def _corners_meet(new: Flat, old: Flat) -> Iterator[tuple[Floats, Floats]]:
    for turned in (False, True):
        sign = -1.0 if turned else 1.0
        mine = -new.corners_mm[::-1] if turned else new.corners_mm
        meetings = _meetings(mine, old.corners_mm)
        for flipped in (False, True):
            matrix = np.diag((sign, sign * (-1.0 if flipped else 1.0)))
            placed = new.outline @ matrix.T
            low, high = placed.min(axis=0), placed.max(axis=0)
            u0, v0, u1, v1 = old.box
            if high[1] - low[1] > v1 - v0 + SLACK_MM or high[0] - low[0] > u1 - u0 + SLACK_MM:
                continue
            along = meetings
            along = along[(along >= u0 - low[0] - SLACK_MM) & (along <= u1 - high[0] + SLACK_MM)]
            aside = [v0 - low[1], v1 - high[1]]
            aside += [
                float(b.points[0, 1] - (a.points @ matrix.T)[0, 1])
                for a in new.folds
                for b in old.folds
            ]
            for dy in sorted(set(aside)):
                for dx in along.tolist():
                    yield matrix, np.array((dx, dy))


MOST_MEETINGS = 14


def _meetings(own: Floats, others: Floats) -> Floats:
    """Shifts at which corners meet, those at which most do first."""
    shifts = np.round((others[:, None] - own[None, :]).ravel(), 2)
    values, first, counts = np.unique(shifts, return_index=True, return_counts=True)
    exact = (others[:, None] - own[None, :]).ravel()[first]
    ends = np.isin(values, np.round((others[0] - own[0], others[-1] - own[-1]), 2))
    order = np.lexsort((values, -counts, ~ends))
    return np.asarray(exact[order][:MOST_MEETINGS], dtype=np.float64)


def _along_chord(new: Flat, old: Flat) -> Iterator[tuple[Floats, Floats]]:
    """A curved blank laid along a straight one, its chord along the border."""
    ends = new.ends
    if len(ends) < 2:
        return
    chord = ends[1].at - ends[0].at
    length = float(np.hypot(chord[0], chord[1]))
    if length < 1e-6:
        return
    cos, sin = chord / length
    back = np.array(((cos, sin), (-sin, cos)))
    for mirror in (np.eye(2), np.diag((1.0, -1.0)), np.diag((-1.0, -1.0)), np.diag((-1.0, 1.0))):
        matrix = mirror @ back
        placed = new.outline @ matrix.T
        low, high = placed.min(axis=0), placed.max(axis=0)
        u0, v0, u1, v1 = old.box
        for dx in (u0 - low[0], u1 - high[0]):
            for dy in (v0 - low[1], v1 - high[1]):
                yield matrix, np.array((dx, dy))


# --- folds, slits and cuts ----------------------------------------------------------------------


def _judged(
    new: Flat, old: Flat, matrix: Floats, shift: Floats, polygon: shapely.Polygon
) -> Fit | None:
    flipped = bool(np.linalg.det(matrix) < 0)
    folds: int | None = 0
    slits: int | None = 0
    v_notches: int | None = 0
    if old.folds or old.slits or old.v_notches:
        inside = shapely.buffer(polygon, -SAME_CUT_MM)
        folds = _folds_there(new, old, matrix, shift, inside, flipped=flipped)
        slits = _cuts_there(new.slits, old.slits, matrix, shift, inside)
        v_notches = _cuts_there(new.v_notches, old.v_notches, matrix, shift, inside)
    if folds is None or slits is None or v_notches is None:
        return None
    cut = shapely.difference(polygon.exterior, old.border)
    parts = [p for p in shapely.get_parts(shapely.line_merge(cut)) if p.length > LEAST_CUT_MM]
    turn = math.degrees(math.atan2(matrix[1, 0], matrix[0, 0]))
    return Fit(
        x_mm=float(shift[0]),
        y_mm=float(shift[1]),
        turn_deg=turn + 0.0,
        flipped=flipped,
        cut_mm=float(sum(part.length for part in parts)),
        straight_cut=new.straight or all(_is_straight(part) for part in parts),
        folds=folds,
        slits=slits,
        v_notches=v_notches,
    )


def _is_straight(part: shapely.Geometry) -> bool:
    points = shapely.get_coordinates(part)
    chord = float(np.hypot(*(points[-1] - points[0])))
    return bool(part.length <= chord + 1.0)


def _folds_there(
    new: Flat,
    old: Flat,
    matrix: Floats,
    shift: Floats,
    inside: shapely.Geometry,
    *,
    flipped: bool,
) -> int | None:
    """How many folds are there already; None where one is there that is not wanted."""
    wanted = [shapely.LineString(fold.points @ matrix.T + shift) for fold in new.folds]
    there: set[int] = set()
    for has in old.folds:
        line = shapely.LineString(has.points)
        if shapely.length(shapely.intersection(line, inside)) <= LEAST_CUT_MM:
            continue
        mine = [
            index
            for index, (fold, at) in enumerate(zip(new.folds, wanted, strict=True))
            if (fold.left == has.left) != flipped
            and abs(fold.angle_deg - has.angle_deg) <= ANGLE_DEG
            and abs(fold.radius_mm - has.radius_mm) <= WIDTH_MM
            and abs(fold.deduction_mm - has.deduction_mm) <= WIDTH_MM
            and shapely.length(shapely.difference(at, shapely.buffer(line, SAME_CUT_MM)))
            <= LEAST_CUT_MM
        ]
        if not mine:
            return None
        there.update(mine)
    return len(there)


def _cuts_there(
    new: Sequence[Floats],
    old: Sequence[Floats],
    matrix: Floats,
    shift: Floats,
    inside: shapely.Geometry,
) -> int | None:
    """How many slits or V-notches are there already; None where one is there that is not wanted."""
    if not old:
        return 0
    wanted: Any = [cut @ matrix.T + shift for cut in new]
    there = 0
    used: set[int] = set()
    for cut in old:
        if not shapely.intersects(shapely.LineString(cut), inside):
            continue
        for index, mine in enumerate(wanted):
            if index not in used and _same_cut(mine, cut):
                used.add(index)
                there += 1
                break
        else:
            return None
    return there


def _same_cut(one: Floats, other: Floats) -> bool:
    return (
        bool(
            np.abs(one - other).max() <= SAME_CUT_MM
            or np.abs(one[::-1] - other).max() <= SAME_CUT_MM
        )
        if len(one) == 2 or len(one) == 3
        else False
    )
