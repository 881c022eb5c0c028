"""May a set of mold surface be pulled off along one straight line?  Exact for any direction.

A unit pull p releases a cone of normals (axis g, half-angle a) when p . g >= sin(draft + a), with
draft + a <= 90 degrees; it keeps clear of a joint facing m when p . m <= sin(blocking); it keeps
away from a wall w when p . w <= 0.

Method [derived]: the shortest p with G p >= h (least-distance programming by one non-negative
least squares problem: Lawson & Hanson, Solving Least Squares Problems, ch. 23).  With h > 0 a
solution of length <= 1 scales to a unit pull; otherwise the support of the dual, at most 4 rows
(Caratheodory; Helly in R^3), is a conflict by itself.  The widest least draft is the fixed point
of "solve at this draft, measure the draft reached": each round can only gain, and with plain
normals the second round already is the nearest point of their convex hull.

Where h is not positive (no draft; leaning into a neighbour by less than the blocking angle)
scaling is not allowed.  There the caps of allowed pulls on the unit sphere are intersected
directly: if any pull is allowed, one lies where two cap borders cross, or on a border that no
other crosses.  The same crossings, taken over all patches of a body, give `direction_table`: a
finite list of pulls that is exact for every set of patches, so that a section releases if and
only if the table has a row in common for all its patches.

Conflicts are trimmed until no row can be dropped.  All vectors are unit, shapes (rows, 3).
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import nnls

from solver.models.split_problem import SplitPatch, SplitProblem, Vector

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]

# Slack on p . g >= h: facings computed in double precision from degrees are good to 1e-15, and
# walls standing at exactly the draft angle must count as releasing.
RELEASE_SLACK = 1e-9
# Below this h the scaling argument of the least-distance method loses its digits.
SMALLEST_SCALABLE_H = 1e-4
_DRAFT_ROUNDS = 60
_PARALLEL = 1e-12
_TANGENT = 1e-9
_CROSSINGS_PER_BATCH = 20_000


@dataclass(frozen=True)
class Release:
    """A pull that works, the least draft over all normals along it, and the rows that bind."""

    pull: Vector
    draft_deg: float
    binding: tuple[int, ...]


@dataclass(frozen=True)
class Conflict:
    """Rows no single pull can satisfy together; dropping any one of them leaves a pull.

    Rows count normals first, then joint facings, then walls.  With a list of allowed pulls the
    list itself is always part of the conflict and the rows may be more than 4.
    """

    rows: tuple[int, ...]


@dataclass(frozen=True)
class _Rows:
    """G p >= h, with the offset below which scaling p up may break a row."""

    g: Array
    h: Array

    def take(self, rows: Sequence[int]) -> _Rows:
        index = np.asarray(rows, dtype=np.intp)
        return _Rows(self.g[index], self.h[index])


def release(
    axes: Array,
    half_angles_deg: Array,
    draft_deg: float,
    *,
    joints: Array | None = None,
    walls: Array | None = None,
    pulls: Sequence[Vector] | None = None,
    blocking_deg: float = 0.5,
) -> Release | Conflict:
    """Find the pull with the widest least draft, or at most 4 rows that leave none.

    ``axes`` (n, 3) with ``half_angles_deg`` (n,) are cones of outward normals, ``joints`` (m, 3)
    facings toward sections that are still there, ``walls`` (w, 3) directions pulls must not
    enter, ``pulls`` the only directions allowed.  With joints the widest pull that does not lean
    into any neighbour at all is preferred to one that leans within ``blocking_deg``, unless the
    widest pull of all is already clear.
    """
    axes = np.asarray(axes, dtype=float).reshape(-1, 3)
    half_angles = np.asarray(half_angles_deg, dtype=float).reshape(-1)
    joint_rows = _as_rows(joints)
    wall_rows = _as_rows(walls)
    steep = np.nonzero(draft_deg + half_angles > 90.0 + 1e-9)[0]
    if steep.size:
        return Conflict((int(steep[0]),))
    lean = math.sin(math.radians(blocking_deg))
    n, m = len(axes), len(joint_rows)
    h = np.sin(np.radians(np.minimum(draft_deg + half_angles, 90.0)))
    g = np.vstack([axes, -joint_rows, -wall_rows])
    exact = _Rows(g, np.concatenate([h, np.full(m, -lean), np.zeros(len(wall_rows))]))

    def finish(pull: Array) -> Release:
        return _describe(pull, exact, axes, half_angles)

    if pulls is not None:
        return _among_pulls(np.asarray(pulls, dtype=float), exact, axes, half_angles)
    if n == 0 or h.min() < SMALLEST_SCALABLE_H:
        return _by_crossings(exact, finish)

    free = [i for i in range(len(g)) if not n <= i < n + m]
    widest = _widest(exact.take(free), n, half_angles, draft_deg)
    if isinstance(widest, tuple):
        return Conflict(_trim([free[i] for i in widest], exact, _scalable_conflict))
    if m == 0 or float((joint_rows @ widest).max()) <= lean:
        return finish(widest)
    clear = _Rows(g, np.concatenate([h, np.zeros(m + len(wall_rows))]))
    pull = _widest(clear, n, half_angles, draft_deg)
    if not isinstance(pull, tuple):
        return finish(pull)
    relaxed = _shortest(exact)
    if isinstance(relaxed, tuple):
        return Conflict(_trim(list(relaxed), exact, _scalable_conflict))
    return _by_crossings(exact, finish)


def _as_rows(vectors: Array | None) -> Array:
    if vectors is None:
        return np.zeros((0, 3))
    return np.asarray(vectors, dtype=float).reshape(-1, 3)


def _describe(pull: Array, rows: _Rows, axes: Array, half_angles: Array) -> Release:
    pull = pull / np.linalg.norm(pull)
    drafts = np.degrees(np.arcsin(np.clip(axes @ pull, -1.0, 1.0))) - half_angles
    draft = float(drafts.min()) if len(drafts) else 90.0
    tight = [int(i) for i in np.nonzero(drafts <= draft + 1e-6)[0]]
    slack = rows.g @ pull - rows.h
    tight += [int(i) for i in np.nonzero(slack <= 1e-7)[0] if i >= len(axes)]
    return Release((float(pull[0]), float(pull[1]), float(pull[2])), draft, tuple(tight))


def _shortest(rows: _Rows) -> Array | tuple[int, ...]:
    """Shortest p with G p >= h as a unit vector, or the dual's support if its length exceeds 1."""
    if not len(rows.g):
        return np.array([0.0, 0.0, 1.0])
    system = np.vstack([rows.g.T, rows.h[None, :]])
    target = np.array([0.0, 0.0, 0.0, 1.0])
    weights, _ = nnls(system, target)
    residual = system @ weights - target
    support = tuple(int(i) for i in np.nonzero(weights > 0.0)[0])
    if -residual[3] <= 1e-12:
        return support
    pull: Array = residual[:3] / -residual[3]
    length = float(np.linalg.norm(pull))
    if length < 1e-12:
        return support if support else np.array([0.0, 0.0, 1.0])
    unit: Array = pull / length
    # The slack belongs to the rows as stated, at unit length; a shorter p still satisfies the
    # relaxed rows of the unit ball, which is all that the joint rows' relaxation needs.
    if length <= 1.0 or float((rows.g @ unit - rows.h).min()) >= -RELEASE_SLACK:
        return unit
    return support


