"""The shortest stretch of one roll on which blanks nest.

Greedy layouts in several orders; the best few are squeezed: the roll is cut shorter, what overlaps
is eased apart, again and again.  The shortest goes on: the roll is cut a little shorter, and blanks
hop and trade places until they lie apart once more.  In the end linear programmes mend what the
sampled outlines missed and push all together.  Straight blanks alone go by lanes instead.
"""

import math
import random
from collections.abc import Sequence
from dataclasses import dataclass, replace
from operator import itemgetter

import numpy as np
import shapely

from solver.data.until import FOREVER, Until
from solver.nests import fill, lanes, wide_beam
from solver.nests.bed import MOST_BLANKS, make_bed, placements_of, rooms_of, spots_of
from solver.nests.boards import make_board
from solver.nests.compaction import Frame, compact, mend
from solver.nests.hopping import Hopped, hop, ways_of
from solver.nests.nest_into import Task, curved_then_lanes, settle
from solver.nests.orders import lay_in_order, order_by, shaken
from solver.nests.poses import Grid
from solver.nests.shapes import (
    Layout,
    Placement,
    Shape,
    Stock,
    check_gap,
    check_shapes,
    check_stocks,
    placed_points,
    usable_region,
)
from solver.nests.strain import Spots
from solver.nests.verify import verify

BEAM_WIDTHS = (1000, 2000)
"""Fronts of straight blanks kept side by side."""
AGAIN = 0.6
"""Share of the beams that set out from the beginning of the best layout."""

ACROSS, ALONG = 128, 32
"""Cells in the width of the stock, and along it over that length: coarse, since all is squeezed
afterwards, but how many blanks lie abreast must come out right."""
FINE_MM = 6.35
"""Cells along the stock where some blanks are straight."""
LAID, SQUEEZED = 2000, 400
"""Blanks laid in all for greedy layouts to begin with, and in those of them that are squeezed."""
MOST_LAID, MOST_SQUEEZED = 80, 16
"""Such layouts of few blanks."""
LINED, REFINED = 3, 2
"""First layouts tried with lanes behind, and squeezed ones squeezed by ever smaller cuts."""
MOST_POSES = 24
"""Looked at for each blank of a greedy layout."""
START_SHARE = 0.25
"""Of the time that is left, where a clock counts, for the first layouts."""
FIRST_CUT, LAST_CUT = 0.02, 0.004
"""Shares of the length by which a layout is squeezed at first and at last."""
CUT, LEAST_CUT = 0.01, 0.002
"""Shares of the length cut off before blanks hop."""
HOPS = 4000
"""Steps of hopping before less is cut off."""
MORE = 1.5
"""Times as much is cut off again where that went well."""


