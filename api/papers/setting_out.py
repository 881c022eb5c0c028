"""How each blank gets onto the metal: by tape and square, offsets from a chord, or template.

A straight blank is marked with a tape and a square, its notches, slits and V-notches by stations.
A curved blank that rises and falls gently over its chord is also marked by offsets: at each
station the lower and the upper edge, outward to the next mark of the tape; a batten joins them.
Every curved blank has a full-size template besides.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise

import numpy as np
import shapely

from api.drawing.shapes import Point, Pose, box_of
from api.drawing.strips import Strip
from api.papers.shop_sizes import INCH_MM, ShopSizes
from solver.data.plan import Piece

STEEPEST_DEG = 60.0
"""An edge steeper than this over its chord is not measured by offsets: a small error along the tape
would be a large one across it [practice]."""

FAIR_MM, ROUGH_MM = INCH_MM / 16, INCH_MM / 8
"""Rise of an edge over the straight line between two stations that a batten takes up by itself:
the first is aimed at, more than the second is not set out by offsets [practice]."""

_FEWEST, _MOST = 4, 20
"""Stations on a chord: fewer say nothing, more is a wall of figures."""

LEAST_CHORD_MM = 300.0
"""A shorter blank comes out on one page at full size, and is quicker traced than measured."""


@dataclass(frozen=True)
class Offset:
    """At one station of the chord: the marks of the lower and the upper edge."""

    at: int
    low: int
    high: int


@dataclass(frozen=True)
class Offsets:
    """A blank over its chord: a straight base line, the ends, and offsets between."""

    pose: Pose
    """From the blank's own axes to the base line (x along it, y from it)."""
    corners: tuple[tuple[str, int, int], ...]
    """The four corners: name, along and from the base line."""
    stations: tuple[Offset, ...]
    sag_mm: float
    """How far a straight line between two stations may leave the edge."""


FLAT_MM = 0.25
"""A root line that leaves a straight line by less is marked with a straight edge: less than
half of a sixteenth, the finest mark on a shop's tape [practice]."""


def is_tape_and_square(piece: Piece) -> bool:
    """Return whether a blank is marked with tape and square alone."""
    if piece.blank.straight:
        return True
    root = Strip(piece.blank).root
    return bool(root) and all(abs(y) <= FLAT_MM for _, y in root)


def chord_offsets(piece: Piece, sizes: ShopSizes) -> Offsets | None:
    """Return the offsets of a gently curved blank; None where a template alone will do."""
    strip = Strip(piece.blank)
    if is_tape_and_square(piece) or not strip.root or strip.end_frame is None:
        return None
    grip, free = smooth_edges(strip)
    start, end = strip.root[0], strip.root[-1]
    chord = math.hypot(end[0] - start[0], end[1] - start[1])
    if chord < LEAST_CHORD_MM:
        return None
    turn = -math.degrees(math.atan2(end[1] - start[1], end[0] - start[0]))
    level = Pose(turn_deg=turn)
    lines = [[level.point(p) for p in edge] for edge in (grip, free)]
    if any(_steepest_deg(line) > STEEPEST_DEG for line in lines):
        return None
    low_x, low_y, _, _ = box_of([p for line in lines for p in line])
    pose = Pose(-low_x, -low_y, turn)
    grip, free = ([pose.point(p) for p in edge] for edge in (grip, free))
    marks = _stations(grip, free, sizes)
    if not marks:
        return None
    found = []
    for mark in marks:
        x = sizes.mm(mark)
        low, high = _height(grip, x), _height(free, x)
        if low is not None and high is not None:
            found.append(Offset(mark, sizes.down(low), sizes.up(high)))
    corners = tuple(
        (name, _along(sizes, x, outward), sizes.down(y) if name.startswith("grip") else sizes.up(y))
        for name, (x, y), outward in (
            ("grip, start", grip[0], -1),
            ("free, start", free[0], -1),
            ("grip, end", grip[-1], 1),
            ("free, end", free[-1], 1),
        )
    )
    step = sizes.mm(marks[1] - marks[0])
    return Offsets(pose, corners, tuple(found), _sag(grip, free, step))


def _along(sizes: ShopSizes, x_mm: float, outward: int) -> int:
    """A mark along the base line, outward at either end."""
    return sizes.down(x_mm) if outward < 0 else sizes.up(x_mm)


def smooth_edges(strip: Strip) -> tuple[list[Point], list[Point]]:
    """Return grip and free edge without their notches, as points."""
    root = shapely.LineString(strip.root)
    edges = []
    for offset in (-strip.blank.below_mm, strip.blank.above_mm):
        line = root
        if abs(offset) > 1e-9:
            line = shapely.offset_curve(root, offset, join_style="mitre", mitre_limit=20.0)
        points = [(float(x), float(y)) for x, y in line.coords]
        edges.append(points)
    return edges[0], edges[1]