def _widest(
    rows: _Rows, cones: int, half_angles: Array, draft_deg: float
) -> Array | tuple[int, ...]:
    """Pull of widest least draft for rows that may be scaled (h >= 0), or a conflict."""
    pull = _shortest(rows)
    if isinstance(pull, tuple):
        return pull
    best = draft_deg
    for _ in range(_DRAFT_ROUNDS):
        reached = float(
            (np.degrees(np.arcsin(np.clip(rows.g[:cones] @ pull, -1, 1))) - half_angles).min()
        )
        if reached <= best + 1e-10:
            break
        best = reached
        h = rows.h.copy()
        h[:cones] = np.sin(np.radians(np.minimum(best + half_angles, 90.0)))
        better = _shortest(_Rows(rows.g, h))
        if isinstance(better, tuple):
            break
        pull = better
    return pull


def _scalable_conflict(rows: _Rows) -> bool:
    return isinstance(_shortest(rows), tuple)


def _trim(members: list[int], rows: _Rows, conflict: Callable[[_Rows], bool]) -> tuple[int, ...]:
    """Drop rows one at a time as long as those left are a conflict still."""
    kept = sorted(members)
    if len(kept) < len(rows.g) and not conflict(rows.take(kept)):
        kept = list(range(len(rows.g)))
    for member in list(kept):
        fewer = [i for i in kept if i != member]
        if fewer and conflict(rows.take(fewer)):
            kept = fewer
    return tuple(kept)


