"""Blanks that found no place are laid over others where least is in the way, and all hop apart.

On rectangular units from a layout that left something out: the units lie one behind the other in
one plane, so that blanks may hop from one to another.
"""

from __future__ import annotations

import math
import random
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import shapely

from solver.data.until import FOREVER, Until
from solver.nests.bed import make_bed, placements_of, rooms_of, spots_of
from solver.nests.compaction import Frame, mend
from solver.nests.fill import Filling, placement_of
from solver.nests.hopping import Posed, hop, lay_over, ways_of
from solver.nests.shapes import Placement, Shape, Stock, usable_region

AWAY_MM = 1e6
"""Where blanks wait that have no place yet."""
HOPEFUL_MM2 = 2500.0
"""Less strain than this may go any time: the search goes on."""
LOOKS_BACK, FALLS = 40, 0.8
"""More is hopeless where it keeps more than this share of what was least so many looks before."""
MENDS, FARTHER_MM = 3, 0.1
"""Layouts that are mended, at most, and what is added to the gap after each."""


def ease_in(
    filling: Filling, gap_mm: float, rng: random.Random, steps: int, until: Until = FOREVER
) -> list[Placement] | None:
    """Placements of all blanks of a filling, or None where they do not come to lie apart so soon.

    Every blank has a pose on the boards, and there are no more than bed.MOST_BLANKS.
    """
    pieces = filling.pieces
    laid = [None if at is None else placement_of(filling, k) for k, at in enumerate(filling.laid)]
    poses = [piece.poses for piece in pieces]
    shapes = [piece.shape for piece in pieces]
    units = [board.stock for board in filling.boards]
    return ease_onto(shapes, poses, laid, units, gap_mm, rng, steps, until)


def ease_onto(
    shapes: Sequence[Shape],
    poses: Sequence[Sequence[Posed]],
    laid: Sequence[Placement | None],
    units: Sequence[Stock],
    gap_mm: float,
    rng: random.Random,
    steps: int,
    until: Until = FOREVER,
) -> list[Placement] | None:
    """Placements of blanks on rectangular units, from some that are laid and others without place.

    One of ``shapes``, ``poses`` and ``laid`` for each
    blank.  None where they do not come to lie apart in so many steps of hopping.
    """
    frames = [Frame(*shapely.bounds(usable_region(unit)).tolist()) for unit in units]
    rooms, shift = rooms_of([(f.low_x, f.low_y, f.high_x, f.high_y) for f in frames])
    bed = make_bed(shapes, gap_mm)
    ways = ways_of(poses, bed)
    draw = np.random.default_rng(rng.getrandbits(32))
    start = [
        Placement(shapes[k].id, 0, -AWAY_MM * (k + 1), 0.0, 0.0, False) if at is None else at
        for k, at in enumerate(laid)
    ]
    spots = spots_of(bed, start, shift)
    waiting = [k for k, at in enumerate(laid) if at is None]
    for k in sorted(waiting, key=lambda k: (-bed.bodies[k].area_mm2, k)):
        spots = lay_over(bed, spots, rooms, ways, k, draw)
    for _ in range(MENDS):
        hopped = hop(bed, spots, rooms, ways, steps, draw, until, _hopeful)
        if not hopped.clear:
            return None
        mended = _mended(shapes, placements_of(bed, hopped.spots, shift), frames, gap_mm, until)
        if mended is not None:
            return mended
        # what lies between the samples is too much to mend: once more, a little farther apart
        steps -= hopped.steps
        farther = bed.blanks._replace(gap_mm=bed.blanks.gap_mm + FARTHER_MM)
        bed, spots = replace(bed, blanks=farther), hopped.spots
    return None


def _hopeful(strains: Sequence[float]) -> bool:
    """Whether strain is little, or still falls."""
    least = min(strains)
    return least < HOPEFUL_MM2 or least < FALLS * min(strains[:-LOOKS_BACK], default=math.inf)


def _mended(
    shapes: Sequence[Shape],
    placements: Sequence[Placement],
    frames: Sequence[Frame],
    gap_mm: float,
    until: Until,
) -> list[Placement] | None:
    """Placements without faults, in order of the blanks; None where programmes cannot do it."""
    result = list(placements)
    for unit, frame in enumerate(frames):
        mine = [k for k, at in enumerate(placements) if at.unit == unit]
        here = [shapes[k] for k in mine]
        mended = mend([placements[k] for k in mine], here, frame, gap_mm, until)
        if mended is None:
            return None
        for k, at in zip(mine, mended, strict=True):
            result[k] = at
    return result
