"""A piece of a line in stations of its own: what an outline is drawn from."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from solver.data.line import Line
from solver.geometry.lines import STATION_SLACK_MM, Floats, PlaneTable, checked_range, sub_line

Side = Literal["free", "grip"]

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
class Window:
    """A notch in stations of the piece."""

    low: float
    high: float
    deep: float
    side: Side


@dataclass(frozen=True)
class Piece:
    """A piece with its hard curvature in stations of its own root line, extra lengths included.

    ``offset`` is what to add to a station of the line to get one of the piece.
    """

    table: PlaneTable
    length_mm: float
    offset: float
    lap_mm: float
    above: float
    below: float
    windows: tuple[Window, ...]
    straight: bool

    def stations_of(self, at_mm: float) -> tuple[float, ...]:
        """Where a station of the line lies on the piece; on a loop also one lap on or back."""
        if self.lap_mm > 0.0:
            at = at_mm + self.offset
            return (at - self.lap_mm, at, at + self.lap_mm)
        return (at_mm + self.offset,)

    def place(self, station: float) -> str:
        """Give a station of the piece as a place on the line, for a reader."""
        return f"{station - self.offset:.1f} mm"


def piece_of(
    line: Line,
    start_mm: float,
    end_mm: float,
    above_mm: float,
    below_mm: float,
    notches: tuple[Notch, ...],
    extra_start_mm: float,
    extra_end_mm: float,
) -> Piece:
    """Piece between two stations, lengthened straight on by the extras, with the notches on it.

    Raises ValueError for stations off the line and for widths, lengths or notches that are none.
    """
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
    piece = Piece(
        table, float(table.breaks[-1]), offset, lap, above_mm, below_mm, (), bool(straight)
    )
    if not notches:
        return piece
    windows: list[Window] = []
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
                windows.append(Window(low, high, notch.deep_mm, notch.side))
    windows.sort(key=lambda w: (w.low, w.high, w.side, w.deep))
    return replace(piece, windows=tuple(windows))


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
        # an end that misses a break by rounding is put onto it
        low = max(b_low, start) if index else start
        high = min(b_high, end) if first + index + 1 < last else end
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
