"""The drawing of one blank, in its own axes: x along the root line, y toward the free edge."""

from __future__ import annotations

import math

from api.drawing.shapes import Drawing, Path, Word
from api.drawing.strips import Strip, clamp_stations_mm
from solver.data.plan import Piece

CLAMP_TICK_MM = 6.0
"""Length of the tick at the grip edge that shows the middle of a clamp."""


def blank_drawing(piece: Piece, label: str) -> Drawing:
    """Return outline, folds, bends, slits, V-notches, the line on the mold surface and clamp ticks.

    ``label`` names the piece in a word at its middle.
    """
    blank = piece.blank
    strip = Strip(blank)
    paths = [Path("cut", blank.outline_mm, closed=True, of=piece.id)]
    paths += [Path("fold", fold.line_mm, of=piece.id) for fold in blank.folds]
    for station in piece.bends_mm:
        ends = [strip.place_of(station, off) for off in (-blank.below_mm, blank.above_mm)]
        across = tuple(end[0] for end in ends if end is not None)
        if len(across) == 2:
            paths.append(Path("bend", across, of=piece.id))
    paths += [Path("slit", slit, of=piece.id) for slit in blank.slits_mm]
    paths += [Path("V-notch", notch, of=piece.id) for notch in blank.v_notches_mm]
    if blank.below_mm > 1e-6 and strip.root:
        paths.append(Path("mold line", strip.root, of=piece.id))
    for station in clamp_stations_mm(piece.to_mm - piece.from_mm, piece.clamps):
        low = strip.place_of(station, -blank.below_mm)
        high = strip.place_of(station, min(-blank.below_mm + CLAMP_TICK_MM, 0.0))
        if low is not None and high is not None:
            paths.append(Path("clamp", (low[0], high[0]), of=piece.id))
    return Drawing(piece.id, tuple(paths), (_name(piece, strip, label),))


def _name(piece: Piece, strip: Strip, label: str) -> Word:
    """Put the name in the middle of the strip, along it."""
    blank = piece.blank
    place = strip.place_of(blank.root_length_mm / 2, (blank.above_mm - blank.below_mm) / 2)
    if place is None:
        xs = [x for x, _ in blank.outline_mm]
        ys = [y for _, y in blank.outline_mm]
        return Word(label, (math.fsum(xs) / len(xs), math.fsum(ys) / len(ys)), of=piece.id)
    return Word(label, place[0], place[1], of=piece.id)
