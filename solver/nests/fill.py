"""Fill given units of stock with blanks of any outline: one by one, then ruin and return.

Blanks are laid in an order (`orders`), each where it reaches least far along the first unit that
has room. Then, step by step, a few neighbours are taken out and laid again together with what found
no place; a step stands when less is left out, or when as much is left out and the blanks moved
toward the start of their units, with some patience for the opposite. Work is counted in steps.
"""

import math
import random
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from functools import lru_cache

import numpy as np
import shapely

from solver.data.until import FOREVER, Until
from solver.nests.alone import tilts_deg
from solver.nests.boards import NOWHERE, Board, Runs, best_place, make_board, runs_of
from solver.nests.poses import Grid, Pose, grown_ring, poses
from solver.nests.shapes import Placement, Points, Ring, Shape, Stock

MOST_TILTS = 8
"""Angles offered to a blank that fits at none of the usual ones."""

RIGHT_ANGLES = np.array([0.0, 90.0, 180.0, 270.0])


@dataclass(frozen=True, eq=False)
class Piece:
    """One blank to be laid, with the poses that fit some unit."""

    shape: Shape
    poses: tuple[Pose, ...]
    runs: Runs
    area_mm2: float


@dataclass(frozen=True, slots=True)
class Laid:
    """A piece on a board, lower left corner of its cells at (column, row)."""

    board: int
    pose: Pose
    column: int
    row: int


@dataclass(eq=False)
class Filling:
    """State of the search: boards, pieces and where each piece lies, None for no place."""

    boards: list[Board]
    pieces: list[Piece]
    laid: list[Laid | None] = field(default_factory=list)

    def left_out_mm2(self) -> float:
        """Area of the pieces without a place."""
        return sum(p.area_mm2 for p, at in zip(self.pieces, self.laid, strict=True) if at is None)

    def complete(self) -> bool:
        """Whether every piece has a place."""
        return all(at is not None for at in self.laid)


def angles(shape: Shape) -> Points:
    """Return turns worth trying: quarter turns; or 24 of the long axis, tilts, the narrowest."""
    if shape.square:
        return RIGHT_ANGLES
    base, long, wide = long_axis(shape)
    steps = set(range(0, 360, 15))
    if long > 4 * wide:
        steps |= {(half + tilt) % 360 for half in (0, 180) for tilt in (-10, -5, -3, 3, 5, 10)}
    turns = [base + step for step in sorted(steps)]
    narrow = _narrowest(
        np.asarray(shapely.convex_hull(shapely.Polygon(shape.outline_mm)).exterior.coords)
    )
    turns += [narrow, narrow + 180.0]
    return np.unique(np.round(np.array(turns) % 360.0, 6))


def long_axis(shape: Shape) -> tuple[float, float, float]:
    """Turn that brings the long side of the least box around an outline along x, and its sides."""
    box = shapely.oriented_envelope(shapely.Polygon(shape.outline_mm))
    sides = np.diff(np.asarray(box.exterior.coords)[:3], axis=0)
    lengths = np.hypot(sides[:, 0], sides[:, 1])
    along = sides[int(np.argmax(lengths))]
    turn_deg = -math.degrees(math.atan2(along[1], along[0]))
    return turn_deg, float(lengths.max()), float(lengths.min())


def _narrowest(hull: Points) -> float:
    """Turn at which a convex ring is least high; some side of it then lies along x."""
    sides = np.diff(hull, axis=0)
    normals = np.column_stack((-sides[:, 1], sides[:, 0])) / np.hypot(*sides.T)[:, None]
    heights = hull @ normals.T
    k = int(np.argmin(heights.max(axis=0) - heights.min(axis=0)))
    return -math.degrees(math.atan2(sides[k, 1], sides[k, 0]))


def choose_grid(sizes_mm: Sequence[tuple[float, float]], gap_mm: float) -> Grid:
    """Cells of about 1/4 x 1/16 in for stock of these (length, width).

    Finer for small stock and coarser for huge stock, and such that little of the sizes, the gap
    added, is left beyond the last cell: a blank as wide as the stock must fit.
    """
    longs = sorted({length + gap_mm for length, _ in sizes_mm})
    highs = sorted({width + gap_mm for _, width in sizes_mm})
    dx, dy = 6.35, 1.5875
    while longs[-1] / dx < 100 and dx > 0.1:
        dx /= 2
    while highs[-1] / dy < 100 and dy > 0.1:
        dy /= 2
    while longs[-1] / dx > 4000:
        dx *= 2
    while highs[-1] / dy > 2000:
        dy *= 2
    while (longs[-1] / dx) * (highs[-1] / dy) > 2.5e6:
        dx *= 2
    return Grid(_dividing(longs, dx), _dividing(highs, dy))


