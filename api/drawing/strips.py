"""A blank read back as a strip: its two long edges, the line on the mold surface, its notches.

A plan gives the outline alone.  A blank starts at its root line's first point, heading along x, so
its first edge stands from (0, -below) to (0, above); it ends in a segment as long as it is wide, or
shorter where a stretch that is cut down reaches the end.  Between them lie the grip edge and the
free edge.  Points that lie nearer to the other edge than the width are the floors of notches.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property
from itertools import groupby, pairwise
from typing import Literal

import numpy as np
import shapely

from api.drawing.shapes import Point
from solver.data.plan import BlankPlan

Side = Literal["free", "grip"]

_LENGTH_SLACK = 0.01
"""How far (share) a root line found from an edge may be off the plan's length: tangents and chords
within 0.05 mm of the curve are off by far less."""


_BETTER_MM = 0.02
"""A root line found from another edge is taken only if it is nearer to the plan's by so much."""
_SHORT_MM = 60.0
"""Floors shorter than this are measured by themselves, longer ones along the root line."""
_END_MM = 1e-3
"""How near points of a straight blank are to its end cut."""
_SQUARE_DEG = 2.0
_STEP_MM = 0.5
"""A floor that leaves the root line's distance by more is another floor."""


@dataclass(frozen=True)
class StripNotch:
    """A notch in one edge: stations along the root line, and how deep it reaches in."""

    side: Side
    from_mm: float
    to_mm: float
    deep_mm: float

    @property
    def at_mm(self) -> float:
        """Station of its middle."""
        return 0.5 * (self.from_mm + self.to_mm)

    @property
    def wide_mm(self) -> float:
        """Width along the root line."""
        return self.to_mm - self.from_mm


