"""Rows that keep the master from counting on lanes that are not there.

By area alone a roll 8 in wide holds strips of 5 in to the last inch; side by side it holds one.
The lane relaxation of the chosen straight blanks gives a worth to every straight blank of every
option and a most worth to every unit of stock; no nest of blanks square to the stock exceeds it,
whatever else is chosen, so the row is valid for every plan (solver/nests/price_rows).  Curved
blanks count nothing in it: they may tilt.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from solver.data.job import Job
from solver.geometry.blanks import Blank
from solver.models.master import LaneRow, MasterAnswer, Reuse
from solver.nests.price_rows import lane_rows
from solver.nests.shapes import Shape, Stock
from solver.planner.master_of import stock_order
from solver.planner.nesting import shape_of, stock_of
from solver.planner.options import StretchOption
from solver.planner.sheets import Sheet

Outline = tuple[tuple[float, float], ...]

SCALE = 100_000
"""Whole numbers that stand for the largest unit's worth: rounding leaves a hundred-thousandth."""
LEAST_BROKEN = 1e-4
"""Rows broken by less than this share are not worth solving again for."""


def _whole_rectangle(blank: Blank) -> Outline:
    """Rectangle within a straight blank that its notches leave whole.

    Where blanks nest, so do rectangles within them: counting these instead keeps a row valid.
    """
    points = np.round(np.asarray(blank.outline_mm), 3)
    (left, low), (right, high) = points.min(axis=0), points.max(axis=0)
    for notch in blank.notches:
        heights = [y for _, y in notch]
        if min(heights) <= low + 0.01:
            low = max(low, max(heights))
        else:
            high = min(high, min(heights))
    corners = ((left, low), (right, low), (right, high), (left, high))
    return tuple((float(x), float(y)) for x, y in corners)


def _outline_of(option: StretchOption, piece: int) -> Outline | None:
    """Rectangle that a piece of an option counts as; curved ones count nothing."""
    blank = option.pieces[piece].blank
    return _whole_rectangle(blank) if blank.straight else None


class LaneCuts:
    """Makes the rows that an answer of the master breaks."""

    def __init__(
        self,
        job: Job,
        sheets: Sequence[Sheet],
        options: Sequence[StretchOption],
        reuses: Sequence[Reuse] = (),
    ) -> None:
        self._job = job
        self._options = options
        order = stock_order(sheets)
        self._place = {item: i for i, item in enumerate(order)}
        self._sheets = sheets
        self._stocks: list[list[Stock]] = [
            [stock_of(job, job.stock[item]) for item in sheet.items] for sheet in sheets
        ]
        self._shapes: list[dict[Outline, Shape]] = [{} for _ in sheets]
        self._outlines: list[list[Outline]] = []
        for option in options:
            outlines = []
            for piece in option.pieces:
                blank = piece.blank
                if not blank.straight:
                    continue
                outline = _whole_rectangle(blank)
                name = str(len(self._shapes[option.sheet]))
                shape = replace(shape_of(name, piece), outline_mm=outline)
                self._shapes[option.sheet].setdefault(outline, shape)
                outlines.append(outline)
            self._outlines.append(outlines)
        self._reuses = reuses
        self._reused = [_outline_of(options[reuse.option], reuse.piece) for reuse in reuses]

    def broken_by(self, answer: MasterAnswer) -> list[LaneRow]:
        """Return the rows that an answer breaks, at least by ``LEAST_BROKEN``."""
        chosen: dict[int, Counter[Outline]] = {}
        for index in answer.options:
            sheet = self._options[index].sheet
            chosen.setdefault(sheet, Counter()).update(self._outlines[index])
        for index in answer.reused:
            outline = self._reused[index]
            if outline is not None:  # not cut from stock
                chosen[self._options[self._reuses[index].option].sheet][outline] -= 1
        rows = []
        for sheet, counts in sorted(chosen.items()):
            if any(counts.values()):
                rows += self._of_sheet(sheet, counts, answer)
        return rows

    def _of_sheet(
        self, sheet: int, counts: Counter[Outline], answer: MasterAnswer
    ) -> list[LaneRow]:
        outlines = list(self._shapes[sheet])
        shapes = [replace(self._shapes[sheet][one], quantity=counts[one]) for one in outlines]
        places = [self._place[item] for item in self._sheets[sheet].items]
        rows = []
        for worth, holds in lane_rows(shapes, self._stocks[sheet], self._job.rules.cutting_gap_mm):
            if not holds.max() > 0:
                continue
            worth_of = dict(zip(outlines, (worth / holds.max()).tolist(), strict=True))
            room = [math.ceil(held / holds.max() * SCALE + 1e-6) for held in holds.tolist()]
            needed = sum(worth_of[one] * count for one, count in counts.items()) * SCALE
            units = [answer.bought[k] + answer.from_hand[k] for k in places]
            there = sum(held * count for held, count in zip(room, units, strict=True))
            if needed <= there * (1 + LEAST_BROKEN):
                continue
            weights = {
                index: weight
                for index, option in enumerate(self._options)
                if option.sheet == sheet
                and (
                    weight := math.floor(
                        sum(worth_of[one] for one in self._outlines[index]) * SCALE - 1e-6
                    )
                )
                > 0
            }
            reused = {
                index: math.ceil(worth_of[outline] * SCALE + 1e-6)
                for index, (reuse, outline) in enumerate(
                    zip(self._reuses, self._reused, strict=True)
                )
                if outline is not None and self._options[reuse.option].sheet == sheet
            }
            rows.append(LaneRow(weights, dict(zip(places, room, strict=True)), reused))
        return rows
