"""The shortest stretch of one roll on which blanks nest.

Greedy layouts in several orders, the best few pushed together; then cycles of ruin and return: a
few neighbours are taken out, laid again on a bitmap of what is left free, and all is pushed
together; what reaches less far stands, with a little patience. Straight blanks alone go by lanes
instead.
"""

import math
import random
from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np
import shapely

from solver.data.until import FOREVER, Until
from solver.nests import fill, lanes, wide_beam
from solver.nests.boards import Board, covered_cells, make_board
from solver.nests.compaction import Frame, compact
from solver.nests.nest_into import Task, curved_then_lanes, settle
from solver.nests.poses import Grid, grown_ring
from solver.nests.shapes import (
    Layout,
    Placement,
    Points,
    Shape,
    Stock,
    check_gap,
    check_shapes,
    check_stocks,
    placed_points,
    turned_points,
    usable_region,
)
from solver.nests.verify import verify

BEAM_WIDTHS = (1000, 2000)
"""Fronts of straight blanks kept side by side."""
AGAIN = 0.4
"""Share of the beams that set out from the beginning of the best layout."""

COARSE_MM, FINE_MM = 12.7, 6.35
"""Cells along the stock."""
STARTS, LINED, PUSHED = 24, 3, 4
"""Greedy layouts to begin with; of them tried with lanes behind, and pushed together."""
START_SHARE = 0.35
"""Of the time that is left, where a clock counts, for the first layouts."""

MOST_KNOWN = 3000
"""Cells of laid blanks remembered."""

PATIENCE = 0.004
"""Share of the length by which a cycle may be worse and still stand, at first."""


@dataclass(eq=False)
class _Strip:
    pieces: list[fill.Piece]
    board: Board
    gap_mm: float
    rng: random.Random
    until: Until
    frame: Frame
    known: dict[tuple[int, Placement], int] = field(default_factory=dict)

    def late(self) -> bool:
        return self.until.over()

    def reach(self, at: Sequence[Placement]) -> float:
        return max(
            float(placed_points(p.shape, q)[:, 0].max())
            for p, q in zip(self.pieces, at, strict=True)
        )


def shortest(
    shapes: Sequence[Shape],
    stock: Stock,
    gap_mm: float,
    seed: int = 0,
    effort: int = 20,
    until: Until = FOREVER,
) -> tuple[Layout, float]:
    """Layout on one unit of rectangular stock, and how much of its length it uses.

    The stock must be long enough for a plain greedy layout: raises ValueError when it is not.
    `effort` counts cycles; equal calls that nothing ends early give equal layouts.
    """
    check_shapes(shapes)
    check_stocks([stock])
    check_gap(gap_mm)
    rng = random.Random(seed)
    if all(lanes.is_box(shape) for shape in shapes):
        placements = _straight(shapes, stock, gap_mm, rng, effort, until)
    else:
        placements = _free(shapes, stock, gap_mm, rng, effort, until)
    cut = until.over()
    layout = settle(placements, [stock], complete=True, cut=cut)
    faults = verify(layout, shapes, [replace(stock, for_sale=None)], gap_mm)
    if faults:
        raise RuntimeError(f"a nest came out wrong: {faults[0]}")
    by_id = {shape.id: shape for shape in shapes}
    low = shapely.bounds(usable_region(stock))[0]
    used = max(placed_points(by_id[p.shape_id], p)[:, 0].max() for p in placements) - low
    return layout, float(used)


