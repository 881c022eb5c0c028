"""The outline round a piece: offset curves, mitres, notches, and why there may be none.

The polygon *contains* the true strip: tangents along edges that bulge out, chords along edges that
curve in.  It leaves the true curve by at most the chord tolerance.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
import shapely

from solver.geometry.lines import STATION_SLACK_MM, Floats, chord_stations, walk_plane
from solver.geometry.pieces import Piece, Side


@dataclass(frozen=True)
class Ring:
    """The walked root line and the outline round it."""

    outline: Floats
    root: Floats
    stations: Floats
    before: Floats
    after: Floats


def ring_of(piece: Piece, tolerance_mm: float) -> tuple[Ring | None, tuple[str, ...]]:
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
        return Ring(outline, root, np.array((0.0, length)), level, level), ()
    cornered = len(piece.table.corner_at) > 0
    if piece.straight:
        stations = piece.table.breaks
    else:
        stations = chord_stations(piece.table, tolerance_mm, max(piece.above, piece.below))
    if piece.windows and not cornered:
        stations = _with_stations(stations, [s for w in piece.windows for s in (w.low, w.high)])
    root, before, after = walk_plane(piece.table, stations)
    ring = Ring(root, root, stations, before, after)
    uncut = replace(piece, windows=()) if cornered else piece
    grip, grip_faults = _edge(uncut, ring, "grip")
    free, free_faults = _edge(uncut, ring, "free")
    if grip_faults or free_faults:
        return None, grip_faults + free_faults
    outline = np.concatenate((grip, free[::-1]))
    ring = Ring(outline, root, stations, before, after)
    if not _surely_simple(piece, ring) and _meets_itself(outline, len(grip), tolerance_mm):
        turn = math.degrees(float(after.max() - after.min()))
        return None, (
            f"from {piece.place(0.0)} to {piece.place(piece.length_mm)} the blank crosses itself: "
            f"its {piece.length_mm:.1f} mm turn {turn:.0f} degrees the hard way; a shorter piece "
            "does not meet itself",
        )
    if cornered and piece.windows:
        return _without_notches(piece, ring, tolerance_mm)
    return ring, ()


#: Area (mm2) of a loose scrap that may fall off beside a notch without parting the blank.
_SCRAP_MM2 = 1.0


def _without_notches(
    piece: Piece, ring: Ring, tolerance_mm: float
) -> tuple[Ring | None, tuple[str, ...]]:
    """Cut the notches of a piece with hard corners: near a mitre they may reach across it."""
    holes = []
    for window in piece.windows:
        table = piece.table
        inside = (table.breaks > window.low) & (table.breaks < window.high)
        marks = np.concatenate(((window.low,), table.breaks[inside], (window.high,)))
        shares = np.linspace(0.0, 1.0, 17)[:-1]
        fine = np.append((marks[:-1, None] + np.diff(marks)[:, None] * shares).ravel(), marks[-1])
        root, before, after = walk_plane(table, fine)
        # a corner at a bound of the notch is not in it
        heading = np.concatenate((after[:-1], before[-1:]))
        left = np.stack((-np.sin(heading), np.cos(heading)), axis=1)
        sign = 1.0 if window.side == "free" else -1.0
        edge = piece.above if window.side == "free" else piece.below
        floor = root + sign * (edge - window.deep) * left
        beyond = root + sign * (edge + 0.25 + 2.0 * tolerance_mm) * left
        holes.append(shapely.polygons(np.concatenate((floor, beyond[::-1]))))
    rest = shapely.difference(shapely.polygons(ring.outline), shapely.union_all(holes))
    parts = [p for p in shapely.get_parts(rest) if p.area > _SCRAP_MM2]
    if len(parts) != 1 or len(parts[0].interiors):
        first, last = piece.windows[0], piece.windows[-1]
        return None, (
            f"the notches from {piece.place(first.low)} to {piece.place(last.high)} part the blank "
            f"or cut a hole in it beside a corner; its width of {piece.above + piece.below:.1f} mm "
            "must stay whole",
        )
    outline = np.array(parts[0].exterior.coords)[:-1]
    if not parts[0].exterior.is_ccw:
        outline = outline[::-1]
    return replace(ring, outline=outline), ()


def _with_stations(stations: Floats, more: list[float]) -> Floats:
    """Add stations to an ascending list, dropping what nearly coincides with the added ones."""
    added = np.array(sorted(set(more)))
    gap = np.abs(stations[:, None] - added[None, :]).min(axis=1)
    keep = gap > STATION_SLACK_MM
    merged = np.concatenate((stations[keep], added))
    merged.sort()
    return merged


def _edge(piece: Piece, ring: Ring, side: Side) -> tuple[Floats, tuple[str, ...]]:
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
    piece: Piece, ring: Ring, levels: Floats, sign: float
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


def _span(ring: Ring, levels: Floats, sign: float, first: int, last: int) -> Floats:
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


def offset_curve(piece: Piece, ring: Ring, level_mm: float) -> Floats:
    """Polyline (n, 2) at one distance from the root line, corners mitred, vertices on the curve."""
    return _mitred(piece, ring, np.full(len(ring.stations) - 1, level_mm), 0.0)[0]


def _surely_simple(piece: Piece, ring: Ring) -> bool:
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


# --- faults -------------------------------------------------------------------------------------


def _radius_faults(piece: Piece) -> tuple[str, ...]:
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


def _notch_faults(piece: Piece) -> tuple[str, ...]:
    faults: list[str] = []
    width = piece.above + piece.below
    corner_at = piece.table.corner_at
    for window in piece.windows:
        over = corner_at[(corner_at > window.low) & (corner_at < window.high)]
        if len(over):
            faults.append(
                f"a notch from {piece.place(window.low)} to {piece.place(window.high)} lies across "
                f"the hard-way corner at {piece.place(float(over[0]))}; it must end before it"
            )
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
