"""Blanks: root length, widths, outline and notches, against the strip rolled out by strip.py."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import shapely

from solver.checker.folds import flat_widths_mm
from solver.checker.reading import PieceReading, Reading
from solver.checker.report import Fault
from solver.checker.strip import flat_area_mm2, ribbon
from solver.checker.tolerances import CHORDS_MM, OUTLINE_AREA, OUTLINE_MM, RELATIVE, near
from solver.data.job import Rules

_NOTCH_SIDE_MM = 1.5
"""Notches may be cut square or along the curve: so far round them the outline is not compared."""

_NOTCH_LEFT = 0.1
"""Share of a notch that may be left standing, for the same reason."""

_NOTCH_POINTS = 5
"""Along each side of a notch."""


def root_lengths(reading: Reading) -> Iterator[Fault]:
    """The root line of a blank is as long as its piece on the run, with the metal to trim."""
    for piece in reading.pieces:
        wanted = piece.length_mm + piece.piece.trim_mm
        stated = piece.piece.blank.root_length_mm
        if abs(stated - wanted) > RELATIVE * wanted:
            yield Fault(
                "root length", piece.place, f"is stated as {stated:.5f} mm; it is {wanted:.5f}"
            )


def widths(reading: Reading) -> Iterator[Fault]:
    """Above and below the root line a blank is as wide as its legs less their deductions."""
    for piece in reading.pieces:
        blank = piece.piece.blank
        above, below = flat_widths_mm(reading.job.rules, piece)
        for side, stated, wanted in (
            ("above", blank.above_mm, above),
            ("below", blank.below_mm, below),
        ):
            if not near(stated, wanted):
                yield Fault(
                    "flat width",
                    piece.place,
                    f"measures {stated:.4f} mm {side} the root line; it must be {wanted:.4f}",
                )


def straightness(reading: Reading) -> Iterator[Fault]:
    """A blank is called straight if and only if nothing turns the hard way."""
    for piece in reading.pieces:
        if piece.piece.blank.straight != piece.track.straight:
            word = "straight" if piece.track.straight else "curved the hard way"
            yield Fault("straight", piece.place, f"its line is {word}, and it says otherwise")


def hard_way(reading: Reading) -> Iterator[Fault]:
    """No hard-way radius is smaller than the width on its concave side, no blank crosses itself."""
    for piece in reading.pieces:
        if piece.track.straight:
            continue
        above, below = flat_widths_mm(reading.job.rules, piece)
        hard = piece.track.stretches[:, 3:]
        for side, width, curvature in (
            ("above", above, float(hard.max(initial=0.0))),
            ("below", below, float((-hard).max(initial=0.0))),
        ):
            if width * curvature > 1 - RELATIVE:
                yield Fault(
                    "hard way",
                    piece.place,
                    f"is {width:.2f} mm wide {side} the root line, where the hard-way radius is "
                    f"{1 / curvature:.2f} mm",
                )
                break
        else:
            shape = ribbon(piece.strip, above, below)
            flat = flat_area_mm2(piece.track, piece.piece.trim_mm, above, below)
            if not shape.is_valid or shape.area < flat * (1 - OUTLINE_AREA):
                yield Fault("hard way", piece.place, "its blank crosses itself; it must be cut up")


def _expected(rules: Rules, piece: PieceReading) -> shapely.Geometry:
    """Outline before notches."""
    above, below = flat_widths_mm(rules, piece)
    if piece.track.straight:
        return shapely.box(0.0, -below, piece.length_mm + piece.piece.trim_mm, above)
    return ribbon(piece.strip, above, below)


def _notch_polygons(rules: Rules, piece: PieceReading, grown_mm: float) -> np.ndarray:
    """Region that each notch takes, grown on all sides and beyond the edge it is cut from."""
    above, below = flat_widths_mm(rules, piece)
    bolts = np.array([notch.bolt for notch in piece.notches], dtype=bool)
    at, wide, deep = np.array(
        [(notch.at_mm, notch.wide_mm, notch.deep_mm) for notch in piece.notches]
    ).T
    edge, inward = np.where(bolts, -below, above), np.where(bolts, 1.0, -1.0)
    inner = edge + inward * (deep + grown_mm)
    outer = edge - inward * max(grown_mm, 0.0)
    half = wide / 2 + grown_mm
    # past an end that it reaches, so that no edge of the blank lies on the region's own edge
    low, high = np.clip((at - half, at + half), -grown_mm, piece.strip.length_mm + grown_mm)
    along = np.linspace(low, high, _NOTCH_POINTS, axis=1)
    stations = np.hstack((along, along[:, ::-1]))
    offsets = np.repeat(np.column_stack((outer, inner)), _NOTCH_POINTS, axis=1)
    points = piece.strip.points_at(stations.ravel(), offsets.ravel())
    regions: np.ndarray = shapely.polygons(points.reshape(len(at), 2 * _NOTCH_POINTS, 2))
    return regions


def outlines(reading: Reading) -> Iterator[Fault]:
    """Every outline is its strip rolled out, less its notches and nothing else."""
    rules = reading.job.rules
    plain = [piece for piece in reading.pieces if not piece.notches]
    wanted = np.array([_expected(rules, piece) for piece in plain], dtype=object)
    drawn = np.array([piece.outline for piece in plain], dtype=object)
    apart = _apart_mm(drawn, wanted)
    for piece, shape, distance in zip(plain, wanted, apart, strict=True):
        if not shape.is_valid:
            continue  # it crosses itself: told by hard_way
        yield from _outline_fault(piece, distance, piece.outline.area, shape.area, 0.0)
    for piece in reading.pieces:
        if not piece.notches:
            continue
        shape = _expected(rules, piece)
        if not shape.is_valid:
            continue
        cuts = shapely.union_all(_notch_polygons(rules, piece, 0.0))
        round_them = shapely.union_all(_notch_polygons(rules, piece, _NOTCH_SIDE_MM))
        distance = shapely.hausdorff_distance(
            _without(shape.boundary, round_them), _without(piece.outline.boundary, round_them)
        )
        left = shapely.difference(shape, cuts)
        slack = _NOTCH_LEFT * shapely.area(shapely.intersection(shape, cuts))
        yield from _outline_fault(piece, distance, piece.outline.area, left.area, slack)


def _without(boundary: shapely.Geometry, region: shapely.Geometry) -> shapely.Geometry:
    return shapely.difference(shapely.segmentize(boundary, 25.0), region)


def _apart_mm(drawn: np.ndarray, wanted: np.ndarray) -> np.ndarray:
    if not len(drawn):
        return np.zeros(0)
    distances: np.ndarray = shapely.hausdorff_distance(
        shapely.boundary(drawn), shapely.boundary(wanted)
    )
    return distances


def _outline_fault(
    piece: PieceReading, distance: float, area: float, wanted: float, slack: float
) -> Iterator[Fault]:
    if not piece.track.straight:
        slack += CHORDS_MM * piece.outline.length
    if distance > OUTLINE_MM or abs(area - wanted) > OUTLINE_AREA * wanted + slack:
        yield Fault(
            "outline",
            piece.place,
            f"its outline is up to {distance:.3f} mm off the rolled-out strip, with "
            f"{area:.1f} mm2 for {wanted:.1f}",
        )


def areas(reading: Reading) -> Iterator[Fault]:
    """The stated area is that of the outline."""
    for piece in reading.pieces:
        stated, area = piece.piece.blank.area_mm2, piece.outline.area
        if not near(stated, area):
            yield Fault(
                "blank area", piece.place, f"is stated as {stated:.3f} mm2; it is {area:.3f}"
            )


def notches(reading: Reading) -> Iterator[Fault]:
    """Every bolt within the grip and every notch asked for is cut out, and counted."""
    for piece in reading.pieces:
        stated = piece.piece.blank.notch_count
        if stated != len(piece.notches):
            yield Fault(
                "notches", piece.place, f"counts {stated} notches; {len(piece.notches)} are asked"
            )
        if not piece.notches:
            continue
        regions = _notch_polygons(reading.job.rules, piece, 0.0)
        whole = shapely.area(regions)
        standing = shapely.area(shapely.intersection(regions, piece.outline))
        for at in np.nonzero(standing > _NOTCH_LEFT * whole)[0]:
            notch = piece.notches[at]
            kind = "the bolt" if notch.bolt else "the notch"
            yield Fault(
                "notches",
                piece.place,
                f"{standing[at]:.1f} of {whole[at]:.1f} mm2 are left standing at {kind} "
                f"{notch.at_mm:.2f} mm from its start",
            )