def _straight(
    shapes: Sequence[Shape],
    stock: Stock,
    gap_mm: float,
    rng: random.Random,
    effort: int,
    until: Until,
) -> list[Placement]:
    unit_mm = lanes.whole_unit_mm(shapes, gap_mm)
    boxes = lanes.make_boxes(shapes, gap_mm, unit_mm)
    room = lanes.make_room(stock, gap_mm, unit_mm)
    counts = [shape.quantity for shape in shapes]
    best: list[lanes.Put] = []
    best_end = math.inf
    for width in (10, 30):
        puts, _ = lanes.beam(boxes, counts, [room], width, rng, FOREVER)
        if len(puts) == sum(counts) and lanes.end_of(boxes, puts) < best_end:
            best, best_end = puts, lanes.end_of(boxes, puts)
    for _ in range(effort if best else 0):
        if until.over():
            break
        taste = wide_beam.Taste(
            rng.choice(BEAM_WIDTHS),
            rng.choice((4, 6, 10)),
            rng.choice((8, 12, 16, 24, 40)),
            rng.choice((0.5, 1.0, 2.0)),
        )
        first: list[lanes.Put] = []
        if rng.random() < AGAIN:
            first = best[: int(len(best) * rng.uniform(0.05, 0.7))]
        shorter = lanes.Room(int(best_end) - 1, room.width)
        found = wide_beam.lay_all(
            boxes, counts, [shorter], rng.getrandbits(32), taste, first, until
        )
        if found is not None:
            best, best_end = found, lanes.end_of(boxes, found)
    if len(best) < sum(counts):
        raise ValueError(f"stock {stock.id!r} is too short for these blanks")
    return lanes.placements_of(shapes, boxes, [stock], best, unit_mm)


def _free(
    shapes: Sequence[Shape],
    stock: Stock,
    gap_mm: float,
    rng: random.Random,
    effort: int,
    until: Until,
) -> list[Placement]:
    area = sum(s.quantity * shapely.Polygon(s.outline_mm).area for s in shapes)
    low_x, low_y, high_x, high_y = shapely.bounds(usable_region(stock)).tolist()
    frame = Frame(low_x, low_y, high_x, high_y)
    enough = min(stock.length_mm, 2.6 * area / (high_y - low_y) + 2500.0)
    short = replace(stock, length_mm=enough)
    grid = fill.choose_grid([(short.length_mm, short.width_mm)], gap_mm)
    grid = Grid(COARSE_MM if effort == 0 else FINE_MM, grid.dy_mm)
    board = make_board(short, gap_mm, grid)
    pieces = fill.make_pieces(shapes, gap_mm, grid, [board])
    strip = _Strip(pieces, board, gap_mm, rng, until, frame)
    starts: list[list[Placement]] = []
    soon = until.left()
    for k in range(1 if effort == 0 else STARTS):
        left = until.left()
        if starts and soon is not None and left is not None and left < soon * (1 - START_SHARE):
            break
        filling = fill.Filling([board], pieces)
        _fill(filling, rng, plain=k == 0)
        if filling.complete():
            starts.append(fill.placements_of(filling))
        if k < LINED:
            lined = _behind_lanes(strip, filling, shapes, short)
            starts += [] if lined is None else [lined]
    if not starts:
        raise ValueError(f"stock {stock.id!r} is too short for these blanks")
    starts.sort(key=strip.reach)
    best: list[Placement] = []
    for placements in starts[: 1 if effort == 0 else PUSHED]:
        for _ in range(1 if effort == 0 else 2):
            pushed = compact(placements, [p.shape for p in pieces], frame, gap_mm, until=until)
            if pushed is None:
                break
            placements = pushed[0]
        if not best or strip.reach(placements) < strip.reach(best):
            best = placements
    return _cycles(strip, best, effort)


def _fill(filling: fill.Filling, rng: random.Random, *, plain: bool) -> None:
    """Lay all blanks anew, large ones first, or long ones of the same area, a little shaken."""
    power = 0 if plain else rng.choice((0, 0, 1, 2))
    shake = 0.0 if plain else rng.choice((0.05, 0.1, 0.3))
    order = fill.shaken_order(filling.pieces, power, shake, rng)
    filling.laid = [None] * len(filling.pieces)
    fill.lay(filling, order, rng, rng.choice((1.0, 0.8, 0.6, 0.3)), 64, [0])