def _dividing(sizes: Sequence[float], about: float) -> float:
    """Cell near `about` that leaves least of the sizes over."""

    def left_over(cell: float) -> float:
        return max(size - int(size / cell + 1e-7) * cell for size in sizes)

    tries = [about]
    for size in sizes:
        number = max(1, round(size / about))
        tries += [size / n for n in range(max(1, number - number // 8), number + number // 8 + 1)]
    return min(tries, key=lambda cell: (round(left_over(cell), 6), abs(cell - about)))


@lru_cache(maxsize=2000)
def _ways(
    outline_mm: Ring,
    square: bool,
    may_flip: bool,
    gap_mm: float,
    grid: Grid,
    limits_mm: tuple[float, float],
) -> tuple[tuple[Pose, ...], Runs]:
    """Poses of a blank, remembered: a purchase tries the same blanks on much the same stock."""
    shape = Shape("", outline_mm, square, may_flip)
    found = poses(shape, gap_mm, grid, angles(shape), limits_mm)
    if not found and not square:
        tilts = tilts_deg(grown_ring(shape, gap_mm), *limits_mm)[:MOST_TILTS]
        found = poses(shape, gap_mm, grid, np.concatenate((tilts, tilts + 180.0)), limits_mm)
    return tuple(found), runs_of(found)


def make_pieces(
    shapes: Sequence[Shape], gap_mm: float, grid: Grid, boards: Sequence[Board]
) -> list[Piece]:
    """Pieces of all blanks, with the poses that fit the longest and the widest board."""
    limits = (
        max((board.columns for board in boards), default=0) * grid.dx_mm,
        max((board.rows for board in boards), default=0) * grid.dy_mm,
    )
    result: list[Piece] = []
    for shape in shapes:
        ways = _ways(shape.outline_mm, shape.square, shape.may_flip, gap_mm, grid, limits)
        piece = Piece(shape, *ways, shapely.Polygon(shape.outline_mm).area)
        result += [piece] * shape.quantity
    return result


def make_filling(
    shapes: Sequence[Shape], units: Sequence[Stock], gap_mm: float, grid: Grid | None = None
) -> Filling:
    """A filling of empty units, on cells that suit them if none are given."""
    if grid is None:
        grid = choose_grid([(unit.length_mm, unit.width_mm) for unit in units], gap_mm)
    boards = [make_board(unit, gap_mm, grid) for unit in units]
    return Filling(boards, make_pieces(shapes, gap_mm, grid, boards))


def length_mm(shape: Shape) -> float:
    """Diagonal of the box around an outline as it is drawn."""
    return float(np.hypot(*np.ptp(np.asarray(shape.outline_mm), axis=0)))


def has_room(piece: Piece, boards: Sequence[Board]) -> bool:
    """Whether some pose of a piece is no larger than some board."""
    return any(
        pose.columns <= board.columns and pose.rows <= board.rows
        for pose in piece.poses
        for board in boards
    )


def lay(
    filling: Filling,
    order: Sequence[int],
    rng: random.Random,
    stretch: float,
    most_poses: int,
    board_order: Sequence[int],
    until: Until = FOREVER,
    inside: bool = False,
    all_or_none: bool = False,
) -> None:
    """Lay pieces in order, each on the first board that has room for it.

    `inside` only where it reaches no farther than the blanks already there. `all_or_none` stops at
    the first piece without a place.
    """
    last = [0] * len(filling.boards)
    for board in filling.boards:
        board.clear()
    for at in filling.laid:
        if at is not None:
            filling.boards[at.board].put(at.pose, at.column, at.row)
            last[at.board] = max(last[at.board], at.column + at.pose.columns)
    hopeless: set[tuple[int, int]] = set()
    for i in order:
        if until.over():
            return
        piece = filling.pieces[i]
        ways: Sequence[int] = range(len(piece.poses))
        if len(ways) > most_poses:
            ways = rng.sample(ways, most_poses)
        which = np.array(ways, dtype=np.int64)
        margin = 0 if inside else int(piece.runs.columns[which].max(initial=0)) + 1
        for b in board_order:
            if (id(piece), b) in hopeless:
                continue
            board = filling.boards[b]
            end = min(last[b] + margin, board.columns)
            k, column, row = best_place(
                board.cells, end, piece.runs, which, stretch, rng.random() < 0.5
            )
            if k != NOWHERE:
                pose = piece.poses[k]
                filling.laid[i] = Laid(b, pose, column, row)
                board.put(pose, column, row)
                last[b] = max(last[b], column + pose.columns)
                break
            if len(ways) == len(piece.poses) and not inside:
                hopeless.add((id(piece), b))
        if all_or_none and filling.laid[i] is None:
            return


def _gravity(filling: Filling) -> float:
    """How far the blanks lie from the start of the first unit, weighed by area."""
    dx = filling.boards[0].grid.dx_mm
    before = [0.0]
    for board in filling.boards:
        before.append(before[-1] + board.columns * dx)
    total = 0.0
    for piece, at in zip(filling.pieces, filling.laid, strict=True):
        if at is not None:
            total += piece.area_mm2 * (before[at.board] + (at.column + at.pose.columns) * dx)
    return total / before[-1]


def improve(filling: Filling, rng: random.Random, steps: int, until: Until = FOREVER) -> bool:
    """Ruin and return until every piece has a place or the steps are used up.

    Returns whether the search was cut short. The filling holds the best state found.
    """
    if not filling.pieces:
        return False
    total = sum(piece.area_mm2 for piece in filling.pieces)
    best = (filling.left_out_mm2(), list(filling.laid))
    current = best[0] + 0.05 * _gravity(filling)
    heat = 0.004 * total
    for step in range(steps):
        if best[0] == 0.0:
            break
        if until.over():
            filling.laid = best[1]
            return True
        before = list(filling.laid)
        left_out = [i for i, at in enumerate(filling.laid) if at is None]
        taken = _ruin(filling, rng)
        order = left_out + taken
        for i in taken:
            filling.laid[i] = None
        if rng.random() < 0.7:
            order.sort(key=lambda i: -filling.pieces[i].area_mm2 * rng.uniform(0.6, 1.0))
        else:
            rng.shuffle(order)
        boards = list(range(len(filling.boards)))
        if rng.random() < 0.3:
            rng.shuffle(boards)
        lay(filling, order, rng, rng.choice((0.3, 0.6, 1.0, 1.0)), 20, boards, until)
        left = filling.left_out_mm2()
        value = left + 0.05 * _gravity(filling)
        if value <= current + heat * (1 - step / steps) * rng.random():
            current = value
            if left < best[0]:
                best = (left, list(filling.laid))
        else:
            filling.laid = before
    filling.laid = best[1]
    return False


def _ruin(filling: Filling, rng: random.Random) -> list[int]:
    """Choose a few neighbours to take out, from one board and at times from a second one."""
    placed = [(i, at) for i, at in enumerate(filling.laid) if at is not None]
    if not placed:
        return []
    taken: list[int] = []
    for _ in range(1 if rng.random() < 0.7 else 2):
        _, centre = rng.choice(placed)
        grid = filling.boards[centre.board].grid
        x = (centre.column + centre.pose.columns / 2) * grid.dx_mm
        y = (centre.row + centre.pose.rows / 2) * grid.dy_mm
        near = sorted(
            (
                math.hypot(
                    (at.column + at.pose.columns / 2) * grid.dx_mm - x,
                    (at.row + at.pose.rows / 2) * grid.dy_mm - y,
                ),
                i,
            )
            for i, at in placed
            if at.board == centre.board
        )
        taken += [i for _, i in near[: rng.randint(1, 5)] if i not in taken]
    return taken


def placement_of(filling: Filling, index: int) -> Placement:
    """Placement of a piece that has a place, in stock coordinates, its unit that of the board."""
    at = filling.laid[index]
    assert at is not None
    board = filling.boards[at.board]
    spot = board.placement(filling.pieces[index].shape.id, at.pose, at.column, at.row)
    return replace(spot, unit=at.board)


def placements_of(filling: Filling) -> list[Placement]:
    """Placements of all pieces that have a place."""
    return [placement_of(filling, i) for i, at in enumerate(filling.laid) if at is not None]


def ends(filling: Filling) -> list[int]:
    """First column behind the last blank of each board."""
    result = [0] * len(filling.boards)
    for at in filling.laid:
        if at is not None:
            result[at.board] = max(result[at.board], at.column + at.pose.columns)
    return result
