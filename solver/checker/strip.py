"""The strip along a walked line, rolled out flat by numerical integration, in code of its own.

A flashing stands along the surface normal, so its flat root line is the plane curve whose heading
is the integral of the hard-way curvature (developable strip; do Carmo, *Differential Geometry of
Curves and Surfaces*).  Curvature is linear in each stretch, so the heading is known in closed form;
the walk goes in fine steps, each along the chord of the arc that has the heading of its middle.
The edges of the strip are offsets of the root line: up (+y) toward the free edge.  At a sharp turn
up or down both edges are mitred.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise

import numpy as np
import shapely
from numpy.typing import NDArray

from solver.data.line import Line

Floats = NDArray[np.float64]

_STEP_RISE_MM = 0.02
"""Rise of the outer edge over one step's chord; a tenth of the tolerance of outlines."""

_ROUNDED_MM = 1e-5
"""Stations of a plan are rounded to a millionth of a millimetre."""
_NO_CURVE_PER_MM = 1e-11
"""Curvature below this is straight: a rise of 0.0001 mm in 8 m."""

_SLACK_MM = 1e-6


@dataclass(frozen=True)
class Track:
    """A walked line in arrays, stations from 0: m stretches and c sharp corners.

    ``stretches`` (m, 5): length, easy start and end, hard start and end (easy positive to the left
    of the walk).  ``corners`` (c, 3): station, easy and hard degrees, rising.
    """

    stretches: Floats
    corners: Floats

    @cached_property
    def breaks_mm(self) -> Floats:
        """Stations (m + 1,) of the ends of the stretches."""
        return np.concatenate(([0.0], np.cumsum(self.stretches[:, 0])))

    @property
    def length_mm(self) -> float:
        """Length of the walk."""
        return float(self.breaks_mm[-1])

    @property
    def straight(self) -> bool:
        """Whether nothing turns the hard way, so that the blank is straight.

        A piece that ends on a mark may reach past it by the rounding of its stations.
        """
        real = self.stretches[:, 0] > _ROUNDED_MM
        return not (
            (np.abs(self.stretches[real, 3:]) > _NO_CURVE_PER_MM).any()
            or (np.abs(self.corners[:, 2]) > 0).any()
        )


def track_of(line: Line, *, backward: bool) -> Track:
    """Give a line as walked; from its other end left is right, up stays up."""
    stretches = np.array(
        [(s.length_mm, s.easy_start, s.easy_end, s.hard_start, s.hard_end) for s in line.stretches],
        dtype=np.float64,
    ).reshape(-1, 5)
    corners = np.array(
        sorted((c.station_mm, c.easy_deg, c.hard_deg) for c in line.corners), dtype=np.float64
    ).reshape(-1, 3)
    if backward:
        stretches = stretches[::-1, [0, 2, 1, 4, 3]] * (1.0, -1.0, -1.0, 1.0, 1.0)
        corners = corners[::-1] * (-1.0, -1.0, 1.0) + (line.length_mm, 0.0, 0.0)
    return Track(stretches, corners)


def joined(tracks: list[Track]) -> Track:
    """Walks one after another."""
    starts = np.concatenate(([0.0], np.cumsum([track.length_mm for track in tracks])))
    corners = [
        t.corners + np.array((start, 0.0, 0.0)) for t, start in zip(tracks, starts, strict=False)
    ]
    return Track(
        np.concatenate([track.stretches for track in tracks]),
        np.concatenate(corners).reshape(-1, 3),
    )


def cut(track: Track, from_mm: float, to_mm: float) -> Track:
    """Give the part of a walk between two stations; corners at the cuts belong to neither side."""
    lengths = track.stretches[:, 0]
    low = np.clip((from_mm - track.breaks_mm[:-1]) / lengths, 0.0, 1.0)
    high = np.clip((to_mm - track.breaks_mm[:-1]) / lengths, 0.0, 1.0)
    kept = (high - low) * lengths > 1e-9
    s, low, high = track.stretches[kept], low[kept], high[kept]
    parts = np.column_stack(
        (
            s[:, 0] * (high - low),
            s[:, 1] + (s[:, 2] - s[:, 1]) * low,
            s[:, 1] + (s[:, 2] - s[:, 1]) * high,
            s[:, 3] + (s[:, 4] - s[:, 3]) * low,
            s[:, 3] + (s[:, 4] - s[:, 3]) * high,
        )
    )
    at = track.corners[:, 0]
    inside = (at > from_mm + _SLACK_MM) & (at < to_mm - _SLACK_MM)
    return Track(parts, track.corners[inside] - (from_mm, 0.0, 0.0))


