"""Make room on given units: push each layout together, lay what was left out, ruin and return.

Works on rectangular units from a filling that left something out. A step takes a few neighbours
out of one unit, lays them and what is left out anew on the bitmaps of all units, and stands when no
more area is left out than before; the unit is then pushed together so that what is free gathers at
its end.
"""

import random
from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np
import shapely

from solver.data.until import FOREVER, Until
from solver.nests.boards import Board, covered_cells
from solver.nests.compaction import Frame, compact
from solver.nests.fill import Filling, Piece, best_place, placement_of
from solver.nests.poses import Pose, grown_ring
from solver.nests.shapes import Placement, Points, placed_points, turned_points, usable_region

Spots = list[Placement | None]
ROUNDS = 6
MOST_POSES = 24


@dataclass(eq=False)
class _Yard:
    pieces: Sequence[Piece]
    boards: Sequence[Board]
    frames: Sequence[Frame]
    rings: Sequence[Points]
    gap_mm: float
    rng: random.Random
    until: Until
    known: dict[tuple[int, Placement], int] = field(default_factory=dict)

    def late(self) -> bool:
        return self.until.over()

    def left_out(self, spots: Spots) -> float:
        return sum(p.area_mm2 for p, at in zip(self.pieces, spots, strict=True) if at is None)

    def free_cells(self, spots: Spots, unit: int) -> int:
        board = self.boards[unit]
        taken = 0
        for i, at in enumerate(spots):
            if at is None or at.unit != unit:
                continue
            cells = self.known.get((i, at))
            if cells is None:
                ring = tuple(map(tuple, self.rings[i].tolist()))
                turned = turned_points(ring, at.turn_deg, at.flipped)
                cells = covered_cells(board, turned + np.array((at.x_mm, at.y_mm)))
                self.known[(i, at)] = cells
            taken |= cells
        return board.empty & ~taken


def press(
    filling: Filling,
    gap_mm: float,
    rng: random.Random,
    steps: int,
    until: Until = FOREVER,
) -> tuple[list[Placement], bool]:
    """Placements after so many steps, fewer when nothing is left out; and whether time ran out."""
    spots: Spots = [
        None if at is None else placement_of(filling, i) for i, at in enumerate(filling.laid)
    ]
    frames = [
        Frame(*shapely.bounds(usable_region(board.stock)).tolist()) for board in filling.boards
    ]
    rings = [grown_ring(piece.shape, gap_mm) for piece in filling.pieces]
    yard = _Yard(filling.pieces, filling.boards, frames, rings, gap_mm, rng, until)
    for unit in range(len(yard.boards)):
        spots = _push(yard, spots, unit, 2 * ROUNDS)
    spots = _lay(yard, spots, [], range(len(yard.boards)))
    for _ in range(steps):
        if yard.left_out(spots) == 0.0 or yard.late():
            break
        yard.known = {key: cells for key, cells in yard.known.items() if spots[key[0]] == key[1]}
        spots = _step(yard, spots)
    return [at for at in spots if at is not None], yard.late()


def _step(yard: _Yard, spots: Spots) -> Spots:
    rng = yard.rng
    units = sorted({at.unit for at in spots if at is not None})
    if not units:
        return spots
    unit = rng.choice(units)
    mine = [i for i, at in enumerate(spots) if at is not None and at.unit == unit]
    middles = []
    for i in mine:
        at = spots[i]
        assert at is not None
        points = placed_points(yard.pieces[i].shape, at)
        middles.append((points.min(axis=0) + points.max(axis=0)) / 2)
    centre = middles[rng.randrange(len(mine))]
    order = np.argsort(np.hypot(*(np.array(middles) - centre).T), kind="stable").tolist()
    taken = [mine[k] for k in order[: rng.randint(1, 5)]]
    others = [u for u in range(len(yard.boards)) if u != unit]
    rng.shuffle(others)
    tried = _lay(yard, spots, taken, [unit, *others])
    if yard.left_out(tried) > yard.left_out(spots):
        return spots
    pushed = _push(yard, tried, unit, ROUNDS)
    return _lay(yard, pushed, [], [unit])


def _push(yard: _Yard, spots: Spots, unit: int, rounds: int) -> Spots:
    mine = [i for i, at in enumerate(spots) if at is not None and at.unit == unit]
    placements = [at for at in spots if at is not None and at.unit == unit]
    pushed = compact(
        placements,
        [yard.pieces[i].shape for i in mine],
        yard.frames[unit],
        yard.gap_mm,
        rounds,
        yard.until,
    )
    if pushed is None:
        return spots
    result = list(spots)
    for i, at in zip(mine, pushed[0], strict=True):
        result[i] = at
    return result


def _lay(yard: _Yard, spots: Spots, taken: Sequence[int], units: Sequence[int]) -> Spots:
    """Spots with the pieces taken out and those without a place laid anew where there is room."""
    rng = yard.rng
    result = list(spots)
    for i in taken:
        result[i] = None
    waiting = [i for i, at in enumerate(result) if at is None]
    waiting.sort(key=lambda i: -yard.pieces[i].area_mm2 * rng.uniform(0.6, 1.0))
    free = {unit: yard.free_cells(result, unit) for unit in units} if waiting else {}
    for i in waiting:
        piece = yard.pieces[i]
        ways: Sequence[Pose] = piece.poses
        if len(ways) > MOST_POSES:
            ways = rng.sample(ways, MOST_POSES)
        for unit in units:
            board = yard.boards[unit]
            board.set_bits(free[unit])
            found = best_place(board, ways, rng.choice((0.3, 0.7, 1.0)), rng.random() < 0.5)
            if found is None:
                continue
            pose, column, row = found
            free[unit] &= ~board.mask(pose, column, row)
            result[i] = replace(board.placement(piece.shape.id, pose, column, row), unit=unit)
            break
    return result
