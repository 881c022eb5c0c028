"""Cells of a unit: where a blank may lie, held against looking at each cell by itself."""

import random

import numpy as np
import pytest
import shapely

from solver.nests.boards import NOWHERE, Board, best_place, make_board, runs_of
from solver.nests.poses import Grid, Pose, poses
from solver.nests.shapes import Stock
from tests.nests.made_blanks import arc, strip

GRID = Grid(10.0, 5.0)
GAP_MM = 2.0


def board_of(rng: random.Random, rows: int) -> Board:
    stock = Stock("roll", rows * GRID.dy_mm - GAP_MM, 60 * GRID.dx_mm - GAP_MM, 1.0, 0, None)
    board = make_board(stock, GAP_MM, GRID)
    assert (board.columns, board.rows) == (60, rows)
    return board


def poses_of(rng: random.Random) -> list[Pose]:
    shape = arc("a", rng.uniform(200, 600), rng.uniform(0.2, 0.7), rng.uniform(15, 60), 1)
    turns = np.array([0.0, 30.0, 90.0, 180.0, 215.0, rng.uniform(0.0, 360.0)])
    return poses(shape, GAP_MM, GRID, turns, (60 * GRID.dx_mm, 400 * GRID.dy_mm))


def covered(pose: Pose, board: Board, column: int, row: int) -> np.ndarray:
    cells = np.zeros((board.columns, board.rows), dtype=bool)
    for c, r, rows, columns in pose.runs:
        cells[column + c : column + c + columns, row + r : row + r + rows] = True
    return cells


def free_cells(board: Board) -> np.ndarray:
    bits = np.unpackbits(board.cells.free.view(np.uint8), axis=1, bitorder="little")
    return bits[:, : board.rows].astype(bool)


@pytest.mark.parametrize("seed", range(12))
def test_a_blank_lies_where_it_reaches_least_far(seed: int) -> None:
    """Blanks laid one by one; each place is the best of all poses at all cells."""
    rng = random.Random(seed)
    board = board_of(rng, rng.choice((30, 64, 65, 150)))
    taken = np.zeros((board.columns, board.rows), dtype=bool)
    laid = 0
    for _ in range(12):
        ways = poses_of(rng)
        stretch, high = rng.choice((1.0, 0.3)), rng.random() < 0.5
        end = rng.choice((board.columns, 40))
        places = [
            (column + stretch * pose.columns + 1e-3 * pose.rows, k, column, row)
            for k, pose in enumerate(ways)
            for column in range(end - pose.columns + 1)
            for row in range(board.rows - pose.rows + 1)
            if not (covered(pose, board, column, row) & taken).any()
        ]
        which = np.arange(len(ways))
        k, column, row = best_place(board.cells, end, runs_of(ways), which, stretch, high)
        if not places:
            assert (k, column, row) == (NOWHERE, NOWHERE, NOWHERE)
            continue
        assert column + stretch * ways[k].columns + 1e-3 * ways[k].rows == min(places)[0]
        rows = [at for _, j, c, at in places if (j, c) == (k, column)]
        assert row == (max(rows) if high else min(rows))
        board.put(ways[k], column, row)
        taken |= covered(ways[k], board, column, row)
        laid += 1
        assert (free_cells(board) == ~taken).all()
    assert laid > 1
    board.clear()
    assert free_cells(board).all()


def test_what_was_taken_is_forgotten_when_all_blanks_are_taken_off() -> None:
    """What is remembered of columns must not outlast them."""
    rng = random.Random(5)
    board, ways = board_of(rng, 30), poses_of(rng)
    runs, which = runs_of(ways), np.arange(len(ways))
    first = best_place(board.cells, 60, runs, which, 1.0, False)
    board.put(ways[first[0]], *first[1:])
    assert best_place(board.cells, 60, runs, which, 1.0, False) != first
    board.clear()
    assert best_place(board.cells, 60, runs, which, 1.0, False) == first


def test_only_the_poses_asked_for_are_looked_at() -> None:
    rng = random.Random(1)
    board, ways = board_of(rng, 65), poses_of(rng)
    for k in range(len(ways)):
        found, _, _ = best_place(board.cells, 60, runs_of(ways), np.array([k]), 1.0, False)
        fits = ways[k].rows <= board.rows and ways[k].columns <= board.columns
        assert found == (k if fits else NOWHERE)


def test_a_blank_without_poses_lies_nowhere() -> None:
    board = board_of(random.Random(0), 30)
    nothing = np.zeros(0, dtype=np.int64)
    assert best_place(board.cells, 60, runs_of([]), nothing, 1.0, False) == (NOWHERE,) * 3


def test_what_lies_outside_an_offcut_is_never_free() -> None:
    """An outline with a slope and a notch: each free cell lies on the metal, half a gap inside."""
    outline = (
        (0.0, 0.0),
        (600.0, 0.0),
        (600.0, 200.0),
        (400.0, 260.0),
        (200.0, 120.0),
        (0.0, 250.0),
    )
    offcut = Stock("offcut", 260.0, 600.0, 0.0, 1, 0, outline_mm=outline)
    board = make_board(offcut, GAP_MM, GRID)
    metal = shapely.Polygon(outline)
    inside = outside = 0
    for column, row in np.ndindex(board.columns, board.rows):
        x = board.x0_mm + column * GRID.dx_mm
        y = board.y0_mm + row * GRID.dy_mm
        cell = shapely.box(x, y, x + GRID.dx_mm, y + GRID.dy_mm)
        free = free_cells(board)[column, row]
        middle = shapely.box(x + 1.1, y + 1.1, x + GRID.dx_mm - 1.1, y + GRID.dy_mm - 1.1)
        if free:
            assert metal.covers(middle)
            inside += 1
        elif not metal.intersects(cell):
            outside += 1
    assert inside * GRID.dx_mm * GRID.dy_mm > 0.9 * metal.area
    assert outside > 0


def test_columns_know_the_most_free_rows_in_a_row() -> None:
    rng = random.Random(3)
    board = board_of(rng, 150)
    pose = poses(strip("s", 100.0, 30.0, 1), GAP_MM, GRID, np.array([0.0]), (600.0, 750.0))[0]
    for column, row in ((0, 20), (5, 70), (7, 66), (7, 100)):
        board.put(pose, column, row)
        for free, most in zip(free_cells(board), board.cells.most.tolist(), strict=True):
            stretches = "".join("x" if one else " " for one in free.tolist()).split()
            assert most == max((len(s) for s in stretches), default=0)