@dataclass(frozen=True)
class Strip:
    """A blank with its long edges told apart; all in the blank's own axes, mm."""

    blank: BlankPlan

    @property
    def width_mm(self) -> float:
        """Width across the strip."""
        return self.blank.above_mm + self.blank.below_mm

    @cached_property
    def _end(self) -> int | None:
        """Index of the outline's point where the grip edge ends and the end cut begins."""
        ring = np.asarray(self.blank.outline_mm)
        if self.blank.straight:
            at_end = np.abs(ring[:, 0] - self.blank.root_length_mm) <= _END_MM
            return next((i for i in range(1, len(ring) - 1) if at_end[i] and at_end[i + 1]), None)
        steps = np.roll(ring, -1, axis=0) - ring
        sizes = np.hypot(*steps.T)
        fits = [
            i
            for i in range(1, len(ring) - 2)
            if abs(sizes[i] - self.width_mm) < 1e-6 * self.width_mm
        ]
        if not fits:
            # an end that is cut down: shorter than the width, and square at both corners
            headings = np.degrees(np.arctan2(steps[:, 1], steps[:, 0]))
            turns = (headings - np.roll(headings, 1) + 180.0) % 360.0 - 180.0
            square = np.abs(turns - 90.0) <= _SQUARE_DEG
            fits = [
                i
                for i in range(1, len(ring) - 2)
                if square[i] and square[i + 1] and sizes[i] < self.width_mm
            ]
        if not fits:
            return None
        # facets may happen to be as long as the strip is wide: the end cut parts the ring best
        travelled = np.concatenate(([0.0], np.cumsum(sizes)))
        whole = travelled[-1] - sizes[-1]

        def uneven(i: int) -> float:
            grip, free = travelled[i], whole - travelled[i + 1]
            return float(abs(grip - free))

        return min(fits, key=uneven)

    @cached_property
    def grip_edge(self) -> tuple[Point, ...]:
        """The lower edge with its notches, from start to end; empty if the strip is not read."""
        return () if self._end is None else self.blank.outline_mm[: self._end + 1]

    @cached_property
    def free_edge(self) -> tuple[Point, ...]:
        """The upper edge with its notches, from start to end; empty if the strip is not read."""
        return () if self._end is None else self.blank.outline_mm[: self._end : -1]

    @cached_property
    def end_frame(self) -> tuple[Point, float] | None:
        """The root line's last point and its heading there (degrees)."""
        if self._end is None:
            return None
        (x0, y0), (x1, y1) = self.grip_edge[-1], self.free_edge[-1]
        share = self.blank.below_mm / math.hypot(x1 - x0, y1 - y0)
        heading = math.degrees(math.atan2(y1 - y0, x1 - x0)) - 90.0
        return (x0 + share * (x1 - x0), y0 + share * (y1 - y0)), heading

    def _edge(self, side: Side) -> tuple[Point, ...]:
        return self.grip_edge if side == "grip" else self.free_edge

    def _uncut(self, side: Side) -> tuple[Point, ...]:
        """An edge without the points that lie nearer to the other edge than the width."""
        edge, other = self._edge(side), self._edge("free" if side == "grip" else "grip")
        if len(edge) < 2 or len(other) < 2:
            return ()
        cut = self._inside(edge, other, self.width_mm)
        return tuple(point for point, inner in zip(edge, cut, strict=True) if not inner)

    def _inside(
        self, edge: tuple[Point, ...], line: tuple[Point, ...], offset_mm: float
    ) -> list[bool]:
        """Which points of an edge lie nearer to a line than their offset: floors of notches."""
        far = shapely.distance(shapely.points(edge), shapely.LineString(line))
        slack = max(0.2, 0.004 * self.width_mm)
        inner = [bool(d < offset_mm - slack) for d in far]
        # the ends belong to the end cuts, whatever lies near them, but for a floor that reaches one
        return [inner[0] and inner[1], *inner[1:-1], inner[-1] and inner[-2]]

    @cached_property
    def root(self) -> tuple[Point, ...]:
        """Where the metal leaves the mold surface, from start to end; empty if it is not found."""
        if self.blank.straight:
            return ((0.0, 0.0), (self.blank.root_length_mm, 0.0))
        length = self.blank.root_length_mm
        # an edge without notches is best as it is: what faces a notch of the other edge is none
        ways = (
            (self.grip_edge, self.blank.below_mm),
            (self.free_edge, -self.blank.above_mm),
            (self._uncut("grip"), self.blank.below_mm),
            (self._uncut("free"), -self.blank.above_mm),
        )
        best: tuple[Point, ...] = ()
        least = _LENGTH_SLACK * length
        for edge, offset in ways:
            if len(edge) < 2:
                continue
            line = shapely.LineString(edge)
            if abs(offset) > 1e-9:
                line = shapely.offset_curve(line, offset, join_style="mitre", mitre_limit=20.0)
            if line.geom_type != "LineString" or line.is_empty:
                continue
            if abs(line.length - length) < least - _BETTER_MM * bool(best):
                least = abs(line.length - length)
                points = tuple((float(x), float(y)) for x, y in line.coords)
                best = points if math.hypot(*points[0]) < math.hypot(*points[-1]) else points[::-1]
        return best

    def station_of(self, at: Point) -> float:
        """Return the station along the root line of the place nearest to a point."""
        if self.blank.straight or not self.root:
            return at[0]
        line = shapely.LineString(self.root)
        found = float(shapely.line_locate_point(line, shapely.Point(at)))
        return float(found * self.blank.root_length_mm / line.length)

    def place_of(self, station_mm: float, offset_mm: float = 0.0) -> tuple[Point, float] | None:
        """Return the point at a station and an offset toward the free edge, and the heading."""
        if not self.root:
            return None
        points = np.asarray(self.root)
        steps = np.hypot(*np.diff(points, axis=0).T)
        reach = np.concatenate(([0.0], np.cumsum(steps)))
        at = min(max(station_mm, 0.0) * reach[-1] / self.blank.root_length_mm, reach[-1])
        i = int(min(np.searchsorted(reach, at, side="right") - 1, len(steps) - 1))
        along = points[i] + (points[i + 1] - points[i]) * ((at - reach[i]) / steps[i])
        dx, dy = (points[i + 1] - points[i]) / steps[i]
        return (
            (float(along[0] - offset_mm * dy), float(along[1] + offset_mm * dx)),
            math.degrees(math.atan2(dy, dx)),
        )

    @cached_property
    def notches(self) -> tuple[StripNotch, ...]:
        """Notches of both edges by station, the grip's first."""
        found: list[StripNotch] = []
        if self._end is None or not self.root:
            return ()
        sides: tuple[tuple[Side, float], ...] = (
            ("grip", self.blank.below_mm),
            ("free", self.blank.above_mm),
        )
        for side, offset in sides:
            edge = self._edge(side)
            cut = self._inside(edge, self.root, offset)
            left_mm = shapely.distance(shapely.points(edge), shapely.LineString(self.root))
            groups = [
                list(group) for inner, group in groupby(range(len(edge)), cut.__getitem__) if inner
            ]
            for group in (part for whole in groups for part in _levels(whole, left_mm)):
                floor = [edge[i] for i in group]
                left = float(min(left_mm[i] for i in group))
                start, end = sorted((self.station_of(floor[0]), self.station_of(floor[-1])))
                wide = math.dist(floor[0], floor[-1])
                if wide < _SHORT_MM:
                    # chords of the root line lean by more than such a floor is long or short: the
                    # floor itself tells its width, but for the curve between it and the root line
                    (x0, y0), (x1, y1) = floor[0], floor[-1]
                    at = self.station_of(((x0 + x1) / 2, (y0 + y1) / 2))
                    wide /= 1.0 - (left if side == "free" else -left) * self._curvature(at)
                    start, end = at - wide / 2, at + wide / 2
                found.append(StripNotch(side, start, end, offset - left))
        return tuple(found)

    def _curvature(self, station_mm: float) -> float:
        """Hard-way curvature about a station (1/mm), from the headings on both sides of it."""
        reach = 60.0
        one, two = self.place_of(station_mm - reach), self.place_of(station_mm + reach)
        if self.blank.straight or one is None or two is None:
            return 0.0
        low = max(station_mm - reach, 0.0)
        high = min(station_mm + reach, self.blank.root_length_mm)
        turn = (two[1] - one[1] + 180.0) % 360.0 - 180.0
        return math.radians(turn) / (high - low)

    @cached_property
    def slit_stations_mm(self) -> tuple[float, ...]:
        """Stations of slits, by the end that lies at the fold."""
        return tuple(sorted(self.station_of(slit[1]) for slit in self.blank.slits_mm))

    @cached_property
    def v_notch_stations_mm(self) -> tuple[float, ...]:
        """Stations of V-notches, by their apex."""
        return tuple(sorted(self.station_of(notch[1]) for notch in self.blank.v_notches_mm))


