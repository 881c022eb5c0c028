"""Chords of an outline: how much of a line across the stock a blank takes up, abscissa by abscissa.

A line across the stock meets blanks in segments; where one blank's segment follows another's there
is a cutting gap between them. So the chords of the blanks met, each with one gap, add up to the
stock's width + gap at most. The chord of a blank at an abscissa is the total of its segments there.
"""

import numpy as np
import numpy.typing as npt

from solver.nests.shapes import Points

Chords = tuple[tuple[int, float], ...]
"""(whole units of chord and gap, rounded down; length of abscissas with at least that chord)."""


def chords(points: Points, gap_mm: float, unit_mm: float, slices: int = 256) -> Chords:
    """Chords of a closed ring, never too much: each slice counts the least chord within it.

    Between neighbouring abscissas of corners the chord total is linear, so the least over a slice
    is taken at its ends and at the corners within it, from both sides.
    """
    x, y = points[:, 0], points[:, 1]
    corners = np.unique(x)
    cuts = np.unique(np.concatenate((corners, np.linspace(corners[0], corners[-1], slices + 1))))
    left, right = cuts[:-1], cuts[1:]
    keep = right - left > 1e-12
    left, right = left[keep], right[keep]
    nudge = 1e-9 * (right - left)
    total_left = _total(x, y, left + nudge, gap_mm)
    total_right = _total(x, y, right - nudge, gap_mm)
    least = np.floor(np.minimum(total_left, total_right) / unit_mm - 1e-6).astype(np.int64)
    found: dict[int, float] = {}
    for c, length in zip(np.maximum(least, 0).tolist(), (right - left).tolist(), strict=True):
        found[c] = found.get(c, 0.0) + length
    return tuple(sorted(found.items()))


def _total(
    x: npt.NDArray[np.float64],
    y: npt.NDArray[np.float64],
    at: npt.NDArray[np.float64],
    gap_mm: float,
) -> npt.NDArray[np.float64]:
    """Total of the segments of a ring on vertical lines, and one gap."""
    xb, yb = np.roll(x, -1), np.roll(y, -1)
    low, high = np.minimum(x, xb)[None, :], np.maximum(x, xb)[None, :]
    crosses = (low <= at[:, None]) & (at[:, None] < high)
    slope = np.divide(yb - y, xb - x, out=np.zeros_like(x), where=xb != x)
    height = y[None, :] + slope[None, :] * (at[:, None] - x[None, :])
    # sorted crossings pair up; signed by the edge's direction their sum is the total chord
    sign = np.where(xb > x, -1.0, 1.0)[None, :]
    total = np.abs(np.where(crosses, sign * height, 0.0).sum(axis=1))
    return np.asarray(total + gap_mm * crosses.any(axis=1))