def cap_crossings(g: Array, h: Array) -> Array:
    """Cross the borders p . g = h of spherical caps: unit vectors there, and one on each border.

    ``g`` (n, 3) unit, ``h`` (n,) within [-1, 1].  If the caps p . g >= h have any point in
    common, one of those returned is common to all.  Borders that only touch are met by their
    point of tangency.  Axes are added: they are the roundest pulls of single patches.
    """
    caps: Array = np.unique(np.round(np.column_stack([g, h]), 13), axis=0)
    g, h = caps[:, :3], caps[:, 3]
    found = [g]
    side = np.where(np.abs(g[:, :1]) < 0.9, [[1.0, 0.0, 0.0]], [[0.0, 1.0, 0.0]])
    across = np.cross(g, side)
    across /= np.linalg.norm(across, axis=1, keepdims=True)
    found.append(g * h[:, None] + across * np.sqrt(np.clip(1.0 - h * h, 0.0, None))[:, None])
    first, second = np.triu_indices(len(g), 1)
    cosine = np.einsum("ij,ij->i", g[first], g[second])
    sine2 = 1.0 - cosine * cosine
    usable = sine2 > _PARALLEL
    first, second, cosine, sine2 = first[usable], second[usable], cosine[usable], sine2[usable]
    alpha = (h[first] - cosine * h[second]) / sine2
    beta = (h[second] - cosine * h[first]) / sine2
    middle = alpha[:, None] * g[first] + beta[:, None] * g[second]
    rest = (1.0 - np.einsum("ij,ij->i", middle, middle)) / sine2
    touching = np.abs(rest) < _TANGENT
    if touching.any():
        points = middle[touching]
        found.append(points / np.linalg.norm(points, axis=1, keepdims=True))
    crossing = rest > 0.0
    out = np.cross(g[first[crossing]], g[second[crossing]])
    out *= np.sqrt(rest[crossing])[:, None]
    found += [middle[crossing] + out, middle[crossing] - out]
    return np.vstack(found)


def _by_crossings(rows: _Rows, finish: Callable[[Array], Release]) -> Release | Conflict:
    """Exact search without scaling, over the crossings that satisfy all rows.

    Crossings lie on borders; the middle of those found is taken when it is farther inside.
    """
    if not len(rows.g):
        return finish(np.array([0.0, 0.0, 1.0]))
    points = _common(rows)
    if len(points):
        middle = points.mean(axis=0)
        length = float(np.linalg.norm(middle))
        if length > 0.1:
            points = np.vstack([points, middle / length])
        slack = (points @ rows.g.T - rows.h).min(axis=1)
        return finish(points[int(np.argmax(slack))])
    return Conflict(_trim(list(range(len(rows.g))), rows, lambda few: not len(_common(few))))


def _common(rows: _Rows) -> Array:
    points = cap_crossings(rows.g, rows.h)
    good = (points @ rows.g.T - rows.h).min(axis=1) >= -RELEASE_SLACK
    common: Array = points[good]
    return common


def _among_pulls(pulls: Array, rows: _Rows, axes: Array, half_angles: Array) -> Release | Conflict:
    holds = pulls @ rows.g.T >= rows.h - RELEASE_SLACK
    good = np.nonzero(holds.all(axis=1))[0]
    if good.size:
        if len(axes):
            sines = np.clip(pulls[good] @ axes.T, -1, 1)
            draft = (np.degrees(np.arcsin(sines)) - half_angles).min(axis=1)
            return _describe(pulls[good[int(np.argmax(draft))]], rows, axes, half_angles)
        return _describe(pulls[good[0]], rows, axes, half_angles)
    kept: list[int] = []
    open_pulls = np.ones(len(pulls), dtype=bool)
    while open_pulls.any():
        row = int(np.argmax((~holds[open_pulls]).sum(axis=0)))
        kept.append(row)
        open_pulls &= holds[:, row]
    for member in list(kept):
        fewer = [i for i in kept if i != member]
        if fewer and not holds[:, fewer].all(axis=1).any():
            kept = fewer
    return Conflict(tuple(sorted(kept)))


def widest_draft_deg(axes: Array, half_angles_deg: Array) -> float:
    """Widest least draft over all pulls in degrees; negative where every pull is undercut."""
    low, high = -90.0 - float(np.max(half_angles_deg)), 90.0
    for _ in range(50):
        middle = 0.5 * (low + high)
        if isinstance(release(axes, half_angles_deg, middle), Release):
            low = middle
        else:
            high = middle
    return low


