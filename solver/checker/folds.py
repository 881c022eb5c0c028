"""Folds: flat widths, fold lines, and the slits and V-notches that let a leg follow a curve.

Legs are given to their outside mold lines: a square fold of inside radius R in thickness T takes
two setbacks R + T and gives back the arc of the neutral axis, so a blank is shorter by
2(R + T) - (R + K·T)·pi/2 [derived; setback as in FAA-H-8083-31 ch. 4].  A return stands above the
root line, a grip leg folded outward lies below it and bends from the root line on.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import shapely

from solver.checker.reading import PieceReading, Reading
from solver.checker.report import Fault
from solver.checker.strip import Floats
from solver.checker.tolerances import OUTLINE_MM, near
from solver.data.job import OPEN, Rules

_STATION_MM = 0.25
"""Of a slit along the line."""

_VARYING = 0.01
"""Of facets where the curvature changes, which may share the change in more than one way."""

_SHARP_DEG = 0.5
"""Sharp turns below this part no leg: one of 1 in opens 0.2 mm."""

OUTSIDE = "outside"


@dataclass(frozen=True)
class Leg:
    """A folded leg of a piece: between its fold line and its edge, by offset from the root line."""

    fold_mm: float
    edge_mm: float
    outside_mm: float
    """Its length to the outside mold line."""
    left: bool
    """Whether it goes to the left of the walk."""
    toward: frozenset[str]
    """Names of what lies there, any of which may be stated."""

    def holds(self, offset_mm: float) -> bool:
        """Whether a cut whose mouth is at this offset is in this leg."""
        return abs(offset_mm - self.edge_mm) <= abs(offset_mm - self.fold_mm)


def deduction_mm(rules: Rules, thickness_mm: float) -> float:
    """What two legs given to their mold lines lose in the flat by a square fold."""
    setback = rules.bend_radius_mm + thickness_mm
    return 2 * setback - math.pi / 2 * (rules.bend_radius_mm + rules.bend_k * thickness_mm)


def flat_widths_mm(rules: Rules, piece: PieceReading) -> tuple[float, float]:
    """Width of the blank above and below its root line."""
    asked = piece.profile
    lost = deduction_mm(rules, piece.sheet.thickness_mm)
    stand = piece.stand_mm
    above = stand + (asked.return_mm - lost if asked.return_mm > 0 else 0.0)
    return above, asked.grip_mm - (lost if asked.out else 0.0)


def legs(rules: Rules, piece: PieceReading) -> list[Leg]:
    """Folded legs of a piece, from the free edge down."""
    asked = piece.profile
    lost = deduction_mm(rules, piece.sheet.thickness_mm)
    above, below = flat_widths_mm(rules, piece)
    found = []
    if asked.return_left is not None:
        names = set()
        for slot in piece.slots:
            first = asked.return_left != slot.backward
            name = slot.edge.first if first else slot.edge.second
            names |= {OUTSIDE, OPEN} if name == OPEN else {name}
        fold = above - asked.return_mm + lost / 2
        found.append(Leg(fold, above, asked.return_mm, asked.return_left, frozenset(names)))
    if asked.out:
        names = {OUTSIDE, OPEN}
        found.append(
            Leg(lost / 2, -below, asked.grip_mm, piece.slots[0].backward, frozenset(names))
        )
    return found


_BRAKE_MM = 0.01
"""Of the rise of a fold: no brake is set finer than a hundredth of a millimetre."""


def folds(reading: Reading) -> Iterator[Fault]:
    """A blank has the folds of its profile, each where and as the profile says."""
    rules = reading.job.rules
    for piece in reading.pieces:
        wanted, stated = legs(rules, piece), piece.piece.blank.folds
        if len(wanted) != len(stated):
            yield Fault("folds", piece.place, f"has {len(stated)} folds; {len(wanted)} are asked")
            continue
        lost = deduction_mm(rules, piece.sheet.thickness_mm)
        for leg, fold in zip(wanted, stated, strict=True):
            figures = (
                ("angle", fold.angle_deg, 90.0),
                ("inside radius", fold.inside_radius_mm, rules.bend_radius_mm),
                ("deduction", fold.deduction_mm, lost),
            )
            for name, figure, right in figures:
                if not near(figure, right):
                    yield Fault(
                        "folds", piece.place, f"a fold's {name} is {figure:.4f}, not {right:.4f}"
                    )
            if fold.toward not in leg.toward:
                names = " or ".join(sorted(leg.toward))
                yield Fault("folds", piece.place, f"a leg folds toward {fold.toward}, not {names}")
            at = piece.strip.stations_mm
            line = shapely.LineString(piece.strip.points_at(at, np.full(len(at), leg.fold_mm)))
            drawn = (
                shapely.LineString(fold.line_mm) if len(fold.line_mm) > 1 else shapely.Point(0, 0)
            )
            distance = shapely.hausdorff_distance(line, drawn)
            if distance > OUTLINE_MM:
                yield Fault("folds", piece.place, f"a fold line is up to {distance:.3f} mm off")


def fold_chords(reading: Reading) -> Iterator[Fault]:
    """A fold line that curves the hard way keeps within the tolerance of a straight brake."""
    rules = reading.job.rules
    for piece in reading.pieces:
        if piece.track.straight:
            continue
        for leg in legs(rules, piece):
            line = piece.strip.points_at(
                piece.strip.stations_mm, np.full(len(piece.strip.stations_mm), leg.fold_mm)
            )
            chord = line[-1] - line[0]
            off = np.abs(
                np.cross(np.append(chord, 0.0), np.c_[line - line[0], np.zeros(len(line))])[:, 2]
            )
            rise = float(off.max()) / max(float(np.hypot(*chord)), 1e-9)
            if rise > rules.fold_chord_tolerance_mm * (1 + 1e-4) + _BRAKE_MM:
                yield Fault(
                    "fold chord",
                    piece.place,
                    f"its fold line rises {rise:.3f} mm over its chord; a brake folds straight, "
                    f"and {rules.fold_chord_tolerance_mm:.3f} is allowed",
                )


@dataclass(frozen=True)
class _Cut:
    """A slit or V-notch as drawn, read back to station and offsets."""

    station_mm: float
    mouth_mm: float
    inner_mm: float
    wide_mm: float
    """Width of its mouth; 0 for a slit."""
    askew_mm: float
    """How far along the line the middle of its mouth is from its inner end."""


def _cuts(piece: PieceReading) -> list[_Cut]:
    found = []
    for slit in piece.piece.blank.slits_mm:
        stations, offsets = piece.strip.stations_of(np.array(slit, dtype=np.float64))
        inner, mouth = (0, 1) if abs(offsets[0]) < abs(offsets[1]) else (1, 0)
        found.append(
            _Cut(
                float(stations[inner]),
                float(offsets[mouth]),
                float(offsets[inner]),
                0.0,
                float(abs(stations[mouth] - stations[inner])),
            )
        )
    for notch in piece.piece.blank.v_notches_mm:
        stations, offsets = piece.strip.stations_of(np.array(notch, dtype=np.float64))
        wide = float(np.hypot(notch[0][0] - notch[2][0], notch[0][1] - notch[2][1]))
        mouth_offset = float(offsets[0] + offsets[2]) / 2
        askew = float(abs((stations[0] + stations[2]) / 2 - stations[1]))
        found.append(_Cut(float(stations[1]), mouth_offset, float(offsets[1]), wide, askew))
    return found


def slits(reading: Reading) -> Iterator[Fault]:
    """A folded leg is parted where a curve would lift it: slits that open, V where it overlaps.

    A facet of length s on radius R rises by d where s = 2·sqrt(2Rd - d²) (Euclid III.35).
    """
    rules = reading.job.rules
    for piece in reading.pieces:
        own = legs(rules, piece)
        cuts = _cuts(piece)
        if cuts and not own:
            yield Fault("slits", piece.place, f"has {len(cuts)} slits or V-notches and no fold")
            continue
        for leg in own:
            mine = [cut for cut in cuts if leg.holds(cut.mouth_mm)]
            yield from _shape_faults(piece, leg, mine)
            yield from _facet_faults(rules, piece, leg, mine)


def _shape_faults(piece: PieceReading, leg: Leg, cuts: list[_Cut]) -> Iterator[Fault]:
    """Cuts go from the edge of the leg to its fold, and open or overlap as the curve wants."""
    for cut in cuts:
        rule = "V-notches" if cut.wide_mm else "slits"
        where = f"the one {cut.station_mm:.2f} mm from its start"
        if max(abs(cut.mouth_mm - leg.edge_mm), abs(cut.inner_mm - leg.fold_mm)) > OUTLINE_MM:
            yield Fault(
                rule,
                piece.place,
                f"{where} goes from {cut.mouth_mm:.2f} to {cut.inner_mm:.2f} mm off the root line; "
                f"the leg is from {leg.edge_mm:.2f} to {leg.fold_mm:.2f}",
            )
        if cut.askew_mm > _STATION_MM:
            yield Fault(rule, piece.place, f"{where} leans {cut.askew_mm:.2f} mm along the line")
        turn = _turn_rad(piece, cut.station_mm)
        overlaps = turn != 0.0 and (turn > 0) == leg.left
        if overlaps and not cut.wide_mm:
            yield Fault("V-notches", piece.place, f"{where} overlaps, and is a slit")
        if not overlaps and cut.wide_mm:
            yield Fault("slits", piece.place, f"{where} opens or does nothing, and is a V-notch")


def _turn_rad(piece: PieceReading, station_mm: float) -> float:
    """Easy-way turn at a station, to the left: sharp if a corner is there, else the curvature."""
    track = piece.track
    for at, easy, _ in track.corners:
        if abs(at - station_mm) <= _STATION_MM and easy != 0.0:
            return math.radians(float(easy))
    index = int(
        np.clip(np.searchsorted(track.breaks_mm, station_mm) - 1, 0, len(track.stretches) - 1)
    )
    length, start, end = track.stretches[index, :3]
    share = (station_mm - track.breaks_mm[index]) / length
    return float(start + (end - start) * np.clip(share, 0.0, 1.0))


def _facet_faults(rules: Rules, piece: PieceReading, leg: Leg, cuts: list[_Cut]) -> Iterator[Fault]:
    stations = np.array(sorted(cut.station_mm for cut in cuts))
    shortest = max(leg.outside_mm - rules.bend_radius_mm - piece.sheet.thickness_mm, 0.0)
    for at, easy, _ in piece.track.corners:
        if abs(easy) < _SHARP_DEG:
            continue
        overlaps = (easy > 0) == leg.left
        rule = "V-notches" if overlaps else "slits"
        here = [cut for cut in cuts if abs(cut.station_mm - at) <= _STATION_MM]
        least = 2 * shortest * math.tan(math.radians(abs(float(easy))) / 2) if overlaps else 0.0
        if not here or max(cut.wide_mm for cut in here) < least * (1 - 1e-3) - 1e-6:
            yield Fault(
                rule,
                piece.place,
                f"the sharp turn {at:.2f} mm from its start is not cut {least:.2f} wide",
            )
    for (length, start, end, _, _), low in zip(
        piece.track.stretches, piece.track.breaks_mm, strict=False
    ):
        if start == 0.0 and end == 0.0:
            continue
        inside = stations[(stations > low + _STATION_MM) & (stations < low + length - _STATION_MM)]
        ends = np.concatenate(([low], inside, [low + length]))
        rise = (end - start) / length
        curvature = np.abs(start + rise * (ends - low))
        facets = np.diff(ends)
        limit = _widest_facet_mm(_mean(curvature), rules.slit_tolerance_mm)
        over = facets > limit * (1 + (_VARYING if rise else 1e-6)) + 2e-3
        if over.any():
            worst = int(np.argmax(facets - limit))
            left_turn = (start + end) > 0
            yield Fault(
                "V-notches" if left_turn == leg.left else "slits",
                piece.place,
                f"a facet of {facets[worst]:.2f} mm {ends[worst]:.2f} mm from its start is too "
                f"long for its curve: {limit[worst]:.2f} mm at most",
            )
            continue
        if ((start + end) > 0) != leg.left:
            continue
        for cut in cuts:
            at = cut.station_mm
            if cut.wide_mm and low + _STATION_MM < at < low + length - _STATION_MM:
                index = int(np.searchsorted(ends, at))
                before = ends[max(index - 1, 0)]
                after = ends[min(index + 1, len(ends) - 1)]
                turn = abs(start + rise * (at - low)) * (after - before) / 2
                if cut.wide_mm < shortest * turn * (1 - 5e-3) - 0.05:
                    yield Fault(
                        "V-notches",
                        piece.place,
                        f"the one {at:.2f} mm from its start is {cut.wide_mm:.3f} mm wide; the leg "
                        f"overlaps by {shortest * turn:.3f}",
                    )


def _mean(curvature: Floats) -> Floats:
    """Curvature that a facet is judged by where it changes linearly between stations.

    A facet may be as long as its share of the integral of ds/s, and s goes with 1/sqrt(curvature):
    the mean of the root counts, (2/3)·(b^1.5 - a^1.5)/(b - a) [derived].
    """
    a, b = curvature[:-1], curvature[1:]
    change = b - a
    root = np.divide(
        2 / 3 * (b**1.5 - a**1.5), change, out=np.sqrt((a + b) / 2), where=np.abs(change) > 1e-12
    )
    return np.asarray(root**2)


def _widest_facet_mm(curvature: Floats, rise_mm: float) -> Floats:
    radius = np.divide(1.0, curvature, out=np.full_like(curvature, 1e12), where=curvature > 0)
    within = np.minimum(rise_mm, radius)
    return np.asarray(2 * np.sqrt(2 * radius * within - within**2))
