"""Lines from measured points: fitted within the measuring tolerance before any curvature is taken.

Second differences of measured points are worthless: 1/16 in at 6 in spacing already looks like a
radius of 144 in.  So nothing is differentiated.  The unknowns are the curvatures themselves, linear
between knots; walking them through space gives points and normals, and of all curvatures that pass
the measured ones within the tolerance those are taken that vary least:

    minimise  sum (miss / tolerance)^2 + weight * L^3 * integral (d curvature / ds)^2 ds,

with the largest weight for which the worst miss is within the tolerance (Morozov's discrepancy
principle with a minimum-variation curve, Moreton & Sequin 1992).  Circles and helices have no
variation, so they are found without bias; a curvature that is not needed at all is left out.
Solved by Gauss-Newton; sensitivities by the first variation of the frame equations.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from solver.data.line import Line, Stretch
from solver.geometry.frames import NodeCurvatures, Walk, rotations, walk_frames
from solver.geometry.lines import Floats

#: How near a point is measured: 1/16 in [practice].
MEASURING_TOLERANCE_MM = 25.4 / 16.0

#: How near a normal is measured with a bevel gauge or a digital level, degrees [practice].
NORMAL_TOLERANCE_DEG = 1.0

#: A normal that leans more than this (degrees) along its path is a mistake, not a measurement.
LEANING_LIMIT_DEG = 30.0

#: Numbers of stretches that a fit may use, fewer first; more points than that share stretches.
MOST_STRETCHES = (24, 96)

#: A path that turns more than this (degrees) at one point has a sharp corner there: even a bend of
#: 6 in radius, taped every 6 in, turns less.
SHARP_TURN_DEG = 60.0

#: A fit passes when its misses are, as root mean square, at most those of points spread evenly over
#: a disc of the tolerance, sqrt(1/2) of it, and none is more than half as large again as the
#: tolerance: a least-squares line does not favour its worst point.
TYPICAL_SHARE = math.sqrt(0.5)
WORST_SHARE = 1.5

#: Largest turn of one integration step while fitting (radians).
_STEP_TURN_RAD = 0.12

#: Weights of the variation that are tried, from nearly none to nearly constant curvature.
_WEIGHTS = 10.0 ** np.arange(-8.0, 5.0, 1.0)

_ALL = (True, True, True)


@dataclass(frozen=True)
class PointFit:
    """A line through measured points and how well it passes them.

    ``stations_mm`` (n,) are the places of the points on the line, ``miss_mm`` (n,) their distances
    from it, ``lean_deg`` (n,) the angles between measured and fitted normals about the line.
    """

    line: Line
    stations_mm: tuple[float, ...]
    miss_mm: tuple[float, ...]
    lean_deg: tuple[float, ...]


def line_from_points(
    points_mm: Floats,
    normals: Floats,
    *,
    tolerance_mm: float = MEASURING_TOLERANCE_MM,
    normal_tolerance_deg: float = NORMAL_TOLERANCE_DEG,
    closed: bool = False,
) -> Line:
    """Line through measured points (n, 3) with unit normals (n, 3); see ``fit_points``."""
    return fit_points(
        points_mm,
        normals,
        tolerance_mm=tolerance_mm,
        normal_tolerance_deg=normal_tolerance_deg,
        closed=closed,
    ).line


def fit_points(
    points_mm: Floats,
    normals: Floats,
    *,
    tolerance_mm: float = MEASURING_TOLERANCE_MM,
    normal_tolerance_deg: float = NORMAL_TOLERANCE_DEG,
    closed: bool = False,
) -> PointFit:
    """Fit a line to points (n, 3) in mm with surface normals (n, 3) that point out of the part.

    The metal stands along -n: up = -n, left = up x tangent, positive hard curvature turns up.  The
    first point of a closed line is not repeated.  Sharp corners are not found: give the parts
    between corners one by one.  Normals may have any length.

    Raises ValueError for fewer than three points, points that coincide, normals of no length or
    along the path, a sharp corner, numbers that are not finite, and points that no smooth line
    passes.
    """
    for name, value in (
        ("tolerance_mm", tolerance_mm),
        ("normal_tolerance_deg", normal_tolerance_deg),
    ):
        if not (math.isfinite(value) and value > 0.0):
            raise ValueError(f"{name} is {value}; give a tolerance above zero")
    points, ups = _checked(points_mm, normals, closed, tolerance_mm)
    problem = _Problem(points, ups, tolerance_mm, math.radians(normal_tolerance_deg), closed)
    state = _smoothest(problem)
    miss, lean, _ = _misses(problem, *_walk(problem, state))
    count = len(points) - 1 if closed else len(points)
    return PointFit(
        line=_line_of(state, closed),
        stations_mm=tuple(state.stations[:count].tolist()),
        miss_mm=tuple(miss[:count].tolist()),
        lean_deg=tuple(np.degrees(lean[:count]).tolist()),
    )


# --- the measured data --------------------------------------------------------------------------


def _checked(
    points_mm: Floats, normals: Floats, closed: bool, tolerance_mm: float
) -> tuple[Floats, Floats]:
    points = np.array(points_mm, dtype=np.float64)
    outward = np.array(normals, dtype=np.float64)
    if points.ndim != 2 or points.shape[1] != 3 or outward.shape != points.shape:
        raise ValueError(
            f"points of shape {points.shape} with normals of shape {outward.shape}; give as many "
            "normals as points, each with x, y and z"
        )
    least = 4 if closed else 3
    if len(points) < least:
        raise ValueError(
            f"{len(points)} points say nothing about a curve; give at least {least}, "
            "better one every few inches"
        )
    for name, array in (("point", points), ("normal", outward)):
        bad = ~np.isfinite(array).all(axis=1)
        if bool(bad.any()):
            at = int(np.argmax(bad))
            raise ValueError(f"{name} {at} is {array[at].tolist()}; give finite numbers")
    length = np.linalg.norm(outward, axis=1)
    if bool(np.any(length < 1e-9)):
        at = int(np.argmin(length))
        raise ValueError(f"normal {at} has no length; give the direction out of the part")
    if closed:
        points = np.concatenate((points, points[:1]))
        outward = np.concatenate((outward, outward[:1]))
        length = np.append(length, length[0])
    gap = np.linalg.norm(np.diff(points, axis=0), axis=1)
    if bool(np.any(gap < 1e-6)):
        at = int(np.argmin(gap))
        nearby = (at + 1) % (len(points) - 1) if closed else at + 1
        raise ValueError(f"points {at} and {nearby} coincide; leave one out")
    along = np.diff(points, axis=0) / gap[:, None]
    turn = np.degrees(np.arccos(np.clip(np.sum(along[1:] * along[:-1], axis=1), -1.0, 1.0)))
    # between points as near as this, noise alone turns the chords
    turn[np.minimum(gap[1:], gap[:-1]) < 8.0 * tolerance_mm] = 0.0
    if len(turn) and float(turn.max()) > SHARP_TURN_DEG:
        at = int(np.argmax(turn))
        raise ValueError(
            f"the path turns {turn[at]:.0f} degrees at point {at + 1}, more than "
            f"{SHARP_TURN_DEG:.0f}; part it there if the corner is sharp, or give closer points"
        )
    ups = -outward / length[:, None]
    tangents = _tangents(points, closed)
    lean = np.degrees(np.arcsin(np.clip(np.abs(np.sum(ups * tangents, axis=1)), 0.0, 1.0)))
    if bool(np.any(lean > LEANING_LIMIT_DEG)):
        at = int(np.argmax(lean))
        raise ValueError(
            f"normal {at} leans {lean[at]:.0f} degrees along the path; a normal stands square to "
            f"the surface, so at most {LEANING_LIMIT_DEG:.0f} can pass"
        )
    return points, ups


def _tangents(points: Floats, closed: bool) -> Floats:
    """Directions at points from the circle through three neighbours; only to start the fit."""
    chord = np.diff(points, axis=0)
    length = np.linalg.norm(chord, axis=1)
    along = chord / length[:, None]
    tangents = np.empty_like(points)
    mixed = along[:-1] * length[1:, None] + along[1:] * length[:-1, None]
    tangents[1:-1] = _unit(mixed, along[1:])
    if closed:
        end = along[-1] * length[0] + along[0] * length[-1]
        tangents[0] = tangents[-1] = _unit(end[None, :], along[:1])[0]
    else:
        tangents[0] = 2.0 * float(tangents[1] @ along[0]) * along[0] - tangents[1]
        tangents[-1] = 2.0 * float(tangents[-2] @ along[-1]) * along[-1] - tangents[-2]
    return tangents


def _unit(vectors: Floats, instead: Floats) -> Floats:
    length = np.linalg.norm(vectors, axis=1)[:, None]
    unit: Floats = np.where(length > 1e-12, vectors / np.maximum(length, 1e-12), instead)
    return unit


@dataclass(frozen=True)
class _Problem:
    points: Floats
    ups: Floats
    tolerance: float
    normal_tolerance: float
    closed: bool


# --- the fitted state ---------------------------------------------------------------------------


@dataclass(frozen=True)
class _State:
    """Stations of the points, knots, curvatures at knots (k,), twist between them, start pose."""

    stations: Floats
    knots_at: NDArray[np.int64]
    easy: Floats
    hard: Floats
    twist: Floats
    start: Floats
    frame: Floats

    @property
    def knots(self) -> Floats:
        return self.stations[self.knots_at]


def _first_state(problem: _Problem, most_stretches: int) -> _State:
    """Rough curvatures from three neighbours each: a place to start, not a result."""
    points, ups = problem.points, problem.ups
    tangents = _tangents(points, problem.closed)
    square = ups - np.sum(ups * tangents, axis=1)[:, None] * tangents
    square /= np.linalg.norm(square, axis=1)[:, None]
    lefts = np.cross(square, tangents)
    frames = np.stack((tangents, lefts, square), axis=2)
    # chords made arcs: half the turn between neighbours over its sine
    chord = np.linalg.norm(np.diff(points, axis=0), axis=1)
    half = 0.5 * np.arccos(np.clip(np.sum(tangents[1:] * tangents[:-1], axis=1), -1.0, 1.0))
    chord = chord * np.where(half > 1e-6, half / np.maximum(np.sin(half), 1e-9), 1.0)
    stations = np.concatenate(((0.0,), np.cumsum(chord)))
    relative = np.swapaxes(frames[:-1], 1, 2) @ frames[1:]
    spin = 0.5 * np.stack(
        (
            relative[:, 2, 1] - relative[:, 1, 2],
            relative[:, 0, 2] - relative[:, 2, 0],
            relative[:, 1, 0] - relative[:, 0, 1],
        ),
        axis=1,
    )
    size = np.linalg.norm(spin, axis=1)
    trace = np.clip(0.5 * (np.trace(relative, axis1=1, axis2=2) - 1.0), -1.0, 1.0)
    angle = np.arctan2(size, trace)
    rate = spin * np.where(size > 1e-9, angle / np.maximum(size, 1e-12), 1.0)[:, None]
    rate = rate / chord[:, None]
    count = min(len(points) - 1, most_stretches)
    knots_at = np.unique(np.round(np.linspace(0, len(points) - 1, count + 1)).astype(np.int64))
    middle = 0.5 * (stations[1:] + stations[:-1])
    knots = stations[knots_at]
    return _State(
        stations=stations,
        knots_at=knots_at,
        easy=np.interp(knots, middle, rate[:, 2]),
        hard=-np.interp(knots, middle, rate[:, 1]),
        twist=np.interp(0.5 * (knots[1:] + knots[:-1]), middle, rate[:, 0]),
        start=points[0].copy(),
        frame=frames[0].copy(),
    )


def _walk(problem: _Problem, state: _State) -> tuple[Walk, NDArray[np.int64]]:
    """Walk the state on a grid that holds every point; returns where the points are in it."""
    grid, at = _grid(state)
    knots = state.knots
    span = np.clip(
        np.searchsorted(knots, 0.5 * (grid[1:] + grid[:-1]), side="right") - 1, 0, len(knots) - 2
    )
    curvatures = NodeCurvatures(
        np.interp(grid, knots, state.easy), np.interp(grid, knots, state.hard), state.twist[span]
    )
    return walk_frames(grid, curvatures, state.start, state.frame), at


def _grid(state: _State) -> tuple[Floats, NDArray[np.int64]]:
    stations = state.stations
    steepest = np.interp(stations, state.knots, np.hypot(state.easy, state.hard))
    twist = float(np.abs(state.twist).max())
    turn = np.diff(stations) * (np.maximum(steepest[1:], steepest[:-1]) + twist)
    counts = np.clip(np.ceil(turn / _STEP_TURN_RAD), 3, 24).astype(np.int64)
    owner = np.repeat(np.arange(len(counts)), counts)
    within = np.arange(len(owner)) - np.repeat(np.cumsum(counts) - counts, counts)
    step = np.diff(stations) / counts
    grid = np.append(stations[owner] + within * step[owner], stations[-1])
    return grid, np.concatenate(((0,), np.cumsum(counts)))


def _misses(problem: _Problem, walk: Walk, at: NDArray[np.int64]) -> tuple[Floats, Floats, Floats]:
    """Distances square to the walk (n,) mm, angles of normals about it (rad), lags along it."""
    gap = problem.points - walk.points[at]
    frames = walk.frames[at]
    lag = np.sum(gap * frames[:, :, 0], axis=1)
    miss = np.linalg.norm(gap - lag[:, None] * frames[:, :, 0], axis=1)
    lean = np.arctan2(
        np.sum(problem.ups * frames[:, :, 1], axis=1), np.sum(problem.ups * frames[:, :, 2], axis=1)
    )
    return miss, np.abs(lean), lag


def _excess(problem: _Problem, state: _State) -> float:
    """How much of the tolerance a state uses up: it fits up to 1."""
    miss, lean, _ = _misses(problem, *_walk(problem, state))
    return max(
        math.sqrt(float(np.mean(miss**2))) / (TYPICAL_SHARE * problem.tolerance),
        float(miss.max()) / (WORST_SHARE * problem.tolerance),
        math.sqrt(float(np.mean(lean**2))) / (TYPICAL_SHARE * problem.normal_tolerance),
        float(lean.max()) / (WORST_SHARE * problem.normal_tolerance),
    )


def _fits(problem: _Problem, state: _State) -> bool:
    return _excess(problem, state) <= 1.0


# --- fitting ------------------------------------------------------------------------------------


def _smoothest(problem: _Problem) -> _State:
    """Find the least varying state within the tolerances, without curvatures not needed."""
    used = _ALL
    for most_stretches in MOST_STRETCHES:
        state, weight = _heaviest(problem, _first_state(problem, most_stretches), used)
        if _fits(problem, state) or len(problem.points) - 1 <= most_stretches:
            break
    if not _fits(problem, state):
        miss, lean, _ = _misses(problem, *_walk(problem, state))
        share = np.maximum(miss / problem.tolerance, lean / problem.normal_tolerance)
        worst = int(np.argmax(share))
        raise ValueError(
            f"no smooth line passes point {worst}: it misses by {miss[worst]:.2f} mm and "
            f"{math.degrees(lean[worst]):.1f} degrees where {problem.tolerance:.2f} mm and "
            f"{math.degrees(problem.normal_tolerance):.1f} degrees are measured; measure it again, "
            "part the path at its sharp corners, or give more points"
        )
    # what the measurements do not need: hard first, it decides whether a blank is straight
    for channel in (1, 0, 2):
        fewer = (
            used[0] and channel != 0,
            used[1] and channel != 1,
            used[2] and channel != 2,
        )
        trial = _settled(problem, _without(state, fewer), weight, fewer)
        if _fits(problem, trial):
            used = fewer
            state, weight = _heaviest(problem, trial, used)
    return state


def _heaviest(
    problem: _Problem, rough: _State, used: tuple[bool, bool, bool]
) -> tuple[_State, float]:
    """Lower the weight of variation, from constant curvatures down, until the state fits.

    Returns the state of the lowest weight when none fits.
    """
    constant = _settled(problem, _averaged(rough), math.inf, used)
    if len(rough.easy) == 2 or _fits(problem, constant):
        return constant, math.inf
    weights = _WEIGHTS[::-1].tolist()
    state, best_weight, failed = rough, weights[-1], math.inf
    # from the last state first; from the rough curvatures only where that leads nowhere
    for again in (False, True):
        state, failed = rough, math.inf
        for best_weight in weights:
            state = _settled(problem, rough if again else state, best_weight, used)
            if _fits(problem, state):
                break
            failed = best_weight
        else:
            continue
        break
    if math.isfinite(failed) and failed > best_weight:
        for _ in range(2):
            between = math.sqrt(best_weight * failed)
            trial = _settled(problem, state, between, used)
            if _fits(problem, trial):
                state, best_weight = trial, between
            else:
                failed = between
    return state, best_weight


def _without(state: _State, used: tuple[bool, bool, bool]) -> _State:
    return replace(
        state,
        easy=state.easy if used[0] else np.zeros_like(state.easy),
        hard=state.hard if used[1] else np.zeros_like(state.hard),
        twist=state.twist if used[2] else np.zeros_like(state.twist),
    )


def _averaged(state: _State) -> _State:
    """One stretch from end to end with the mean curvatures."""
    ends = np.array((0, len(state.stations) - 1))
    width = np.diff(state.knots)
    total = float(width.sum())
    easy = float(0.5 * (state.easy[1:] + state.easy[:-1]) @ width) / total
    hard = float(0.5 * (state.hard[1:] + state.hard[:-1]) @ width) / total
    twist = float(state.twist @ width) / total
    return replace(
        state,
        knots_at=ends,
        easy=np.full(2, easy),
        hard=np.full(2, hard),
        twist=np.full(1, twist),
    )


#: Most Gauss-Newton steps for one weight, and the step (share of the tolerance) that ends them.
_STEPS = 12
_STEP_DONE = 1e-3

#: Ridge of the normal equations, whose columns have length 1: above rounding, below any signal.
_RIDGE = 1e-11


def _settled(
    problem: _Problem, state: _State, weight: float, used: tuple[bool, bool, bool]
) -> _State:
    """Gauss-Newton for one weight, with step halving; infinite weight means constant curvature."""
    cost = _cost(problem, state, weight)
    for _ in range(_STEPS):
        change, basis = _step(problem, state, weight, used)
        share = 1.0
        while True:
            trial = _moved(problem, state, share * change, basis)
            trial_cost = _cost(problem, trial, weight)
            if trial_cost <= cost or share < 0.05:
                break
            share *= 0.5
        if not trial_cost <= cost:
            return state
        settled = cost - trial_cost <= _STEP_DONE * (trial_cost + 1e-6 * len(problem.points))
        state, cost = trial, trial_cost
        if settled:
            return state
    return state


def _cost(problem: _Problem, state: _State, weight: float) -> float:
    walk, at = _walk(problem, state)
    residual = _residuals(problem, walk, at)
    rows = _variation_rows(state, weight, problem.closed)
    bent = np.concatenate((state.easy, state.hard, state.twist))
    return float(residual @ residual) + float(np.sum((rows @ bent) ** 2))


#: Weight of the closure of a loop against the misses of its points.
_CLOSURE = 10.0


def _residuals(problem: _Problem, walk: Walk, at: NDArray[np.int64]) -> Floats:
    """Misses in tolerances: positions (3 n), normals (3 n), then the closure of a loop (9)."""
    position = (walk.points[at] - problem.points) / problem.tolerance
    normal = (walk.frames[at][:, :, 2] - problem.ups) / problem.normal_tolerance
    parts = [position.ravel(), normal.ravel()]
    if problem.closed:
        gap = walk.points[-1] - walk.points[0]
        parts.append(_CLOSURE * gap / problem.tolerance)
        turn = walk.frames[-1] - walk.frames[0]
        parts.append(_CLOSURE * turn[:, 0] / problem.normal_tolerance)
        parts.append(_CLOSURE * turn[:, 2] / problem.normal_tolerance)
    return np.concatenate(parts)


def _variation_rows(state: _State, weight: float, closed: bool) -> Floats:
    """Rows whose squares sum to weight L^3 integral (d curvature / ds)^2 ds for each curvature."""
    knots, count = state.knots, len(state.easy)
    length = float(knots[-1])
    size = 2 * count + len(state.twist)
    if count == 2 or math.isinf(weight):
        return np.zeros((0, size))
    width = np.diff(knots)
    scale = math.sqrt(weight * length**3)
    rows: list[Floats] = []
    for first in (0, count):
        block = np.zeros((count - 1, size))
        line = np.arange(count - 1)
        block[line, first + line + 1] = scale / np.sqrt(width)
        block[line, first + line] = -scale / np.sqrt(width)
        rows.append(block)
        if closed:
            # the end runs on into the start: they share one curvature
            tie = np.zeros((1, size))
            tie[0, first + count - 1] = scale / math.sqrt(float(width.min()))
            tie[0, first] = -tie[0, first + count - 1]
            rows.append(10.0 * tie)
    middle = 0.5 * (width[1:] + width[:-1])
    block = np.zeros((count - 2, size))
    line = np.arange(count - 2)
    block[line, 2 * count + line + 1] = scale / np.sqrt(middle)
    block[line, 2 * count + line] = -scale / np.sqrt(middle)
    rows.append(block)
    return np.concatenate(rows)


def _step(
    problem: _Problem, state: _State, weight: float, used: tuple[bool, bool, bool]
) -> tuple[Floats, Floats]:
    """Least-squares change of (start 3, turn 3, free curvatures), and the basis of the latter."""
    walk, at = _walk(problem, state)
    residual = _residuals(problem, walk, at)
    basis = _basis(state, used, math.isinf(weight) or len(state.easy) == 2)
    slope = _sensitivity(problem, state, walk, at, basis)
    rows = _variation_rows(state, weight, problem.closed)
    bent = np.concatenate((state.easy, state.hard, state.twist))
    left = np.zeros((len(residual) + len(rows), slope.shape[1]))
    left[: len(residual)] = slope
    left[len(residual) :, 6:] = rows @ basis
    right = -np.concatenate((residual, rows @ bent))
    # columns of one size, so that the ridge holds each of them alike; a ridge only shortens steps
    size = np.linalg.norm(left, axis=0)
    size[size == 0.0] = 1.0
    left /= size
    square = left.T @ left
    square[np.diag_indices_from(square)] += _RIDGE
    change: Floats = np.linalg.solve(square, left.T @ right) / size
    return change, basis


def _basis(state: _State, used: tuple[bool, bool, bool], constant: bool) -> Floats:
    """Columns of free curvatures: one a knot, or one a kind when they are constant."""
    counts = (len(state.easy), len(state.hard), len(state.twist))
    blocks: list[Floats] = []
    first = 0
    for count, wanted in zip(counts, used, strict=True):
        if wanted:
            block = np.zeros((sum(counts), 1 if constant else count))
            block[first : first + count] = 1.0 if constant else np.eye(count)
            blocks.append(block)
        first += count
    return np.concatenate(blocks, axis=1) if blocks else np.zeros((sum(counts), 0))


def _moved(problem: _Problem, state: _State, change: Floats, basis: Floats) -> _State:
    """Take the step, then move the stations to the feet of the points."""
    count = len(state.easy)
    bent = np.concatenate((state.easy, state.hard, state.twist)) + basis @ change[6:]
    moved = replace(
        state,
        easy=bent[:count],
        hard=bent[count : 2 * count],
        twist=bent[2 * count :],
        start=state.start + change[:3],
        frame=rotations(change[None, 3:6])[0] @ state.frame,
    )
    walk, at = _walk(problem, moved)
    _, _, lag = _misses(problem, walk, at)
    lag = lag - lag[0]
    step = np.diff(moved.stations) + np.diff(lag)
    step = np.maximum(step, 0.25 * np.diff(moved.stations))
    return replace(moved, stations=np.concatenate(((0.0,), np.cumsum(step))))


def _sensitivity(
    problem: _Problem, state: _State, walk: Walk, at: NDArray[np.int64], basis: Floats
) -> Floats:
    """Change of the residuals by start (3), turn (3) and the free curvatures.

    A curvature added over ds at u turns everything beyond about root(u): easy about up, hard about
    minus left, twist about the tangent.
    """
    points, frames = walk.points, walk.frames
    grid, _ = _grid(state)
    hats = _hats(state, grid)
    tangent, left, up = frames[:, :, 0], frames[:, :, 1], frames[:, :, 2]
    count = len(state.easy)
    spin = np.empty((len(grid), basis.shape[1], 3))
    # each free curvature is a mixture of hats; its direction of turn follows from its kind
    spin[:] = (hats[:, :count] @ basis[:count])[:, :, None] * up[:, None, :]
    spin -= (hats[:, count : 2 * count] @ basis[count : 2 * count])[:, :, None] * left[:, None, :]
    spin += (hats[:, 2 * count :] @ basis[2 * count :])[:, :, None] * tangent[:, None, :]
    turned = _running(spin, grid)
    carried = _running(np.cross(spin, points[:, None, :]), grid)
    here = points[at]
    by_bend = np.cross(turned[at], here[:, None, :]) - carried[at]
    n = len(at)
    extra = 9 if problem.closed else 0
    rows = np.zeros((6 * n + extra, 6 + basis.shape[1]))
    eye = np.eye(3)
    place = rows[: 3 * n].reshape(n, 3, -1)
    place[:, :, :3] = eye
    place[:, :, 3:6] = -_cross_matrix(here - state.start)
    place[:, :, 6:] = np.swapaxes(by_bend, 1, 2)
    place /= problem.tolerance
    lean = rows[3 * n : 6 * n].reshape(n, 3, -1)
    up_at = up[at]
    lean[:, :, 3:6] = -_cross_matrix(up_at)
    lean[:, :, 6:] = np.swapaxes(np.cross(turned[at], up_at[:, None, :]), 1, 2)
    lean /= problem.normal_tolerance
    if problem.closed:
        gap = rows[6 * n :]
        gap[:3, 3:6] = -_cross_matrix((here[-1] - here[0])[None, :])[0]
        gap[:3, 6:] = by_bend[-1].T
        gap[:3] *= _CLOSURE / problem.tolerance
        for first, axis in ((3, 0), (6, 2)):
            end, start = frames[-1][:, axis], frames[0][:, axis]
            gap[first : first + 3, 3:6] = -_cross_matrix((end - start)[None, :])[0]
            gap[first : first + 3, 6:] = np.cross(turned[-1], end[None, :]).T
        gap[3:] *= _CLOSURE / problem.normal_tolerance
    return rows


def _hats(state: _State, grid: Floats) -> Floats:
    """How much of each unknown acts at each node of the grid (g, 2 k + k - 1)."""
    knots, count = state.knots, len(state.easy)
    span = np.clip(np.searchsorted(knots, grid, side="right") - 1, 0, count - 2)
    share = (grid - knots[span]) / np.diff(knots)[span]
    node = np.arange(len(grid))
    hats = np.zeros((len(grid), 3 * count - 1))
    for first in (0, count):
        hats[node, first + span] = 1.0 - share
        hats[node, first + span + 1] = share
    hats[node, 2 * count + span] = 1.0
    # a node between two stretches belongs half to each
    shared = (share < 1e-12) & (span > 0)
    hats[node[shared], 2 * count + span[shared]] = 0.5
    hats[node[shared], 2 * count + span[shared] - 1] = 0.5
    return hats


def _running(values: NDArray[np.float64], grid: Floats) -> NDArray[np.float64]:
    """Integral from the first node to each node, trapezoid rule."""
    step = np.diff(grid)[:, None, None]
    total = np.zeros_like(values)
    np.cumsum(0.5 * step * (values[1:] + values[:-1]), axis=0, out=total[1:])
    return total


def _cross_matrix(vectors: Floats) -> NDArray[np.float64]:
    cross = np.zeros((len(vectors), 3, 3))
    cross[:, 0, 1], cross[:, 0, 2] = -vectors[:, 2], vectors[:, 1]
    cross[:, 1, 0], cross[:, 1, 2] = vectors[:, 2], -vectors[:, 0]
    cross[:, 2, 0], cross[:, 2, 1] = -vectors[:, 1], vectors[:, 0]
    return cross


def _line_of(state: _State, closed: bool) -> Line:
    knots = state.knots
    return Line(
        tuple(
            Stretch(
                length_mm=float(knots[i + 1] - knots[i]),
                easy_start=float(state.easy[i]),
                easy_end=float(state.easy[i + 1]),
                hard_start=float(state.hard[i]),
                hard_end=float(state.hard[i + 1]),
                twist_per_mm=float(state.twist[i]),
            )
            for i in range(len(knots) - 1)
        ),
        closed=closed,
    )