def patch_rows(patches: Sequence[SplitPatch]) -> tuple[Array, Array, NDArray[np.intp]]:
    """Axes (n, 3), half-angles (n,) and owner (n,) of all cones of these patches."""
    axes = np.array([f for patch in patches for f in patch.facings], dtype=float).reshape(-1, 3)
    half = np.array([patch.spread_deg for patch in patches for _ in patch.facings], dtype=float)
    owner = np.array([i for i, p in enumerate(patches) for _ in p.facings], dtype=np.intp)
    return axes, half, owner


def release_patches(problem: SplitProblem, members: Sequence[int]) -> Release | Conflict:
    """Release of a set of patches by the problem's draft, walls and pulls.

    ``Conflict.rows`` are then *patch indices* (a wall or the pulls list takes part silently).
    """
    axes, half, owner = patch_rows([problem.patches[i] for i in members])
    answer = release(
        axes,
        half,
        problem.draft_deg,
        walls=np.array(problem.pull_walls, dtype=float).reshape(-1, 3),
        pulls=problem.pulls,
    )
    if isinstance(answer, Release):
        return answer
    rows = {members[int(owner[i])] for i in answer.rows if i < len(owner)}
    return Conflict(tuple(sorted(rows)))


@dataclass(frozen=True)
class DirectionTable:
    """A finite list of pulls that is exact for a body.

    ``legal[d, i]``: pull d releases patch i.  A set of patches releases if and only if some row is
    True for all of them.  Rows are maximal: none is contained in another.
    """

    directions: Array
    legal: Flags

    def releases(self, members: Sequence[int]) -> bool:
        """Exact answer for a set of patch indices."""
        return bool(self.legal[:, list(members)].all(axis=1).any())


def direction_table(problem: SplitProblem) -> DirectionTable:
    """All maximal sets of patches with a common pull, each with one such pull.

    The arrangement of the caps on the sphere has O(rows^2) crossings; only those whose set of
    released patches is contained in no other are kept (some hundreds for 160 patches).
    """
    axes, half, owner = patch_rows(problem.patches)
    count = len(problem.patches)
    angles = problem.draft_deg + half
    possible = angles <= 90.0 + 1e-9
    h = np.sin(np.radians(np.minimum(angles, 90.0)))
    walls = np.array(problem.pull_walls, dtype=float).reshape(-1, 3)
    if problem.pulls is not None:
        points = np.array(problem.pulls, dtype=float)
    else:
        g = np.vstack([axes[possible], -walls])
        points = np.array([[0.0, 0.0, 1.0]])
        if len(g):
            points = cap_crossings(g, np.concatenate([h[possible], np.zeros(len(walls))]))
    if len(walls):
        points = points[(points @ walls.T).max(axis=1) <= RELEASE_SLACK]
    faced = np.unique(owner)
    starts = np.searchsorted(owner, faced)
    kept_masks: list[NDArray[np.uint8]] = []
    kept_points: list[Array] = []
    for low in range(0, len(points), _CROSSINGS_PER_BATCH):
        batch = points[low : low + _CROSSINGS_PER_BATCH]
        holds = (batch @ axes.T >= h - RELEASE_SLACK) & possible
        good = np.ones((len(batch), count), dtype=bool)
        if len(owner):
            good[:, faced] = np.logical_and.reduceat(holds, starts, axis=1)
        packed = np.packbits(good, axis=1)
        masks, index = np.unique(packed, axis=0, return_index=True)
        kept_masks.append(masks)
        kept_points.append(batch[index])
    if not kept_masks:
        return DirectionTable(np.zeros((0, 3)), np.zeros((0, count), dtype=bool))
    masks, index = np.unique(np.vstack(kept_masks), axis=0, return_index=True)
    directions = np.vstack(kept_points)[index]
    legal = np.unpackbits(masks, axis=1, count=count).astype(bool)
    order = np.argsort(-legal.sum(axis=1), kind="stable")
    masks, legal, directions = masks[order], legal[order], directions[order]
    maximal = _maximal_rows(masks)
    return DirectionTable(directions[maximal], legal[maximal])


def _maximal_rows(masks: NDArray[np.uint8]) -> list[int]:
    """List the rows contained in no other; rows distinct, widest first."""
    kept: list[int] = []
    stack = np.zeros_like(masks)
    for i, mask in enumerate(masks):
        above = stack[: len(kept)]
        if not mask.any() or bool(((above & mask) == mask).all(axis=1).any()):
            continue
        stack[len(kept)] = mask
        kept.append(i)
    return kept
