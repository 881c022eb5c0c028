"""Blanks that found no place are laid over others where least is in the way, and all hop apart.

On rectangular units from a filling that left something out: the units lie one behind the other in
one plane, so that blanks may hop from one to another.
"""

from __future__ import annotations

import random
from collections.abc import Sequence

import numpy as np
import shapely

from solver.data.until import FOREVER, Until
from solver.nests.bed import make_bed, placements_of, rooms_of, spots_of
from solver.nests.compaction import Frame, mend
from solver.nests.fill import Filling, placement_of
from solver.nests.hopping import hop, lay_over, ways_of
from solver.nests.shapes import Placement, usable_region

AWAY_MM = 1e6
"""Where blanks wait that have no place yet."""
AT_ONCE = 20
"""Steps of hopping between two looks at how it goes."""
HOPELESS = 0.8
"""Where strain keeps more than this share of what it was two looks ago, blanks will not fit."""


def ease_in(
    filling: Filling, gap_mm: float, rng: random.Random, steps: int, until: Until = FOREVER
) -> list[Placement] | None:
    """Placements of all blanks, or None where they do not come to lie apart in so many steps.

    Every blank has a pose on the bitmaps, and there are no more than bed.MOST_BLANKS.
    """
    pieces = filling.pieces
    frames = [
        Frame(*shapely.bounds(usable_region(board.stock)).tolist()) for board in filling.boards
    ]
    rooms, shift = rooms_of([(f.low_x, f.low_y, f.high_x, f.high_y) for f in frames])
    bed = make_bed([piece.shape for piece in pieces], gap_mm)
    ways = ways_of(pieces, bed)
    draw = np.random.default_rng(rng.getrandbits(32))
    start = [
        Placement(pieces[k].shape.id, 0, -AWAY_MM * (k + 1), 0.0, 0.0, False)
        if at is None
        else placement_of(filling, k)
        for k, at in enumerate(filling.laid)
    ]
    spots = spots_of(bed, start, shift)
    waiting = [k for k, at in enumerate(filling.laid) if at is None]
    for k in sorted(waiting, key=lambda k: (-pieces[k].area_mm2, k)):
        spots = lay_over(bed, spots, rooms, ways, k, draw)
    hopped = hop(bed, spots, rooms, ways, 0, draw, until)
    strains = [hopped.strain.total]
    while not hopped.clear and steps > 0 and not until.over():
        hopped = hop(bed, hopped.spots, rooms, ways, min(steps, AT_ONCE), draw, until)
        steps -= AT_ONCE
        strains.append(hopped.strain.total)
        if len(strains) > 2 and strains[-1] > HOPELESS * strains[-3]:
            break
    if not hopped.clear:
        return None
    return _mended(filling, placements_of(bed, hopped.spots, shift), frames, gap_mm, until)


def _mended(
    filling: Filling,
    placements: Sequence[Placement],
    frames: Sequence[Frame],
    gap_mm: float,
    until: Until,
) -> list[Placement] | None:
    result: list[Placement] = []
    for unit, frame in enumerate(frames):
        mine = [k for k, at in enumerate(placements) if at.unit == unit]
        shapes = [filling.pieces[k].shape for k in mine]
        mended = mend([placements[k] for k in mine], shapes, frame, gap_mm, until)
        if mended is None:
            return None
        result += mended
    return result
