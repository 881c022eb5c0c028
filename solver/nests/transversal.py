"""Chords of an outline: how much of a line across the stock a blank takes up, abscissa by abscissa.

A line across the stock meets blanks in segments; where one blank's segment follows another's there
is a cutting gap between them. So the chords of the blanks met, each with one gap, add up to the
stock's width + gap at most. The chord of a blank at an abscissa is the total of its segments there.
"""

import math
from collections.abc import Sequence

import numpy as np
import numpy.typing as npt
import shapely

from solver.nests.shapes import Points, Ring

Floats = npt.NDArray[np.float64]

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


FIRST_BUDGET_MM = 4.0
FINER = 0.4
"""Each finer level of angles has so much of the budget of the level before."""
LEAST_DEPTH_MM = 0.1
"""Erosion at the finest level."""

MOST_REFINED = 64
ROUNDS = 40


def free_worths(
    outline_mm: Ring,
    gap_mm: float,
    unit_mm: float,
    values: Sequence[Floats],
    sizes_mm: Sequence[tuple[float, float]],
) -> list[float]:
    """Least worth of a blank that may lie at any angle, for each value function of chords.

    `values` are superadditive functions of whole units of chord (gap included); `sizes_mm` the
    (length, width) of the units it may lie on. The worth is the least, over the angles at which it
    fits one of them, of the integral of f(chord) over the abscissas, the blank grown by half the
    gap. Angles are never too few: let the blank be eroded by e and put budget = e + gap/2. A corner
    moves by r d when the blank turns by d about its middle (r its radius); so whatever the eroded
    blank covers of a line at a sampled angle and abscissa, the grown blank covers of every line at
    most d and h/2 away, as long as r d + h/2 <= budget: a sampled chord stands for all of them.
    Angles with the least worth are looked at again with smaller budgets.
    """
    polygon = shapely.Polygon(outline_mm)
    middle = (np.array(polygon.bounds[:2]) + np.array(polygon.bounds[2:])) / 2
    hull = np.asarray(polygon.convex_hull.exterior.coords)[:-1] - middle
    radius = float(np.hypot(*hull.T).max())
    budgets = [max(FIRST_BUDGET_MM, gap_mm)]
    while budgets[-1] * FINER > gap_mm / 2 + LEAST_DEPTH_MM and len(budgets) < 3:
        budgets.append(budgets[-1] * FINER)
    budgets.append(gap_mm / 2 + LEAST_DEPTH_MM)
    eroded = [_edges(polygon, budget - gap_mm / 2, middle) for budget in budgets]
    half = [budget / 2 / radius for budget in budgets]
    number = math.ceil(math.pi / (2 * half[0]))
    half[0] = math.pi / (2 * number)
    theta = np.asarray((np.arange(number) + 0.5) * (math.pi / number), dtype=np.float64)
    theta = theta[_may_lie(hull, radius, theta, half[0], sizes_mm)]
    if not len(theta):
        return [0.0 for _ in values]
    level = np.zeros(len(theta), dtype=np.int64)
    span = np.full(len(theta), half[0])
    worth = _integrals(eroded[0], theta, budgets[0], unit_mm, values)
    for _ in range(ROUNDS):
        low = worth.min(axis=0)
        near = (worth <= low * 1.03 + 1e-9).any(axis=1) & (level + 1 < len(budgets))
        chosen = np.nonzero(near)[0][:MOST_REFINED]
        if not len(chosen):
            break
        new_theta, new_span, new_level, new_worth = [], [], [], []
        for deeper in np.unique(level[chosen]) + 1:
            mine = chosen[level[chosen] == deeper - 1]
            parts = math.ceil(float(span[mine].max()) / half[deeper])
            share = (np.arange(parts) + 0.5) * 2 / parts - 1
            fine = (theta[mine][:, None] + span[mine][:, None] * share).ravel()
            fine_span = np.repeat(span[mine] / parts, parts)
            keep = _may_lie(hull, radius, fine, float(fine_span.max()), sizes_mm)
            fine, fine_span = fine[keep], fine_span[keep]
            new_theta.append(fine)
            new_span.append(fine_span)
            new_level.append(np.full(len(fine), deeper))
            new_worth.append(_integrals(eroded[deeper], fine, budgets[deeper], unit_mm, values))
        rest = np.ones(len(theta), dtype=bool)
        rest[chosen] = False
        old = worth[chosen].min(axis=0)
        theta = np.concatenate([theta[rest], *new_theta])
        span = np.concatenate([span[rest], *new_span])
        level = np.concatenate([level[rest], *new_level])
        worth = np.concatenate([worth[rest], *new_worth])
        if not len(theta):  # no angle is left at which it fits: what was known still holds
            return [float(v) for v in old]
    return [float(v) for v in worth.min(axis=0)]


