"""How far a straight fold follows a line that is curved the hard way."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from solver.data.line import Line
from solver.geometry.lines import Floats, joined, plane_table, walk_plane

GRID_MM = 2.0
"""Pieces that begin between two stations are held to the reach of the one before."""
CAREFUL = 0.97
"""Share of the tolerance used here, on a grid; blanks are measured exactly afterwards."""


def fold_reach(
    line: Line, offset_mm: float, tolerance_mm: float
) -> Callable[[Floats], Floats] | None:
    """Return a function from stations to the farthest end of a piece that begins there.

    None where the line has no hard-way curvature, so that nothing limits the fold.  On a closed
    line stations run over its start, up to twice its length.
    """
    if not any(s.hard_start or s.hard_end for s in line.stretches) and not any(
        corner.hard_deg for corner in line.corners
    ):
        return None
    whole = joined((line, line)) if line.closed else line
    length = whole.length_mm
    stations = np.linspace(0.0, length, max(3, int(np.ceil(length / GRID_MM)) + 1))
    root, _, heading = walk_plane(plane_table(whole, "hard"), stations)
    fold = root + offset_mm * np.stack((-np.sin(heading), np.cos(heading)), axis=1)
    farthest = stations[_ends(fold, CAREFUL * tolerance_mm)]

    def reach(at_mm: Floats) -> Floats:
        index = np.clip(np.searchsorted(stations, at_mm + 1e-6) - 1, 0, len(stations) - 1)
        return np.where(farthest[index] >= length - 1e-6, np.inf, farthest[index])

    return reach


def _ends(fold: Floats, most_mm: float) -> NDArray[np.intp]:
    """For each point the last one to which a straight fold keeps within ``most_mm`` of the curve.

    Neighbours end near one another, so each search begins where the one before ended.
    """
    last = len(fold) - 1
    ends = np.empty(len(fold), dtype=np.intp)
    end = 0
    for first in range(len(fold)):
        end = min(max(end, first + 1), last)
        while end > first + 1 and _rise_mm(fold[first : end + 1]) > most_mm:
            end -= 1
        while end < last and _rise_mm(fold[first : end + 2]) <= most_mm:
            end += 1
        ends[first] = end
    return ends


def _rise_mm(points: Floats) -> float:
    chord = points[-1] - points[0]
    size = float(np.hypot(chord[0], chord[1]))
    away = points - points[0]
    if size < 1e-9:
        return float(np.hypot(away[:, 0], away[:, 1]).max())
    return float(np.abs(away[:, 0] * chord[1] - away[:, 1] * chord[0]).max()) / size