@dataclass(frozen=True)
class _Strip:
    pieces: Sequence[fill.Piece]
    gap_mm: float
    frame: Frame
    until: Until

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
    `effort` counts layouts of straight blanks, or steps of hopping; equal calls that nothing ends
    early give equal layouts.
    """
    check_shapes(shapes)
    check_stocks([stock])
    check_gap(gap_mm)
    rng = random.Random(seed)
    if all(lanes.is_box(shape) for shape in shapes):
        placements = _straight(shapes, stock, gap_mm, rng, effort, until)
    else:
        placements = _free(shapes, stock, gap_mm, seed, effort, until)
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
    blanks = wide_beam.blanks_of(boxes, len(counts))
    best: list[lanes.Put] = []
    best_end = math.inf
    for width in (10, 30):
        puts, _ = lanes.beam(boxes, counts, [room], width, rng, FOREVER)
        if len(puts) == sum(counts) and lanes.end_of(boxes, puts) < best_end:
            best, best_end = puts, lanes.end_of(boxes, puts)
    for _ in range(effort if best else 0):
        if until.over():
            break
        taste = wide_beam.draw_taste(rng, rng.choice(BEAM_WIDTHS), (1, 2, 4))
        first: list[lanes.Put] = []
        if rng.random() < AGAIN:
            first = best[: int(len(best) * rng.uniform(0.05, 0.85))]
        shorter = lanes.Room(int(best_end) - 1, room.width)
        found = wide_beam.lay_all(
            blanks, counts, [shorter], rng.getrandbits(32), taste, first, until
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
    seed: int,
    effort: int,
    until: Until,
) -> list[Placement]:
    rng = random.Random(seed)
    area = sum(s.quantity * shapely.Polygon(s.outline_mm).area for s in shapes)
    low_x, low_y, high_x, high_y = shapely.bounds(usable_region(stock)).tolist()
    frame = Frame(low_x, low_y, high_x, high_y)
    enough = min(stock.length_mm, 2.6 * area / (high_y - low_y) + 2500.0)
    short = replace(stock, length_mm=enough)
    wide = short.width_mm + gap_mm
    grid = Grid(wide / ALONG, wide / ACROSS)
    if any(lanes.is_box(shape) for shape in shapes):  # whose widths count to the cell
        grid = Grid(FINE_MM, fill.choose_grid([(short.length_mm, short.width_mm)], gap_mm).dy_mm)
    board = make_board(short, gap_mm, grid)
    pieces = fill.make_pieces(shapes, gap_mm, grid, [board])
    strip = _Strip(pieces, gap_mm, frame, until)
    starts: list[list[Placement]] = []
    soon = until.left()
    number = 1 if effort == 0 else min(MOST_LAID, math.ceil(LAID / len(pieces)))
    for k in range(number):
        left = until.left()
        if starts and soon is not None and left is not None and left < soon * (1 - START_SHARE):
            break
        filling = fill.Filling([board], pieces)
        _fill(filling, rng, plain=k == 0)
        if filling.complete():
            starts.append(fill.placements_of(filling))
        if k < LINED:
            lined = _behind_lanes(strip, filling, shapes, short, rng)
            starts += [] if lined is None else [lined]
    if not starts:
        raise ValueError(f"stock {stock.id!r} is too short for these blanks")
    starts.sort(key=strip.reach)
    best = starts[0]
    if effort > 0 and len(pieces) <= MOST_BLANKS:
        few = starts[: min(MOST_SQUEEZED, math.ceil(SQUEEZED / len(pieces)))]
        for eased in _eased(strip, few, effort, np.random.default_rng(seed)):
            mended = mend(eased, [p.shape for p in pieces], frame, gap_mm)
            if mended is not None:
                if strip.reach(mended) < strip.reach(best):
                    best = mended
                break
    for _ in range(1 if effort == 0 else 2):
        pushed = compact(best, [p.shape for p in pieces], frame, gap_mm, until=until)
        if pushed is None:
            break
        best = pushed[0]
    return best


def _eased(
    strip: _Strip, starts: Sequence[list[Placement]], effort: int, rng: np.random.Generator
) -> list[list[Placement]]:
    """Ever shorter layouts, the shortest first; corners may be nearer than the gap by a little."""
    frame = strip.frame
    bed = make_bed([p.shape for p in strip.pieces], strip.gap_mm)
    rooms, shift = rooms_of([(frame.low_x, frame.low_y, frame.high_x, frame.high_y)])
    ways = ways_of([piece.poses for piece in strip.pieces], bed)

    def laid(spots: Spots, length: float, to: float, steps: int) -> Hopped:
        """Search on a roll of another length, blanks shifted to match."""
        other = rooms.copy()
        other[0, 2] = to
        shifted = spots._replace(x_mm=spots.x_mm * (to / length))
        return hop(bed, shifted, other, ways, steps, rng, strip.until)

    def squeezed(length: float, spots: Spots, share: float, least: float) -> tuple[float, Spots]:
        """Cut off share by share as long as blanks ease apart, then smaller ones."""
        while share >= least and not strip.until.over():
            eased = laid(spots, length, length * (1 - share), 0)
            if eased.clear:
                spots, length = eased.spots, length * (1 - share)
            else:
                share /= 2
        return length, spots

    found: list[tuple[float, Spots]] = []
    for start in starts:
        spots = spots_of(bed, start, shift)
        found.append(squeezed(strip.reach(start) - frame.low_x, spots, FIRST_CUT, FIRST_CUT))
    found.sort(key=itemgetter(0))
    found[:REFINED] = [squeezed(*one, FIRST_CUT / 2, LAST_CUT) for one in found[:REFINED]]
    found.sort(key=itemgetter(0))
    share = CUT
    while effort > 0 and not strip.until.over():
        length, spots = found[0]
        shorter = length * (1 - share)
        hopped = laid(spots, length, shorter, min(effort, HOPS))
        effort -= max(1, hopped.steps)
        if not hopped.clear:  # what is nearly clear may lie clear a little farther out
            share = max(LEAST_CUT, share / 2)
            shorter, before = length * (1 - share), shorter
            if shorter > before:
                hopped = laid(hopped.spots, before, shorter, 0)
        if hopped.clear:
            found.insert(0, (shorter, hopped.spots))
            share = min(CUT, share * MORE)
    return [placements_of(bed, spots, shift) for _, spots in found]


def _fill(filling: fill.Filling, rng: random.Random, *, plain: bool) -> None:
    """Lay all blanks anew, large ones first, or long ones of the same area, a little shaken."""
    power = 0 if plain else rng.choice((0, 0, 1, 2))
    shake = 0.0 if plain else rng.choice((0.05, 0.1, 0.3))
    order = order_by(filling, power, rng.choice((1.0, 0.8, 0.6, 0.3)))
    lay_in_order(filling, shaken(order, shake, rng), rng, most_poses=MOST_POSES)


def _behind_lanes(
    strip: _Strip,
    filling: fill.Filling,
    shapes: Sequence[Shape],
    stock: Stock,
    rng: random.Random,
) -> list[Placement] | None:
    """Shortest layout with straight blanks in lanes behind the curved ones, in order of pieces."""
    straight = [shape for shape in shapes if lanes.is_box(shape)]
    if not straight:
        return None
    task = Task(shapes, [stock], strip.gap_mm, 20, strip.until)
    best: list[Placement] | None = None
    best_reach = math.inf
    for short_mm in (0.0, 610.0, 1e9):
        for placements, _ in curved_then_lanes(filling, straight, task, rng, short_mm, task.effort):
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
