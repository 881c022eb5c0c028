"""Push a layout together: linear programmes over small shifts and turns of all blanks at once.

Within a trust region every corner near another blank keeps its distance along the line to the
nearest point there; the reach of the layout along the stock is the objective. Turns are linearised,
so a step may break the gap by a hair, which the next, shorter steps mend; only layouts measured
right are handed back.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import shapely
from scipy.optimize import linprog
from scipy.sparse import csr_matrix

from solver.data.until import FOREVER, Until
from solver.nests.shapes import Placement, Points, Shape, placed_points

FIRST_TRUST_MM = 12.0
"""Largest move of neighbours against one another in a round, and of corners by turning."""

LAST_TRUST_MM = 1.0
POLISH_MM = (0.5, 0.2, 0.05, 0.05)
"""Trust of the last rounds, which mend what the linear turns broke."""

MENDING_MM = (6.0, 3.0, 2.0, 1.0, 0.5, 0.3, 0.2, 0.1, 0.05)
"""Trust of the steps that make a layout right whose blanks overlap a little."""

MOST_BROKEN_MM = 0.5
"""A round that breaks the gap by more than this is taken back and its trust halved."""

SHIFT_PER_TRUST = 12.0
"""A blank may move so much farther than the trust, with its neighbours."""

NEIGHBOUR_MM = 120.0
"""Blanks nearer than this may not jump at one another."""

SPARE_MM = 2e-4
"""Asked beyond the gap, so that rounding and the last turns do not break it."""


@dataclass(frozen=True)
class Frame:
    """Rectangle in which the blanks of one unit lie; its far end may be pulled in."""

    low_x: float
    low_y: float
    high_x: float
    high_y: float


def compact(
    placements: Sequence[Placement],
    shapes: Sequence[Shape],
    frame: Frame,
    gap_mm: float,
    rounds: int = 12,
    until: Until = FOREVER,
) -> tuple[list[Placement], float] | None:
    """Placements pushed toward the start of one rectangular unit, and how far they reach.

    `shapes` are those of the placements, in order. None when no right layout was found that reaches
    less far. The number of rounds is fixed, so equal calls give equal layouts.
    """
    if not placements:
        return None
    free = np.array([not s.square for s in shapes])
    at = list(placements)
    state = _state(shapes, at)
    best: tuple[list[Placement], float] | None = None
    best_reach = state.reach
    trust = FIRST_TRUST_MM
    schedule: list[float | None] = [None] * rounds + list(POLISH_MM)
    for planned in schedule:
        if until.over():
            break
        if planned is None and trust < LAST_TRUST_MM:
            continue
        size = trust if planned is None else planned
        stepped = _stepped(at, shapes, state, free, frame, gap_mm, size)
        if stepped is None:
            trust /= 2
            continue
        tried_at, tried = stepped
        broken = _broken(tried, frame, gap_mm)
        if broken > MOST_BROKEN_MM:
            trust /= 2
            continue
        if state.reach - tried.reach < 0.3 * size:
            trust /= 2
        at, state = tried_at, tried
        if broken <= 0.0 and state.reach < best_reach - 1e-3:
            best, best_reach = (at, state.reach), state.reach
        if planned is not None and broken <= 0.0:
            break
    return best


def mend(
    placements: Sequence[Placement],
    shapes: Sequence[Shape],
    frame: Frame,
    gap_mm: float,
    until: Until = FOREVER,
) -> list[Placement] | None:
    """Placements a little apart or moved, so that the gap is kept and all lie in the frame.

    For layouts whose blanks overlap by a few millimetres at most; how far they reach is kept low.
    None where so many small steps do not make the layout right.
    """
    if not placements:
        return []
    free = np.array([not s.square for s in shapes])
    at = list(placements)
    state = _state(shapes, at)
    for trust in MENDING_MM:
        if _broken(state, frame, gap_mm) <= 0.0:
            return at
        if until.over():
            return None
        stepped = _stepped(at, shapes, state, free, frame, gap_mm, trust)
        if stepped is not None:
            at, state = stepped
    return at if _broken(state, frame, gap_mm) <= 0.0 else None


@dataclass(frozen=True)
class _State:
    """Outlines of one layout, and the pairs of blanks near one another with their distances."""

    rings: list[Points]
    polygons: npt.NDArray[np.object_]
    first: npt.NDArray[np.int64]
    second: npt.NDArray[np.int64]
    apart: Points

    @property
    def reach(self) -> float:
        return float(max(ring[:, 0].max() for ring in self.rings))


def _state(shapes: Sequence[Shape], placements: Sequence[Placement]) -> _State:
    rings = [placed_points(s, p) for s, p in zip(shapes, placements, strict=True)]
    polygons = np.array([shapely.Polygon(ring) for ring in rings], dtype=object)
    box = shapely.bounds(polygons)
    grown = shapely.box(
        box[:, 0] - NEIGHBOUR_MM,
        box[:, 1] - NEIGHBOUR_MM,
        box[:, 2] + NEIGHBOUR_MM,
        box[:, 3] + NEIGHBOUR_MM,
    )
    first, second = shapely.STRtree(polygons).query(grown)
    keep = first < second
    first, second = first[keep], second[keep]
    apart = np.asarray(shapely.distance(polygons[first], polygons[second]))
    near = apart <= NEIGHBOUR_MM
    return _State(rings, polygons, first[near], second[near], apart[near])


def _broken(state: _State, frame: Frame, gap_mm: float) -> float:
    """How much the gap or the frame is broken at worst, 0 for a right layout."""
    every = np.concatenate(state.rings)
    low, high = every.min(axis=0), every.max(axis=0)
    worst = max(
        0.0,
        frame.low_x - low[0],
        frame.low_y - low[1],
        high[0] - frame.high_x,
        high[1] - frame.high_y,
    )
    if len(state.apart) and state.apart.min() <= 0.0:
        return math.inf
    if len(state.apart) and state.apart.min() < gap_mm - 1e-9:
        worst = max(worst, gap_mm - float(state.apart.min()))
    return float(worst)


def _moved(p: Placement, shift: Points, turn_rad: float, centre: Points) -> Placement:
    cos, sin = math.cos(turn_rad), math.sin(turn_rad)
    x, y = p.x_mm - centre[0], p.y_mm - centre[1]
    return Placement(
        p.shape_id,
        p.unit,
        float(centre[0] + cos * x - sin * y + shift[0]),
        float(centre[1] + sin * x + cos * y + shift[1]),
        (p.turn_deg + math.degrees(turn_rad)) % 360.0 if turn_rad else p.turn_deg,
        p.flipped,
    )


def _stepped(
    at: Sequence[Placement],
    shapes: Sequence[Shape],
    state: _State,
    free: npt.NDArray[np.bool_],
    frame: Frame,
    gap_mm: float,
    trust: float,
) -> tuple[list[Placement], _State] | None:
    """Placements after one round and their state, None if its programme failed."""
    moved = _step(state, free, frame, gap_mm, trust)
    if moved is None:
        return None
    shift, turn, centres = moved
    after = [_moved(p, shift[k], float(turn[k]), centres[k]) for k, p in enumerate(at)]
    return after, _state(shapes, after)


def _step(
    state: _State,
    free: npt.NDArray[np.bool_],
    frame: Frame,
    gap_mm: float,
    trust: float,
) -> tuple[Points, Points, Points] | None:
    """Shifts (n, 2), turns (n) in radians and centres (n, 2) of one round, None if it failed."""
    rings = state.rings
    n = len(rings)
    sizes = np.array([len(ring) for ring in rings])
    owner = np.repeat(np.arange(n), sizes)
    every = np.concatenate(list(rings))
    centres = np.array([(ring.min(axis=0) + ring.max(axis=0)) / 2 for ring in rings])
    radii = np.array(
        [np.hypot(*(ring - c).T).max() for ring, c in zip(rings, centres, strict=True)]
    )
    vertex, other, normal, foot, distance = _near(state, gap_mm + 2.5 * trust)
    # unknowns: shift x (n), shift y (n), turn x radius (n), reach
    rows = len(vertex)
    a_v, a_f = owner[vertex], other
    arm_v = every[vertex] - centres[a_v]
    arm_f = foot - centres[a_f]
    spin_v = (normal[:, 1] * arm_v[:, 0] - normal[:, 0] * arm_v[:, 1]) / radii[a_v]
    spin_f = (normal[:, 1] * arm_f[:, 0] - normal[:, 0] * arm_f[:, 1]) / radii[a_f]
    r = np.arange(rows)
    row_index = [r, r, r, r, r, r]
    col_index = [a_v, n + a_v, 2 * n + a_v, a_f, n + a_f, 2 * n + a_f]
    values = [-normal[:, 0], -normal[:, 1], -spin_v, normal[:, 0], normal[:, 1], spin_f]
    right_side = [distance - (gap_mm + SPARE_MM)]
    # inside the frame: hull corners only
    hulls = [
        np.asarray(shapely.convex_hull(shapely.MultiPoint(ring)).exterior.coords)[:-1]
        for ring in rings
    ]
    corner = np.concatenate(hulls)
    mine = np.repeat(np.arange(n), [len(h) for h in hulls])
    arm = (corner - centres[mine]) / radii[mine][:, None]
    at = rows
    hair = 1e-7
    for axis, sign, limit in (
        (0, -1.0, -(frame.low_x + hair)),
        (1, -1.0, -(frame.low_y + hair)),
        (1, 1.0, frame.high_y - hair),
        (0, 1.0, None),
    ):
        value = corner[:, axis] * sign
        close = np.nonzero(
            value + (SHIFT_PER_TRUST + 1) * trust >= (value.max() if limit is None else limit)
        )[0]
        k = np.arange(at, at + len(close))
        at += len(close)
        who = mine[close]
        spin = (-arm[close, 1] if axis == 0 else arm[close, 0]) * sign
        row_index += [k, k]
        col_index += [axis * n + who, 2 * n + who]
        values += [np.full(len(close), sign), spin]
        if limit is None:
            row_index.append(k)
            col_index.append(np.full(len(close), 3 * n))
            values.append(np.full(len(close), -1.0))
            right_side.append(-value[close])
        else:
            right_side.append(limit - value[close])
    # neighbours move against one another by the trust at most, or part of what is between them
    near_a, near_b = state.first, state.second
    most = np.maximum(trust, (state.apart - gap_mm) / 3)
    for axis in (0, 1):
        for sign in (1.0, -1.0):
            k = np.arange(at, at + len(near_a))
            at += len(near_a)
            row_index += [k, k]
            col_index += [axis * n + near_a, axis * n + near_b]
            values += [np.full(len(k), sign), np.full(len(k), -sign)]
            right_side.append(most)
    matrix = csr_matrix(
        (np.concatenate(values), (np.concatenate(row_index), np.concatenate(col_index))),
        shape=(at, 3 * n + 1),
    )
    cost = np.zeros(3 * n + 1)
    cost[:n] = 0.02 / n
    cost[-1] = 1.0
    spin_limit = np.where(free, trust, 0.0)
    bound = np.concatenate((np.full(2 * n, SHIFT_PER_TRUST * trust), spin_limit, [0.0]))
    limits = np.column_stack((-bound, bound))
    limits[-1] = (frame.low_x, frame.high_x)
    solved = linprog(
        cost, A_ub=matrix, b_ub=np.concatenate(right_side), bounds=limits, method="highs-ds"
    )
    if solved.x is None:
        return None
    x = np.asarray(solved.x)
    return np.column_stack((x[:n], x[n : 2 * n])), x[2 * n : 3 * n] / radii, centres


def _near(
    state: _State, reach: float
) -> tuple[npt.NDArray[np.int64], npt.NDArray[np.int64], Points, Points, Points]:
    """Corners within reach of another blank.

    Returns corner index, the other blank, unit normal from it to the corner, its nearest point and
    the distance, negative for corners inside.
    """
    close = state.apart <= reach
    ones = np.concatenate((state.first[close], state.second[close]))
    others = np.concatenate((state.second[close], state.first[close]))
    boxes = shapely.bounds(state.polygons)
    starts = np.cumsum([0] + [len(ring) for ring in state.rings])
    found_which: list[npt.NDArray[np.int64]] = [np.zeros(0, dtype=np.int64)]
    found_other: list[npt.NDArray[np.int64]] = [np.zeros(0, dtype=np.int64)]
    for a, b in zip(ones.tolist(), others.tolist(), strict=True):
        ring, box = state.rings[a], boxes[b]
        inside = (ring >= box[:2] - reach).all(axis=1) & (ring <= box[2:] + reach).all(axis=1)
        index = np.nonzero(inside)[0]
        found_which.append(index + starts[a])
        found_other.append(np.full(len(index), b))
    which, other = np.concatenate(found_which), np.concatenate(found_other)
    points = shapely.points(np.concatenate(state.rings))
    outlines = shapely.boundary(state.polygons)
    shapely.prepare(outlines)
    kept = shapely.dwithin(outlines[other], points[which], reach)
    which, other = which[kept], other[kept]
    lines = shapely.shortest_line(outlines[other], points[which])
    ends = shapely.get_coordinates(lines).reshape(-1, 2, 2)
    foot, corner = ends[:, 0], ends[:, 1]
    gap = corner - foot
    distance = np.hypot(gap[:, 0], gap[:, 1])
    solid = distance > 1e-9
    which, other, foot, distance = which[solid], other[solid], foot[solid], distance[solid]
    normal = gap[solid] / distance[:, None]
    if len(state.apart) and state.apart.min() <= 0.0:  # a corner inside is to come out
        at = corner[solid]
        sunk = shapely.contains_xy(state.polygons[other], at[:, 0], at[:, 1])
        distance = np.where(sunk, -distance, distance)
        normal = np.where(sunk[:, None], -normal, normal)
    return which, other, normal, foot, distance