def _edges(polygon: shapely.Polygon, depth: float, middle: Points) -> tuple[Points, Points]:
    """Starts and ends of the edges of the outline eroded by at least `depth`, about its middle."""
    # chords of round corners lie outside the truly eroded outline: erode a little more
    inner = shapely.buffer(polygon, -1.02 * depth, quad_segs=8) if depth > 0 else polygon
    starts, ends = [np.zeros((0, 2))], [np.zeros((0, 2))]
    for part in shapely.get_parts(inner):
        if part.is_empty:
            continue
        turned = shapely.geometry.polygon.orient(part)
        for ring in (turned.exterior, *turned.interiors):
            points = np.asarray(ring.coords) - middle
            starts.append(points[:-1])
            ends.append(points[1:])
    return np.concatenate(starts), np.concatenate(ends)


def _may_lie(
    hull: Points,
    radius: float,
    theta: Floats,
    span: float,
    sizes_mm: Sequence[tuple[float, float]],
) -> npt.NDArray[np.bool_]:
    """Which angles, give or take the span, let the blank lie on some unit; never too few."""
    along = np.outer(np.cos(theta), hull[:, 0]) - np.outer(np.sin(theta), hull[:, 1])
    across = np.outer(np.sin(theta), hull[:, 0]) + np.outer(np.cos(theta), hull[:, 1])
    slack = 2 * radius * span + 1e-6
    long = along.max(axis=1) - along.min(axis=1) - slack
    high = across.max(axis=1) - across.min(axis=1) - slack
    fits = np.zeros(len(theta), dtype=bool)
    for length, width in sizes_mm:
        fits |= (long <= length) & (high <= width)
    return fits


def _integrals(
    edges: tuple[Points, Points],
    theta: Floats,
    step: float,
    unit_mm: float,
    values: Sequence[Floats],
) -> Floats:
    """Integral of each value function over sampled chords; shape (angles, functions)."""
    a, b = edges
    if not len(a) or not len(theta):
        return np.zeros((len(theta), len(values)))
    cos, sin = np.cos(theta)[:, None], np.sin(theta)[:, None]
    xa, ya = cos * a[:, 0] - sin * a[:, 1], sin * a[:, 0] + cos * a[:, 1]
    xb, yb = cos * b[:, 0] - sin * b[:, 1], sin * b[:, 0] + cos * b[:, 1]
    # lines at (k + 1/2) step; an edge crosses those with floor(xa/step - 1/2) < k <= same of xb
    low = np.floor(np.minimum(xa, xb) / step - 0.5).astype(np.int64)
    high = np.floor(np.maximum(xa, xb) / step - 0.5).astype(np.int64)
    first, lines = int(low.min()), int(high.max() - low.min()) + 1
    number = (high - low).ravel()
    edge = np.repeat(np.arange(len(number)), number)
    offset = np.arange(len(edge)) - np.repeat(np.cumsum(number) - number, number)
    k = low.ravel()[edge] + 1 + offset
    x0, y0, x1, y1 = (v.ravel()[edge] for v in (xa, ya, xb, yb))
    y = y0 + (y1 - y0) * ((k + 0.5) * step - x0) / (x1 - x0)
    sign = np.where(x1 > x0, -1.0, 1.0)
    row = edge // a.shape[0]
    chord = np.bincount(
        row * lines + (k - first), weights=sign * y, minlength=len(theta) * lines
    ).reshape(len(theta), lines)
    whole = np.floor(np.maximum(chord, 0.0) / unit_mm + 1e-9).astype(np.int64)
    return np.column_stack(
        [step * value[np.minimum(whole, len(value) - 1)].sum(axis=1) for value in values]
    )