def _behind_lanes(
    strip: _Strip, filling: fill.Filling, shapes: Sequence[Shape], stock: Stock
) -> list[Placement] | None:
    """Shortest layout with straight blanks in lanes behind the curved ones, in order of pieces."""
    straight = [shape for shape in shapes if lanes.is_box(shape)]
    if not straight:
        return None
    task = Task(shapes, [stock], strip.gap_mm, 20, strip.until)
    best: list[Placement] | None = None
    best_reach = math.inf
    for short_mm in (0.0, 610.0, 1e9):
        for placements, _ in curved_then_lanes(filling, straight, task, strip.rng, short_mm):
            if len(placements) < len(strip.pieces):
                continue
            waiting: dict[str, list[Placement]] = {}
            for p in placements:
                waiting.setdefault(p.shape_id, []).append(p)
            lined = [waiting[piece.shape.id].pop() for piece in strip.pieces]
            reach = strip.reach(lined)
            if reach < best_reach:
                best, best_reach = lined, reach
    return best


def _cycles(strip: _Strip, start: list[Placement], effort: int) -> list[Placement]:
    current, current_reach = start, strip.reach(start)
    best, best_reach = current, current_reach
    shapes = [p.shape for p in strip.pieces]
    rings = [grown_ring(shape, strip.gap_mm) for shape in shapes]
    for cycle in range(effort):
        if strip.late():
            break
        if len(strip.known) > MOST_KNOWN:
            strip.known.clear()
        tried = _ruin_and_return(strip, rings, current, current_reach)
        if tried is None:
            continue
        pushed = compact(tried, shapes, strip.frame, strip.gap_mm, 5, strip.until)
        if pushed is not None:
            tried = pushed[0]
        reach = strip.reach(tried)
        patience = PATIENCE * (1 - cycle / effort) * strip.rng.random()
        if reach <= current_reach * (1 + patience):
            current, current_reach = tried, reach
            if reach < best_reach:
                best, best_reach = tried, reach
    pushed = compact(best, shapes, strip.frame, strip.gap_mm, 12, strip.until)
    return pushed[0] if pushed is not None else best


def _ruin_and_return(
    strip: _Strip, rings: Sequence[Points], at: Sequence[Placement], reach: float
) -> list[Placement] | None:
    """Layout with a few neighbours laid anew within its reach; None if they find no place."""
    rng, board = strip.rng, strip.board
    points = [placed_points(p.shape, q) for p, q in zip(strip.pieces, at, strict=True)]
    middles = np.array([(r.min(axis=0) + r.max(axis=0)) / 2 for r in points])
    if rng.random() < 0.3:  # the ones that reach farthest
        k = int(np.argmax([r[:, 0].max() for r in points]))
        centre = middles[k]
    else:
        centre = np.array((rng.uniform(0, reach), rng.uniform(0, strip.frame.high_y)))
    near = np.argsort(np.hypot(*(middles - centre).T), kind="stable").tolist()
    taken = near[: rng.randint(2, 6)]
    if rng.random() < 0.3:
        other = rng.randrange(len(points))
        if other not in taken:
            taken.append(other)
    out = set(taken)
    cells = 0
    for i, q in enumerate(at):
        if i not in out:
            mine = strip.known.get((i, q))
            if mine is None:
                ring = turned_points(tuple(map(tuple, rings[i].tolist())), q.turn_deg, q.flipped)
                mine = covered_cells(board, ring + np.array((q.x_mm, q.y_mm)))
                strip.known[(i, q)] = mine
            cells |= mine
    end = int((reach - strip.frame.low_x + strip.gap_mm) / board.grid.dx_mm)
    free = board.empty & ~cells & ((1 << (end * board.stride)) - 1)
    order = sorted(taken, key=lambda i: -strip.pieces[i].area_mm2 * rng.uniform(0.5, 1.0))
    result = list(at)
    for i in order:
        piece = strip.pieces[i]
        ways = piece.poses if len(piece.poses) <= 24 else rng.sample(piece.poses, 24)
        board.set_bits(free)
        found = fill.best_place(board, ways, rng.choice((0.3, 0.7, 1.0)), rng.random() < 0.5)
        if found is None:
            return None
        pose, column, row = found
        free &= ~board.mask(pose, column, row)
        result[i] = board.placement(piece.shape.id, pose, column, row)
    return result