@dataclass(frozen=True)
class Strip:
    """A strip rolled out: samples of its root line, grouped into parts without a sharp turn."""

    stations_mm: Floats
    points_mm: Floats
    """(n, 2), root line from the origin along x."""
    headings_rad: Floats
    part_starts: tuple[int, ...]
    """Index of the first sample of each part; a part's last sample has the next part's station."""
    hard_turns_rad: tuple[float, ...]
    """Sharp turn before each part but the first."""

    @property
    def length_mm(self) -> float:
        """Length of the root line."""
        return float(self.stations_mm[-1])

    def points_at(self, stations_mm: Floats, offsets_mm: Floats) -> Floats:
        """Points (k, 2) at stations and offsets from the root line."""
        index = np.clip(
            np.searchsorted(self.stations_mm, stations_mm, side="right") - 1,
            0,
            len(self.stations_mm) - 2,
        )
        gone = stations_mm - self.stations_mm[index]
        step = self.stations_mm[index + 1] - self.stations_mm[index]
        share = np.divide(gone, step, out=np.zeros_like(gone), where=step > 0)
        heading = self.headings_rad[index] + share * (
            self.headings_rad[index + 1] - self.headings_rad[index]
        )
        at = self.points_mm[index] + share[:, None] * (
            self.points_mm[index + 1] - self.points_mm[index]
        )
        normal = np.column_stack((-np.sin(heading), np.cos(heading)))
        points: Floats = at + offsets_mm[:, None] * normal
        return points

    def stations_of(self, points_mm: Floats) -> tuple[Floats, Floats]:
        """Give stations and offsets (k,) of points near the strip: the feet of their normals."""
        root = shapely.LineString(self.points_mm)
        stations = shapely.line_locate_point(root, shapely.points(points_mm))
        # The chords are a little shorter than the arcs; the last station tells by how much.
        stations = stations * (self.length_mm / root.length)
        none = np.zeros(len(stations))
        for _ in range(2):  # a chord's normal is not the arc's: step to where the point is abreast
            feet = self.points_at(stations, none)
            normal = self.points_at(stations, none + 1.0) - feet
            off = points_mm - feet
            ahead = off[:, 0] * normal[:, 1] - off[:, 1] * normal[:, 0]
            stations = np.clip(stations + ahead, 0.0, self.length_mm)
        feet = self.points_at(stations, none)
        normal = self.points_at(stations, none + 1.0) - feet
        return stations, ((points_mm - feet) * normal).sum(axis=1)


def rolled_out(track: Track, trim_mm: float, width_mm: float) -> Strip:
    """Roll out a strip of this total width; ``trim_mm`` runs on straight at its end."""
    steps: list[Floats] = []
    part_starts, turns = [0], []
    corners = [(float(at), math.radians(hard)) for at, _, hard in track.corners if hard != 0.0]
    station, heading, x, y, count = 0.0, 0.0, 0.0, 0.0, 1
    steps.append(np.array([[0.0, 0.0, 0.0, 0.0]]))
    for length, _, _, start, end in np.vstack((track.stretches, [trim_mm, 0, 0, 0, 0])):
        if length <= 0.0:
            continue
        inside = [c for c in corners if station - _SLACK_MM < c[0] < station + length - _SLACK_MM]
        cuts = [0.0, *(min(max(at - station, 0.0), length) for at, _ in inside), length]
        for place, (low, high) in enumerate(pairwise(cuts)):
            if place > 0:
                turn = inside[place - 1][1]
                heading += turn
                part_starts.append(count)
                turns.append(turn)
                steps.append(np.array([[station + low, x, y, heading]]))
                count += 1
            if high - low <= 0.0:
                continue
            s = np.linspace(low, high, _step_count(high - low, start, end, width_mm) + 1)
            rise = (end - start) / length
            base = heading - (start * low + rise * low**2 / 2)
            theta = base + start * s + rise * s**2 / 2
            middle_at = (s[1:] + s[:-1]) / 2
            middle = base + start * middle_at + rise * middle_at**2 / 2
            chord = np.diff(s) * np.sinc(np.diff(theta) / (2 * math.pi))
            xs = x + np.cumsum(chord * np.cos(middle))
            ys = y + np.cumsum(chord * np.sin(middle))
            steps.append(np.column_stack((station + s[1:], xs, ys, theta[1:])))
            count += len(s) - 1
            x, y, heading = float(xs[-1]), float(ys[-1]), float(theta[-1])
        station += float(length)
    table = np.vstack(steps)
    return Strip(table[:, 0], table[:, 1:3], table[:, 3], tuple(part_starts), tuple(turns))


