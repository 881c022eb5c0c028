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
from numpy.typing import NDArray

from solver.data.line import Line
from solver.geometry.lines import STATION_SLACK_MM, Floats, walk_plane
from solver.geometry.outlines import offset_curve, ring_of
from solver.geometry.pieces import Notch, Piece, Side, piece_of

__all__ = [
    "CHORD_TOLERANCE_MM",
    "Blank",
    "BlankError",
    "Fold",
    "FoldLine",
    "Hand",
    "LegCut",
    "Notch",
    "Point",
    "Side",
    "blank_faults",
    "blank_of",
    "strip_area_mm2",
]

Point = tuple[float, float]
Hand = Literal["left", "right"]

#: Largest distance (mm) between the outline and the true curve.  A scribed line is 0.1-0.2 mm
#: wide and hand snips wander more, so half of the finest line is lost in the cutting.
CHORD_TOLERANCE_MM = 0.05


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
    piece = piece_of(
        line, start_mm, end_mm, above_mm, below_mm, notches, extra_start_mm, extra_end_mm
    )
    ring, faults = ring_of(piece, chord_tolerance_mm)
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
            FoldLine(_points(offset_curve(piece, ring, f.offset_mm)), f.angle_deg, f.toward)
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
    piece = piece_of(
        line, start_mm, end_mm, above_mm, below_mm, notches, extra_start_mm, extra_end_mm
    )
    return ring_of(piece, chord_tolerance_mm)[1] + _fold_faults(folds, above_mm, below_mm)


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
    piece = piece_of(line, start_mm, end_mm, above_mm, below_mm, (), extra_start_mm, extra_end_mm)
    table = piece.table
    smooth = float(0.5 * (table.start + table.end) @ np.diff(table.breaks))
    sharp = float(np.sum(2.0 * np.tan(0.5 * table.corner_rad)))
    return (above_mm + below_mm) * piece.length_mm - 0.5 * (above_mm**2 - below_mm**2) * (
        smooth + sharp
    )


def _shoelace_mm2(ring: Floats) -> float:
    x, y = ring[:, 0], ring[:, 1]
    return 0.5 * float(x @ np.roll(y, -1) - y @ np.roll(x, -1))


def _points(array: NDArray[np.float64]) -> tuple[Point, ...]:
    return tuple(map(tuple, array.tolist()))


def _fold_faults(folds: tuple[Fold, ...], above_mm: float, below_mm: float) -> tuple[str, ...]:
    return tuple(
        f"a fold {fold.offset_mm:.1f} mm from the root line is not on the blank; it must lie "
        f"between {-below_mm:.1f} and {above_mm:.1f} mm"
        for fold in folds
        if not -below_mm < fold.offset_mm < above_mm
    )


# --- cuts ---------------------------------------------------------------------------------------


def _cut_shapes(
    piece: Piece, cuts: tuple[LegCut, ...]
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


def _notch_polygons(piece: Piece) -> tuple[tuple[Point, ...], ...]:
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


def _is_symmetric(piece: Piece, cuts: tuple[LegCut, ...]) -> bool:
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
