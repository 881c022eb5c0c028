"""Fill given units of stock with blanks of any outline: greedy first, then ruin and return.

Blanks are laid one by one, largest first, where they reach least far along the first unit that has
room. Then, step by step, a few neighbours are taken out and laid again together with what found no
place; a step stands when less is left out, or when as much is left out and the blanks moved toward
the start of their units, with some patience for the opposite. Work is counted in steps.
"""

import math
import random
import time
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
import shapely

from solver.nests.boards import Board
from solver.nests.poses import Grid, Pose, poses
from solver.nests.shapes import Layout, Placement, Points, Shape, UsedUnit

RIGHT_ANGLES = np.array([0.0, 90.0, 180.0, 270.0])


@dataclass(frozen=True, eq=False)
class Piece:
    """One blank to be laid, with the poses that fit some unit."""

    shape: Shape
    poses: tuple[Pose, ...]
    area_mm2: float


@dataclass(frozen=True, slots=True)
class Laid:
    """A piece on a board, lower left corner of its cells at (column, row)."""

    board: int
    pose: Pose
    column: int
    row: int
    mask: int


@dataclass(eq=False)
class Filling:
    """State of the search: boards, pieces and where each piece lies (None where it has no place)."""

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
    """Turns worth trying: quarter turns, or 24 about the blank's long axis and small tilts of it."""
    if shape.square:
        return RIGHT_ANGLES
    box = shapely.oriented_envelope(shapely.Polygon(shape.outline_mm))
    corners = np.asarray(box.exterior.coords)
    sides = np.diff(corners[:3], axis=0)
    lengths = np.hypot(sides[:, 0], sides[:, 1])
    along = sides[int(np.argmax(lengths))]
    base = -math.degrees(math.atan2(along[1], along[0]))
    steps = set(range(0, 360, 15))
    if lengths.max() > 4 * lengths.min():
        steps |= {(half + tilt) % 360 for half in (0, 180) for tilt in (-10, -5, -3, 3, 5, 10)}
    return np.round(np.array([base + step for step in sorted(steps)]) % 360.0, 6)


def choose_grid(boards_mm: Sequence[tuple[float, float]]) -> Grid:
    """Cells of 1/4 x 1/16 in, finer for small stock and coarser for huge stock."""
    length = max(size[0] for size in boards_mm)
    width = max(size[1] for size in boards_mm)
    dx, dy = 6.35, 1.5875
    while length / dx < 100 and dx > 0.1:
        dx /= 2
    while width / dy < 100 and dy > 0.1:
        dy /= 2
    while length / dx > 4000:
        dx *= 2
    while width / dy > 2000:
        dy *= 2
    while (length / dx) * (width / dy) > 2.5e6:
        dx *= 2
    return Grid(dx, dy)


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
        ways = tuple(poses(shape, gap_mm, grid, angles(shape), limits))
        piece = Piece(shape, ways, shapely.Polygon(shape.outline_mm).area)
        result += [piece] * shape.quantity
    return result


def _best_place(
    board: Board, ways: Sequence[Pose], stretch: float, high: bool
) -> tuple[Pose, int, int] | None:
    """Pose and cell that reach least far: start of the blank plus `stretch` times its length."""
    best: tuple[Pose, int, int] | None = None
    best_score = math.inf
    stride = board.stride
    for pose in ways:
        found = board.positions(pose)
        if not found:
            continue
        first = (found & -found).bit_length() - 1
        column = first // stride
        score = column + stretch * pose.columns + 1e-3 * pose.rows
        if score < best_score:
            row = first - column * stride
            if high:
                row = ((found >> (column * stride)) & ((1 << stride) - 1)).bit_length() - 1
            best, best_score = (pose, column, row), score
    return best


def _view(filling: Filling, b: int, margin: int) -> None:
    """Set a board's map to what its pieces leave, up to `margin` columns beyond the last piece."""
    board = filling.boards[b]
    taken = 0
    last = 0
    for at in filling.laid:
        if at is not None and at.board == b:
            taken |= at.mask
            last = max(last, at.column + at.pose.columns)
    bits = board.empty & ~taken
    end = last + margin
    if end < board.columns:
        bits &= (1 << (end * board.stride)) - 1
    board.set_bits(bits)


def lay(
    filling: Filling,
    order: Sequence[int],
    rng: random.Random,
    stretch: float,
    most_poses: int,
    board_order: Sequence[int],
    deadline: float | None = None,
) -> None:
    """Lay pieces in order, each on the first board that has room for it."""
    margin = max((p.columns for i in order for p in filling.pieces[i].poses), default=1) + 1
    for b in board_order:
        _view(filling, b, margin)
    hopeless: set[tuple[int, int]] = set()
    for i in order:
        if deadline is not None and time.monotonic() > deadline:
            return
        piece = filling.pieces[i]
        ways = piece.poses
        if len(ways) > most_poses:
            ways = tuple(rng.sample(ways, most_poses))
        for b in board_order:
            if (id(piece), b) in hopeless:
                continue
            board = filling.boards[b]
            found = _best_place(board, ways, stretch, rng.random() < 0.5)
            if found is None:
                if len(ways) == len(piece.poses):
                    hopeless.add((id(piece), b))
                continue
            pose, column, row = found
            mask = board.mask(pose, column, row)
            filling.laid[i] = Laid(b, pose, column, row, mask)
            _view(filling, b, margin)
            break


def fill_greedy(
    filling: Filling, rng: random.Random, stretch: float, deadline: float | None = None
) -> None:
    """Lay all pieces anew, largest first."""
    filling.laid = [None] * len(filling.pieces)
    order = sorted(range(len(filling.pieces)), key=lambda i: (-filling.pieces[i].area_mm2, i))
    lay(filling, order, rng, stretch, 64, range(len(filling.boards)), deadline)


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


def improve(
    filling: Filling, rng: random.Random, steps: int, deadline: float | None = None
) -> bool:
    """Ruin and return until every piece has a place or the steps are used up.

    Returns whether the deadline cut the search. The filling holds the best state found.
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
        if deadline is not None and time.monotonic() > deadline:
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
        lay(filling, order, rng, rng.choice((0.3, 0.6, 1.0, 1.0)), 20, boards)
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
    """A few neighbours to take out, from one board and at times from a second one."""
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


def to_layout(filling: Filling, cut_by_deadline: bool) -> Layout:
    """Layout in stock coordinates; units without blanks are left out."""
    used = sorted({at.board for at in filling.laid if at is not None})
    number = {b: k for k, b in enumerate(used)}
    taken: dict[str, int] = {}
    units: list[UsedUnit] = []
    for b in used:
        stock = filling.boards[b].stock
        count = taken.get(stock.id, 0)
        taken[stock.id] = count + 1
        units.append(UsedUnit(stock.id, bought=count >= stock.on_hand))
    placements: list[Placement] = []
    for piece, at in zip(filling.pieces, filling.laid, strict=True):
        if at is None:
            continue
        board = filling.boards[at.board]
        placements.append(
            Placement(
                piece.shape.id,
                number[at.board],
                board.x0_mm + at.column * board.grid.dx_mm + at.pose.origin_x_mm,
                board.y0_mm + at.row * board.grid.dy_mm + at.pose.origin_y_mm,
                at.pose.turn_deg,
                at.pose.flipped,
            )
        )
    return Layout(tuple(units), tuple(placements), filling.complete(), cut_by_deadline)