def _step_count(length_mm: float, start: float, end: float, width_mm: float) -> int:
    curvature = max(abs(start), abs(end))
    if curvature <= _NO_CURVE_PER_MM:
        return 1
    grown = 1.0 + curvature * width_mm
    return max(8, math.ceil(length_mm * math.sqrt(curvature * grown / (8 * _STEP_RISE_MM))))


def ribbon(strip: Strip, above_mm: float, below_mm: float) -> shapely.Geometry:
    """Give the region between both edges of a strip; invalid where the strip crosses itself."""
    ends = (*strip.part_starts[1:], len(strip.stations_mm))
    parts: list[shapely.Geometry] = []
    for start, end in zip(strip.part_starts, ends, strict=True):
        if end - start < 2:
            continue
        h = strip.headings_rad[start:end]
        normal = np.column_stack((-np.sin(h), np.cos(h)))
        upper = strip.points_mm[start:end] + above_mm * normal
        lower = strip.points_mm[start:end] - below_mm * normal
        parts.append(shapely.Polygon(np.vstack((lower, upper[::-1]))))
    if len(parts) == 1 and not strip.hard_turns_rad:
        return parts[0]
    for start, turn in zip(strip.part_starts[1:], strip.hard_turns_rad, strict=True):
        offset = -below_mm if turn > 0 else above_mm
        if abs(offset * turn) < _SLACK_MM:
            continue
        corner = strip.points_mm[start]
        after = float(strip.headings_rad[start])
        before, between = after - turn, after - turn / 2
        reach = offset / math.cos(turn / 2)
        parts.append(
            shapely.Polygon(
                [
                    corner,
                    corner + offset * np.array((-math.sin(before), math.cos(before))),
                    corner + reach * np.array((-math.sin(between), math.cos(between))),
                    corner + offset * np.array((-math.sin(after), math.cos(after))),
                ]
            )
        )
    if not all(part.is_valid for part in parts):
        return next(part for part in parts if not part.is_valid)
    whole = shapely.union_all(parts, grid_size=1e-6)
    for outside in _beyond_ends(strip, max(above_mm, below_mm)):
        whole = shapely.difference(whole, outside)
    if whole.geom_type == "Polygon" and sum(shapely.Polygon(r).area for r in whole.interiors) < 1:
        return shapely.Polygon(whole.exterior)  # cracks between chords beside a sharp turn
    return whole


def _beyond_ends(strip: Strip, width_mm: float) -> list[shapely.Polygon]:
    """Give what lies past the square cut of an end that has a sharp turn so near that it matters.

    There the part before the turn would reach, on the hollow side, beyond the end.
    """
    found = []
    corners = strip.stations_mm[list(strip.part_starts[1:])]
    for index, outward, nearest in (
        (0, -1.0, corners.min(initial=np.inf)),
        (-1, 1.0, strip.length_mm - corners.max(initial=-np.inf)),
    ):
        if nearest >= 2 * width_mm:
            continue
        heading = float(strip.headings_rad[index])
        along = outward * width_mm * np.array((math.cos(heading), math.sin(heading)))
        across = 2 * width_mm * np.array((-math.sin(heading), math.cos(heading)))
        end = strip.points_mm[index]
        found.append(
            shapely.Polygon(
                [end - across, end + across, end + across + along, end - across + along]
            )
        )
    return found


def flat_area_mm2(track: Track, trim_mm: float, above_mm: float, below_mm: float) -> float:
    """Area of the strip by its turns alone, without notches.

    An edge offset by d to the left of a line that turns by A has length L - d·A, so a side of
    width d has d·L - d²·A/2; a mitre has d²·tan(A/2) in place of d²·A/2 [derived].
    """
    length = track.length_mm + trim_mm
    smooth = float(
        ((track.stretches[:, 3] + track.stretches[:, 4]) / 2 * track.stretches[:, 0]).sum()
    )
    sharp = float(2 * np.tan(np.radians(track.corners[:, 2]) / 2).sum())
    turned = smooth + sharp
    return (above_mm + below_mm) * length - (above_mm**2 - below_mm**2) / 2 * turned


def length_curved_tighter_mm(track: Track, curvature_per_mm: float) -> float:
    """Length over which the easy-way curvature is above a limit; it is linear in each stretch."""
    length, start, end = track.stretches[:, 0], track.stretches[:, 1], track.stretches[:, 2]
    total = 0.0
    for sign in (1.0, -1.0):
        a, b = sign * start - curvature_per_mm, sign * end - curvature_per_mm
        rise = np.abs(b - a)
        top = np.maximum(a, b)
        mixed = np.divide(top, rise, out=np.ones_like(top), where=rise > 0)
        share = np.where(np.minimum(a, b) > 0, 1.0, np.where(top > 0, mixed, 0.0))
        total += float((share * length).sum())
    return total