def _steepest_deg(line: list[Point]) -> float:
    return max(
        (
            abs(math.degrees(math.atan2(b[1] - a[1], b[0] - a[0])))
            for a, b in pairwise(line)
            if math.hypot(b[0] - a[0], b[1] - a[1]) > 1e-6
        ),
        default=180.0,
    )


def _stations(grip: list[Point], free: list[Point], sizes: ShopSizes) -> list[int]:
    """Even stations, whole inches (or tens of mm) apart, as few as a batten needs; none if more."""
    length = max(grip[-1][0], free[-1][0])
    unit = sizes.parts * (1 if sizes.inches else 10)
    steps = [n * unit for n in ((12, 8, 6, 4, 3, 2, 1) if sizes.inches else (30, 20, 15, 10, 5, 2))]
    rough: list[int] = []
    for step in steps:
        marks = [n * step for n in range(1, int(length / sizes.mm(step)) + 1)]
        if len(marks) > _MOST:
            break
        sag = _sag(grip, free, sizes.mm(step))
        if len(marks) >= _FEWEST and sag <= ROUGH_MM:
            rough = marks
            if sag <= FAIR_MM:
                break
    return rough


def _sag(grip: list[Point], free: list[Point], step_mm: float) -> float:
    """Return how far an edge leaves the straight line between stations this far apart, at most."""
    worst = 0.0
    for edge in (grip, free):
        xs, ys = np.array(edge).T
        marks = np.arange(xs[0], xs[-1], step_mm)
        marks = np.append(marks, xs[-1])
        heights = np.interp(xs, marks, np.interp(marks, xs, ys))
        worst = max(worst, float(np.abs(heights - ys).max()))
    return worst


def _height(edge: list[Point], x_mm: float) -> float | None:
    if not edge[0][0] <= x_mm <= edge[-1][0]:
        return None
    xs, ys = np.array(edge).T
    return float(np.interp(x_mm, xs, ys))


@dataclass(frozen=True)
class Cut:
    """A notch, slit or V-notch as it is marked: middle and width along the root line, and depth."""

    kind: str
    side: str
    at: int
    wide: int
    deep: int


READING_MM = 0.15
"""How well a notch is known that is read off an outline within 0.05 mm of the curve: without it a
width of exactly 9/16 in would be marked 5/8."""


@dataclass(frozen=True)
class Marking:
    """The figures of one blank, as they are read off the tape."""

    piece: Piece
    sizes: ShopSizes

    @cached_property
    def length(self) -> int:
        """Length of the root line with the metal to trim: the stretch-out length."""
        return self.sizes.up(self.piece.blank.root_length_mm)

    @cached_property
    def below(self) -> int:
        """From the edge of the grip to the line on the mold surface."""
        return self.sizes.up(self.piece.blank.below_mm)

    @cached_property
    def width(self) -> int:
        """Width across, measured from the edge of the grip."""
        return self.below + self.sizes.up(self.piece.blank.above_mm)

    @cached_property
    def fold_heights(self) -> tuple[int, ...]:
        """Each fold of a straight blank, measured from the edge of the grip; the nearest mark."""
        below = self.sizes.mm(self.below)
        return tuple(
            self.sizes.nearest(below + fold.line_mm[0][1]) for fold in self.piece.blank.folds
        )

    @cached_property
    def cuts(self) -> tuple[Cut, ...]:
        """Notches, slits and V-notches by station, from the start of the blank."""
        strip = Strip(self.piece.blank)
        sizes = self.sizes
        found = [
            Cut(
                "notch",
                notch.side,
                sizes.nearest(notch.at_mm),
                sizes.up(notch.wide_mm - READING_MM),
                sizes.up(notch.deep_mm - READING_MM),
            )
            for notch in strip.notches
        ]
        for mouth, apex in self.piece.blank.slits_mm:
            deep = math.dist(mouth, apex)
            side = "free" if mouth[1] > apex[1] else "grip"
            found.append(
                Cut("slit", side, sizes.nearest(strip.station_of(apex)), 0, sizes.down(deep))
            )
        for notch in self.piece.blank.v_notches_mm:
            middle = ((notch[0][0] + notch[2][0]) / 2, (notch[0][1] + notch[2][1]) / 2)
            side = "free" if middle[1] > notch[1][1] else "grip"
            found.append(
                Cut(
                    "V-notch",
                    side,
                    sizes.nearest(strip.station_of(notch[1])),
                    sizes.nearest(math.dist(notch[0], notch[2])),
                    sizes.down(math.dist(middle, notch[1])),
                )
            )
        return tuple(sorted(found, key=lambda cut: (cut.at, cut.kind)))