def _levels(group: list[int], left_mm: np.ndarray) -> list[list[int]]:
    """Divide neighbouring points of floors where one floor steps to another."""
    parts = [[group[0]]]
    for before, here in pairwise(group):
        if abs(left_mm[here] - left_mm[before]) > _STEP_MM:
            parts.append([])
        parts[-1].append(here)
    return [part for part in parts if len(part) > 1]


def level_turn_deg(outline: tuple[Point, ...]) -> float:
    """Return by how much to turn an outline so that its longer side lies level, its start left."""
    frame = shapely.minimum_rotated_rectangle(shapely.Polygon(outline))
    corners = list(frame.exterior.coords)
    _, a, b = max((math.dist(a, b), a, b) for a, b in pairwise(corners))
    slope = math.degrees(math.atan2(b[1] - a[1], b[0] - a[0]))
    # a blank starts along x: the smaller turn keeps its free edge up
    return -min((slope, slope - 180.0, slope + 180.0), key=abs)


def clamp_stations_mm(length_mm: float, clamps: int) -> tuple[float, ...]:
    """Return the stations of clamps: one at each end and the others evenly between."""
    if clamps <= 0:
        return ()
    if clamps == 1:
        return (length_mm / 2,)
    return tuple(length_mm * n / (clamps - 1) for n in range(clamps))
