"""Flat outlines of flashing pieces, exact where the strip does not twist.

The flashing is a strip along the edge curve that stands along the surface normal.  Rolled out flat
its root line is the plane curve with the hard-way curvature of the line (its geodesic curvature in
the strip), and its edges are offsets of that curve (do Carmo, *Differential Geometry of Curves and
Surfaces*, developable strips).  Easy-way curvature only bends the metal and leaves the flat outline
as it is.

Axes of a blank: x along the root line from the first point of the piece, y toward the free edge;
positive hard curvature turns the root line toward +y.

The outline is a polygon that *contains* the true blank: tangents along edges that bulge out, chords
along edges that curve in.  What does not overlap as polygons therefore does not overlap as metal.
It leaves the true curve by at most the chord tolerance.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np
import shapely
from numpy.typing import NDArray

from solver.data.line import Line
from solver.geometry.lines import (
    STATION_SLACK_MM,
    Floats,
    PlaneTable,
    checked_range,
    chord_stations,
    sub_line,
    walk_plane,
)

Point = tuple[float, float]
Side = Literal["free", "grip"]
Hand = Literal["left", "right"]

#: Largest distance (mm) between the outline and the true curve.  A scribed line is 0.1-0.2 mm
#: wide and hand snips wander more, so half of the finest line is lost in the cutting.
CHORD_TOLERANCE_MM = 0.05

#: Curvature (1/mm) below which a stretch counts as straight: a rise of 0.0001 mm in 8 m.
STRAIGHT_PER_MM = 1e-11


@dataclass(frozen=True)
class Notch:
    """A cut-out from one edge: ``wide_mm`` along the root line about a station of the line.

    Its sides run square to the root line, ``deep_mm`` is measured from the edge.
    """

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

    ``opening_mm`` is the width at the leg's edge: by how much a slit opens (``opens``), or what a
    V-notch takes away.  ``deep_mm`` is measured from the edge of the leg to the fold.
    """

    station_mm: float
    side: Side
    deep_mm: float
    opening_mm: float
    opens: bool


