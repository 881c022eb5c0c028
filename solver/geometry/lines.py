"""Cutting, turning and walking lines: everything that needs only the curvatures of a line.

The walker's frame is (tangent, left, up) with ``up = -n``, ``left = up x tangent``.  Along the line

    d tangent = ( easy * left + hard * up) ds
    d left    = (-easy * tangent + twist * up) ds
    d up      = (-hard * tangent - twist * left) ds

(the Darboux equations of a curve on a surface; do Carmo, *Differential Geometry of Curves and
Surfaces*).  Every sign rule below follows from them.

Plane walks are integrated by eight-point Gauss-Legendre over steps that turn at most half a radian;
on straights, arcs and clothoids the remainder is below rounding (1e-14 relative), so no closed form
is needed to keep 1e-9.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from solver.data.line import Corner, Line, Stretch

Floats = NDArray[np.float64]
Way = Literal["easy", "hard"]

#: Stations nearer than this (mm) are one station: plans give them to a millionth of a millimetre,
#: a scriber marks a tenth.
STATION_SLACK_MM = 1e-6

#: A point of inflection nearer than this (mm) to a break is not made a station of its own.
INFLECTION_SLACK_MM = 1e-3

#: Largest turn of one integration step (radians); eight Gauss points leave less than 1e-15 of it.
STEP_TURN_RAD = 0.5

_GAUSS_AT, _GAUSS_WEIGHT = np.polynomial.legendre.leggauss(8)
_GAUSS_AT = 0.5 * (_GAUSS_AT + 1.0)
_GAUSS_WEIGHT = 0.5 * _GAUSS_WEIGHT


# --- cutting and turning ------------------------------------------------------------------------


def checked_range(line: Line, start_mm: float, end_mm: float) -> tuple[float, float]:
    """Stations as given, put onto the line's ends where they miss them by rounding.

    On a closed line the end may lie up to one length past the line's own end, and the piece then
    runs over the place where the loop starts.

    Raises ValueError when the stations are not in order or lie off the line.
    """
    length = line.length_mm
    limit = 2.0 * length if line.closed else length
    slack = max(STATION_SLACK_MM, 1e-9 * length)
    if not (math.isfinite(start_mm) and math.isfinite(end_mm)):
        raise ValueError(f"stations {start_mm} to {end_mm} mm; give two finite stations")
    if start_mm < -slack or end_mm > limit + slack:
        raise ValueError(
            f"stations {start_mm:.2f} to {end_mm:.2f} mm leave the line; "
            f"it runs from 0 to {limit:.2f} mm"
        )
    start = min(max(start_mm, 0.0), limit)
    end = min(max(end_mm, 0.0), limit)
    if abs(end - length) <= slack:
        end = length
    if line.closed and start >= length - slack and end > length + slack:
        start, end = max(start - length, 0.0), end - length
    if end - start > length + slack:
        raise ValueError(
            f"stations {start_mm:.2f} to {end_mm:.2f} mm go round more than once; "
            f"the loop is {length:.2f} mm long"
        )
    if end - start <= STATION_SLACK_MM:
        raise ValueError(
            f"stations {start_mm:.2f} to {end_mm:.2f} mm leave no length; "
            "the end must lie past the start"
        )
    return start, end


def sub_line(line: Line, start_mm: float, end_mm: float) -> Line:
    """Part of a line from one station to another, as an open line whose stations begin at 0.

    A corner at the cut goes with the part that ends there, so that parts joined again give the
    whole.  On a closed line ``end_mm`` may pass the length (see ``checked_range``).

    Raises ValueError for stations off the line or out of order.
    """
    start, end = checked_range(line, start_mm, end_mm)
    length = line.length_mm
    if end > length + STATION_SLACK_MM:
        head = sub_line(line, start, length)
        return joined((head, sub_line(line, 0.0, end - length)))
    breaks = line.breaks_mm
    first = max(int(np.searchsorted(breaks, start + STATION_SLACK_MM, side="right")) - 1, 0)
    last = min(int(np.searchsorted(breaks, end - STATION_SLACK_MM, side="left")), len(breaks) - 1)
    parts: list[Stretch] = []
    for index in range(first, last):
        whole = line.stretches[index]
        begin, finish = float(breaks[index]), float(breaks[index + 1])
        low, high = max(begin, start), min(finish, end)
        if low == begin and high == finish:
            parts.append(whole)
            continue
        low_share = (low - begin) / whole.length_mm
        high_share = (high - begin) / whole.length_mm if high < finish else 1.0
        easy_rise = whole.easy_end - whole.easy_start
        hard_rise = whole.hard_end - whole.hard_start
        parts.append(
            replace(
                whole,
                length_mm=high - low,
                easy_start=whole.easy_start + low_share * easy_rise,
                easy_end=whole.easy_start + high_share * easy_rise,
                hard_start=whole.hard_start + low_share * hard_rise,
                hard_end=whole.hard_start + high_share * hard_rise,
            )
        )
    span = sum(part.length_mm for part in parts)
    corners = tuple(
        replace(corner, station_mm=min(max(corner.station_mm - start, 0.0), span))
        for corner in line.corners
        if (start + STATION_SLACK_MM < corner.station_mm or start == 0.0)
        and corner.station_mm <= end + STATION_SLACK_MM
    )
    return Line(tuple(parts), corners)


def reversed_line(line: Line) -> Line:
    """Walk the same line on the same surface from its other end.

    The other patch is then on the left: easy curvature changes sign, hard curvature and twist keep
    theirs (both are quadratic forms of the surface and do not see the direction).
    """
    return Line(
        tuple(
            Stretch(
                length_mm=s.length_mm,
                easy_start=-s.easy_end,
                easy_end=-s.easy_start,
                hard_start=s.hard_end,
                hard_end=s.hard_start,
                twist_per_mm=s.twist_per_mm,
            )
            for s in reversed(line.stretches)
        ),
        tuple(
            Corner(_from_other_end(line, c), -c.easy_deg, c.hard_deg)
            for c in reversed(line.corners)
        ),
        line.closed,
    )


def mirrored_line(line: Line) -> Line:
    """Give the twin on the mirrored body, walked from its other end with the same words.

    Mirroring turns left into right and the other way of walking turns it back, so easy and hard
    curvature keep their signs and only their order is reversed; twist changes its sign.
    """
    return Line(
        tuple(
            Stretch(
                length_mm=s.length_mm,
                easy_start=s.easy_end,
                easy_end=s.easy_start,
                hard_start=s.hard_end,
                hard_end=s.hard_start,
                twist_per_mm=-s.twist_per_mm,
            )
            for s in reversed(line.stretches)
        ),
        tuple(replace(c, station_mm=_from_other_end(line, c)) for c in reversed(line.corners)),
        line.closed,
    )


def joined(lines: Sequence[Line], *, closed: bool = False) -> Line:
    """Lines walked one after another as one line; corners at their ends are kept.

    Raises ValueError when there are none.
    """
    if not lines:
        raise ValueError("no lines to join; give at least one")
    stretches: list[Stretch] = []
    corners: list[Corner] = []
    station = 0.0
    for line in lines:
        stretches.extend(line.stretches)
        corners.extend(replace(c, station_mm=station + c.station_mm) for c in line.corners)
        station += line.length_mm
    return Line(tuple(stretches), tuple(corners), closed)


def _from_other_end(line: Line, corner: Corner) -> float:
    return min(max(line.length_mm - corner.station_mm, 0.0), line.length_mm)


# --- reading curvatures -------------------------------------------------------------------------


@dataclass(frozen=True)
class Curvatures:
    """Curvatures (n,) in 1/mm at n stations."""

    easy: Floats
    hard: Floats
    twist: Floats


def curvatures_at(line: Line, stations_mm: Sequence[float] | Floats) -> Curvatures:
    """Curvatures at stations; where two stretches meet, those of the later one.

    Raises ValueError when a station lies off the line.
    """
    stations = np.asarray(stations_mm, dtype=np.float64)
    slack = max(STATION_SLACK_MM, 1e-9 * line.length_mm)
    off = (stations < -slack) | (stations > line.length_mm + slack) | ~np.isfinite(stations)
    if bool(off.any()):
        raise ValueError(
            f"station {float(stations[off][0]):.2f} mm lies off the line; "
            f"stations run from 0 to {line.length_mm:.2f} mm"
        )
    breaks = line.breaks_mm
    index = np.clip(np.searchsorted(breaks, stations, side="right") - 1, 0, len(breaks) - 2)
    share = np.clip((stations - breaks[index]) / np.diff(breaks)[index], 0.0, 1.0)
    row = line.curvature_table[index]
    return Curvatures(
        easy=row[..., 0] + share * (row[..., 1] - row[..., 0]),
        hard=row[..., 2] + share * (row[..., 3] - row[..., 2]),
        twist=row[..., 4],
    )


def total_turn_deg(line: Line, way: Way = "easy") -> float:
    """Sum of all turns, curves and corners, in degrees; left (easy) or up (hard) is positive."""
    column = 0 if way == "easy" else 2
    table = line.curvature_table
    mean = 0.5 * (table[:, column] + table[:, column + 1])
    corner = float(line.corner_table[:, 1 if way == "easy" else 2].sum())
    return math.degrees(float(mean @ np.diff(line.breaks_mm))) + corner


def smallest_hard_radii_mm(line: Line) -> tuple[float, float]:
    """Smallest hard-way radius toward the free edge and toward the grip (mm; inf where none)."""
    hard = line.curvature_table[:, 2:4]
    return _radius_mm(float(hard.max())), _radius_mm(-float(hard.min()))


def smallest_easy_radius_mm(line: Line) -> float:
    """Smallest easy-way radius to either hand (mm; inf when the line is straight in its surface).

    Sharp corners are not radii: see ``corners_between``.
    """
    return _radius_mm(float(np.abs(line.curvature_table[:, 0:2]).max()))


def _radius_mm(curvature: float) -> float:
    return 1.0 / curvature if curvature > 0.0 else math.inf


def corners_between(line: Line, start_mm: float, end_mm: float) -> tuple[Corner, ...]:
    """Corners strictly inside a range, in order, with their own stations.

    On a closed line the range may pass the end of the loop, or begin behind it; the corner there
    and those behind it are then given stations past the length.
    """
    start, end = checked_range(line, start_mm, end_mm)
    laps = (0.0, line.length_mm) if line.closed else (0.0,)
    # a range that begins behind the end of the loop is read one lap earlier
    behind = line.length_mm if start < start_mm - 0.5 * line.length_mm else 0.0
    found: dict[int, Corner] = {}
    for lap in laps:
        for number, corner in enumerate(line.corners):
            station = corner.station_mm + lap
            if start + STATION_SLACK_MM < station < end - STATION_SLACK_MM:
                found.setdefault(number, replace(corner, station_mm=station + behind))
    return tuple(sorted(found.values(), key=lambda c: c.station_mm))


# --- walking in a plane -------------------------------------------------------------------------


@dataclass(frozen=True)
class PlaneTable:
    """Piecewise linear curvature with sharp turns, in a plane.

    ``breaks`` (m + 1,) mm, ``start`` and ``end`` (m,) 1/mm, ``corner_at`` (c,) mm in order,
    ``corner_rad`` (c,).
    """

    breaks: Floats
    start: Floats
    end: Floats
    corner_at: Floats
    corner_rad: Floats


def plane_table(line: Line, way: Way) -> PlaneTable:
    """Take the easy or the hard curvatures of a line as a path in a plane."""
    column = 0 if way == "easy" else 2
    table = line.curvature_table
    corners = line.corner_table
    turns = corners[:, 1 if way == "easy" else 2]
    sharp = turns != 0.0
    return PlaneTable(
        line.breaks_mm,
        table[:, column],
        table[:, column + 1],
        corners[sharp, 0],
        np.radians(turns[sharp]),
    )


def walk_plane(table: PlaneTable, stations_mm: Floats) -> tuple[Floats, Floats, Floats]:
    """Points (n, 2) mm and headings (n,) rad before and after each of n ascending stations.

    The walk begins at the origin with heading 0 at the first break.  Stations must lie on the path.
    """
    breaks = table.breaks
    nodes = np.concatenate((breaks, stations_mm, table.corner_at))
    nodes.sort()
    keep = np.empty(len(nodes), dtype=bool)
    keep[0] = True
    np.greater(nodes[1:], nodes[:-1], out=keep[1:])
    nodes = nodes[keep]
    steepest = np.maximum(np.abs(table.start), np.abs(table.end))
    last = len(breaks) - 2
    step = nodes[1:] - nodes[:-1]
    index = np.minimum(np.searchsorted(breaks, nodes[:-1], side="right") - 1, last)
    turn = steepest[index] * step
    if len(turn) and float(turn.max()) > STEP_TURN_RAD:
        counts = np.maximum(np.ceil(turn / STEP_TURN_RAD).astype(np.int64), 1)
        owner = np.repeat(np.arange(len(step)), counts)
        within = np.arange(len(owner)) - np.repeat(np.cumsum(counts) - counts, counts)
        nodes = np.append(nodes[owner] + within * (step / counts)[owner], nodes[-1])
        step = nodes[1:] - nodes[:-1]
        index = np.minimum(np.searchsorted(breaks, nodes[:-1], side="right") - 1, last)
    lengths = breaks[1:] - breaks[:-1]
    slope = (table.end - table.start) / lengths
    at_break = np.zeros(len(breaks))
    np.cumsum(0.5 * (table.start + table.end) * lengths, out=at_break[1:])
    turned = np.concatenate(((0.0,), np.cumsum(table.corner_rad)))

    # heading after each node: curves up to it plus the corners at or before it
    node_index = np.append(index, last)
    along = nodes - breaks[node_index]
    smooth = at_break[node_index] + along * (
        table.start[node_index] + 0.5 * slope[node_index] * along
    )
    after = smooth + turned[np.searchsorted(table.corner_at, nodes, side="right")]
    inside = step[:, None] * _GAUSS_AT
    bend = table.start[index] + slope[index] * along[:-1]
    theta = after[:-1, None] + inside * (bend[:, None] + 0.5 * slope[index][:, None] * inside)
    points = np.zeros((len(nodes), 2))
    np.cumsum(step * (np.cos(theta) @ _GAUSS_WEIGHT), out=points[1:, 0])
    np.cumsum(step * (np.sin(theta) @ _GAUSS_WEIGHT), out=points[1:, 1])
    where = np.minimum(np.searchsorted(nodes, stations_mm), len(nodes) - 1)
    taken = nodes[where]
    before = smooth[where] + turned[np.searchsorted(table.corner_at, taken, side="left")]
    return points[where], before, after[where]


def walk_in_surface(line: Line) -> tuple[float, float, float]:
    """Where the walk ends when its surface is rolled out flat: x, y in mm, heading in degrees.

    The walk begins at the origin along x.  A loop on a surface that can be rolled out closes when
    this comes back to the origin with a heading of 360 degrees either way.
    """
    points, _, after = walk_plane(plane_table(line, "easy"), np.array([0.0, line.length_mm]))
    return float(points[-1, 0]), float(points[-1, 1]), math.degrees(float(after[-1]))


def root_points(line: Line, stations_mm: Sequence[float] | Floats) -> tuple[Floats, Floats, Floats]:
    """Root line in the plane of the blank: points (n, 2), headings (n,) before and after.

    Ascending stations in mm; the walk begins at the origin along x and positive hard curvature
    turns it toward +y.  Headings in radians.

    Raises ValueError when the stations are not ascending or lie off the line.
    """
    stations = np.asarray(stations_mm, dtype=np.float64)
    curvatures_at(line, stations)
    if bool(np.any(np.diff(stations) < 0.0)):
        raise ValueError("stations run backwards; give them in ascending order")
    stations = np.clip(stations, 0.0, line.length_mm)
    return walk_plane(plane_table(line, "hard"), stations)


def root_polyline(line: Line, chord_tolerance_mm: float) -> Floats:
    """Root line as a polyline (n, 2) whose chords leave the curve by at most the tolerance."""
    table = plane_table(line, "hard")
    return walk_plane(table, chord_stations(table, chord_tolerance_mm, 0.0))[0]


def chord_stations(table: PlaneTable, chord_tolerance_mm: float, offset_mm: float) -> Floats:
    """Stations whose chords stay within a tolerance of the path and of its offsets up to a width.

    Rise of a chord over a step ds of an edge offset by d outward: curvature k/(1 + kd) over
    (1 + kd) ds, so k(1 + kd) ds^2/8 (circle sagitta).  Breaks, corners and points of inflection are
    stations, so between two of them the curve turns one way only.
    """
    breaks, start, end = table.breaks, table.start, table.end
    crossing = start * end < 0.0
    if bool(crossing.any()):
        lengths = breaks[1:] - breaks[:-1]
        flex = breaks[:-1][crossing] + lengths[crossing] * (
            start[crossing] / (start[crossing] - end[crossing])
        )
        # an inflection right at a break bends nothing worth a vertex before it
        flex = flex[np.abs(flex[:, None] - breaks[None, :]).min(axis=1) > INFLECTION_SLACK_MM]
        marks = np.concatenate((breaks, table.corner_at, flex))
    elif len(table.corner_at):
        marks = np.concatenate((breaks, table.corner_at))
    else:
        marks = breaks
    if marks is not breaks:
        marks = np.unique(marks)
        marks = marks[np.append(True, np.diff(marks) > STATION_SLACK_MM)]
        marks[-1] = breaks[-1]
    step = marks[1:] - marks[:-1]
    middle = marks[:-1] + 0.5 * step
    index = np.minimum(np.searchsorted(breaks, middle, side="right") - 1, len(breaks) - 2)
    steepest = np.maximum(np.abs(start), np.abs(end))[index]
    rise = steepest * (1.0 + steepest * offset_mm)
    by_rise = step * np.sqrt(rise / (8.0 * chord_tolerance_mm))
    by_turn = steepest * step / STEP_TURN_RAD
    counts = np.maximum(np.ceil(np.maximum(by_rise, by_turn) - 1e-9).astype(np.int64), 1)
    owner = np.repeat(np.arange(len(step)), counts)
    within = np.arange(len(owner)) - np.repeat(np.cumsum(counts) - counts, counts)
    stations: Floats = np.append(marks[owner] + within * (step / counts)[owner], marks[-1])
    return stations
