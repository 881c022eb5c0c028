"""What curves do to folds: how long a straight fold may be, and where folded legs are cut.

A leg folded away from the centre of an easy curve must open to follow it: it is slit.  A leg folded
toward the centre has too much metal at its edge: it is V-notched.  Either way the curve becomes
facets, one chord each; a facet that turns by an angle opens or overlaps by leg times that angle.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from itertools import pairwise

import numpy as np

from solver.data.line import Line
from solver.geometry.blanks import Hand, LegCut, Side
from solver.geometry.lines import (
    STATION_SLACK_MM,
    Floats,
    checked_range,
    chord_stations,
    corners_between,
    plane_table,
    sub_line,
    walk_plane,
)

Pitch = float | Callable[[float], float]

#: Easy curvature (1/mm) below which a stretch counts as straight: its rise over 8 m stays under
#: a hundredth of a millimetre.
STRAIGHT_PER_MM = 1e-9

#: Sharp easy corners below this (degrees) need no cut of their own: a leg 1 in wide opens 0.2 mm.
SHARP_DEG = 0.5

_SAMPLES = 33


def longest_straight_fold_mm(hard_radius_mm: float, tolerance_mm: float) -> float:
    """Longest piece whose fold line of constant hard-way radius is straight within a tolerance.

    The chord with rise d on radius R is 2 sqrt(2 R d - d^2) (circle geometry); the piece is the arc
    over it, 2 R acos(1 - d/R).  Infinite for an infinite radius.

    Raises ValueError unless 0 < tolerance < radius.
    """
    if not 0.0 < tolerance_mm < hard_radius_mm:
        raise ValueError(
            f"a fold within {tolerance_mm} mm of a curve of radius {hard_radius_mm} mm is no fold; "
            "the tolerance must be above zero and below the radius"
        )
    if math.isinf(hard_radius_mm):
        return math.inf
    return 2.0 * hard_radius_mm * math.acos(1.0 - tolerance_mm / hard_radius_mm)


def fold_rise_mm(line: Line, start_mm: float, end_mm: float, offset_mm: float = 0.0) -> float:
    """How far a fold line leaves the straight fold between its ends, in mm.

    The fold runs at ``offset_mm`` from the root line (positive toward the free edge) over the piece
    between two stations.  A folding brake makes it straight, so this must stay within the tolerance
    of the fit.  Accurate to a hundredth of a millimetre.

    Raises ValueError for stations off the line.
    """
    piece = sub_line(line, start_mm, end_mm)
    table = plane_table(piece, "hard")
    stations = chord_stations(table, 0.01, abs(offset_mm))
    root, before, after = walk_plane(table, stations)
    curve = np.concatenate((_offset(root, after, offset_mm), _offset(root, before, offset_mm)))
    # the curve runs from the first station's heading after to the last one's heading before
    first = curve[0]
    chord = curve[-1] - first
    length = float(np.hypot(chord[0], chord[1]))
    inside = np.concatenate((curve[: len(root) - 1], curve[len(root) + 1 :])) - first
    if length <= STATION_SLACK_MM:
        return float(np.hypot(inside[:, 0], inside[:, 1]).max())
    return float(np.abs(inside[:, 0] * chord[1] - inside[:, 1] * chord[0]).max()) / length


def _offset(root: Floats, heading: Floats, offset_mm: float) -> Floats:
    moved: Floats = root + offset_mm * np.stack((-np.sin(heading), np.cos(heading)), axis=1)
    return moved


def facet_stations(line: Line, start_mm: float, end_mm: float, pitch_mm: Pitch) -> Floats:
    """Stations (n,) of the partings between facets along the easy curves of a piece.

    A curve that turns one way over a length L is cut into n = ceil(L/s) facets with n - 1 partings;
    on a closed loop cut out as one piece, the n-th parting is the butt of its ends.  ``pitch_mm``
    is s, or a function that gives s for a radius (mm).  Where the radius changes along the curve,
    the facets share the integral of ds/s equally, so that each is as good a fit as the next.

    Raises ValueError for stations off the line or a pitch that is not above zero.
    """
    start, end = checked_range(line, start_mm, end_mm)
    piece = sub_line(line, start, end)
    partings: list[float] = []
    for marks, spent in _curved_spans(piece, pitch_mm):
        # a whole number of pitches must not gain a facet by rounding
        count = max(math.ceil(spent[-1] - 1e-9), 1)
        shares = spent[-1] * np.arange(1, count) / count
        partings.extend(np.interp(shares, spent, marks).tolist())
    return start + np.array(partings)


def _curved_spans(piece: Line, pitch_mm: Pitch) -> list[tuple[Floats, Floats]]:
    """Curves of one hand: stations and pitches used up to each of them, by corners kept apart."""
    corner_at = {
        round(c.station_mm, 6)
        for c in corners_between(piece, 0.0, piece.length_mm)
        if abs(c.easy_deg) >= SHARP_DEG
    }
    spans: list[tuple[Floats, Floats]] = []
    last_hand, last_end = 0.0, -math.inf
    for low, high, k_low, k_high in _one_handed(piece, sorted(corner_at)):
        hand = math.copysign(1.0, k_low + k_high)
        marks, spent = _spent(low, high, k_low, k_high, pitch_mm)
        touching = abs(low - last_end) <= STATION_SLACK_MM and round(low, 6) not in corner_at
        if touching and hand == last_hand:
            old_marks, old_spent = spans.pop()
            marks = np.concatenate((old_marks, marks[1:]))
            spent = np.concatenate((old_spent, old_spent[-1] + spent[1:]))
        spans.append((marks, spent))
        last_hand, last_end = hand, high
    return spans


def _one_handed(piece: Line, corners: list[float]) -> list[tuple[float, float, float, float]]:
    """Curved parts (low, high, curvature at low, at high) that turn one way, cut at corners."""
    parts: list[tuple[float, float, float, float]] = []
    breaks = piece.breaks_mm
    for index, stretch in enumerate(piece.stretches):
        begin, finish = float(breaks[index]), float(breaks[index + 1])
        k0, k1 = stretch.easy_start, stretch.easy_end
        if max(abs(k0), abs(k1)) <= STRAIGHT_PER_MM:
            continue
        marks = [begin, *(c for c in corners if begin < c < finish), finish]
        if k0 * k1 < 0.0:
            marks.append(begin + (finish - begin) * k0 / (k0 - k1))
        marks.sort()
        slope = (k1 - k0) / (finish - begin)
        parts.extend(
            (low, high, k0 + slope * (low - begin), k0 + slope * (high - begin))
            for low, high in pairwise(marks)
            if high - low > STATION_SLACK_MM
        )
    return parts


def _spent(
    low: float, high: float, k_low: float, k_high: float, pitch_mm: Pitch
) -> tuple[Floats, Floats]:
    if not callable(pitch_mm) or k_low == k_high:
        pitch = pitch_mm(1.0 / abs(k_low)) if callable(pitch_mm) else pitch_mm
        _check_pitch(pitch)
        return np.array((low, high)), np.array((0.0, (high - low) / pitch))
    marks = np.linspace(low, high, _SAMPLES)
    middle = 0.5 * (marks[1:] + marks[:-1])
    curvature = np.abs(k_low + (k_high - k_low) * (middle - low) / (high - low))
    pitches = [pitch_mm(1.0 / k) for k in curvature.tolist()]
    for pitch in pitches:
        _check_pitch(pitch)
    spent = np.concatenate(((0.0,), np.cumsum(np.diff(marks) / np.array(pitches))))
    return marks, spent


def _check_pitch(pitch: float) -> None:
    if not pitch > 0.0:
        raise ValueError(f"a slit pitch is {pitch} mm; give one above zero")


def leg_cuts(
    line: Line,
    start_mm: float,
    end_mm: float,
    leg_mm: float,
    side: Side,
    toward: Hand,
    pitch_mm: Pitch,
) -> tuple[LegCut, ...]:
    """Slits and V-notches of a leg folded to one hand, in order along the piece.

    The leg is the outermost ``leg_mm`` of the flat blank on the free or the grip side.  Folded to
    the outside of an easy curve it opens: slits.  Folded to the inside it overlaps: V-notches whose
    mouth is leg times the turn from facet to facet (leg s/R on a circle).  At a sharp easy corner
    of angle a the leg is parted once more; inside, the two mitres take 2 leg tan(a/2) (plane
    geometry).
    Stations are those of the line; on a closed line they may lie past its length.

    Raises ValueError for stations off the line, a leg or a pitch that is not above zero.
    """
    if not leg_mm > 0.0:
        raise ValueError(f"a leg is {leg_mm} mm wide; give a width above zero")
    start, end = checked_range(line, start_mm, end_mm)
    partings = facet_stations(line, start, end, pitch_mm)
    inward = 1.0 if toward == "left" else -1.0
    cuts: list[LegCut] = []
    if len(partings):
        piece = sub_line(line, start, end)
        table = plane_table(piece, "easy")
        local = partings - start
        # turn from the middle of one facet to the middle of the next, curves only
        bounds = np.concatenate([_facet_bounds(m, s) for m, s in _curved_spans(piece, pitch_mm)])
        left_at = bounds[np.searchsorted(bounds, local - STATION_SLACK_MM) - 1]
        right_at = bounds[
            np.minimum(np.searchsorted(bounds, local + STATION_SLACK_MM), len(bounds) - 1)
        ]
        turn = _smooth_turn(table.breaks, table.start, table.end, 0.5 * (local + right_at)) - (
            _smooth_turn(table.breaks, table.start, table.end, 0.5 * (left_at + local))
        )
        cuts.extend(
            LegCut(station, side, leg_mm, leg_mm * abs(angle), opens=angle * inward < 0.0)
            for station, angle in zip(partings.tolist(), turn.tolist(), strict=True)
        )
    for corner in corners_between(line, start, end):
        if abs(corner.easy_deg) < SHARP_DEG:
            continue
        opens = corner.easy_deg * inward < 0.0
        mouth = 2.0 * leg_mm * math.tan(0.5 * math.radians(abs(corner.easy_deg)))
        if opens:
            # the gap between the ends of the two legs: chord over the angle
            mouth = 2.0 * leg_mm * math.sin(0.5 * math.radians(abs(corner.easy_deg)))
        cuts.append(LegCut(corner.station_mm, side, leg_mm, mouth, opens))
    return tuple(sorted(cuts, key=lambda cut: cut.station_mm))


def _facet_bounds(marks: Floats, spent: Floats) -> Floats:
    count = max(math.ceil(spent[-1] - 1e-9), 1)
    bounds: Floats = np.interp(spent[-1] * np.arange(count + 1) / count, spent, marks)
    return bounds


def _smooth_turn(breaks: Floats, start: Floats, end: Floats, at: Floats) -> Floats:
    """Turn of the curves alone (radians) from the start of a table to stations."""
    lengths = np.diff(breaks)
    total = np.concatenate(((0.0,), np.cumsum(0.5 * (start + end) * lengths)))
    index = np.clip(np.searchsorted(breaks, at, side="right") - 1, 0, len(lengths) - 1)
    along = at - breaks[index]
    slope = ((end - start) / lengths)[index]
    turn: Floats = total[index] + along * (start[index] + 0.5 * slope * along)
    return turn


def leg_faults(
    line: Line, start_mm: float, end_mm: float, leg_mm: float, toward: Hand
) -> tuple[str, ...]:
    """Why a leg cannot be folded to this hand: sentences with place in mm, value and limit.

    A leg folded to the inside of an easy curve reaches its centre when it is as wide as the radius.

    Raises ValueError for stations off the line.
    """
    start, end = checked_range(line, start_mm, end_mm)
    piece = sub_line(line, start, end)
    inward = 1.0 if toward == "left" else -1.0
    table = plane_table(piece, "easy")
    steepest = np.maximum(inward * table.start, inward * table.end)
    worst = int(np.argmax(steepest))
    curvature = float(steepest[worst])
    if curvature * leg_mm < 1.0:
        return ()
    at_start = inward * table.start[worst] >= inward * table.end[worst]
    station = start + float(table.breaks[worst if at_start else worst + 1])
    return (
        f"at {station:.1f} mm the easy-way radius to the {toward} is {1.0 / curvature:.1f} mm; a "
        f"leg folded to that hand must be narrower than it, and this one is {leg_mm:.1f} mm",
    )