@dataclass(frozen=True)
class Blank:
    """The flat outline of a piece before folding, in mm.

    ``outline_mm`` is a ring, counter-clockwise, that does not repeat its first point; notches are
    part of it and ``notches`` gives the polygons that they take away.  ``v_notches`` are triangles
    (mouth, apex, mouth) and ``slits`` run from the edge to the fold; both are cut inside the
    outline and not taken from ``area_mm2``.  ``root_length_mm`` is exact.  ``width_mm`` is the
    width across, ``straight`` says that there is neither hard curvature nor a hard corner,
    ``symmetric`` that the blank with all its cuts comes onto itself when turned end for end.
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
    """Blank of the piece between two stations of a line.

    ``above_mm`` and ``below_mm`` are the flat widths on the free and the grip side of the root
    line; for a folded profile they are developed widths, bend deductions already taken.  Notches
    and cuts are placed by stations of the line; those off the piece are left out.
    ``extra_start_mm`` and ``extra_end_mm`` lengthen the piece straight on, to trim at fitting.

    Raises BlankError with the sentences of ``blank_faults``, ValueError for stations off the line.
    """
    piece = _piece_of(
        line, start_mm, end_mm, above_mm, below_mm, notches, extra_start_mm, extra_end_mm
    )
    ring, faults = _ring_of(piece, chord_tolerance_mm)
    faults += _fold_faults(folds, above_mm, below_mm)
    if ring is None or faults:
        raise BlankError(faults)
    slits, v_notches = _cut_shapes(piece, cuts)
    return Blank(
        outline_mm=_points(ring.outline),
        root_mm=_points(ring.root),
        root_length_mm=piece.length_mm,
        area_mm2=_shoelace_mm2(ring.outline),
        width_mm=above_mm + below_mm,
        folds=tuple(
            FoldLine(_points(_offset_curve(piece, ring, f.offset_mm)), f.angle_deg, f.toward)
            for f in folds
        ),
        slits=slits,
        v_notches=v_notches,
        notches=_notch_polygons(piece),
        straight=piece.straight,
        symmetric=_is_symmetric(piece, cuts),
    )


def blank_faults(
    line: Line,
    start_mm: float,
    end_mm: float,
    above_mm: float,
    below_mm: float,
    *,
    folds: tuple[Fold, ...] = (),
    notches: tuple[Notch, ...] = (),
    extra_start_mm: float = 0.0,
    extra_end_mm: float = 0.0,
    chord_tolerance_mm: float = CHORD_TOLERANCE_MM,
) -> tuple[str, ...]:
    """Why no blank can be cut for a piece: sentences with place in mm, value and limit.

    Empty when ``blank_of`` gives a blank for the same arguments.

    Raises ValueError for stations off the line and for widths that are no widths.
    """
    piece = _piece_of(
        line, start_mm, end_mm, above_mm, below_mm, notches, extra_start_mm, extra_end_mm
    )
    return _ring_of(piece, chord_tolerance_mm)[1] + _fold_faults(folds, above_mm, below_mm)


def strip_area_mm2(
    line: Line,
    start_mm: float,
    end_mm: float,
    above_mm: float,
    below_mm: float,
    *,
    extra_start_mm: float = 0.0,
    extra_end_mm: float = 0.0,
) -> float:
    """Exact area of the strip without notches.

    Steiner's formula for parallel curves, integrated along the root line:
    (above + below) L - (above^2 - below^2)/2 * total hard turn, where a corner of angle d turns by
    2 tan(d/2): its mitre adds below^2 tan(d/2) outside and takes above^2 tan(d/2) inside.  With
    corners it is exact where the line is straight over the length of the mitre.

    Raises ValueError for stations off the line.
    """
    piece = _piece_of(line, start_mm, end_mm, above_mm, below_mm, (), extra_start_mm, extra_end_mm)
    table = piece.table
    smooth = float(0.5 * (table.start + table.end) @ np.diff(table.breaks))
    sharp = float(np.sum(2.0 * np.tan(0.5 * table.corner_rad)))
    return (above_mm + below_mm) * piece.length_mm - 0.5 * (above_mm**2 - below_mm**2) * (
        smooth + sharp
    )


# --- the piece in its own stations --------------------------------------------------------------


@dataclass(frozen=True)
class _Window:
    """A notch in stations of the piece."""

    low: float
    high: float
    deep: float
    side: Side


@dataclass(frozen=True)
class _Piece:
    """A piece in stations of its own root line, extra lengths included.

    ``offset`` is what to add to a station of the line to get one of the piece.
    """

    table: PlaneTable
    length_mm: float
    offset: float
    lap_mm: float
    above: float
    below: float
    windows: tuple[_Window, ...]
    straight: bool

    def stations_of(self, at_mm: float) -> tuple[float, ...]:
        """Where a station of the line lies on the piece; on a loop also one lap on."""
        if self.lap_mm > 0.0:
            return (at_mm + self.offset, at_mm + self.offset + self.lap_mm)
        return (at_mm + self.offset,)

    def place(self, station: float) -> str:
        """Give a station of the piece as a place on the line, for a reader."""
        return f"{station - self.offset:.1f} mm"


def _piece_of(
    line: Line,
    start_mm: float,
    end_mm: float,
    above_mm: float,
    below_mm: float,
    notches: tuple[Notch, ...],
    extra_start_mm: float,
    extra_end_mm: float,
) -> _Piece:
    for name, value in (
        ("above_mm", above_mm),
        ("below_mm", below_mm),
        ("extra_start_mm", extra_start_mm),
        ("extra_end_mm", extra_end_mm),
    ):
        if not (math.isfinite(value) and value >= 0.0):
            raise ValueError(f"{name} is {value}; give a width or length of zero or more")
    if above_mm + below_mm <= 0.0:
        raise ValueError("the blank has no width; give above_mm or below_mm above zero")
    start, end = checked_range(line, start_mm, end_mm)
    offset = extra_start_mm - start
    lap = line.length_mm if line.closed else 0.0
    if end > line.length_mm + STATION_SLACK_MM:
        line = sub_line(line, start, end)
        start, end = 0.0, line.length_mm
    table = _clipped_table(line, start, end, extra_start_mm, extra_end_mm)
    straight = not (len(table.corner_at) or table.start.any() or table.end.any())
    piece = _Piece(
        table, float(table.breaks[-1]), offset, lap, above_mm, below_mm, (), bool(straight)
    )
    if not notches:
        return piece
    windows: list[_Window] = []
    for notch in notches:
        if not (notch.wide_mm > 0.0 and notch.deep_mm > 0.0):
            raise ValueError(
                f"the notch at {notch.at_mm:.1f} mm is {notch.wide_mm} wide and {notch.deep_mm} "
                "deep; give both above zero"
            )
        for station in piece.stations_of(notch.at_mm):
            low = max(station - 0.5 * notch.wide_mm, 0.0)
            high = min(station + 0.5 * notch.wide_mm, piece.length_mm)
            if high - low > STATION_SLACK_MM:
                windows.append(_Window(low, high, notch.deep_mm, notch.side))
    windows.sort(key=lambda w: (w.low, w.high, w.side, w.deep))
    return _Piece(
        table,
        piece.length_mm,
        offset,
        lap,
        above_mm,
        below_mm,
        tuple(windows),
        piece.straight,
    )


def _clipped_table(
    line: Line, start: float, end: float, extra_start: float, extra_end: float
) -> PlaneTable:
    """Hard curvature of the piece with its straight extras, neighbours of one kind merged."""
    breaks = line.breaks_mm
    rows = line.curvature_table
    first = max(int(breaks.searchsorted(start + STATION_SLACK_MM, side="right")) - 1, 0)
    last = int(breaks.searchsorted(end - STATION_SLACK_MM, side="left"))
    shift = extra_start - start
    at: list[float] = []
    begin: list[float] = []
    finish: list[float] = []
    if extra_start > 0.0:
        at.append(0.0)
        begin.append(0.0)
        finish.append(0.0)
    marks: list[float] = breaks[first : last + 1].tolist()
    for index, (k_begin, k_finish) in enumerate(rows[first:last, 2:4].tolist()):
        b_low, b_high = marks[index], marks[index + 1]
        low, high = max(b_low, start), min(b_high, end)
        slope = (k_finish - k_begin) / (b_high - b_low)
        k_low = k_begin + slope * (low - b_low)
        k_high = k_finish if high == b_high else k_begin + slope * (high - b_low)
        if abs(k_low) <= STRAIGHT_PER_MM and abs(k_high) <= STRAIGHT_PER_MM:
            k_low = k_high = slope = 0.0
        if at and finish[-1] == k_low and k_low == k_high and begin[-1] == k_low:
            continue
        at.append(low + shift)
        begin.append(k_low)
        finish.append(k_high)
    length = end + shift
    if extra_end > 0.0:
        if not (begin[-1] == 0.0 and finish[-1] == 0.0):
            at.append(length)
            begin.append(0.0)
            finish.append(0.0)
        length += extra_end
    at.append(length)
    corners = line.corner_table
    if len(corners):
        station = corners[:, 0]
        inside = (
            (corners[:, 2] != 0.0)
            & (station > start + STATION_SLACK_MM)
            & (station < end - STATION_SLACK_MM)
        )
        corner_at = station[inside] + shift
        corner_rad = np.radians(corners[inside, 2])
    else:
        corner_at = corner_rad = _NONE
    return PlaneTable(np.array(at), np.array(begin), np.array(finish), corner_at, corner_rad)


_NONE: Floats = np.zeros(0)


# --- the outline --------------------------------------------------------------------------------


@dataclass(frozen=True)
class _Ring:
    """The walked root line and the outline round it."""

    outline: Floats
    root: Floats
    stations: Floats
    before: Floats
    after: Floats


def _ring_of(piece: _Piece, tolerance_mm: float) -> tuple[_Ring | None, tuple[str, ...]]:
    """Outline of a piece, or the reasons why there is none."""
    if not tolerance_mm > 0.0:
        raise ValueError(f"chord_tolerance_mm is {tolerance_mm}; give one above zero")
    faults = _radius_faults(piece) + _notch_faults(piece)
    if faults:
        return None, faults
    if piece.straight and not piece.windows:
        length, above, below = piece.length_mm, piece.above, piece.below
        outline = np.array(((0.0, -below), (length, -below), (length, above), (0.0, above)))
        root = np.array(((0.0, 0.0), (length, 0.0)))
        level = np.zeros(2)
        return _Ring(outline, root, np.array((0.0, length)), level, level), ()
    if piece.straight:
        stations = piece.table.breaks
    else:
        stations = chord_stations(piece.table, tolerance_mm, max(piece.above, piece.below))
    if piece.windows:
        stations = _with_stations(stations, [s for w in piece.windows for s in (w.low, w.high)])
    root, before, after = walk_plane(piece.table, stations)
    ring = _Ring(root, root, stations, before, after)
    grip, grip_faults = _edge(piece, ring, "grip")
    free, free_faults = _edge(piece, ring, "free")
    if grip_faults or free_faults:
        return None, grip_faults + free_faults
    outline = np.concatenate((grip, free[::-1]))
    ring = _Ring(outline, root, stations, before, after)
    if not _surely_simple(piece, ring) and _meets_itself(outline, len(grip), tolerance_mm):
        turn = math.degrees(float(after.max() - after.min()))
        return None, (
            f"from {piece.place(0.0)} to {piece.place(piece.length_mm)} the blank crosses itself: "
            f"its {piece.length_mm:.1f} mm turn {turn:.0f} degrees the hard way; a shorter piece "
            "does not meet itself",
        )
    return ring, ()


def _with_stations(stations: Floats, more: list[float]) -> Floats:
    """Add stations to an ascending list, dropping what nearly coincides with the added ones."""
    added = np.array(sorted(set(more)))
    gap = np.abs(stations[:, None] - added[None, :]).min(axis=1)
    keep = gap > STATION_SLACK_MM
    merged = np.concatenate((stations[keep], added))
    merged.sort()
    return merged


def _edge(piece: _Piece, ring: _Ring, side: Side) -> tuple[Floats, tuple[str, ...]]:
    """One edge as a polyline from start to end, corners mitred, notches cut."""
    sign = 1.0 if side == "free" else -1.0
    reach = piece.above if side == "free" else piece.below
    levels = np.full(len(ring.stations) - 1, sign * reach)
    windows = [w for w in piece.windows if w.side == side]
    if windows:
        middle = 0.5 * (ring.stations[1:] + ring.stations[:-1])
        deep = np.zeros(len(middle))
        for window in windows:
            under = (middle > window.low) & (middle < window.high)
            np.maximum(deep, np.where(under, window.deep, 0.0), out=deep)
        levels = sign * (reach - deep)
    return _mitred(piece, ring, levels, sign)


def _mitred(
    piece: _Piece, ring: _Ring, levels: Floats, sign: float
) -> tuple[Floats, tuple[str, ...]]:
    """Offset curve with a level (mm) for each interval; spans between corners are mitred.

    ``sign`` is the outer side of the curve (+1 left, -1 right) toward which the polygon may leave
    it, or 0 to keep every vertex on the curve.
    """
    corner_at = piece.table.corner_at
    if not len(corner_at):
        return _span(ring, levels, sign, 0, len(ring.stations) - 1), ()
    cuts = np.searchsorted(ring.stations, corner_at - STATION_SLACK_MM).tolist()
    bounds = [0, *cuts, len(ring.stations) - 1]
    path = _span(ring, levels, sign, bounds[0], bounds[1])
    faults: list[str] = []
    for number, at in enumerate(cuts):
        after = _span(ring, levels, sign, at, bounds[number + 2])
        turn = float(piece.table.corner_rad[number])
        left_level, right_level = float(levels[at - 1]), float(levels[at])
        if left_level * turn <= 0.0 or right_level * turn <= 0.0:
            tip = _tangent_meeting(
                path[-1], float(ring.before[at]), after[0], float(ring.after[at])
            )
            path = np.concatenate((path[:-1], tip[None, :], after[1:]))
            continue
        meeting = _inner_meeting(path, after)
        if meeting is None:
            level = max(abs(left_level), abs(right_level))
            faults.append(
                f"at {piece.place(float(corner_at[number]))} a corner of "
                f"{math.degrees(turn):.1f} degrees the hard way needs about "
                f"{level * math.tan(0.5 * abs(turn)):.1f} mm of piece on either hand for its mitre"
            )
            path = np.concatenate((path, after))
            continue
        here, there, point = meeting
        path = np.concatenate((path[: here + 1], point[None, :], after[there + 1 :]))
    return path, tuple(faults)


def _span(ring: _Ring, levels: Floats, sign: float, first: int, last: int) -> Floats:
    """Offset curve between two stations without a corner inside."""
    level = levels[first:last]
    head = ring.after[first:last]
    tail = ring.before[first + 1 : last + 1]
    a_dir = np.stack((np.cos(head), np.sin(head)), axis=1)
    b_dir = np.stack((np.cos(tail), np.sin(tail)), axis=1)
    a_at = ring.root[first:last] + level[:, None] * (a_dir[:, ::-1] * _LEFT)
    b_at = ring.root[first + 1 : last + 1] + level[:, None] * (b_dir[:, ::-1] * _LEFT)
    turn = tail - head
    level_same = level[1:] == level[:-1]
    flat = np.abs(turn) < 1e-12
    bulges = sign * turn < -1e-12
    keep = np.ones((len(level), 3), dtype=bool)
    keep[1:, 0] = ~(level_same & ((bulges[1:] & bulges[:-1]) | (flat[1:] & flat[:-1])))
    keep[:, 1] = bulges
    keep[:-1, 2] = ~level_same
    sine = np.where(bulges, np.sin(turn), 1.0)
    chord = b_at - a_at
    along = (chord[:, 0] * b_dir[:, 1] - chord[:, 1] * b_dir[:, 0]) / sine
    all_points = np.stack((a_at, a_at + along[:, None] * a_dir, b_at), axis=1)
    points: Floats = all_points[keep]
    return points


_LEFT: Floats = np.array((-1.0, 1.0))


def _tangent_meeting(a_at: Floats, a_heading: float, b_at: Floats, b_heading: float) -> Floats:
    sine = math.sin(b_heading - a_heading)
    b_cos, b_sin = math.cos(b_heading), math.sin(b_heading)
    along = (float(b_at[0] - a_at[0]) * b_sin - float(b_at[1] - a_at[1]) * b_cos) / sine
    tip: Floats = a_at + along * np.array((math.cos(a_heading), math.sin(a_heading)))
    return tip


def _inner_meeting(path: Floats, after: Floats) -> tuple[int, int, Floats] | None:
    """Crossing of two polylines nearest to where they should meet: segment indices and point."""
    p, r = path[:-1, None, :], np.diff(path, axis=0)[:, None, :]
    q, s = after[None, :-1, :], np.diff(after, axis=0)[None, :, :]
    cross = r[..., 0] * s[..., 1] - r[..., 1] * s[..., 0]
    gap = q - p
    safe = np.where(np.abs(cross) > 1e-12, cross, np.inf)
    t = (gap[..., 0] * s[..., 1] - gap[..., 1] * s[..., 0]) / safe
    u = (gap[..., 0] * r[..., 1] - gap[..., 1] * r[..., 0]) / safe
    hit = (t >= 0.0) & (t <= 1.0) & (u >= 0.0) & (u <= 1.0) & np.isfinite(safe)
    if not bool(hit.any()):
        return None
    here, there = np.nonzero(hit)
    # nearest to the corner on both hands: last on the path, first on what follows
    best = int(np.argmin((len(path) - here) + there))
    i, j = int(here[best]), int(there[best])
    point: Floats = path[i] + t[i, j] * (path[i + 1] - path[i])
    return i, j, point


def _offset_curve(piece: _Piece, ring: _Ring, level_mm: float) -> Floats:
    return _mitred(piece, ring, np.full(len(ring.stations) - 1, level_mm), 0.0)[0]


def _surely_simple(piece: _Piece, ring: _Ring) -> bool:
    """Whether the flat strip cannot meet itself, by a test that costs nothing.

    The map (s, y) -> root(s) + y left(s) of a convex set is one-to-one where the symmetric part of
    its derivative, turned to the mean heading, is positive definite (Noshiro-Warschawski in two
    real variables): with g = 1 - y k and f the heading from the mean, (g - 1)^2 tan^2 f < 4 g and
    |f| < 90 degrees.
    """
    if len(piece.table.corner_at):
        return False
    low, high = float(ring.after.min()), float(ring.after.max())
    spread = 0.5 * (high - low)
    if spread >= 0.45 * math.pi:
        return False
    steepest = float(max(piece.table.start.max(), piece.table.end.max(), 0.0))
    gentlest = float(min(piece.table.start.min(), piece.table.end.min(), 0.0))
    gs = (
        1.0 - piece.above * steepest,
        1.0 - piece.above * gentlest,
        1.0 + piece.below * steepest,
        1.0 + piece.below * gentlest,
    )
    tan2 = math.tan(spread) ** 2
    return all((g - 1.0) ** 2 * tan2 < 4.0 * g for g in gs)


def _meets_itself(outline: Floats, grip_points: int, tolerance_mm: float) -> bool:
    """Whether an outline crosses itself or its two ends touch, as those of a full ring do."""
    if not bool(shapely.is_valid(shapely.polygons(outline))):
        return True
    start = shapely.linestrings(outline[[0, -1]])
    end = shapely.linestrings(outline[[grip_points - 1, grip_points]])
    return float(shapely.distance(start, end)) <= 2.0 * tolerance_mm


def _shoelace_mm2(ring: Floats) -> float:
    x, y = ring[:, 0], ring[:, 1]
    return 0.5 * float(x @ np.roll(y, -1) - y @ np.roll(x, -1))


def _points(array: NDArray[np.float64]) -> tuple[Point, ...]:
    return tuple(map(tuple, array.tolist()))


# --- faults -------------------------------------------------------------------------------------


def _radius_faults(piece: _Piece) -> tuple[str, ...]:
    faults: list[str] = []
    table = piece.table
    for sign, width, edge in ((1.0, piece.above, "free edge"), (-1.0, piece.below, "grip")):
        steepest = np.maximum(sign * table.start, sign * table.end)
        worst = int(np.argmax(steepest))
        curvature = float(steepest[worst])
        if curvature * width >= 1.0:
            at_start = sign * table.start[worst] >= sign * table.end[worst]
            station = float(table.breaks[worst if at_start else worst + 1])
            faults.append(
                f"at {piece.place(station)} the hard-way radius toward the {edge} is "
                f"{1.0 / curvature:.1f} mm; it must be more than the {width:.1f} mm of metal on "
                "that side"
            )
    return tuple(faults)


def _notch_faults(piece: _Piece) -> tuple[str, ...]:
    faults: list[str] = []
    width = piece.above + piece.below
    for number, window in enumerate(piece.windows):
        opposite = [
            w.deep
            for w in piece.windows
            if w.side != window.side
            and w.low < window.high - STATION_SLACK_MM
            and w.high > window.low + STATION_SLACK_MM
        ]
        deep = window.deep + max(opposite, default=0.0)
        if deep >= width and not (opposite and window.side == "grip" and number > 0):
            middle = 0.5 * (window.low + window.high)
            faults.append(
                f"at {piece.place(middle)} notches {deep:.1f} mm deep part the blank; they must "
                f"stay below its width of {width:.1f} mm"
            )
    return tuple(faults)


def _fold_faults(folds: tuple[Fold, ...], above_mm: float, below_mm: float) -> tuple[str, ...]:
    return tuple(
        f"a fold {fold.offset_mm:.1f} mm from the root line is not on the blank; it must lie "
        f"between {-below_mm:.1f} and {above_mm:.1f} mm"
        for fold in folds
        if not -below_mm < fold.offset_mm < above_mm
    )


# --- cuts ---------------------------------------------------------------------------------------


def _cut_shapes(
    piece: _Piece, cuts: tuple[LegCut, ...]
) -> tuple[tuple[tuple[Point, Point], ...], tuple[tuple[Point, Point, Point], ...]]:
    slits: list[tuple[Point, Point]] = []
    v_notches: list[tuple[Point, Point, Point]] = []
    placed = [
        (station, cut)
        for cut in cuts
        for station in piece.stations_of(cut.station_mm)
        if STATION_SLACK_MM < station < piece.length_mm - STATION_SLACK_MM
    ]
    if not placed:
        return (), ()
    stations = np.array(sorted({station for station, _ in placed}))
    root, _, after = walk_plane(piece.table, stations)
    order = {station: index for index, station in enumerate(stations.tolist())}
    for station, cut in sorted(placed, key=lambda pair: pair[0]):
        index = order[station]
        x, y = root[index].tolist()
        heading = float(after[index])
        c, s = math.cos(heading), math.sin(heading)
        edge = piece.above if cut.side == "free" else -piece.below
        apex = edge - cut.deep_mm if cut.side == "free" else edge + cut.deep_mm
        mouth = (x - edge * s, y + edge * c)
        tip = (x - apex * s, y + apex * c)
        if cut.opens:
            slits.append((mouth, tip))
        else:
            half = 0.5 * cut.opening_mm
            v_notches.append(
                (
                    (mouth[0] - half * c, mouth[1] - half * s),
                    tip,
                    (mouth[0] + half * c, mouth[1] + half * s),
                )
            )
    return tuple(slits), tuple(v_notches)


def _notch_polygons(piece: _Piece) -> tuple[tuple[Point, ...], ...]:
    """Draw what each notch takes away: edge, floor, floor, edge."""
    windows = piece.windows
    if not windows:
        return ()
    stations = np.array(sorted({s for w in windows for s in (w.low, w.high)}))
    if piece.straight:
        root, after = np.stack((stations, np.zeros(len(stations))), axis=1), np.zeros(len(stations))
    else:
        root, _, after = walk_plane(piece.table, stations)
    left = np.stack((-np.sin(after), np.cos(after)), axis=1)
    sign = np.array([1.0 if w.side == "free" else -1.0 for w in windows])
    edge = np.where(sign > 0.0, piece.above, -piece.below)
    floor = edge - sign * np.array([w.deep for w in windows])
    low = np.searchsorted(stations, [w.low for w in windows])
    high = np.searchsorted(stations, [w.high for w in windows])
    corners = np.stack(
        (
            root[low] + edge[:, None] * left[low],
            root[low] + floor[:, None] * left[low],
            root[high] + floor[:, None] * left[high],
            root[high] + edge[:, None] * left[high],
        ),
        axis=1,
    )
    return tuple(tuple(map(tuple, polygon)) for polygon in corners.tolist())


def _is_symmetric(piece: _Piece, cuts: tuple[LegCut, ...]) -> bool:
    """Whether the piece reads the same from its other end, within rounding."""
    length, table = piece.length_mm, piece.table
    if not piece.straight:
        slack = max(STATION_SLACK_MM, 1e-9 * length)
        same = (
            np.all(np.abs(length - table.breaks[::-1] - table.breaks) <= slack)
            and np.all(np.abs(table.start - table.end[::-1]) <= 1e-9 * np.abs(table.start) + 1e-12)
            and np.all(np.abs(length - table.corner_at[::-1] - table.corner_at) <= slack)
            and np.all(np.abs(table.corner_rad[::-1] - table.corner_rad) <= 1e-9)
        )
        if not bool(same):
            return False
    if not piece.windows and not cuts:
        return True
    features = [
        (0.5 * (w.low + w.high), w.high - w.low, w.deep, w.side, "notch") for w in piece.windows
    ]
    features += [
        (station, cut.opening_mm, cut.deep_mm, cut.side, "slit" if cut.opens else "v-notch")
        for cut in cuts
        for station in piece.stations_of(cut.station_mm)
        if STATION_SLACK_MM < station < length - STATION_SLACK_MM
    ]

    # a micrometre is far below what can be cut and far above rounding
    def key(feature: tuple[float, float, float, str, str], turned: bool) -> tuple[object, ...]:
        at, wide, deep, side, kind = feature
        return (
            round((length - at if turned else at) - 0.5 * length, 3) + 0.0,
            round(wide, 3),
            round(deep, 3),
            side,
            kind,
        )

    return sorted(map(repr, (key(f, False) for f in features))) == sorted(
        map(repr, (key(f, True) for f in features))
    )
